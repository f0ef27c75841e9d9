//! `[[step.ENGINE]]` and `[bed.ENGINE]`: how an engine is built, and how it is run.

use bedplate_gauge::unit::Dimension;

use super::part::ENGINE;
use super::section::Section;
use super::table::{Entry, Sign, Table, Word};
use super::{Bed, Channels, Characteristic, CorrectionStandard, Engine, Point, Step};

/// Reads the `[[step.ENGINE]]` of one engine.
pub(super) fn steps(
    all: &Table<'_>,
    entry: &Entry<'_>,
    characteristics: &Section<Characteristic>,
) -> Option<Vec<Step>> {
    let tables = all.tables_of(entry, "[[step.QB4]] with id = \"mains\" and a title");
    let mut ids: Vec<&str> = Vec::new();
    let mut steps = Vec::with_capacity(tables.len());
    for table in &tables {
        table.knows(&["id", "title", "checks", "caution"]);
        let id = table.need(table.text("id", "\"mains\""), "id", "\"mains\"");
        if let Some(id) = id.filter(|id| ids.contains(id)) {
            table.fault_at("id", format!("there are two steps \"{id}\""), "give each its own id");
        }
        ids.extend(id);
        let title = table.text("title", "\"Crankshaft in\"");
        let title = table.need(title, "title", "\"Crankshaft in\"");
        let words = table.different_words("checks", "[\"engine.main_torque\"]");
        let words = words.unwrap_or_default();
        let checks: Vec<Option<String>> =
            words.iter().map(|word| of_engine(table, word, characteristics)).collect();
        let caution = table.remark("caution", "\"Lift it with the sling.\"");
        table.finish();
        steps.push(checks.into_iter().collect::<Option<Vec<_>>>().and_then(|checks| {
            Some(Step { id: id?.to_owned(), title: title?.to_owned(), checks, caution })
        }));
    }
    steps.into_iter().collect()
}

/// A characteristic of the assembled engine.
fn of_engine(
    table: &Table<'_>,
    word: &Word<'_>,
    characteristics: &Section<Characteristic>,
) -> Option<String> {
    let found = characteristics.named(table, word)?;
    if !found.name.starts_with("engine.") {
        let what = format!("\"{}\" is not measured on the assembled engine", found.name);
        table.fault(&word.span, what, "name one declared as [characteristic.engine.…]");
        return None;
    }
    debug_assert!(found.thing.is_none_or(|c| c.part == ENGINE));
    Some(found.name.to_owned())
}

/// Reads `[bed.ENGINE]`.
pub(super) fn bed(
    table: &Table<'_>,
    engine: Option<&Engine>,
    characteristics: &Section<Characteristic>,
) -> Option<Bed> {
    table.knows(&["correction", "channels", "point", "cautions"]);
    let standards = [
        ("ISO 1585", CorrectionStandard::Iso1585),
        ("ISO 3046-1", CorrectionStandard::Iso3046),
        ("none", CorrectionStandard::None),
    ];
    let correction = table.choice("correction", &standards);
    let correction = table.need(correction, "correction", "\"ISO 1585\"");
    let cautions = table.remarks("cautions", "[\"Coupling guard shut.\"]");
    let points = points(table, engine);
    let heading = format!("[{}.channels]", table.path());
    let channels = table.table("channels", &heading);
    if !table.has("channels") {
        let what =
            format!("{} does not say which characteristics hold its channels", table.heading());
        table.fault(&table.span, what, format!("add {heading}"));
    }
    let names: Vec<&str> = points.iter().flatten().map(|p| p.name.as_str()).collect();
    let channels = channels.and_then(|table| {
        let channels = ChannelTable { table: &table, points: &names, characteristics }.channels();
        table.finish();
        channels
    });
    let (channels, points) = (channels?, points?);
    if channels.fuel_mass.is_none() && points.iter().any(|p| p.consumption_max.is_some()) {
        let what = "consumption_max is judged, but no channel holds the fuel";
        let mend = format!("add fuel_mass and fuel_time under {heading}");
        table.fault(&table.span, what, mend);
    }
    Some(Bed { correction: correction?, channels, points, cautions })
}

fn points(bed: &Table<'_>, engine: Option<&Engine>) -> Option<Vec<Point>> {
    let heading = format!("[[{}.point]]", bed.path());
    let tables = bed.tables("point", &heading);
    if tables.is_empty() && !bed.has("point") {
        let what = format!("{} has no points to be run", bed.heading());
        bed.fault(&bed.span, what, format!("add one with {heading}"));
    }
    let band = engine.map_or(0.05, |e| e.power_tolerance);
    let mut names: Vec<&str> = Vec::new();
    let mut points = Vec::with_capacity(tables.len());
    for table in &tables {
        table.knows(&["name", "speed", "torque", "below", "above", "consumption_max"]);
        let name = table.need(table.text("name", "\"3600\""), "name", "\"3600\"");
        if let Some(name) = name.filter(|name| names.contains(name)) {
            let what = format!("there are two points \"{name}\"");
            table.fault_at("name", what, "give each its own name");
        }
        names.extend(name);
        let speed = table.quantity("speed", Dimension::RotationalSpeed, Sign::Positive);
        let speed = table.need(speed, "speed", "\"3600 rev/min\"");
        let torque = table.quantity("torque", Dimension::Torque, Sign::Positive);
        let torque = table.need(torque, "torque", "\"58.4 N·m\"");
        let below = table.share("below", 0.0..=1.0, "\"5 %\"").unwrap_or(band);
        let above = table.share("above", 0.0..=1.0, "\"6 %\"").unwrap_or(band);
        let most = Dimension::SpecificConsumption;
        let consumption_max = table.quantity("consumption_max", most, Sign::Positive);
        table.finish();
        points.push(name.zip(speed).zip(torque).map(|((name, speed), torque)| Point {
            name: name.to_owned(),
            speed,
            torque,
            below,
            above,
            consumption_max,
        }));
    }
    points.into_iter().collect()
}

/// `[bed.ENGINE.channels]`, being read.
struct ChannelTable<'r, 't> {
    table: &'r Table<'t>,
    points: &'r [&'r str],
    characteristics: &'r Section<Characteristic>,
}

impl ChannelTable<'_, '_> {
    fn channels(&self) -> Option<Channels> {
        let table = self.table;
        table.knows(&[
            "torque",
            "speed",
            "fuel_mass",
            "fuel_time",
            "air_temperature",
            "air_pressure",
            "air_humidity",
            "others",
        ]);
        let needed = |key, dimension, example| {
            table.need(self.channel(key, dimension, example), key, example)
        };
        let torque = needed("torque", Dimension::Torque, "\"engine.bed_torque\"");
        let speed = needed("speed", Dimension::RotationalSpeed, "\"engine.bed_speed\"");
        let fuel_mass = self.channel("fuel_mass", Dimension::Mass, "\"engine.fuel_mass\"");
        let fuel_time = self.channel("fuel_time", Dimension::Time, "\"engine.fuel_time\"");
        let air_temperature =
            needed("air_temperature", Dimension::Temperature, "\"engine.air_temperature\"");
        let air_pressure = needed("air_pressure", Dimension::Pressure, "\"engine.air_pressure\"");
        let humidity = self.channel("air_humidity", Dimension::Number, "\"engine.air_humidity\"");
        let others = table.different_words("others", "[\"engine.oil_temperature\"]");
        let others = others.unwrap_or_default();
        let others: Vec<Option<String>> =
            others.iter().map(|w| of_engine(table, w, self.characteristics)).collect();
        for (one, other) in [("fuel_mass", "fuel_time"), ("fuel_time", "fuel_mass")] {
            if table.has(one) && !table.has(other) {
                let what = format!("{one} is there without {other}");
                table.fault_at(one, what, format!("add {other} = \"engine.{other}\""));
            }
        }
        Some(Channels {
            torque: torque?,
            speed: speed?,
            fuel_mass,
            fuel_time,
            air_temperature: air_temperature?,
            air_pressure: air_pressure?,
            air_humidity: humidity,
            others: others.into_iter().collect::<Option<_>>()?,
        })
    }

    fn channel(&self, key: &'static str, dimension: Dimension, example: &str) -> Option<String> {
        let text = self.table.text(key, example)?;
        self.checked(&Word { text, span: self.table.span_of(key) }, dimension)
    }

    /// The channel's name, if it is a characteristic of the engine, measures what is wanted, and
    /// has each point as a position.
    fn checked(&self, word: &Word<'_>, wanted: Dimension) -> Option<String> {
        let table = self.table;
        let name = of_engine(table, word, self.characteristics)?;
        let found = self.characteristics.named(table, word)?;
        let Some(characteristic) = found.thing else { return Some(name) };
        if wanted != characteristic.unit.dimension {
            let (got, wanted) = (characteristic.unit.dimension.words(), wanted.words());
            let what = format!("\"{name}\" is {got}, but {wanted} is wanted");
            table.fault(&word.span, what, "name the characteristic that holds this channel");
        }
        let one_place = characteristic.positions.is_empty() && self.points.len() <= 1;
        let lacking =
            self.points.iter().find(|p| !characteristic.positions.iter().any(|q| q == *p));
        if let (false, Some(point)) = (one_place, lacking) {
            let what =
                format!("\"{name}\" has no position \"{point}\", which is a point of the bed");
            let mend = format!("add it to the positions of [characteristic.{name}]");
            table.fault(&word.span, what, mend);
        }
        Some(name)
    }
}
