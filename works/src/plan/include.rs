//! `include`: other files spliced into the works file.
//!
//! Each file must be sound by itself, so that a text left open in one cannot swallow the next; the
//! whole is then read as one text. The `include` line becomes a comment there, so that an old
//! edition can be read again from the text that the record keeps.

use std::ops::Range;
use std::path::{Component, Path, PathBuf};

use toml::de::{DeTable, DeValue};

use super::place::{Finding, Splice};
use super::read::{Fault, SourceText};
use super::syntax;

/// A file larger than this is no works file but a slip of the hand.
const MOST_BYTES: u64 = 16 << 20;

/// Why a file gave no text.
pub(super) enum Unread {
    /// The system said no.
    Io(std::io::Error),
    /// More than [`MOST_BYTES`].
    TooLarge,
    /// Not UTF-8 from this byte on; the rest with its wrong bytes replaced.
    NotUtf8 { from: usize, lossy: String },
}

impl Unread {
    /// The fault to show for a file of this name, and what could be read of it.
    pub(super) fn into_fault_of(self, name: &str) -> (Fault, SourceText) {
        let (what, mend, at, text) = match self {
            Self::Io(error) if error.kind() == std::io::ErrorKind::NotFound => (
                "there is no such file".to_owned(),
                "name a works file that exists",
                0,
                String::new(),
            ),
            Self::Io(error) => (
                format!("the file cannot be read ({error})"),
                "see that it is a file and may be read",
                0,
                String::new(),
            ),
            Self::TooLarge => (
                format!("the file is larger than {} MB", MOST_BYTES >> 20),
                "a works file is text of a few hundred kilobytes at most",
                0,
                String::new(),
            ),
            Self::NotUtf8 { from, lossy } => (
                "the text is not UTF-8 from here on".to_owned(),
                "save the file as UTF-8",
                from,
                lossy,
            ),
        };
        let splice = Splice::of_one(name, &text);
        let fault = splice.place(Finding { span: at..at, what, mend: mend.to_owned() });
        (fault, SourceText { name: name.to_owned(), text })
    }
}

/// The text of a file.
pub(super) fn text_of_file(path: &Path) -> Result<String, Unread> {
    if std::fs::metadata(path).map_err(Unread::Io)?.len() > MOST_BYTES {
        return Err(Unread::TooLarge);
    }
    let bytes = std::fs::read(path).map_err(Unread::Io)?;
    String::from_utf8(bytes).map_err(|error| Unread::NotUtf8 {
        from: error.utf8_error().valid_up_to(),
        lossy: String::from_utf8_lossy(error.as_bytes()).into_owned(),
    })
}

/// The works file with all it includes. Where there are faults, no plan can be read from it.
pub(super) fn spliced(path: &Path, name: &str, text: &str) -> (Splice, Vec<Fault>) {
    let mut inclusion =
        Inclusion { main: path, splice: Splice::empty(), taken: Vec::new(), faults: Vec::new() };
    inclusion.take(name, None, text);
    let Inclusion { splice, faults, .. } = inclusion;
    (splice, faults)
}

struct Inclusion<'p> {
    main: &'p Path,
    splice: Splice,
    /// Included files, as they were named.
    taken: Vec<PathBuf>,
    faults: Vec<Fault>,
}

/// `include = […]` where it stands in a file.
#[derive(Default)]
struct Include {
    /// The statement, from key to value.
    statement: Option<Range<usize>>,
    /// The names, each with its place.
    names: Vec<(String, Range<usize>)>,
}

impl Inclusion<'_> {
    /// Splices one file and then those it includes.
    fn take(&mut self, name: &str, as_named: Option<&str>, text: &str) {
        let file = self.splice.add_file(name, text);
        let mut found = Vec::new();
        let include = {
            let (root, errors) = DeTable::parse_recoverable(text);
            let broken = syntax::findings(text, &errors);
            if broken.iter().any(|b| !b.rest_can_be_read) {
                found.extend(broken.into_iter().map(|b| b.finding));
            }
            include_in(root.get_ref(), &mut found)
        };
        if as_named.is_some() {
            found.extend(loose_key(text, include.statement.as_ref()));
        }
        self.add_text(file, as_named, text, include.statement);
        let mut wanted = Vec::new();
        for (name, at) in include.names {
            match self.text_of(&name) {
                Ok(text) => wanted.push((name, text)),
                Err((what, mend)) => found.push(Finding { span: at, what, mend: mend.to_owned() }),
            }
        }
        found.sort_by_key(|f| f.span.start);
        let alone = Splice::of_one(name, text);
        self.faults.extend(found.into_iter().map(|f| alone.place(f)));
        for (name, text) in wanted {
            let shown = self.main.with_file_name(&name).display().to_string();
            match text {
                Ok(text) => self.take(&shown, Some(&name), &text),
                Err(unread) => {
                    let (fault, text) = unread.into_fault_of(&shown);
                    self.faults.push(fault);
                    self.splice.files.push(text);
                }
            }
        }
    }

    /// The text of an included file, or why its words cannot be read; or why it cannot be included
    /// at all.
    fn text_of(&mut self, name: &str) -> Result<Result<String, Unread>, (String, &'static str)> {
        let relative = Path::new(name);
        let inside = relative.components().all(|c| matches!(c, Component::Normal(_)));
        if name.is_empty() || !inside {
            return Err((
                format!("\"{name}\" does not lie in the folder of the works file"),
                "a works is one folder: name a file in it, such as \"parts.toml\"",
            ));
        }
        let path = self.main.with_file_name(name);
        if path == self.main || self.taken.iter().any(|t| t == relative) {
            return Err((format!("\"{name}\" is included twice"), "name each file once"));
        }
        self.taken.push(relative.to_owned());
        match text_of_file(&path) {
            Err(Unread::Io(error)) => Err((
                format!("\"{name}\" cannot be read ({error})"),
                "name a file that lies beside the works file",
            )),
            read => Ok(read),
        }
    }

    /// Adds the file's text, its `include` made a comment.
    fn add_text(
        &mut self,
        file: usize,
        as_named: Option<&str>,
        text: &str,
        statement: Option<Range<usize>>,
    ) {
        let mut from = 0;
        if let Some(name) = as_named {
            let gap = if self.splice.text.ends_with('\n') { "" } else { "\n" };
            self.splice.add_comment(&format!("{gap}\n# {}\n", name.escape_debug()));
            // A byte order mark may stand at the head of a text, not in its middle.
            from = text.len() - text.trim_start_matches('\u{feff}').len();
        }
        if let Some(statement) = statement {
            let head = text[..statement.start].rfind('\n').map_or(from, |i| i + 1);
            let inside = text[statement.clone()].match_indices('\n');
            let heads = inside.map(|(i, _)| statement.start + i + 1);
            for head in std::iter::once(head).chain(heads) {
                self.splice.add(file, from..head);
                self.splice.add_comment("# ");
                from = head;
            }
        }
        self.splice.add(file, from..text.len());
    }
}

/// An included file holds tables only: a key before its first table would fall into whatever table
/// the file before it ended with.
fn loose_key(text: &str, include: Option<&Range<usize>>) -> Option<Finding> {
    let body = text.trim_start_matches('\u{feff}');
    let mut at = text.len() - body.len();
    for line in body.split_inclusive('\n') {
        let start = at + (line.len() - line.trim_start().len());
        at += line.len();
        let words = line.trim();
        let in_include = include.is_some_and(|i| start < i.end && i.start < at);
        if words.is_empty() || words.starts_with('#') || in_include {
            continue;
        }
        return (!words.starts_with('[')).then(|| Finding {
            span: start..start + words.len(),
            what: "an included file holds tables only".to_owned(),
            mend: "put this under the table it belongs to, such as [works]".to_owned(),
        });
    }
    None
}

fn include_in(root: &DeTable<'_>, found: &mut Vec<Finding>) -> Include {
    let Some((key, value)) = root.get_key_value("include") else { return Include::default() };
    let mut refuse = |span, what: &str| {
        found.push(Finding {
            span,
            what: what.to_owned(),
            mend: "write it like include = [\"parts.toml\"]".to_owned(),
        });
    };
    let mut names = Vec::new();
    match value.get_ref() {
        DeValue::Array(array) => {
            for name in array.iter() {
                match name.get_ref() {
                    DeValue::String(text) => names.push((text.to_string(), name.span())),
                    _ => refuse(name.span(), "include is a list of file names"),
                }
            }
        }
        _ => refuse(value.span(), "include is a list of file names"),
    }
    Include { statement: Some(key.span().start..value.span().end), names }
}
