//! One engine's run on the test bed, from a sheet and a file that says what is expected of it.

use std::sync::Arc;

use bedplate_record::reading::{Context, KeptReading, Name, Reading};
use serde::Serialize;

use super::{Faults, PlainFault, unit_behind};
use crate::bed::{
    PointLine, displacement_l, point_line, schedule_finding, schedule_word, standard_words,
};
use crate::judge::{Judged, judged};
use crate::plan::partial::{CHANNELS, is_not_stated, parse_partial};
use crate::plan::table::Table;
use crate::plan::{Bed, Channels, Characteristic, Engine, Plan};
use crate::who::nearest;
use crate::wire::{Figure, Word};
use crate::worksheet::cells::{Cells, figure, read_cells};
use crate::worksheet::mapping::unit_for;

/// The run of one engine.
#[derive(Debug, Clone, Serialize)]
pub struct BedAnswer {
    /// Engine type.
    pub engine_type: String,
    /// Its title.
    pub title: String,
    /// Standard of correction.
    pub standard: &'static str,
    /// Swept volume of all cylinders.
    pub displacement: Figure,
    /// Points in order.
    pub points: Vec<PointLine>,
    /// The graver of all points; not judged while one is missing.
    pub word: Word,
    /// In one sentence.
    pub finding: String,
    /// Channels whose gauge the file does not state, by title: their readings count as exact.
    pub exact: Vec<String>,
    /// Cautions: the file's own.
    pub cautions: Vec<String>,
}

/// Reduces, corrects and judges one engine's run. `csv` is a sheet of one point a row: `point`, then
/// `torque`, `speed`, `air_temperature`, `air_pressure`, and where they were taken `air_humidity`,
/// `fuel_mass` and `fuel_time`; a figure without a unit is in N·m, rev/min, °C, kPa, %, g and s, or
/// in the unit that its heading says. `expected` is a part of a works file with one `[engine.NAME]`
/// and its `[bed.NAME]`. Each file is given with the name that faults call it by.
///
/// A channel's uncertainty is that of the gauge which the file states for it; without one its
/// readings count as exact, and the answer says so.
///
/// # Errors
/// [`PlainFault`] with every row that is refused, or every fault of the expected figures; then
/// nothing is judged.
pub fn bed(csv: (&str, &[u8]), expected: (&str, &str)) -> Result<BedAnswer, PlainFault> {
    let (plan, name) = parse_partial(expected.0, expected.1, &[], |root, plan| {
        plan.and_then(|plan| only_bed(root, plan))
    })?;
    let (Some(engine), Some(bed)) = (plan.engines.get(&name), plan.beds.get(&name)) else {
        // The reader refuses a bed without its engine, and only_bed named one that is there.
        let mut faults = Faults::of(expected.0);
        faults.add(1, 0, format!("there is no bed for engine {name}"));
        return Err(PlainFault { faults: faults.list });
    };
    let mut faults = Faults::of(csv.0);
    let readings = Sheet { plan: &plan, bed, faults: &mut faults }.readings(csv.1);
    faults.none_or_fault()?;
    let judge = |kept: &KeptReading| judged_untimed(&plan, kept);
    let points: Vec<PointLine> = bed
        .points
        .iter()
        .map(|p| without_numbers(point_line(&plan, engine, bed, p, &readings, &judge)))
        .collect();
    let word = schedule_word(&points);
    Ok(answer(&plan, engine, bed, points, word))
}

fn answer(
    plan: &Plan,
    engine: &Engine,
    bed: &Bed,
    points: Vec<PointLine>,
    word: Word,
) -> BedAnswer {
    let channels = channels_of(&bed.channels);
    let exact = channels
        .iter()
        .filter_map(|(_, id)| plan.characteristics.get(*id))
        .filter(|c| is_not_stated(&c.gauge))
        .map(|c| c.title.clone())
        .collect();
    BedAnswer {
        engine_type: engine.name.clone(),
        title: engine.title.clone(),
        standard: standard_words(bed.correction),
        displacement: Figure::new(displacement_l(engine), "l", 3),
        word,
        finding: schedule_finding(&engine.name, word, &points),
        points,
        exact,
        cautions: bed.cautions.clone(),
    }
}

fn judged_untimed(plan: &Plan, kept: &KeptReading) -> Judged {
    let mut view = judged(plan, 0, &kept.reading);
    (view.at, view.at_ms) = (String::new(), 0);
    if is_not_stated(&view.gauge) {
        view.gauge = String::new();
    }
    view
}

/// Readings of a plain file have no numbers in a record.
fn without_numbers(mut line: PointLine) -> PointLine {
    let figures = [
        &mut line.speed,
        &mut line.observed_torque,
        &mut line.factor,
        &mut line.torque,
        &mut line.uncertainty,
        &mut line.power,
        &mut line.mean_pressure,
        &mut line.consumption,
        &mut line.against_expected,
    ];
    figures.into_iter().flatten().for_each(|figure| figure.readings.clear());
    line
}

/// The name of the only bed, which is that of its engine.
fn only_bed(root: &Table<'_>, plan: &Plan) -> Option<String> {
    let mut beds = plan.beds.keys();
    let bed = beds.next();
    if bed.is_none() {
        let mend = "add [engine.NAME] and [bed.NAME], as in a works file";
        root.fault(&root.span, "the file has no bed", mend);
    } else if beds.next().is_some() {
        let what = format!("the file has {} beds", plan.beds.len());
        root.fault_at("bed", what, "keep the one that the engine ran on");
        return None;
    }
    bed.cloned()
}

/// The channels of a bed that the file knows, with their characteristics.
fn channels_of(channels: &Channels) -> Vec<(&'static str, &str)> {
    let id = |key: &str| match key {
        "torque" => Some(channels.torque.as_str()),
        "speed" => Some(channels.speed.as_str()),
        "fuel_mass" => channels.fuel_mass.as_deref(),
        "fuel_time" => channels.fuel_time.as_deref(),
        "air_temperature" => Some(channels.air_temperature.as_str()),
        "air_pressure" => Some(channels.air_pressure.as_str()),
        _ => channels.air_humidity.as_deref(),
    };
    CHANNELS.iter().filter_map(|(key, ..)| Some((*key, id(key)?))).collect()
}

/// Channels without which a point cannot be reduced.
const NEEDED: [&str; 4] = ["torque", "speed", "air_temperature", "air_pressure"];

/// One column of readings.
struct Column<'p> {
    column: usize,
    needed: bool,
    characteristic: &'p Characteristic,
    unit: &'static bedplate_gauge::unit::Unit,
}

/// The sheet of a run, being read.
struct Sheet<'p, 'f, 'n> {
    plan: &'p Plan,
    bed: &'p Bed,
    faults: &'f mut Faults<'n>,
}

impl<'p> Sheet<'p, '_, '_> {
    fn readings(&mut self, bytes: &[u8]) -> Vec<KeptReading> {
        let cells = match read_cells(bytes) {
            Ok(cells) => cells,
            Err(fault) => {
                self.faults.add_sheet_fault(&fault);
                return Vec::new();
            }
        };
        let Some((point, columns)) = self.columns(&cells) else { return Vec::new() };
        let mut seen: Vec<(String, u64)> = Vec::new();
        let mut readings = Vec::new();
        for row in &cells.rows {
            let fields = match &row.fields {
                Ok(fields) => fields,
                Err((column, reason)) => {
                    self.faults.add(row.line, column.unwrap_or(0), reason.as_str());
                    continue;
                }
            };
            let name = fields.get(point).map_or("", String::as_str);
            if let Some((_, first)) = seen.iter().find(|(seen, _)| seen == name) {
                let what = format!("point {name} stands in line {first} already");
                self.faults.add(row.line, point, what);
            } else if self.knows_point(name, row.line, point) {
                seen.push((name.to_owned(), row.line));
            } else {
                continue;
            }
            for column in &columns {
                readings.extend(self.reading(column, name, row.line, fields, &cells));
            }
        }
        if cells.rows.is_empty() {
            let what = "there is no point in the file; at least one is needed";
            self.faults.add(cells.heading_line, 0, what);
        }
        readings
    }

    fn knows_point(&mut self, name: &str, line: u64, column: usize) -> bool {
        let known: Vec<&str> = self.bed.points.iter().map(|p| p.name.as_str()).collect();
        if known.contains(&name) {
            return true;
        }
        let shown: String = name.chars().take(64).collect();
        let what = if name.is_empty() {
            "the row does not say which point it is".to_owned()
        } else {
            format!("the schedule has no point \"{shown}\"")
        };
        self.faults.add(line, column, format!("{what}; its points are {}", known.join(", ")));
        false
    }

    fn columns(&mut self, cells: &Cells) -> Option<(usize, Vec<Column<'p>>)> {
        let line = cells.heading_line;
        let (plan, bed) = (self.plan, self.bed);
        let mut channels = channels_of(&bed.channels);
        channels.extend(bed.channels.others.iter().map(|id| ("", id.as_str())));
        let before = self.faults.list.len();
        let (mut point, mut columns) = (None, Vec::<Column<'p>>::new());
        for (column, heading) in cells.headings.iter().enumerate() {
            if heading.trim().eq_ignore_ascii_case("point") && point.is_none() {
                point = Some(column);
                continue;
            }
            let found = channels.iter().find_map(|(key, id)| {
                let stem = if key.is_empty() { id } else { key };
                Some((unit_behind(heading, stem)?, *key, plan.characteristics.get(*id)?))
            });
            let Some((unit, key, characteristic)) = found else {
                if !cells.headings[column..].iter().all(|h| h.trim().is_empty()) {
                    self.faults.add(line, column, unknown_heading(heading, &channels));
                }
                continue;
            };
            let shown = if unit.is_empty() { characteristic.unit.symbol } else { unit };
            let Some(unit) = unit_for(characteristic.unit.dimension, shown) else {
                let wanted = characteristic.unit.dimension.words();
                let what = format!("\"{shown}\" in the heading is no unit of {wanted}");
                self.faults.add(line, column, what);
                continue;
            };
            if columns.iter().any(|c| c.characteristic.id == characteristic.id) {
                self.faults.add(line, column, format!("the column \"{key}\" is here twice"));
            }
            let needed = NEEDED.contains(&key);
            columns.push(Column { column, needed, characteristic, unit });
        }
        if self.faults.list.len() > before {
            return None;
        }
        let has = |id: &str| columns.iter().any(|c| c.characteristic.id == id);
        let lacking = channels.iter().filter(|(key, id)| NEEDED.contains(key) && !has(id));
        let lacking = lacking.map(|(key, _)| *key).chain(point.is_none().then_some("point"));
        for name in lacking {
            self.faults.add(line, 0, format!("the heading has no column \"{name}\""));
        }
        let sound = self.faults.list.len() == before;
        point.filter(|_| sound).map(|point| (point, columns))
    }

    fn reading(
        &mut self,
        column: &Column<'_>,
        point: &str,
        line: u64,
        fields: &[String],
        cells: &Cells,
    ) -> Option<KeptReading> {
        let text = fields.get(column.column).map_or("", String::as_str);
        if text.is_empty() && !column.needed {
            return None;
        }
        let value = match figure(text, column.unit) {
            Ok(value) => value,
            Err(why) => {
                let heading: String = cells.headings[column.column].chars().take(64).collect();
                self.faults.add(line, column.column, format!("{heading}: {why}"));
                return None;
            }
        };
        let c = column.characteristic;
        let none = || Name::from("");
        let context = Context {
            gauge: c.gauge.as_str().into(),
            person: none(),
            machine: none(),
            spindle: none(),
            tool: none(),
            source: self.faults.file.into(),
            edition: none(),
        };
        let position = if c.positions.is_empty() { "" } else { point };
        let reading = Reading {
            at: 0,
            characteristic: c.id.as_str().into(),
            piece: none(),
            position: position.into(),
            value,
            context: Arc::new(context),
        };
        Some(KeptReading { number: 0, reading })
    }
}

fn unknown_heading(heading: &str, channels: &[(&str, &str)]) -> String {
    let shown: String = heading.chars().take(64).collect();
    let names = channels.iter().map(|(key, id)| if key.is_empty() { *id } else { *key });
    let known: Vec<&str> = std::iter::once("point").chain(names).collect();
    match nearest(&shown, known.iter().copied()) {
        Some(near) => format!("there is no column \"{shown}\" here; did you mean \"{near}\"?"),
        None => {
            format!("there is no column \"{shown}\" here; the columns are {}", known.join(", "))
        }
    }
}
