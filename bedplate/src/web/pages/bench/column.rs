//! The column gauge with its limit fingers, the last readings, and the collar to be turned.

use bedplate_works::bench::{BenchScale, BenchSheet};
use bedplate_works::control::Advice;
use bedplate_works::judge::Judged;
use bedplate_works::wire::{Word, shown};
use maud::Markup;

use crate::web::draw::{Anchor, Drawing, Scale, Tone, round_step};

fn placed(judged: &Judged) -> f64 {
    judged.deviation.as_ref().map_or(judged.value.value, |d| d.value)
}

/// What the paper must hold: the limits with half their width beyond, else the values.
pub(in crate::web::pages) fn window(scale: &BenchScale, values: &[f64], beyond: f64) -> (f64, f64) {
    let limits = [&scale.lower, &scale.upper].map(|f| f.as_ref().map(|f| f.value));
    let all = || limits.iter().flatten().chain(values).copied().filter(|v| v.is_finite());
    let (mut low, mut high) =
        (all().fold(f64::INFINITY, f64::min), all().fold(f64::NEG_INFINITY, f64::max));
    if let [Some(lower), Some(upper)] = limits {
        // One wild reading must not press the limits together: it is drawn at the edge.
        let span = upper - lower;
        (low, high) = (low.max(lower - span), high.min(upper + span));
        (low, high) = (low.min(lower - beyond * span), high.max(upper + beyond * span));
        return (low, high);
    }
    if limits[0].is_none() && limits[1].is_some_and(|u| u > 0.0) && low >= 0.0 {
        low = 0.0;
    }
    if !(low.is_finite() && high.is_finite()) {
        return (0.0, 1.0);
    }
    let span =
        (high - low).max(scale.guard.value * 4.0).max(10f64.powi(-i32::from(scale.decimals)) * 4.0);
    let is_zero_based = low == 0.0;
    (if is_zero_based { low } else { low - beyond * span }, high + beyond * span)
}

fn figure_on(scale: &BenchScale, value: f64, decimals: usize) -> String {
    let decimals = u8::try_from(decimals).unwrap_or(9);
    if scale.signed && value > 0.0 {
        format!("+{}", shown(value, decimals))
    } else {
        shown(value, decimals)
    }
}

fn decimals_of(step: f64) -> usize {
    (0..9)
        .find(|n| (step * 10f64.powi(*n)).fract().abs() < 1e-6)
        .map_or(9, |n| usize::try_from(n).unwrap_or(9))
}

/// Bands where the gauge cannot tell, hatched inside each limit.
pub(in crate::web::pages) fn guards(
    d: &mut Drawing,
    scale: &BenchScale,
    y: &Scale,
    x: (f64, f64),
    washed: bool,
) {
    let guard = scale.guard.value;
    let half = match (&scale.lower, &scale.upper) {
        (Some(l), Some(u)) => guard.min((u.value - l.value) / 2.0),
        _ => guard,
    };
    let bands = [
        scale.lower.as_ref().map(|l| (l.value, l.value + half)),
        scale.upper.as_ref().map(|u| (u.value - half, u.value)),
    ];
    for (from, to) in bands.into_iter().flatten() {
        let (top, bottom) = (y.at(to), y.at(from));
        if washed {
            d.rect(x.0, top, x.1 - x.0, bottom - top, "fdw");
        }
        d.rect(x.0, top, x.1 - x.0, bottom - top, "h45d");
    }
}

/// The glass: scale at the left, ink to the reading, fingers at the limits, pointer with its mark.
pub(super) fn glass(d: &mut Drawing, view: &BenchSheet, judges: bool) {
    let (w, h) = (d.width, d.height);
    let scale = &view.scale;
    let value = view.latest.as_ref().map(placed);
    let (low, high) = window(scale, value.as_slice(), 0.5);
    let x = w * 0.42;
    let r = (w * 0.115).min(34.0);
    let (top, bottom) = (44.0, h - 46.0);
    let y = Scale::new(low, high, bottom - 8.0, top + 14.0);
    d.rect(1.0, 1.0, w - 2.0, h - 2.0, "mid-l f2");
    for (sx, sy) in [(14.0, 14.0), (w - 14.0, 14.0), (14.0, h - 14.0), (w - 14.0, h - 14.0)] {
        d.circle(sx, sy, 6.0, "thin ff");
        d.line(sx - 4.0, sy + 4.0, sx + 4.0, sy - 4.0, "thin");
    }
    let band = (x - r - 8.0, w - 12.0);
    if let (Some(l), Some(u)) = (&scale.lower, &scale.upper) {
        d.rect(band.0, y.at(u.value), band.1 - band.0, y.at(l.value) - y.at(u.value), "fgw");
        let middle = f64::midpoint(l.value, u.value);
        d.line(band.0, y.at(middle), band.1, y.at(middle), "centre");
    }
    guards(d, scale, &y, band, true);
    tube(d, (x, r), (top, bottom), value.map(|v| y.at(v.clamp(low, high))));
    engrave(d, scale, &y, (low, high), x - r);
    fingers(d, scale, &y, (x + r, w - 14.0));
    if let (Some(latest), Some(value)) = (&view.latest, value) {
        let word = if judges { latest.word } else { Word::NotJudged };
        let text = latest.deviation.as_ref().unwrap_or(&latest.value).text.clone();
        pointer(d, scale, &y, (x, r), (value.clamp(low, high), word, &text));
        let place = format!("{} {}", latest.title, latest.position);
        d.text(x, 27.0, place.trim_end(), "let s", Anchor::Middle);
    }
}

fn tube(d: &mut Drawing, (x, r): (f64, f64), (top, bottom): (f64, f64), level: Option<f64>) {
    let glass = format!(
        "M{:.1} {bottom:.1}V{top:.1}a{r:.1} {:.1} 0 0 1 {:.1} 0V{bottom:.1}Z",
        x - r,
        r * 0.5,
        2.0 * r
    );
    d.path(&glass, "mid-l glass");
    if let Some(level) = level {
        let inner = r - 6.0;
        let ink = format!(
            "M{:.1} {bottom:.1}V{:.1}Q{:.1} {level:.1} {x:.1} {level:.1}Q{:.1} {level:.1} {:.1} {:.1}V{bottom:.1}Z",
            x - inner,
            level - 5.0,
            x - inner + 3.0,
            x + inner - 3.0,
            x + inner,
            level - 5.0
        );
        d.path(&ink, "fi settle");
    }
    let foot = format!(
        "M{:.1} {bottom:.1}H{:.1}V{:.1}H{:.1}V{:.1}H{:.1}V{:.1}H{:.1}Z",
        x - r - 12.0,
        x + r + 12.0,
        bottom + 12.0,
        x + r + 3.0,
        d.height - 12.0,
        x - r - 3.0,
        bottom + 12.0,
        x - r - 12.0
    );
    d.path(&foot, "mid-l ff");
    d.rect(x - r - 3.0, bottom + 12.0, 2.0 * r + 6.0, d.height - 24.0 - bottom, "h45");
}

fn engrave(d: &mut Drawing, scale: &BenchScale, y: &Scale, (low, high): (f64, f64), x: f64) {
    let coarse = round_step(high - low, d.height / 70.0);
    let fine = round_step(high - low, d.height / 16.0).min(coarse);
    let decimals = decimals_of(coarse);
    let mut value = (low / fine).ceil() * fine;
    let mut steps = 0;
    while value <= high && steps < 500 {
        let is_major = (value / coarse - (value / coarse).round()).abs() < 1e-6;
        let length = if is_major { 24.0 } else { 11.0 };
        let at = y.at(value);
        d.line(x - 8.0, at, x - 8.0 - length, at, if is_major { "mid-l" } else { "thin" });
        if is_major {
            let text = figure_on(scale, value, decimals);
            d.text(x - 36.0, at + 5.5, &text, "", Anchor::End);
        }
        value += fine;
        steps += 1;
    }
    d.text(x - 14.0, d.height - 18.0, scale.unit, "s t3", Anchor::End);
}

fn fingers(d: &mut Drawing, scale: &BenchScale, y: &Scale, (from, to): (f64, f64)) {
    for limit in [&scale.lower, &scale.upper].into_iter().flatten() {
        let at = y.at(limit.value);
        let finger = [
            (from + 2.0, at),
            (from + 14.0, at - 9.0),
            (to, at - 9.0),
            (to, at + 9.0),
            (from + 14.0, at + 9.0),
        ];
        d.poly(&finger, "fi", true);
        d.text(to - 5.0, at + 5.0, &format!("limit {}", limit.text), "on-ink", Anchor::End);
    }
}

fn pointer(
    d: &mut Drawing,
    scale: &BenchScale,
    y: &Scale,
    (x, r): (f64, f64),
    (value, word, text): (f64, Word, &str),
) {
    let at = y.at(value);
    d.line(x - r + 6.0, at, x + r + 22.0, at, "thick");
    // Beside a finger the figure stands clear of it, on the side where the reading lies.
    let close = [&scale.lower, &scale.upper]
        .into_iter()
        .flatten()
        .find(|limit| (y.at(limit.value) - at).abs() < 24.0);
    let shift = close.map_or(0.0, |limit| {
        let finger = y.at(limit.value);
        if at <= finger { finger - 28.0 - at } else { finger + 28.0 - at }
    });
    let tone = match word {
        Word::Accept => "tg-",
        Word::Reject => "tr-",
        Word::CannotTell => "td-",
        Word::NotJudged => "t2",
    };
    d.mark(word, x + r + 28.0, at + shift, 8.0);
    let class = format!("halo on-plate reading-25 {tone}");
    d.text(x + r + 42.0, at + shift + 8.5, text, &class, Anchor::Start);
}

/// The last readings of the same position and spindle.
pub(super) fn last(d: &mut Drawing, view: &BenchSheet) {
    let (w, h) = (d.width, d.height);
    let scale = &view.scale;
    let values: Vec<f64> = view.last.iter().map(placed).collect();
    let (low, high) = window(scale, &values, 0.16);
    let y = Scale::new(low, high, h - 6.0, if view.revisions.is_empty() { 6.0 } else { 30.0 });
    let left = if w < 400.0 { 44.0 } else { 62.0 };
    let x = Scale::new(0.0, count(values.len().max(2) - 1), left + 14.0, w - 52.0);
    guards(d, scale, &y, (left, w - 40.0), false);
    for limit in [&scale.lower, &scale.upper].into_iter().flatten() {
        let at = y.at(limit.value);
        d.line(left, at, w - 40.0, at, "thick");
        d.text(left - 6.0, at + 5.0, &limit.text, "s", Anchor::End);
    }
    if let (Some(l), Some(u)) = (&scale.lower, &scale.upper) {
        let middle = y.at(f64::midpoint(l.value, u.value));
        d.line(left, middle, w - 40.0, middle, "centre");
    }
    if scale.lower.is_none() && scale.upper.is_none() {
        d.line(left, h - 6.0, w - 40.0, h - 6.0, "thin");
    }
    for (n, (before, what)) in view.revisions.iter().enumerate() {
        let at = x.at(count(*before) - 0.5);
        d.line(at, 24.0, at, h - 2.0, "wit");
        d.group("", what, |d| d.revision(at, 16.0, &(n + 1).to_string(), Tone::Ink));
    }
    if let Some(advice) = &view.advice {
        let (end, climb, level) =
            (count(values.len()) - 1.0, advice.climb.value, advice.level.value);
        let from = (end - 12.0).max(0.0);
        let at = |i: f64| y.at((level + climb * (i - end)).clamp(low, high));
        d.line(x.at(from), at(from), x.at(end) + 30.0, at(end + 1.0), "phantom");
    }
    for (i, judged) in view.last.iter().enumerate() {
        let is_now = i + 1 == view.last.len();
        let radius = if is_now { 7.0 } else { 4.5 };
        let at = y.at(placed(judged).clamp(low, high));
        d.group("", &format!("{}: {}", judged.piece, judged.value.with_unit()), |d| {
            d.mark(judged.word, x.at(count(i)), at, radius);
        });
        if is_now {
            d.text(x.at(count(i)) + 18.0, at + 5.0, "now", "s", Anchor::Start);
        }
    }
}

/// The graduated collar with the way to turn it.
pub(super) fn collar_picture(advice: &Advice) -> Markup {
    let mut d = Drawing::new(200.0, 92.0);
    let (middle, foot) = (100.0, 58.0);
    d.path("M8 34Q100 24 192 34V80Q100 92 8 80Z", "mid-l ff");
    let place = |i: f64| middle + (i / 11.0 * 1.35).sin() / 1.35_f64.sin() * 90.0;
    for i in -10..=10 {
        let i = f64::from(i);
        let top = 29.0 + 4.0 * (i / 11.0).powi(2);
        let length = if i % 5.0 == 0.0 { 22.0 } else { 12.0 };
        d.line(place(i), top, place(i), top + length, "thin");
    }
    d.line(middle, 10.0, middle, 22.0, "thick");
    d.arrow(middle, 26.0, std::f64::consts::FRAC_PI_2, "fi", 10.0);
    #[expect(clippy::cast_precision_loss, reason = "a few divisions")]
    let divisions = advice.divisions as f64;
    let to = place(divisions.clamp(-10.0, 10.0));
    d.line(to, 12.0, to, 28.0, "pencil");
    d.line(to, 18.0, middle + 6.0 * divisions.signum(), 18.0, "pencil bold");
    let way = if divisions < 0.0 { 0.0 } else { std::f64::consts::PI };
    d.arrow(middle + 5.0 * divisions.signum(), 18.0, way, "fb", 11.0);
    let (word, anchor, shift) =
        if divisions < 0.0 { ("back", Anchor::End, -6.0) } else { ("in", Anchor::Start, 6.0) };
    let text = format!("{} {word}", divisions.abs());
    d.text(to + shift, 22.0, &text, "tb- strong", anchor);
    d.text(middle, foot + 16.0, &advice.what, "let s t2", Anchor::Middle);
    let label = format!("{}: {} divisions {word}", advice.what, divisions.abs());
    d.finish(&label, "")
}

fn count(n: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a handful of readings")]
    let x = n as f64;
    x
}
