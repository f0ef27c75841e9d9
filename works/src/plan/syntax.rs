//! Slips of TOML itself, in plain words.

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
    if let Some(last) = broken.iter().position(|b| !b.rest_can_be_read) {
        broken.truncate(last + 1);
    }
    broken
}

fn in_words(text: &str, error: &toml::de::Error) -> Broken {
    let span = error.span().unwrap_or(0..0);
    let start = text.floor_char_boundary(span.start);
    let end = text.floor_char_boundary(span.end).max(start);
    let found = &text[start..end];
    let message = error.message();
    let (what, mend, rest_can_be_read) = words(message, text, start, found);
    Broken { finding: Finding { span: start..end, what, mend }, rest_can_be_read }
}

/// What is wrong, how to mend it, and whether the rest can be read. Matched on the beginning of the
/// TOML reader's own message; one that is not known here is passed on as it is.
fn words(message: &str, text: &str, at: usize, found: &str) -> (String, String, bool) {
    let is = |start: &str| message.starts_with(start);
    if is("string values must be quoted") && found.is_empty() {
        return ("there is no value here".into(), "write one after the \"=\"".into(), false);
    }
    if is("string values must be quoted") {
        let mend = format!("write it as \"{found}\"");
        return (format!("{found} stands without quotes"), mend, true);
    }
    if is("duplicate key") {
        let what = format!("\"{found}\" stands here a second time");
        return (what, "keep one of the two".into(), true);
    }
    if is("unexpected key or value") {
        let rest = text[at..].lines().next().unwrap_or("").trim();
        let what = format!("{rest} is more than one value");
        let mend = "put each key on its own line, and texts and quantities in quotes";
        return (what, mend.into(), false);
    }
    let known: &[(&str, &str, &str)] = &[
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
        ("missing escaped value", "\"\\\" begins no sign here", "write it twice for itself"),
        ("carriage return must", "a line ends oddly here", "end lines with a line feed"),
        ("extra `=`", "\"=\" stands twice", "write one"),
        ("unquoted keys cannot be empty", "there is no key before \"=\"", "write one"),
        (
            "recursion limit",
            "this is nested too deep",
            "a works file needs no more than four levels",
        ),
        (
            "cannot recurse further",
            "this is nested too deep",
            "a works file needs no more than four levels",
        ),
    ];
    match known.iter().find(|(start, ..)| is(start)) {
        Some((_, what, mend)) => ((*what).to_owned(), (*mend).to_owned(), false),
        None => (message.to_owned(), "mend the TOML here".to_owned(), false),
    }
}
