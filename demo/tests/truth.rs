//! The plain files for the commands that work without a works folder, cut from the demo's record.
//!
//! They stand in the folder `examples` of the project; a test holds them to what [`files`] gives,
//! and `cargo run -p bedplate-demo --example lay` lays them anew.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use bedplate_gauge::judge::Judgement;
use bedplate_record::entry::Event;
use bedplate_record::reading::{Millis, Name, Reading};

use crate::Demo;
use crate::drawing::Drawing;
use crate::gauging::judged;

/// One file: its name and its text.
pub type File = (&'static str, String);

/// How many of the last blocks go into the files of readings.
const LAST_BLOCKS: usize = 16;

/// The newest readings of a demo, by piece, characteristic and position.
struct Newest<'a> {
    readings: BTreeMap<(&'a str, &'a str, &'a str), &'a Reading>,
    drawing: Drawing,
}

/// Every file of the folder `examples`, from a demo.
#[must_use]
pub fn files(demo: &Demo) -> Vec<File> {
    let newest = Newest::of(demo);
    let blocks = free(demo, "block");
    let pistons = free(demo, "piston");
    let gauged = |block: &&str| newest.text(block, "block.deck_height", "").is_some();
    let last: Vec<&str> = blocks.iter().copied().rev().filter(gauged).take(LAST_BLOCKS).collect();
    vec![
        ("README.md", README.to_owned()),
        ("blocks.csv", blocks_csv(&newest, &blocks)),
        ("pistons.csv", pistons_csv(&newest, &pistons)),
        ("rules.toml", RULES.to_owned()),
        ("readings-long.csv", long_csv(demo, &last)),
        ("readings-wide.csv", wide_csv(&newest, &last)),
        ("bores-judge.csv", judge_csv(demo, &last)),
        ("limits.toml", limits_toml(demo.works_toml)),
        ("crankshaft.toml", crankshaft_toml(demo, &newest)),
        ("bed.csv", bed_csv(demo, &newest)),
        ("bed.toml", bed_toml(demo.works_toml)),
    ]
}

impl<'a> Newest<'a> {
    fn of(demo: &'a Demo) -> Self {
        let mut readings = BTreeMap::new();
        for reading in demo.groups.iter().flat_map(|group| &group.readings) {
            let key = (&*reading.piece, &*reading.characteristic, &*reading.position);
            readings.insert(key, reading);
        }
        Self { readings, drawing: Drawing::read(demo.works_toml) }
    }

    /// The number of the newest reading, as written, if it is accepted.
    fn text(&self, piece: &str, characteristic: &str, position: &str) -> Option<String> {
        let reading = self.readings.get(&(piece, characteristic, position))?;
        let of = self.drawing.of(characteristic);
        let accepted = judged(&of, reading.value.number()) == Judgement::Accept;
        accepted.then(|| number(reading))
    }
}

/// The number of a reading without its unit.
fn number(reading: &Reading) -> String {
    let text = reading.value.to_string();
    let unit = reading.value.unit().symbol;
    text.strip_suffix(unit).map_or_else(|| text.clone(), |n| n.trim_end().to_owned())
}

/// Pieces of a part that are in no set or engine and not scrapped, by number.
fn free<'a>(demo: &'a Demo, wanted: &str) -> Vec<&'a str> {
    let mut free = std::collections::BTreeSet::new();
    for entry in demo.groups.iter().flat_map(|group| &group.entries) {
        match &entry.event {
            Event::PieceMade { piece, part, .. } if part == wanted => {
                free.insert(piece.as_str());
            }
            Event::PieceScrapped { piece, .. } => {
                free.remove(piece.as_str());
            }
            Event::SetMade { places, .. } | Event::EngineBuilt { places, .. } => {
                places.iter().for_each(|place| {
                    free.remove(place.piece.as_str());
                });
            }
            _ => {}
        }
    }
    free.into_iter().collect()
}

const CYLINDERS: [&str; 4] = ["1", "2", "3", "4"];

fn blocks_csv(newest: &Newest<'_>, blocks: &[&str]) -> String {
    let mut csv = "block_id,bore1,bore2,bore3,bore4\n".to_owned();
    for block in blocks {
        let bores = CYLINDERS.map(|c| newest.text(block, "block.bore", c));
        if let [Some(a), Some(b), Some(c), Some(d)] = bores {
            line(&mut csv, &[block, &a, &b, &c, &d]);
        }
    }
    csv
}

fn pistons_csv(newest: &Newest<'_>, pistons: &[&str]) -> String {
    let mut csv = "piston_id,diameter_mm,mass_g\n".to_owned();
    for piston in pistons {
        let of = |characteristic| newest.text(piston, characteristic, "");
        if let (Some(skirt), Some(mass)) = (of("piston.skirt"), of("piston.mass")) {
            line(&mut csv, &[piston, &skirt, &mass]);
        }
    }
    csv
}

/// None of the demo's texts holds a comma or a quote, so none needs quoting.
fn line(csv: &mut String, cells: &[&str]) {
    csv.push_str(&cells.join(","));
    csv.push('\n');
}

/// The bore readings of some blocks, in the order in which they were taken.
fn bores<'a>(demo: &'a Demo, blocks: &[&str]) -> impl Iterator<Item = &'a Reading> {
    let wanted: Vec<String> = blocks.iter().map(|&b| b.to_owned()).collect();
    demo.groups.iter().flat_map(|group| &group.readings).filter(move |reading| {
        &*reading.characteristic == "block.bore" && wanted.iter().any(|b| **b == *reading.piece)
    })
}

fn long_csv(demo: &Demo, blocks: &[&str]) -> String {
    let heading = "time,piece,characteristic,position,value,gauge,person,machine,spindle\n";
    let mut csv = heading.to_owned();
    for reading in bores(demo, blocks) {
        let (time, value) = (utc(reading.at), reading.value.to_string());
        let context = &reading.context;
        let names = [&context.gauge, &context.person, &context.machine, &context.spindle];
        let [gauge, person, machine, spindle] = names.map(|name: &Name| &**name);
        let of = (&*reading.piece, &*reading.characteristic, &*reading.position);
        line(&mut csv, &[&time, of.0, of.1, of.2, &value, gauge, person, machine, spindle]);
    }
    csv
}

fn wide_csv(newest: &Newest<'_>, blocks: &[&str]) -> String {
    let mut csv =
        "block,block.bore 1,block.bore 2,block.bore 3,block.bore 4,block.deck_height\n".to_owned();
    let mut in_order = blocks.to_vec();
    in_order.sort_unstable();
    for block in in_order {
        let cell = |characteristic, position| {
            let reading = newest.readings.get(&(block, characteristic, position));
            reading.map(|r| number(r)).unwrap_or_default()
        };
        let [a, b, c, d] = CYLINDERS.map(|cylinder| cell("block.bore", cylinder));
        line(&mut csv, &[block, &a, &b, &c, &d, &cell("block.deck_height", "")]);
    }
    csv
}

/// Bores to be judged: those of the last blocks, and below them two that are not good and one that
/// cannot be told, whatever the last blocks are.
fn judge_csv(demo: &Demo, blocks: &[&str]) -> String {
    let mut csv = "piece,characteristic,position,value\n".to_owned();
    for reading in bores(demo, blocks).take(28) {
        let value = reading.value.to_string();
        let of = (&*reading.piece, &*reading.characteristic, &*reading.position);
        line(&mut csv, &[of.0, of.1, of.2, &value]);
    }
    let pieces = [
        ("B90001", "1", "68.0112 mm"),
        ("B90001", "2", "68.0141 mm"),
        ("B90001", "3", "67.9990 mm"),
        ("B90001", "4", "67.9979 mm"),
    ];
    for (piece, position, value) in pieces {
        line(&mut csv, &[piece, "block.bore", position, value]);
    }
    csv
}

/// The part of the works file from one heading up to, not including, another.
fn cut<'a>(works_toml: &'a str, from: &str, to: &str) -> &'a str {
    let start = works_toml.find(from).unwrap_or(0);
    let rest = &works_toml[start..];
    let length = rest.find(to).unwrap_or(rest.len());
    rest[..length].trim_end()
}

fn limits_toml(works_toml: &str) -> String {
    let bore = cut(works_toml, "[characteristic.block.bore]", "\n[characteristic.block.bore_");
    // What makes a bore matters to a works, not to a judgement.
    let bore: String = bore
        .lines()
        .filter(|l| !l.starts_with("operation") && !l.contains("adjust") && !l.starts_with("# One"))
        .flat_map(|l| [l, "\n"])
        .collect();
    let gauge = cut(works_toml, "[gauge.air-bore]", "\n[gauge.air-taper]");
    format!(
        "# Limits, gauge and decision rule for bores-judge.csv; keys as in a works file.\n\n\
         [works]\ndecision = \"guarded\"\nguard_factor = 1.0\n\n{bore}\n{gauge}\n"
    )
}

fn crankshaft_toml(demo: &Demo, newest: &Newest<'_>) -> String {
    let rotor = cut(demo.works_toml, "[rotor.crankshaft]", "\n# ---- Operations");
    let drilled = |piece: &str| {
        demo.groups
            .iter()
            .flat_map(|g| &g.entries)
            .any(|e| matches!(&e.event, Event::HolesDrilled { piece: p, .. } if p == piece))
    };
    let amounts = newest.readings.keys().filter(|key| key.1 == "crankshaft.unbalance");
    let waiting = amounts.map(|key| key.0).filter(|piece| !drilled(piece)).max();
    let piece = waiting.unwrap_or_default();
    let mut toml = format!(
        "# The crankshaft {piece} as it stood on the balancing machine, and its rotor; keys as in \
         a\n# works file. Angles count from crank pin 1, against the clock, seen from the \
         front.\n\n[unbalance]\npiece = \"{piece}\"\n"
    );
    for plane in ["A", "B"] {
        let read = |of: &str| newest.readings.get(&(piece, of, plane)).map(|r| r.value.to_string());
        let amount = read("crankshaft.unbalance").unwrap_or_default();
        let angle = read("crankshaft.unbalance_angle").unwrap_or_default();
        let _ = writeln!(toml, "{plane} = {{ amount = \"{amount}\", angle = \"{angle}\" }}");
    }
    toml.push('\n');
    toml.push_str(rotor);
    toml.push('\n');
    toml
}

/// The points of the weak engine's run, in the order in which they were run.
fn bed_csv(demo: &Demo, newest: &Newest<'_>) -> String {
    let channels = [
        ("torque", "engine.bed_torque"),
        ("speed", "engine.bed_speed"),
        ("fuel_mass", "engine.fuel_mass"),
        ("fuel_time", "engine.fuel_time"),
        ("air_temperature", "engine.air_temperature"),
        ("air_pressure", "engine.air_pressure"),
        ("air_humidity", "engine.air_humidity"),
    ];
    let mut csv = "point".to_owned();
    for (channel, _) in channels {
        csv.push(',');
        csv.push_str(channel);
    }
    csv.push('\n');
    for point in ["2400", "3000", "3600"] {
        csv.push_str(point);
        for (_, of) in channels {
            let reading = newest.readings.get(&(demo.truth.weak_engine.as_str(), of, point));
            let value = reading.map(|r| r.value.to_string()).unwrap_or_default();
            csv.push(',');
            csv.push_str(&value);
        }
        csv.push('\n');
    }
    csv
}

fn bed_toml(works_toml: &str) -> String {
    let engine = cut(works_toml, "[engine.QB4]", "\n# How many of each part");
    let bed = cut(works_toml, "[bed.QB4]", "\n# Which characteristic holds");
    let points = cut(works_toml, "# The schedule, in the order run", "\n# ---- People");
    format!(
        "# The engine and its schedule for bed.csv; keys as in a works file.\n\n{engine}\n\n\
         {bed}\n\n{points}\n"
    )
}

/// An instant as text in UTC, to the second.
fn utc(at: Millis) -> String {
    let (day, second) = (at.div_euclid(86_400_000), at.rem_euclid(86_400_000) / 1000);
    let (year, month, of_month) = civil(day);
    let (hour, minute) = (second / 3600, second / 60 % 60);
    format!("{year}-{month:02}-{of_month:02}T{hour:02}:{minute:02}:{:02}Z", second % 60)
}

/// Days since 1970-01-01 to year, month and day, by the cycle of 400 years from 1 March of year 0.
fn civil(days: i64) -> (i64, i64, i64) {
    let shifted = days + 719_468;
    let (cycle, of_cycle) = (shifted.div_euclid(146_097), shifted.rem_euclid(146_097));
    let year = (of_cycle - of_cycle / 1460 + of_cycle / 36_524 - of_cycle / 146_096) / 365;
    let of_year = of_cycle - (365 * year + year / 4 - year / 100);
    let from_march = (5 * of_year + 2) / 153;
    let of_month = of_year - (153 * from_march + 2) / 5 + 1;
    let month = if from_march < 10 { from_march + 3 } else { from_march - 9 };
    (year + cycle * 400 + i64::from(month <= 2), month, of_month)
}

const RULES: &str = "\
# What a legal set of pistons is.

[clearance]
min = \"30 µm\"
max = \"42 µm\"
target = \"36 µm\"

[mass]
spread = \"4 g\"
";

const README: &str = include_str!("../examples.md");

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn instants_are_written_in_utc() {
        // Computed with Python 3 datetime.
        assert_eq!(utc(1_795_529_400_000), "2026-11-24T14:10:00Z");
        assert_eq!(utc(1_791_954_000_000), "2026-10-14T05:00:00Z");
        assert_eq!(utc(951_782_400_000), "2000-02-29T00:00:00Z");
    }
}
