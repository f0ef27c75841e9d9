//! Sheet 7.1: the build.

use std::sync::Arc;

use axum::extract::State;
use axum::response::Response;
use bedplate_works::build::{BuildSheet, Check, PlaceLine, StepLine};
use bedplate_works::compression::CylinderRatio;
use bedplate_works::plan::Plan;
use bedplate_works::trace::counted;
use bedplate_works::wire::Word;
use bedplate_works::works::{Works, WorksError};
use maud::{Markup, html};
use serde::Serialize;

use super::typed::{self, Field};
use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::sheet::{
    Frame, Says, TagCell, empty, figure, figure_with_unit, judgement, percent, sheet, tag,
};

/// An engine on the track, or what waits to become one.
#[derive(Debug, Serialize)]
#[serde(untagged)]
enum View {
    Engine(Box<BuildSheet>),
    None { finding: &'static str, sets_waiting: Vec<String> },
}

/// The build.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let mut frame = app.frame(&asked, "7.1", "Build", "Engines".to_owned(), notes());
    frame.styles = &["drawing.css", "build.css"];
    let plan = app.works.plan();
    let engine = asked.owned("engine");
    show(
        &app,
        &asked,
        move |works| look(works, engine),
        move |_, view| match view {
            View::Engine(sheet) => draw(frame, &plan, sheet),
            View::None { finding, sets_waiting } => nobody(&frame, &plan, finding, sets_waiting),
        },
    )
    .await
}

fn look(works: &Works, engine: Option<String>) -> Result<View, WorksError> {
    match engine.or_else(|| works.on_track().into_iter().next()) {
        Some(engine) => Ok(View::Engine(Box::new(works.build(&engine)?))),
        None => Ok(View::None {
            finding: "No engine is on the track.",
            sets_waiting: works.sets_waiting(),
        }),
    }
}

fn notes() -> Markup {
    html! { span { "A step is done when its checks are accepted; an engineer may waive it with a \
    reason." } }
}

fn nobody(frame: &Frame, plan: &Plan, finding: &str, sets_waiting: &[String]) -> Markup {
    let body = html! {
        div.build data-live="engine,set" {
            (empty("No engine is being built.", if sets_waiting.is_empty() {
                "Make a set on the matching sheet; an engine is begun from a set in its tray."
            } else { "Begin one from a set in its tray." }))
            div.aside { (begin(plan, sets_waiting)) }
        }
    };
    sheet(frame, &[Says::Ink(finding.to_owned())], &html! {}, &body)
}

fn draw(mut frame: Frame, plan: &Arc<Plan>, view: &BuildSheet) -> Markup {
    frame.title = format!("Engine {}", view.engine);
    let done = view.steps.iter().filter(|s| s.state != "open").count();
    let boxed = tag(&[
        TagCell::One(view.engine_type.clone()),
        TagCell::One(if view.set.is_empty() {
            "no set".to_owned()
        } else {
            format!("set {}", view.set)
        }),
        TagCell::One(format!("{done} of {} steps", view.steps.len())),
    ]);
    let body = html! {
        div.build data-live="engine,set,reading:" {
            section.panel {
                h2 { "Steps" small { (view.state) ", begun by " (view.built_by) " "
                    (view.built.get(..16).unwrap_or_default().replace('T', " ")) } }
                ol.steps.scroll tabindex="0" aria-label="Build steps" {
                    @for (i, step) in view.steps.iter().enumerate() { (step_line(view, i, step)) }
                    @if view.steps.is_empty() { li { "The works file has no build step for "
                        (view.engine_type) "; add [[step." (view.engine_type) "]]." } }
                }
            }
            div.aside tabindex="0" role="region" aria-label="Pieces and other engines" {
                (compression(&view.compression))
                section { h2 { "In its places" } (places(&view.places)) }
                div.keys {
                    a.key href={ "/bed?engine=" (percent(&view.engine)) } { "Test bed" }
                    a.key href={ "/record/" (percent(&view.engine)) } { "Record" }
                }
                (on_track(view))
                details.no-print { summary { "Begin another engine" } (begin(plan,
                    &view.sets_waiting)) }
            }
        }
    };
    sheet(&frame, &[Says::Ink(view.finding.clone())], &boxed, &body)
}

fn step_line(view: &BuildSheet, step_idx: usize, step: &StepLine) -> Markup {
    let class = if step.is_next { "next" } else { step.state };
    html! {
        li class=(class) {
            span.no { (step_idx + 1) }
            div {
                p.what { b { (step.title) } " "
                    @match step.state {
                        "done" => { (judgement(step.word)) span.muted { " " (step.by) " "
                            (clock(&step.at)) } }
                        "waived" => { span.red { "waived by " (step.by) ": " (step.reason) } }
                        _ => { span.muted { @if step.is_next { "next" } @else { "to come" } } }
                    }
                }
                @if step.is_next {
                    @if !step.caution.is_empty() {
                        section.caution aria-label={ "Caution for " (step.title) } { p {
                            (step.caution) } }
                    }
                    (checks(&step.checks))
                    (next_forms(view, step))
                } @else if !step.checks.is_empty() {
                    details { summary { (counted(step.checks.len(), "check")) }
                        (checks(&step.checks)) }
                }
            }
        }
    }
}

/// The clock's part of an ISO instant.
fn clock(iso: &str) -> &str {
    iso.get(11..16).unwrap_or_default()
}

fn checks(checks: &[Check]) -> Markup {
    html! {
        @if !checks.is_empty() {
            div.scroll tabindex="0" role="region" aria-label="Checks of this step" {
            table {
                tr { th { "Check" } th { "At" } th { "Limits" } th.n { "Reading" } th { "Judged" } }
                @for c in checks {
                    tr {
                        td { (c.title) } td { (c.position) } td { (c.limits) }
                        td.n { @match &c.judged { Some(j) => (figure_with_unit(&j.value)), None =>
                            "—" } }
                        td { (judgement(c.judged.as_ref().map_or(Word::NotJudged, |j| j.word))) }
                    }
                }
            } }
        }
    }
}

fn next_forms(view: &BuildSheet, step: &StepLine) -> Markup {
    let open: Vec<&Check> = step
        .checks
        .iter()
        .filter(|c| c.judged.as_ref().is_none_or(|j| j.word != Word::Accept))
        .collect();
    let then = format!("/build?engine={}", percent(&view.engine));
    let action = format!(
        "/api/engines/{}/steps/{}?then={}",
        percent(&view.engine),
        percent(&step.id),
        percent(&then)
    );
    let fields = html! {
        @for c in &open {
            (typed::field(&Field { characteristic: &c.characteristic, position: &c.position,
                label: &format!("{} {}", c.title, c.position), unit: c.unit }))
        }
    };
    html! {
        div.next-forms.no-print {
            @if !open.is_empty() { (typed::form(&view.engine, &then, "Take readings", &fields)) }
            div.keys {
                form method="post" action=(action) {
                    button.key.ink type="submit" { "Step done" } }
            }
            details {
                summary { "Waive this step" }
                form.typing method="post" action=(action) {
                    input type="hidden" name="waive" value="yes";
                    label.say { "Why it may be left out"
                        input.long type="text" name="reason" required maxlength="300"; }
                    button.key type="submit" { "Waive it" }
                }
            }
        }
    }
}

fn compression(ratios: &[CylinderRatio]) -> Markup {
    html! {
        @if !ratios.is_empty() {
            section {
                h2 { "Compression ratio" }
                table {
                    tr { th { "Cylinder" } th.n { "Ratio" } th.n { "±" } th { "Judged" } }
                    @for r in ratios {
                        tr { td { (r.cylinder) }
                            td.n { @match &r.ratio { Some(f) => b { (figure(f)) }, None => "—" } }
                            td.n { @if let Some(u) = &r.uncertainty { (u.text) } }
                            td { (judgement(r.word))
                                @if !r.missing.is_empty() { p.muted { "missing: "
                                    (r.missing.join(", ")) } } }
                        }
                    }
                }
            }
        }
    }
}

fn places(places: &[PlaceLine]) -> Markup {
    html! {
        table {
            tr { th { "Part" } th { "Piece" } th { "From" } }
            @for p in places {
                tr { td { (p.title) " " (p.position) }
                    td.long-name { @if p.piece.is_empty() { "—" } @else {
                        a href={ "/trace?of=" (percent(&p.piece)) } { (p.piece) } } }
                    td.long-name { @if !p.heat.is_empty() {
                        a href={ "/trace?heat=" (percent(&p.heat)) } { (p.heat) } } }
                }
            }
        }
    }
}

fn on_track(view: &BuildSheet) -> Markup {
    html! {
        @if !view.on_track.is_empty() {
            section.no-print {
                h2 { "On the track" }
                nav.choose aria-label="Engines on the track" {
                    @for engine in &view.on_track {
                        a href={ "/build?engine=" (percent(engine)) }
                            aria-current=[(*engine == view.engine).then_some("true")] { (engine) }
                    }
                }
            }
        }
    }
}

fn begin(plan: &Plan, sets_waiting: &[String]) -> Markup {
    let types: Vec<&String> = plan.engines.keys().collect();
    html! {
        form.typing method="post" action="/api/engines?then=/build" {
            @if sets_waiting.is_empty() {
                p { "No set waits in a tray. " a href="/matching" { "Make one" } "." }
            } @else {
                input type="hidden" name="fill" value="yes";
                @if let [only] = types.as_slice() {
                    input type="hidden" name="engine_type" value=(only);
                } @else {
                    label.say { "Engine type" select name="engine_type" {
                        @for t in &types { option value=(t) { (t) } } } }
                }
                div.fields {
                    label.say { "From set" select name="set" {
                        @for set in sets_waiting { option value=(set) { (set) } } } }
                    label.say { "Engine number (next if empty)"
                        input type="text" name="engine" maxlength="40" autocomplete="off"; }
                }
                p.muted { "Its other places take the oldest free pieces that are gauged and \
                    accepted." }
                button.key.ink type="submit" { "Begin engine" }
            }
        }
    }
}
