//! Sheet 7: the test bed.

use axum::extract::State;
use axum::response::Response;
use bedplate_works::bed::{BedSheet, PointLine};
use bedplate_works::floor::EngineState;
use bedplate_works::plan::Plan;
use bedplate_works::wire::{Figure, Word};
use bedplate_works::works::{Works, WorksError};
use maud::{Markup, html};
use serde::Serialize;

use super::typed::{self, Field};
use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::draw::{Anchor, Drawing, Scale, round_step, three_sizes};
use crate::web::sheet::{
    Frame, Says, TagCell, cautions, empty, figure, judgement, percent, sheet, tag,
};

/// An engine at the bed, or none.
#[derive(Debug, Serialize)]
#[serde(untagged)]
enum View {
    Engine(Box<BedSheet>),
    None { finding: &'static str },
}

/// The bed.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let mut frame = app.frame(&asked, "7", "Test bed", "Engines".to_owned(), notes());
    frame.styles = &["drawing.css", "bed.css"];
    let plan = app.works.plan();
    let engine = asked.owned("engine");
    show(
        &app,
        &asked,
        move |works| look(works, engine),
        move |_, view| match view {
            View::Engine(view) => draw(frame, &plan, view),
            View::None { finding } => {
                let body = empty(
                    "No engine waits for the bed.",
                    "An engine comes here when it is begun on the build sheet; its schedule stands \
                     under [bed.ENGINE] in the works file.",
                );
                sheet(&frame, &[Says::Ink((*finding).to_owned())], &html! {}, &body)
            }
        },
    )
    .await
}

fn look(works: &Works, engine: Option<String>) -> Result<View, WorksError> {
    let open = || {
        let waiting = works.waiting_for_bed();
        let tested = works.floor(|f| {
            let is_tested =
                |e: &&String| f.engines.get(*e).is_some_and(|x| x.state == EngineState::Tested);
            waiting.iter().find(is_tested).cloned()
        });
        tested.or_else(|| waiting.into_iter().next())
    };
    match engine.or_else(open) {
        Some(engine) => Ok(View::Engine(Box::new(works.bed(&engine)?))),
        None => Ok(View::None { finding: "No engine waits for the bed." }),
    }
}

fn notes() -> Markup {
    html! {
        span { svg width="18" height="18" aria-hidden="true" { circle class="fi" cx="9" cy="9" r="5"
            {} }
            "measured, corrected, with its uncertainty" }
        span { svg width="34" height="12" aria-hidden="true" { path class="centre" d="M0 6H34" {} }
            "expected" }
        span { svg width="34" height="14" aria-hidden="true" { rect class="fgw" width="34"
            height="14" {} }
            "acceptance band" }
        span { svg width="14" height="14" aria-hidden="true" {
            rect class="mid-l" x="2" y="2" width="9" height="9" {} } "power" }
    }
}

fn draw(mut frame: Frame, plan: &Plan, view: &BedSheet) -> Markup {
    frame.title = if view.bed.is_empty() {
        format!("Engine {}", view.engine)
    } else {
        format!("Engine {}, {}", view.engine, view.bed)
    };
    let says = match view.word {
        Word::Reject | Word::CannotTell => Says::Red(view.finding.clone()),
        _ => Says::Ink(view.finding.clone()),
    };
    let boxed = tag(&[
        TagCell::One(view.engine_type.clone()),
        TagCell::One(view.displacement.with_unit()),
        TagCell::One(view.standard.to_owned()),
    ]);
    let body = html! {
        div.tbed data-live="engine,reading:" {
            div.lt {
                section.panel {
                    h2 { "Torque and power" small { (view.points.len()) " points, " (view.standard)
                        } }
                    div.fit { (torque(&view.points)) }
                }
                div.scroll tabindex="0" role="region" aria-label="Points of the schedule" {
                    (log(&view.points)) }
            }
            div.aside tabindex="0" role="region" aria-label="Decision, channels and waiting engines"
                {
                (decide(view))
                (cautions("Before the engine is started", &view.cautions))
                section { h2 { "All channels" } (channels(&view.points)) }
                (typing(plan, view))
                (waiting(view))
            }
        }
    };
    sheet(&frame, &[says], &boxed, &body)
}

/// The torque curve on squared paper: band, expected, measured with uncertainty, power beneath.
pub(super) fn torque(points: &[PointLine]) -> Markup {
    let said: Vec<String> = points
        .iter()
        .map(|p| {
            let torque = p.torque.as_ref().map_or("not run".to_owned(), Figure::with_unit);
            format!("{}: {torque}, band {} to {}", p.name, p.lower.text, p.upper.text)
        })
        .collect();
    let label = format!("Torque against speed. {}", said.join("; "));
    three_sizes(&label, [(880.0, 450.0), (590.0, 300.0), (350.0, 300.0)], |d, _| {
        curve(d, points, true)
    })
}

/// As on the record: no power, smaller.
pub(super) fn torque_small(points: &[PointLine], size: (f64, f64)) -> Markup {
    let mut d = Drawing::new(size.0, size.1);
    curve(&mut d, points, false);
    let label = "Torque against speed with its acceptance band; the figures stand in the table of \
                 points on the test-bed sheet";
    d.finish(label, "")
}

fn ends(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values
        .filter(|v| v.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, m), v| (l.min(v), m.max(v)))
}

/// Squared paper from `from` to `to` by `step`; figures beside every line.
fn squares(d: &mut Drawing, y: &Scale, ends: (f64, f64), step: f64, x: (f64, f64)) {
    let mut value = (ends.0 / step).ceil() * step;
    let mut n = 0;
    while value <= ends.1 + step * 1e-6 && n < 40 {
        d.line(x.0, y.at(value), x.1, y.at(value), "hair");
        let text = format!("{}", (value * 100.0).round() / 100.0);
        d.text(x.0 - 7.0, y.at(value) + 5.0, &text, "s", Anchor::End);
        value += step;
        n += 1;
    }
}

fn curve(d: &mut Drawing, points: &[PointLine], with_power: bool) {
    let torques = points.iter().flat_map(|p| {
        [Some(p.lower.value), Some(p.upper.value), p.torque.as_ref().map(|t| t.value)]
    });
    let (low, high) = ends(torques.flatten());
    let (slow, fast) = ends(points.iter().map(|p| p.planned_speed.value));
    if !low.is_finite() || !slow.is_finite() {
        d.text(8.0, 24.0, "No point is planned.", "t2", Anchor::Start);
        return;
    }
    let (x0, x1) = (44.0, d.width - if with_power { 46.0 } else { 6.0 });
    let (top, foot) = (8.0, d.height - 30.0);
    let spread = (fast - slow).max(fast * 0.1).max(1.0);
    let x = Scale::new(slow - spread * 0.1, fast + spread * 0.1, x0, x1);
    let room = (high - low).max(1e-6);
    // Power takes the lower third of the paper.
    let below = if with_power { 1.0 } else { 0.25 };
    let y_ends = (low - room * below, high + room * 0.18);
    let y = Scale::new(y_ends.0, y_ends.1, foot, top);
    squares(d, &y, y_ends, round_step(y_ends.1 - y_ends.0, 7.0), (x0, x1));
    for p in points {
        let at = x.at(p.planned_speed.value);
        d.line(at, top, at, foot, "hair");
        d.text(at, d.height - 10.0, &p.planned_speed.text, "s t2", Anchor::Middle);
    }
    d.rect(x0, top, x1 - x0, foot - top, "mid-l");
    let line = |of: &dyn Fn(&PointLine) -> f64| -> Vec<(f64, f64)> {
        points.iter().map(|p| (x.at(p.planned_speed.value), y.at(of(p)))).collect()
    };
    let (upper, lower) = (line(&|p| p.upper.value), line(&|p| p.lower.value));
    let band: Vec<_> = upper.iter().chain(lower.iter().rev()).copied().collect();
    d.poly(&band, "fgw", true);
    d.poly(&upper, "thick", false);
    d.poly(&lower, "thick", false);
    d.poly(&line(&|p| p.expected.value), "centre", false);
    measured(d, points, &x, &y, with_power);
    if with_power {
        power(d, points, &x, (foot, top), x1);
    }
    if with_power {
        d.text(x0 + 8.0, top + 18.0, "N·m", "let halo", Anchor::Start);
    }
    let unit = points.first().map_or("", |p| p.planned_speed.unit);
    d.text(0.0, d.height - 10.0, unit, "s t3", Anchor::Start);
}

fn measured(d: &mut Drawing, points: &[PointLine], x: &Scale, y: &Scale, with_text: bool) {
    let run: Vec<(f64, f64)> = points
        .iter()
        .filter_map(|p| Some((x.at(p.planned_speed.value), y.at(p.torque.as_ref()?.value))))
        .collect();
    d.poly(&run, "thick run", false);
    for p in points {
        let Some(torque) = &p.torque else { continue };
        let at = x.at(p.planned_speed.value);
        if let Some(u) = &p.uncertainty {
            let (a, b) = (y.at(torque.value - u.value), y.at(torque.value + u.value));
            d.line(at, a, at, b, "mid-l");
            d.line(at - 6.0, a, at + 6.0, a, "mid-l");
            d.line(at - 6.0, b, at + 6.0, b, "mid-l");
        }
        d.circle(at, y.at(torque.value), 4.2, "fi");
        if p.word != Word::Accept {
            d.mark(p.word, at + 16.0, y.at(torque.value), 7.0);
        }
        if with_text {
            let text = &torque.text;
            d.text(at - 9.0, y.at(torque.value) + 20.0, text, "strong halo", Anchor::End);
        }
    }
}

fn power(d: &mut Drawing, points: &[PointLine], x: &Scale, y: (f64, f64), right: f64) {
    let (_, most) = ends(points.iter().filter_map(|p| Some(p.power.as_ref()?.value)));
    if !most.is_finite() || most <= 0.0 {
        return;
    }
    let step = round_step(most, 3.0);
    let scale = Scale::new(0.0, most, y.0, y.0 + (y.1 - y.0) * 0.36);
    let run: Vec<(f64, f64)> = points
        .iter()
        .filter_map(|p| Some((x.at(p.planned_speed.value), scale.at(p.power.as_ref()?.value))))
        .collect();
    d.poly(&run, "mid-l", false);
    for (px, py) in &run {
        d.rect(px - 4.0, py - 4.0, 8.0, 8.0, "mid-l ff");
    }
    let mut value = 0.0;
    while value <= most {
        d.text(right + 7.0, scale.at(value) + 5.0, &format!("{value}"), "s t2", Anchor::Start);
        value += step;
    }
    d.text(right + 7.0, y.0 - (y.0 - y.1) * 0.36 - 14.0, "kW", "let", Anchor::Start);
}

fn cell(f: Option<&Figure>) -> Markup {
    html! { @match f { Some(f) => (figure(f)), None => "—" } }
}

fn log(points: &[PointLine]) -> Markup {
    html! {
        table.log {
            tr { th { "Point" } th.n { "/min" } th.n { "Observed N·m" } th.n { "Factor" }
                th.n { "Corrected N·m" } th.n { "Band N·m" } th.n { "From expected %" } th.n { "kW"
                    }
                th.n { "bar" } th.n { "g/kWh" } th { "Judged" } }
            @for p in points {
                tr {
                    td { b { (p.name) } } td.n { (cell(p.speed.as_ref())) }
                    td.n { (cell(p.observed_torque.as_ref())) } td.n { (cell(p.factor.as_ref())) }
                    td.n { b { (cell(p.torque.as_ref())) }
                        @if let Some(u) = &p.uncertainty { " ± " (u.text) } }
                    td.n { (p.lower.text) " to " (p.upper.text) }
                    td.n { (cell(p.against_expected.as_ref())) }
                    td.n { (cell(p.power.as_ref())) } td.n { (cell(p.mean_pressure.as_ref())) }
                    td.n { (cell(p.consumption.as_ref()))
                        @if p.consumption_word == Word::Reject { " " span.red { "too much" } } }
                    td { (judgement(p.word)) }
                }
            }
        }
        @for p in points.iter().filter(|p| !p.missing.is_empty() || p.torque.is_none()) {
            p.muted { "Point " (p.name) ": " @if p.missing.is_empty() { (p.reason) } @else {
                "missing " (p.missing.join(", ")) } }
        }
    }
}

fn channels(points: &[PointLine]) -> Markup {
    let rows = points.first().map_or(&[][..], |p| p.channels.as_slice());
    html! {
        div.scroll tabindex="0" role="region" aria-label="All channels by point" {
            table {
                tr { th { "Channel" } @for p in points { th.n { (p.name) } } }
                @for (i, channel) in rows.iter().enumerate() {
                    @let unit = points.iter().find_map(|p| p.channels.get(i)?.judged.as_ref())
                        .map_or("", |j| j.value.unit);
                    tr { td { (channel.title) " " span.unit { (unit) } }
                        @for p in points {
                            td.n { (cell(p.channels.get(i).and_then(|c| c.judged.as_ref()).map(|j|
                                &j.value))) }
                        }
                    }
                }
            }
        }
    }
}

fn decide(view: &BedSheet) -> Markup {
    let engine = percent(&view.engine);
    let then = percent(&format!("/bed?engine={engine}"));
    html! {
        section {
            h2 { "Where it stands" small { (judgement(view.word)) } }
            p { (capital(&view.state))
                @if !view.tested.is_empty() { "; ran on " (view.bed) ", " (view.tested_by) } "." }
            @match &view.may_pass {
                Ok(()) => {
                    form.typing.no-print method="post" action={ "/api/engines/" (engine)
                        "/pass?then=" (then) } {
                        label.say { @if view.word == Word::Accept { "Note (may be empty)" } @else {
                            "Note: why it passes all the same" }
                            input.long type="text" name="note" maxlength="300" required[view.word !=
                                Word::Accept]; }
                        div.keys { button.key.ink type="submit" { "Pass engine" } }
                    }
                }
                Err(why) => p.muted { "It cannot be passed now: " (why) "." }
            }
            details.no-print {
                summary { "Record a run, or hold the engine" }
                form.typing method="post" action={ "/api/engines/" (engine) "/run?then=" (then) } {
                    div.fields { label.say { "Ran on bed" input type="text" name="bed" required
                        maxlength="60" value=(view.bed); }
                        button.key type="submit" { "Record the run" } }
                }
                form.typing method="post" action={ "/api/engines/" (engine) "/hold?then=" (then) } {
                    label.say { "Why it is held" input.long type="text" name="reason" required
                        maxlength="300"; }
                    button.key type="submit" { "Hold engine" }
                }
            }
            div.keys { a.key href={ "/record/" (engine) } { "Record" }
                a.key href={ "/build?engine=" (engine) } { "Build" } }
        }
    }
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().collect::<String>() + chars.as_str())
}

fn typing(plan: &Plan, view: &BedSheet) -> Markup {
    let then = format!("/bed?engine={}", percent(&view.engine));
    let unit = |id: &str| plan.characteristics.get(id).map_or("", |c| c.unit.symbol);
    html! {
        @for p in &view.points {
            details.no-print {
                summary { "Type the channels of point " (p.name) }
                (typed::form(&view.engine, &then, "Take this point", &html! {
                    @for c in &p.channels {
                        (typed::field(&Field { characteristic: &c.characteristic, position: &p.name,
                            label: &c.title, unit: unit(&c.characteristic) }))
                    }
                }))
            }
        }
    }
}

fn waiting(view: &BedSheet) -> Markup {
    html! {
        @if !view.waiting.is_empty() {
            section.no-print {
                h2 { "Waiting for the bed or a decision" small { (view.waiting.len()) } }
                nav.choose aria-label="Waiting engines" {
                    @for engine in view.waiting.iter().take(200) {
                        a href={ "/bed?engine=" (percent(engine)) }
                            aria-current=[(*engine == view.engine).then_some("true")] { (engine) }
                    }
                }
            }
        }
    }
}
