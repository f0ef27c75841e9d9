//! Lines for a terminal: findings, tables, figures.

use std::io::Write as _;

use bedplate_works::wire::{Figure, Word};

/// Prints to standard output. A reader that has gone away is no trouble.
pub(crate) fn out(text: &str) {
    let mut out = anstream::stdout().lock();
    let _ = writeln!(out, "{}", text.trim_end());
}

/// A table: headings and rows, columns aligned; those whose cells all look like figures to the
/// right.
pub(crate) fn table(headings: &[&str], rows: &[Vec<String>]) -> String {
    let columns = headings.len();
    let cell = |row: &Vec<String>, i: usize| row.get(i).cloned().unwrap_or_default();
    let width = |i: usize| {
        let cells = rows.iter().map(|r| cell(r, i).chars().count());
        cells.chain([headings[i].chars().count()]).max().unwrap_or(0)
    };
    let is_figures = |i: usize| {
        let is_figure = |text: &str| {
            text.is_empty() || text.starts_with(|c: char| c.is_ascii_digit() || "+−-".contains(c))
        };
        rows.iter().all(|r| is_figure(&cell(r, i)))
    };
    let set = |text: &str, i: usize| {
        let gap = " ".repeat(width(i).saturating_sub(text.chars().count()));
        if is_figures(i) { format!("{gap}{text}") } else { format!("{text}{gap}") }
    };
    let line = |cells: Vec<String>| cells.join("  ").trim_end().to_owned();
    let mut lines = vec![line((0..columns).map(|i| set(headings[i], i)).collect())];
    lines.extend(rows.iter().map(|r| line((0..columns).map(|i| set(&cell(r, i), i)).collect())));
    lines.join("\n")
}

/// A figure that may be missing.
pub(crate) fn figure(figure: Option<&Figure>) -> String {
    figure.map_or_else(|| "not measured".to_owned(), Figure::with_unit)
}

/// Whether a verdict ends a command with "no".
pub(crate) fn exit_of(word: Word) -> crate::exit::Exit {
    match word {
        Word::Accept | Word::NotJudged => crate::exit::Exit::Done,
        Word::Reject | Word::CannotTell => crate::exit::Exit::No,
    }
}

/// The cautions that go with an answer.
pub(crate) fn cautions(lines: &[String]) -> String {
    if lines.is_empty() {
        String::new()
    } else {
        format!("\n\nCautions:\n  {}", lines.join("\n  "))
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn figures_stand_to_the_right_and_words_to_the_left() {
        let rows = vec![
            vec!["B1".to_owned(), "8.7".to_owned()],
            vec!["B10".to_owned(), "−10.2".to_owned()],
        ];
        assert_eq!(
            super::table(&["piece", "µm"], &rows),
            "piece     µm\nB1       8.7\nB10    −10.2"
        );
    }
}
