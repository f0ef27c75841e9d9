//! From bytes to lines and from a line to its fields, never keeping more than one line.

use std::borrow::Cow;
use std::io::{self, BufRead, BufReader, Read};

/// The longest line that is kept, in bytes (1 MiB); of a longer one only its beginning is.
pub(super) const LINE_BYTES_MAX: usize = 1 << 20;

/// How much of a line that is too long is shown, in bytes.
const SHOWN_BYTES: usize = 200;

/// Lines of a stream, whatever ends them: LF, CR LF or CR.
pub(super) struct Lines<R> {
    input: BufReader<R>,
    bytes: Vec<u8>,
    number: u64,
    after_return: bool,
}

/// One line.
pub(super) struct Line<'a> {
    /// Its number, from 1.
    pub(super) number: u64,
    /// Its bytes without what ends it; its beginning if it is too long.
    pub(super) bytes: &'a [u8],
    /// Its whole length in bytes.
    pub(super) length: u64,
}

impl Line<'_> {
    pub(super) const fn too_long(&self) -> bool {
        self.length > LINE_BYTES_MAX as u64
    }

    /// The text, read as Latin-1 where it is not UTF-8, so that it can be shown and mended.
    pub(super) fn shown(&self) -> String {
        let bytes = if self.too_long() {
            &self.bytes[..SHOWN_BYTES.min(self.bytes.len())]
        } else {
            self.bytes
        };
        let text = match std::str::from_utf8(bytes) {
            Ok(text) => Cow::Borrowed(text),
            // Cut inside a character, or not UTF-8 at all.
            Err(_) if self.too_long() => String::from_utf8_lossy(bytes),
            Err(_) => encoding_rs::WINDOWS_1252.decode_without_bom_handling(bytes).0,
        };
        if self.too_long() { format!("{text}…") } else { text.into_owned() }
    }
}

impl<R: Read> Lines<R> {
    pub(super) fn of(input: R) -> Self {
        let input = BufReader::with_capacity(1 << 16, input);
        Self { input, bytes: Vec::new(), number: 0, after_return: false }
    }

    /// The next line, or `None` at the end.
    pub(super) fn next_line(&mut self) -> io::Result<Option<Line<'_>>> {
        self.bytes.clear();
        let mut length = 0_u64;
        let mut ended = false;
        while !ended {
            let chunk = match self.input.fill_buf() {
                Ok(chunk) => chunk,
                Err(e) if e.kind() == io::ErrorKind::Interrupted => continue,
                Err(e) => return Err(e),
            };
            if chunk.is_empty() {
                break;
            }
            if self.after_return && chunk[0] == b'\n' {
                self.after_return = false;
                self.input.consume(1);
                continue;
            }
            self.after_return = false;
            let end = chunk.iter().position(|b| matches!(b, b'\n' | b'\r'));
            let part = &chunk[..end.unwrap_or(chunk.len())];
            let room = LINE_BYTES_MAX - self.bytes.len();
            self.bytes.extend_from_slice(&part[..room.min(part.len())]);
            length += part.len() as u64;
            let taken = part.len() + usize::from(end.is_some());
            ended = end.is_some();
            self.after_return = end.is_some_and(|at| chunk[at] == b'\r');
            self.input.consume(taken);
        }
        if !ended && length == 0 {
            return Ok(None);
        }
        self.number += 1;
        Ok(Some(Line { number: self.number, bytes: &self.bytes, length }))
    }
}

/// Why a line could not be parted into fields. Fields are counted from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum QuoteFault {
    /// A quote is opened and not closed on the line.
    Open(usize),
    /// Something stands between a closing quote and the next separator.
    TextAfter(usize),
}

impl QuoteFault {
    pub(super) const fn field(self) -> usize {
        match self {
            Self::Open(field) | Self::TextAfter(field) => field,
        }
    }

    pub(super) const fn reason(self) -> &'static str {
        match self {
            Self::Open(_) => {
                "a quote is opened here and not closed on this line; close it, and write each row \
                 on one line"
            }
            Self::TextAfter(_) => {
                "there is text after the closing quote; put the whole field in quotes and double \
                 the quotes inside it"
            }
        }
    }
}

/// Parts a line into fields, trimmed, quotes and guards taken off.
pub(super) fn fields(line: &str, separator: char) -> (Vec<Cow<'_, str>>, Option<QuoteFault>) {
    let mut parted = Vec::new();
    let mut fault = None;
    let mut rest = line;
    loop {
        let white = |c: char| c.is_whitespace() && c != separator;
        let start = rest.trim_start_matches(white);
        let (field, after) = if let Some(quoted) = start.strip_prefix('"') {
            let (field, after, closed) = unquote(quoted);
            let end = after.find(separator).unwrap_or(after.len());
            if !closed {
                fault = fault.or(Some(QuoteFault::Open(parted.len())));
            } else if !after[..end].trim().is_empty() {
                fault = fault.or(Some(QuoteFault::TextAfter(parted.len())));
            }
            (field, &after[end..])
        } else {
            let end = start.find(separator).unwrap_or(start.len());
            (Cow::Borrowed(start[..end].trim()), &start[end..])
        };
        parted.push(unguarded(field));
        match after.strip_prefix(separator) {
            Some(next) => rest = next,
            None => return (parted, fault),
        }
    }
}

/// A quoted field after its opening quote: the field, what follows, whether it was closed.
fn unquote(quoted: &str) -> (Cow<'_, str>, &str, bool) {
    let mut from = 0;
    let mut doubled = false;
    while let Some(at) = quoted[from..].find('"') {
        let at = from + at;
        if quoted[at + 1..].starts_with('"') {
            doubled = true;
            from = at + 2;
            continue;
        }
        let field = trim_quoted(&quoted[..at], doubled);
        return (field, &quoted[at + 1..], true);
    }
    (trim_quoted(quoted, doubled), "", false)
}

fn trim_quoted(field: &str, doubled: bool) -> Cow<'_, str> {
    let field = field.trim();
    if doubled { Cow::Owned(field.replace("\"\"", "\"")) } else { Cow::Borrowed(field) }
}

/// What a spreadsheet would take for a formula.
pub(super) fn is_formula(field: &str) -> bool {
    field.starts_with(['=', '+', '-', '@'])
}

fn unguarded(field: Cow<'_, str>) -> Cow<'_, str> {
    match &field {
        Cow::Borrowed(text) => Cow::Borrowed(without_guard(text)),
        Cow::Owned(text) if without_guard(text).len() < text.len() => {
            Cow::Owned(without_guard(text).to_owned())
        }
        Cow::Owned(_) => field,
    }
}

fn without_guard(text: &str) -> &str {
    text.strip_prefix('\'').filter(|rest| is_formula(rest)).unwrap_or(text)
}

/// The separator of a heading: whichever of tab, semicolon and comma parts it most often.
pub(super) fn separator_of(heading: &str) -> char {
    let mut in_quotes = false;
    let mut counts = [('\t', 0_usize), (';', 0), (',', 0)];
    for c in heading.chars() {
        in_quotes ^= c == '"';
        if !in_quotes {
            counts.iter_mut().filter(|(s, _)| *s == c).for_each(|(_, n)| *n += 1);
        }
    }
    let most = counts.iter().map(|(_, n)| *n).max().unwrap_or(0);
    let found = counts.iter().find(|(_, n)| *n == most && most > 0);
    found.map_or(',', |(separator, _)| *separator)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(text: &[u8]) -> Vec<(u64, String)> {
        let mut lines = Lines::of(text);
        let mut all = vec![];
        while let Some(line) = lines.next_line().unwrap() {
            all.push((line.number, line.shown()));
        }
        all
    }

    #[test]
    fn lines_end_with_lf_crlf_or_cr() {
        let numbered = |n, s: &str| (n, s.to_owned());
        let three = [numbered(1, "a"), numbered(2, "b"), numbered(3, "c")];
        for text in ["a\nb\nc", "a\r\nb\r\nc\r\n", "a\rb\rc\r", "a\r\nb\rc\n"] {
            assert_eq!(lines(text.as_bytes()), three, "{text:?}");
        }
        assert_eq!(lines(b"a\n\nb"), [numbered(1, "a"), numbered(2, ""), numbered(3, "b")]);
        assert_eq!(lines(b""), []);
    }

    #[test]
    fn quotes_are_taken_off_and_faults_found() {
        let part = |s: &str| {
            let (parted, fault) = fields(s, ',');
            (parted.iter().map(|f| f.to_string()).collect::<Vec<_>>().join("|"), fault)
        };
        assert_eq!(part(r#"a, "b,c" ,"d ""e""",'=f,'g"#), (r#"a|b,c|d "e"|=f|'g"#.into(), None));
        assert_eq!(part(r#"a,"b,c"#), ("a|b,c".into(), Some(QuoteFault::Open(1))));
        assert_eq!(part(r#""a"b,c"#), ("a|c".into(), Some(QuoteFault::TextAfter(0))));
        assert_eq!(part(""), (String::new(), None));
        assert_eq!(part(",a,"), ("|a|".into(), None));
    }

    #[test]
    fn the_separator_is_the_one_that_parts_most() {
        assert_eq!(separator_of("piece;bore1 (mm, air);bore2"), ';');
        assert_eq!(separator_of("piece\tbore1"), '\t');
        assert_eq!(separator_of("piece,\"a;b;c\",bore2"), ',');
        assert_eq!(separator_of("piece"), ',');
    }
}
