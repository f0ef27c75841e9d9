//! What the works file says of each characteristic and gauge: unit, limits, resolution, sampling.
//!
//! The works file is the one place where limits stand; the simulated works reads them from it, as
//! its people would. Works on [`crate::WORKS_TOML`] alone, which a test holds to be readable.

use std::collections::HashMap;
use std::rc::Rc;

use bedplate_gauge::limits::Limits;
use bedplate_gauge::quantity::Quantity;
use bedplate_gauge::unit::Unit;
use bedplate_record::reading::Name;
use toml::{Table, Value};

/// One characteristic. Figures are in its unit.
#[derive(Debug)]
pub(crate) struct Characteristic {
    /// `block.bore`.
    pub(crate) id: Name,
    /// Its unit.
    pub(crate) unit: &'static Unit,
    /// Decimals of a reading.
    pub(crate) decimals: u8,
    /// Limits, if it has any.
    pub(crate) limits: Option<Limits>,
    /// Positions; one empty name where there is only one place.
    pub(crate) positions: Vec<Name>,
    /// Its gauge.
    pub(crate) gauge: Name,
    /// The gauge's resolution.
    pub(crate) step: f64,
    /// The gauge's expanded uncertainty.
    pub(crate) uncertainty: f64,
    /// The machine that makes it, or empty.
    pub(crate) machine: Name,
    /// One piece in how many is measured.
    pub(crate) one_in: u32,
}

/// One gauge.
#[derive(Debug)]
pub(crate) struct Gauge {
    /// Short name.
    pub(crate) name: String,
    /// Its first master, or what it is compared with where it has none of its own.
    pub(crate) master: String,
    /// Resolution.
    pub(crate) resolution: Quantity,
    /// Expanded uncertainty.
    pub(crate) uncertainty: Quantity,
    /// Days between checks.
    pub(crate) proving_days: i64,
}

/// The works file as the simulated works needs it.
#[derive(Debug)]
pub(crate) struct Drawing {
    characteristics: HashMap<String, Rc<Characteristic>>,
    /// Gauges in the order of the file.
    pub(crate) gauges: Vec<Gauge>,
}

const OURS: &str = "the demo's own works file is in order, as its test shows";

impl Drawing {
    /// Reads the works file of the demo.
    pub(crate) fn read(text: &str) -> Self {
        let table: Table = text.parse().expect(OURS);
        let gauges: Vec<Gauge> = entries(&table["gauge"]).map(|(n, t)| read_gauge(n, t)).collect();
        let by_name: HashMap<&str, &Gauge> = gauges.iter().map(|g| (g.name.as_str(), g)).collect();
        let mut characteristics = HashMap::new();
        for (part, of_part) in entries(&table["characteristic"]) {
            for (name, body) in of_part.iter().filter_map(|(n, v)| Some((n, v.as_table()?))) {
                let id = format!("{part}.{name}");
                let gauge = by_name[text_of(body, "gauge")];
                let read = read_characteristic(&id, body, gauge, &table);
                characteristics.insert(id, Rc::new(read));
            }
        }
        Self { characteristics, gauges }
    }

    /// The characteristic of this name.
    pub(crate) fn of(&self, id: &str) -> Rc<Characteristic> {
        Rc::clone(self.characteristics.get(id).expect("named in the demo's own works file"))
    }

    /// The names of all characteristics, in no order.
    #[cfg(test)]
    pub(crate) fn names(&self) -> impl Iterator<Item = &str> {
        self.characteristics.keys().map(String::as_str)
    }
}

fn entries(value: &Value) -> impl Iterator<Item = (&String, &Table)> {
    let table = value.as_table().expect(OURS);
    table.iter().filter_map(|(name, value)| Some((name, value.as_table()?)))
}

fn text_of<'a>(table: &'a Table, key: &str) -> &'a str {
    table.get(key).and_then(Value::as_str).expect(OURS)
}

fn read_gauge(name: &str, body: &Table) -> Gauge {
    let figure = |key| {
        let text = text_of(body, key);
        let unit = text.split_once(' ').map_or("", |(_, unit)| unit);
        // "0.5°" is written without a space.
        let unit = if text.ends_with('°') { "°" } else { unit };
        Quantity::parse_in(text, Unit::named(unit).expect(OURS)).expect(OURS)
    };
    let masters = body.get("masters").and_then(Value::as_array).expect(OURS);
    let master = masters.first().and_then(Value::as_str).unwrap_or("the maker's certificate");
    Gauge {
        name: name.to_owned(),
        master: master.to_owned(),
        resolution: figure("resolution"),
        uncertainty: figure("uncertainty"),
        proving_days: body.get("proving_days").and_then(Value::as_integer).expect(OURS),
    }
}

fn read_characteristic(id: &str, body: &Table, gauge: &Gauge, works: &Table) -> Characteristic {
    let unit = Unit::named(text_of(body, "unit")).expect(OURS);
    let positions: Vec<Name> = match body.get("positions").and_then(Value::as_array) {
        Some(names) => names.iter().filter_map(Value::as_str).map(Name::from).collect(),
        None => vec![Name::from("")],
    };
    let machine = match body.get("operation").and_then(Value::as_str) {
        Some(operation) => works["operation"][operation]["machine"].as_str().expect(OURS),
        None => "",
    };
    let one_in =
        text_of(body, "sampling").strip_prefix("1 in ").map_or(1, |n| n.parse().expect(OURS));
    // A resolution and an uncertainty are differences: their factor alone counts, no zero offset.
    let width = |q: &Quantity| q.number() * q.unit().factor() / unit.factor();
    Characteristic {
        id: Name::from(id),
        unit,
        decimals: u8::try_from(body["decimals"].as_integer().expect(OURS)).expect(OURS),
        limits: read_limits(body, unit),
        positions,
        gauge: Name::from(gauge.name.as_str()),
        step: width(&gauge.resolution),
        uncertainty: width(&gauge.uncertainty),
        machine: Name::from(machine),
        one_in,
    }
}

fn read_limits(body: &Table, unit: &'static Unit) -> Option<Limits> {
    let figure = |text: &str| {
        Quantity::parse(text, unit.dimension).ok().and_then(|q| q.in_unit(unit)).expect(OURS)
    };
    let named = |key: &str| body.get(key).and_then(Value::as_str).map(figure);
    let (mut lower, mut upper) = (named("lower"), named("upper"));
    if let Some(nominal) = named("nominal") {
        if let Some(deviations) = body.get("deviations").and_then(Value::as_array) {
            let at = |i: usize| Some(nominal + figure(deviations.get(i)?.as_str()?));
            (lower, upper) = (at(0), at(1));
        }
        if let Some(class) = body.get("class").and_then(Value::as_str) {
            let width_mm = class_width_um(class, nominal) / 1000.0;
            let hole = class.starts_with('H');
            let ends = if hole { (0.0, width_mm) } else { (-width_mm, 0.0) };
            (lower, upper) = (Some(nominal + ends.0), Some(nominal + ends.1));
        }
    }
    Limits::new(lower, upper).ok()
}

/// Width of tolerance grades 6 and 7 in the steps of size that the engine has.
///
/// Source: ISO 286-1:2010 table 1.
fn class_width_um(class: &str, nominal_mm: f64) -> f64 {
    let steps = [(10.0, 9.0, 15.0), (18.0, 11.0, 18.0), (30.0, 13.0, 21.0), (50.0, 16.0, 25.0)];
    let wide = (80.0, 19.0, 30.0);
    let (_, six, seven) = steps.into_iter().find(|s| nominal_mm <= s.0).unwrap_or(wide);
    if class.ends_with('6') { six } else { seven }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_works_file_is_read_whole() {
        let drawing = Drawing::read(crate::WORKS_TOML);
        assert!((75..=90).contains(&drawing.names().count()));
        for name in drawing.names() {
            let c = drawing.of(name);
            assert!(c.step > 0.0 && c.uncertainty >= 0.0, "{name}");
            let width = c.limits.and_then(|l| l.width());
            // A gauge that used up half the tolerance could accept next to nothing.
            assert!(width.is_none_or(|w| 4.0 * c.uncertainty < w), "{name}");
        }
    }

    #[test]
    fn limits_come_from_deviations_and_classes() {
        let drawing = Drawing::read(crate::WORKS_TOML);
        let ends = |name: &str| {
            let limits = drawing.of(name).limits.unwrap();
            (limits.lower().unwrap(), limits.upper().unwrap())
        };
        let near = |got: (f64, f64), want: (f64, f64)| {
            assert!((got.0 - want.0).abs() < 1e-9 && (got.1 - want.1).abs() < 1e-9, "{got:?}");
        };
        near(ends("block.bore"), (68.000, 68.012));
        // ISO 286-1:2010: IT6 of 54 mm is 19 µm, IT7 of 20 mm 21 µm, IT6 of 60 mm 19 µm.
        near(ends("block.main_bore"), (54.000, 54.019));
        near(ends("block.tappet_bore"), (20.000, 20.021));
        near(ends("flywheel.spigot"), (59.981, 60.000));
        assert_eq!(drawing.of("tappet.hardness").one_in, 10);
    }
}
