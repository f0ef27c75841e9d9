//! The page that lists every key lists those that the reader knows, and no others.

use std::collections::BTreeSet;

use bedplate_works::plan::read::parse;

const KEYS: &str = include_str!("../src/plan/keys.md");
const FULL: &str = include_str!("plan/full.toml");

/// A key that resembles none, so that the reader answers with all it knows.
const STRANGER: &str = "qqqqqqqqqqqqqqqq";

/// Each heading of the page, a table of `full.toml` that it describes, and the text there before
/// which a strange key can be put.
const TABLES: [(&str, &str); 19] = [
    ("[works]", "name = \"Quarrybeck Engine Works\""),
    ("[[works.shift]]", "name = \"A\""),
    ("[engine.NAME]", "title = \"Pump engine\""),
    ("[engine.NAME.compression]", "lower = 7.9"),
    ("[part.NAME]", "title = \"Block\""),
    ("[characteristic.PART.NAME]", "title = \"Bore\""),
    ("[gauge.NAME]", "title = \"Air gauge\""),
    ("[fit.NAME]", "title = \"Piston in bore\""),
    ("[set.ENGINE]", "fits = [\"piston-in-bore\"]"),
    ("[[set.ENGINE.together]]", "title = \"Moving mass\""),
    ("[rotor.NAME]", "mass = \"11.4 kg\""),
    ("[[rotor.NAME.site]]", "name = \"web 1\""),
    ("[[rotor.NAME.site.drill]]", "diameter = \"12 mm\""),
    ("[operation.NAME]", "title = \"Fine bore\""),
    ("[line.NAME]", "operations = [\"block-70\"]"),
    ("[[step.ENGINE]]", "id = \"mains\""),
    ("[bed.ENGINE]", "correction = \"ISO 1585\""),
    ("[bed.ENGINE.channels]", "torque = \"engine.torque\""),
    ("[[bed.ENGINE.point]]", "name = \"half\""),
];

/// The keys that the page lists under a heading.
fn listed(heading: &str) -> BTreeSet<&'static str> {
    let title = format!("\n## `{heading}`\n");
    let (_, after) = KEYS.split_once(title.as_str()).unwrap_or_else(|| panic!("no {heading}"));
    let section = after.split("\n## ").next().unwrap_or("");
    let rows = section.lines().filter_map(|line| line.strip_prefix("| `")?.split('`').next());
    rows.collect()
}

/// The keys that the reader knows where `text` has a strange one.
fn known(text: &str) -> BTreeSet<String> {
    let fault = parse("full.toml", text).expect_err("a strange key");
    let strange = fault.faults.iter().find(|f| f.what.contains(STRANGER)).expect("it is named");
    let keys = strange.mend.strip_prefix("the keys are ").unwrap_or_else(|| panic!("{strange}"));
    keys.split(", ").map(str::to_owned).collect()
}

#[test]
fn the_page_lists_every_key_and_no_other() {
    for (heading, before) in TABLES {
        let at = format!("\n{before}\n");
        assert_eq!(FULL.matches(&at).count(), 1, "{before}");
        let text = FULL.replacen(&at, &format!("\n{STRANGER} = 1{at}"), 1);
        let listed: BTreeSet<String> = listed(heading).into_iter().map(str::to_owned).collect();
        assert_eq!(known(&text), listed, "{heading}");
    }
    let text = FULL.replacen("{ what", &format!("{{ {STRANGER} = 1, what"), 1);
    let adjustment = listed("[characteristic.PART.NAME.adjustment]");
    assert_eq!(known(&text), adjustment.into_iter().map(str::to_owned).collect());
    let text = FULL.replacen("[person.v-marl]\n", &format!("[person.v-marl]\n{STRANGER} = 1\n"), 1);
    assert_eq!(known(&text), listed("[person.NAME]").into_iter().map(str::to_owned).collect());
}

#[test]
fn every_heading_of_the_page_is_checked() {
    let headings = KEYS.matches("\n## `[").count();
    // Adjustments and people are checked above; a grade has no keys of its own.
    assert_eq!(headings, TABLES.len() + 3);
}
