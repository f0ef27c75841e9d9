//! When a machine must be reset, by how much, and what happens if it is not.

use bedplate_gauge::limits::Limits;
use bedplate_gauge::trend::{Line, ResetPlan, line, reset_advice};

use super::{
    Advice, CLIMB_CHANCE, RESET_CHANCE, Stream, TREND_FEWEST, as_f64, capital, scale_figure,
};
use crate::judge::{Scale, limits_of};
use crate::plan::{Characteristic, Plan};
use crate::trace::counted;
use crate::wire::Figure;

/// Reset advice from a stream's readings since its last change, in the characteristic's unit.
pub(super) fn advise(
    plan: &Plan,
    c: &Characteristic,
    stream: &Stream,
    values: &[f64],
) -> Option<Advice> {
    let adjustment = c.adjustment.as_ref()?;
    let limits = limits_of(c)?;
    if values.len() < TREND_FEWEST {
        return None;
    }
    let scale = Scale::of(c);
    let placed: Vec<f64> = values.iter().map(|v| scale.place(*v)).collect();
    let count: Vec<f64> = (1..=placed.len()).map(as_f64).collect();
    let fitted = line(&count, &placed).ok()?;
    let on_scale = |x: Option<f64>| x.map(|x| scale.place(x));
    let limits = Limits::new(on_scale(limits.lower()), on_scale(limits.upper())).ok()?;
    let division = adjustment.per_division.number() * adjustment.per_division.unit().factor()
        / c.unit.factor()
        * scale.per_unit;
    let u = plan.standard_uncertainty(c) * scale.per_unit;
    let reset = ResetPlan {
        limits,
        guard: plan.rule_of(c).guard(u),
        chance: RESET_CHANCE,
        aim: limits.middle()?,
        // The scatter about the line already holds the gauge's repeatability.
        gauge_uncertainty: 0.0,
        step: division.abs(),
    };
    let last = as_f64(placed.len());
    let advice = reset_advice(&fitted, last, &reset).ok()?;
    let climbs = fitted.chance_of_no_slope() < CLIMB_CHANCE;
    if advice.steps == 0 || !climbs && advice.pieces_left.is_none() {
        return None;
    }
    let soon = pieces_soon(plan, c);
    let left = advice.pieces_left;
    #[expect(clippy::cast_precision_loss, reason = "at most a million pieces")]
    let at_risk = left.map_or(0.0, |left| (soon as f64 - left as f64).max(0.0));
    Some(said(c, stream, &scale, &fitted, &advice, SaidWith { at_risk, division, soon }))
}

struct SaidWith {
    at_risk: f64,
    division: f64,
    soon: u64,
}

fn said(
    c: &Characteristic,
    stream: &Stream,
    scale: &Scale,
    fitted: &Line,
    advice: &bedplate_gauge::trend::ResetAdvice,
    with: SaidWith,
) -> Advice {
    let what = c.adjustment.as_ref().map_or_else(String::new, |a| a.what.clone());
    let divisions = if with.division < 0.0 { -advice.steps } else { advice.steps };
    let way = if divisions < 0 { "back" } else { "in" };
    let turned = counted(usize::try_from(divisions.unsigned_abs()).unwrap_or(0), "division");
    let shift = Figure::signed(advice.shift, scale.unit, scale.decimals);
    let climb = Figure::signed(fitted.slope, scale.unit, scale.decimals + 1);
    let place = if stream.spindle.is_empty() {
        stream.words(c)
    } else {
        format!("spindle {}", stream.spindle)
    };
    let left = advice.pieces_left;
    let is_due = left.is_some_and(|left| left < with.soon);
    Advice {
        stream: stream.clone(),
        is_due,
        title: format!("Bring {place} by {} {}", shift.text, shift.unit),
        cost: match left {
            None => "None soon".to_owned(),
            Some(0) => format!("Doubtful {} from the next piece on", plural_title(c)),
            Some(left) => {
                let pieces = counted(usize_of(left), "piece");
                format!("Doubtful {} in about {pieces}", plural_title(c))
            }
        },
        why: format!(
            "{} {} a piece over the last {}.",
            climb.text,
            climb.unit,
            counted(fitted.n, "piece")
        ),
        proposed: format!(
            "{}: turn the {what} {way} {turned}; moves the size {} {}.",
            capital(&place),
            shift.text,
            shift.unit
        ),
        climb,
        level: scale_figure(scale, advice.level),
        pieces_left: left,
        moved: format!("{:.*} {}", usize::from(scale.decimals), advice.shift, scale.unit),
        shift,
        divisions,
        what,
        pieces_at_risk: with.at_risk,
    }
}

fn plural_title(c: &Characteristic) -> String {
    format!("{}s", c.title.to_lowercase())
}

/// Pieces that pass one stream in two hours of the day's rate.
fn pieces_soon(plan: &Plan, c: &Characteristic) -> u64 {
    let per_engine =
        plan.engines.values().filter_map(|e| e.parts.get(&c.part)).max().copied().unwrap_or(1);
    let hours = plan.works.working_time.to("h").max(0.1);
    let soon = f64::from(plan.works.day_rate * per_engine) * 2.0 / hours;
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small count")]
    let soon = soon.ceil().clamp(1.0, 1e6) as u64;
    soon
}

fn usize_of(n: u64) -> usize {
    usize::try_from(n).unwrap_or(usize::MAX)
}
