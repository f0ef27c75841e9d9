//! Whether the process can hold its limits, with intervals.

use bedplate_gauge::capability::{Capability, Estimate, Scatter, capability};
use bedplate_gauge::limits::Limits;
use bedplate_gauge::summary::summary;

use super::{CapabilityLine, CapabilityView, ControlChart, Segment, as_f64};
use crate::judge::{Scale, limits_of};
use crate::plan::{Characteristic, Kind};
use crate::trace::counted;
use crate::wire::{Figure, Word};

/// Coverage of the intervals.
const COVERAGE: f64 = 0.95;

/// How the process fits its limits, between changes and as it ran.
pub(super) fn capability_view(
    c: &Characteristic,
    scale: &Scale,
    values: &[f64],
    segments: &[Segment],
    chart: Option<&ControlChart>,
) -> Option<CapabilityView> {
    let limits = limits_of(c)?;
    let on_scale = |x: Option<f64>| x.map(|x| scale.place(x));
    let limits = Limits::new(on_scale(limits.lower()), on_scale(limits.upper())).ok()?;
    let all = summary(values).ok()?;
    let n = as_f64(values.len());
    let overall = Scatter { mean: all.mean, deviation: all.standard_deviation?, dof: n - 1.0, n };
    let overall = capability(&limits, &overall, COVERAGE).ok()?;
    let wanted = c.capability_wanted;
    let mut lines = vec![];
    if let Some(within) = within(&limits, all.mean, segments) {
        lines.extend(within.spread.map(|e| estimate("Cp", "Spread between changes", e, wanted)));
    }
    lines.extend(overall.spread.map(|e| estimate("Pp", "Spread as it ran", e, wanted)));
    lines.push(estimate("Ppk", "As it sits in the limits", overall.position, wanted));
    let signals = chart.map_or(0, |c| c.signals.len());
    let caution = if signals > 0 {
        format!(
            "The process was not steady ({}); these figures describe what ran, not what to expect.",
            counted(signals, "signal")
        )
    } else if c.kind == Kind::Form {
        "A form deviation is skewed; the normal figures are only a guide.".to_owned()
    } else {
        String::new()
    };
    let beyond = (overall.share_under + overall.share_over) * 1e6;
    Some(CapabilityView { wanted, lines, beyond_ppm: Figure::new(beyond, "ppm", 0), caution })
}

/// Capability of the scatter about the lines between changes: what the process could do.
fn within(limits: &Limits, mean: f64, segments: &[Segment]) -> Option<Capability> {
    let (mut squares, mut dof) = (0.0, 0.0);
    for s in segments {
        let d = as_f64(s.to - s.from + 1) - 2.0;
        squares += d * (s.half_width / 3.0).powi(2);
        dof += d;
    }
    if dof < 2.0 {
        return None;
    }
    let scatter = Scatter { mean, deviation: (squares / dof).sqrt(), dof, n: dof + 2.0 };
    capability(limits, &scatter, COVERAGE).ok()
}

fn estimate(symbol: &'static str, title: &'static str, e: Estimate, wanted: f64) -> CapabilityLine {
    CapabilityLine {
        symbol,
        title,
        value: Figure::new(e.value, "", 2),
        interval: (e.lower, e.upper),
        word: if wanted <= e.lower {
            Word::Accept
        } else if e.upper < wanted {
            Word::Reject
        } else {
            Word::CannotTell
        },
    }
}
