//! `[part.NAME]`: kinds of part and what their piece numbers begin with.

use bedplate_gauge::unit::Dimension;

use super::section::Section;
use super::table::{Sign, Table};
use super::{Origin, Part};

/// The part of what is measured on the assembled engine: never declared, its pieces are the
/// engines' numbers.
pub(super) const ENGINE: &str = "engine";

const KEYS: [&str; 6] = ["title", "origin", "material", "family", "expansion", "prefix"];

/// Longest prefix.
const LONGEST_PREFIX: usize = 8;

/// A name as a title: `cam-follower` becomes `Cam follower`.
pub(super) fn title_of(name: &str) -> String {
    let spaced = name.replace(['-', '_'], " ");
    let mut letters = spaced.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// Reads `[part.NAME]`.
pub(super) fn part(name: &str, table: &Table<'_>) -> Option<Part> {
    table.knows(&KEYS);
    if name == ENGINE {
        let what = "the part \"engine\" is the assembled engine itself";
        table.fault(&table.span, what, "give this part another name; engine need not be declared");
    }
    let title = table.text("title", "\"Piston\"");
    let origins = [("made", Origin::Made), ("bought", Origin::Bought)];
    let origin = table.choice("origin", &origins);
    let material = table.remark("material", "\"grey iron\"");
    let families = ["iron", "steel", "alloy", "bronze", "other"].map(|f| (f, f));
    let family = table.choice("family", &families);
    let expansion = table.quantity("expansion", Dimension::PerTemperature, Sign::Any);
    let prefix = prefix(table);
    Some(Part {
        name: name.to_owned(),
        title: title.map_or_else(|| title_of(name), str::to_owned),
        origin: origin.unwrap_or(Origin::Made),
        material,
        family: family.unwrap_or("other").to_owned(),
        expansion: expansion.map(|q| q.si()),
        prefix: prefix?,
    })
}

fn prefix(table: &Table<'_>) -> Option<String> {
    if !table.has("prefix") {
        return Some(String::new());
    }
    let prefix = table.text("prefix", "\"P\"")?;
    if let Some(letter) = prefix.chars().find(|c| matches!(c, 'I' | 'O')) {
        let looks = if letter == 'I' { '1' } else { '0' };
        table.fault_at(
            "prefix",
            format!("prefix = \"{prefix}\" has the letter {letter}, which is read as {looks}"),
            "use another letter",
        );
        return None;
    }
    let begins = prefix.starts_with(|c: char| c.is_ascii_uppercase());
    let sound = prefix.chars().all(|c| c.is_ascii_uppercase() || c == '-');
    if !begins || !sound || prefix.len() > LONGEST_PREFIX {
        // A digit in it could not be told from the number that follows.
        table.fault_at(
            "prefix",
            format!("prefix = \"{prefix}\" cannot begin a piece number"),
            format!("write up to {LONGEST_PREFIX} capital letters, such as prefix = \"P\""),
        );
        return None;
    }
    Some(prefix.to_owned())
}

/// Refuses a prefix that two parts share.
pub(super) fn refuse_shared_prefixes(root: &Table<'_>, parts: &Section<Part>) {
    let Some(all) = root.table("part", "[part.block]") else { return };
    let mut seen: Vec<&Part> = Vec::new();
    for (name, part) in parts.sound().filter(|(_, p)| !p.prefix.is_empty()) {
        if let Some(other) = seen.iter().find(|p| p.prefix == part.prefix)
            && let Some(entry) = all.entries().iter().find(|e| e.key == name)
            && let Some(table) = all.table_of(entry, "[part.block]")
        {
            let prefix = &part.prefix;
            let what = format!("prefix = \"{prefix}\" is already that of part {}", other.name);
            table.fault_at("prefix", what, "give each part its own");
        }
        seen.push(part);
    }
}
