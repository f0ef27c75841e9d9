//! Rows and cells out of text: CSV files and pasted columns, or a few rows on one line.

use crate::given::Files;
use crate::problem::{Problem, Row};

/// One row of text cells.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct TextRow {
    pub(crate) row: Row,
    pub(crate) cells: Vec<String>,
}

/// The rows of the file named in `text` after its `@`.
pub(crate) fn file_rows(
    input: &'static str,
    text: &str,
    files: &Files<'_>,
) -> Result<Vec<TextRow>, Box<Problem>> {
    let path = text.trim().trim_start_matches('@').trim();
    let bytes = files(path).map_err(|reason| Problem::FileUnreadable {
        input,
        path: path.to_owned(),
        reason,
    })?;
    let text = std::str::from_utf8(&bytes).map_err(|fault| Problem::NotUtf8 {
        input,
        path: path.to_owned(),
        byte: fault.valid_up_to(),
    })?;
    Ok(csv_rows(text))
}

/// The rows of a text: CSV if it has several lines, otherwise rows parted by `;` and cells by `,`,
/// or rows by `|` and cells by `;` where commas are decimal signs.
pub(crate) fn text_rows(text: &str) -> Vec<TextRow> {
    if text.trim().contains(['\n', '\r']) {
        return csv_rows(text);
    }
    let (rows, cells) = match (text.contains('|'), text.contains(';')) {
        (true, true) => ('|', ';'),
        (true, false) => ('|', ','),
        (false, _) => (';', ','),
    };
    let rows = text.split(rows).enumerate().map(|(i, row)| TextRow {
        row: Row::Nth(i + 1),
        cells: row.split(cells).map(|cell| cell.trim().to_owned()).collect(),
    });
    rows.filter(is_written).collect()
}

/// CSV parted by semicolons, tabs or commas, whichever the first line shows in this order: with
/// semicolons and tabs a comma may be a decimal sign. Lines without any text are passed over.
fn csv_rows(text: &str) -> Vec<TextRow> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let first = text.lines().find(|line| !line.trim().is_empty()).unwrap_or_default();
    let delimiter = [b';', b'\t'].into_iter().find(|d| first.as_bytes().contains(d));
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .trim(csv::Trim::All)
        .delimiter(delimiter.unwrap_or(b','))
        .from_reader(text.as_bytes());
    // Lines are counted here, since a reader tells where it began to look, blank lines before it.
    let line_end = if text.contains('\n') { '\n' } else { '\r' };
    let (mut line, mut counted) = (1, 0);
    // Text in memory that is UTF-8, with rows of any length, leaves a reader nothing to refuse.
    let rows = reader.records().map_while(Result::ok).map(|record| {
        let from = record.position().map_or(0, csv::Position::byte);
        let from = usize::try_from(from).unwrap_or(counted);
        let rest = text.get(from..).unwrap_or_default();
        let start = text.len() - rest.trim_start_matches(['\r', '\n']).len();
        line += text.get(counted..start).unwrap_or_default().matches(line_end).count() as u64;
        counted = start.max(counted);
        let cells = record.iter().map(|cell| without_quotes(cell).to_owned()).collect();
        TextRow { row: Row::Line(line), cells }
    });
    rows.filter(is_written).collect()
}

/// A cell without the quotes that a space before them kept from being read as such.
fn without_quotes(cell: &str) -> &str {
    cell.strip_prefix('"').and_then(|cell| cell.strip_suffix('"')).unwrap_or(cell).trim()
}

fn is_written(row: &TextRow) -> bool {
    row.cells.iter().any(|cell| !cell.is_empty())
}

/// Whether a cell begins like a number, so that its row is no heading.
pub(crate) fn begins_like_a_number(cell: &str) -> bool {
    cell.trim_start_matches(['+', '-', '−', '.', ',', ' '])
        .starts_with(|c: char| c.is_ascii_digit())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cells(rows: &[TextRow]) -> Vec<Vec<&str>> {
        rows.iter().map(|r| r.cells.iter().map(String::as_str).collect()).collect()
    }

    #[test]
    fn every_kind_of_file_is_parted_alike() {
        let wanted = vec![vec!["radius", "angle"], vec!["30", "0"], vec!["30", "180"]];
        for text in [
            "radius,angle\n30,0\n30,180\n",
            "\u{feff}radius,angle\r\n30,0\r\n\r\n30,180",
            "radius;angle\n30;0\n;\n30;180",
            "radius\tangle\n30\t0\n30\t180\n",
            "\"radius\", angle\n30, \"0\"\n30 ,180\n",
            "radius,angle\r30,0\r30,180",
        ] {
            assert_eq!(cells(&csv_rows(text)), wanted, "{text:?}");
        }
        for text in ["radius, angle; 30, 0; 30, 180", "radius; angle | 30; 0 | 30; 180"] {
            assert_eq!(cells(&text_rows(text)), wanted, "{text:?}");
        }
    }

    #[test]
    fn rows_know_their_line() {
        let rows = csv_rows("radius,angle\n\n30,0\n30,180\n");
        let lines: Vec<String> = rows.iter().map(|r| r.row.to_string()).collect();
        assert_eq!(lines, ["line 1", "line 3", "line 4"]);
        let rows =
            csv_rows("\u{feff}radius,angle\r\n , \r\n\r\n\r\n30,0\r\n\"a\r\nb\",1\r\n30,180");
        let lines: Vec<String> = rows.iter().map(|r| r.row.to_string()).collect();
        assert_eq!(lines, ["line 1", "line 5", "line 6", "line 8"]);
    }

    #[test]
    fn a_file_that_is_not_utf_8_is_named() {
        let latin = |_: &str| Ok(b"radius,angle\n30\xb0,1\n".to_vec());
        let message = file_rows("holes", "@holes.csv", &latin).unwrap_err().to_string();
        assert_eq!(message, "holes: holes.csv is not UTF-8 text at byte 15; save it as UTF-8");
        let none = |_: &str| Err("no such file".to_owned());
        let message = file_rows("holes", "@holes.csv", &none).unwrap_err().to_string();
        assert_eq!(message, "holes: the file holes.csv cannot be read: no such file");
    }
}
