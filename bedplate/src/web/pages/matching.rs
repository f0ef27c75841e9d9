//! Sheet 4: matching.

use axum::extract::State;
use axum::response::Response;
use bedplate_engine::set::Search;
use bedplate_works::sets::{MatchingSheet, SetView, first_type};
use bedplate_works::trace::counted;
use maud::{Markup, html};

use self::rest::{has_rest, sure_percent};
use self::tray::{MainFit, is_proposed};
use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::sheet::{
    Frame, Says, TagCell, empty, figure, figure_with_unit, judgement, percent, sheet, tag,
};

pub(in crate::web) mod aim;
pub(in crate::web) mod change;
mod found;
pub(in crate::web) mod kitting;
pub(super) mod rest;
pub(in crate::web) mod store;
pub(super) mod tray;

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
                .or_else(|| first_type(&works.plan()))
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
        return vec![Says::Ink("Nothing lies in the store yet.".to_owned())];
    }
    let bound = if view.found == view.bound {
        "No pairing at all gives more".to_owned()
    } else {
        format!("No pairing at all gives more than {}", view.bound)
    };
    let by_hand = view
        .by_hand
        .filter(|_| view.bound > 0)
        .map_or_else(String::new, |n| format!("; first in, first out gives {n}"));
    vec![
        Says::Ink(format!("{} can be built from the store.", counted(view.found, "engine"))),
        Says::Blue(format!("{bound}{by_hand}.")),
    ]
}

fn draw(mut frame: Frame, asked: &Asked, view: &MatchingSheet) -> Markup {
    frame.title.clone_from(&view.fit);
    let [lower, _, upper] = &view.clearance;
    let mut cells = vec![
        TagCell::One("Clearance".to_owned()),
        TagCell::Limits(upper.with_unit(), lower.with_unit()),
    ];
    if view.mass_spread.value > 0.0 {
        cells.push(TagCell::One(format!("Mass spread {}", view.mass_spread.with_unit())));
    }
    let chosen = chosen(asked, view);
    let fit = MainFit::of_sheet(view);
    let body = html! {
        div.mt data-live="set,reading:" {
            @if let Some(set) = chosen {
                div.lt.with-rest[has_rest(set)] {
                    (tray_panel(&fit, set))
                    @if has_rest(set) { (rest::rest(set)) }
                    section.panel.no-print {
                        h2 { "Rack of trays" small {
                            (counted(view.in_tray.len(), "set")) " in tray, "
                            (view.proposed.len()) " to fill" } }
                        (rack(asked, view, set))
                    }
                }
            } @else { (nothing(view)) }
            div.rt {
                div.aside tabindex="0" role="region" aria-label="Found and left over" {
                    section { h2 { "Found and possible" } (found::found(view)) }
                    (found::advice(view))
                    (found::loss(view))
                    (found::left(&view.bands))
                    (found::left_blocks(view))
                    (found::rules(view))
                }
                (keys(view, chosen))
            }
        }
    };
    sheet(&frame, &finding(view), &tag(&cells), &body)
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
        _ => "No pieces in the store complete a block.",
    };
    empty(
        what,
        "Measure blocks at the gauge bench, and pistons with their mass; those that are accepted \
         come into the store and are matched here.",
    )
}

/// One set: heading, tray in plan, and the table behind it.
fn tray_panel(fit: &MainFit, set: &SetView) -> Markup {
    html! {
        section.panel.one-set {
            (tray_heading(set))
            div.fit { (tray::tray(fit, set)) }
            (tray_table(set))
        }
    }
}

fn tray_heading(set: &SetView) -> Markup {
    let sure = format!("all inside with {}", sure_percent(set.probability));
    html! {
        h2.blue[is_proposed(set)] {
            @if set.set.is_empty() { "Tray to fill" } @else { "Set " (set.set) }
            small.long-name { "block " a href={ "/trace?of=" (percent(&set.block)) } { (set.block) }
                @if set.by.is_empty() { ", " (set.state) }
                @else { ", made by " (set.by) }
                ", " (sure) }
        }
    }
}

fn tray_table(set: &SetView) -> Markup {
    let has_mass = set.places.iter().any(|p| p.mass.value > 0.0);
    html! {
        details.figures.no-print {
            summary { "As a table" }
            div.table tabindex="0" role="region" aria-label="The pistons of the set" {
                table {
                    thead { tr { th scope="col" { "Place" } th scope="col" { "Piston" }
                        th.n scope="col" { "Bore mm" } th.n scope="col" { "Piston mm" }
                        th.n scope="col" { "Clearance" } th scope="col" { "Judgement" }
                        th.n scope="col" { "Inside with" }
                        @if has_mass { th.n scope="col" { "Mass" } } } }
                    tbody {
                        @for p in &set.places {
                            tr {
                                td { (p.position) }
                                td.long-name { a href={ "/trace?of=" (percent(&p.piston)) } {
                                    (p.piston) } }
                                td.n { (figure(&p.bore)) } td.n { (figure(&p.size)) }
                                td.n { (figure_with_unit(&p.clearance)) }
                                td { (judgement(p.word)) }
                                td.n { (sure_percent(p.probability)) }
                                @if has_mass { td.n { (figure_with_unit(&p.mass)) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

pub(super) fn float(n: usize) -> f64 {
    u32::try_from(n).map_or(f64::MAX, f64::from)
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

/// One dot a piston, in two rows beyond six.
fn dots(n: usize, filled: bool) -> Markup {
    let fill = if filled { "currentColor" } else { "none" };
    let columns = if n > 6 { n.div_ceil(2) } else { n.max(1) };
    let rows = n.max(1).div_ceil(columns);
    html! {
        svg viewBox=(format!("0 0 {} {}", 9 * columns, 9 * rows)) aria-hidden="true" {
            @for i in 0..n {
                circle cx=(4.5 + 9.0 * float(i % columns)) cy=(4.5 + 9.0 * float(i / columns))
                    r="3.4" fill=(fill) stroke="currentColor" {}
            }
        }
    }
}

fn keys(view: &MatchingSheet, chosen: Option<&SetView>) -> Markup {
    html! {
        div.keys {
            @match view.proposed.len() {
                0 => {}
                1 => { (make(view, "", "Make this set", true)) }
                n => { (make(view, "", &format!("Make these {}", counted(n, "set")), true)) }
            }
            @if let Some(set) = chosen.filter(|s| s.set.is_empty() && view.proposed.len() > 1) {
                (make(view, &set.block, "Make this one", false))
            }
            @if let Some(set) = chosen.filter(|s| !s.set.is_empty()) {
                a.key.ink href={ "/ticket/" (percent(&set.set)) } { "Ticket" }
                a.key href={ "/matching/set/" (percent(&set.set)) } { "Change" }
                a.key href={ "/trace?set=" (percent(&set.set)) } { "Trace" }
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

/// The gravest judgement of a whole set: its clearances, its other fits and what must be alike.
pub(super) fn set_judgement(set: &SetView) -> Markup {
    let places = set.places.iter().map(|p| p.word);
    let others = set.fits.iter().map(|f| f.word).chain(set.spreads.iter().map(|s| s.word));
    let mut all = places.chain(others);
    let first = all.next().unwrap_or(bedplate_works::wire::Word::NotJudged);
    judgement(all.fold(first, bedplate_works::wire::Word::worse))
}
