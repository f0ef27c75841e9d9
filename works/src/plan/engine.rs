//! `[engine.NAME]`: engine types, what they are made of, and their compression ratio.

use bedplate_gauge::quantity::Quantity;
use bedplate_gauge::unit::{Dimension, Unit};
use indexmap::IndexMap;

use super::fit::check_in_engine;
use super::part::ENGINE;
use super::section::{Called, Section};
use super::table::{Sign, Table, Word};
use super::{Characteristic, Compression, Cycle, Engine, Ignition, Part, Source};

/// What an engine type is called in messages.
pub(super) const CALLED: Called =
    Called { one: "engine", many: "engines", heading: "[engine.QB4]" };

const KEYS: [&str; 12] = [
    "title",
    "cylinders",
    "bore",
    "stroke",
    "cycle",
    "ignition",
    "firing_order",
    "rated_power",
    "rated_speed",
    "power_tolerance",
    "parts",
    "compression",
];

/// Reads `[engine.NAME]`.
pub(super) fn engine(
    name: &str,
    table: &Table<'_>,
    parts: &Section<Part>,
    characteristics: &Section<Characteristic>,
) -> Option<Engine> {
    table.knows(&KEYS);
    let title = table.text("title", "\"Four-cylinder engine\"");
    let cylinders = table.need(table.whole("cylinders", 1..=16, 4), "cylinders", "4");
    let figure = |key, dimension: Dimension, example| {
        table.need(table.quantity(key, dimension, Sign::Positive), key, example)
    };
    let bore = figure("bore", Dimension::Length, "\"68 mm\"");
    let stroke = figure("stroke", Dimension::Length, "\"76 mm\"");
    let cycles = [("four-stroke", Cycle::FourStroke), ("two-stroke", Cycle::TwoStroke)];
    let cycle = table.choice("cycle", &cycles);
    let ways = [("spark", Ignition::Spark), ("compression", Ignition::Compression)];
    let ignition = table.choice("ignition", &ways);
    let firing_order = cylinders.and_then(|n| firing_order(table, n));
    let rated_power = figure("rated_power", Dimension::Power, "\"22 kW\"");
    let rated_speed = figure("rated_speed", Dimension::RotationalSpeed, "\"3600 rev/min\"");
    let power_tolerance = table.share("power_tolerance", 0.0..=0.5, "\"5 %\"");
    let parts = part_counts(table, parts);
    let mut engine = Engine {
        name: name.to_owned(),
        title: title.unwrap_or(name).to_owned(),
        cylinders: cylinders?,
        bore: bore?,
        stroke: stroke?,
        cycle: cycle.unwrap_or(Cycle::FourStroke),
        ignition: ignition.unwrap_or(Ignition::Spark),
        firing_order: firing_order?,
        rated_power: rated_power?,
        rated_speed: rated_speed?,
        power_tolerance: power_tolerance.unwrap_or(0.05),
        parts: parts?,
        compression: None,
    };
    if let Some(table) = table.table("compression", "[engine.QB4.compression]") {
        let reading = CompressionTable { table: &table, engine: &engine, characteristics };
        let compression = reading.compression();
        table.finish();
        engine.compression = Some(compression?);
    }
    Some(engine)
}

fn firing_order(table: &Table<'_>, cylinders: u32) -> Option<Vec<u32>> {
    let example = if cylinders == 4 {
        "[1, 3, 4, 2]".to_owned()
    } else {
        format!("{:?}", (1..=cylinders).collect::<Vec<_>>())
    };
    if cylinders == 1 && !table.has("firing_order") {
        return Some(vec![1]);
    }
    let items = table.need(table.items("firing_order", &example), "firing_order", &example)?;
    let read = items.iter().map(|item| table.whole_of(item, 1..=cylinders, 1));
    let read: Vec<Option<u32>> = read.collect();
    let order: Vec<u32> = read.into_iter().collect::<Option<_>>()?;
    let mut sorted = order.clone();
    sorted.sort_unstable();
    if sorted != (1..=cylinders).collect::<Vec<_>>() {
        let what = format!("firing_order = {order:?} does not name each cylinder once");
        let mend = format!("name the cylinders 1 to {cylinders}, such as firing_order = {example}");
        table.fault_at("firing_order", what, mend);
        return None;
    }
    Some(order)
}

fn part_counts(table: &Table<'_>, parts: &Section<Part>) -> Option<IndexMap<String, u32>> {
    const MOST: u32 = 200;
    let Some(counts) = table.table("parts", "block = 1") else {
        return (!table.has("parts")).then(IndexMap::new);
    };
    let mut read = IndexMap::new();
    for entry in counts.entries() {
        let known = parts.named(&counts, &entry.key_word());
        let count = counts.whole_of(entry, 1..=MOST, 1);
        if let (Some(part), Some(count)) = (known, count) {
            read.insert(part.name.to_owned(), count);
        }
    }
    (read.len() == counts.entries().len()).then_some(read)
}

/// `[engine.NAME.compression]`, being read.
struct CompressionTable<'r, 't> {
    table: &'r Table<'t>,
    engine: &'r Engine,
    characteristics: &'r Section<Characteristic>,
}

impl CompressionTable<'_, '_> {
    fn compression(&self) -> Option<Compression> {
        let (table, engine) = (self.table, self.engine);
        table.knows(&[
            "lower",
            "upper",
            "bore",
            "stroke",
            "rod_length",
            "deck_height",
            "compression_height",
            "chamber_volume",
            "crown_volume",
            "gasket_bore",
            "gasket_thickness",
        ]);
        let ratio =
            |key, example| table.need(table.number_within(key, 1.5..=40.0, example), key, example);
        let (lower, upper) = (ratio("lower", "7.9"), ratio("upper", "8.7"));
        let bore = self.bore();
        let length = |key, sign| self.source(key, Dimension::Length, sign);
        let stroke = self.or_drawing("stroke", Source::Fixed(engine.stroke));
        let rod_length =
            table.need(length("rod_length", Sign::Positive), "rod_length", "\"rod.length\"");
        let deck_height = table.need(
            length("deck_height", Sign::Positive),
            "deck_height",
            "\"block.deck_height\"",
        );
        let compression_height = table.need(
            length("compression_height", Sign::Positive),
            "compression_height",
            "\"piston.compression_height\"",
        );
        let chamber_volume = table.need(
            self.source("chamber_volume", Dimension::Volume, Sign::Positive),
            "chamber_volume",
            "\"head.chamber_volume\"",
        );
        let cubic_centimetre = Unit::named("cm³").expect("in the table of units");
        let flat = Source::Fixed(Quantity::new(0, 0, cubic_centimetre));
        let crown_volume = if table.has("crown_volume") {
            self.source("crown_volume", Dimension::Volume, Sign::Any)
        } else {
            Some(flat)
        };
        let gasket_bore = table.quantity("gasket_bore", Dimension::Length, Sign::Positive);
        let thickness = table.quantity("gasket_thickness", Dimension::Length, Sign::NotNegative);
        let gasket_thickness = table.need(thickness, "gasket_thickness", "\"1.2 mm\"");
        let (lower, upper) = (lower?, upper?);
        if lower >= upper {
            let what = format!("the upper ratio {upper} is not above the lower {lower}");
            table.fault_at("upper", what, "swap the two, or mend the figure");
        }
        Some(Compression {
            lower,
            upper,
            bore: bore?,
            stroke: stroke?,
            rod_length: rod_length?,
            deck_height: deck_height?,
            compression_height: compression_height?,
            chamber_volume: chamber_volume?,
            crown_volume: crown_volume?,
            gasket_bore: gasket_bore.unwrap_or(engine.bore),
            gasket_thickness: gasket_thickness?,
        })
    }

    fn or_drawing(&self, key: &'static str, drawing: Source) -> Option<Source> {
        if self.table.has(key) {
            self.source(key, Dimension::Length, Sign::Positive)
        } else {
            Some(drawing)
        }
    }

    /// The characteristic of the bore: it must tell the cylinders apart.
    fn bore(&self) -> Option<String> {
        let (table, example) = (self.table, "\"block.bore\"");
        let text = table.need(table.text("bore", example), "bore", example)?;
        let word = Word { text, span: table.span_of("bore") };
        let bore = self.measured(&word, Dimension::Length)?;
        let named = self.characteristics.named(table, &word)?;
        let Some(characteristic) = named.thing else { return Some(bore) };
        let cylinders = self.engine.cylinders;
        let count = self.engine.parts.get(&characteristic.part).copied().unwrap_or(1);
        let by_position =
            (1..=cylinders).all(|n| characteristic.positions.iter().any(|p| *p == n.to_string()));
        if !by_position && count != cylinders {
            let what =
                format!("\"{bore}\" does not have a position for each of {cylinders} cylinders");
            let mend = format!("give it positions = {cylinders} under [characteristic.{bore}]");
            table.fault(&word.span, what, mend);
        }
        Some(bore)
    }

    /// A characteristic's name, or a figure.
    fn source(&self, key: &'static str, dimension: Dimension, sign: Sign) -> Option<Source> {
        let table = self.table;
        if !table.has(key) {
            return None;
        }
        let figure = |text: &str| {
            text.trim_start_matches(['+', '-', '−', ' ', '.'])
                .starts_with(|c: char| c.is_ascii_digit())
        };
        if !table.is_text(key) {
            return table.quantity(key, dimension, sign).map(Source::Fixed);
        }
        let text = table.text(key, &format!("\"{}\"", dimension.example()))?;
        if figure(text) {
            return table.quantity(key, dimension, sign).map(Source::Fixed);
        }
        let word = Word { text, span: table.span_of(key) };
        self.measured(&word, dimension).map(Source::Measured)
    }

    fn measured(&self, word: &Word<'_>, dimension: Dimension) -> Option<String> {
        let table = self.table;
        let found = self.characteristics.named(table, word)?;
        if let Some(characteristic) = found.thing {
            let measures = characteristic.unit.dimension;
            if measures != dimension {
                let what = format!(
                    "\"{}\" is {}, but {} is wanted",
                    found.name,
                    measures.words(),
                    dimension.words()
                );
                table.fault(&word.span, what, "name another characteristic, or write the figure");
                return None;
            }
            if characteristic.part != ENGINE {
                check_in_engine(table, word, &characteristic.part, Some(self.engine));
            }
        }
        Some(found.name.to_owned())
    }
}
