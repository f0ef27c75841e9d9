//! Sheet 1: the works.

mod day;
mod shafts;

use axum::extract::State;
use axum::response::Response;
use bedplate_works::overview::{Decision, Shaft, StationState, WorksSheet};
use maud::{DOCTYPE, Markup, html};

use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::draw::{Drawing, Screen, on_screens};
use crate::web::sheet::{Says, empty, extras, figure_with_unit, sheet};

/// The works.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let frame = app
        .frame(&asked, "1", "Works overview", "Casting to test bed".to_owned(), notes())
        .with(&["works.css"]);
    show(
        &app,
        &asked,
        |works| works.overview(),
        move |_, view| sheet(&frame, &finding(view), &html! {}, &body(view)),
    )
    .await
}

/// The wall, read from six metres.
pub(in crate::web) async fn wall(State(app): State<App>, asked: Asked) -> Response {
    show(&app, &asked, |works| works.overview(), wall_page).await
}

fn notes() -> Markup {
    let mark = |width, draw: fn(&mut Drawing)| {
        let mut d = Drawing::new(width, 20.0);
        draw(&mut d);
        d.small()
    };
    let collar = |state| {
        let mut d = Drawing::new(13.0, 21.0);
        shafts::collar(&mut d, (0.5, 10.5), (12.0, 20.0), state);
        d.small()
    };
    html! {
        span { (collar(StationState::Working)) "working" }
        span { (collar(StationState::Starved)) "starved" }
        span { (collar(StationState::Blocked)) "blocked" }
        span { (collar(StationState::Standing)) "standing: work waits, none came in an hour" }
        span { (mark(12.0, |d| { d.rect(0.5, 7.0, 5.0, 6.0, "mid-l f3"); d.rect(5.5, 1.0, 6.0, 18.0, "mid-l f3"); }))
            "thick: many wait" }
        span { (mark(30.0, |d| d.line(0.0, 10.0, 30.0, 10.0, "hidden"))) "planned most" }
    }
}

const COUNTS: [&str; 9] = ["No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight"];

fn finding(view: &WorksSheet) -> Vec<Says> {
    let nothing_yet = view.newest.is_empty() && view.shafts.iter().all(is_empty);
    if nothing_yet && view.decisions.is_empty() {
        let text = "Nothing is in the record yet. Take the first reading, or read in a file.";
        return vec![Says::Ink(text.to_owned())];
    }
    let n = view.decisions.len();
    let count = COUNTS.get(n).map_or_else(|| n.to_string(), |w| (*w).to_owned());
    let wait = if n == 1 { "decision waits." } else { "decisions wait." };
    let mut says = vec![Says::Ink(format!("{count} {wait}"))];
    if let Some((line, station, waiting)) = &view.held_by {
        says.push(Says::Red(format!("{station} holds the works back:")));
        says.push(Says::Ink(format!("{waiting} {} stand before it.", many(line))));
    } else {
        says.push(Says::Ink("No queue is longer than planned.".to_owned()));
    }
    says
}

fn is_empty(shaft: &Shaft) -> bool {
    shaft.store == 0 && shaft.stations.iter().all(|s| s.waiting == 0)
}

fn many(title: &str) -> String {
    format!("{}s", title.to_lowercase())
}

fn body(view: &WorksSheet) -> Markup {
    html! {
        div.works data-live="" {
            (decisions(&view.decisions))
            div.day {
                div.plot.rule { (day::rule(&view.day)) }
                @if view.shafts.is_empty() { (no_lines()) } @else { (lanes(view)) }
            }
        }
    }
}

fn no_lines() -> Markup {
    let what = empty(
        "No line is in the works file yet.",
        "Name the operations and lines of each part there, and the shafts are drawn here: a \
         section as thick as the queue that waits. Readings can be taken at the gauge bench, sheet \
         2, or read in from a file, sheet 1.1.",
    );
    html! {
        div.no-lines { (what)
            p.keys { a.key.ink href="/bench" { "Take a reading" } a.key href="/import" { "Read in a file" } } }
    }
}

fn lanes(view: &WorksSheet) -> Markup {
    let label = track_label(view);
    html! {
        div.lanes {
            div.plot.track {
                (on_screens(&label, &[(Screen::Desk, 952.0, 530.0), (Screen::Panel, 632.0, 412.0)],
                    |d, screen| shafts::draw(d, view, &shafts::Manner::of(screen))))
            }
            (waits(view))
            (newest(&view.newest))
            (time_table(view))
            (table(view))
        }
    }
}

fn track_label(view: &WorksSheet) -> String {
    let held = view.held_by.as_ref().map_or_else(
        || "no queue is longer than planned".to_owned(),
        |(line, station, n)| format!("{n} {} stand before {station}", many(line)),
    );
    format!(
        "Path of each part from casting to test bed as stepped shafts, thick where many wait: {held}"
    )
}

fn decisions(decisions: &[Decision]) -> Markup {
    html! {
        @if decisions.is_empty() {
            div.nothing { p { b { "No decision waits." } }
                p { "A queue beyond plan, a spindle that drifts, a gauge past its time or an engine \
                     outside its band is lettered here with what waiting costs." } }
        } @else {
            ol.decisions.scroll tabindex="0" aria-label="Decisions waiting, dearest first" {
                @for d in decisions { (decision(d)) }
            }
        }
    }
}

fn decision(d: &Decision) -> Markup {
    html! {
        li data-letter=(d.letter) {
            span.letter aria-hidden="true" { (d.letter) }
            h2 { span.spoken { (d.letter) ": " } (d.title) }
            p.cost { (d.cost) }
            p { (d.why) }
            @if !d.proposed.is_empty() { p.proposed { "Proposed: " (d.proposed) } }
            div.keys { a.key href=(d.sheet) { "See " (d.sheet_title) } }
        }
    }
}

/// What waits, longest first: what a phone shows in the shafts' place.
fn waits(view: &WorksSheet) -> Markup {
    let mut queues: Vec<(usize, usize, &str, &str)> = view
        .shafts
        .iter()
        .flat_map(|s| {
            s.stations.iter().map(move |t| (t.waiting, t.planned_most, &*t.title, &*s.title))
        })
        .filter(|q| q.0 > 0)
        .collect();
    queues.sort_by_key(|q| std::cmp::Reverse(q.0));
    html! {
        section.waits {
            h2 { "What waits" small { "longest first" } }
            ol {
                @for (n, most, station, line) in queues {
                    li.over[n > most] { b { (n) } span { (line) " before " (station.to_lowercase())
                        @if n > most { br; small { "planned most " (most) } } } }
                }
                li { b { (view.track.in_tray) } span { "sets in their trays" } }
                li { b { (view.track.building) } span { "engines being built" } }
                li { b { (view.track.at_bed) } span { "engines at the test bed" } }
            }
        }
    }
}

fn newest(numbers: &[String]) -> Markup {
    html! {
        section.newest {
            h2 { "Passed last" }
            @if numbers.is_empty() { p.muted { "No engine has passed yet." } }
            div { @for n in numbers { a href={ "/record/" (n) } aria-label={ "Record of engine " (n) } { (n) } } }
        }
    }
}

fn time_table(view: &WorksSheet) -> Markup {
    html! {
        @if let Some([total, worked, waiting]) = &view.time_in_works {
            table.time {
                thead { tr { th scope="col" { "An engine in the works" } th.n scope="col" { "mean" } } }
                tbody {
                    tr { td { "block cast to engine passed" } td.n { (figure_with_unit(total)) } }
                    tr { td { "being cut, built and run" } td.n { (figure_with_unit(worked)) } }
                    tr { td { "waiting" } td.n { (figure_with_unit(waiting)) } }
                }
            }
        }
    }
}

fn table(view: &WorksSheet) -> Markup {
    html! {
        details.figures {
            summary { "The shafts as figures" }
            div.table.scroll tabindex="0" {
                table {
                    thead { tr { th scope="col" { "Line" } th scope="col" { "Station" } th scope="col" { "State" }
                        th.n scope="col" { "Waiting" } th.n scope="col" { "Planned most" } } }
                    tbody { @for s in &view.shafts {
                        @for t in &s.stations { tr { td { (s.title) } td { (t.title) }
                            td { (state_word(t.state)) }
                            td.n { (t.waiting) } td.n { (t.planned_most) } } }
                        tr { td { (s.title) } td { "Store" } td {} td.n { (s.store) } td.n { (s.store_planned_most) } }
                    } }
                }
            }
        }
    }
}

const fn state_word(state: StationState) -> &'static str {
    match state {
        StationState::Working => "working",
        StationState::Starved => "starved",
        StationState::Blocked => "blocked",
        StationState::Standing => "standing",
    }
}

/// Decisions the wall has room for.
const WALL_DECISIONS: usize = 4;

fn wall_page(asked: &Asked, view: &WorksSheet) -> Markup {
    let more = view.decisions.len().saturating_sub(WALL_DECISIONS);
    html! {
        (DOCTYPE)
        html lang="en" data-theme=(asked.lamp.name()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width,initial-scale=1";
                title { (view.day.passed) " passed · " (view.works) }
                link rel="stylesheet" href="/assets/sheet.css";
                link rel="icon" href="/assets/mark.svg" type="image/svg+xml";
                script src="/assets/sheet.js" type="module" {}
                (extras(&["works.css"]))
            }
            body.on-wall {
                (crate::web::sheet::hatches())
                main.field.wall data-live="" {
                    h1 #finding.count tabindex="-1" { (view.day.passed)
                        small { "of " (view.day.planned_by_now) br; "passed" } }
                    div.plot.rule { (day::wall_rule(&view.day)) }
                    ol.wall-decisions {
                        @for d in view.decisions.iter().take(WALL_DECISIONS) {
                            li { span.letter { (d.letter) } b { (d.title) } i { (d.cost) } }
                        }
                        @if more > 0 { li.more { "and " (more) " more" } }
                        @if view.decisions.is_empty() { li.more { "No decision waits." } }
                    }
                    div.plot.track {
                        @if !view.shafts.is_empty() {
                            (on_screens(&track_label(view),
                                &[(Screen::Desk, 1160.0, 700.0), (Screen::Panel, 1160.0, 760.0)],
                                |d, _| shafts::draw(d, view, &shafts::Manner::wall())))
                        }
                    }
                    a.clock href="/" aria-label={ (view.as_of_short) ", to the works sheet" } { (view.as_of_short) }
                }
                div #spoken.spoken role="status" aria-live="polite" {}
            }
        }
    }
}
