//! The rest of a set beside its pistons: the other fits place by place, what must be alike, the
//! other pieces.

use bedplate_works::sets::{FitLine, PieceLine, SetView, SpreadLine};
use bedplate_works::wire::Word;
use maud::{Markup, html};

use super::tray::limit_text;
use crate::web::draw::{Drawing, Scale, Tone, Window};
use crate::web::sheet::{figure, figure_with_unit, judgement, percent};

/// Whether there is anything of it.
pub(in crate::web::pages) fn has_rest(set: &SetView) -> bool {
    !set.fits.is_empty() || !set.pieces.is_empty() || set.spreads.len() > 1
}

/// The other fits of a set, one group each.
pub(in crate::web::pages) fn fits_by_kind(fits: &[FitLine]) -> Vec<&[FitLine]> {
    fits.chunk_by(|a, b| a.fit == b.fit).collect()
}

/// The other pieces of a set, one group for each kind of part.
pub(in crate::web::pages) fn pieces_by_part(pieces: &[PieceLine]) -> Vec<&[PieceLine]> {
    pieces.chunk_by(|a, b| a.part == b.part).collect()
}

/// A share in percent that never says certain when it is not.
pub(in crate::web::pages) fn sure_percent(probability: f64) -> String {
    let percent = probability * 100.0;
    match percent {
        p if !p.is_finite() => "an unknown share".to_owned(),
        p if p >= 99.95 => "more than 99.9 %".to_owned(),
        p if p > 0.0 && p < 0.05 => "less than 0.1 %".to_owned(),
        p => format!("{} %", bedplate_works::wire::shown(p, 1)),
    }
}

/// The window of one place.
pub(in crate::web::pages) const fn window(line: &FitLine) -> Window {
    let [lower, target, upper] = &line.limits;
    Window {
        lower: lower.value,
        upper: upper.value,
        target: Some(target.value),
        guard: line.guard.value,
        value: line.clearance.value,
        word: line.word,
    }
}

/// Everything of a set beside block and pistons.
pub(super) fn rest(set: &SetView) -> Markup {
    html! {
        section.panel.rest aria-label="The rest of the set" {
            h2 { "The rest of the set" small { "clearances in µm by place" } }
            div.scroll tabindex="0" role="region" aria-label="Fits, spreads and pieces" {
                @for group in fits_by_kind(&set.fits) { (fit(group)) }
                @if !set.spreads.is_empty() { (spreads(&set.spreads)) }
                @if !set.pieces.is_empty() { (pieces(&set.pieces)) }
            }
        }
    }
}

fn fit(group: &[FitLine]) -> Markup {
    let Some(first) = group.first() else { return html! {} };
    let [lower, target, upper] = &first.limits;
    html! {
        div.fit-group {
            h3 { (first.title) small { (limit_text(lower.value)) " to " (limit_text(upper.value))
                ", aim " (limit_text(target.value)) } }
            ul.cells { @for line in group { li { (cell(line)) } } }
        }
    }
}

fn cell(line: &FitLine) -> Markup {
    let mut d = Drawing::new(96.0, 28.0);
    d.strip((2.0, 94.0), 14.0, &window(line), "");
    let place = if line.position.is_empty() {
        line.title.clone()
    } else {
        format!("{} {}", line.title, line.position)
    };
    let label =
        format!("{place}: {} on its window, {}", line.clearance.with_unit(), line.word.text());
    html! {
        span.cell-head { @if !line.position.is_empty() { b { (line.position) } }
            (figure(&line.clearance)) }
        (d.finish(&label, "cell"))
        @if line.word != Word::Accept { span.cell-word { (judgement(line.word)) } }
    }
}

fn spreads(lines: &[SpreadLine]) -> Markup {
    html! {
        div.fit-group {
            h3 { "Alike over the cylinders" small { "greatest less least" } }
            ul.cells.wide-cells { @for line in lines { li { (spread(line)) } } }
        }
    }
}

/// A spread as a dimension on what is allowed.
pub(in crate::web::pages) fn spread(line: &SpreadLine) -> Markup {
    let mut d = Drawing::new(168.0, 26.0);
    let allowed = line.allowed.value.max(1e-9);
    let most = (1.25 * allowed).max(1.08 * line.spread.value);
    let scale = Scale::new(0.0, most, 4.0, 164.0);
    d.rect(scale.at(0.0), 5.0, scale.at(allowed) - scale.at(0.0), 16.0, "fgw");
    d.line(scale.at(0.0), 13.0, 164.0, 13.0, "wit");
    d.line(scale.at(0.0), 3.0, scale.at(0.0), 23.0, "mid-l");
    d.line(scale.at(allowed), 1.0, scale.at(allowed), 25.0, "thick");
    let tone = if line.word == Word::Reject { Tone::Red } else { Tone::Ink };
    d.dimension((scale.at(0.0), 13.0), (scale.at(line.spread.value), 13.0), "", tone);
    let label = format!(
        "{}: {} of {} allowed",
        line.title,
        line.spread.with_unit(),
        line.allowed.with_unit()
    );
    html! {
        span.cell-head { b { (line.title) } span { (figure_with_unit(&line.spread)) } }
        (d.finish(&label, "cell"))
        span.cell-word { "of " (line.allowed.with_unit())
            @if line.word != Word::Accept { " " (judgement(line.word)) } }
    }
}

fn pieces(pieces: &[PieceLine]) -> Markup {
    html! {
        dl.pieces {
            @for group in pieces_by_part(pieces) {
                div {
                    dt { (group[0].title) @if group[0].is_graded { small { " by grade" } } }
                    @for piece in group {
                        dd { @if !piece.position.is_empty() { i { (piece.position) } }
                            (piece_name(piece)) }
                    }
                }
            }
        }
    }
}

/// A numbered piece leads to its trace; a grade leads nowhere.
pub(in crate::web::pages) fn piece_name(piece: &PieceLine) -> Markup {
    html! {
        @if piece.is_graded { b { (piece.piece) } }
        @else { a href={ "/trace?of=" (percent(&piece.piece)) } { (piece.piece) } }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_probability_never_says_certain_when_it_is_not() {
        assert_eq!(sure_percent(0.987), "98.7 %");
        assert_eq!(sure_percent(0.999_99), "more than 99.9 %");
        assert_eq!(sure_percent(1.0), "more than 99.9 %");
        assert_eq!(sure_percent(0.000_1), "less than 0.1 %");
        assert_eq!(sure_percent(f64::NAN), "an unknown share");
    }
}
