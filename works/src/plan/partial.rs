//! A part of a works file, as the commands on plain files take it.
//!
//! The same reader, keys and faults; what a part leaves out is supplied, in a text laid behind the
//! author's own so that every place stays true: `[works]`, the parts that are named, the
//! characteristics of a rotor's unbalance and of a bed's channels, and the channels themselves.
//! Nothing is supposed of gauges: a reading whose gauge is not stated counts as exact.

use std::fmt::Write as _;

use bedplate_gauge::quantity::Quantity;
use toml::de::{DeTable, DeValue};

use super::part::ENGINE;
use super::place::{Finding, Splice};
use super::read::{PlanFault, read_splice};
use super::sections::{self, Extent};
use super::table::{Table, is_name};
use super::{Plan, syntax};

/// The channels of a bed: key, unit, the characteristic that holds it when the file names none, and
/// its title.
pub(crate) const CHANNELS: [(&str, &str, &str, &str); 7] = [
    ("torque", "N·m", "engine.bed_torque", "Brake torque"),
    ("speed", "rev/min", "engine.bed_speed", "Speed"),
    ("fuel_mass", "g", "engine.fuel_mass", "Fuel burnt"),
    ("fuel_time", "s", "engine.fuel_time", "Time in which it was burnt"),
    ("air_temperature", "°C", "engine.air_temperature", "Inlet air temperature"),
    ("air_pressure", "kPa", "engine.air_pressure", "Barometric pressure"),
    ("air_humidity", "%", "engine.air_humidity", "Relative humidity"),
];

/// What the names of supplied gauges begin with.
const NOT_STATED: &str = "not-stated-";

/// Reads a part of a works file. Tables named in `known` are the caller's own: `own` reads them
/// when the plan has been read (`None` if it is at fault), and notes a fault where it gives nothing.
///
/// # Errors
/// [`PlanFault`] with every fault found, each at its place in `text`.
pub(crate) fn parse_partial<T>(
    name: &str,
    text: &str,
    known: &'static [&'static str],
    own: impl FnOnce(&Table<'_>, Option<&Plan>) -> Option<T>,
) -> Result<(Plan, T), PlanFault> {
    let mut splice = Splice::of_one(name, text);
    let (supplied, closed) = supplement(text);
    splice.add_comment(&supplied);
    let together = splice.text.clone();
    if let Some(finding) = clash(&together, text.len(), closed) {
        return read_splice(&Splice::of_one(name, text), |root, _| {
            root.fault(&finding.span, finding.what, finding.mend);
            None
        });
    }
    read_splice(&splice, |root, all| {
        let plan = sections::plan(root, all, Extent::Part(known)).map(without_uncertainty);
        let own = own(root, plan.as_ref());
        plan.zip(own)
    })
}

/// The plan, what is measured without a stated gauge counting as exact.
fn without_uncertainty(mut plan: Plan) -> Plan {
    for (name, gauge) in &mut plan.gauges {
        if name.starts_with(NOT_STATED) {
            gauge.uncertainty = Quantity::new(0, 0, gauge.uncertainty.unit());
        }
    }
    plan
}

/// Whether a gauge was supplied because the file states none.
pub(crate) fn is_not_stated(gauge: &str) -> bool {
    gauge.starts_with(NOT_STATED)
}

/// The fault of a file whose tables are closed to what is supplied: written in one line.
fn clash(together: &str, own_bytes: usize, closed: std::ops::Range<usize>) -> Option<Finding> {
    let (_, errors) = DeTable::parse_recoverable(together);
    let broken = syntax::findings(together, &errors);
    let mut places = broken.iter().map(|b| b.finding.span.start);
    places.all(|at| own_bytes <= at).then_some(())?;
    (!broken.is_empty()).then(|| Finding {
        span: closed,
        what: "this table leaves something out that is to be supplied, but is closed".to_owned(),
        mend: "write every table under a heading of its own, such as [bed.QB4]".to_owned(),
    })
}

/// What is to be laid behind the text, and the place to name if that cannot be.
fn supplement(text: &str) -> (String, std::ops::Range<usize>) {
    let (root, errors) = DeTable::parse_recoverable(text);
    let broken = syntax::findings(text, &errors);
    let root = root.get_ref();
    let extended = ["bed", "characteristic", "part", "gauge"];
    let closed = extended.iter().find_map(|key| root.get_key_value(*key).map(|(k, _)| k.span()));
    let closed = closed.unwrap_or(0..0);
    if broken.iter().any(|b| !b.rest_can_be_read) {
        return (String::new(), closed);
    }
    let mut supply = Supply { root, text: String::new(), ids: Vec::new(), parts: Vec::new() };
    supply.all();
    (supply.text, closed)
}

struct Supply<'t> {
    root: &'t DeTable<'t>,
    text: String,
    ids: Vec<String>,
    parts: Vec<String>,
}

/// A characteristic that may have to be supplied.
struct Wanted<'w> {
    id: &'w str,
    title: &'w str,
    unit: &'w str,
    positions: &'w [&'w str],
}

fn table_in<'t>(table: &'t DeTable<'t>, key: &str) -> Option<&'t DeTable<'t>> {
    match table.get(key)?.get_ref() {
        DeValue::Table(table) => Some(table),
        _ => None,
    }
}

fn text_in<'t>(table: &'t DeTable<'t>, key: &str) -> Option<&'t str> {
    match table.get(key)?.get_ref() {
        DeValue::String(text) => Some(text.as_ref()),
        _ => None,
    }
}

/// The tables under a table, with their names.
fn tables_in<'t>(
    table: Option<&'t DeTable<'t>>,
) -> impl Iterator<Item = (&'t str, &'t DeTable<'t>)> {
    table.into_iter().flat_map(|t| t.iter()).filter_map(|(key, value)| match value.get_ref() {
        DeValue::Table(table) => Some((key.get_ref().as_ref(), table)),
        _ => None,
    })
}

/// A text as TOML writes it: what JSON quotes, TOML reads.
fn quoted(text: &str) -> String {
    serde_json::to_string(text).unwrap_or_default().replace('\u{7f}', "\\u007f")
}

impl Supply<'_> {
    fn all(&mut self) {
        self.text.push_str("\n\n");
        if !self.root.contains_key("works") {
            self.text.push_str("[works]\n");
        }
        for (part, _) in tables_in(table_in(self.root, "characteristic")) {
            self.part(part);
        }
        for (_, rotor) in tables_in(table_in(self.root, "rotor")) {
            let part = text_in(rotor, "part");
            part.into_iter().for_each(|part| self.part(part));
            for (key, title, unit) in
                [("amount", "Unbalance", "g·mm"), ("angle", "Angle of unbalance", "°")]
            {
                let Some(id) = text_in(rotor, key) else { continue };
                self.characteristic(&Wanted { id, title, unit, positions: &["A", "B"] });
            }
        }
        for (name, bed) in tables_in(table_in(self.root, "bed")) {
            self.bed(name, bed);
        }
    }

    /// A part that is named and not declared.
    fn part(&mut self, name: &str) {
        let declared = table_in(self.root, "part").is_some_and(|t| t.contains_key(name));
        let known = declared || name == ENGINE || self.parts.iter().any(|p| p == name);
        if !known && is_name(name, false) {
            let _ = writeln!(self.text, "[part.{}]", quoted(name));
            self.parts.push(name.to_owned());
        }
    }

    fn characteristic(&mut self, wanted: &Wanted<'_>) {
        let Wanted { id, title, unit, positions } = wanted;
        let Some((part, name)) = id.split_once('.') else { return };
        let of_part = table_in(self.root, "characteristic").and_then(|t| table_in(t, part));
        let declared = of_part.is_some_and(|t| t.contains_key(name));
        let sound = is_name(part, false) && is_name(name, false);
        if declared || !sound || self.ids.iter().any(|known| known == id) {
            return;
        }
        self.part(part);
        let gauge = format!("{NOT_STATED}{}", self.ids.len() + 1);
        self.ids.push((*id).to_owned());
        let positions: Vec<String> = positions.iter().map(|p| quoted(p)).collect();
        let unit_of_steps = if *unit == "°C" { "K" } else { unit };
        let _ = write!(
            self.text,
            "[characteristic.{}.{}]\ntitle = {}\nkind = \"other\"\nunit = \"{unit}\"\n\
             positions = [{}]\ngauge = \"{gauge}\"\n[gauge.{gauge}]\ntitle = \"Not stated\"\n\
             method = \"not stated\"\nresolution = \"0.01 {unit_of_steps}\"\n\
             uncertainty = \"0.01 {unit_of_steps}\"\n",
            quoted(part),
            quoted(name),
            quoted(title),
            positions.join(", "),
        );
    }

    /// A bed's channels, and what holds them.
    fn bed(&mut self, name: &str, bed: &DeTable<'_>) {
        let mut points: Vec<&str> = match bed.get("point").map(|p| p.get_ref()) {
            Some(DeValue::Array(array)) => array
                .iter()
                .filter_map(|p| match p.get_ref() {
                    DeValue::Table(point) => text_in(point, "name"),
                    _ => None,
                })
                .filter(|name| !name.trim().is_empty())
                .collect(),
            _ => Vec::new(),
        };
        let mut seen = Vec::new();
        points.retain(|p| {
            !seen.contains(p) && {
                seen.push(*p);
                true
            }
        });
        let channels = table_in(bed, "channels");
        if !bed.contains_key("channels") {
            let _ = writeln!(self.text, "[bed.{}.channels]", quoted(name));
            for (key, _, id, _) in CHANNELS {
                let _ = writeln!(self.text, "{key} = \"{id}\"");
            }
        }
        for (key, unit, standard, title) in CHANNELS {
            let id = match channels {
                Some(channels) => text_in(channels, key),
                None => Some(standard),
            };
            let Some(id) = id else { continue };
            self.characteristic(&Wanted { id, title, unit, positions: &points });
        }
    }
}
