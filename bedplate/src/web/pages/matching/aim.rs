//! Sheet 4.2: where boring and piston turning should aim next, and grade limits for a works that
//! sorts.

use axum::extract::State;
use axum::response::Response;
use bedplate_works::sets::aim::{AimAsked, AimPointView, AimSheet, GainView, GradingLine};
use bedplate_works::sets::aim::{CampaignView, SizeBandView};
use bedplate_works::sets::first_type;
use bedplate_works::trace::counted;
use bedplate_works::works::{Works, WorksError};
use maud::{Markup, html};

use super::float;
use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::{Asked, Form};
use crate::web::draw::{Anchor, Drawing, Scale, Screen, on_screens, round_step};
use crate::web::sheet::{
    Frame, Says, TagCell, empty, figure, figure_with_unit, percent, sheet, tag,
};

/// Where to aim.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let mut frame = app.frame(&asked, "4.2", "Matching", "Aim".to_owned(), notes());
    frame.styles = &["drawing.css", "matching.css"];
    let wanted = AimAsked {
        blocks: asked.number("blocks"),
        pistons: asked.number("pistons"),
        bores_too: asked.get("bores_too").is_some(),
        grades: asked.number("grades"),
        seed: asked.number("seed"),
    };
    let engine_type = asked.owned("engine_type");
    let look = move |works: &Works| {
        let engine_type = engine_type.or_else(|| first_type(&works.plan())).unwrap_or_default();
        works.aim(&engine_type, wanted)
    };
    answered(&app, &asked, look, move |asked, view| match view {
        Ok(view) => draw(frame, asked, view),
        Err(why) => cannot(&frame, "Where to aim next cannot be said yet.", why),
    })
    .await
}

/// The figures to a client; to a page also why there are none.
pub(super) async fn answered<V: serde::Serialize + Send + 'static>(
    app: &App,
    asked: &Asked,
    look: impl FnOnce(&Works) -> Result<V, WorksError> + Send + 'static,
    draw: impl FnOnce(&Asked, &Result<V, String>) -> Markup,
) -> Response {
    if asked.form != Form::Page {
        return show(app, asked, look, |_, _| html! {}).await;
    }
    let look = move |works: &Works| match look(works) {
        Ok(view) => Ok(Ok(view)),
        Err(WorksError::Refused { reason, .. }) => Ok(Err(reason)),
        Err(e) => Err(e),
    };
    show(app, asked, look, draw).await
}

/// A sheet that says why it holds nothing.
pub(super) fn cannot(frame: &Frame, finding: &str, why: &str) -> Markup {
    let mut letters = why.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    let what = format!("{first}{}.", letters.as_str());
    let to_do = "It needs a set rule whose first fit is one hole of the block and one piece a \
                 place, and some readings of both in the record.";
    sheet(
        frame,
        &[Says::Ink(finding.to_owned())],
        &html! {},
        &html! { div { (empty(&what, to_do)) } },
    )
}

fn notes() -> Markup {
    let patch = |draw: &dyn Fn(&mut Drawing)| {
        let mut d = Drawing::new(34.0, 16.0);
        draw(&mut d);
        d.small()
    };
    html! {
        span { (patch(&|d| d.line(17.0, 0.0, 17.0, 16.0, "thick"))) "limit of the drawing" }
        span { (patch(&|d| d.line(17.0, 0.0, 17.0, 16.0, "centre"))) "aim now" }
        span.blue { (patch(&|d| d.rect(0.0, 3.0, 34.0, 10.0, "fbw"))) "95 % interval of the mean" }
        span.blue { (patch(&|d| d.line(0.0, 8.0, 34.0, 8.0, "pencil bold"))) "engines expected" }
    }
}

fn draw(mut frame: Frame, asked: &Asked, view: &AimSheet) -> Markup {
    frame.title = format!("Aim of {}", view.inner.to_lowercase());
    let [lower, upper] = &view.piston_limits;
    let boxed = tag(&[
        TagCell::One(view.inner.clone()),
        TagCell::Limits(upper.with_unit(), lower.with_unit()),
        TagCell::One(format!("now {}", view.now.piston.with_unit())),
    ]);
    let body = html! {
        div.mt.aiming data-live="set,reading:" {
            div.lt {
                section.panel.one-set {
                    h2 { "Engines over the aim of turning" small.blue {
                        "from the store and the next " (counted(view.coming_blocks, "block")) } }
                    div.fit { (curve(view)) }
                    (curve_table(&view.curve))
                }
                section.panel {
                    h2 { "Sizes wanted and lying" small { "mm, in the store now" } }
                    div.scroll tabindex="0" role="region" aria-label="Sizes wanted and lying" {
                        (sizes(&view.sizes)) }
                }
            }
            div.aside tabindex="0" role="region" aria-label="What the aim comes to" {
                (best(view))
                (campaigns(&view.campaigns))
                (gradings(&view.gradings))
                section { h2 { "The machines" }
                    ul.rules { @for line in &view.machines { li { (line) } } } }
                (question(asked, view))
            }
        }
    };
    sheet(&frame, &[Says::Blue(view.finding.clone())], &boxed, &body)
}

fn curve(view: &AimSheet) -> Markup {
    let label = format!(
        "Engines expected over the aim of turning: {} at {} now, {} at {} at best",
        view.now.engines.text,
        view.now.piston.with_unit(),
        view.best.engines.text,
        view.best.piston.with_unit()
    );
    let sizes = [
        (Screen::Desk, 918.0, 340.0),
        (Screen::Panel, 630.0, 300.0),
        (Screen::Phone, 340.0, 300.0),
    ];
    on_screens(&label, &sizes, |d, screen| draw_curve(d, view, screen))
}

fn draw_curve(d: &mut Drawing, view: &AimSheet, screen: Screen) {
    let points: Vec<&AimPointView> =
        view.curve.iter().filter(|p| p.engines.value.is_finite()).collect();
    let [lower, upper] = &view.piston_limits;
    let sizes = points.iter().map(|p| p.piston.value).chain([lower.value, upper.value]);
    let (from, to) = sizes.fold((f64::MAX, f64::MIN), |(a, b), v| (a.min(v), b.max(v)));
    let most = points.iter().map(|p| p.engines.value).fold(1.0, f64::max);
    if points.is_empty() || from >= to {
        return;
    }
    let margin = 0.03 * (to - from);
    let (left, right, foot, top) = (44.0, d.width - 8.0, d.height - 44.0, 44.0);
    let x = Scale::new(from - margin, to + margin, left, right);
    let y = Scale::new(0.0, most * 1.08, foot, top);
    axes(d, (&x, from, to), (&y, most), (left, right, foot), screen);
    let band = |end: fn(&GainView) -> f64| {
        let at = |p: &&AimPointView| {
            (x.at(p.piston.value), y.at((view.now.engines.value + end(&p.gain)).max(0.0)))
        };
        points.iter().map(at).collect::<Vec<_>>()
    };
    let mut around = band(|g| g.lower.value);
    around.extend(band(|g| g.upper.value).into_iter().rev());
    d.poly(&around, "fbw", true);
    let line: Vec<(f64, f64)> =
        points.iter().map(|p| (x.at(p.piston.value), y.at(p.engines.value))).collect();
    d.poly(&line, "pencil bold", false);
    for (at_x, at_y) in &line {
        d.circle(*at_x, *at_y, 2.6, "fb");
    }
    for limit in [lower, upper] {
        d.line(x.at(limit.value), top - 18.0, x.at(limit.value), foot, "thick");
    }
    let now = x.at(view.now.piston.value);
    d.line(now, top - 10.0, now, foot, "centre");
    let best = x.at(view.best.piston.value);
    d.line(best, top - 10.0, best, foot, "phantom");
    d.circle(best, y.at(view.best.engines.value), 6.0, "pencil bold ff");
    let now_is_left = now <= best;
    let beside = |is_left: bool| if is_left { Anchor::End } else { Anchor::Start };
    let shift = |is_left: bool| if is_left { -5.0 } else { 5.0 };
    let says = format!("now {}", view.now.piston.text);
    d.text(now + shift(now_is_left), top - 14.0, &says, "strong halo", beside(now_is_left));
    let says = format!("best {}", view.best.piston.text);
    let class = "strong halo tb-";
    d.text(best + shift(!now_is_left), top - 14.0, &says, class, beside(!now_is_left));
}

/// The engraved scales: sizes below, engines at the left.
fn axes(
    d: &mut Drawing,
    sizes: (&Scale, f64, f64),
    engines: (&Scale, f64),
    edges: (f64, f64, f64),
    screen: Screen,
) {
    let ((x, from, to), (y, most), (left, right, foot)) = (sizes, engines, edges);
    d.line(left, foot, right, foot, "mid-l");
    let step = round_step(most, 5.0).max(1.0);
    let mut n = 0.0;
    while n <= most * 1.08 {
        d.line(left, y.at(n), right, y.at(n), "hair");
        d.text(left - 6.0, y.at(n) + 4.0, &format!("{n}"), "s t2", Anchor::End);
        n += step;
    }
    d.text(0.0, 14.0, "engines", "let s t2", Anchor::Start);
    let step = round_step(to - from, if screen == Screen::Phone { 3.0 } else { 7.0 });
    let mut k = (from / step).ceil();
    while k * step <= to + 1e-9 {
        let at = x.at(k * step);
        d.line(at, foot, at, foot + 7.0, "thin");
        let text = bedplate_works::wire::shown(k * step, 3);
        d.text(at, foot + 22.0, &text, "s t2", Anchor::Middle);
        k += 1.0;
    }
    d.text(right, foot + 38.0, "aim of turning, mm", "let s t2", Anchor::End);
}

fn gain(g: &GainView) -> Markup {
    html! { b { (g.engines.text) } " (" (g.lower.text) " to " (g.upper.text) ")" }
}

fn curve_table(curve: &[AimPointView]) -> Markup {
    html! {
        details.figures.no-print {
            summary { "As a table" }
            div.table tabindex="0" role="region" aria-label="Every aim that was tried" {
                table {
                    thead { tr { th.n scope="col" { "Aim mm" } th.n scope="col" { "Engines" }
                        th.n scope="col" { "Gain, 95 %" }
                        th.n scope="col" { "Pistons outside" } } }
                    tbody { @for p in curve {
                        tr { td.n { (figure(&p.piston)) } td.n { (figure(&p.engines)) }
                            td.n { (gain(&p.gain)) }
                            td.n { (figure_with_unit(&p.pistons_outside)) } } } }
                }
            }
        }
    }
}

fn best(view: &AimSheet) -> Markup {
    let b = &view.best;
    html! {
        section.advice aria-label="The best aim" {
            p { b { "To turning: " } (b.piston.with_unit()) ", " (view.moved.with_unit())
                " from now." }
            table {
                tr { td { "Engines more, " (b.gain.runs) " runs" } td.n { (gain(&b.gain)) } }
                @if let Some(searched) = &view.searched {
                    tr { td { "the same, each lot matched by the search, " (searched.runs)
                        " runs" } td.n { (gain(searched)) } }
                }
                tr { td { "The coming lot alone" } td.n { (gain(&view.kept_gain)) } }
                tr { td { "Pistons outside the drawing" }
                    td.n { b { (figure_with_unit(&b.pistons_outside)) } } }
                tr { td { "Kept for long, off target" }
                    td.n { b { (figure_with_unit(&view.kept_off)) } } }
            }
        }
    }
}

fn campaigns(lines: &[CampaignView]) -> Markup {
    html! {
        @if !lines.is_empty() {
            section.blue {
                h2 { "Fewer at the best aim" }
                table { tr { th.n { "Pistons" } th.n { "Engines more, 95 %" } }
                    @for c in lines { tr { td.n { (c.pistons) } td.n { (gain(&c.gain)) } } } }
            }
        }
    }
}

/// Cylinders that want a size to the left, pistons that lie there to the right.
fn sizes(bands: &[SizeBandView]) -> Markup {
    let most = bands.iter().map(|b| b.wanted.max(b.lying)).max().unwrap_or(1).max(1);
    let bar = |n: usize, class: &str, hatch: &str| {
        let mut d = Drawing::new(200.0, 16.0);
        let width = 196.0 * float(n) / float(most);
        for class in [class, hatch] {
            d.rect(2.0, 1.0, width, 14.0, class);
        }
        d.finish(&n.to_string(), "cell")
    };
    html! {
        table.sizes {
            thead { tr { th scope="col" { "Size" } th scope="col" colspan="2" { "Wanted" }
                th scope="col" colspan="2" { "Lying" } } }
            tbody { @for b in bands {
                tr { td.one-line { (b.from.text) " to " (b.to.text) }
                    td.n { (b.wanted) } td { (bar(b.wanted, "mid-l iron", "fn")) }
                    td.n { (b.lying) } td { (bar(b.lying, "mid-l ff", "h135")) } }
            } }
        }
    }
}

fn gradings(ways: &[GradingLine]) -> Markup {
    html! {
        @if !ways.is_empty() {
            section.blue {
                h2 { "If the works sorted by grade" }
                table {
                    thead { tr { th scope="col" { "Way" } th.n scope="col" { "Find a partner" }
                        th.n scope="col" { "and fit" } } }
                    tbody { @for w in ways {
                        tr { td { (w.way) } td.n { (figure_with_unit(&w.paired)) }
                            td.n { (figure_with_unit(&w.fitting)) } } } }
                }
                details {
                    summary { "The grades" }
                    @for w in ways { (grades(w)) }
                }
            }
        }
    }
}

fn grades(way: &GradingLine) -> Markup {
    html! {
        p { b { (way.way) } }
        table {
            tr { th.n { "Grade" } th { "Bores" } th { "Pistons" } }
            @for (i, g) in way.grades.iter().enumerate() {
                tr { td.n { (i + 1) } td { (g.bore_from.text) " to " (g.bore_to.text) }
                    td { (g.piston_from.text) " to " (g.piston_to.text) } }
            }
        }
    }
}

fn question(asked: &Asked, view: &AimSheet) -> Markup {
    html! {
        details.form.no-print {
            summary { "Ask with other figures" }
            form.typing method="get" action="/matching/aim" {
                input type="hidden" name="engine_type" value=(view.engine_type);
                div.fields {
                    label.say { "Blocks that come" input type="number" name="blocks" min="1"
                        max="100000" value=(view.coming_blocks); }
                    label.say { "Pistons turned" input type="number" name="pistons" min="1"
                        max="1000000" value=(view.coming_pistons); }
                    label.say { "Grades" input type="number" name="grades" min="1" max="20"
                        value=(asked.get("grades").unwrap_or("4")); }
                }
                label.tick { input type="checkbox" name="bores_too"
                    checked[asked.get("bores_too").is_some()]; "Boring may be set anew too" }
                button.key.blue type="submit" { "Ask" }
                a.key href={ "/matching/aim?engine_type=" (percent(&view.engine_type)) } {
                    "As usual" }
            }
        }
    }
}
