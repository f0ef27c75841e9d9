//! Codes on paper: a number that a hand scanner reads back.

use fast_qr::{ECL, QRBuilder};
use maud::{Markup, PreEscaped, html};

/// A square code of `text`, `label` for whoever cannot see it. Nothing, if the text is longer than
/// a code holds.
///
/// Dark on a light ground by day and night: scanners do not read the negative.
pub(in crate::web) fn code(text: &str, label: &str) -> Markup {
    let Ok(qr) = QRBuilder::new(text).ecl(ECL::M).build() else { return html! {} };
    // Four modules of quiet ground on each side, as ISO/IEC 18004 asks.
    let quiet = 4;
    let side = qr.size + 2 * quiet;
    let mut d = String::new();
    for (row_idx, row) in (0..qr.size).map(|r| (r, &qr[r])) {
        for (column_idx, module) in row.iter().enumerate().take(qr.size) {
            if module.value() {
                let (x, y) = (column_idx + quiet, row_idx + quiet);
                d.push_str(&format!("M{x} {y}h1v1h-1z"));
            }
        }
    }
    html! {
        svg.code role="img" aria-label=(label) viewBox=(format!("0 0 {side} {side}"))
            shape-rendering="crispEdges" {
            (PreEscaped(format!("<rect width=\"{side}\" height=\"{side}\" fill=\"#fff\"/>")))
            (PreEscaped(format!("<path d=\"{d}\" fill=\"#000\"/>")))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_set_number_becomes_a_code_and_its_label_cannot_break_out() {
        let drawn = code("K02525", "code of \"K02525\" <b>").0;
        assert!(drawn.contains("<path"));
        assert!(!drawn.contains("<b>"));
    }

    #[test]
    fn a_text_too_long_for_a_code_draws_nothing() {
        assert_eq!(code(&"x".repeat(10_000), "").0, "");
    }
}
