//! The works drawn as stepped shafts: a section is as thick as the queue that waits there.

use bedplate_works::overview::{Decision, Shaft, StationState, WorksSheet};

use crate::web::draw::{Anchor, Drawing, Screen};

/// How large the shafts are drawn and how much is written on them.
pub(super) struct Manner {
    /// Width of the lines' names.
    left: f64,
    /// Width of a station.
    collar: f64,
    /// Height of the lettering against the works sheet.
    size: f64,
    /// Whether stations and materials are named.
    names: bool,
}

impl Manner {
    /// On the works sheet.
    pub(super) const fn of(screen: Screen) -> Self {
        match screen {
            Screen::Desk => Self { left: 132.0, collar: 15.0, size: 1.0, names: true },
            Screen::Panel | Screen::Phone => {
                Self { left: 96.0, collar: 11.0, size: 0.8, names: true }
            }
        }
    }

    /// On the wall.
    pub(super) const fn wall() -> Self {
        Self { left: 250.0, collar: 26.0, size: 1.9, names: false }
    }
}

/// Where the lanes lie on the paper.
struct Lanes {
    top: f64,
    /// Distance from lane to lane.
    lane: f64,
    /// Half a station's height.
    half: f64,
    /// Where the kitting bench begins.
    bench: f64,
}

/// A decision's place.
struct Flag {
    x: f64,
    y: f64,
    letter: String,
}

/// Draws every line, the kitting bench and what comes after it.
pub(super) fn draw(d: &mut Drawing, view: &WorksSheet, m: &Manner) {
    let count = u32::try_from(view.shafts.len().max(1)).map_or(1.0, f64::from);
    let top = 34.0 * m.size;
    let lane = (d.height - top) / count;
    let half = if m.names { (lane * 0.262).min(30.0) } else { (lane * 0.3).min(48.0) };
    let lanes = Lanes { top, lane, half, bench: d.width * 0.655 };
    let mut flags = vec![];
    for (i, shaft) in view.shafts.iter().enumerate() {
        let i = u32::try_from(i).map_or(0.0, f64::from);
        let y = lanes.top + lanes.lane * (i + 0.42);
        line(d, shaft, y, &lanes, m, &view.decisions, &mut flags);
    }
    if m.names {
        names(d, view, &lanes, m, &flags);
    }
    tail(d, view, &lanes, m, &mut flags);
    // Two decisions on one station stand side by side.
    for i in 0..flags.len() {
        let before = flags[..i].iter().filter(|f| near(f, &flags[i])).count();
        let step = 29.0 * u32::try_from(before).map_or(0.0, f64::from);
        let x = flags[i].x + step * flag_size(m);
        flag(d, x, flags[i].y, &flags[i].letter, flag_size(m), before == 0);
    }
}

fn near(a: &Flag, b: &Flag) -> bool {
    (a.x - b.x).abs() < 1.0 && (a.y - b.y).abs() < 1.0
}

const fn flag_size(m: &Manner) -> f64 {
    match (m.names, m.size < 1.0) {
        (false, _) => 1.6,
        (true, false) => 0.88,
        (true, true) => 0.76,
    }
}

fn flag(d: &mut Drawing, x: f64, y: f64, letter: &str, k: f64, stands: bool) {
    if stands {
        d.poly(&[(x - 6.8 * k, y - 11.0 * k), (x + 6.8 * k, y - 11.0 * k), (x, y)], "fr", true);
    }
    d.rect(x - 12.5 * k, y - 36.0 * k, 25.0 * k, 25.0 * k, "chk ff");
    let class = if k > 1.0 { "let tr- wall-m" } else { "let tr- flag-16" };
    d.text(x, y - 36.0 * k + 18.5 * k, letter, class, Anchor::Middle);
}

fn thickness(queue: usize, planned_most: usize, lanes: &Lanes) -> f64 {
    let share = count(queue) / count(planned_most.max(1));
    (lanes.half * 0.42 * share.powf(0.6)).clamp(2.5, lanes.half * 1.12)
}

fn line(
    d: &mut Drawing,
    shaft: &Shaft,
    y: f64,
    lanes: &Lanes,
    m: &Manner,
    decisions: &[Decision],
    flags: &mut Vec<Flag>,
) {
    name(d, shaft, y, m);
    let sections = count(shaft.stations.len() + 1);
    let pitch = (lanes.bench - m.left) / sections;
    d.line(m.left - 10.0, y, lanes.bench, y, "centre");
    let mut x = m.left;
    for (k, station) in shaft.stations.iter().enumerate() {
        let to = m.left + pitch * (count(k) + 1.0) - m.collar - pitch * 0.06;
        section(d, (x, to), y, (station.waiting, station.planned_most), lanes, m, true);
        let height = lanes.half * 1.72;
        collar(d, (to, y), (m.collar, height), station.state);
        for decision in decisions {
            if decision.at == (shaft.line.clone(), station.operation.clone()) {
                let letter = decision.letter.clone();
                flags.push(Flag { x: to + m.collar / 2.0, y: y - height / 2.0 - 1.0, letter });
            }
        }
        x = to + m.collar;
    }
    section(d, (x, lanes.bench), y, (shaft.store, shaft.store_planned_most), lanes, m, false);
    let at_store = thickness(shaft.store, shaft.store_planned_most, lanes);
    let in_store = |a: &&Decision| {
        a.at.0 == shaft.line && !shaft.stations.iter().any(|s| s.operation == a.at.1)
    };
    for decision in decisions.iter().filter(in_store) {
        let (x, letter) = ((x + lanes.bench) / 2.0, decision.letter.clone());
        flags.push(Flag { x, y: y - at_store - 1.0, letter });
    }
}

fn name(d: &mut Drawing, shaft: &Shaft, y: f64, m: &Manner) {
    let class =
        if m.names { if m.size < 1.0 { "let" } else { "let title-19" } } else { "let wall-m" };
    let room = ((m.left - 12.0) / (8.6 * m.size.max(0.9))).max(4.0);
    let lines = wrapped(&shaft.title, room);
    let first = y - if lines.len() > 1 { 12.0 * m.size } else { 2.0 };
    for (i, part) in lines.iter().enumerate() {
        d.text(0.0, first + count(i) * 19.0 * m.size, part, class, Anchor::Start);
    }
    if m.names && m.size >= 1.0 {
        let below = first + count(lines.len() - 1) * 19.0 + 17.0;
        let material = shaft.material.split(',').next().unwrap_or_default();
        d.text(0.0, below, material, "s t3", Anchor::Start);
    }
}

/// A title in at most two lines, parted at a space.
fn wrapped(title: &str, room: f64) -> Vec<String> {
    if count(title.chars().count()) <= room {
        return vec![title.to_owned()];
    }
    match title.split_once(' ') {
        Some((a, b)) => vec![a.to_owned(), b.to_owned()],
        None => vec![title.to_owned()],
    }
}

/// Names of the stations, each beside the flags that stand on the line below it.
fn names(d: &mut Drawing, view: &WorksSheet, lanes: &Lanes, m: &Manner, flags: &[Flag]) {
    for (i, shaft) in view.shafts.iter().enumerate() {
        let y = lanes.top + lanes.lane * (count(i) + 0.42) + lanes.half + 13.0;
        let pitch = (lanes.bench - m.left) / count(shaft.stations.len() + 1);
        for (k, station) in shaft.stations.iter().enumerate() {
            let x = m.left + pitch * (count(k) + 1.0) - m.collar / 2.0 - pitch * 0.06;
            let top = |f: &Flag| f.y - 38.0 * flag_size(m);
            let hit = flags.iter().find(|f| (f.x - x).abs() < 34.0 && f.y > y && top(f) < y + 4.0);
            let (at, anchor) = match hit {
                Some(f) if f.x >= x - 4.0 => (f.x - 14.0 * flag_size(m), Anchor::End),
                Some(f) => (f.x + 14.0 * flag_size(m), Anchor::Start),
                None => (x, Anchor::Middle),
            };
            for (row, part) in wrapped(&station.title, pitch / 6.4).iter().enumerate() {
                d.text(at, y + count(row) * 12.0, part, "letn s t2", anchor);
            }
        }
    }
}

/// A section of shaft: red when more waits than planned before a station.
fn section(
    d: &mut Drawing,
    x: (f64, f64),
    y: f64,
    queue: (usize, usize),
    lanes: &Lanes,
    m: &Manner,
    is_judged: bool,
) {
    let (waiting, most) = queue;
    let (half, planned) = (thickness(waiting, most, lanes), thickness(most, most, lanes));
    let is_over = is_judged && waiting > most;
    let class = if is_over { "chk frw" } else { "mid-l f3" };
    d.rounded(x.0, y - half, x.1 - x.0, half * 2.0, 3.0_f64.min(half * 0.4), class);
    if is_over {
        d.rounded(x.0, y - half, x.1 - x.0, half * 2.0, 3.0, "h45r faint");
    }
    if m.names && planned > half + 2.0 {
        for edge in [y - planned, y + planned] {
            d.line(x.0, edge, x.1, edge, "hidden faint");
        }
    }
    let inside = half > 11.0 * m.size;
    let fall = match (m.names, is_over) {
        (true, true) => 7.5,
        (true, false) => 5.0,
        (false, true) => 16.0,
        (false, false) => 11.0,
    };
    let at = if inside { y + fall } else { y - half - 5.0 * m.size };
    let size = match (m.names, is_over) {
        (true, true) => "title-22 strong",
        (true, false) => "",
        (false, true) => "wall-l strong",
        (false, false) => "wall-m",
    };
    let halo = match (inside, is_over) {
        (true, true) => "halo on-red tr-",
        (true, false) => "halo on-3",
        (false, true) => "halo tr-",
        (false, false) => "halo",
    };
    d.text((x.0 + x.1) / 2.0, at, &waiting.to_string(), &format!("{halo} {size}"), Anchor::Middle);
}

/// A station: working is solid, starved empty, blocked hatched with an end wall, standing crossed.
pub(super) fn collar(d: &mut Drawing, at: (f64, f64), size: (f64, f64), state: StationState) {
    let ((x, y), (w, h)) = (at, size);
    let top = y - h / 2.0;
    match state {
        StationState::Working => d.rect(x, top, w, h, "fi"),
        StationState::Starved => d.rect(x, top, w, h, "mid-l ff"),
        StationState::Blocked => {
            d.rect(x, top, w, h, "mid-l ff");
            d.rect(x, top, w, h, "h45");
            d.rect(x + w * 0.7, top, w * 0.3, h, "fi");
        }
        StationState::Standing => {
            d.rect(x, top, w, h, "mid-l ff");
            d.line(x, top, x + w, top + h, "mid-l");
            d.line(x + w, top, x, top + h, "mid-l");
        }
    }
}

/// The kitting bench that all routes meet, and the engines after it.
fn tail(d: &mut Drawing, view: &WorksSheet, lanes: &Lanes, m: &Manner, flags: &mut Vec<Flag>) {
    let (top, bottom) = (lanes.top * 0.6, d.height - lanes.lane * 0.2);
    let y = (top + bottom) / 2.0;
    let width = 28.0 * m.size.max(0.9);
    let bench = lanes.bench;
    d.rect(bench, top, width, bottom - top, "thick ff");
    d.rect(bench, top, width, bottom - top, "h45");
    let class = if m.names { "let m halo" } else { "let halo wall-m" };
    d.text_up(bench + width / 2.0 + 5.0 * m.size, y, "Kitting bench", class);
    let most = view.shafts.iter().filter_map(|s| s.stations.first().map(|t| t.planned_most)).min();
    let most = most.unwrap_or(1);
    let t = &view.track;
    let state = |n: usize| if n > 0 { StationState::Working } else { StationState::Starved };
    let stations = [
        ("Assembly", t.in_tray, state(t.building), ""),
        ("Test bed", t.at_bed, state(t.at_bed + t.undecided), "bed"),
    ];
    let mut x = bench + width;
    let end = d.width - 34.0 * m.size;
    let pitch = (end - x) / 3.0;
    d.line(x, y, d.width, y, "centre");
    let height = lanes.half * 2.1;
    for (k, (title, waiting, state, at)) in stations.into_iter().enumerate() {
        let to = bench + width + pitch * (count(k) + 1.0) - m.collar;
        section(d, (x, to), y, (waiting, most), lanes, m, false);
        collar(d, (to, y), (m.collar, height), state);
        let below = y + height / 2.0 + 18.0 * m.size.min(1.4);
        if m.names || k == 1 {
            let class = match (m.names, m.size < 1.0) {
                (false, _) => "let t2 wall-m",
                (true, false) => "let t2",
                (true, true) => "letn s t2",
            };
            d.text(to + m.collar / 2.0, below, title, class, Anchor::Middle);
        }
        if m.names && k == 0 && t.building > 0 {
            let words = format!("{} being built", t.building);
            d.text(to + m.collar / 2.0, below + 17.0, &words, "s t2", Anchor::Middle);
        }
        let here = |a: &&Decision| !at.is_empty() && a.at.1 == at;
        for decision in view.decisions.iter().filter(here) {
            let (x, letter) = (to + m.collar / 2.0, decision.letter.clone());
            flags.push(Flag { x, y: y - height / 2.0 - 1.0, letter });
        }
        x = to + m.collar;
    }
    let waiting = t.undecided + t.held;
    section(d, (x, end - 4.0), y, (waiting, most), lanes, m, false);
    if m.names && m.size >= 1.0 && waiting > 0 {
        d.text((x + end) / 2.0, y + 28.0, "undecided", "letn s t2", Anchor::Middle);
    }
    passed_arrow(d, end, y, m.size);
}

fn passed_arrow(d: &mut Drawing, x: f64, y: f64, k: f64) {
    let (tip, body) = (d.width - 2.0, 9.0 * k);
    let neck = tip - 20.0 * k;
    let points = [
        (x, y - body),
        (neck, y - body),
        (neck, y - 18.0 * k),
        (tip, y),
        (neck, y + 18.0 * k),
        (neck, y + body),
        (x, y + body),
    ];
    d.poly(&points, "fg", true);
}

fn count(n: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "counts of a works are below 2^53")]
    let x = n as f64;
    x
}
