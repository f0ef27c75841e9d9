//! One reading and everything behind it.

use axum::extract::{Path, State};
use axum::response::Response;
use bedplate_works::bench::{GaugeStanding, standing};
use bedplate_works::floor::Calibration;
use bedplate_works::instant;
use bedplate_works::judge::Judged;
use bedplate_works::tell;
use bedplate_works::trace::whereabouts;
use bedplate_works::works::{Works, WorksError};
use maud::{Markup, html};
use serde::Serialize;

use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::draw::{Anchor, Drawing, Window};
use crate::web::sheet::{Frame, Says, figure_with_unit, judgement, percent, sheet};

/// The last setting of a gauge before a reading.
#[derive(Debug, Serialize)]
struct Setting {
    number: u64,
    when: String,
    by: String,
    master: String,
    error: String,
    in_order: bool,
    note: String,
}

/// A reading with what stands behind it.
#[derive(Debug, Serialize)]
struct ReadingView {
    #[serde(flatten)]
    reading: Judged,
    limits: String,
    gauge_title: String,
    gauge_standing: GaugeStanding,
    #[serde(skip_serializing_if = "Option::is_none")]
    setting: Option<Setting>,
    person_name: String,
    whereabouts: String,
    engine: String,
}

/// A reading.
pub(in crate::web) async fn page(
    State(app): State<App>,
    Path(number): Path<u64>,
    asked: Asked,
) -> Response {
    let mut frame = app.frame(&asked, "8.1", "Reading", format!("Reading {number}"), html! {});
    frame.styles = &["drawing.css", "trace.css"];
    show(&app, &asked, move |works| look(works, number), move |_, view| draw(&frame, view)).await
}

fn look(works: &Works, number: u64) -> Result<ReadingView, WorksError> {
    let reading = works.reading(number)?;
    let plan = works.plan();
    let zone = instant::zone(&plan.works.time_zone);
    let gauge = plan.gauges.get(&reading.gauge);
    let known = plan.characteristics.get(&reading.characteristic);
    works.floor(|f| {
        let checks = f.calibrations.get(&reading.gauge).map_or(&[][..], Vec::as_slice);
        let last = checks.iter().rev().find(|c| c.at <= reading.at_ms);
        let setting = |c: &Calibration| Setting {
            number: c.number,
            when: instant::short(c.at, &zone),
            by: tell::signed(&plan, &c.by),
            master: c.master.clone(),
            error: c.error.clone(),
            in_order: c.in_order,
            note: c.note.clone(),
        };
        let piece = f.pieces.get(&reading.piece);
        let is_engine = f.engines.contains_key(&reading.piece);
        Ok(ReadingView {
            limits: known.map_or_else(String::new, bedplate_works::build::limits_words),
            gauge_title: gauge.map_or_else(String::new, |g| g.title.clone()),
            gauge_standing: gauge
                .map_or(GaugeStanding::NeverSet, |g| standing(&plan, g, checks, reading.at_ms)),
            setting: last.map(setting),
            person_name: tell::signed(&plan, &reading.person),
            whereabouts: piece.map_or_else(String::new, |p| whereabouts(&p.whereabouts)),
            engine: if is_engine {
                reading.piece.clone()
            } else {
                f.engine_of(&reading.piece).unwrap_or_default().to_owned()
            },
            reading,
        })
    })
}

fn draw(frame: &Frame, view: &ReadingView) -> Markup {
    let r = &view.reading;
    let position = if r.position.is_empty() { String::new() } else { format!(", {}", r.position) };
    let what = format!("{} of {}{position}: {}.", r.title, r.piece, r.value.with_unit());
    let mut says = vec![Says::Ink(what)];
    if let Some(why) = &r.withdrawn {
        says.push(Says::Red(format!("Withdrawn: {why}.")));
    }
    let body = html! {
        div.reading data-live="piece,gauge" {
            section.panel {
                h2 { "Judged" small { "by edition " (r.edition) } }
                div.verdict {
                    p.big { (figure_with_unit(&r.value)) }
                    @if let Some(d) = &r.deviation { p.mid.muted { (d.with_unit()) " from nominal" }
                        }
                    p { (judgement(r.word)) " " (r.reason) }
                    (window(r))
                    p.muted { "Limits " (view.limits) ". Uncertainty " (r.uncertainty.with_unit())
                        " (k = 2)."
                        @if let Some(p) = r.probability {
                            " Probability that it lies inside: " (format!("{:.1} %.", p * 100.0)) }
                                }
                    @if r.withdrawn.is_none() { (withdraw(r)) }
                }
            }
            section.panel {
                h2 { "What stands behind it" }
                div.scroll tabindex="0" role="region" aria-label="What stands behind this reading" {
                    (behind(view)) }
            }
        }
    };
    sheet(frame, &says, &html! {}, &body)
}

fn window(r: &Judged) -> Markup {
    let (Some(lower), Some(upper)) = (&r.lower, &r.upper) else { return html! {} };
    if upper.value <= lower.value {
        return html! {};
    }
    let factor = |u: &str| bedplate_gauge::unit::Unit::named(u).map_or(1.0, |u| u.factor());
    // The uncertainty stands in the unit of the deviation, where one is shown.
    let per = factor(r.uncertainty.unit) / factor(r.value.unit);
    let mut d = Drawing::new(460.0, 74.0);
    let window = Window {
        lower: lower.value,
        upper: upper.value,
        target: None,
        guard: r.uncertainty.value * per,
        value: r.value.value,
        word: r.word,
    };
    d.strip((8.0, 452.0), 34.0, &window, "");
    let span = upper.value - lower.value;
    let at = |v: f64| 8.0 + 444.0 * ((v - lower.value + 0.3 * span) / (1.6 * span));
    d.text(at(lower.value), 66.0, &lower.text, "s t2", Anchor::Middle);
    d.text(at(upper.value), 66.0, &upper.text, "s t2", Anchor::Middle);
    d.finish(&format!("{} between {} and {}", r.value.text, lower.text, upper.text), "")
}

fn behind(view: &ReadingView) -> Markup {
    let r = &view.reading;
    let row = |name: &str, value: Markup| {
        html! { tr { th scope="row" { (name) } td.long-name {
        (value) } } }
    };
    html! {
        table.behind-it {
            (row("Taken", html! { (r.at.replace('T', " ")) }))
            (row("As received", html! { (r.received) }))
            (row("What", html! { a href={ "/characteristic?id=" (percent(&r.characteristic)) } {
                (r.characteristic) } }))
            (row("Piece", html! { a href={ "/trace?of=" (percent(&r.piece)) } { (r.piece) }
                @if !view.whereabouts.is_empty() { ", " (view.whereabouts) } }))
            @if !view.engine.is_empty() {
                (row("Engine", html! { a href={ "/record/" (percent(&view.engine)) } { (view.engine)
                    } }))
            }
            (row("Gauge", html! { a href={ "/trace?gauge=" (percent(&r.gauge)) } { (r.gauge) } ", "
                (view.gauge_title) }))
            (row("Gauge then", html! { (standing_words(&view.gauge_standing)) }))
            @if let Some(s) = &view.setting {
                (row("Set against", html! { (s.master) ", " (s.when) " by " (s.by) "; showed "
                    (s.error) " too much"
                    @if !s.note.is_empty() { "; " (s.note) } }))
            }
            (row("Person", html! { (view.person_name) }))
            @if !r.machine.is_empty() { (row("Machine", html! { (r.machine) })) }
            @if !r.spindle.is_empty() { (row("Spindle", html! { (r.spindle) })) }
            @if !r.tool.is_empty() { (row("Tool", html! { (r.tool) })) }
            (row("Came from", html! { (r.source) }))
            (row("Works file", html! { "edition " (r.edition) }))
        }
    }
}

/// Whether a gauge may judge, in words.
pub(super) fn standing_words(standing: &GaugeStanding) -> Markup {
    html! {
        @match standing {
            GaugeStanding::InOrder { since } => { "in order, set " (since) }
            GaugeStanding::Overdue { since, days } => {
                span.red { "past its time by " (days) " days" } ", last set " (since) }
            GaugeStanding::Out { since, error } => {
                span.red { "out of calibration" } " since " (since) ", shows " (error) " too much" }
            GaugeStanding::NeverSet => { span.red { "never set against a master" } }
        }
    }
}

fn withdraw(r: &Judged) -> Markup {
    html! {
        details.no-print {
            summary { "Withdraw this reading" }
            form.typing method="post"
                action={ "/api/readings/" (r.number) "/withdraw?then="
                    (percent(&format!("/reading/{}", r.number))) } {
                p.muted { "It stays in the record, struck through, with the reason." }
                label.say { "Why" input.long type="text" name="reason" required maxlength="300"; }
                button.key type="submit" { "Withdraw" }
            }
        }
    }
}
