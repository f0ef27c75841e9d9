//! `[fit.NAME]` and `[set.ENGINE]`: which parts go together, and how alike a set must be.

use bedplate_gauge::quantity::Quantity;
use bedplate_gauge::unit::Dimension;
use indexmap::IndexMap;

use super::gauge::difference;
use super::part::{ENGINE, title_of};
use super::section::{Called, Referred, Section};
use super::table::{Sign, Table, Word};
use super::{Characteristic, Engine, Fit, SetRule, exact};

/// What a fit is called in messages.
pub(super) const CALLED: Called =
    Called { one: "fit", many: "fits", heading: "[fit.piston-in-bore]" };

const KEYS: [&str; 6] = ["title", "outer", "inner", "lower", "upper", "target"];

/// Reads `[fit.NAME]`.
pub(super) fn fit(
    name: &str,
    table: &Table<'_>,
    characteristics: &Section<Characteristic>,
) -> Option<Fit> {
    table.knows(&KEYS);
    let title = table.text("title", "\"Piston in bore\"");
    let outer = side(table, "outer", "\"block.bore\"", characteristics);
    let inner = side(table, "inner", "\"piston.skirt\"", characteristics);
    let clearance = |key| table.quantity(key, Dimension::Length, Sign::Any);
    let lower = table.need(clearance("lower"), "lower", "\"30 µm\"");
    let upper = table.need(clearance("upper"), "upper", "\"42 µm\"");
    let target = clearance("target");
    let (outer, inner, lower, upper) = (outer?, inner?, lower?, upper?);
    if part_of(outer.name) == part_of(inner.name) {
        let what = format!("\"{}\" and \"{}\" are of the same part", outer.name, inner.name);
        table.fault_at("inner", what, "name a hole of one part and a shaft of another");
        return None;
    }
    if lower.si() >= upper.si() {
        let what = format!("the upper clearance {upper} is not above the lower {lower}");
        table.fault_at("upper", what, "swap the two, or mend the figure");
        return None;
    }
    check_reach(table, outer.thing, inner.thing, lower, upper);
    let target = match target {
        Some(target) => target,
        None => exact::middle(lower, upper).ok()?,
    };
    if target.si() < lower.si() || upper.si() < target.si() {
        let what = format!("target = \"{target}\" lies outside the window {lower} to {upper}");
        table.fault_at("target", what, "write a clearance inside it, or leave target out");
    }
    Some(Fit {
        name: name.to_owned(),
        title: title.map_or_else(|| title_of(name), str::to_owned),
        outer: outer.name.to_owned(),
        inner: inner.name.to_owned(),
        lower,
        upper,
        target,
    })
}

fn part_of(characteristic: &str) -> &str {
    characteristic.split_once('.').map_or(characteristic, |(part, _)| part)
}

fn side<'s>(
    table: &Table<'_>,
    key: &'static str,
    example: &str,
    characteristics: &'s Section<Characteristic>,
) -> Option<Referred<'s, Characteristic>> {
    let found = characteristics.named_by(table, key, example);
    let found = table.need(found, key, example)?;
    if let Some(c) = found.thing
        && c.unit.dimension != Dimension::Length
    {
        let what = format!("\"{}\" is {}, not a length", found.name, c.unit.dimension.words());
        table.fault_at(key, what, "name a diameter or a width");
        return None;
    }
    Some(found)
}

/// Refuses a window that no two pieces inside their limits can reach.
fn check_reach(
    table: &Table<'_>,
    outer: Option<&Characteristic>,
    inner: Option<&Characteristic>,
    lower: Quantity,
    upper: Quantity,
) {
    let (Some(outer), Some(inner)) = (outer, inner) else { return };
    let least = outer.lower.zip(inner.upper).map(|(o, i)| o.si() - i.si());
    let most = outer.upper.zip(inner.lower).map(|(o, i)| o.si() - i.si());
    // A tenth of a nanometre: what subtracting binary figures can leave.
    let slack = 1e-10;
    let um = |metres: f64| format!("{:.1} µm", metres * 1e6);
    if let Some(most) = most.filter(|most| *most < lower.si() - slack) {
        let what = format!("parts inside their limits have at most {} of clearance", um(most));
        table.fault_at("lower", what, "mend the window, or the limits of the two parts");
    }
    if let Some(least) = least.filter(|least| *least > upper.si() + slack) {
        let what = format!("parts inside their limits have at least {} of clearance", um(least));
        table.fault_at("upper", what, "mend the window, or the limits of the two parts");
    }
}

/// Reads `[set.ENGINE]`.
pub(super) fn set_rule(
    table: &Table<'_>,
    engine: Option<&Engine>,
    fits: &Section<Fit>,
    characteristics: &Section<Characteristic>,
) -> Option<SetRule> {
    table.knows(&["fits", "spread"]);
    let example = "[\"piston-in-bore\"]";
    let words = table.need(table.different_words("fits", example), "fits", example);
    let mut names = Vec::new();
    for word in words.iter().flatten() {
        let Some(found) = fits.named(table, word) else { continue };
        for side in found.thing.iter().flat_map(|f| [&f.outer, &f.inner]) {
            check_in_engine(table, word, part_of(side), engine);
        }
        check_places(table, word, found.thing, engine, characteristics);
        names.push(found.name.to_owned());
    }
    let spreads = spreads(table, engine, characteristics);
    let complete = words.is_some_and(|w| w.len() == names.len());
    Some(SetRule { fits: complete.then_some(names)?, spreads: spreads? })
}

/// Refuses a fit whose holes and shafts are not equally many in one engine.
fn check_places(
    table: &Table<'_>,
    word: &Word<'_>,
    fit: Option<&Fit>,
    engine: Option<&Engine>,
    characteristics: &Section<Characteristic>,
) {
    let (Some(fit), Some(engine)) = (fit, engine) else { return };
    let places = |name: &str| {
        let (_, characteristic) = characteristics.sound().find(|(known, _)| *known == name)?;
        let pieces = usize::try_from(*engine.parts.get(part_of(name))?).ok()?;
        Some(pieces * characteristic.positions.len().max(1))
    };
    let (Some(holes), Some(shafts)) = (places(&fit.outer), places(&fit.inner)) else { return };
    if holes != shafts {
        let Fit { name, outer, inner, .. } = fit;
        let what = format!("\"{name}\" has {holes} places of {outer} for {shafts} of {inner}");
        let mend =
            format!("mend the positions, or the counts under [engine.{}.parts]", engine.name);
        table.fault(&word.span, what, mend);
    }
}

/// Refuses a part that the engine does not have.
pub(super) fn check_in_engine(
    table: &Table<'_>,
    word: &Word<'_>,
    part: &str,
    engine: Option<&Engine>,
) {
    let Some(engine) = engine else { return };
    if part != ENGINE && !engine.parts.contains_key(part) {
        let what =
            format!("\"{}\" needs a {part}, which engine {} does not have", word.text, engine.name);
        let mend = format!("add it under [engine.{}.parts], such as {part} = 1", engine.name);
        table.fault(&word.span, what, mend);
    }
}

fn spreads(
    table: &Table<'_>,
    engine: Option<&Engine>,
    characteristics: &Section<Characteristic>,
) -> Option<IndexMap<String, Quantity>> {
    let Some(spread) = table.table("spread", "\"piston.mass\" = \"4 g\"") else {
        return (!table.has("spread")).then(IndexMap::new);
    };
    let mut spreads = IndexMap::new();
    for entry in spread.entries() {
        let word = entry.key_word();
        let Some(found) = characteristics.named(&spread, &word) else { continue };
        check_in_engine(&spread, &word, part_of(found.name), engine);
        let Some(characteristic) = found.thing else { continue };
        let dimension = difference(characteristic.unit.dimension);
        if let Some(most) = spread.quantity_of(entry, dimension, Sign::Positive) {
            spreads.insert(found.name.to_owned(), most);
        }
    }
    (spreads.len() == spread.entries().len()).then_some(spreads)
}
