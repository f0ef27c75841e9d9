//! `[works]`: the works itself.

use bedplate_gauge::judge::DecisionRule;
use bedplate_gauge::quantity::Quantity;
use bedplate_gauge::unit::{Dimension, Unit};

use super::decision::{self, decision};
use super::nearest::nearest;
use super::sections::Extent;
use super::table::{Sign, Table};
use super::{Shift, Shown, WorksHead};

const KEYS: [&str; 6] = ["name", "units", "time_zone", "day_rate", "working_time", "shift"];

/// Reads `[works]`; in a part of a works file it may leave anything out.
pub(super) fn head(table: &Table<'_>, extent: Extent) -> Option<WorksHead> {
    table.knows(&KEYS);
    table.knows(&decision::KEYS);
    let example = "\"Quarrybeck Engine Works\"";
    let is_part = matches!(extent, Extent::Part(_));
    let name = table.text("name", example).or(is_part.then_some("plain files"));
    let name = table.need(name, "name", example);
    let units = table.choice("units", &[("metric", Shown::Metric), ("inch", Shown::Inch)]);
    let day_rate = table.whole("day_rate", 1..=100_000, 90).or(is_part.then_some(1));
    let day_rate = table.need(day_rate, "day_rate", "90");
    let head = Some(()).and_then(|()| {
        Some(WorksHead {
            name: name?.to_owned(),
            units: units.unwrap_or(Shown::Metric),
            time_zone: String::new(),
            decision: DecisionRule::default(),
            day_rate: day_rate?,
            working_time: Quantity::new(8, 0, hour()),
            shifts: Vec::new(),
        })
    });
    let time_zone = time_zone(table);
    let rule = decision(table).unwrap_or_default();
    let working_time = working_time(table);
    let shifts = shifts(table);
    table.finish();
    Some(WorksHead { time_zone: time_zone?, decision: rule, working_time, shifts, ..head? })
}

fn hour() -> &'static Unit {
    Unit::named("h").expect("the hour is in the table of units")
}

fn time_zone(table: &Table<'_>) -> Option<String> {
    let Some(name) = table.text("time_zone", "\"Europe/London\"") else {
        return Some("UTC".to_owned());
    };
    if jiff::tz::TimeZone::get(name).is_ok() {
        return Some(name.to_owned());
    }
    let known: Vec<String> = jiff::tz::db().available().map(|n| n.as_str().to_owned()).collect();
    let mend = nearest(name, known.iter().map(String::as_str)).map_or_else(
        || "write a name such as \"Europe/London\" or \"UTC\"".to_owned(),
        |n| format!("did you mean \"{n}\"?"),
    );
    table.fault_at("time_zone", format!("time_zone = \"{name}\" is not a time zone"), mend);
    None
}

fn working_time(table: &Table<'_>) -> Quantity {
    let stated = table.quantity("working_time", Dimension::Time, Sign::Positive);
    let time = stated.unwrap_or(Quantity::new(8, 0, hour()));
    if time.si() > 86_400.0 {
        let what = format!("working_time = \"{time}\" is longer than a day");
        table.fault_at("working_time", what, "write the working time of one day, such as \"15 h\"");
    }
    time
}

fn shifts(table: &Table<'_>) -> Vec<Shift> {
    let example = "[[works.shift]] with name = \"A\" and start = \"06:00\"";
    let mut shifts: Vec<Shift> = Vec::new();
    for one in table.tables("shift", example) {
        one.knows(&["name", "start"]);
        let name = one.need(one.text("name", "\"A\""), "name", "\"A\"");
        let start = one.need(one.minute_of_day("start"), "start", "\"06:00\"");
        one.finish();
        let (Some(name), Some(start_minute)) = (name, start) else { continue };
        if shifts.iter().any(|s| s.name == name) {
            one.fault_at(
                "name",
                format!("there are two shifts \"{name}\""),
                "give each its own name",
            );
        }
        let since_first = |minute: u16| (minute + 1440 - shifts[0].start_minute) % 1440;
        if let Some(last) = shifts.last()
            && since_first(start_minute) <= since_first(last.start_minute)
        {
            let what = format!("shift {name} does not start after shift {}", last.name);
            one.fault_at("start", what, "write the shifts in the order of the day");
        }
        shifts.push(Shift { name: name.to_owned(), start_minute });
    }
    if shifts.is_empty() {
        shifts.push(Shift { name: "day".to_owned(), start_minute: 0 });
    }
    shifts
}
