//! The chart of a characteristic: stretches between changes, signals, how the sizes lie.

use bedplate_gauge::chart::{IndividualsChart, individuals_chart, individuals_limits};
use bedplate_gauge::run_rules::RunRules;
use bedplate_gauge::summary::summary;
use bedplate_gauge::trend::line;

use super::{Bar, CLIMB_CHANCE, ControlChart, Segment, SignalLine, TREND_FEWEST, as_f64};

/// The line of each stretch between two changes that has readings enough.
pub(super) fn segments(values: &[f64], starts: &[usize]) -> Vec<Segment> {
    let mut edges = vec![0];
    edges.extend(starts);
    edges.push(values.len());
    edges
        .windows(2)
        .filter_map(|w| {
            let stretch = values.get(w[0]..w[1])?;
            if stretch.len() < TREND_FEWEST {
                return None;
            }
            let count: Vec<f64> = (0..stretch.len()).map(as_f64).collect();
            let fitted = line(&count, stretch).ok()?;
            let climbs = fitted.chance_of_no_slope() < CLIMB_CHANCE;
            let level = summary(stretch).ok()?.mean;
            let at = |x: f64| if climbs { fitted.at(x) } else { level };
            Some(Segment {
                from: w[0],
                to: w[1] - 1,
                start: at(0.0),
                end: at(as_f64(stretch.len() - 1)),
                half_width: 3.0 * fitted.residual_deviation,
                climb: if climbs { fitted.slope } else { 0.0 },
            })
        })
        .collect()
}

/// The chart of individuals with its signals.
pub(super) fn control_chart(values: &[f64], starts: &[usize]) -> Result<ControlChart, String> {
    let limits = individuals_limits(values, starts).map_err(|e| e.to_string())?;
    let rules = RunRules::iso_7870_2();
    let IndividualsChart { individuals, moving_range } =
        individuals_chart(values, starts, &limits, &rules).map_err(|e| e.to_string())?;
    let signals = individuals
        .signals
        .iter()
        .map(|s| SignalLine { rule: s.rule.number(), at: s.last, words: s.words() })
        .collect();
    Ok(ControlChart {
        individuals: individuals.limits.into(),
        moving_range: moving_range.limits.into(),
        ranges: moving_range.points.iter().map(|p| (p.index, p.value)).collect(),
        signals,
    })
}

/// How many readings lie in each of a few equal parts of their range.
pub(super) fn histogram(values: &[f64]) -> Vec<Bar> {
    let Ok(s) = summary(values) else { return vec![] };
    if values.len() < 5 || s.max <= s.min {
        return vec![];
    }
    // Square-root rule: enough bars to see a shape, few enough to see each.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small count")]
    let bars = (as_f64(values.len()).sqrt().ceil() as usize).clamp(5, 24);
    let width = (s.max - s.min) / as_f64(bars);
    let mut counts = vec![0usize; bars];
    for v in values {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0…bars")]
        let bar = ((v - s.min) / width) as usize;
        counts[bar.min(bars - 1)] += 1;
    }
    let bar = |(i, count)| Bar {
        from: s.min + width * as_f64(i),
        to: s.min + width * as_f64(i + 1),
        count,
    };
    counts.into_iter().enumerate().map(bar).collect()
}
