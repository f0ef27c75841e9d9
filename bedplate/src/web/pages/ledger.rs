//! Sheet 8.2: the ledger.

use axum::extract::State;
use axum::response::Response;
use bedplate_works::ledger::{LedgerLine, LedgerSheet};
use bedplate_works::wire::Word;
use maud::{Markup, html};

use crate::exit::Trouble;
use crate::web::App;
use crate::web::answer::{blocking, json, show, trouble_answer};
use crate::web::asked::{Asked, Form};
use crate::web::sheet::{Frame, Says, empty, judgement_saying, percent, sheet};

/// How many entries are shown unless it is said otherwise.
const ENTRIES_SHOWN: usize = 100;
/// How many subjects of one entry are shown: an engine that is begun has a score of pieces.
const ABOUT_SHOWN: usize = 4;

/// The ledger.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let mut frame = app.frame(&asked, "8.2", "Ledger", "Entries".to_owned(), notes());
    frame.styles = &["drawing.css", "trace.css"];
    let from = asked.number("from");
    let count = asked.number("count").unwrap_or(ENTRIES_SHOWN);
    show(
        &app,
        &asked,
        move |works| works.ledger(from, count),
        move |_, view| draw(&frame, view, count),
    )
    .await
}

fn notes() -> Markup {
    html! { span { "Readings and entries share one sequence of numbers; nothing is ever taken out."
    } }
}

fn draw(frame: &Frame, view: &LedgerSheet, count: usize) -> Markup {
    let says = if view.whole.whole {
        Says::Ink(format!("{} The last number is {}.", view.whole.finding, view.last_number))
    } else {
        Says::Red(view.whole.finding.clone())
    };
    let body = html! {
        div.ledger data-live="" {
            section.panel {
                @if view.entries.is_empty() {
                    (empty("No entry stands here.",
                        "Whatever is done in the works is written here: \
                        pieces, sets, engines, checks, and every edition of the works file."))
                } @else {
                    div.scroll tabindex="0" role="region" aria-label="Entries, the newest first" {
                        table {
                            tr { th.n { "Number" } th { "When" } th { "What happened" } th { "About"
                                } th { "By" } }
                            @for e in &view.entries { (entry(e)) }
                        }
                    }
                }
                (pages(view, count))
            }
            div.aside tabindex="0" role="region" aria-label="Seals" { (seals(view)) }
        }
    };
    sheet(frame, &[says], &html! {}, &body)
}

fn entry(e: &LedgerLine) -> Markup {
    html! {
        tr #{ "n" (e.line.number) } {
            td.n { (e.line.number) } td.one-line { (e.line.when) } td.long-name { (e.line.what) }
            td { span.about {
                @for about in e.about.iter().take(ABOUT_SHOWN) { (subject(about)) }
                @if e.about.len() > ABOUT_SHOWN { span.muted { "and " (e.about.len() - ABOUT_SHOWN)
                    " more" } }
            } }
            td.one-line { (e.line.by) }
        }
    }
}

fn subject(about: &str) -> Markup {
    let (kind, name) = about.split_once('/').unwrap_or((about, ""));
    let address = match kind {
        "reading" => format!("/reading/{}", percent(name)),
        "engine" => format!("/record/{}", percent(name)),
        "piece" | "set" | "heat" | "gauge" => format!("/trace?{kind}={}", percent(name)),
        _ => String::new(),
    };
    html! {
        @if address.is_empty() { span.long-name { (name) } }
        @else { a.long-name href=(address) { (name) } }
    }
}

fn pages(view: &LedgerSheet, count: usize) -> Markup {
    html! {
        nav.keys aria-label="Pages of the ledger" {
            @if let Some(older) = view.older {
                a.key href={ "/ledger?from=" (older) "&count=" (count) } { "Older" }
            }
            @if let Some(newer) = view.newer {
                a.key href={ "/ledger?from=" (newer) "&count=" (count) } { "Newer" }
                a.key href={ "/ledger?count=" (count) } { "Newest" }
            }
        }
    }
}

fn seals(view: &LedgerSheet) -> Markup {
    let whole = &view.whole;
    html! {
        section.seal-state.broken[!whole.whole] aria-label="Whether the record is whole" {
            p.mid { @if whole.whole { (judgement_saying(Word::Accept, "Record whole")) }
                @else { (judgement_saying(Word::Reject, "Record broken")) } }
            p { (whole.finding) }
            p { (whole.readings) " readings and " (whole.entries) " entries in " (whole.groups)
                " groups." }
            p { "Last seal" br; code { (whole.head) } }
        }
        p.muted { "Write the last seal down away from this machine: who changes the record later \
            cannot bring it back." }
        div.keys { a.key href="/api/verify" { "Check every seal now" }
            a.key href="/api/plan" { "Works file as figures" } }
    }
}

/// The plan.
pub(in crate::web) async fn plan(State(app): State<App>, asked: Asked) -> Response {
    let look = |works: &bedplate_works::works::Works| {
        Ok(bedplate_works::plan::json::to_json(&works.plan()))
    };
    figures(&app, &asked, blocking(&app, look).await)
}

/// Verifying: every seal is computed anew.
pub(in crate::web) async fn verify(State(app): State<App>, asked: Asked) -> Response {
    let answer = blocking(&app, bedplate_works::works::Works::whole_anew).await;
    figures(&app, &asked, answer)
}

/// Figures that have no page of their own.
fn figures<V: serde::Serialize>(app: &App, asked: &Asked, answer: Result<V, Trouble>) -> Response {
    match answer {
        Ok(view) => json(&view),
        Err(trouble) => trouble_answer(app, &Asked { form: Form::Json, ..asked.clone() }, &trouble),
    }
}
