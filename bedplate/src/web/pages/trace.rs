//! Sheet 8.1: forward and backward.

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use bedplate_works::instant;
use bedplate_works::trace::{Asked as Of, EngineLine, PieceLine, Trace};
use bedplate_works::works::{Works, WorksError};
use maud::{Markup, html};

use super::record::readings;
use crate::exit::Trouble;
use crate::web::App;
use crate::web::answer::{blocking, json, show, trouble_answer};
use crate::web::asked::{Asked, Form};
use crate::web::sheet::{Frame, Says, empty, percent, sheet};

/// A trace; without anything asked, the field to ask in.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let mut frame = app.frame(&asked, "8.1", "Trace", "Trace".to_owned(), html! {});
    frame.styles = &["drawing.css", "trace.css"];
    let question = asked.clone();
    let answer = blocking(&app, move |works| match what_is_asked(works, &question)? {
        Some(of) => works.trace(&of).map(Some),
        None => Ok(None),
    })
    .await;
    match (answer, asked.form) {
        (Ok(Some(view)), Form::Page) => {
            frame.title = format!("{} {}", capital(view.kind), view.name);
            Html(draw(&frame, &asked, &view).into_string()).into_response()
        }
        (Ok(Some(view)), _) => show(&app, &asked, |_| Ok(view), |_, _| html! {}).await,
        (Ok(None), Form::Page) => Html(nothing(&frame, &asked).into_string()).into_response(),
        (Ok(None), _) => json(&()),
        (Err(trouble), Form::Page) if trouble.status == 404 => {
            (StatusCode::NOT_FOUND, Html(missed(&frame, &asked, &trouble).into_string()))
                .into_response()
        }
        (Err(trouble), _) => trouble_answer(&app, &asked, &trouble),
    }
}

fn what_is_asked(works: &Works, asked: &Asked) -> Result<Option<Of>, WorksError> {
    let zone = instant::zone(&works.plan().works.time_zone);
    let of = |name: &str| asked.get(name).map(|v| v.trim().to_owned());
    if let Some(gauge) = of("gauge") {
        let from = asked.get("from").and_then(|t| millis(t, &zone, false));
        let to = asked.get("to").and_then(|t| millis(t, &zone, true));
        return Ok(Some(Of::Gauge { gauge, from, to }));
    }
    let numbers: Vec<u64> = asked
        .get("readings")
        .into_iter()
        .flat_map(|list| list.split(','))
        .filter_map(|n| n.trim().parse().ok())
        .collect();
    let named = of("piece")
        .map(Of::Piece)
        .or_else(|| of("engine").map(Of::Engine))
        .or_else(|| of("set").map(Of::Set))
        .or_else(|| of("heat").map(Of::Heat))
        .or_else(|| (!numbers.is_empty()).then_some(Of::Readings(numbers)));
    match (named, of("of").filter(|name| !name.is_empty())) {
        (Some(named), _) => Ok(Some(named)),
        (None, None) => Ok(None),
        // Nothing of this name: say so as for a piece, whose names are the nearest to look among.
        (None, Some(name)) => Ok(Some(works.meant_by(&name).unwrap_or(Of::Piece(name)))),
    }
}

/// A day or an instant as milliseconds; of a day its first instant, or its last if `is_end`.
fn millis(text: &str, zone: &jiff::tz::TimeZone, is_end: bool) -> Option<i64> {
    if let Ok(at) = text.parse::<jiff::Timestamp>() {
        return Some(at.as_millisecond());
    }
    let day: jiff::civil::Date = text.parse().ok()?;
    let day = if is_end { day.tomorrow().ok()? } else { day };
    let start = day.to_zoned_datetime(zone.clone()).ok()?.timestamp().as_millisecond();
    Some(if is_end { start - 1 } else { start })
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().collect::<String>() + chars.as_str())
}

fn search(asked: &Asked) -> Markup {
    html! {
        div.searches.no-print {
            form method="get" action="/trace" role="search" aria-label="Trace by name" {
                div.fields {
                    label.say { "Engine, piece, set, gauge or heat"
                        input #of type="text" name="of" maxlength="80" autocomplete="off"
                            value=(asked.get("of").unwrap_or_default()); }
                    button.key.ink type="submit" { "Trace" }
                }
            }
            form method="get" action="/trace" role="search"
                aria-label="Trace a gauge in a span of time" {
                div.fields {
                    label.say { "Gauge" input.short type="text" name="gauge" maxlength="80"
                        autocomplete="off"
                        value=(asked.get("gauge").unwrap_or_default()); }
                    label.say { "From" input type="date" name="from"
                        value=(asked.get("from").unwrap_or_default()); }
                    label.say { "To" input type="date" name="to"
                        value=(asked.get("to").unwrap_or_default()); }
                    button.key type="submit" { "Trace gauge" }
                }
            }
        }
    }
}

fn nothing(frame: &Frame, asked: &Asked) -> Markup {
    let body = html! {
        div.trace {
            (search(asked))
            (empty("Trace forward or backward.",
                "From a piece, a heat, a gauge or a set to the engines; from an engine to every \
                    piece, \
                 reading, gauge and person behind it."))
        }
    };
    sheet(frame, &[Says::Ink("What is to be traced?".to_owned())], &html! {}, &body)
}

fn missed(frame: &Frame, asked: &Asked, trouble: &Trouble) -> Markup {
    let body = html! {
        div.trace {
            (search(asked))
            (empty("Nothing of this name is in the record.",
                "Names are matched whole, capitals and all; look at the number on the piece or its \
                 ticket."))
        }
    };
    let finding = [Says::Red(format!("{}.", capital(trouble.what.trim_end_matches('.'))))];
    sheet(frame, &finding, &html! {}, &body)
}

fn draw(frame: &Frame, asked: &Asked, view: &Trace) -> Markup {
    let body = html! {
        div.trace data-live="piece,engine,set,reading:" {
            (search(asked))
            div.found {
            div.scroll tabindex="0" role="region" aria-label="Engines, pieces and what happened" {
                @if !view.engines.is_empty() {
                    section { h2 { "Engines" small { (view.engines.len()) } }
                        (engines(&view.engines)) }
                }
                @if !view.pieces.is_empty() {
                    section { h2 { "Pieces" small { (view.pieces.len()) } } (pieces(&view.pieces)) }
                }
                (scrap(view))
                @if !view.events.is_empty() { section { h2 { "What happened" } (events(view)) } }
                (behind(view))
            }
            div.scroll tabindex="0" role="region" aria-label="Readings behind it" {
                @if !view.readings.is_empty() {
                    section {
                        h2 { "Readings" small { @if view.readings.len() < view.readings_in_all {
                            "the last " (view.readings.len()) " of " (view.readings_in_all)
                        } @else { (view.readings_in_all) } } }
                        (readings(&view.readings))
                    }
                }
            }
            }
        }
    };
    sheet(frame, &[Says::Ink(view.finding.clone())], &html! {}, &body)
}

fn engines(engines: &[EngineLine]) -> Markup {
    html! {
        div.wide-table {
            table {
                tr { th { "Engine" } th { "State" } th { "Begun" } th { "Through" } th { "Trace" } }
                @for e in engines {
                    tr { td { a href={ "/record/" (percent(&e.engine)) } { b { (e.engine) } } }
                        td.long-name { (e.state) } td { (e.built) }
                        td.long-name { (e.through.join(", ")) }
                        td { a href={ "/trace?engine=" (percent(&e.engine)) } { "all of it" } } }
                }
            }
        }
    }
}

fn pieces(pieces: &[PieceLine]) -> Markup {
    html! {
        div.wide-table {
            table {
                tr { th { "Piece" } th { "Part" } th { "Place" } th { "From" } th { "Where it is" }
                    }
                @for p in pieces {
                    tr { td.long-name { a href={ "/trace?piece=" (percent(&p.piece)) } { b {
                        (p.piece) } } }
                        td { (p.part) } td { (p.position) }
                        td.long-name { @if !p.heat.is_empty() {
                            a href={ "/trace?heat=" (percent(&p.heat)) } { (p.heat) } } }
                        td.long-name { @if p.engine.is_empty() { (p.whereabouts) } @else {
                            a href={ "/record/" (percent(&p.engine)) } { (p.whereabouts) } } } }
                }
            }
        }
    }
}

/// A piece that lies free can be taken out of use.
fn scrap(view: &Trace) -> Markup {
    let free = view.pieces.first().filter(|p| view.kind == "piece" && p.whereabouts == "free");
    html! {
        @if let Some(piece) = free {
            details.no-print {
                summary { "Scrap " (piece.piece) }
                form.typing method="post" action={ "/api/pieces/" (percent(&piece.piece))
                    "/scrap?then=" (percent(&format!("/trace?piece={}", percent(&piece.piece)))) } {
                    label.say { "Why" input.long type="text" name="reason" required maxlength="300";
                        }
                    button.key type="submit" { "Scrap this piece" }
                }
            }
        }
    }
}

fn events(view: &Trace) -> Markup {
    html! {
        div.wide-table {
            table {
                tr { th { "When" } th { "What" } th { "By" } th.n { "Number" } }
                @for e in view.events.iter().rev() {
                    tr { td { (e.when) } td.long-name { (e.what) } td { (e.by) }
                        td.n { a href={ "/ledger?from=" (e.number) } { (e.number) } } }
                }
            }
        }
    }
}

fn behind(view: &Trace) -> Markup {
    html! {
        @if !view.gauges.is_empty() || !view.people.is_empty() {
            section {
                h2 { "Gauges and people behind the readings" }
                nav.choose aria-label="Gauges" {
                    @for gauge in &view.gauges {
                        a href={ "/trace?gauge=" (percent(gauge)) } { (gauge) } }
                }
                p { (view.people.join(", ")) }
            }
        }
    }
}
