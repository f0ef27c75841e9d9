//! Sheet 2: the gauge bench.

mod column;

pub(in crate::web::pages) use column::{guards, window};

use axum::extract::State;
use axum::response::Response;
use bedplate_works::bench::{BenchScale, BenchSheet, GaugeStanding, PositionCell, Tone};
use bedplate_works::control::Advice;
use bedplate_works::judge::Judged;
use bedplate_works::wire::{Figure, Word};
use maud::{Markup, PreEscaped, html};

use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::draw::{Drawing, Screen, on_screens};
use crate::web::sheet::{
    Frame, Says, TagCell, empty, figure, judgement, judgement_saying, percent, sheet, tag,
};

/// The bench.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let frame = app
        .frame(&asked, "2", "Gauge bench", String::new(), notes())
        .with(&["bench.css", "bench.js"]);
    let (characteristic, piece) = (asked.owned("characteristic"), asked.owned("piece"));
    let has_none = app.works.plan().characteristics.is_empty();
    show(
        &app,
        &asked,
        move |works| {
            if has_none {
                return Ok(None);
            }
            works.bench(characteristic.as_deref(), piece.as_deref()).map(Some)
        },
        move |asked, view| match view {
            Some(view) => drawn(frame, asked, view),
            None => nothing(&frame),
        },
    )
    .await
}

fn nothing(frame: &Frame) -> Markup {
    let says = [Says::Ink("The works file names nothing to measure yet.".to_owned())];
    let to_do = "Add a characteristic with its limits and its gauge to the works file; then \
                 readings can be taken here.";
    sheet(frame, &says, &html! {}, &empty("No characteristic is named.", to_do))
}

fn drawn(mut frame: Frame, asked: &Asked, view: &BenchSheet) -> Markup {
    frame.title.clone_from(&view.characteristic.title);
    let says: Vec<Says> = view.finding.iter().map(spoken).collect();
    let body = html! {
        div.bench data-live={ "reading:" (view.characteristic.id) ",gauge,machine" } {
            div.left {
                (choose(view))
                div.plot.column { (column_picture(view)) }
                (standing(view))
            }
            div.right {
                (verdict(view))
                (positions(view))
                (take(view, asked))
                (last(view))
                @if asked.get("not_now").is_none() {
                    @if let Some(advice) = &view.advice { (advice_box(view, advice)) }
                }
            }
        }
    };
    sheet(&frame, &says, &limits_tag(&view.scale, &view.operation), &body)
}

pub(in crate::web::pages) fn spoken((tone, text): &(Tone, String)) -> Says {
    match tone {
        Tone::Ink => Says::Ink(text.clone()),
        Tone::Blue => Says::Blue(text.clone()),
        Tone::Red => Says::Red(text.clone()),
    }
}

fn notes() -> Markup {
    let line = |class: &str| {
        let mut d = Drawing::new(34.0, 12.0);
        d.line(0.0, 6.0, 34.0, 6.0, class);
        d.small()
    };
    let mut hatch = Drawing::new(34.0, 12.0);
    hatch.rect(0.0, 0.0, 34.0, 12.0, "h45d");
    html! {
        span { (line("thick")) "limit" }
        span { (hatch.small()) "too close to the limit to be sure" }
        span { (line("centre")) "middle" }
        span.blue { (line("phantom")) "proposed" }
    }
}

/// Boxed cells: nominal, limits, operation, uncertainty.
pub(in crate::web::pages) fn limits_tag(scale: &BenchScale, operation: &str) -> Markup {
    let mut cells = vec![];
    if let Some(nominal) = &scale.nominal {
        cells.push(TagCell::One(nominal.with_unit()));
    }
    let shown = |f: &Figure| f.text.clone();
    match (&scale.upper, &scale.lower) {
        (Some(upper), Some(lower)) => cells.push(TagCell::Limits(shown(upper), shown(lower))),
        (Some(upper), None) => cells.push(TagCell::One(format!("≤ {}", upper.with_unit()))),
        (None, Some(lower)) => cells.push(TagCell::One(format!("≥ {}", lower.with_unit()))),
        (None, None) => {}
    }
    if !operation.is_empty() {
        cells.push(TagCell::One(operation.to_owned()));
    }
    if scale.uncertainty.value > 0.0 {
        cells.push(TagCell::One(format!("U {}", scale.uncertainty.with_unit())));
    }
    tag(&cells)
}

fn choose(view: &BenchSheet) -> Markup {
    html! {
        form.choose method="get" action="/bench" {
            label for="at-bench" { "At the bench" }
            select #at-bench name="characteristic" data-at-once {
                @for c in &view.choices {
                    option value=(c.id) selected[c.id == view.characteristic.id] { (c.title) }
                }
            }
            button.key type="submit" { "Show" }
        }
    }
}

/// Whether the gauge may judge: one that is past its time or out judges nothing.
fn may_judge(standing: &GaugeStanding) -> bool {
    matches!(standing, GaugeStanding::InOrder { .. } | GaugeStanding::NeverSet)
}

fn standing(view: &BenchSheet) -> Markup {
    let to_gauge = format!("/trace?gauge={}", percent(&view.gauge_name));
    html! {
        p.standing.out[!matches!(view.standing, GaugeStanding::InOrder { .. })] {
            a href=(to_gauge) { (view.gauge) } " "
            @match &view.standing {
                GaugeStanding::InOrder { since } => { "set on its master " (since) }
                GaugeStanding::Overdue { since, days } => {
                    "judges nothing: last set " (since) ", " (days) " days past its time" }
                GaugeStanding::Out { since, error } => {
                    "judges nothing: found " (error) " out on " (since) }
                GaugeStanding::NeverSet => { "has not been set on a master yet; do that before you rely on it" }
            }
        }
    }
}

fn shown(judged: &Judged) -> &Figure {
    judged.deviation.as_ref().unwrap_or(&judged.value)
}

fn verdict(view: &BenchSheet) -> Markup {
    let Some(latest) = &view.latest else {
        return html! {
            section.verdict.unjudged role="status" data-speak {
                (big_mark(Word::NotJudged))
                div { div.word { "No reading" } div.why { "The first one you take is judged here." } }
            }
        };
    };
    let judges = may_judge(&view.standing);
    let word = if judges { latest.word } else { Word::NotJudged };
    let class = match word {
        Word::Accept => "accept",
        Word::Reject => "reject",
        Word::CannotTell => "doubt",
        Word::NotJudged => "unjudged",
    };
    html! {
        section class={ "verdict " (class) } role="status" data-speak {
            (big_mark(word))
            div {
                div.word { (word.text()) }
                @if judges { div.why { (latest.reason) } }
                @else { div.why.fault { "The gauge must be set on its master before it judges." } }
            }
            div.val {
                b { (figure(shown(latest))) }
                span { (shown(latest).unit)
                    @if latest.deviation.is_some() { " · " (latest.value.with_unit()) } }
            }
        }
    }
}

fn big_mark(word: Word) -> Markup {
    let shape = match word {
        Word::Accept => {
            "<circle r=\"44\" fill=\"currentColor\"/><circle r=\"55\" fill=\"none\" \
                         stroke=\"currentColor\" stroke-width=\"4\"/>"
        }
        Word::Reject => {
            "<path d=\"M-43-43L43 43M43-43L-43 43\" stroke=\"currentColor\" \
                         stroke-width=\"25\"/>"
        }
        Word::CannotTell => {
            "<path d=\"M0-57L57 0 0 57-57 0Z\" fill=\"none\" \
                             stroke=\"currentColor\" stroke-width=\"7\"/>\
                             <path d=\"M0-57V57L-57 0Z\" fill=\"currentColor\"/>"
        }
        Word::NotJudged => {
            "<circle r=\"46\" fill=\"none\" stroke=\"currentColor\" \
                            stroke-width=\"6\"/>"
        }
    };
    PreEscaped(format!("<svg viewBox=\"-62 -62 124 124\" aria-hidden=\"true\">{shape}</svg>"))
}

fn positions(view: &BenchSheet) -> Markup {
    let judges = may_judge(&view.standing);
    html! {
        ol.positions.scroll tabindex="0" aria-label={ "Positions of " (view.piece) } {
            @for cell in &view.positions { (position(cell, judges)) }
        }
    }
}

fn position(cell: &PositionCell, judges: bool) -> Markup {
    html! {
        li.now[cell.is_now].next[cell.is_next] {
            span.n { (cell.position) }
            @match &cell.judged {
                Some(judged) => {
                    b { (figure(shown(judged))) }
                    @if judges { (judgement(judged.word)) }
                    @else { (judgement_saying(Word::NotJudged, "Not judged")) }
                }
                None if cell.is_next => { b { "Next" } span.blue { "to be read" } }
                None => { b.muted { "–" } span.muted { "not read" } }
            }
        }
    }
}

/// The piece and position that the next reading is for.
fn next_reading(view: &BenchSheet) -> (String, String) {
    let first = view.positions.first().map_or_else(String::new, |p| p.position.clone());
    let again = view.latest.as_ref().filter(|l| l.word == Word::CannotTell);
    if let Some(latest) = again {
        return (view.piece.clone(), latest.position.clone());
    }
    match view.positions.iter().find(|p| p.is_next) {
        Some(next) => (view.piece.clone(), next.position.clone()),
        // The piece is done: the next reading is of another one.
        None => (String::new(), first),
    }
}

fn take(view: &BenchSheet, asked: &Asked) -> Markup {
    let (piece, position) = next_reading(view);
    let id = percent(&view.characteristic.id);
    let has_positions = view.positions.iter().any(|p| !p.position.is_empty());
    let unit = view.scale.nominal.as_ref().map_or(view.scale.unit, |n| n.unit);
    html! {
        div.takes {
            form.take method="post" action="/api/readings" {
                input type="hidden" name="characteristic" value=(view.characteristic.id);
                input type="hidden" name="gauge" value=(view.gauge_name);
                input type="hidden" name="then" value={ "/bench?characteristic=" (id) };
                div { label for="piece" { "Piece" }
                    input #piece name="piece" value=(piece) required autocomplete="off" size="8"
                        autofocus[piece.is_empty()]; }
                @if has_positions {
                    div { label for="position" { "Position" }
                        select #position name="position" {
                            @for p in &view.positions {
                                @let here = p.position == position;
                                option value=(p.position) selected[here] { (p.position) }
                            }
                        } }
                } @else { input type="hidden" name="position" value=(position); }
                div.grow { label for="value" { "Reading" @if !unit.is_empty() { ", " (unit) } }
                    input #value name="value" required autocomplete="off" inputmode="decimal" size="8"
                        autofocus[!piece.is_empty()]; }
                button.key.ink type="submit" { "Take" }
            }
            (withdraw(view))
            @if asked.who.is_none() { a.who href="/people" { "Nobody is named here: choose your name" } }
        }
    }
}

fn withdraw(view: &BenchSheet) -> Markup {
    let Some(latest) = &view.latest else { return html! {} };
    let back = format!("/bench?characteristic={}", percent(&view.characteristic.id));
    html! {
        details.form.withdraw {
            summary.key { "Put back the last" }
            form method="post" action={ "/api/readings/" (latest.number) "/withdraw" } {
                p { (shown(latest).with_unit()) ", " (latest.title.to_lowercase()) " " (latest.position)
                    " of " (latest.piece) ", stays in the record, struck through." }
                input type="hidden" name="then" value=(back);
                label for="why" { "Why" }
                input #why name="reason" required autocomplete="off";
                button.key type="submit" { "Put it back" }
            }
        }
    }
}

fn last(view: &BenchSheet) -> Markup {
    let unit = match (&view.scale.nominal, view.scale.signed) {
        (Some(nominal), true) => format!("{} from {}", view.scale.unit, nominal.with_unit()),
        _ => view.scale.unit.to_owned(),
    };
    html! {
        section.panel.last {
            h2 { @if view.last.is_empty() { "Last readings" } @else { "Last " (view.last.len()) " of " (view.stream) }
                small { (unit) } }
            @if view.last.is_empty() {
                p.muted { "Each reading of this position is drawn here as it is taken." }
            } @else {
                div.plot { (last_picture(view)) }
                (last_table(view))
            }
        }
    }
}

fn last_picture(view: &BenchSheet) -> Markup {
    let label = format!(
        "Last {} readings of {} with limits, newest {}",
        view.last.len(),
        view.stream,
        view.last.last().map_or_else(String::new, |l| shown(l).with_unit())
    );
    let is_short = view.advice.is_none();
    let (desk, panel) = if is_short { (290.0, 210.0) } else { (190.0, 130.0) };
    let sizes = [
        (Screen::Desk, 1022.0, desk),
        (Screen::Panel, 682.0, panel),
        (Screen::Phone, 340.0, 170.0),
    ];
    on_screens(&label, &sizes, |d, _| column::last(d, view))
}

fn last_table(view: &BenchSheet) -> Markup {
    html! {
        details.figures {
            summary { "As figures" }
            div.table.scroll tabindex="0" {
                table {
                    thead { tr { th scope="col" { "Taken" } th scope="col" { "Piece" }
                        th.n scope="col" { "Reading" } th scope="col" { "Judgement" } } }
                    tbody { @for l in view.last.iter().rev() { tr {
                        td { (l.at.replace('T', " ").chars().take(16).collect::<String>()) }
                        td { a href={ "/trace?of=" (percent(&l.piece)) } { (l.piece) } }
                        td.n { (figure(shown(l))) }
                        td { (judgement(l.word)) }
                    } } }
                }
            }
        }
    }
}

fn column_picture(view: &BenchSheet) -> Markup {
    let label = view.latest.as_ref().map_or_else(
        || format!("Column gauge of {}, no reading yet", view.characteristic.title),
        |l| format!("Column gauge: {} {} reads {}", l.title, l.position, shown(l).with_unit()),
    );
    let sizes = [
        (Screen::Desk, 300.0, 540.0),
        (Screen::Panel, 250.0, 400.0),
        (Screen::Phone, 340.0, 330.0),
    ];
    on_screens(&label, &sizes, |d, _| column::glass(d, view, may_judge(&view.standing)))
}

fn advice_box(view: &BenchSheet, advice: &Advice) -> Markup {
    let id = percent(&view.characteristic.id);
    let later = format!("/bench?characteristic={id}&piece={}&not_now=1", percent(&view.piece));
    html! {
        section.advice aria-label="Proposed" {
            div.plot { (column::collar_picture(advice)) }
            p { b { (advice.proposed) } small { (advice.why) " "
                @if advice.pieces_left.is_some() { "Left alone: " (advice.cost.to_lowercase()) "." } } }
            div.keys {
                form method="post" action="/api/offsets" {
                    input type="hidden" name="machine" value=(advice.stream.machine);
                    input type="hidden" name="spindle" value=(advice.stream.spindle);
                    input type="hidden" name="characteristic" value=(view.characteristic.id);
                    input type="hidden" name="moved" value=(advice.moved);
                    input type="hidden" name="note" value=(advice.proposed);
                    input type="hidden" name="then" value={ "/bench?characteristic=" (id) };
                    button.key.blue.fill type="submit" { "Done it" }
                }
                a.key.blue href=(later) { "Not now" }
            }
        }
    }
}
