//! Sheet 8: the record of an engine.

use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use bedplate_works::engine_record::{
    Cell, CylinderLine, EngineRecord, Heading, LeftInPlane, PartLine, RouteStop,
};
use bedplate_works::instant;
use bedplate_works::judge::Judged;
use bedplate_works::trace::{EngineLine, counted, engine_state};
use bedplate_works::wire::Word;
use bedplate_works::works::{Works, WorksError};
use maud::{Markup, PreEscaped, html};
use serde::Serialize;

use super::bed::torque_small;
use super::code::code;
use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::{Asked, Form};
use crate::web::draw::{Anchor, Drawing, polar};
use crate::web::sheet::{
    Frame, Says, empty, figure, figure_with_unit, judgement, judgement_saying, percent, sheet,
};

/// How many engines are offered.
const ENGINES_SHOWN: usize = 120;

/// Engines whose record may be opened.
#[derive(Debug, Serialize)]
struct Engines {
    finding: String,
    engines: Vec<EngineLine>,
}

/// Choosing an engine.
pub(in crate::web) async fn choose(State(app): State<App>, asked: Asked) -> Response {
    if let (Some(of), Form::Page) = (asked.get("of"), asked.form) {
        let of = of.trim();
        let is_engine = app.works.floor(|f| f.engines.contains_key(of));
        let sheet = if is_engine { "/record/" } else { "/trace?of=" };
        return Redirect::to(&format!("{sheet}{}", percent(of))).into_response();
    }
    let mut frame = app.frame(&asked, "8", "Record", "Engines".to_owned(), html! {});
    frame.styles = &["drawing.css", "record.css"];
    show(&app, &asked, |works| Ok(engines(works)), move |_, view| chooser(&frame, view)).await
}

fn engines(works: &Works) -> Engines {
    let zone = instant::zone(&works.plan().works.time_zone);
    works.floor(|f| {
        let mut all: Vec<_> = f.engines.iter().collect();
        // The one decided or begun last comes first.
        all.sort_by_key(|(_, e)| {
            std::cmp::Reverse(e.decided.as_ref().map_or(e.built_at, |(at, ..)| *at))
        });
        let n = all.len();
        Engines {
            finding: match n {
                0 => "No engine stands in the record yet.".to_owned(),
                1 => "1 engine stands in the record.".to_owned(),
                n => format!("{n} engines stand in the record."),
            },
            engines: all
                .into_iter()
                .take(ENGINES_SHOWN)
                .map(|(engine, e)| EngineLine {
                    engine: engine.clone(),
                    state: engine_state(&e.state),
                    built: instant::short(e.built_at, &zone),
                    through: vec![],
                })
                .collect(),
        }
    })
}

fn chooser(frame: &Frame, view: &Engines) -> Markup {
    let body = html! {
        div.chooser data-live="engine" {
            form method="get" action="/record" role="search" {
                div.fields {
                    label.say { "Engine, piece, set, gauge or heat"
                        input type="text" name="of" maxlength="80" autocomplete="off"; }
                    button.key.ink type="submit" { "Open" }
                }
            }
            @if view.engines.is_empty() {
                (empty("No engine is begun yet.",
                    "Begin one on the build sheet from a set in its tray; its record fills as it \
                        is \
                     built and run."))
            } @else {
                section.panel {
                    h2 { "The newest" }
                    div.scroll tabindex="0" role="region" aria-label="Newest engines" {
                        table {
                            tr { th { "Engine" } th { "State" } th { "Begun" } }
                            @for e in &view.engines {
                                tr { td { a href={ "/record/" (percent(&e.engine)) } { b {
                                    (e.engine) } } }
                                    td.long-name { (e.state) } td { (e.built) } }
                            }
                        }
                    }
                }
            }
        }
    };
    sheet(frame, &[Says::Ink(view.finding.clone())], &html! {}, &body)
}

/// The record.
pub(in crate::web) async fn page(
    State(app): State<App>,
    Path(engine): Path<String>,
    asked: Asked,
) -> Response {
    let legend =
        html! { span { "Ink is measured. Nothing that is only proposed stands on this sheet." } };
    let mut frame = app.frame(&asked, "8", "Engine record", format!("Engine {engine}"), legend);
    frame.styles = &["drawing.css", "record.css"];
    let again = asked.get("again").is_some();
    show(&app, &asked, move |works| look(works, &engine, again), move |_, r| draw(&frame, r)).await
}

fn look(works: &Works, engine: &str, again: bool) -> Result<EngineRecord, WorksError> {
    let mut record = works.engine_record(engine)?;
    if again {
        record.whole = works.whole_anew()?;
        record.finding = Works::record_finding(&record);
    }
    Ok(record)
}

fn draw(frame: &Frame, r: &EngineRecord) -> Markup {
    let says = if r.whole.whole { Says::Ink } else { Says::Red };
    let body = html! {
        div.rec data-live="engine" {
            div.desk tabindex="0" role="region" aria-label="Printable record" { (paper(r)) }
            div.aside.no-print tabindex="0" role="region" aria-label="About the record" { (about(r))
                }
        }
    };
    sheet(frame, &[says(r.finding.clone())], &html! {}, &body)
}

fn paper(r: &EngineRecord) -> Markup {
    let class = if r.parts.len() > 14 { "a4 dense" } else { "a4" };
    html! {
        article class=(class) aria-label={ "Record of engine " (r.engine) } {
            div.fr {
                header.top {
                    div { p.engine.long-name { "Engine " (r.engine) } p.title-line { (r.title) } }
                    (stamp(r))
                }
                @if !r.cylinders.is_empty() {
                    section { h2 { "Cylinders" } div.tblw { (cylinders(&r.headings, &r.cylinders)) }
                        }
                }
                @if !r.parts.is_empty() {
                    section { h2 { "Parts" } div.tblw { (parts(&r.parts)) } }
                }
                @if !r.points.is_empty() || !r.balance.is_empty() {
                    div.two {
                        @if !r.points.is_empty() {
                            section { h2 { "Torque at full load" small { "N·m, corrected" } }
                                (torque_small(&r.points, (350.0, 152.0))) }
                        }
                        @if !r.balance.is_empty() {
                            section { h2 { "Balance as left" small { "g·mm" } }
                                (balance(&r.balance)) }
                        }
                    }
                }
                @if !r.checks.is_empty() {
                    section { h2 { "Checks while it was built" } (checks(&r.checks)) }
                }
                section { h2 { "Route" } (route(&r.route)) }
                (seal(r))
                (title_block(r))
            }
        }
    }
}

fn stamp(r: &EngineRecord) -> Markup {
    let class = match r.stamp.word.as_str() {
        "Passed" => "stamp passed",
        "Held" => "stamp held",
        _ => "stamp open",
    };
    html! {
        div class=(class) {
            @if r.stamp.word.is_empty() { span { "Not decided" } small { (r.state) } }
            @else { span { (r.stamp.word) } small { (r.stamp.line) }
                @if !r.stamp.note.is_empty() { small.note-line { (r.stamp.note) } } }
            @if !r.whole.whole {
                (PreEscaped("<svg class=\"saltire\" viewBox=\"0 0 100 60\" \
                    preserveAspectRatio=\"none\" \
                    role=\"img\" aria-label=\"struck through: the record is broken\">\
                    <path d=\"M2 2L98 58M98 2L2 58\"/></svg>"))
            }
        }
    }
}

fn cylinders(headings: &[Heading], lines: &[CylinderLine]) -> Markup {
    html! {
        table {
            tr { th { "No." }
                @for h in headings { th.n { (h.title) @if !h.unit.is_empty() { " " (h.unit) } } }
                th { "Judged" } }
            @for line in lines {
                tr { td { b { (line.cylinder) } }
                    @for cell in &line.cells { td.n { (value(cell)) } }
                    td { (judgement(line.word)) } }
            }
        }
    }
}

fn value(cell: &Cell) -> Markup {
    html! { @match &cell.figure { Some(f) => (figure(f)), None => "—" } }
}

fn parts(parts: &[PartLine]) -> Markup {
    html! {
        table {
            tr { th { "Part" } th { "Number" } th { "From" } th { "What mattered" } th.n { "Reading"
                }
                th.n { "Limits" } th { "Judged" } }
            @for p in parts {
                tr {
                    td { b { (p.title) " " (p.position) } }
                    td.long-name { a.behind href={ "/trace?of=" (percent(&p.piece)) } { (p.piece) }
                        }
                    td.long-name { @if !p.heat.is_empty() {
                        a.behind href={ "/trace?heat=" (percent(&p.heat)) } { (p.heat) } } }
                    td { (p.mattered) }
                    td.n { @if let Some(f) = &p.reading { (figure(f)) } }
                    td.n { (p.limits) }
                    td { (judgement(p.word)) }
                }
            }
        }
    }
}

fn balance(left: &[LeftInPlane]) -> Markup {
    let n = u32::try_from(left.len()).unwrap_or(1).max(1);
    let mut d = Drawing::new(350.0, 130.0);
    let cell = d.width / f64::from(n);
    for (i, plane) in (0..n).zip(left) {
        let (cx, cy) = (cell * (f64::from(i) + 0.5), d.height / 2.0);
        let radius = (cell * 0.44).min(d.height * 0.42);
        let most = plane.allowed.value.max(plane.amount.value).max(1e-6);
        let k = radius / most;
        d.circle(cx, cy, plane.allowed.value * k, "thick fgw");
        d.circle(cx, cy, plane.allowed.value * k / 2.0, "hair fn");
        d.line(cx - radius - 6.0, cy, cx + radius + 6.0, cy, "centre");
        d.line(cx, cy - radius - 6.0, cx, cy + radius + 6.0, "centre");
        if let Some(angle) = &plane.angle {
            let tip = polar(cx, cy, plane.amount.value * k, angle.value);
            d.line(cx, cy, tip.0, tip.1, "thick");
            d.arrow(tip.0, tip.1, (tip.1 - cy).atan2(tip.0 - cx), "fi", 9.0);
        }
        d.mark(plane.word, cx + radius, cy - radius + 4.0, 6.0);
        d.text(cx - radius - 2.0, cy - radius + 10.0, &plane.plane, "let", Anchor::Middle);
    }
    let label = "Unbalance as left in each plane inside its permissible circle";
    html! {
        (d.finish(label, ""))
        ul.left-in-plane { @for plane in left {
            li { (plane.plane) ": " (figure(&plane.amount))
                @if let Some(angle) = &plane.angle { " at " (figure(angle)) "°" }
                " of " (plane.allowed.text) }
        } }
    }
}

/// Readings of one characteristic on one line.
fn checks(checks: &[Judged]) -> Markup {
    let mut titles: Vec<&str> = vec![];
    for c in checks {
        if !titles.contains(&c.title.as_str()) {
            titles.push(&c.title);
        }
    }
    html! {
        ul.checks {
            @for title in titles {
                @let of: Vec<&Judged> = checks.iter().filter(|c| c.title == title).collect();
                @let word = of.iter().fold(Word::Accept, |w, c| w.worse(c.word));
                li { (judgement_saying(word, "")) (title) ": "
                    @for (i, c) in of.iter().enumerate() { @if i > 0 { " " } (figure(&c.value)) }
                    " " (of.first().map_or("", |c| c.value.unit)) }
            }
        }
    }
}

fn route(stops: &[RouteStop]) -> Markup {
    html! {
        ol.route {
            @for stop in stops {
                li.done[stop.done] { b { (stop.title) }
                    span.o aria-hidden="true" { (initials(&stop.by)) }
                    span { @if stop.done { (stop.when) br; (stop.by) } @else { "open" } } }
            }
        }
    }
}

fn initials(name: &str) -> String {
    name.split_whitespace().filter_map(|word| word.chars().next()).take(3).collect()
}

/// A seal in groups of four, as it can be read over the telephone.
fn in_fours(seal: &str) -> String {
    let chars: Vec<char> = seal.chars().collect();
    chars.chunks(4).map(|c| c.iter().collect::<String>()).collect::<Vec<_>>().join(" ")
}

fn seal(r: &EngineRecord) -> Markup {
    html! {
        div.seal {
            p { "Every group of readings is sealed over the one before it. This sheet closes with \
                the \
                 seal of group " (r.seal_group)
                br; @if r.seal.is_empty() { "no seal yet" } @else { code { (in_fours(&r.seal)) } }
                br; "To prove it, read the code, or check engine " (r.engine)
                    " in the works' own record." }
            (code(&format!("engine {} seal {}", r.engine, r.seal),
                &format!("Code that holds engine {} and its seal", r.engine)))
        }
    }
}

fn title_block(r: &EngineRecord) -> Markup {
    let signed = |word: &str| {
        let stop = r.route.iter().find(|s| s.done && s.title.starts_with(word));
        stop.map_or_else(|| "—".to_owned(), |s| format!("{} {}", s.by, s.when))
    };
    let decided = if r.stamp.word == "Held" { "Held" } else { "Passed" };
    let edition: String = r.edition.chars().take(12).collect();
    html! {
        div.blk {
            div { small { "Works" } strong { (r.works) } }
            @for word in ["Gauged", "Kitted", "Built", "Tested", decided] {
                div { small { (word) } strong { (signed(word)) } }
            }
            div { small { "Title" } strong { "Record of engine " (r.engine) } }
            div { small { "Type" } strong { (r.engine_type) } }
            div { small { "Readings" } strong { (r.readings.len()) } }
            div { small { "Works file" } strong { (edition) } }
            div { small { "As of" } strong { (r.as_of.get(..16).unwrap_or_default().replace('T',
                " ")) } }
            div { small { "Sheet" } strong { "1 of 1, A4" } }
        }
    }
}

fn about(r: &EngineRecord) -> Markup {
    html! {
        section.whole.broken[!r.whole.whole] aria-label="Whether the record is whole" {
            p.mid { @if r.whole.whole { (judgement_saying(Word::Accept, "Record whole")) }
                @else { (judgement_saying(Word::Reject, "Record broken")) } }
            p { (r.whole.finding) " " (r.whole.readings) " readings and " (r.whole.entries)
                " entries in " (r.whole.groups) " groups, checked on this machine." }
        }
        div.keys {
            button.key.ink type="button" data-print="" { "Print A4 " kbd { "P" } }
            a.key href={ "/record/" (percent(&r.engine)) "?again=yes" } { "Check again" }
            a.key href={ "/trace?engine=" (percent(&r.engine)) } { "Trace" }
        }
        section { h2 { "What happened to it" }
            ol.happened { @for e in r.events.iter().rev() {
                li { span { (e.when) } span.long-name { (e.what) " " span.muted { (e.by) } } }
            } }
        }
        details { summary { "All " (counted(r.readings.len(), "reading")) } (readings(&r.readings))
            }
    }
}

/// Readings as a table, each opening its own sheet.
pub(super) fn readings(readings: &[Judged]) -> Markup {
    html! {
        div.wide-table {
            table {
                tr { th { "No." } th { "What" } th { "Piece" } th.n { "Value" } th { "Judged" } }
                @for j in readings {
                    tr.struck[j.withdrawn.is_some()] {
                        td { a href={ "/reading/" (j.number) } { (j.number) } }
                        td { (j.title) " " (j.position) }
                        td.long-name { a href={ "/trace?of=" (percent(&j.piece)) } { (j.piece) } }
                        td.n { (figure_with_unit(&j.value)) }
                        td { (judgement(j.word)) }
                    }
                }
            }
        }
    }
}
