//! Sheet 3: a characteristic, and all of them.

mod chart;

use axum::extract::State;
use axum::response::Response;
use bedplate_works::control::{
    Advice, CapabilityView, CharacteristicRow, CharacteristicSheet, CharacteristicsSheet,
    ControlChart,
};
use bedplate_works::wire::Word;
use maud::{Markup, html};

use super::bench::{limits_tag, spoken};
use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::draw::{Drawing, Screen, on_screens};
use crate::web::sheet::{
    Frame, Says, empty, figure, figure_with_unit, judgement, judgement_saying, percent, sheet,
};

/// One characteristic.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let frame = app
        .frame(&asked, "3", "Characteristic", String::new(), notes())
        .with(&["characteristic.css"]);
    let (position, count) = (asked.owned("position"), asked.number("count"));
    let first = app.works.plan().characteristics.keys().next().cloned();
    let id = asked.owned("id").or(first);
    show(
        &app,
        &asked,
        move |works| id.map(|id| works.characteristic(&id, position.as_deref(), count)).transpose(),
        move |_, view| match view {
            Some(view) => drawn(frame, view),
            None => nothing(&frame),
        },
    )
    .await
}

/// All characteristics.
pub(in crate::web) async fn all(State(app): State<App>, asked: Asked) -> Response {
    let frame = app
        .frame(
            &asked,
            "3.0",
            "Characteristics",
            "All characteristics".to_owned(),
            html! {
                span { "today: readings taken on the day of the newest in the record" }
            },
        )
        .with(&["characteristic.css"]);
    show(
        &app,
        &asked,
        |works| works.characteristics(),
        move |_, view| {
            if view.rows.is_empty() {
                return nothing(&frame);
            }
            let says: Vec<Says> = view.finding.iter().map(spoken).collect();
            sheet(&frame, &says, &html! {}, &all_body(view))
        },
    )
    .await
}

fn nothing(frame: &Frame) -> Markup {
    let says = [Says::Ink("The works file names nothing to measure yet.".to_owned())];
    let to_do = "Add a characteristic with its limits and its gauge to the works file; its chart \
                 is drawn here from the first reading on.";
    sheet(frame, &says, &html! {}, &empty("No characteristic is named.", to_do))
}

fn notes() -> Markup {
    let line = |class: &str| {
        let mut d = Drawing::new(34.0, 12.0);
        d.line(0.0, 6.0, 34.0, 6.0, class);
        d.small()
    };
    let mut change = Drawing::new(24.0, 22.0);
    change.poly(&[(12.0, 1.0), (23.0, 20.0), (1.0, 20.0)], "thin", true);
    html! {
        span { (line("thick")) "limit" }
        span { (line("hidden")) "what the process keeps to" }
        span { (line("wit")) "control limit" }
        span { (line("centre")) "middle" }
        span { (change.small()) "change made" }
        span.blue { (line("phantom")) "forecast" }
    }
}

fn drawn(mut frame: Frame, view: &CharacteristicSheet) -> Markup {
    let mut chars = view.stream_words.chars();
    frame.title = chars
        .next()
        .map_or_else(String::new, |c| c.to_uppercase().collect::<String>() + chars.as_str());
    let says: Vec<Says> = view.finding.iter().map(spoken).collect();
    let body = html! {
        div.ch data-live={ "reading:" (view.characteristic.id) ",machine" } {
            (choices(view))
            @if view.points.is_empty() { (no_points(view)) } @else {
                div.lt { (size_panel(view)) (range_panel(view))
                    @if let Some(advice) = &view.advice { (advice_strip(view, advice)) } }
                div.rt { (capability_panel(view)) (signals_panel(view)) }
                (points_table(view))
            }
        }
    };
    sheet(&frame, &says, &limits_tag(&view.scale, &view.operation), &body)
}

fn no_points(view: &CharacteristicSheet) -> Markup {
    let what = format!("No reading of {} is in the record.", view.stream_words);
    html! {
        div.no-points {
            (empty(&what, "Take one at the gauge bench or read in a file: the chart begins with the \
                           first reading, control limits follow \
                           when there are readings enough."))
            p { a.key href={ "/bench?characteristic=" (percent(&view.characteristic.id)) } { "To the gauge bench" } }
        }
    }
}

fn address(view: &CharacteristicSheet, position: &str) -> String {
    format!(
        "/characteristic?id={}&position={}",
        percent(&view.characteristic.id),
        percent(position)
    )
}

const SHOWN: [usize; 5] = [25, 50, 100, 250, 1000];

fn choices(view: &CharacteristicSheet) -> Markup {
    let [accepted, rejected, doubtful] = view.counts;
    html! {
        div.choices {
            strong.what { (view.characteristic.title) }
            @if view.streams.len() > 1 {
                nav.streams.scroll tabindex="0" aria-label="Position and spindle" {
                    @for s in &view.streams {
                        a href=(address(view, &s.position)) aria-current=[(s.position == view.stream.position).then_some("true")] {
                            @if s.position.is_empty() { "all" } @else { (s.position) }
                            @if !s.spindle.is_empty() && s.spindle != s.position { small { "spindle " (s.spindle) } }
                        }
                    }
                }
            }
            form.count method="get" action="/characteristic" {
                input type="hidden" name="id" value=(view.characteristic.id);
                input type="hidden" name="position" value=(view.stream.position);
                label for="count" { "Newest" }
                select #count name="count" data-at-once {
                    @for n in SHOWN { option value=(n) selected[n == shown_count(view)] { (n) } }
                }
                button.key type="submit" { "Show" }
            }
            p.tally {
                (judgement_saying(Word::Accept, &accepted.to_string()))
                (judgement_saying(Word::CannotTell, &doubtful.to_string()))
                (judgement_saying(Word::Reject, &rejected.to_string()))
            }
        }
    }
}

fn shown_count(view: &CharacteristicSheet) -> usize {
    SHOWN.into_iter().find(|n| view.points.len() <= *n).unwrap_or(1000)
}

fn unit_words(view: &CharacteristicSheet) -> String {
    let scale = &view.scale;
    let unit = match (&scale.nominal, scale.signed) {
        (Some(nominal), true) => format!("{} from {}", scale.unit, nominal.with_unit()),
        _ => scale.unit.to_owned(),
    };
    format!("{unit}, {} readings", view.points.len())
}

fn size_panel(view: &CharacteristicSheet) -> Markup {
    let label = format!(
        "Chart of {}: {} readings in order, {} changes, {} of them rejected, {} too close to call",
        view.stream_words,
        view.points.len(),
        view.revisions.len(),
        view.counts[1],
        view.counts[2]
    );
    let taller = if view.advice.is_some() { 0.0 } else { 74.0 };
    let sizes = [
        (Screen::Desk, 916.0, 296.0 + taller),
        (Screen::Panel, 644.0, 214.0 + taller),
        (Screen::Phone, 340.0, 330.0),
    ];
    html! {
        section.panel {
            h2 { "In order of making" small { (unit_words(view)) } }
            div.plot.individuals {
                (on_screens(&label, &sizes, |d, screen| chart::individuals(d, view, screen)))
            }
        }
    }
}

fn range_panel(view: &CharacteristicSheet) -> Markup {
    html! {
        section.panel {
            h2 { "Change from piece to piece" small { (view.scale.unit) } }
            @match &view.chart {
                Some(control) => { (range_picture(view, control)) }
                None => { p.muted { "No control limits: " (view.no_chart) "." } }
            }
        }
    }
}

fn range_picture(view: &CharacteristicSheet, control: &ControlChart) -> Markup {
    let over = control.ranges.iter().filter(|(_, r)| *r > control.moving_range.upper).count();
    let label = format!("Moving range: {over} of {} over the line", control.ranges.len());
    let sizes =
        [(Screen::Desk, 916.0, 92.0), (Screen::Panel, 644.0, 70.0), (Screen::Phone, 340.0, 90.0)];
    html! { div.plot.ranges {
        (on_screens(&label, &sizes, |d, screen| chart::ranges(d, view, control, screen)))
    } }
}

fn advice_strip(view: &CharacteristicSheet, advice: &Advice) -> Markup {
    html! {
        div.strip {
            p { b { "Proposed: " (advice.proposed) } " " (advice.why)
                @if advice.pieces_left.is_some() { " Left alone: " (advice.cost.to_lowercase()) "." } }
            form method="post" action="/api/offsets" {
                input type="hidden" name="machine" value=(advice.stream.machine);
                input type="hidden" name="spindle" value=(advice.stream.spindle);
                input type="hidden" name="characteristic" value=(view.characteristic.id);
                input type="hidden" name="moved" value=(advice.moved);
                input type="hidden" name="note" value=(advice.proposed);
                input type="hidden" name="then" value=(address(view, &view.stream.position));
                button.key.blue.fill type="submit" { "Done it" }
            }
        }
    }
}

fn capability_panel(view: &CharacteristicSheet) -> Markup {
    html! {
        section.panel {
            h2 { "Can it hold the limits?" small { "95 % sure" } }
            @match &view.capability {
                Some(capability) => { (capability_picture(capability)) }
                None => { p.muted { "Not yet: it takes limits and a few readings that differ." } }
            }
        }
    }
}

fn capability_picture(capability: &CapabilityView) -> Markup {
    let words: Vec<String> = capability
        .lines
        .iter()
        .map(|l| {
            format!("{} {} ({:.2} to {:.2})", l.symbol, l.value.text, l.interval.0, l.interval.1)
        })
        .collect();
    let label = format!("Capability against {} wanted: {}", capability.wanted, words.join(", "));
    let sizes = [
        (Screen::Desk, 400.0, 236.0),
        (Screen::Panel, 286.0, 170.0),
        (Screen::Phone, 340.0, 230.0),
    ];
    html! {
        div.capability {
            div.plot { (on_screens(&label, &sizes, |d, _| chart::capability(d, capability))) }
            p { "Expected beyond the limits: " (figure_with_unit(&capability.beyond_ppm)) }
            @if !capability.caution.is_empty() { p.caution-line { (capability.caution) } }
        }
    }
}

/// Signals of one rule that follow one another are one line.
fn gathered(control: &ControlChart) -> Vec<(u8, usize, &str)> {
    let mut by_rule: Vec<(u8, usize, usize, &str)> = vec![];
    for s in &control.signals {
        match by_rule.iter_mut().rev().find(|g| g.0 == s.rule && s.at <= g.1 + 1) {
            Some(g) => *g = (g.0, s.at, g.2 + 1, &s.words),
            None => by_rule.push((s.rule, s.at, 1, &s.words)),
        }
    }
    by_rule.sort_by_key(|g| std::cmp::Reverse(g.1));
    by_rule.into_iter().map(|(rule, _, times, words)| (rule, times, words)).collect()
}

fn signals_panel(view: &CharacteristicSheet) -> Markup {
    html! {
        section.panel {
            h2 { "What the chart says" }
            @match &view.chart {
                None => { p.muted { "Nothing yet: " (view.no_chart) "." } }
                Some(control) if control.signals.is_empty() => { p { "Steady: no rule has fired." } }
                Some(control) => {
                    ul.signals.scroll tabindex="0" aria-label="Signals, newest first" {
                        @for (rule, times, words) in gathered(control) {
                            li { b { "Rule " (rule) } " " (words) @if times > 1 { span.muted { ", " (times) " in a row" } } }
                        }
                    }
                }
            }
        }
    }
}

fn points_table(view: &CharacteristicSheet) -> Markup {
    let change_at = |i: usize| view.revisions.iter().filter(move |r| r.before == i);
    html! {
        details.figures {
            summary { "The chart as figures" }
            div.table.scroll tabindex="0" {
                table {
                    thead { tr { th.n scope="col" { "Point" } th scope="col" { "Taken" } th scope="col" { "Piece" }
                        th.n scope="col" { "Reading, " (view.scale.unit) } th scope="col" { "Judgement" }
                        th scope="col" { "Change before it" } } }
                    tbody { @for (i, p) in view.points.iter().enumerate().rev() { tr {
                        td.n { (i + 1) }
                        td { (p.at.replace('T', " ").chars().take(16).collect::<String>()) }
                        td { a href={ "/trace?of=" (percent(&p.piece)) } { (p.piece) } }
                        td.n { a.behind href={ "/reading/" (p.number) } { (p.text) } }
                        td { (judgement(p.word)) }
                        td { @for r in change_at(i) { (r.label) ": " (r.what) " (" (r.when) ") " } }
                    } } }
                }
            }
        }
    }
}

fn all_body(view: &CharacteristicsSheet) -> Markup {
    html! {
        div.all.scroll tabindex="0" data-live="reading:" {
            table {
                thead { tr { th scope="col" { "Characteristic" } th scope="col" { "Made at" } th scope="col" { "Gauge" }
                    th scope="col" { "Limits" } th scope="col" { "Last piece" } th.n scope="col" { "Last reading" }
                    th scope="col" { "Judgement" } th.n scope="col" { "Today" } } }
                @for rows in view.rows.chunk_by(|a, b| a.part == b.part) {
                    tbody {
                        tr.part { th scope="rowgroup" colspan="8" { (rows[0].part) } }
                        @for row in rows { (all_row(row)) }
                    }
                }
            }
        }
    }
}

fn all_row(row: &CharacteristicRow) -> Markup {
    html! {
        tr {
            td { a.open href={ "/characteristic?id=" (percent(&row.characteristic.id)) } { (row.title) } }
            td { (row.operation) }
            td { (row.gauge) }
            td { (row.limits) }
            @match &row.last {
                Some(last) => {
                    td { a href={ "/trace?of=" (percent(&last.piece)) } { (last.piece) } " " (last.position) }
                    td.n { (figure(last.deviation.as_ref().unwrap_or(&last.value))) }
                    td { (judgement(last.word)) }
                }
                None => { td.muted colspan="3" { "no reading yet" } }
            }
            td.n { (row.today) }
        }
    }
}
