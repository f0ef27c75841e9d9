//! The decision rule, as `[works]` and a characteristic may state it.

use bedplate_gauge::judge::DecisionRule;

use super::table::Table;

/// The keys of a decision rule.
pub(super) const KEYS: [&str; 4] = ["decision", "guard_factor", "accept_at", "reject_at"];

#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    Simple,
    Guarded,
    Conformity,
}

/// The rule a table states, or `None` if it states none.
pub(super) fn decision(table: &Table<'_>) -> Option<DecisionRule> {
    let words =
        [("guarded", Kind::Guarded), ("simple", Kind::Simple), ("conformity", Kind::Conformity)];
    let kind = table.choice("decision", &words);
    let guard_factor = table.number_within("guard_factor", 0.0..=10.0, "1.0");
    let accept_at = table.share("accept_at", 0.0..=1.0, "\"95 %\"");
    let reject_at = table.share("reject_at", 0.0..=1.0, "\"5 %\"");
    let wanted = [
        ("guard_factor", Kind::Guarded, "guarded"),
        ("accept_at", Kind::Conformity, "conformity"),
        ("reject_at", Kind::Conformity, "conformity"),
    ];
    let stated = kind.is_some() || !table.has("decision");
    for (key, of, word) in wanted {
        if stated && table.has(key) && kind != Some(of) {
            let what = format!("{key} belongs to decision = \"{word}\"");
            table.fault_at(key, what, format!("write decision = \"{word}\", or leave {key} out"));
        }
    }
    match kind? {
        Kind::Simple => Some(DecisionRule::Simple),
        Kind::Guarded => Some(DecisionRule::Guarded { factor: guard_factor.unwrap_or(1.0) }),
        Kind::Conformity => {
            let (accept_at, reject_at) = (accept_at.unwrap_or(0.95), reject_at.unwrap_or(0.05));
            let rule = DecisionRule::Conformity { accept_at, reject_at };
            if rule.checked().is_ok() {
                return Some(rule);
            }
            let key = if table.has("reject_at") { "reject_at" } else { "accept_at" };
            table.fault_at(
                key,
                format!("a piece would be rejected at {reject_at} and accepted at {accept_at}"),
                "write reject_at below accept_at, such as 0.05 and 0.95",
            );
            None
        }
    }
}
