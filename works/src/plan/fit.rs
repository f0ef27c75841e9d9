//! `[fit.NAME]` and `[set.ENGINE]`: which parts go together, and how alike a set must be.

use bedplate_gauge::quantity::Quantity;
use bedplate_gauge::unit::Dimension;
use indexmap::IndexMap;

use super::gauge::difference;
use super::part::{ENGINE, title_of};
use super::section::{Called, Referred, Section};
use super::table::{Sign, Table, Word};
use super::{Characteristic, Engine, Fit, FitTerm, SetRule, Together, exact};

/// What a fit is called in messages.
pub(super) const CALLED: Called =
    Called { one: "fit", many: "fits", heading: "[fit.piston-in-bore]" };

const KEYS: [&str; 10] =
    ["title", "outer", "inner", "between", "sum", "less", "lower", "upper", "target", "at"];

/// Most terms of one fit.
const TERMS_MAX: usize = 8;

/// Reads `[fit.NAME]`.
pub(super) fn fit(
    name: &str,
    table: &Table<'_>,
    characteristics: &Section<Characteristic>,
) -> Option<Fit> {
    table.knows(&KEYS);
    let title = table.text("title", "\"Piston in bore\"");
    let terms = if table.has("sum") {
        sum_terms(table, characteristics)
    } else {
        clearance_terms(table, characteristics)
    };
    let clearance = |key| table.quantity(key, Dimension::Length, Sign::Any);
    let less = clearance("less");
    let lower = table.need(clearance("lower"), "lower", "\"30 µm\"");
    let upper = table.need(clearance("upper"), "upper", "\"42 µm\"");
    let target = clearance("target");
    let at = table.quantity("at", Dimension::Temperature, Sign::Any);
    let (terms, lower, upper) = (terms?, lower?, upper?);
    if lower.si() >= upper.si() {
        let what = format!("the upper clearance {upper} is not above the lower {lower}");
        table.fault_at("upper", what, "swap the two, or mend the figure");
        return None;
    }
    let less_si = less.map_or(0.0, |q| q.si());
    check_reach(table, &terms, less_si, lower, upper);
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
        terms: terms.iter().map(|t| t.term.clone()).collect(),
        less: less_si,
        lower,
        upper,
        target,
        at,
    })
}

/// A term being read: what it will be, and the characteristic it names if that is sound.
struct ReadTerm<'s> {
    term: FitTerm,
    thing: Option<&'s Characteristic>,
}

/// `outer`, `inner` and what lies `between`: the hole less the shaft less the rest.
fn clearance_terms<'s>(
    table: &Table<'_>,
    characteristics: &'s Section<Characteristic>,
) -> Option<Vec<ReadTerm<'s>>> {
    let outer = side(table, "outer", "\"block.bore\"", characteristics);
    let inner = side(table, "inner", "\"piston.skirt\"", characteristics);
    let example = "[\"main_shell.wall\"]";
    let between = if table.has("between") {
        let words = table.different_words("between", example)?;
        let found = words.iter().map(|word| length(table, word, characteristics));
        found.collect::<Option<Vec<_>>>()
    } else {
        Some(vec![])
    };
    let (outer, inner, between) = (outer?, inner?, between?);
    if part_of(outer.name) == part_of(inner.name) {
        let what = format!("\"{}\" and \"{}\" are of the same part", outer.name, inner.name);
        table.fault_at("inner", what, "name a hole of one part and a shaft of another");
        return None;
    }
    let term = |found: &Referred<'s, Characteristic>, factor: f64| ReadTerm {
        term: FitTerm { characteristic: found.name.to_owned(), factor },
        thing: found.thing,
    };
    let less = std::iter::once(&inner).chain(&between).map(|found| term(found, -1.0));
    Some(std::iter::once(term(&outer, 1.0)).chain(less).collect())
}

/// `[fit.NAME.sum]`: each characteristic with its factor.
fn sum_terms<'s>(
    table: &Table<'_>,
    characteristics: &'s Section<Characteristic>,
) -> Option<Vec<ReadTerm<'s>>> {
    for key in ["outer", "inner", "between"] {
        if table.has(key) {
            let what = format!("a fit has either a sum or {key}, not both");
            table.fault_at(key, what, "leave one of them out");
            return None;
        }
    }
    let sum = table.table("sum", "\"ring.gap\" = 1")?;
    if sum.entries().len() > TERMS_MAX || sum.entries().is_empty() {
        let what = format!("a sum of {} terms", sum.entries().len());
        sum.fault(&sum.span, what, format!("write 1 to {TERMS_MAX} characteristics"));
        return None;
    }
    let mut terms = Vec::new();
    for entry in sum.entries() {
        let found = length(&sum, &entry.key_word(), characteristics);
        let factor = sum.number_of(entry, "1").filter(|f| {
            let sound = *f != 0.0 && f.abs() <= 1e3;
            if !sound {
                let what = format!("the factor {f} is 0 or beyond 1000");
                sum.fault(&entry.span, what, "write how often the size counts, such as 1 or -2");
            }
            sound
        });
        let (Some(found), Some(factor)) = (found, factor) else { continue };
        let term = FitTerm { characteristic: found.name.to_owned(), factor };
        terms.push(ReadTerm { term, thing: found.thing });
    }
    (terms.len() == sum.entries().len()).then_some(terms)
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
    let text = table.need(table.text(key, example), key, example)?;
    length(table, &Word { text, span: table.span_of(key) }, characteristics)
}

/// The characteristic that a word names, if it is a length.
fn length<'s>(
    table: &Table<'_>,
    word: &Word<'_>,
    characteristics: &'s Section<Characteristic>,
) -> Option<Referred<'s, Characteristic>> {
    let found = characteristics.named(table, word)?;
    if let Some(c) = found.thing
        && c.unit.dimension != Dimension::Length
    {
        let what = format!("\"{}\" is {}, not a length", found.name, c.unit.dimension.words());
        table.fault(&word.span, what, "name a diameter or a width");
        return None;
    }
    Some(found)
}

/// Refuses a window that no pieces inside their limits can reach. A fit with more than two terms,
/// or with several pieces in one place, is left to the matching itself to refuse.
fn check_reach(
    table: &Table<'_>,
    terms: &[ReadTerm<'_>],
    less: f64,
    lower: Quantity,
    upper: Quantity,
) {
    if terms.len() != 2 {
        return;
    }
    let end = |wanted_high: bool| {
        terms.iter().try_fold(-less, |sum, t| {
            let c = t.thing?;
            let takes_upper = (t.term.factor > 0.0) == wanted_high;
            let limit = if takes_upper { c.upper } else { c.lower };
            Some(sum + t.term.factor * limit?.si())
        })
    };
    // A tenth of a nanometre: what subtracting binary figures can leave.
    let slack = 1e-10;
    let um = |metres: f64| format!("{:.1} µm", metres * 1e6);
    if let Some(most) = end(true).filter(|most| *most < lower.si() - slack) {
        let what = format!("parts inside their limits have at most {} of clearance", um(most));
        table.fault_at("lower", what, "mend the window, or the limits of the two parts");
    }
    if let Some(least) = end(false).filter(|least| *least > upper.si() + slack) {
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
    table.knows(&["fits", "spread", "together", "sure", "waited"]);
    let example = "[\"piston-in-bore\"]";
    let words = table.need(table.different_words("fits", example), "fits", example);
    let mut names = Vec::new();
    for word in words.iter().flatten() {
        let Some(found) = fits.named(table, word) else { continue };
        for term in found.thing.iter().flat_map(|f| &f.terms) {
            check_in_engine(table, word, part_of(&term.characteristic), engine);
        }
        check_places(table, word, found.thing, engine, characteristics);
        names.push(found.name.to_owned());
    }
    let spreads = spreads(table, engine, characteristics);
    let together = together(table, engine, characteristics);
    let sure = table.share("sure", 0.5..=0.9999, "\"95 %\"");
    let waited = table.quantity("waited", Dimension::Time, Sign::Positive);
    let complete = words.is_some_and(|w| w.len() == names.len());
    Some(SetRule {
        fits: complete.then_some(names)?,
        spreads: spreads?,
        together: together?,
        sure,
        waited,
    })
}

/// How many values of a characteristic one engine holds: its pieces times their positions.
fn values_in(engine: &Engine, c: &Characteristic) -> Option<usize> {
    let pieces = usize::try_from(*engine.parts.get(&c.part)?).ok()?;
    Some(pieces * c.positions.len().max(1))
}

/// Refuses a fit whose sides do not share one engine's places evenly: as many of each, or a whole
/// number of the one for each of the other (two shell halves on a journal, two rods on a crankpin).
fn check_places(
    table: &Table<'_>,
    word: &Word<'_>,
    fit: Option<&Fit>,
    engine: Option<&Engine>,
    characteristics: &Section<Characteristic>,
) {
    let (Some(fit), Some(engine)) = (fit, engine) else { return };
    let places = |term: &FitTerm| {
        let mut sound = characteristics.sound();
        let (_, c) = sound.find(|(known, _)| *known == term.characteristic)?;
        values_in(engine, c)
    };
    let Some((first, others)) = fit.terms.split_first() else { return };
    let Some(wanted) = places(first) else { return };
    for other in others {
        let Some(given) = places(other) else { continue };
        if given == 0 || wanted == 0 || (given % wanted != 0 && wanted % given != 0) {
            let (name, outer, inner) = (&fit.name, &first.characteristic, &other.characteristic);
            let what = format!("\"{name}\" has {wanted} places of {outer} for {given} of {inner}");
            let mend =
                format!("mend the positions, or the counts under [engine.{}.parts]", engine.name);
            table.fault(&word.span, what, mend);
        }
    }
}

/// Reads `[[set.ENGINE.together]]`: figures whose sum must be alike from cylinder to cylinder.
fn together(
    table: &Table<'_>,
    engine: Option<&Engine>,
    characteristics: &Section<Characteristic>,
) -> Option<Vec<Together>> {
    let example = "[[set.QB4.together]]";
    let mut rules = Vec::new();
    let tables = table.tables("together", example);
    let asked = tables.len();
    for one in tables {
        let rule = one.sound(|one| together_rule(one, engine, characteristics));
        rules.extend(rule);
    }
    (rules.len() == asked).then_some(rules)
}

fn together_rule(
    table: &Table<'_>,
    engine: Option<&Engine>,
    characteristics: &Section<Characteristic>,
) -> Option<Together> {
    table.knows(&["title", "of", "spread"]);
    let example = "[\"piston.mass\", \"rod.small_end_mass\"]";
    let title = table.need(table.text("title", "\"Moving mass\""), "title", "\"Moving mass\"");
    let words = table.need(table.different_words("of", example), "of", example)?;
    let mut of = Vec::new();
    let mut dimension = None;
    for word in &words {
        let found = characteristics.named(table, word)?;
        check_in_engine(table, word, part_of(found.name), engine);
        let own = found.thing?.unit.dimension;
        if dimension.is_some_and(|d| d != own) {
            let what = format!("\"{}\" is {}, unlike those before it", found.name, own.words());
            table.fault(&word.span, what, "only figures of one kind can be added");
            return None;
        }
        dimension = Some(own);
        of.push(found.name.to_owned());
    }
    let spread = table.quantity("spread", difference(dimension?), Sign::Positive);
    let spread = table.need(spread, "spread", "\"5 g\"")?;
    Some(Together { title: title?.to_owned(), of, spread })
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
