//! The ticket of a set: A5 beside the tray, or on the fitter's tablet.

use axum::extract::{Path, State};
use axum::response::Response;
use bedplate_works::plan::{Fit, Plan};
use bedplate_works::sets::{FitLine, PieceLine, SetPlace, SetView};
use bedplate_works::wire::Word;
use bedplate_works::works::{Works, WorksError};
use maud::{DOCTYPE, Markup, html};
use serde::Serialize;

use super::code::code;
use super::matching::rest::{fits_by_kind, piece_name, pieces_by_part, sure_percent};
use super::matching::set_judgement;
use super::matching::tray::{MainFit, limit_text, limits_below};
use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::draw::Drawing;
use crate::web::sheet::{Frame, figure, figure_with_unit, hatches, judgement, percent};

/// What a ticket says: the set, sorted by where the fitter puts it.
#[derive(Debug, Serialize)]
struct Ticket {
    set: SetView,
    clearance: MainFit,
    /// The numbered pieces of each cylinder beside its piston.
    cylinders: Vec<Vec<PieceLine>>,
    /// What is there once or not by cylinder: a crankshaft.
    others: Vec<PieceLine>,
    /// Graded pieces by the place they go to.
    graded: Vec<Graded>,
}

/// The grades of one part, place by place.
#[derive(Debug, PartialEq, Eq, Serialize)]
struct Graded {
    title: String,
    /// How many pieces lie at each place.
    each: usize,
    places: Vec<GradedPlace>,
}

/// The grade at one place: two where its halves differ.
#[derive(Debug, PartialEq, Eq, Serialize)]
struct GradedPlace {
    position: String,
    grade: String,
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
    let n = view.places.len();
    let mut ticket = Ticket {
        clearance: MainFit::of_set(works, set)?,
        cylinders: vec![vec![]; n],
        others: vec![],
        graded: vec![],
        set: view,
    };
    let plan = works.plan();
    for group in pieces_by_part(&ticket.set.pieces) {
        let by_cylinder = n > 1 && group.len() % n == 0;
        if group[0].is_graded {
            ticket.graded.push(graded(&plan, group, n));
        } else if by_cylinder {
            for (own, pieces) in ticket.cylinders.iter_mut().zip(group.chunks(group.len() / n)) {
                own.extend_from_slice(pieces);
            }
        } else {
            ticket.others.extend_from_slice(group);
        }
    }
    Ok(ticket)
}

/// The places of a graded part: those of the fit that it is in.
fn graded(plan: &Plan, group: &[PieceLine], cylinders: usize) -> Graded {
    let part = &group[0].part;
    let is_of = |fit: &&Fit| {
        let of = |t: &bedplate_works::plan::FitTerm| {
            plan.characteristics.get(&t.characteristic).is_some_and(|c| c.part == *part)
        };
        fit.terms.iter().any(of)
    };
    let hole = plan.fits.values().find(is_of).and_then(|f| f.terms.first());
    let hole = hole.and_then(|t| plan.characteristics.get(&t.characteristic));
    let names = hole.map_or(&[][..], |c| &c.positions);
    let per_piece = names.len().max(1);
    // One piece with a hole for each place, or one piece with one hole for each cylinder.
    let places = match group.len() {
        n if per_piece > 1 && n % per_piece == 0 => per_piece,
        n if n % cylinders.max(1) == 0 => cylinders.max(1),
        n => n,
    };
    let each = (group.len() / places.max(1)).max(1);
    let place = |(i, halves): (usize, &[PieceLine])| {
        let mut grades: Vec<&str> = halves.iter().map(|p| p.piece.as_str()).collect();
        grades.dedup();
        let named = names.get(i).filter(|_| names.len() == places);
        GradedPlace {
            position: named.cloned().unwrap_or_else(|| (i + 1).to_string()),
            grade: grades.join(" + "),
        }
    };
    Graded {
        title: group[0].title.clone(),
        each,
        places: group.chunks(each).enumerate().map(place).collect(),
    }
}

/// Most numbered pieces of one cylinder beside its piston.
fn own_most(view: &Ticket) -> usize {
    view.cylinders.iter().map(Vec::len).max().unwrap_or(0)
}

/// How close the ticket is set.
fn setting(view: &Ticket) -> &'static str {
    match (view.set.places.len(), own_most(view)) {
        (0..=4, _) | (5..=6, 0) => "",
        (0..=8, _) => "many",
        _ => "many two",
    }
}

/// Share of full size at which everything stays on one A5 page, from what it holds: heights in CSS
/// pixels as the style sheet gives them. A script on the page then finds it to the pixel.
fn size_on_paper(view: &Ticket) -> f64 {
    let (n, own) = (view.set.places.len(), own_most(view));
    let (head, rows, row, graded) = match setting(view) {
        "" => (130.0, n, 70.0, 48.0),
        "many" => (110.0, n, 48.0, 48.0),
        _ => (110.0, n.div_ceil(2), 52.0 * lines(own + 1, 3), 40.0),
    };
    let a_line = if setting(view).contains("two") { 17 } else { 8 };
    let graded: f64 = view.graded.iter().map(|g| graded * lines(g.places.len(), a_line)).sum();
    let fits: f64 = fits_by_kind(&view.set.fits).iter().map(|f| 22.0 * lines(f.len(), 16)).sum();
    let under = fits.max(56.0 * float(view.others.len()));
    let tall = head + row * float(rows) + graded + under + 78.0;
    (500.0 / tall).clamp(0.4, 1.0)
}

fn lines(things: usize, a_line: usize) -> f64 {
    float(things.div_ceil(a_line))
}

fn float(n: usize) -> f64 {
    u32::try_from(n).map_or(f64::MAX, f64::from)
}

fn draw(frame: &Frame, view: &Ticket) -> Markup {
    let set = &view.set;
    let rows = set.places.len().div_ceil(2).max(1);
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
                script src="/assets/ticket.js" type="module" {}
            }
            body.ticket-page {
                (hatches())
                nav.ticket-keys.no-print aria-label="Ticket" {
                    a.key href={ "/matching?set=" (percent(&set.set)) } { "Back to the trays" }
                    @if set.state == "in its tray" {
                        a.key href={ "/matching/set/" (percent(&set.set)) } { "Change" }
                    }
                    button.key.ink type="button" data-print="" { "Print A5" }
                }
                main class={ "ticket " (setting(view)) }
                    style=(format!("--on-paper:{:.3};--rows:{rows}", size_on_paper(view))) {
                    (head(frame, view))
                    ol { @for (i, place) in set.places.iter().enumerate() {
                        (line(view, place, &view.cylinders[i])) } }
                    @for part in &view.graded { (grades(part)) }
                    @if !view.others.is_empty() || !set.fits.is_empty() {
                        div.under {
                            @if !view.others.is_empty() { (others(&view.others)) }
                            @if !set.fits.is_empty() { (fits(&set.fits)) }
                        }
                    }
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
            div.block-code { small { "Block" } (piece_code(&set.block)) }
            div { small { "Scan when filled" }
                (code(&set.set, &format!("Code that holds the set number {}", set.set))) }
        }
    }
}

fn piece_code(piece: &str) -> Markup {
    html! { span.piece-code { (code(piece, &format!("Code that holds {piece}"))) } }
}

fn tick(what: &str) -> Markup {
    html! { span.tick role="img" aria-label={ "tick when " (what) " is in its place" } {} }
}

fn line(view: &Ticket, place: &SetPlace, own: &[PieceLine]) -> Markup {
    html! {
        li.full[!own.is_empty()] {
            span.n { (place.position) }
            span.own {
                span.one { (piece_code(&place.piston))
                    span { small { "Piston" }
                        b.long-name { a href={ "/trace?of=" (percent(&place.piston)) } {
                            (place.piston) } } } }
                @for piece in own {
                    span.one { (piece_code(&piece.piece))
                        span { small { (piece.title) } b.long-name { (piece_name(piece)) } } }
                }
            }
            @if own.is_empty() {
                span.sizes { small { "Size, mass" }
                    span.two { (figure_with_unit(&place.size))
                        @if place.mass.value > 0.0 { br; (figure_with_unit(&place.mass)) } } }
            }
            span.gap { small { "Clearance µm" } b { (figure(&place.clearance)) }
                span.word { (judgement(place.word)) } }
            span.strip { (strip(view, place)) }
            (tick(&format!("piston {}", place.piston)))
        }
    }
}

fn strip(view: &Ticket, place: &SetPlace) -> Markup {
    let mut d = Drawing::new(180.0, 58.0);
    let window = view.clearance.window(place);
    d.strip((4.0, 176.0), 22.0, &window, "");
    limits_below(&mut d, (4.0, 176.0), 52.0, &window);
    d.finish(&format!("Clearance {} µm on its window", place.clearance.text), "")
}

/// The shells of every journal, large: they are picked by eye.
fn grades(part: &Graded) -> Markup {
    html! {
        section.grades aria-label=(part.title) {
            p { b { (part.title) } @if part.each > 1 { small { (part.each) " at each place" } } }
            ul { @for place in &part.places {
                li { i { (place.position) } b { (place.grade) }
                    (tick(&format!("{} {}", part.title, place.position))) }
            } }
        }
    }
}

fn others(pieces: &[PieceLine]) -> Markup {
    html! {
        section.others aria-label="Other pieces" {
            @for piece in pieces {
                span.one { (piece_code(&piece.piece))
                    span { small { (piece.title) " " (piece.position) }
                        b.long-name { (piece_name(piece)) } }
                    (tick(&format!("{} {}", piece.title, piece.piece))) }
            }
        }
    }
}

/// The other fits: what a fitter finds when he measures.
fn fits(fits: &[FitLine]) -> Markup {
    html! {
        section.fits aria-label="Other clearances in µm" {
            @for group in fits_by_kind(fits) {
                @let [lower, _, upper] = &group[0].limits;
                p { b { (group[0].title) }
                    small { (limit_text(lower.value)) " to " (limit_text(upper.value)) " µm" }
                    @for f in group {
                        span { @if !f.position.is_empty() { i { (f.position) } }
                            (figure(&f.clearance))
                            @if f.word != Word::Accept { " " (judgement(f.word)) } }
                    } }
            }
        }
    }
}

fn foot(set: &SetView) -> Markup {
    html! {
        footer {
            @if set.spreads.is_empty() {
                div { small { "All inside with" } strong { (sure_percent(set.probability)) } }
            } @else {
                div { small { "Alike over the cylinders" }
                    @for s in &set.spreads {
                        p { (s.title) " " strong { (figure(&s.spread)) " of "
                            (s.allowed.with_unit()) }
                            @if s.word != Word::Accept { " " (judgement(s.word)) } }
                    }
                    p { "All inside with " strong { (sure_percent(set.probability)) } } }
            }
            div { small { "Made" } strong { (set.made.get(..16).unwrap_or(&set.made).replace('T',
                " ")) }
                " " (set.by) }
            div { small { "Fitted by" } }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shells(n: usize) -> Vec<PieceLine> {
        (0..n)
            .map(|i| PieceLine {
                part: "main_shell".to_owned(),
                title: "Main shell".to_owned(),
                position: (i + 1).to_string(),
                piece: if i == 3 { "M3" } else { "M2" }.to_owned(),
                is_graded: true,
            })
            .collect()
    }

    #[test]
    fn shell_halves_stand_by_journal_and_both_are_named_where_they_differ() {
        let small = bedplate_works::plan::SMALL_WORKS;
        let plan = bedplate_works::plan::read::parse("works.toml", small).unwrap();
        let by_cylinder = graded(&plan, &shells(8), 4);
        assert_eq!(by_cylinder.each, 2);
        assert_eq!(by_cylinder.places.len(), 4);
        assert_eq!(by_cylinder.places[0].grade, "M2");
        assert_eq!(by_cylinder.places[1].grade, "M2 + M3");
    }
}
