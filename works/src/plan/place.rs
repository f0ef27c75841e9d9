//! Where a fault stands: from a byte in the spliced text back to file, line and column.
//!
//! A works file may include others; they are spliced into one text, which is what the edition is
//! the hash of. [`Splice`] remembers which stretch came from which file.

use std::ops::Range;

use super::read::{Fault, SourceText};

/// What is wrong and how to mend it, before its place has been worked out.
pub(super) struct Finding {
    /// Bytes of the spliced text.
    pub(super) span: Range<usize>,
    /// What is wrong.
    pub(super) what: String,
    /// How to mend it.
    pub(super) mend: String,
}

/// From `at` onward the spliced text is that of `file` from `offset` onward.
struct Stretch {
    at: usize,
    file: usize,
    offset: usize,
}

/// Several texts spliced into one.
pub(super) struct Splice {
    /// The whole text.
    pub(super) text: String,
    stretches: Vec<Stretch>,
    /// The files as they were read, in the order of their splicing.
    pub(super) files: Vec<SourceText>,
}

impl Splice {
    /// A text that includes nothing.
    pub(super) fn of_one(name: &str, text: &str) -> Self {
        let mut splice = Self { text: String::new(), stretches: Vec::new(), files: Vec::new() };
        let file = splice.add_file(name, text);
        splice.add(file, 0..text.len());
        splice
    }

    /// Nothing yet.
    pub(super) fn empty() -> Self {
        Self { text: String::new(), stretches: Vec::new(), files: Vec::new() }
    }

    /// Takes a file in, without splicing any of its text yet.
    pub(super) fn add_file(&mut self, name: &str, text: &str) -> usize {
        self.files.push(SourceText { name: name.to_owned(), text: text.to_owned() });
        self.files.len() - 1
    }

    /// Appends a part of a file.
    pub(super) fn add(&mut self, file: usize, part: Range<usize>) {
        self.stretches.push(Stretch { at: self.text.len(), file, offset: part.start });
        let text = self.files[file].text[part].to_owned();
        self.text.push_str(&text);
    }

    /// Appends text that stands in no file: a comment between two.
    pub(super) fn add_comment(&mut self, comment: &str) {
        self.text.push_str(comment);
    }

    fn locate(&self, at: usize) -> (usize, usize) {
        let after = self.stretches.partition_point(|s| s.at <= at);
        let Some(stretch) = after.checked_sub(1).map(|i| &self.stretches[i]) else {
            return (0, 0);
        };
        let text = &self.files[stretch.file].text;
        (stretch.file, text.floor_char_boundary(stretch.offset + (at - stretch.at)))
    }

    /// The finding with its file, line and column.
    pub(super) fn place(&self, finding: Finding) -> Fault {
        let Finding { span, what, mend } = finding;
        let (file, start) = self.locate(span.start);
        let (end_file, end) = self.locate(span.end);
        let end = if end_file == file { end.max(start) } else { start };
        let SourceText { name, text } = &self.files[file];
        let (line, column) = line_and_column(text, start);
        let (what, mend) = (one_line(&what), one_line(&mend));
        Fault { file: name.clone(), line, column, span: start..end, what, mend }
    }
}

/// The message on one line and of a length that can be read: it may quote anything that was
/// written.
fn one_line(message: &str) -> String {
    const MOST: usize = 400;
    let plain = |c: char| if c.is_control() { ' ' } else { c };
    let mut line: String = message.chars().take(MOST).map(plain).collect();
    if line.len() < message.len() {
        line.push('…');
    }
    line
}

/// Line and column, both from 1, the column in characters.
fn line_and_column(text: &str, at: usize) -> (usize, usize) {
    let before = &text[..text.floor_char_boundary(at)];
    let line_start = before.rfind('\n').map_or(0, |i| i + 1);
    let line = before.bytes().filter(|b| *b == b'\n').count() + 1;
    // A byte order mark is no column that anybody sees.
    let in_line = before[line_start..].trim_start_matches('\u{feff}');
    (line, in_line.chars().count() + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_are_counted_in_characters() {
        assert_eq!(line_and_column("a\nµ = é x", "a\nµ = é ".len()), (2, 7));
        assert_eq!(line_and_column("", 0), (1, 1));
        assert_eq!(line_and_column("\u{feff}ab", 4), (1, 2));
        assert_eq!(line_and_column("ab\n", 99), (2, 1));
    }

    #[test]
    fn a_place_in_the_spliced_text_names_the_file_it_came_from() {
        let mut splice = Splice::empty();
        let first = splice.add_file("works.toml", "a = 1\nb = 2\n");
        let second = splice.add_file("parts.toml", "[c]\nd = 3\n");
        splice.add(first, 0..6);
        splice.add_comment("# ");
        splice.add(first, 6..12);
        splice.add_comment("# parts.toml\n");
        splice.add(second, 0..10);
        let at = splice.text.find("d = 3").expect("spliced above");
        let finding = Finding { span: at..at + 1, what: String::new(), mend: String::new() };
        let fault = splice.place(finding);
        assert_eq!((fault.file.as_str(), fault.line, fault.column), ("parts.toml", 2, 1));
        let at = splice.text.find("b = 2").expect("spliced above");
        let finding = Finding { span: at..at + 1, what: String::new(), mend: String::new() };
        let fault = splice.place(finding);
        assert_eq!((fault.file.as_str(), fault.line, fault.column), ("works.toml", 2, 1));
    }
}
