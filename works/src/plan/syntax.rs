//! Slips of TOML itself, in plain words.

use std::ops::Range;

use super::place::Finding;

/// One slip of TOML.
pub(super) struct Broken {
    /// What and where.
    pub(super) finding: Finding,
    /// Whether the rest of the file still means what its author wrote.
    pub(super) rest_can_be_read: bool,
}

/// The slips of a text, in order, one a line, up to the first after which nothing is certain.
pub(super) fn findings(text: &str, errors: &[toml::de::Error]) -> Vec<Broken> {
    let mut broken: Vec<Broken> = errors.iter().map(|error| in_words(text, error)).collect();
    broken.sort_by_key(|b| (b.finding.span.start, b.finding.span.end));
    let line = |b: &Broken| text[..b.finding.span.start].matches('\n').count();
    broken.dedup_by_key(|b| line(b));
    // A heading that stands twice makes every key under it stand twice: the heading is enough.
    let heading = |b: &Broken| {
        let before = &text[..b.finding.span.start];
        before.rmatch_indices('[').map(|(i, _)| i).find(|i| starts_line(text, *i))
    };
    broken.dedup_by(|later, earlier| {
        later.rest_can_be_read
            && heading(later).is_some()
            && heading(later) == heading(earlier)
            && line(earlier) == text[..heading(earlier).unwrap_or(0)].matches('\n').count()
    });
    if let Some(last) = broken.iter().position(|b| !b.rest_can_be_read) {
        broken.truncate(last + 1);
    }
    broken
}

/// Whether nothing but white space stands before this place in its line.
fn starts_line(text: &str, at: usize) -> bool {
    let line = text[..at].rfind('\n').map_or(0, |i| i + 1);
    text[line..at].trim().is_empty()
}

/// The value of the line in which `at` stands, and where it begins.
fn value_of_line(text: &str, at: usize) -> Option<(usize, &str)> {
    let start = text[..at].rfind('\n').map_or(0, |i| i + 1);
    let line = text[start..].lines().next()?;
    let equals = line.find('=')? + 1;
    let value = line[equals..].split('#').next()?;
    Some((start + equals + (value.len() - value.trim_start().len()), value.trim()))
}

fn in_words(text: &str, error: &toml::de::Error) -> Broken {
    let span = error.span().unwrap_or(0..0);
    let start = text.floor_char_boundary(span.start);
    let end = text.floor_char_boundary(span.end).max(start);
    let found = &text[start..end];
    let message = error.message();
    let is = |start: &str| message.starts_with(start);
    let broken = |span: Range<usize>, what: String, mend: String, rest_can_be_read: bool| Broken {
        finding: Finding { span, what, mend },
        rest_can_be_read,
    };
    if is("string values must be quoted") && found.is_empty() {
        let mend = "write one after the \"=\"";
        return broken(start..end, "there is no value here".into(), mend.into(), false);
    }
    if is("string values must be quoted") {
        let what = format!("{found} stands without quotes");
        return broken(start..end, what, format!("write it as \"{found}\""), true);
    }
    if is("duplicate key") {
        let what = format!("\"{found}\" stands here a second time");
        return broken(start..end, what, "keep one of the two".into(), true);
    }
    if is("unexpected key or value") {
        return more_than_one(text, start, end);
    }
    if is("missing comma") && starts_line(text, start) {
        let what = "a list or table is not closed before this line";
        return broken(start..end, what.into(), "close it, or put a comma".into(), false);
    }
    let known = KNOWN.iter().find(|(beginning, ..)| is(beginning));
    let (what, mend) =
        known.map_or((message, "mend the TOML here"), |(_, what, mend)| (what, mend));
    broken(start..end, what.to_owned(), mend.to_owned(), false)
}

/// More than one value in a line: a quantity with a decimal comma and no quotes, mostly.
fn more_than_one(text: &str, start: usize, end: usize) -> Broken {
    let quantity = value_of_line(text, start).filter(|(at, value)| {
        *at < start && value.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '+' | '-'))
    });
    let finding = match quantity {
        Some((at, value)) => Finding {
            span: at..at + value.len(),
            what: format!("{value} stands without quotes"),
            mend: format!("write it as \"{value}\""),
        },
        None => Finding {
            span: start..end,
            what: "something stands after the value".to_owned(),
            mend: "put each key on its own line, and texts in quotes".to_owned(),
        },
    };
    Broken { finding, rest_can_be_read: false }
}

/// How the TOML reader's own message begins, what is wrong, and how to mend it. A message that is
/// not known here is passed on as it is.
const KNOWN: &[(&str, &str, &str)] = &[
    ("key with no value", "this key has no value", "write it like name = \"Quarrybeck\""),
    ("unclosed table", "this heading is not closed", "end it with \"]\""),
    ("unclosed array", "this list is not closed", "end it with \"]\""),
    ("unclosed inline table", "this table is not closed", "end it with \"}\""),
    ("invalid basic string", "this text is not closed", "end it with '\"'"),
    ("invalid literal string", "this text is not closed", "end it with \"'\""),
    (
        "invalid multi-line",
        "this text of several lines is not closed",
        "end it with the three quotes it began with",
    ),
    ("missing comma", "a comma is missing here", "put \",\" between the two"),
    ("missing escaped value", "this backslash begins no sign", "write it twice for itself"),
    ("carriage return must", "a line ends oddly here", "end lines with a line feed"),
    ("extra `=`", "\"=\" stands twice", "write one"),
    ("unquoted keys cannot be empty", "there is no key here", "write one before the \"=\""),
    ("recursion limit", "this is nested too deep", "a works file needs no more than five levels"),
    ("cannot recurse", "this is nested too deep", "a works file needs no more than five levels"),
];
