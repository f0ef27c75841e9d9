//! `[grade.PART.NAME]`: classes of parts that are kept by count, such as bearing shells.

use bedplate_gauge::quantity::Quantity;
use indexmap::IndexMap;

use super::section::{Called, Section};
use super::table::{Sign, Table};
use super::{Characteristic, Grade, Part};

/// What the grades of a part are called in messages.
pub(super) const CALLED: Called =
    Called { one: "grade", many: "grades", heading: "[grade.main_shell.M2]" };

/// Reads every `[grade.PART.NAME]`: each class with the sizes that its pieces have.
pub(super) fn grades(
    root: &Table<'_>,
    parts: &Section<Part>,
    characteristics: &Section<Characteristic>,
) -> Section<Vec<Grade>> {
    let mut section = Section::of(CALLED);
    let all = root.table("grade", CALLED.heading);
    for (all, entry) in all.iter().flat_map(|t| t.entries().iter().map(move |e| (t, e))) {
        let Some(part) = parts.named(all, &entry.key_word()) else { continue };
        let Some(table) = all.table_of(entry, CALLED.heading) else { continue };
        section.add(part.name.to_owned(), of_part(part.name, &table, characteristics));
    }
    section
}

fn of_part(
    part: &str,
    table: &Table<'_>,
    characteristics: &Section<Characteristic>,
) -> Option<Vec<Grade>> {
    let named = table.named_tables(CALLED.heading);
    let asked = named.len();
    let mut grades: Vec<Grade> = Vec::new();
    for (name, one) in named {
        grades.extend(grade(part, name, &one, characteristics));
    }
    let (first, rest) = grades.split_first()?;
    let unlike = |g: &&Grade| g.sizes.keys().ne(first.sizes.keys());
    if let Some(odd) = rest.iter().find(unlike) {
        let what = format!("grade {} gives other sizes than {}", odd.name, first.name);
        table.fault(&table.span, what, "give every grade of a part the same sizes, in one order");
        return None;
    }
    (grades.len() == asked).then_some(grades)
}

fn grade(
    part: &str,
    name: &str,
    table: &Table<'_>,
    characteristics: &Section<Characteristic>,
) -> Option<Grade> {
    let mut sizes: IndexMap<String, Quantity> = IndexMap::new();
    for entry in table.entries() {
        let id = format!("{part}.{}", entry.key);
        let Some((_, c)) = characteristics.sound().find(|(known, _)| *known == id) else {
            let what = format!("there is no characteristic \"{id}\"");
            table.fault(
                &entry.key_span,
                what,
                format!("declare it, such as [characteristic.{id}]"),
            );
            return None;
        };
        let size = table.quantity_of(entry, c.unit.dimension, Sign::Any)?;
        sizes.insert(id, size);
    }
    if sizes.is_empty() {
        let mend = "give the size that its pieces have, such as wall = \"1.995 mm\"";
        table.fault(&table.span, format!("grade {name} has no size"), mend);
        return None;
    }
    Some(Grade { name: name.to_owned(), sizes })
}
