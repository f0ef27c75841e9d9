//! The ticket of a set: A5 beside the tray, or on the fitter's tablet.

use axum::extract::{Path, State};
use axum::response::Response;
use bedplate_works::sets::{SetPlace, SetView};
use bedplate_works::works::{Works, WorksError};
use maud::{DOCTYPE, Markup, html};
use serde::Serialize;

use super::code::code;
use super::matching::set_judgement;
use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::draw::{Anchor, Drawing, Scale, Window};
use crate::web::sheet::{Frame, figure, figure_with_unit, hatches, judgement, percent};

/// What a ticket says: the set, and the window its clearances are judged on.
#[derive(Debug, Serialize)]
struct Ticket {
    set: SetView,
    lower_um: f64,
    target_um: f64,
    upper_um: f64,
    guard_um: f64,
}

/// A ticket.
pub(in crate::web) async fn page(
    State(app): State<App>,
    Path(set): Path<String>,
    asked: Asked,
) -> Response {
    let frame = app.frame(&asked, "4", "Ticket", format!("Ticket {set}"), html! {});
    show(&app, &asked, move |works| ticket(works, &set), move |_, view| draw(&frame, view)).await
}

fn ticket(works: &Works, set: &str) -> Result<Ticket, WorksError> {
    let view = works.set(set)?;
    let plan = works.plan();
    let engine_type = works.floor(|f| f.sets.get(set).map(|s| s.engine_type.clone()));
    let fit = engine_type
        .and_then(|t| plan.sets.get(&t))
        .and_then(|rule| plan.fits.get(rule.fits.first()?))
        .ok_or_else(|| {
            let why = "the works file no longer has the fit that it was made by";
            WorksError::refused(format!("the ticket of set {set}"), why)
        })?;
    // Expanded, k = 2, from the two gauges' standard uncertainties.
    let um = |id: &str| {
        plan.characteristics
            .get(id)
            .map_or(0.0, |c| plan.standard_uncertainty(c) * c.unit.factor() * 1e6)
    };
    Ok(Ticket {
        lower_um: fit.lower.to("µm"),
        target_um: fit.target.to("µm"),
        upper_um: fit.upper.to("µm"),
        guard_um: 2.0 * um(fit.outer()).hypot(um(fit.inner())),
        set: view,
    })
}

fn draw(frame: &Frame, view: &Ticket) -> Markup {
    let set = &view.set;
    html! {
        (DOCTYPE)
        html lang="en" data-theme=(frame.lamp.name()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width,initial-scale=1";
                title { "Ticket " (set.set) }
                link rel="stylesheet" href="/assets/sheet.css";
                link rel="stylesheet" href="/assets/ticket.css";
                link rel="icon" href="/assets/mark.svg" type="image/svg+xml";
                script src="/assets/sheet.js" type="module" {}
            }
            body.ticket-page {
                (hatches())
                nav.ticket-keys.no-print aria-label="Ticket" {
                    a.key href={ "/matching?set=" (percent(&set.set)) } { "Back to the trays" }
                    button.key.ink type="button" data-print="" { "Print A5" }
                }
                main.ticket {
                    (head(frame, view))
                    ol { @for place in &set.places { (line(view, place)) } }
                    (foot(set))
                }
                div #spoken.spoken role="status" aria-live="polite" {}
            }
        }
    }
}

fn head(frame: &Frame, view: &Ticket) -> Markup {
    let set = &view.set;
    html! {
        header {
            div { small { "Set" } h1.number.long-name { (set.set) } }
            div {
                small { (frame.works) }
                p.block.long-name { "Block " a href={ "/trace?of=" (percent(&set.block)) } {
                    (set.block) } }
                p.way { "Arrows to the front. " (set_judgement(set)) }
                @if !set.engine.is_empty() {
                    p { "In engine " a href={ "/record/" (percent(&set.engine)) } { (set.engine) } }
                } @else { p { (set.state) } }
            }
            div { small { "Scan when filled" }
                (code(&set.set, &format!("Code that holds the set number {}", set.set))) }
        }
    }
}

fn line(view: &Ticket, place: &SetPlace) -> Markup {
    html! {
        li {
            span.n { (place.position) }
            span { small { "Piston" }
                b.long-name { a href={ "/trace?of=" (percent(&place.piston)) } { (place.piston) } }
                    }
            span { small { "Size, mass" }
                span.two { (figure_with_unit(&place.size)) br; (figure_with_unit(&place.mass)) } }
            span { small { "Clearance µm" } b { (figure(&place.clearance)) }
                span.word { (judgement(place.word)) } }
            span.strip { (strip(view, place)) }
            span.tick aria-label={ "tick when piston " (place.piston) " is in its bore" } role="img"
                {}
        }
    }
}

fn strip(view: &Ticket, place: &SetPlace) -> Markup {
    let mut d = Drawing::new(180.0, 58.0);
    let window = Window {
        lower: view.lower_um,
        upper: view.upper_um,
        target: Some(view.target_um),
        guard: view.guard_um,
        value: place.clearance.value,
        word: place.word,
    };
    d.strip((4.0, 176.0), 22.0, &window, "");
    let span = window.upper - window.lower;
    let scale = Scale::new(window.lower - 0.3 * span, window.upper + 0.3 * span, 4.0, 176.0);
    for limit in [window.lower, window.upper] {
        d.text(scale.at(limit), 52.0, &format!("{limit}"), "s t2", Anchor::Middle);
    }
    d.finish(&format!("Clearance {} µm on its window", place.clearance.text), "")
}

fn foot(set: &SetView) -> Markup {
    html! {
        footer {
            div { small { "Mass spread" }
                strong { (figure(&set.mass_spread)) " of " (set.mass_spread_allowed.with_unit()) } }
            div { small { "Made" } strong { (set.made.get(..16).unwrap_or(&set.made).replace('T',
                " ")) }
                " " (set.by) }
            div { small { "Fitted by" } }
        }
    }
}
