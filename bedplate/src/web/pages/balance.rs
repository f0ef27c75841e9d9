//! Sheet 5: balance.

use std::sync::Arc;

use axum::extract::State;
use axum::response::Response;
use bedplate_engine::balance::CAUTIONS;
use bedplate_works::balance::{BalancePlan, BalanceSheet, BalanceState, HoleLine, PlaneView};
use bedplate_works::plan::Plan;
use bedplate_works::wire::Word;
use maud::{Markup, html};

use super::typed::{self, Field};
use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::draw::{Anchor, Drawing, Scale, polar, round_step, three_sizes};
use crate::web::sheet::{
    Frame, Says, TagCell, empty, figure, judgement, judgement_saying, percent, sheet, tag,
};

/// How many pieces of a queue are shown as links.
const QUEUE_SHOWN: usize = 200;

/// Balance.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let mut frame = app.frame(&asked, "5", "Balance", "Rotors".to_owned(), notes());
    frame.styles = &["drawing.css", "balance.css"];
    let plan = app.works.plan();
    let piece = asked.owned("piece");
    show(
        &app,
        &asked,
        move |works| {
            if works.plan().rotors.is_empty() {
                return Ok(None);
            }
            works.balance(piece.as_deref()).map(Some)
        },
        move |_, view| match view {
            Some(view) => draw(frame, &plan, view),
            None => without_rotor(&frame),
        },
    )
    .await
}

fn notes() -> Markup {
    html! {
        span { svg width="34" height="12" aria-hidden="true" { path class="thick" d="M0 6H34" {} }
            "found" }
        span.blue { svg width="34" height="12" aria-hidden="true" {
            path class="pencil bold" d="M0 6H34" {} } "taken out by a hole" }
        span { svg width="20" height="20" aria-hidden="true" {
            circle class="fgw" cx="10" cy="10" r="8.5" {} circle class="thick" cx="10" cy="10"
                r="8.5" {}
        } "permissible" }
        span { svg width="30" height="14" aria-hidden="true" {
            rect class="h45" width="30" height="14" {} rect class="thin" width="30" height="14" {}
        } "may be drilled" }
        span { "angles from pin 1, turning seen from the front" }
    }
}

fn without_rotor(frame: &Frame) -> Markup {
    let body = empty(
        "The works file has no rotor.",
        "Add [rotor.NAME] with its mass, grade, planes and the sites that may be drilled; what is \
         measured on the balancing machine then becomes holes here.",
    );
    sheet(frame, &[Says::Ink("Nothing is balanced here yet.".to_owned())], &html! {}, &body)
}

fn draw(mut frame: Frame, plan: &Arc<Plan>, view: &BalanceSheet) -> Markup {
    let title = plan.rotors.get(&view.rotor).map_or(view.rotor.as_str(), |r| r.title.as_str());
    frame.title = format!("{title} {}", view.piece).trim_end().to_owned();
    let says = match &view.plan {
        Some(p) if p.outcome == "out of reach" => Says::Red(view.finding.clone()),
        Some(_) if view.state == BalanceState::ToDrill => Says::Blue(view.finding.clone()),
        _ => Says::Ink(view.finding.clone()),
    };
    let boxed = view.plan.as_ref().map_or_else(|| html! {}, boxed);
    let body = html! {
        div.bl data-live="balance,reading:" {
            @match &view.plan {
                Some(p) => (pictures(p)),
                None => (to_measure(plan, view)),
            }
            div.aside tabindex="0" role="region" aria-label="Holes and what is left" {
                @if let Some(p) = &view.plan {
                    @if !p.holes.is_empty() {
                        section { h2 { "Holes, in drilling order" } (holes(&p.holes)) }
                    }
                    section { h2 { "Left afterwards" } (left(p)) }
                    @if p.outcome == "out of reach" {
                        p.note { b { "Not to be drilled as it stands. " }
                            "The nearest that the windows allow is still outside; the engineer \
                             decides whether to drill, to rework or to scrap." }
                    } @else if view.state == BalanceState::ToDrill && !p.holes.is_empty() {
                        (confirm(view))
                    }
                }
                (drilled(view))
                @if view.plan.is_some() {
                    details.no-print { summary { "Type what the machine shows" } (measure(plan,
                        view)) }
                }
                (queue("To drill", &view.to_drill, &view.piece))
                (queue("To measure", &view.to_measure, &view.piece))
            }
        }
    };
    sheet(&frame, &[says], &boxed, &body)
}

fn boxed(p: &BalancePlan) -> Markup {
    let most = p.planes.iter().map(|x| x.allowed.with_unit()).collect::<Vec<_>>();
    let each = if most.first() == most.last() {
        most.first().map_or_else(String::new, |m| format!("{m} a plane"))
    } else {
        most.join(" and ")
    };
    tag(&[
        TagCell::One(p.mass.with_unit()),
        TagCell::One(format!("G {}", p.grade.text)),
        TagCell::One(p.speed.with_unit()),
        TagCell::One(each),
    ])
}

fn pictures(p: &BalancePlan) -> Markup {
    html! {
        div.lt {
            @for (i, plane) in p.planes.iter().enumerate() {
                section.panel {
                    h2 { "Plane " (plane.plane) small { (sites_of(p, plane.plane)) } }
                    div.fit { (vectors(p, plane, i)) }
                }
            }
            section.panel.side { h2 { "Where the drill goes" } div.fit { (side(p)) } }
        }
    }
}

fn sites_of(p: &BalancePlan, plane: &str) -> String {
    let names: Vec<&str> =
        p.sites.iter().filter(|s| s.plane == plane).map(|s| s.name.as_str()).collect();
    names.join(", ")
}

/// The share of a hole's unbalance that acts in the plane: by lever about the other plane.
fn share(p: &BalancePlan, hole: &HoleLine, plane_idx: usize) -> f64 {
    let (a, b) = p.plane_z_mm;
    let z = p.sites.iter().find(|s| s.name == hole.site).map_or(a, |s| s.z_mm);
    let of_b = if (b - a).abs() < 1e-9 { 0.5 } else { (z - a) / (b - a) };
    if plane_idx == 0 { 1.0 - of_b } else { of_b }
}

/// The vector diagram of one plane: found in ink, then each hole taken off in blue, down to what
/// should stay; around it the rim with the windows that may be drilled.
fn vectors(p: &BalancePlan, plane: &PlaneView, plane_idx: usize) -> Markup {
    let label = format!(
        "Plane {}: found {} at {}{}, permissible {}, left after drilling {}",
        plane.plane,
        plane.found.with_unit(),
        plane.angle.text,
        plane.angle.unit,
        plane.allowed.with_unit(),
        plane.expected.with_unit(),
    );
    three_sizes(&label, [(470.0, 440.0), (310.0, 330.0), (350.0, 360.0)], |d, _| {
        draw_vectors(d, p, plane, plane_idx);
    })
}

fn draw_vectors(d: &mut Drawing, p: &BalancePlan, plane: &PlaneView, plane_idx: usize) {
    let (cx, cy) = (d.width / 2.0, d.height / 2.0 + 6.0);
    let radius = (d.width / 2.0 - 30.0).min(d.height / 2.0 - 26.0);
    let inner = radius * 0.79;
    let most = plane.found.value.max(plane.allowed.value * 1.6).max(1e-6);
    let k = inner * 0.94 / most;
    let at = |gmm: f64, degrees: f64| polar(cx, cy, gmm * k, degrees);
    d.circle(cx, cy, plane.allowed.value * k, "thick fgw");
    paper(d, (cx, cy), radius, most, k);
    for site in p.sites.iter().filter(|s| s.plane == plane.plane) {
        for (from, to) in &site.windows {
            sector(d, (cx, cy), (inner, radius), (*from, *to));
        }
    }
    let found = at(plane.found.value, plane.angle.value);
    arrow(d, (cx, cy), found, "thick vector", "fi");
    let mut end = found;
    for hole in &p.holes {
        let (gmm, degrees) = (hole.takes.value * share(p, hole, plane_idx), hole.angle.value);
        let (x, y) = polar(0.0, 0.0, gmm * k, degrees);
        let next = (end.0 - x, end.1 - y);
        arrow(d, end, next, "pencil bold", "fb");
        end = next;
        let own = p.sites.iter().find(|s| s.name == hole.site);
        if own.is_some_and(|s| s.plane == plane.plane) {
            let q = polar(cx, cy, f64::midpoint(inner, radius), degrees);
            d.circle(q.0, q.1, 10.5, "pencil bold ff");
            d.text(q.0, q.1 + 5.0, &hole.letter, "tb- strong", Anchor::Middle);
        }
    }
    if !p.holes.is_empty() {
        d.circle(end.0, end.1, 5.5, "pencil bold ff");
    }
    d.text(0.0, 24.0, &plane.found.text, "xl", Anchor::Start);
    let unit = format!("{} at {}°", plane.found.unit, plane.angle.text);
    d.text(0.0, 43.0, &unit, "s t2", Anchor::Start);
    if !p.holes.is_empty() {
        d.text(d.width, 24.0, &plane.expected.text, "xl tb-", Anchor::End);
        d.text(d.width, 43.0, "left after", "s tb-", Anchor::End);
    }
}

/// The polar paper: rings of unbalance, spokes every 30°, the rim.
fn paper(d: &mut Drawing, at: (f64, f64), radius: f64, most: f64, k: f64) {
    let (cx, cy) = at;
    let step = round_step(most, 4.0);
    for i in 1..=6 {
        let value = step * f64::from(i);
        if value > most * 1.04 {
            break;
        }
        d.circle(cx, cy, value * k, "hair fn");
        let q = polar(cx, cy, value * k, 315.0);
        d.text(q.0, q.1 + 4.0, &format!("{value}"), "s t3 halo", Anchor::Middle);
    }
    for degrees in (0..360).step_by(30) {
        let (a, b) = (
            polar(cx, cy, 20.0, f64::from(degrees)),
            polar(cx, cy, radius * 0.79, f64::from(degrees)),
        );
        d.line(a.0, a.1, b.0, b.1, "hair");
    }
    d.line(cx - radius, cy, cx + radius, cy, "centre");
    d.line(cx, cy - radius, cx, cy + radius, "centre");
    d.circle(cx, cy, radius, "thick fn");
    d.circle(cx, cy, radius * 0.79, "thin fn");
    let around = [(0.0, "pin 1"), (90.0, "90°"), (180.0, "180°"), (270.0, "270°")];
    for (degrees, text) in around {
        let q = polar(cx, cy, radius + 15.0, degrees);
        d.text(q.0, q.1 + 4.0, text, "s t2", Anchor::Middle);
    }
}

fn sector(d: &mut Drawing, at: (f64, f64), radii: (f64, f64), window: (f64, f64)) {
    let sweep = (window.1 - window.0).rem_euclid(360.0);
    let large = u8::from(sweep > 180.0);
    let corner = |r: f64, degrees: f64| polar(at.0, at.1, r, degrees);
    let (a, b) = (corner(radii.1, window.0), corner(radii.1, window.1));
    let (c, e) = (corner(radii.0, window.1), corner(radii.0, window.0));
    let path = format!(
        "M{:.2} {:.2}A{r1:.2} {r1:.2} 0 {large} 1 {:.2} {:.2}L{:.2} {:.2}\
         A{r0:.2} {r0:.2} 0 {large} 0 {:.2} {:.2}Z",
        a.0,
        a.1,
        b.0,
        b.1,
        c.0,
        c.1,
        e.0,
        e.1,
        r1 = radii.1,
        r0 = radii.0,
    );
    for class in ["f3", "h45", "mid-l"] {
        d.path(&path, class);
    }
}

fn arrow(d: &mut Drawing, from: (f64, f64), to: (f64, f64), line: &str, fill: &str) {
    let (dx, dy) = (to.0 - from.0, to.1 - from.1);
    let length = dx.hypot(dy);
    let head = 14f64.min(length * 0.6);
    let angle = dy.atan2(dx);
    let q = head * 0.8;
    d.line(from.0, from.1, to.0 - q * angle.cos(), to.1 - q * angle.sin(), line);
    d.arrow(to.0, to.1, angle, fill, head);
}

/// The rotor from the side: the two planes, the webs that may be drilled at their places along the
/// shaft, the holes on their rims at true depth.
fn side(p: &BalancePlan) -> Markup {
    let said: Vec<String> = p
        .holes
        .iter()
        .map(|h| {
            format!("{} at {} {} deep {}", h.letter, h.site, h.angle.text, h.depth.with_unit())
        })
        .collect();
    let label = format!("Side view with the holes: {}", said.join("; "));
    three_sizes(&label, [(964.0, 136.0), (640.0, 112.0), (350.0, 136.0)], |d, _| draw_side(d, p))
}

fn draw_side(d: &mut Drawing, p: &BalancePlan) {
    let (a, b) = p.plane_z_mm;
    let places = p.sites.iter().map(|s| s.z_mm).chain([a, b]);
    let (least, most) =
        places.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, m), z| (l.min(z), m.max(z)));
    let radius_mm = p.sites.iter().map(|s| s.radius_mm).fold(1.0, f64::max);
    let margin = d.width * 0.1;
    let x = Scale::new(least, (least + 1.0).max(most), margin, d.width - margin);
    let cy = d.height * 0.5;
    let per_mm = (d.height * 0.5 - 16.0) / radius_mm;
    let shaft = radius_mm * per_mm * 0.34;
    d.line(margin - 46.0, cy, d.width - margin + 46.0, cy, "centre");
    d.rect(margin - 26.0, cy - shaft, d.width - 2.0 * margin + 52.0, shaft * 2.0, "mid-l ff");
    for (z, name) in [(a, "A"), (b, "B")] {
        let (at, y) = (x.at(z), cy + shaft);
        d.poly(&[(at, y), (at - 8.0, y + 14.0), (at + 8.0, y + 14.0)], "thin fi", true);
        d.text(at, cy - shaft - 15.0, name, "let", Anchor::Middle);
        d.line(at, cy - shaft - 10.0, at, y, "centre");
    }
    for site in &p.sites {
        let (at, r) = (x.at(site.z_mm), site.radius_mm * per_mm);
        d.rect(at - 13.0, cy - r, 26.0, r * 2.0, "mid-l ff");
        d.text(at + 18.0, cy - r + 12.0, &site.name, "s t2", Anchor::Start);
        let here: Vec<&HoleLine> = p.holes.iter().filter(|h| h.site == site.name).collect();
        for (hole, offset) in here.iter().zip([-5.0, 5.0, 0.0, -9.0, 9.0]) {
            let deep = hole.depth.value * per_mm;
            let is_up = hole.angle.value.to_radians().cos() >= 0.0;
            let top = if is_up { cy - r } else { cy + r - deep };
            d.rect(at + offset - 3.0, top, 6.0, deep.max(2.0), "pencil fbw");
        }
        if !here.is_empty() {
            let letters: Vec<&str> = here.iter().map(|h| h.letter.as_str()).collect();
            let left = at < d.width / 2.0;
            let (end, anchor) =
                if left { (at - 46.0, Anchor::End) } else { (at + 46.0, Anchor::Start) };
            let y = cy + r - 5.0;
            d.line(if left { at - 13.0 } else { at + 13.0 }, y, end, y, "pencil");
            let gap = if left { -6.0 } else { 6.0 };
            d.text(end + gap, y + 5.0, &letters.join(", "), "tb- m strong", anchor);
        }
    }
    d.text(0.0, cy - shaft - 12.0, "front", "s t2", Anchor::Start);
    d.text(d.width, cy - shaft - 12.0, "rear", "s t2", Anchor::End);
}

fn holes(holes: &[HoleLine]) -> Markup {
    html! {
        table {
            tr { th { "Hole" } th { "At" } th.n { "Angle" } th.n { "Drill" } th.n { "Depth mm" }
                th.n { "Takes g·mm" } }
            @for h in holes {
                tr { td.blue { b { (h.letter) } } td.one-line { (h.site) } td.n {
                    (h.angle.with_unit()) }
                    td.n { "⌀" (h.drill.text) } td.n.blue { b.mid { (h.depth.text) } }
                    td.n { (figure(&h.takes)) } }
            }
        }
    }
}

fn left(p: &BalancePlan) -> Markup {
    html! {
        table {
            tr { th { "Plane" } th.n { "Found" } th.n { "Allowed" } th.n { "Expected" } th {
                "Judged" } }
            @for plane in &p.planes {
                tr { td { (plane.plane) } td.n { (figure(&plane.found)) } td.n {
                    (plane.allowed.text) }
                    td.n.blue { @if p.holes.is_empty() { "no hole" } @else {
                        b { (plane.expected.text) " ± " (plane.plus_minus.text) } } }
                    td { (inside(plane, p.holes.is_empty())) } }
            }
        }
        p.muted { "g·mm; whole rotor " (figure(&p.permissible)) ", less the machine's guard. "
            @if !p.holes.is_empty() { (p.mass_off.with_unit()) " of metal comes off." } }
    }
}

fn inside(plane: &PlaneView, no_hole: bool) -> Markup {
    match if no_hole { plane.word } else { plane.expected_word } {
        Word::Accept => judgement_saying(Word::Accept, "inside"),
        Word::Reject => judgement_saying(Word::Reject, "outside"),
        word => judgement(word),
    }
}

/// The cautions that the works wrote are ticked; the trade's own stand below them.
fn confirm(view: &BalanceSheet) -> Markup {
    let n_own = view.cautions.len().saturating_sub(CAUTIONS.len());
    let (own, trade) = view.cautions.split_at(n_own);
    let (ticked, read) =
        if own.is_empty() { trade.split_at(trade.len().min(2)) } else { (own, trade) };
    let piece = percent(&view.piece);
    html! {
        form.typing method="post"
            action={ "/api/balance/" (piece) "/drilled?then="
                (percent(&format!("/balance?piece={piece}"))) } {
            section.caution.ticks aria-label="Before the spindle moves" {
                h2.plain { "Before the spindle moves" }
                @for (i, line) in ticked.iter().enumerate() {
                    label { input type="checkbox" required name=(format!("ticked{i}")) value="yes";
                        (line) }
                }
                details { summary { "The trade's usual cautions" }
                    ul { @for line in read { li { (line) } } } }
            }
            button.key.ink.hold type="submit" { "Hold to confirm holes as drilled" }
        }
    }
}

fn drilled(view: &BalanceSheet) -> Markup {
    html! {
        @if !view.drilled.is_empty() {
            section {
                h2 { "Drilled already" }
                table {
                    tr { th { "At" } th.n { "Angle" } th.n { "Drill" } th.n { "Depth" } }
                    @for h in &view.drilled {
                        tr { td { (h.site) } td.n { (h.angle) } td.n { (h.drill) } td.n { (h.depth)
                            } }
                    }
                }
            }
        }
    }
}

fn to_measure(plan: &Plan, view: &BalanceSheet) -> Markup {
    html! {
        div.first {
            @if view.piece.is_empty() {
                (empty("No rotor waits at the balancing machine.",
                    "A piece comes here when it is entered or gauged and is not yet balanced."))
            } @else {
                section.panel { h2 { "What the machine shows" small.long-name { (view.piece) } }
                    (measure(plan, view)) }
                section.caution aria-label="Cautions" { h2.plain { "Before the spindle moves" }
                    ul { @for line in &view.cautions { li { (line) } } } }
            }
        }
    }
}

fn measure(plan: &Plan, view: &BalanceSheet) -> Markup {
    let unit = |id: &str| plan.characteristics.get(id).map_or("", |c| c.unit.symbol);
    let fields = html! {
        @for plane in ["A", "B"] {
            (typed::field(&Field { characteristic: &view.amount, position: plane,
                label: &format!("Plane {plane}, amount"), unit: unit(&view.amount) }))
            (typed::field(&Field { characteristic: &view.angle, position: plane,
                label: &format!("Plane {plane}, angle"), unit: unit(&view.angle) }))
        }
    };
    let then = format!("/balance?piece={}", percent(&view.piece));
    typed::form(&view.piece, &then, "Take these readings", &fields)
}

fn queue(title: &str, pieces: &[String], open: &str) -> Markup {
    html! {
        @if !pieces.is_empty() {
            details.no-print {
                summary { (title) ": " (pieces.len()) }
                nav.choose aria-label=(title) {
                    @for piece in pieces.iter().take(QUEUE_SHOWN) {
                        a href={ "/balance?piece=" (percent(piece)) }
                            aria-current=[(piece == open).then_some("true")] { (piece) }
                    }
                }
                @if pieces.len() > QUEUE_SHOWN { p { "and " (pieces.len() - QUEUE_SHOWN) " more" } }
            }
        }
    }
}
