//! The charts of a characteristic: size in order of making, change from piece to piece, capability.

use bedplate_works::control::{CapabilityView, CharacteristicSheet, ControlChart};
use bedplate_works::wire::shown;

use super::super::bench::{guards, window};
use crate::web::draw::{Anchor, Drawing, Scale, Screen, Tone, round_step};

/// Where the charts of one stream lie on the paper: both share the places along x.
struct Paper {
    left: f64,
    right: f64,
    /// Width of the histogram at the right, or none.
    often: f64,
    x: Scale,
    /// Pieces ahead that the paper has room for.
    ahead: f64,
}

fn paper(d: &Drawing, view: &CharacteristicSheet, screen: Screen) -> Paper {
    let (left, often) = match screen {
        Screen::Desk => (58.0, 150.0),
        Screen::Panel => (52.0, 104.0),
        Screen::Phone => (44.0, 0.0),
    };
    let right = d.width - often - if often > 0.0 { 20.0 } else { 6.0 };
    let n = count(view.points.len());
    let left_pieces = view.advice.as_ref().and_then(|a| a.pieces_left).map(|p| {
        #[expect(clippy::cast_precision_loss, reason = "at most a million pieces")]
        let p = p as f64;
        p
    });
    let ahead = match (&view.advice, left_pieces) {
        (Some(_), Some(p)) => (p + 3.0).clamp(6.0, (n * 0.3).max(6.0)),
        (Some(_), None) => (n * 0.12).max(6.0),
        (None, _) => 0.5,
    };
    let x = Scale::new(0.0, (n - 1.0 + ahead).max(1.0), left + 12.0, right - 4.0);
    Paper { left, right, often, x, ahead }
}

/// Size in order of making.
pub(super) fn individuals(d: &mut Drawing, view: &CharacteristicSheet, screen: Screen) {
    let p = paper(d, view, screen);
    let values: Vec<f64> = view.points.iter().map(|p| p.value).collect();
    let (low, high) = window(&view.scale, &values, 0.12);
    let top = if view.revisions.is_empty() { 10.0 } else { 34.0 };
    let foot = d.height - 24.0;
    let y = Scale::new(low, high, foot - 4.0, top);
    frame(d, view, &p, &y, foot);
    if p.often > 0.0 {
        how_often(d, view, &p, &y, foot);
    }
    control_lines(d, view, &p, &y);
    segments(d, view, &p, &y, (low, high));
    changes(d, view, &p, foot);
    forecast(d, view, &p, &y, (low, high), foot);
    points(d, view, &p, &y, (low, high));
    pieces_along(d, view, &p, foot);
}

fn frame(d: &mut Drawing, view: &CharacteristicSheet, p: &Paper, y: &Scale, foot: f64) {
    let scale = &view.scale;
    let to = if p.often > 0.0 { d.width - 4.0 } else { p.right };
    guards(d, scale, y, (p.left, p.right), false);
    if p.often > 0.0 {
        guards(d, scale, y, (p.right + 16.0, to), false);
    }
    let spans = if p.often > 0.0 {
        vec![(p.left, p.right), (p.right + 16.0, to)]
    } else {
        vec![(p.left, p.right)]
    };
    for (from, to) in spans {
        for limit in [&scale.lower, &scale.upper].into_iter().flatten() {
            d.line(from, y.at(limit.value), to, y.at(limit.value), "thick");
        }
        if let (Some(l), Some(u)) = (&scale.lower, &scale.upper) {
            let middle = y.at(f64::midpoint(l.value, u.value));
            d.line(from, middle, to, middle, "centre");
        }
    }
    for limit in [&scale.lower, &scale.upper].into_iter().flatten() {
        d.text(p.left - 8.0, y.at(limit.value) + 5.0, &limit.text, "", Anchor::End);
    }
    if let (Some(l), Some(u)) = (&scale.lower, &scale.upper) {
        let middle = f64::midpoint(l.value, u.value);
        let text = printed(view, middle);
        d.text(p.left - 8.0, y.at(middle) + 5.0, &text, "t2", Anchor::End);
    } else {
        plain_scale(d, view, p, y);
    }
    d.line(p.left, foot, p.right, foot, "thin");
}

/// Without two limits the paper needs figures of its own.
fn plain_scale(d: &mut Drawing, view: &CharacteristicSheet, p: &Paper, y: &Scale) {
    let values: Vec<f64> = view.points.iter().map(|p| p.value).collect();
    let (low, high) = window(&view.scale, &values, 0.12);
    let step = round_step(high - low, 4.0);
    let limits = [&view.scale.lower, &view.scale.upper];
    let mut value = (low / step).ceil() * step;
    let mut steps = 0;
    while value <= high && steps < 20 {
        let at = y.at(value);
        let is_clear = limits.iter().copied().flatten().all(|l| (y.at(l.value) - at).abs() > 15.0);
        d.line(p.left, at, p.right, at, "hair");
        if is_clear {
            d.text(p.left - 8.0, at + 5.0, &printed(view, value), "t2 s", Anchor::End);
        }
        value += step;
        steps += 1;
    }
}

fn printed(view: &CharacteristicSheet, value: f64) -> String {
    let text = shown(value, view.scale.decimals);
    if view.scale.signed && value > 0.0 { format!("+{text}") } else { text }
}

/// Control limits reach over the readings they were got from.
fn control_lines(d: &mut Drawing, view: &CharacteristicSheet, p: &Paper, y: &Scale) {
    let Some(control) = &view.chart else { return };
    let lines = control.individuals;
    let to = p.x.at(count(view.points.len().max(1) - 1));
    for value in [lines.lower, lines.centre, lines.upper] {
        d.line(p.left, y.at(value), to, y.at(value), "wit");
    }
}

/// The line along which the process ran between two changes, and what it keeps to about it.
fn segments(d: &mut Drawing, view: &CharacteristicSheet, p: &Paper, y: &Scale, paper: (f64, f64)) {
    let at = |v: f64| y.at(v.clamp(paper.0, paper.1));
    for s in &view.segments {
        let (from, to) = (p.x.at(count(s.from)), p.x.at(count(s.to)));
        d.line(from, at(s.start), to, at(s.end), "mid-l faint");
        for side in [s.half_width, -s.half_width] {
            d.line(from, at(s.start + side), to, at(s.end + side), "hidden");
        }
    }
}

/// A triangle where somebody changed the process; changes before the same piece stand in one.
fn changes(d: &mut Drawing, view: &CharacteristicSheet, p: &Paper, foot: f64) {
    let mut free_from = f64::NEG_INFINITY;
    for group in view.revisions.chunk_by(|a, b| a.before == b.before) {
        let at = p.x.at(count(group[0].before) - 0.5);
        let words: Vec<String> = group.iter().map(|r| r.what.replace(" -", " −")).collect();
        let words = words.join("; ");
        let number = group.last().map_or("", |r| r.label.as_str());
        // Two digits fit into the triangle; longer numbers stand before the words.
        let is_short = number.len() <= 2;
        let label = if is_short { number } else { "" };
        let words = if is_short { words } else { format!("{number}: {words}") };
        d.line(at, 25.0, at, foot, "wit");
        d.group("", &words, |d| d.revision(at, 15.0, label, Tone::Ink));
        let next = view
            .revisions
            .iter()
            .find(|r| r.before > group[0].before)
            .map_or(p.right, |r| p.x.at(count(r.before) - 0.5) - 14.0);
        let room = next - at - 22.0;
        if at > free_from && room > 24.0 {
            let text = cut(&words, room / 6.0);
            d.text(at + 17.0, 19.0, &text, "s t2 halo", Anchor::Start);
            free_from = at + 20.0;
        }
    }
}

fn cut(text: &str, room: f64) -> String {
    if count(text.chars().count()) <= room {
        return text.to_owned();
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few letters")]
    let n = room.max(2.0) as usize - 1;
    format!("{}…", text.chars().take(n).collect::<String>().trim_end())
}

/// Where the size will run if nothing is done, and by when it must be reset.
fn forecast(
    d: &mut Drawing,
    view: &CharacteristicSheet,
    p: &Paper,
    y: &Scale,
    paper: (f64, f64),
    foot: f64,
) {
    let Some(advice) = &view.advice else { return };
    let last = count(view.points.len()) - 1.0;
    let end = last + p.ahead;
    let (level, climb) = (advice.level.value, advice.climb.value);
    let at = |v: f64| y.at(v.clamp(paper.0, paper.1));
    let half = view.segments.last().map_or(0.0, |s| s.half_width);
    let ahead = |i: f64| level + climb * (i - last);
    let fan = [
        (p.x.at(last), at(level + half)),
        (p.x.at(end), at(ahead(end) + half)),
        (p.x.at(end), at(ahead(end) - half)),
        (p.x.at(last), at(level - half)),
    ];
    d.poly(&fan, "fbw faint", true);
    d.line(p.x.at(last), at(level), p.x.at(end), at(ahead(end)), "phantom");
    let Some(left) = advice.pieces_left else { return };
    #[expect(clippy::cast_precision_loss, reason = "at most a million pieces")]
    let reset = last + left as f64;
    if reset > end {
        return;
    }
    let (x0, x1) = (p.x.at(last), p.x.at(reset));
    d.line(x1, 26.0, x1, foot, "pencil");
    d.revision(x1, 15.0, "", Tone::Blue);
    let text = if left == 0 { "reset now".to_owned() } else { format!("reset within {left}") };
    if left > 0 && x1 - x0 > 8.0 {
        d.dimension((x0, foot - 12.0), (x1, foot - 12.0), "", Tone::Blue);
    }
    d.text(p.right, foot - 22.0, &text, "tb- s halo", Anchor::End);
}

fn points(d: &mut Drawing, view: &CharacteristicSheet, p: &Paper, y: &Scale, paper: (f64, f64)) {
    let n = view.points.len();
    let radius = match n {
        0..=130 => 3.8,
        131..=400 => 2.6,
        _ => 1.6,
    };
    let place = |i: usize| (p.x.at(count(i)), y.at(view.points[i].value.clamp(paper.0, paper.1)));
    for (i, point) in view.points.iter().enumerate() {
        let (x, at) = place(i);
        let size = if i + 1 == n { 6.5_f64.max(radius) } else { radius };
        d.mark(point.word, x, at, size);
    }
    // A ring round every point that completed a rule: the words stand at the right.
    if let Some(control) = &view.chart {
        let mut ringed: Vec<usize> =
            control.signals.iter().filter(|s| s.rule == 1).map(|s| s.at).collect();
        ringed.dedup();
        for i in ringed.into_iter().filter(|i| *i < n) {
            let (x, at) = place(i);
            d.circle(x, at, radius + 4.0, "chk");
        }
    }
}

fn pieces_along(d: &mut Drawing, view: &CharacteristicSheet, p: &Paper, foot: f64) {
    let n = view.points.len();
    let named = if d.width < 400.0 { 3 } else { 5 };
    let mut last = usize::MAX;
    for k in 0..named {
        let i = (n - 1) * k / (named - 1);
        if i == last {
            continue;
        }
        last = i;
        let anchor = if k == 0 { Anchor::Start } else { Anchor::Middle };
        d.text(p.x.at(count(i)), foot + 16.0, &view.points[i].piece, "s t2", anchor);
    }
}

/// How often each size occurs, on the chart's own scale.
fn how_often(d: &mut Drawing, view: &CharacteristicSheet, p: &Paper, y: &Scale, foot: f64) {
    let from = p.right + 16.0;
    let to = d.width - 4.0;
    let most = view.histogram.iter().map(|b| b.count).max().unwrap_or(1).max(1);
    for bar in &view.histogram {
        let (top, bottom) = (y.at(bar.to), y.at(bar.from));
        let width = count(bar.count) / count(most) * (to - from - 26.0);
        d.rect(from, top + 0.5, width, (bottom - top - 1.0).max(0.5), "fi soft");
    }
    d.line(from, 10.0, from, foot, "thin");
    if let Some(mean) = &view.mean {
        let at = y.at(mean.value);
        d.line(to - 40.0, at, to, at, "mid-l");
        d.text(to, at - 6.0, &format!("mean {}", mean.text), "s halo", Anchor::End);
    }
    d.text(from + 4.0, foot + 16.0, "how often", "s t3", Anchor::Start);
}

/// Change from piece to piece under its line.
pub(super) fn ranges(
    d: &mut Drawing,
    view: &CharacteristicSheet,
    control: &ControlChart,
    screen: Screen,
) {
    let p = paper(d, view, screen);
    let line = control.moving_range.upper;
    let most = control.ranges.iter().map(|r| r.1).fold(line, f64::max).max(1e-12);
    let y = Scale::new(0.0, most * 1.05, d.height - 4.0, 8.0);
    d.line(p.left, y.at(0.0), p.right, y.at(0.0), "thin");
    d.line(p.left, y.at(line), p.right, y.at(line), "hidden");
    d.text(p.left - 8.0, y.at(0.0) + 3.0, "0", "s", Anchor::End);
    let text = shown(line, view.scale.decimals.saturating_add(1));
    d.text(p.left - 8.0, y.at(line) + 4.0, &text, "s", Anchor::End);
    let is_many = control.ranges.len() > 250;
    for (i, range) in &control.ranges {
        let x = p.x.at(count(*i));
        let class = match (*range > line, is_many) {
            (true, _) => "chk",
            (false, true) => "thin",
            (false, false) => "mid-l",
        };
        d.line(x, y.at(0.0), x, y.at(*range), class);
        if !is_many {
            d.circle(x, y.at(*range), 2.4, if *range > line { "fr" } else { "fi" });
        }
    }
    let over = control.ranges.iter().filter(|r| r.1 > line).count();
    let words =
        if over == 0 { "none over the line".to_owned() } else { format!("{over} over the line") };
    if p.often > 0.0 {
        d.text(p.right + 16.0, y.at(line) + 4.0, &words, "s t2", Anchor::Start);
    }
}

/// Capability figures with their intervals against what is wanted.
pub(super) fn capability(d: &mut Drawing, view: &CapabilityView) {
    let (w, h) = (d.width, d.height);
    let finite = |v: f64| v.is_finite().then_some(v);
    let high = view
        .lines
        .iter()
        .filter_map(|l| finite(l.interval.1))
        .fold(view.wanted, f64::max)
        .clamp(view.wanted * 1.3, view.wanted * 4.0);
    let low = view
        .lines
        .iter()
        .filter_map(|l| finite(l.interval.0))
        .fold(view.wanted * 0.5, f64::min)
        .max(-1.0);
    let x = Scale::new(low, high, 8.0, w - 52.0);
    let wanted = x.at(view.wanted);
    d.rect(2.0, 0.0, wanted - 2.0, h - 26.0, "h45 faint");
    d.line(wanted, 0.0, wanted, h - 20.0, "thick");
    d.text(wanted, h - 5.0, &format!("{} wanted", view.wanted), "s", Anchor::Middle);
    let row = (h - 30.0) / count(view.lines.len().max(1));
    for (i, line) in view.lines.iter().enumerate() {
        let y = row * count(i) + row * 0.68;
        let (from, to) = (x.at(line.interval.0.max(low)), x.at(line.interval.1.min(high)));
        let words = format!("{}, {}", line.title, line.symbol);
        d.text(8.0, y - row * 0.3, &words, "halo s", Anchor::Start);
        d.line(from, y, to, y, "mid-l");
        for end in [from, to] {
            d.line(end, y - 6.0, end, y + 6.0, "mid-l");
        }
        d.mark(line.word, x.at(line.value.value.clamp(low, high)), y, 6.0);
        d.text(to + 9.0, y + 6.0, &line.value.text, "halo m strong", Anchor::Start);
    }
}

fn count(n: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "counts of readings are below 2^53")]
    let x = n as f64;
    x
}
