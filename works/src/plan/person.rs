//! `[person.NAME]`: who signs, and what they may do.

use super::nearest::nearest;
use super::table::{Table, quoted_list};
use super::{Person, Role};

/// The roles, as they are written.
pub(super) const ROLES: [(&str, Role); 6] = [
    ("viewer", Role::Viewer),
    ("inspector", Role::Inspector),
    ("fitter", Role::Fitter),
    ("tester", Role::Tester),
    ("engineer", Role::Engineer),
    ("administrator", Role::Administrator),
];

/// Reads `[person.NAME]`.
pub(super) fn person(id: &str, table: &Table<'_>) -> Option<Person> {
    table.knows(&["name", "roles"]);
    let name = table.need(table.text("name", "\"V. Marl\""), "name", "\"V. Marl\"");
    let example = "[\"inspector\"]";
    let words = table.need(table.different_words("roles", example), "roles", example)?;
    if words.is_empty() {
        let mend = format!("write it like roles = {example}; one who only looks is a viewer");
        table.fault_at("roles", "roles is an empty list", mend);
    }
    let mut roles = Vec::with_capacity(words.len());
    for word in &words {
        let names = ROLES.iter().map(|(name, _)| *name);
        match ROLES.iter().find(|(name, _)| *name == word.text) {
            Some((_, role)) => roles.push(*role),
            None => {
                let mend = nearest(word.text, names.clone()).map_or_else(
                    || format!("write {}", quoted_list(names)),
                    |n| format!("did you mean \"{n}\"?"),
                );
                table.fault(&word.span, format!("there is no role \"{}\"", word.text), mend);
            }
        }
    }
    let roles = (roles.len() == words.len()).then_some(roles)?;
    Some(Person { id: id.to_owned(), name: name?.to_owned(), roles })
}
