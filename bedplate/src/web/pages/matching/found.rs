//! What was found against what is possible: the rule, the loss on its bound, what is left over,
//! what is missing, what every set keeps.

use bedplate_works::sets::{Band, MatchingSheet};
use bedplate_works::trace::counted;
use maud::{Markup, html};

use super::float;
use crate::web::draw::{Anchor, Drawing, Scale, Tone, round_step, three_sizes};
use crate::web::sheet::percent;

/// Engines found, at most, and by first in, first out, on one rule.
pub(super) fn found(view: &MatchingSheet) -> Markup {
    let by_hand =
        view.by_hand.map_or_else(String::new, |n| format!(", {n} by first in, first out"));
    let label = format!("{} found, {} at most{by_hand}", view.found, view.bound);
    let height = if view.by_hand.is_some() { 128.0 } else { 104.0 };
    three_sizes(&label, [(396.0, height), (300.0, height), (350.0, height)], |d, _| {
        draw_found(d, view);
    })
}

fn draw_found(d: &mut Drawing, view: &MatchingSheet) {
    let most = float(view.bound.max(view.found).max(1));
    let step = round_step(most, 6.0).max(1.0);
    let end = (most * 1.12 / step).ceil() * step;
    let (w, y) = (d.width, 74.0);
    let scale = Scale::new(0.0, end, 8.0, w - 10.0);
    d.rect(1.0, y - 26.0, w - 2.0, 48.0, "mid-l f2");
    let at = (scale.at(float(view.found)), scale.at(float(view.bound)));
    d.rect(scale.at(0.0), y - 12.0, at.0 - scale.at(0.0), 12.0, "fi");
    d.rule(scale.at(0.0), y, scale.at(end) - scale.at(0.0), end, step, 1);
    d.line(at.0, y - 12.0, at.0, y - 48.0, "wit");
    d.line(at.1, y, at.1, y - 48.0, "pencil");
    if view.bound > view.found {
        d.dimension((at.0, y - 38.0), (at.1, y - 38.0), "", Tone::Ink);
    }
    // Where little was found, the words have room to the right only.
    let (x, anchor) = if at.0 > 100.0 { (at.0 - 24.0, Anchor::End) } else { (12.0, Anchor::Start) };
    let found = if at.0 > 100.0 { y - 33.0 } else { y - 56.0 };
    d.text(x, found, &format!("{} found", view.found), "m strong", anchor);
    d.text(w, y - 56.0, &format!("{} at most", view.bound), "tb-", Anchor::End);
    if let Some(by_hand) = view.by_hand {
        let x = scale.at(float(by_hand));
        d.line(x, y - 12.0, x, y + 36.0, "phantom");
        let text = format!("{by_hand} first in, first out");
        let (x, anchor) = if x > w / 2.0 { (x + 4.0, Anchor::End) } else { (x, Anchor::Start) };
        d.text(x.min(w), y + 51.0, &text, "tb-", anchor);
    }
}

/// The loss of what is proposed against the least that as many engines can have.
pub(super) fn loss(view: &MatchingSheet) -> Markup {
    let (found, least) = (view.loss, view.loss_bound.clamp(0.0, view.loss.max(0.0)));
    if view.found == 0 || !found.is_finite() || !least.is_finite() || found <= 0.0 {
        return html! {};
    }
    let tell = |x: f64| bedplate_works::wire::shown(x, if found < 10.0 { 2 } else { 1 });
    let label = format!(
        "Off target {} in all; no pairing of as many engines lies below {}",
        tell(found),
        tell(least)
    );
    html! {
        section {
            h2 { "Off target" small { "0 is every fit at its target" } }
            (three_sizes(&label, [(396.0, 58.0), (300.0, 58.0), (350.0, 58.0)], |d, _| {
                let w = d.width;
                let scale = Scale::new(0.0, found * 1.04, 8.0, w - 10.0);
                let y = 46.0;
                d.line(8.0, y, w - 10.0, y, "mid-l");
                d.line(8.0, y, 8.0, y - 12.0, "thin");
                d.rect(8.0, y - 9.0, scale.at(found) - 8.0, 9.0, "fi");
                d.line(scale.at(least), y + 4.0, scale.at(least), y - 28.0, "pencil");
                d.line(scale.at(found), y - 9.0, scale.at(found), y - 28.0, "wit");
                let (a, b) = ((scale.at(least), y - 20.0), (scale.at(found), y - 20.0));
                d.dimension(a, b, "", Tone::Blue);
                d.text(w - 10.0, 12.0, &format!("{} found", tell(found)), "strong", Anchor::End);
                let least = format!("{} at least", tell(least));
                d.text(8.0, 12.0, &least, "tb-", Anchor::Start);
            }))
        }
    }
}

/// What is left over: bores to the left of each size, pistons to the right; short where a piston
/// is wanted.
pub(super) fn left(bands: &[Band]) -> Markup {
    if bands.is_empty() {
        return html! {};
    }
    let said: Vec<String> = bands
        .iter()
        .map(|b| format!("{}: {} bores, {} pistons", b.from.text, b.bores, b.pistons))
        .collect();
    let label = format!("Left over by size: {}", said.join("; "));
    let height = 22.0 + 25.0 * float(bands.len());
    let picture =
        three_sizes(&label, [(396.0, height), (300.0, height), (350.0, height)], |d, _| {
            draw_left(d, bands);
        });
    html! { section { h2 { "Left over by piston size" small { "mm" } } (picture) } }
}

fn draw_left(d: &mut Drawing, bands: &[Band]) {
    let middle = d.width * 0.46;
    let most = bands.iter().map(|b| b.bores.max(b.pistons)).max().unwrap_or(1).max(1);
    let per = (d.width * 0.26) / float(most);
    d.text(middle - 40.0, 13.0, "bores", "let s t2", Anchor::End);
    d.text(middle + 40.0, 13.0, "pistons", "let s t2", Anchor::Start);
    for (i, band) in bands.iter().enumerate() {
        let y = 22.0 + 25.0 * float(i);
        let (b, p) = (float(band.bores) * per, float(band.pistons) * per);
        d.text(middle, y + 14.0, &band.from.text, "s", Anchor::Middle);
        d.rect(middle - 34.0 - b, y, b, 18.0, "mid-l iron");
        d.rect(middle + 34.0, y, p, 18.0, "mid-l ff");
        d.rect(middle + 34.0, y, p, 18.0, "h135");
        let class = if band.bores > band.pistons { "strong tr-" } else { "" };
        d.text(middle - 40.0 - b, y + 14.0, &band.bores.to_string(), class, Anchor::End);
        let mut text = band.pistons.to_string();
        if band.bores > band.pistons {
            text = format!("{text}, short by {}", band.bores - band.pistons);
        }
        d.text(middle + 40.0 + p, y + 14.0, &text, class, Anchor::Start);
    }
}

/// Blocks without a set, each with its reason.
pub(super) fn left_blocks(view: &MatchingSheet) -> Markup {
    html! {
        @if !view.left_blocks.is_empty() {
            details {
                summary { (counted(view.left_blocks.len(), "block"))
                    " left without a set, and why" }
                table {
                    tr { th { "Block" } th { "Why" } }
                    @for left in &view.left_blocks {
                        tr { td { a href={ "/trace?of=" (percent(&left.block)) } { (left.block) } }
                            td { (left.reason) } }
                    }
                }
            }
        }
        @if view.undecided > 0 {
            p { (counted(view.undecided, "piece"))
                " cannot be told: measure again before matching." }
        }
    }
}

/// Pieces that would complete more engines: to whom it is said, and what.
pub(super) fn advice(view: &MatchingSheet) -> Markup {
    html! {
        @if !view.advice.is_empty() {
            div.advice {
                @for a in view.advice.iter().take(3) { p { b { "To " (a.tell) ": " } (a.words) "." } }
            }
        }
    }
}

/// What every set keeps, and what was said of pieces.
pub(super) fn rules(view: &MatchingSheet) -> Markup {
    html! {
        @if !view.rules.is_empty() {
            section {
                h2 { "Every set keeps" }
                ul.rules { @for rule in &view.rules { li { (rule) } } }
            }
        }
        @if !view.wishes.is_empty() {
            p { (counted(view.wishes.len(), "thing")) " "
                a href="/matching/store" { "said of pieces" } " heeded." }
        }
    }
}
