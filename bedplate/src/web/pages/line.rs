//! Sheet 6: the line.

use axum::extract::State;
use axum::response::Response;
use bedplate_works::line::{LineSheet, LineView, OperationLine, WhatIf};
use maud::{Markup, html};

use super::bench::spoken;
use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::draw::{Anchor, Drawing, Scale, Screen, on_screens};
use crate::web::sheet::{Frame, Says, empty, figure, figure_with_unit, percent, sheet};

/// The line.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let frame = app.frame(&asked, "6", "Line", String::new(), notes()).with(&["line.css"]);
    let wanted = asked.owned("line");
    show(
        &app,
        &asked,
        move |works| works.line(wanted.as_deref()),
        move |_, view| drawn(frame, view),
    )
    .await
}

fn notes() -> Markup {
    let patch = |class: &str, edge: &str| {
        let mut d = Drawing::new(16.0, 20.0);
        d.rect(0.7, 0.7, 14.6, 18.6, &format!("{edge} ff"));
        d.rect(0.7, 0.7, 14.6, 18.6, class);
        d.small()
    };
    let mut pace = Drawing::new(34.0, 12.0);
    pace.line(0.0, 6.0, 34.0, 6.0, "thick");
    html! {
        span { (patch("fi", "mid-l")) "time taken by the day's number" }
        span { (patch("h45r", "chk")) "more than there is" }
        span { (pace.small()) "all the time there is" }
        span.blue { "blue: what if" }
    }
}

fn drawn(mut frame: Frame, view: &LineSheet) -> Markup {
    let says: Vec<Says> = view.finding.iter().map(spoken).collect();
    let Some(line) = view.lines.get(view.shown) else {
        let to_do = "Name the operations of each part with their cycle time, machines and \
                     availability in the works file, and a line that puts them in order.";
        let body = html! { div { (empty("No line can be drawn yet.", to_do)) (left_out(view)) } };
        return sheet(&frame, &says, &html! {}, &body);
    };
    frame.title = format!("{} line", line.title);
    let body = html! {
        div.ln {
            (choose(view))
            section.panel {
                h2 { "Share of the time there is" small { "for " (line.demand.text) " good pieces a day; a piece every "
                    (figure_with_unit(&line.takt)) } }
                div.plot.bars { (picture(line)) }
            }
            div.foot { (table(line)) (then(line)) }
            (left_out(view))
        }
    };
    sheet(&frame, &says, &html! {}, &body)
}

fn choose(view: &LineSheet) -> Markup {
    html! {
        nav.lines.scroll tabindex="0" aria-label="Lines" {
            @for (i, line) in view.lines.iter().enumerate() {
                a.over[!line.meets] href={ "/line?line=" (percent(&line.line)) } aria-current=[(i == view.shown).then_some("true")] {
                    (line.title) small { (line.load.text) " %" @if !line.meets { ", behind" } }
                }
            }
        }
    }
}

fn left_out(view: &LineSheet) -> Markup {
    html! {
        @for (title, why) in &view.left_out { p.fault { (title) " is left out: " (why) "." } }
    }
}

fn picture(line: &LineView) -> Markup {
    let pace = &line.operations[line.pace];
    let label = format!(
        "Load of each operation of the {} line; {} sets the pace at {} % of the time there is",
        line.title, pace.title, pace.load.text
    );
    let phone = 58.0 * count(line.operations.len()) + 10.0;
    let sizes = [
        (Screen::Desk, 1344.0, 330.0),
        (Screen::Panel, 948.0, 234.0),
        (Screen::Phone, 340.0, phone),
    ];
    on_screens(&label, &sizes, |d, screen| {
        if screen == Screen::Phone { lying(d, line) } else { standing(d, line) }
    })
}

fn most_load(line: &LineView) -> f64 {
    line.operations.iter().map(|o| o.load.value).fold(100.0, f64::max).min(400.0)
}

/// One operation a column.
fn standing(d: &mut Drawing, line: &LineView) {
    let (w, foot, top) = (d.width, d.height - 46.0, 46.0);
    let y = Scale::new(0.0, most_load(line) * 1.04, foot, top);
    for quarter in [25.0, 50.0, 75.0] {
        d.line(44.0, y.at(quarter), w, y.at(quarter), "hair");
        d.text(38.0, y.at(quarter) + 4.0, &format!("{quarter}"), "s t2", Anchor::End);
    }
    d.line(44.0, y.at(100.0), w, y.at(100.0), "thick");
    d.text(38.0, y.at(100.0) + 4.0, "100 %", "s", Anchor::End);
    d.line(44.0, foot, w, foot, "thin");
    let pitch = (w - 44.0) / count(line.operations.len());
    let width = (pitch * 0.42).min(84.0);
    for (i, o) in line.operations.iter().enumerate() {
        let x = 44.0 + pitch * (count(i) + 0.5);
        bar(d, &y, o, x, width);
        d.text(x, foot + 20.0, &o.title, "let line-name", Anchor::Middle);
        let words = match o.machines {
            1 => o.cycle.with_unit(),
            n => format!("{}, {n} machines", o.cycle.with_unit()),
        };
        d.text(x, foot + 38.0, &words, "s t2", Anchor::Middle);
    }
}

fn bar(d: &mut Drawing, y: &Scale, o: &OperationLine, x: f64, width: f64) {
    let load = o.load.value.min(400.0);
    let (left, zero, full) = (x - width / 2.0, y.at(0.0), y.at(100.0));
    d.rect(left, full, width, zero - full, "mid-l ff");
    let inside = y.at(load.min(100.0));
    d.rect(left, inside, width, zero - inside, "fi");
    if load > 100.0 {
        let over = y.at(load);
        d.rect(left, over, width, full - over, "frw");
        d.rect(left, over, width, full - over, "h45r");
        d.rect(left, over, width, full - over, "chk");
    }
    let is_over = load > 100.0;
    // Inside the bar, clear of the line that is all the time there is.
    let is_tall = !is_over && zero - inside > 34.0;
    let (at, class) = match (is_over, is_tall) {
        (true, _) => (y.at(load) - 7.0, "m strong tr- halo"),
        (false, true) => (inside + 23.0, "m strong on-ink"),
        (false, false) => (inside - 7.0, "m strong halo"),
    };
    d.text(x, at, &o.load.text, class, Anchor::Middle);
    if o.sets_pace {
        let above = if is_over { y.at(load) - 27.0 } else { full - 8.0 };
        let class = if is_over { "tr- strong" } else { "strong" };
        d.text(x, above, "sets the pace", class, Anchor::Middle);
    }
}

/// One operation a row, for a phone.
fn lying(d: &mut Drawing, line: &LineView) {
    let x = Scale::new(0.0, most_load(line) * 1.04, 0.0, d.width);
    for (i, o) in line.operations.iter().enumerate() {
        let y = 58.0 * count(i);
        let load = o.load.value.min(400.0);
        let is_over = load > 100.0;
        let name =
            if o.sets_pace { format!("{}, sets the pace", o.title) } else { o.title.clone() };
        let class = if is_over { "tr- strong" } else { "strong" };
        d.text(0.0, y + 16.0, &name, class, Anchor::Start);
        d.text(d.width, y + 16.0, &format!("{} %", o.load.text), class, Anchor::End);
        d.rect(0.0, y + 24.0, x.at(100.0), 22.0, "mid-l ff");
        d.rect(0.0, y + 24.0, x.at(load.min(100.0)), 22.0, "fi");
        if is_over {
            d.rect(x.at(100.0), y + 24.0, x.at(load) - x.at(100.0), 22.0, "h45r");
            d.rect(x.at(100.0), y + 24.0, x.at(load) - x.at(100.0), 22.0, "chk");
        }
        d.line(x.at(100.0), y + 20.0, x.at(100.0), y + 50.0, "thick");
    }
}

fn table(line: &LineView) -> Markup {
    html! {
        div.scroll.operations tabindex="0" {
            table {
                thead { tr { th scope="col" { "Operation" } th scope="col" { "Machine" } th.n scope="col" { "Cycle" }
                    th.n scope="col" { "Machines" } th.n scope="col" { "Needed" } th.n scope="col" { "Fit to run" }
                    th.n scope="col" { "Scrap" } th.n scope="col" { "Good pieces/h" } th.n scope="col" { "Load" } } }
                tbody { @for o in &line.operations { (row(o)) } }
            }
        }
    }
}

fn row(o: &OperationLine) -> Markup {
    let is_over = o.load.value > 100.0;
    html! {
        tr.red[is_over] {
            td { (o.title) @if o.sets_pace { b { ", sets the pace" } } }
            td { (o.machine) }
            td.n { (figure_with_unit(&o.cycle)) }
            td.n { (o.machines) }
            td.n { (figure(&o.needed)) }
            td.n { (figure_with_unit(&o.availability)) }
            td.n { (figure_with_unit(&o.scrap)) }
            td.n { (figure(&o.rate)) }
            td.n { (figure_with_unit(&o.load)) }
        }
    }
}

fn then(line: &LineView) -> Markup {
    html! {
        section.then {
            h2.plain { "What if" }
            @for w in &line.what_if { (case(w)) }
            p.muted { "Means over the day, with stores large enough that no operation waits for another." }
        }
    }
}

fn case(w: &WhatIf) -> Markup {
    html! {
        div.case {
            b { (w.gain.text) }
            p { (w.title) ": pieces a day more, "
                (figure_with_unit(&w.rate)) ". Then " (w.then_pace.to_lowercase()) " sets the pace"
                @if w.meets { "." } @else { " and the day's number is still not met." } }
        }
    }
}

fn count(n: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a line has few operations")]
    let x = n as f64;
    x
}
