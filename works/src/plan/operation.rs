//! `[operation.NAME]` and `[line.NAME]`: how parts are made and in what order.

use bedplate_gauge::unit::Dimension;

use super::part::{ENGINE, title_of};
use super::section::Section;
use super::table::{Sign, Table};
use super::{Line, Operation, Part};

const OPERATION_KEYS: [&str; 8] =
    ["title", "part", "machine", "cycle", "machines", "availability", "scrap", "caution"];
const LINE_KEYS: [&str; 3] = ["title", "part", "operations"];

/// The part that `part = …` names: a declared one, or the engine.
pub(super) fn part_or_engine(table: &Table<'_>, parts: &Section<Part>) -> Option<String> {
    let text = table.need(table.text("part", "\"block\""), "part", "\"block\"")?;
    if text == ENGINE {
        return Some(ENGINE.to_owned());
    }
    parts.named_by(table, "part", "\"block\"").map(|p| p.name.to_owned())
}

/// Reads `[operation.NAME]`.
pub(super) fn operation(name: &str, table: &Table<'_>, parts: &Section<Part>) -> Option<Operation> {
    table.knows(&OPERATION_KEYS);
    let title = table.text("title", "\"Fine bore\"");
    let part = part_or_engine(table, parts);
    let machine = table.remark("machine", "\"four-spindle fine borer\"");
    let cycle = table.quantity("cycle", Dimension::Time, Sign::Positive);
    let cycle = table.need(cycle, "cycle", "\"7.5 min\"");
    let machines = table.whole("machines", 1..=100, 1);
    let availability = table.share("availability", 0.0..=1.0, "\"85 %\"");
    if availability == Some(0.0) {
        let what = "availability = 0 is an operation that never runs";
        table.fault_at("availability", what, "write a share above zero, such as \"85 %\"");
    }
    let scrap = table.share("scrap", 0.0..=1.0, "\"1 %\"");
    if scrap == Some(1.0) {
        let what = "scrap = 1 is an operation that makes nothing good";
        table.fault_at("scrap", what, "write a share below one, such as \"1 %\"");
    }
    let caution = table.remark("caution", "\"Let the spindle stop before reaching in.\"");
    Some(Operation {
        name: name.to_owned(),
        title: title.map_or_else(|| title_of(name), str::to_owned),
        part: part?,
        machine,
        cycle: cycle?,
        machines: machines.unwrap_or(1),
        availability: availability.unwrap_or(1.0),
        scrap: scrap.unwrap_or(0.0),
        caution,
    })
}

/// Reads `[line.NAME]`.
pub(super) fn line(
    name: &str,
    table: &Table<'_>,
    parts: &Section<Part>,
    operations: &Section<Operation>,
) -> Option<Line> {
    table.knows(&LINE_KEYS);
    let title = table.text("title", "\"Block line\"");
    let part = part_or_engine(table, parts);
    let example = "[\"block-10\", \"block-20\"]";
    let words = table.different_words("operations", example);
    let words = table.need(words, "operations", example)?;
    if words.is_empty() {
        let what = "operations is an empty list";
        table.fault_at("operations", what, format!("write it like operations = {example}"));
    }
    let mut names = Vec::with_capacity(words.len());
    for word in &words {
        let Some(known) = operations.named(table, word) else { continue };
        if let (Some(operation), Some(part)) = (known.thing, &part)
            && operation.part != *part
        {
            let what = format!(
                "operation \"{}\" works on {}, but this line makes {part}",
                word.text, operation.part
            );
            table.fault(&word.span, what, "name operations of one part in a line");
        }
        names.push(known.name.to_owned());
    }
    Some(Line {
        name: name.to_owned(),
        title: title.map_or_else(|| title_of(name), str::to_owned),
        part: part?,
        operations: (names.len() == words.len()).then_some(names)?,
    })
}
