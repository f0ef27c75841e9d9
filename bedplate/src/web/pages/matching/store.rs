//! Sheet 4.1: the store. What lies there part by part, graded stock and its counts, what was said
//! of pieces.

use axum::extract::State;
use axum::response::Response;
use bedplate_works::instant;
use bedplate_works::sets::wishes::{StockLine, WishLine};
use bedplate_works::sets::{PileLine, first_type};
use bedplate_works::trace::counted;
use bedplate_works::works::{Works, WorksError};
use maud::{Markup, html};
use serde::Serialize;

use super::float;
use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::draw::{Anchor, Drawing, Screen, on_screens};
use crate::web::sheet::{Frame, Says, empty, percent, sheet};

/// What the store holds.
#[derive(Debug, Serialize)]
struct StoreSheet {
    as_of: String,
    engine_type: String,
    /// Engine types with a rule for their sets.
    types: Vec<String>,
    piles: Vec<PileLine>,
    stock: Vec<StockLine>,
    wishes: Vec<WishLine>,
    /// Why the piles cannot be shown, or empty.
    trouble: String,
}

/// The store.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let mut frame = app.frame(&asked, "4.1", "Matching", "Store".to_owned(), notes());
    frame.styles = &["drawing.css", "matching.css"];
    let wanted = asked.owned("engine_type");
    let look = move |works: &Works| store(works, wanted);
    show(&app, &asked, look, move |_, view| draw(&frame, view)).await
}

fn store(works: &Works, wanted: Option<String>) -> Result<StoreSheet, WorksError> {
    let plan = works.plan();
    let types: Vec<String> =
        plan.engines.keys().filter(|t| plan.sets.contains_key(*t)).cloned().collect();
    let engine_type = wanted.or_else(|| first_type(&plan)).unwrap_or_default();
    let mut sheet = StoreSheet {
        as_of: instant::iso(works.as_of(), &instant::zone(&plan.works.time_zone)),
        engine_type,
        types,
        piles: vec![],
        stock: works.stock(),
        wishes: works.wishes(),
        trouble: String::new(),
    };
    if sheet.engine_type.is_empty() {
        return Ok(sheet);
    }
    match works.piles(&sheet.engine_type) {
        Ok(piles) => sheet.piles = piles,
        Err(WorksError::Store(e)) => return Err(WorksError::Store(e)),
        Err(e) => sheet.trouble = e.to_string(),
    }
    Ok(sheet)
}

/// How a section of a pile is drawn.
const SECTIONS: [(&str, &str); 4] = [
    ("ready", "mid-l f3"),
    ("cannot tell", "mid-l fdw"),
    ("not gauged", "hidden ff"),
    ("held", "mid-l ff"),
];

fn hatch(section: usize) -> Option<&'static str> {
    match section {
        1 => Some("h45d"),
        3 => Some("h135"),
        _ => None,
    }
}

fn notes() -> Markup {
    let patch = |section: usize, class: &str| {
        let mut d = Drawing::new(28.0, 16.0);
        for class in std::iter::once(class).chain(hatch(section)) {
            d.rect(0.8, 0.8, 26.4, 14.4, class);
        }
        d.small()
    };
    html! {
        @for (i, (name, class)) in SECTIONS.iter().enumerate() {
            span { (patch(i, class)) (name) }
        }
    }
}

fn finding(view: &StoreSheet) -> Vec<Says> {
    if !view.trouble.is_empty() {
        return vec![Says::Red(format!("Nothing can be matched: {}.", view.trouble))];
    }
    if view.piles.is_empty() {
        return vec![Says::Ink("No store is kept for sets yet.".to_owned())];
    }
    let ready = |p: &PileLine| {
        let n = usize::try_from(p.ready).unwrap_or(0);
        counted(n, &p.title.to_lowercase())
    };
    // What sets are made for, and what fills their main places.
    let first: Vec<String> = view.piles.iter().take(2).map(ready).collect();
    let mut says = vec![Says::Ink(format!("{} lie ready to be matched.", first.join(" and ")))];
    let all = |n: fn(&PileLine) -> usize| view.piles.iter().map(n).sum::<usize>();
    let waits = [
        (all(|p| p.undecided), "cannot be told from a limit"),
        (all(|p| p.not_gauged), "wait for a gauge"),
        (all(|p| p.held), "are held"),
    ];
    let waits: Vec<String> =
        waits.iter().filter(|(n, _)| *n > 0).map(|(n, why)| format!("{n} {why}")).collect();
    if !waits.is_empty() {
        says.push(Says::Ink(format!("Of all pieces {}.", waits.join(", "))));
    }
    says
}

fn draw(frame: &Frame, view: &StoreSheet) -> Markup {
    let body = html! {
        div.store data-live="set,piece,reading:" {
            div.piles {
                (types(view))
                @if view.piles.is_empty() && view.trouble.is_empty() {
                    (empty("The works file has no rule for sets.",
                        "Add [set.ENGINE] with a fit; then what lies ready for it is shown here."))
                }
                @if !view.piles.is_empty() { (piles(view)) }
                @if !view.stock.is_empty() { (stock(view)) }
            }
            div.aside tabindex="0" role="region" aria-label="What was said of pieces" {
                (said(view))
                details.form {
                    summary { "Say something of a piece" }
                    (say())
                }
            }
        }
    };
    sheet(frame, &finding(view), &html! {}, &body)
}

fn types(view: &StoreSheet) -> Markup {
    html! {
        @if view.types.len() > 1 {
            nav.choose aria-label="Engine types" {
                @for t in &view.types {
                    a href={ "/matching/store?engine_type=" (percent(t)) }
                        aria-current=[(*t == view.engine_type).then_some("true")] { (t) }
                }
            }
        }
    }
}

fn counts(pile: &PileLine) -> [usize; 4] {
    [usize::try_from(pile.ready).unwrap_or(0), pile.undecided, pile.not_gauged, pile.held]
}

fn piles(view: &StoreSheet) -> Markup {
    let said: Vec<String> =
        view.piles.iter().map(|p| format!("{} {} ready", p.title, p.ready)).collect();
    let label = format!("The store part by part: {}", said.join(", "));
    let n = float(view.piles.len());
    let tall = |each: f64| (each * n + 26.0).max(90.0);
    let sizes = [
        (Screen::Desk, 900.0, tall(64.0).min(330.0)),
        (Screen::Panel, 620.0, tall(56.0).min(280.0)),
        (Screen::Phone, 340.0, tall(74.0)),
    ];
    html! {
        section.panel.pile-panel {
            h2 { "Part by part" small { "a section is as thick as its pile" } }
            div.pile-picture {
                (on_screens(&label, &sizes, |d, screen| draw_piles(d, &view.piles, screen)))
            }
            details.figures {
                summary { "As a table" }
                div.table tabindex="0" role="region" aria-label="The store part by part" {
                    table {
                        thead { tr { th scope="col" { "Part" }
                            @for (name, _) in SECTIONS { th.n scope="col" { (name) } } } }
                        tbody { @for p in &view.piles {
                            tr { td { (p.title) } @for n in counts(p) { td.n { (n) } } } } }
                    }
                }
            }
        }
    }
}

/// One part a lane: its pile in four sections along a centre line.
fn draw_piles(d: &mut Drawing, piles: &[PileLine], screen: Screen) {
    let narrow = screen == Screen::Phone;
    let left = match screen {
        Screen::Desk => 170.0,
        Screen::Panel => 124.0,
        Screen::Phone => 4.0,
    };
    let top = 24.0;
    let lane = (d.height - top) / float(piles.len().max(1));
    let room = if narrow { lane - 22.0 } else { lane };
    let most = piles.iter().flat_map(counts).max().unwrap_or(1).max(1);
    let pitch = (d.width - left - 4.0) / 4.0;
    for (k, (name, _)) in SECTIONS.iter().enumerate() {
        let x = left + pitch * (float(k) + 0.5);
        d.text(x, 12.0, name, "let s t2", Anchor::Middle);
    }
    for (i, pile) in piles.iter().enumerate() {
        let from = top + lane * float(i);
        let y = if narrow { from + 20.0 + room / 2.0 } else { from + room / 2.0 };
        let name = if narrow { (left, from + 14.0) } else { (0.0, y + 5.0) };
        d.text(name.0, name.1, &pile.title, "let", Anchor::Start);
        d.line(left - 4.0, y, d.width, y, "centre");
        for (k, n) in counts(pile).into_iter().enumerate() {
            let x = left + pitch * float(k);
            let share = float(n) / float(most);
            let half = (room * 0.42 * share.powf(0.6)).max(if n > 0 { 3.0 } else { 0.0 });
            let inside = half > 11.0;
            if n > 0 {
                let r = half.min(3.0);
                d.rounded(x, y - half, pitch - 6.0, half * 2.0, r, SECTIONS[k].1);
                if let Some(hatch) = hatch(k) {
                    d.rounded(x, y - half, pitch - 6.0, half * 2.0, r, hatch);
                }
            }
            let at = if inside || n == 0 { y + 5.0 } else { y - half - 4.0 };
            let class = if n == 0 { "s t3 halo" } else { "strong halo" };
            d.text(x + pitch / 2.0 - 3.0, at, &n.to_string(), class, Anchor::Middle);
        }
    }
}

fn stock(view: &StoreSheet) -> Markup {
    html! {
        section.panel.stock {
            h2 { "Kept by grade" small { "counted, not numbered" } }
            div.scroll tabindex="0" role="region" aria-label="Stock of every grade" {
                table {
                    thead { tr { th scope="col" { "Part" } th scope="col" { "Grade" }
                        th scope="col" { "Size" } th.n scope="col" { "Left" }
                        th scope="col" { "Counted anew" } } }
                    tbody { @for line in &view.stock { (stock_row(line)) } }
                }
            }
        }
    }
}

fn stock_row(line: &StockLine) -> Markup {
    html! {
        tr {
            td { (line.title) } td { b { (line.grade) } } td.one-line { (line.sizes) }
            td.n { @match line.left {
                Some(left) if left < 0 => { b.red { (bedplate_works::wire::shown(
                    f64::from(i32::try_from(left).unwrap_or(i32::MIN)), 0)) ", count again" } }
                Some(left) => { b { (left) } }
                None => { span.muted { "never counted" } }
            } }
            td { form.count method="post" action="/api/stock?then=/matching/store" {
                input type="hidden" name="part" value=(line.part);
                input type="hidden" name="grade" value=(line.grade);
                input type="number" name="pieces" min="0" max="1000000000" step="1" required
                    inputmode="numeric"
                    aria-label={ "Pieces of " (line.title) " " (line.grade) " counted" };
                button.key type="submit" aria-label={ "Count " (line.title) " " (line.grade) } {
                    "Count" }
            } }
        }
    }
}

fn said(view: &StoreSheet) -> Markup {
    html! {
        section.said {
            h2 { "Said of pieces" }
            @if view.wishes.is_empty() {
                p.muted { "Nothing is held, kept, parted or due." }
            }
            ul { @for wish in &view.wishes { li { (wish_line(wish)) } } }
        }
    }
}

fn wish_line(wish: &WishLine) -> Markup {
    html! {
        p { a.long-name href={ "/trace?of=" (percent(&wish.piece)) } { b { (wish.piece) } } " "
            (wish.said) span.muted { ": " (wish.reason) } }
        form.free method="post" action="/api/store?then=/matching/store" {
            input type="hidden" name="saying" value="free";
            input type="hidden" name="piece" value=(wish.piece);
            label.say { "Why it is free" input type="text" name="reason" required
                maxlength="300"; }
            button.key type="submit" aria-label={ "Free " (wish.piece) } { "Free" }
        }
    }
}

/// One form for everything that can be said of a piece; the fields that a saying does not need go
/// away where the browser can tell.
fn say() -> Markup {
    html! {
        form.say-of.typing method="post" action="/api/store?then=/matching/store"
            aria-label="Say of a piece" {
            div.fields {
                label.say { "Piece" input type="text" name="piece" required maxlength="80"
                    autocomplete="off"; }
                label.say { "What" select name="saying" {
                    option value="hold" { "held: in no set" }
                    option value="keep" { "kept for a block" }
                    option value="part" { "not with another piece" }
                    option value="due" { "due: a block that comes first" }
                } }
                label.say.for-keep { "Block" input type="text" name="block" maxlength="80"
                    autocomplete="off"; }
                label.say.for-keep { "Place, or any" input.short type="text" name="position"
                    maxlength="20" autocomplete="off"; }
                label.say.for-part { "Other piece" input type="text" name="other" maxlength="80"
                    autocomplete="off"; }
                label.say.for-due { "Rank, higher first" input.short type="number" name="rank"
                    min="1" max="255" step="1"; }
            }
            label.say { "Why" input.long type="text" name="reason" required maxlength="300"; }
            button.key.ink type="submit" { "Say it" }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stock_below_nothing_counts_as_none_ready() {
        let pile = PileLine {
            part: "main_shell".to_owned(),
            title: "Main shell".to_owned(),
            ready: -3,
            undecided: 1,
            not_gauged: 2,
            held: 4,
        };
        assert_eq!(counts(&pile), [0, 1, 2, 4]);
    }
}
