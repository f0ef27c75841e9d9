//! One set in its tray, and changing it: what comes out, what stays; first shown, then done.

use axum::extract::{Path, State};
use axum::response::Response;
use bedplate_works::sets::SetView;
use bedplate_works::sets::made::Change;
use bedplate_works::works::{Works, WorksError};
use maud::{Markup, html};
use serde::Serialize;

use super::rest::{has_rest, rest, sure_percent};
use super::tray::MainFit;
use super::{notes, tray_panel};
use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::{Asked, Form};
use crate::web::sheet::{Frame, Says, percent, sheet};

/// A place of the set with the piece that is in it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
struct Filled {
    /// How a change names it: `piston/2`.
    place: String,
    /// In words: `Piston 2`.
    title: String,
    /// The piece or grade.
    piece: String,
}

/// A place where a change puts another piece.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
struct Exchanged {
    title: String,
    out: String,
    into: String,
}

/// What is to be changed, as the form says it.
#[derive(Debug, Clone, Default, Serialize)]
struct Wanted {
    out: Vec<String>,
    fitted: Vec<String>,
    with: String,
    scrap: bool,
    reason: String,
}

/// A set, and what it would be.
#[derive(Debug, Serialize)]
struct OneSet {
    set: SetView,
    clearance: MainFit,
    filled: Vec<Filled>,
    wanted: Option<Wanted>,
    would_be: Option<SetView>,
    exchanged: Vec<Exchanged>,
    /// Why it cannot be changed so, or empty.
    trouble: String,
}

/// `GET /matching/set/{set}`: the set and its form; with `at.PLACE=out`, `stay` or `may` what it
/// would be.
pub(in crate::web) async fn page(
    State(app): State<App>,
    Path(set): Path<String>,
    asked: Asked,
) -> Response {
    let mut frame = app.frame(&asked, "4", "Matching", format!("Set {set}"), notes());
    frame.styles = &["drawing.css", "matching.css"];
    let (wanted, is_page) = (wanted_of(&asked), asked.form == Form::Page);
    let look = move |works: &Works| one_set(works, &set, wanted, is_page);
    show(&app, &asked, look, move |_, view| draw(&frame, view)).await
}

/// What the form says of each place; nothing before anything is said.
fn wanted_of(asked: &Asked) -> Option<Wanted> {
    let said = |what: &str| -> Vec<String> {
        let named = asked.query.iter().filter(|(_, v)| *v == what);
        named.filter_map(|(k, _)| k.strip_prefix("at.")).map(str::to_owned).collect()
    };
    asked.query.keys().any(|k| k.starts_with("at.")).then(|| Wanted {
        out: said("out"),
        fitted: said("stay"),
        with: asked.get("with").unwrap_or_default().trim().to_owned(),
        scrap: asked.get("scrap").is_some(),
        reason: asked.get("reason").unwrap_or_default().trim().to_owned(),
    })
}

fn one_set(
    works: &Works,
    set: &str,
    wanted: Option<Wanted>,
    is_page: bool,
) -> Result<OneSet, WorksError> {
    let view = works.set(set)?;
    let mut one = OneSet {
        clearance: MainFit::of_set(works, set)?,
        filled: filled(works, &view),
        set: view,
        wanted,
        would_be: None,
        exchanged: vec![],
        trouble: String::new(),
    };
    let Some(wanted) = &one.wanted else { return Ok(one) };
    match would_be(works, set, wanted, one.filled.len()) {
        Ok(after) => {
            one.exchanged = exchanged(&one.filled, &filled(works, &after));
            one.would_be = Some(after);
        }
        // On the page the form stays, with what was said in it; a client is told by the status.
        Err(e) if is_page => one.trouble = e.to_string(),
        Err(e) => return Err(e),
    }
    Ok(one)
}

fn would_be(
    works: &Works,
    set: &str,
    wanted: &Wanted,
    places: usize,
) -> Result<SetView, WorksError> {
    let refused = |why: &str| Err(WorksError::refused(format!("changing set {set}"), why));
    if wanted.out.is_empty() && wanted.fitted.len() == places {
        return refused("every place is said to stay; say which piece comes out");
    }
    if wanted.fitted.is_empty() && !wanted.out.is_empty() && wanted.out.len() < places {
        return refused(
            "say of one place at least that it is fitted and stays, or let all come out",
        );
    }
    let change = Change {
        out: wanted.out.clone(),
        fitted: wanted.fitted.clone(),
        with: wanted.with.clone(),
        scrap: wanted.scrap,
        reason: wanted.reason.clone(),
    };
    works.changed_set(set, &change)
}

/// The places of a set but its block's, pistons first.
fn filled(works: &Works, set: &SetView) -> Vec<Filled> {
    let plan = works.plan();
    let engine_type = works.floor(|f| f.sets.get(&set.set).map(|s| s.engine_type.clone()));
    let filler = engine_type
        .and_then(|t| plan.fits.get(plan.sets.get(&t)?.fits.first()?))
        .and_then(|fit| plan.characteristics.get(fit.inner()))
        .map_or("piston", |c| c.part.as_str());
    let titled = |part: &str, position: &str| {
        let title = plan.parts.get(part).map_or(part, |p| p.title.as_str());
        format!("{title} {position}").trim_end().to_owned()
    };
    let alone = set.places.len() == 1;
    let pistons = set.places.iter().enumerate().map(|(i, p)| {
        let position = if alone { String::new() } else { (i + 1).to_string() };
        Filled {
            place: format!("{filler}/{position}"),
            title: titled(filler, &position),
            piece: p.piston.clone(),
        }
    });
    let others = set.pieces.iter().map(|p| Filled {
        place: format!("{}/{}", p.part, p.position),
        title: titled(&p.part, &p.position),
        piece: p.piece.clone(),
    });
    pistons.chain(others).collect()
}

fn exchanged(before: &[Filled], after: &[Filled]) -> Vec<Exchanged> {
    let now = |place: &str| after.iter().find(|f| f.place == place).map(|f| f.piece.clone());
    before
        .iter()
        .filter_map(|f| {
            let into = now(&f.place).unwrap_or_default();
            (into != f.piece).then(|| Exchanged {
                title: f.title.clone(),
                out: f.piece.clone(),
                into,
            })
        })
        .collect()
}

fn finding(one: &OneSet) -> Vec<Says> {
    let set = &one.set;
    let state = match set.state.as_str() {
        "in its tray" => "lies in its tray".to_owned(),
        other => format!("is {other}"),
    };
    let mut says = vec![Says::Ink(format!("Set {} {state}.", set.set))];
    if !one.trouble.is_empty() {
        says.push(Says::Red(format!("It cannot be changed so: {}.", one.trouble)));
    } else if let Some(after) = &one.would_be {
        let n = bedplate_works::trace::counted(one.exchanged.len(), "piece");
        let sure = sure_percent(after.probability);
        says.push(Says::Blue(format!("With {n} exchanged: all inside with {sure}.")));
    }
    says
}

fn draw(frame: &Frame, one: &OneSet) -> Markup {
    let shown = one.would_be.as_ref().unwrap_or(&one.set);
    let body = html! {
        div.mt.one {
            div.lt.two-panels[has_rest(shown)].alone[!has_rest(shown)] {
                (tray_panel(&one.clearance, shown))
                @if has_rest(shown) { (rest(shown)) }
            }
            div.aside.no-print {
                (would_become(one))
                @if one.set.state == "in its tray" { (form(one)) (apart(&one.set)) }
                div.keys {
                    a.key href={ "/ticket/" (percent(&one.set.set)) } { "Ticket" }
                    a.key href={ "/matching?set=" (percent(&one.set.set)) } { "Back to the trays" }
                }
            }
        }
    };
    sheet(frame, &finding(one), &html! {}, &body)
}

/// What would be exchanged, and the key that does it.
fn would_become(one: &OneSet) -> Markup {
    let (Some(wanted), Some(after)) = (&one.wanted, &one.would_be) else { return html! {} };
    let gone = if wanted.scrap { "scrapped if it was to come out" } else { "free again" };
    html! {
        section.advice.would aria-label="What it would be" {
            @if one.exchanged.is_empty() { p { "Every piece would stay where it is." } }
            @else {
                p { "All inside with " (sure_percent(after.probability)) ", now "
                    (sure_percent(one.set.probability)) ". Nothing is recorded yet." }
                (deed(one, wanted))
                div.scroll tabindex="0" role="region" aria-label="Pieces exchanged" {
                    table {
                        thead { tr { th scope="col" { "Place" }
                            th scope="col" { "Leaves, " (gone) }
                            th scope="col" { "Goes in" } } }
                        tbody { @for e in &one.exchanged {
                            tr { td { (e.title) } td.long-name { (e.out) }
                                td.long-name { b { (e.into) } } } } }
                    }
                }
            }
        }
    }
}

/// The key that does what was shown.
fn deed(one: &OneSet, wanted: &Wanted) -> Markup {
    html! {
        form method="post" action={ "/api/sets/" (percent(&one.set.set))
            "/change?then=" (percent(&back(&one.set))) } {
            input type="hidden" name="out" value=(wanted.out.join(","));
            input type="hidden" name="fitted" value=(wanted.fitted.join(","));
            input type="hidden" name="with" value=(wanted.with);
            @if wanted.scrap { input type="hidden" name="scrap" value="on"; }
            @if wanted.reason.is_empty() {
                label.say { "Why" input.long type="text" name="reason" required
                    maxlength="300"; }
            } @else { input type="hidden" name="reason" value=(wanted.reason); }
            button.key.ink type="submit" { "Do it" }
        }
    }
}

fn back(set: &SetView) -> String {
    format!("/matching/set/{}", percent(&set.set))
}

/// Each place: fitted and stays, comes out, or may change.
fn form(one: &OneSet) -> Markup {
    let wanted = one.wanted.clone().unwrap_or_default();
    let says = |place: &String| {
        if wanted.out.contains(place) {
            "out"
        } else if one.wanted.is_none() || wanted.fitted.contains(place) {
            "stay"
        } else {
            "may"
        }
    };
    html! {
        form.changing method="get" action=(back(&one.set)) aria-labelledby="changing" {
            h2 #changing { "Change this set" }
            table {
                thead { tr { th scope="col" { "Piece" } th scope="col" { "Fitted, stays" }
                    th scope="col" { "Comes out" } th scope="col" { "May change" } } }
                tbody { @for f in &one.filled {
                    tr {
                        th scope="row" { (f.title) " " b.long-name { (f.piece) } }
                        @for (value, words) in [("stay", "is fitted and stays"),
                            ("out", "comes out"), ("may", "may change")] {
                            td { label.tick-cell { input type="radio" name={ "at." (f.place) }
                                value=(value) checked[says(&f.place) == value]
                                aria-label={ (f.title) " " (f.piece) " " (words) }; } }
                        }
                    }
                } }
            }
            label.say { "What goes in, where one comes out; empty: the best in the store"
                input type="text" name="with" maxlength="80" autocomplete="off"
                    value=(wanted.with); }
            label.tick { input type="checkbox" name="scrap" checked[wanted.scrap];
                "What comes out is scrapped, not free again" }
            label.say { "Why" input.long type="text" name="reason" required maxlength="300"
                value=(wanted.reason); }
            button.key.blue type="submit" { "Show what it would be" }
        }
    }
}

fn apart(set: &SetView) -> Markup {
    html! {
        details {
            summary { "Take set " (set.set) " apart" }
            form.typing method="post"
                action={ "/api/sets/" (percent(&set.set)) "/break?then=/matching" } {
                label.say { "Why" input.long type="text" name="reason" required maxlength="300"; }
                button.key type="submit" { "Take apart" }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn filled(place: &str, piece: &str) -> Filled {
        Filled { place: place.to_owned(), title: place.to_owned(), piece: piece.to_owned() }
    }

    #[test]
    fn only_places_with_another_piece_are_exchanged() {
        let before = [filled("piston/1", "P1"), filled("piston/2", "P2")];
        let after = [filled("piston/1", "P1"), filled("piston/2", "P7")];
        let found = exchanged(&before, &after);
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].out.as_str(), found[0].into.as_str()), ("P2", "P7"));
    }
}
