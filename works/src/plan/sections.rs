//! The whole file: its sections in the order in which they need one another.

use super::bed::{bed, steps};
use super::characteristic::{Shop, characteristics};
use super::engine::engine;
use super::fit::{fit, set_rule};
use super::gauge::gauge;
use super::grade::grades;
use super::head::head;
use super::operation::{line, operation};
use super::part::{part, refuse_shared_prefixes};
use super::person::person;
use super::rotor::rotor;
use super::section::{Called, Section};
use super::table::Table;
use super::{Characteristic, Engine, Plan, Shown, engine as engines, fit as fits};

const PART: Called = Called { one: "part", many: "parts", heading: "[part.block]" };
const GAUGE: Called = Called { one: "gauge", many: "gauges", heading: "[gauge.air-bore]" };
const OPERATION: Called =
    Called { one: "operation", many: "operations", heading: "[operation.block-70]" };
const LINE: Called = Called { one: "line", many: "lines", heading: "[line.block]" };
const ROTOR: Called = Called { one: "rotor", many: "rotors", heading: "[rotor.crankshaft]" };
const PERSON: Called = Called { one: "person", many: "people", heading: "[person.v-marl]" };
const SET: Called = Called { one: "set rule", many: "set rules", heading: "[set.QB4]" };
const STEP: Called = Called { one: "build", many: "builds", heading: "[[step.QB4]]" };
const BED: Called = Called { one: "bed", many: "beds", heading: "[bed.QB4]" };

/// The tables a works file may have, in the order in which they are best written.
const TABLES: [&str; 14] = [
    "works",
    "engine",
    "part",
    "characteristic",
    "gauge",
    "grade",
    "fit",
    "set",
    "rotor",
    "operation",
    "line",
    "step",
    "bed",
    "person",
];

/// How much of a works file is asked of a text.
#[derive(Clone, Copy)]
pub(super) enum Extent {
    /// All of it.
    Whole,
    /// A part: `[works]` need not say more than it does, and tables of these names are the
    /// caller's own.
    Part(&'static [&'static str]),
}

/// Reads the whole file; `None` if something is at fault.
pub(super) fn plan(root: &Table<'_>, text: &str, extent: Extent) -> Option<Plan> {
    root.knows(&TABLES);
    if let Extent::Part(known) = extent {
        root.knows(known);
    }
    let works = root.table("works", "[works]").map(|table| head(&table, extent));
    if !root.has("works") {
        let mend = "begin it with [works], a name and a day_rate";
        root.fault(&root.span, "the works file has no [works]", mend);
    }
    let works = works.flatten();
    let shown = works.as_ref().map_or(Shown::Metric, |w| w.units);
    let parts = Section::read(root, "part", PART, part);
    refuse_shared_prefixes(root, &parts);
    let gauges = Section::read(root, "gauge", GAUGE, gauge);
    let operations =
        Section::read(root, "operation", OPERATION, |name, t| operation(name, t, &parts));
    let shop = Shop { shown, parts: &parts, gauges: &gauges, operations: &operations };
    let characteristics = characteristics(root, &shop);
    let grades = grades(root, &parts, &characteristics);
    let of_name = fits::CALLED;
    let fits = Section::read(root, "fit", of_name, |name, t| fit(name, t, &characteristics));
    let engines = Section::read(root, "engine", engines::CALLED, |name, t| {
        engine(name, t, &parts, &characteristics)
    });
    let sets = of_engines(root, "set", SET, &engines, |t, engine| {
        set_rule(t, engine, &fits, &characteristics)
    });
    let rotors =
        Section::read(root, "rotor", ROTOR, |name, t| rotor(name, t, &parts, &characteristics));
    let lines = Section::read(root, "line", LINE, |name, t| line(name, t, &parts, &operations));
    let steps = builds(root, &engines, &characteristics);
    let beds = of_engines(root, "bed", BED, &engines, |t, engine| bed(t, engine, &characteristics));
    let people = Section::read(root, "person", PERSON, person);
    root.finish();
    Some(Plan {
        edition: blake3::hash(text.as_bytes()).to_hex().to_string(),
        text: text.to_owned(),
        works: works?,
        engines: engines.into_sound()?,
        parts: parts.into_sound()?,
        characteristics: characteristics.into_sound()?,
        gauges: gauges.into_sound()?,
        fits: fits.into_sound()?,
        grades: grades.into_sound()?,
        sets: sets.into_sound()?,
        rotors: rotors.into_sound()?,
        operations: operations.into_sound()?,
        lines: lines.into_sound()?,
        steps: steps.into_sound()?,
        beds: beds.into_sound()?,
        people: people.into_sound()?,
    })
}

/// Reads tables that are named after engine types.
fn of_engines<T>(
    root: &Table<'_>,
    key: &'static str,
    called: Called,
    engines: &Section<Engine>,
    mut one: impl FnMut(&Table<'_>, Option<&Engine>) -> Option<T>,
) -> Section<T> {
    let mut section = Section::of(called);
    let all = root.table(key, called.heading);
    for (all, entry) in all.iter().flat_map(|t| t.entries().iter().map(move |e| (t, e))) {
        let Some(engine) = engines.named(all, &entry.key_word()) else { continue };
        let Some(table) = all.table_of(entry, called.heading) else { continue };
        let thing = table.sound(|table| one(table, engine.thing));
        section.add(engine.name.to_owned(), thing);
    }
    section
}

/// Reads the build steps of every engine type.
fn builds(
    root: &Table<'_>,
    engines: &Section<Engine>,
    characteristics: &Section<Characteristic>,
) -> Section<Vec<super::Step>> {
    let mut section = Section::of(STEP);
    let all = root.table("step", STEP.heading);
    for (all, entry) in all.iter().flat_map(|t| t.entries().iter().map(move |e| (t, e))) {
        let Some(engine) = engines.named(all, &entry.key_word()) else { continue };
        section.add(engine.name.to_owned(), steps(all, entry, characteristics));
    }
    section
}
