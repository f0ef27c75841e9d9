//! The day on a steel rule: passed in ink, behind as a dimension, the likely finish in blue.

use bedplate_works::overview::Day;
use maud::Markup;

use crate::web::draw::{Anchor, Drawing, Scale, Screen, Tone, on_screens, round_step};

/// The rule of the works sheet.
pub(super) fn rule(day: &Day) -> Markup {
    let sizes = [
        (Screen::Desk, 952.0, 104.0),
        (Screen::Panel, 632.0, 104.0),
        (Screen::Phone, 340.0, 104.0),
    ];
    on_screens(&label(day), &sizes, |d, screen| {
        let from = if screen == Screen::Desk { 150.0 } else { 96.0 };
        let size = if screen == Screen::Desk { "count-58" } else { "count-46" };
        let y = d.height - 40.0;
        d.text(0.0, y - 4.0, &day.passed.to_string(), &format!("fig {size}"), Anchor::Start);
        d.text(0.0, y + 18.0, "engines passed", "s t2", Anchor::Start);
        plate(d, day, &Plate { from, y, size: 1.0, is_narrow: screen == Screen::Phone });
    })
}

/// The rule of the wall.
pub(super) fn wall_rule(day: &Day) -> Markup {
    let sizes = [(Screen::Desk, 1180.0, 230.0), (Screen::Panel, 700.0, 200.0)];
    on_screens(&label(day), &sizes, |d, _| {
        let y = d.height - 80.0;
        plate(d, day, &Plate { from: 14.0, y, size: 2.3, is_narrow: d.width < 800.0 });
    })
}

fn label(day: &Day) -> String {
    let likely = day.likely.as_ref().map_or_else(String::new, |l| {
        format!(", likely finish {:.0}, {:.0} to {:.0}", l.value, l.low, l.high)
    });
    format!(
        "Engines passed today: {}, planned by now {}, plan for the day {}{likely}",
        day.passed, day.planned_by_now, day.planned
    )
}

struct Plate {
    /// Where the rule begins.
    from: f64,
    /// Its edge.
    y: f64,
    /// How much larger than on the works sheet.
    size: f64,
    is_narrow: bool,
}

fn plate(d: &mut Drawing, day: &Day, plate: &Plate) {
    let Plate { from, y, size: k, is_narrow } = *plate;
    let width = d.width - from - 10.0;
    let planned = f64::from(day.planned);
    let (passed, by_now) = (count(day.passed), count(day.planned_by_now));
    let high = day.likely.as_ref().map_or(0.0, |l| l.high);
    let max = planned.max(passed).max(high).max(10.0) * if is_narrow { 1.16 } else { 1.1 };
    let scale = Scale::new(0.0, max, from, from + width);
    let at = |v: f64| scale.at(v);
    d.rect(from - 8.0, y - 34.0 * k, width + 16.0, 52.0 * k, "mid-l f2");
    d.rect(from, y - 12.0 * k, at(passed) - from, 12.0 * k, "fi");
    engrave(d, &scale, max, plate);
    if let Some(likely) = &day.likely {
        let (low, high) = (at(likely.low), at(likely.high));
        d.rect(low, y - 30.0 * k, high - low, 10.0 * k, "h45b");
        let x = at(likely.value);
        d.line(x, y - 36.0 * k, x, y - 14.0 * k, "pencil bold");
    }
    d.line(at(planned), y, at(planned), y - 60.0 * k, "thick");
    let text = size_class(k);
    let plan = if is_narrow || k > 1.0 {
        day.planned.to_string()
    } else {
        format!("plan {}", day.planned)
    };
    d.text(at(planned) + 6.0, y - 45.0 * k, &plan, text, Anchor::Start);
    difference(d, day, &scale, plate);
    let is_clear = at(by_now.max(passed)) + 40.0 < at(planned) - 175.0 * k;
    if let Some(likely) = day.likely.as_ref().filter(|_| !is_narrow && is_clear) {
        let words = if k > 1.0 {
            format!("likely {:.0}", likely.value)
        } else {
            format!("likely finish {:.0} ({:.0} to {:.0})", likely.value, likely.low, likely.high)
        };
        let class = format!("tb- {text}");
        d.text(at(planned) - 8.0, y - 45.0 * k, &words, &class, Anchor::End);
    }
}

fn engrave(d: &mut Drawing, scale: &Scale, max: f64, plate: &Plate) {
    let Plate { y, size: k, is_narrow, .. } = *plate;
    let fine = round_step(max, if is_narrow { 20.0 } else { 50.0 }).max(1.0);
    let coarse = round_step(max, if is_narrow { 4.0 } else { 9.0 }).max(fine);
    let (from, to) = (scale.at(0.0), scale.at(max));
    d.line(from, y, to, y, "mid-l");
    let mut i = 0_u32;
    while f64::from(i) * fine <= max && i < 1_000 {
        let (value, x) = (f64::from(i) * fine, scale.at(f64::from(i) * fine));
        let is_major = (value / coarse).fract().abs() < 1e-9;
        d.line(x, y, x, y - if is_major { 12.0 } else { 6.0 } * k, "thin");
        // The last figure must not run over the end of the rule.
        if is_major && x + 24.0 * k < to {
            let class = if k > 1.0 { "t2 wall-m" } else { "s t2" };
            d.text(x + 4.0, y + 13.0 * k, &format!("{value:.0}"), class, Anchor::Start);
        }
        i += 1;
    }
}

/// Behind or ahead of the plan, as a dimension line.
fn difference(d: &mut Drawing, day: &Day, scale: &Scale, plate: &Plate) {
    let Plate { from, y, size: k, .. } = *plate;
    let (passed, by_now) = (scale.at(count(day.passed)), scale.at(count(day.planned_by_now)));
    // A works in which no engine has passed yet is not behind: it has not begun.
    let has_begun = day.passed > 0 || !day.before.is_empty();
    if !has_begun || day.passed == day.planned_by_now {
        return;
    }
    let is_behind = day.passed < day.planned_by_now;
    let (left, right) = (passed.min(by_now), passed.max(by_now));
    d.line(passed, y - 12.0 * k, passed, y - 60.0 * k, "wit");
    d.line(by_now, y, by_now, y - 60.0 * k, "wit");
    let tone = if is_behind { Tone::Red } else { Tone::Ink };
    d.dimension((left, y - 50.0 * k), (right, y - 50.0 * k), "", tone);
    let words = if is_behind {
        format!("{} behind", day.planned_by_now - day.passed)
    } else {
        format!("{} ahead", day.passed - day.planned_by_now)
    };
    let class = format!("strong {} {}", if is_behind { "tr-" } else { "" }, size_class(k * 1.01));
    // To the left there is only ink below: nothing to run into.
    let room = if plate.is_narrow { 84.0 } else { 130.0 };
    if left - from > room * k {
        d.text(left - 24.0, y - 45.0 * k, &words, &class, Anchor::End);
    } else {
        d.text(right + 24.0, y - 45.0 * k, &words, &class, Anchor::Start);
    }
}

fn size_class(k: f64) -> &'static str {
    if k > 1.5 {
        "wall-l"
    } else if k > 1.0 {
        "m"
    } else {
        ""
    }
}

fn count(n: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a day's engines")]
    let x = n as f64;
    x
}
