//! Sheet 4.3: kitting. What each waiting block would get now, and what the ways of choosing come
//! to in the long run.

use axum::extract::State;
use axum::response::Response;
use bedplate_works::sets::first_type;
use bedplate_works::sets::kitting::{KittingSheet, NowLine, PolicyLine};
use bedplate_works::trace::counted;
use bedplate_works::works::Works;
use maud::{Markup, html};

use super::aim::{answered, cannot};
use crate::web::App;
use crate::web::asked::Asked;
use crate::web::draw::{Drawing, Scale};
use crate::web::sheet::{Frame, Says, figure, figure_with_unit, judgement, percent, sheet};

/// Kitting.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let mut frame = app.frame(&asked, "4.3", "Matching", "Kitting".to_owned(), html! {});
    frame.styles = &["drawing.css", "matching.css"];
    let engine_type = asked.owned("engine_type");
    let look = move |works: &Works| {
        let engine_type = engine_type.or_else(|| first_type(&works.plan())).unwrap_or_default();
        works.kitting(&engine_type)
    };
    answered(&app, &asked, look, move |_, view| match view {
        Ok(view) => draw(&frame, view),
        Err(why) => cannot(&frame, "Blocks cannot be kitted as they come.", why),
    })
    .await
}

fn finding(view: &KittingSheet) -> Vec<Says> {
    let (ready, wait): (Vec<&NowLine>, Vec<&NowLine>) =
        view.waiting.iter().partition(|w| w.set.is_some());
    if view.waiting.is_empty() {
        return vec![Says::Ink("No block waits for its pistons.".to_owned())];
    }
    let mut says = vec![Says::Ink(format!(
        "{} at the head of the track, {} in the store.",
        counted(view.waiting.len(), "block"),
        counted(view.pistons, "piston")
    ))];
    says.push(Says::Blue(format!("{} can be kitted in turn.", ready.len())));
    if !wait.is_empty() {
        says.push(Says::Red(format!("{} must wait.", wait.len())));
    }
    says
}

fn draw(frame: &Frame, view: &KittingSheet) -> Markup {
    let body = html! {
        div.kitting data-live="set,piece,reading:" {
            section.panel {
                h2 { "Ways of choosing" small { "played on this works' own scatter: "
                    (view.played) " blocks, " (view.seeds) " times, the same pieces for each" } }
                (ways(&view.ways))
            }
            section.panel {
                h2 { "In their turn" small { "the oldest block first" } }
                div.scroll tabindex="0" role="region" aria-label="Blocks that wait" {
                    (waiting(view)) }
            }
        }
    };
    sheet(frame, &finding(view), &html! {}, &body)
}

fn ways(lines: &[PolicyLine]) -> Markup {
    let most = |of: fn(&PolicyLine) -> f64| {
        lines.iter().map(of).filter(|v| v.is_finite()).fold(1e-9, f64::max)
    };
    let (off, mass) = (most(|l| l.off_target.value), most(|l| l.mass_spread.value));
    html! {
        div.wide-table tabindex="0" role="region" aria-label="Ways of choosing compared" {
            table.ways {
                thead { tr { th scope="col" { "Way" }
                    th scope="col" colspan="2" { "Blocks completed" }
                    th scope="col" colspan="2" { "Off target, mean" }
                    th scope="col" colspan="2" { "Spread of mass, mean" } } }
                tbody.blue { @for l in lines {
                    tr { th scope="row" { (l.way) }
                        td.n { (figure_with_unit(&l.completed)) }
                        td { (bar(l.completed.value, 100.0)) }
                        td.n { (figure_with_unit(&l.off_target)) }
                        td { (bar(l.off_target.value, off)) }
                        td.n { (figure_with_unit(&l.mass_spread)) }
                        td { (bar(l.mass_spread.value, mass)) } }
                } }
            }
        }
    }
}

/// A pencilled bar on its scale: nothing of it is measured.
fn bar(value: f64, most: f64) -> Markup {
    let mut d = Drawing::new(150.0, 18.0);
    let scale = Scale::new(0.0, most, 2.0, 148.0);
    d.line(2.0, 15.0, 148.0, 15.0, "wit");
    if value.is_finite() {
        d.rect(2.0, 3.0, scale.at(value.min(most)) - 2.0, 12.0, "pencil fbw");
    }
    d.finish(&format!("{value:.1} of {most:.1}"), "cell")
}

fn waiting(view: &KittingSheet) -> Markup {
    let lines = &view.waiting;
    // What comes later is told on the condition that those before it were made.
    let next = lines.iter().position(|line| line.set.is_some());
    html! {
        table {
            thead { tr { th.n scope="col" { "Turn" } th scope="col" { "Block" }
                th scope="col" { "Pistons, clearance in µm" } th scope="col" { "Why" } } }
            tbody { @for (i, line) in lines.iter().enumerate() {
                tr {
                    td.n { (i + 1) }
                    td.one-line { a href={ "/trace?of=" (percent(&line.block)) } { b { (line.block) } } }
                    @match &line.set {
                        Some(set) => {
                            td { ul.pieces-in-line { @for p in &set.places {
                                li { i { (p.position) } (p.piston) " " (figure(&p.clearance)) }
                            } } (judgement(set.places.iter().fold(set.mass_word,
                                |w, p| w.worse(p.word)))) }
                            td.blue { (line.why)
                                @if next == Some(i) { (make(view, &line.block)) } }
                        }
                        None => { td { b.red { "must wait" } } td.red { (line.why) } }
                    }
                }
            } }
        }
    }
}

fn make(view: &KittingSheet, block: &str) -> Markup {
    html! {
        form.no-print method="post" action="/api/kit?then=/matching/kitting" {
            input type="hidden" name="engine_type" value=(view.engine_type);
            input type="hidden" name="block" value=(block);
            button.key type="submit" { "Make this set" }
        }
    }
}
