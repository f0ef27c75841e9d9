//! Sheet 4: matching.

use axum::extract::State;
use axum::response::Response;
use bedplate_engine::set::Search;
use bedplate_works::sets::{Band, MatchingSheet, SetView};
use bedplate_works::trace::counted;
use bedplate_works::works::Works;
use maud::{Markup, html};

use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::draw::{Anchor, Drawing, Scale, Tone, Window, round_step, three_sizes};
use crate::web::sheet::{
    Frame, Says, TagCell, empty, figure_address, judgement, percent, sheet, tag,
};

/// Matching.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let mut frame = app.frame(&asked, "4", "Matching", "Sets".to_owned(), notes());
    frame.styles = &["drawing.css", "matching.css"];
    let search = search_of(&asked);
    let engine_type = asked.owned("engine_type");
    show(
        &app,
        &asked,
        move |works| {
            engine_type
                .or_else(|| first_type(works))
                .map(|engine_type| works.matching(&engine_type, search))
                .transpose()
        },
        move |asked, view| match view {
            Some(view) => draw(frame, asked, view),
            None => without_rule(&frame),
        },
    )
    .await
}

/// The engine type that the plan names first with a rule for its sets.
fn first_type(works: &Works) -> Option<String> {
    let plan = works.plan();
    plan.engines.keys().find(|t| plan.sets.contains_key(*t)).cloned()
}

fn search_of(asked: &Asked) -> Search {
    let usual = Search::default();
    Search {
        seed: asked.number("seed").unwrap_or(usual.seed),
        moves: asked.number("moves").unwrap_or(usual.moves),
    }
}

fn notes() -> Markup {
    html! {
        span { svg width="16" height="18" aria-hidden="true" {
            rect class="fi" width="16" height="18" {} } "set in its tray" }
        span.blue { svg width="16" height="18" aria-hidden="true" {
            rect class="to-fill" x="1" y="1" width="14" height="16" {} } "tray to fill, proposed" }
        span { svg width="30" height="12" aria-hidden="true" {
            rect class="fdw" width="30" height="12" {} rect class="h45d" width="30" height="12" {}
        } "too close to be sure" }
    }
}

fn without_rule(frame: &Frame) -> Markup {
    let body = empty(
        "The works file has no rule for sets.",
        "Add [set.ENGINE] with a fit and a spread of mass; then accepted blocks and pistons are \
         matched here.",
    );
    sheet(frame, &[Says::Ink("No sets are made here yet.".to_owned())], &html! {}, &body)
}

fn finding(view: &MatchingSheet) -> Vec<Says> {
    if view.blocks == 0 && view.pistons == 0 && view.in_tray.is_empty() {
        return vec![Says::Ink("Nothing lies in the racks yet.".to_owned())];
    }
    vec![
        Says::Ink(format!("{} can be built from the racks.", counted(view.found, "engine"))),
        Says::Blue(format!("No pairing at all gives more than {}.", view.bound)),
    ]
}

fn draw(mut frame: Frame, asked: &Asked, view: &MatchingSheet) -> Markup {
    frame.title.clone_from(&view.fit);
    let [lower, _, upper] = &view.clearance;
    let boxed = tag(&[
        TagCell::One("Clearance".to_owned()),
        TagCell::Limits(upper.with_unit(), lower.with_unit()),
        TagCell::One(format!("Mass spread {}", view.mass_spread.with_unit())),
    ]);
    let chosen = chosen(asked, view);
    let body = html! {
        div.mt data-live="set,reading:" {
            @if let Some(set) = chosen {
                div.lt {
                    section.panel { (tray_heading(set)) div.fit { (tray(view, set)) } }
                    section.panel.no-print {
                        h2 { "Rack of trays" small {
                            (counted(view.in_tray.len(), "set")) " in tray, "
                            (view.proposed.len()) " to fill" } }
                        (rack(asked, view, set))
                    }
                }
            } @else { (nothing(view)) }
            div.aside tabindex="0" role="region" aria-label="Found and left over" {
                section { h2 { "Found and possible" } (found(view)) }
                @if !view.bands.is_empty() {
                    section { h2 { "Left over by piston size" small { "mm" } } (left(&view.bands)) }
                }
                (left_blocks(view))
                (advice(view))
                (keys(view, chosen))
            }
        }
    };
    sheet(&frame, &finding(view), &boxed, &body)
}

fn chosen<'v>(asked: &Asked, view: &'v MatchingSheet) -> Option<&'v SetView> {
    let by_set = asked.get("set").and_then(|s| view.in_tray.iter().find(|v| v.set == s));
    let by_block = asked.get("block").and_then(|b| view.proposed.iter().find(|v| v.block == b));
    by_set.or(by_block).or_else(|| view.proposed.first()).or_else(|| view.in_tray.first())
}

fn nothing(view: &MatchingSheet) -> Markup {
    let what = match (view.blocks, view.pistons) {
        (0, 0) => "No block and no piston is accepted yet.",
        (0, _) => "No block is accepted yet.",
        (_, 0) => "No piston is accepted yet.",
        _ => "No piston in the racks completes a block.",
    };
    empty(
        what,
        "Measure blocks at the gauge bench, and pistons with their mass; those that are accepted \
         come into the racks and are matched here.",
    )
}

fn tray_heading(set: &SetView) -> Markup {
    html! {
        h2 {
            @if set.set.is_empty() { "Tray to fill" } @else { "Set " (set.set) }
            small.long-name { "block " a href={ "/trace?of=" (percent(&set.block)) } { (set.block) }
                @if set.set.is_empty() { ", proposed" }
                @else { ", made by " (set.by) } }
        }
    }
}

fn tray(view: &MatchingSheet, set: &SetView) -> Markup {
    let said: Vec<String> =
        set.places.iter().map(|p| format!("{} {}", p.position, p.clearance.text)).collect();
    let label = format!(
        "Block {}: clearances in µm by cylinder {}; piston masses spread {}",
        set.block,
        said.join(", "),
        set.mass_spread.with_unit()
    );
    three_sizes(&label, [(918.0, 416.0), (630.0, 330.0), (350.0, 620.0)], |d, narrow| {
        draw_tray(d, view, set, narrow);
    })
}

fn float(n: usize) -> f64 {
    u32::try_from(n).map_or(f64::MAX, f64::from)
}

/// The fitter's tray from above: pistons in their bores, the gap drawn large; under each its
/// clearance on the window; under all their masses on one scale.
fn draw_tray(d: &mut Drawing, view: &MatchingSheet, set: &SetView, narrow: bool) {
    let n = set.places.len().max(1);
    let columns = match (narrow, n) {
        (true, _) => 2,
        (false, 1..=6) => n,
        (false, _) => n.div_ceil(2),
    };
    let rows = n.div_ceil(columns);
    let (w, mass_top) = (d.width, d.height - 78.0);
    let hand = if narrow { 6.0 } else { 46.0 };
    let cell = ((w - 2.0 * hand) / float(columns), (mass_top - 12.0) / float(rows));
    let under = 66.0;
    let radius = ((cell.1 - under - 24.0) / 2.0).min(cell.0 * 0.47).max(18.0);
    let well = radius * 2.0 + 24.0;
    for row in 0..rows {
        let top = 2.0 + cell.1 * float(row);
        d.rounded(1.5, top, w - 3.0, well, 14.0, "thick f2");
        d.rounded(7.0, top + 5.5, w - 14.0, well - 11.0, 9.0, "thin fn");
        if !narrow {
            for x in [hand / 2.0, w - hand / 2.0] {
                d.rounded(x - 6.0, top + well / 2.0 - 32.0, 12.0, 64.0, 6.0, "mid-l ff");
            }
        }
        let y = top + well / 2.0;
        d.line(hand - 4.0, y, w - hand + 4.0, y, "centre");
    }
    for (i, place) in set.places.iter().enumerate() {
        let x = hand + cell.0 * (float(i % columns) + 0.5);
        let top = 2.0 + cell.1 * float(i / columns);
        draw_bore(d, (x, top + well / 2.0), radius, view, place);
        let [lower, target, upper] = &view.clearance;
        let window = Window {
            lower: lower.value,
            upper: upper.value,
            target: Some(target.value),
            guard: view.guard.value,
            value: place.clearance.value,
            word: place.word,
        };
        let (half, y) = (cell.0 * 0.42, top + well + 40.0);
        draw_clearance(d, place, (x - half, x + half), y, &window);
    }
    draw_masses(d, set, mass_top, hand, narrow);
}

fn draw_clearance(
    d: &mut Drawing,
    place: &bedplate_works::sets::SetPlace,
    x: (f64, f64),
    y: f64,
    window: &Window,
) {
    let label = &place.clearance.text;
    match figure_address(&place.clearance) {
        Some(address) => {
            let said = format!("clearance {} µm of cylinder {}", label, place.position);
            d.link(&address, &said, |d| d.strip(x, y, window, label));
        }
        None => d.strip(x, y, window, label),
    }
    let span = window.upper - window.lower;
    let scale = Scale::new(window.lower - 0.3 * span, window.upper + 0.3 * span, x.0, x.1);
    for limit in [window.lower, window.upper] {
        d.text(scale.at(limit), y + 27.0, &format!("{limit}"), "s t2", Anchor::Middle);
    }
}

fn draw_bore(
    d: &mut Drawing,
    at: (f64, f64),
    radius: f64,
    view: &MatchingSheet,
    place: &bedplate_works::sets::SetPlace,
) {
    let [lower, _, upper] = &view.clearance;
    let span = (upper.value - lower.value).max(1e-9);
    let share = ((place.clearance.value - lower.value) / span).clamp(-0.3, 1.3);
    // From just open to wide open over the window: a clearance cannot be seen at its true size.
    let gap = (radius * (0.03 + 0.07 * (share + 0.3))).max(2.0);
    d.circle(at.0, at.1, radius, "thick ff");
    d.circle(at.0, at.1, radius, "h45");
    d.circle(at.0, at.1, radius - gap, "mid-l ff");
    let tip = at.1 - radius + gap + 7.0;
    d.line(at.0, at.1 - radius - 6.0, at.0, at.1 + radius + 6.0, "centre");
    let front = [(at.0, tip), (at.0 - 6.0, tip + 11.0), (at.0 + 6.0, tip + 11.0)];
    d.poly(&front, "fi", true);
    d.text(at.0, at.1 - 2.0, &place.position, "let xl halo", Anchor::Middle);
    let address = format!("/trace?of={}", percent(&place.piston));
    if radius > 30.0 {
        d.link(&address, &format!("piston {}", place.piston), |d| {
            d.text(at.0, at.1 + 20.0, &place.piston, "halo", Anchor::Middle);
        });
    }
    if radius > 52.0 {
        d.text(at.0, at.1 + 38.0, &place.size.text, "s t2 halo", Anchor::Middle);
    }
}

fn draw_masses(d: &mut Drawing, set: &SetView, top: f64, hand: f64, narrow: bool) {
    let masses: Vec<f64> = set.places.iter().map(|p| p.mass.value).collect();
    let least = masses.iter().copied().fold(f64::INFINITY, f64::min);
    let most = masses.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if !least.is_finite() || !most.is_finite() {
        return;
    }
    let allowed = set.mass_spread_allowed.value.max(0.1);
    let middle = f64::midpoint(least, most);
    let half = (0.75 * allowed).max(0.6 * (most - least));
    let (from, to) = (middle - half, middle + half);
    let right = d.width - hand - if narrow { 0.0 } else { 170.0 };
    let scale = Scale::new(from, to, hand, right);
    let y = top + 54.0;
    d.line(hand, y, right, y, "mid-l");
    let step = round_step(to - from, 6.0);
    let mut value = (from / step).ceil() * step;
    while value <= to {
        d.line(scale.at(value), y, scale.at(value), y - 9.0, "thin");
        let text = format!("{}", (value * 100.0).round() / 100.0);
        d.text(scale.at(value), y + 17.0, &text, "s t2", Anchor::Middle);
        value += step;
    }
    for mass in &masses {
        let x = scale.at(*mass);
        d.poly(&[(x, y - 9.0), (x - 5.0, y - 19.0), (x + 5.0, y - 19.0)], "fi", true);
    }
    for mass in [least, most] {
        d.line(scale.at(mass), y - 20.0, scale.at(mass), y - 40.0, "wit");
    }
    let spread = set.mass_spread.with_unit();
    let (a, b) = (scale.at(least), scale.at(most));
    let is_wide = b - a > 70.0;
    d.dimension((a, y - 34.0), (b, y - 34.0), if is_wide { &spread } else { "" }, Tone::Ink);
    if !is_wide {
        d.text(b + 26.0, y - 29.0, &spread, "", Anchor::Start);
    }
    let said = format!("of {} allowed", set.mass_spread_allowed.with_unit());
    if narrow {
        d.text(d.width - hand, top + 4.0, &said, "s t2", Anchor::End);
    } else {
        d.text(d.width - hand, y - 24.0, &said, "", Anchor::End);
        d.text(d.width - hand, y, set.mass_word.text(), "strong", Anchor::End);
        let letters = float(set.mass_word.text().chars().count());
        d.mark(set.mass_word, d.width - hand - letters * 7.6 - 14.0, y - 5.0, 7.0);
    }
}

fn rack(asked: &Asked, view: &MatchingSheet, open: &SetView) -> Markup {
    let address = |name: &str, value: &str| {
        let mut kept = String::new();
        for key in ["engine_type", "seed", "moves"] {
            if let Some(v) = asked.get(key) {
                kept.push_str(&format!("&{key}={}", percent(v)));
            }
        }
        format!("/matching?{name}={}{kept}", percent(value))
    };
    let is_open = |s: &SetView| s.set == open.set && s.block == open.block;
    html! {
        ul.rack.scroll tabindex="0" aria-label="Rack of trays" {
            @for s in &view.in_tray {
                li { a.done href=(address("set", &s.set)) aria-label={ "Set " (s.set)
                    ", in its tray" }
                    aria-current=[is_open(s).then_some("true")] { (s.set) (dots(s.places.len(),
                        true)) } }
            }
            @for s in &view.proposed {
                li { a.maybe href=(address("block", &s.block))
                    aria-label={ "Tray for block " (s.block) ", to fill" }
                    aria-current=[is_open(s).then_some("true")] { (s.block) (dots(s.places.len(),
                        false)) } }
            }
        }
    }
}

fn dots(n: usize, filled: bool) -> Markup {
    let fill = if filled { "currentColor" } else { "none" };
    html! {
        svg viewBox=(format!("0 0 {} 9", 9 * n.max(1))) aria-hidden="true" {
            @for i in 0..n {
                circle cx=(format!("{}", 4.5 + 9.0 * float(i))) cy="4.5" r="3.4" fill=(fill)
                    stroke="currentColor" {}
            }
        }
    }
}

fn found(view: &MatchingSheet) -> Markup {
    let label = format!("{} found, {} at most", view.found, view.bound);
    three_sizes(&label, [(396.0, 104.0), (300.0, 104.0), (350.0, 104.0)], |d, _| {
        let most = float(view.bound.max(view.found).max(1));
        let step = round_step(most, 6.0).max(1.0);
        let end = (most * 1.12 / step).ceil() * step;
        let (w, y) = (d.width, 74.0);
        let scale = Scale::new(0.0, end, 8.0, w - 10.0);
        d.rect(1.0, y - 26.0, w - 2.0, 48.0, "mid-l f2");
        let at = (scale.at(float(view.found)), scale.at(float(view.bound)));
        d.rect(scale.at(0.0), y - 12.0, at.0 - scale.at(0.0), 12.0, "fi");
        d.rule(scale.at(0.0), y, scale.at(end) - scale.at(0.0), end, step, 1);
        d.line(at.0, y - 12.0, at.0, y - 48.0, "wit");
        d.line(at.1, y, at.1, y - 48.0, "pencil");
        if view.bound > view.found {
            d.dimension((at.0, y - 38.0), (at.1, y - 38.0), "", Tone::Ink);
        }
        d.text(at.0 - 24.0, y - 33.0, &format!("{} found", view.found), "m strong", Anchor::End);
        let most = format!("{} at most", view.bound);
        d.text(w, y - 56.0, &most, "tb-", Anchor::End);
    })
}

/// What is left over: bores to the left of each size, pistons to the right; short where a piston
/// is wanted.
fn left(bands: &[Band]) -> Markup {
    let said: Vec<String> = bands
        .iter()
        .map(|b| format!("{}: {} bores, {} pistons", b.from.text, b.bores, b.pistons))
        .collect();
    let label = format!("Left over by size: {}", said.join("; "));
    let height = 22.0 + 25.0 * float(bands.len());
    three_sizes(&label, [(396.0, height), (300.0, height), (350.0, height)], |d, _| {
        let middle = d.width * 0.46;
        let most = bands.iter().map(|b| b.bores.max(b.pistons)).max().unwrap_or(1).max(1);
        let per = (d.width * 0.26) / float(most);
        d.text(middle - 40.0, 13.0, "bores", "let s t2", Anchor::End);
        d.text(middle + 40.0, 13.0, "pistons", "let s t2", Anchor::Start);
        for (i, band) in bands.iter().enumerate() {
            let y = 22.0 + 25.0 * float(i);
            let (b, p) = (float(band.bores) * per, float(band.pistons) * per);
            d.text(middle, y + 14.0, &band.from.text, "s", Anchor::Middle);
            d.rect(middle - 34.0 - b, y, b, 18.0, "mid-l iron");
            d.rect(middle + 34.0, y, p, 18.0, "mid-l ff");
            d.rect(middle + 34.0, y, p, 18.0, "h135");
            let class = if band.bores > band.pistons { "strong tr-" } else { "" };
            d.text(middle - 40.0 - b, y + 14.0, &band.bores.to_string(), class, Anchor::End);
            let mut text = band.pistons.to_string();
            if band.bores > band.pistons {
                text = format!("{text}, short by {}", band.bores - band.pistons);
            }
            d.text(middle + 40.0 + p, y + 14.0, &text, class, Anchor::Start);
        }
    })
}

fn left_blocks(view: &MatchingSheet) -> Markup {
    html! {
        @if !view.left_blocks.is_empty() {
            details {
                summary { (counted(view.left_blocks.len(), "block")) " left without a set, and why"
                    }
                table {
                    tr { th { "Block" } th { "Why" } }
                    @for left in &view.left_blocks {
                        tr { td { a href={ "/trace?of=" (percent(&left.block)) } { (left.block) } }
                            td { (left.reason) } }
                    }
                }
            }
        }
        @if view.undecided > 0 {
            p { (counted(view.undecided, "piece")) " cannot be told: measure again before matching."
                }
        }
    }
}

fn advice(view: &MatchingSheet) -> Markup {
    html! {
        @if !view.advice.is_empty() {
            div.note {
                @for (i, a) in view.advice.iter().take(3).enumerate() {
                    p { @if i == 0 { b { "To turning: " } } (a.words) "." }
                }
            }
        }
    }
}

fn keys(view: &MatchingSheet, chosen: Option<&SetView>) -> Markup {
    html! {
        div.keys {
            @if !view.proposed.is_empty() {
                (make(view, "", &format!("Make these {}", counted(view.proposed.len(), "set")),
                    true))
            }
            @if let Some(set) = chosen.filter(|s| s.set.is_empty()) {
                (make(view, &set.block, "Make this one", false))
            }
            @if let Some(set) = chosen.filter(|s| !s.set.is_empty()) {
                a.key.ink href={ "/ticket/" (percent(&set.set)) } { "Ticket" }
                a.key href={ "/trace?set=" (percent(&set.set)) } { "Trace" }
            }
        }
        @if let Some(set) = chosen.filter(|s| !s.set.is_empty()) {
            details.no-print {
                summary { "Take set " (set.set) " apart" }
                form.typing method="post"
                    action={ "/api/sets/" (percent(&set.set)) "/break?then=/matching" } {
                    label.say { "Why" input.long type="text" name="reason" required maxlength="300";
                        }
                    button.key type="submit" { "Take apart" }
                }
            }
        }
    }
}

fn make(view: &MatchingSheet, block: &str, key: &str, is_first: bool) -> Markup {
    let class = if is_first { "key ink" } else { "key" };
    html! {
        form method="post" action="/api/sets?then=/matching" {
            input type="hidden" name="engine_type" value=(view.engine_type);
            input type="hidden" name="seed" value=(view.seed);
            input type="hidden" name="moves" value=(view.moves);
            @if !block.is_empty() { input type="hidden" name="blocks" value=(block); }
            button class=(class) type="submit" { (key) }
        }
    }
}

/// The judgement of a whole set: the gravest of its clearances and its spread of mass.
pub(super) fn set_judgement(set: &SetView) -> Markup {
    judgement(set.places.iter().fold(set.mass_word, |w, p| w.worse(p.word)))
}
