//! The line: each operation against the day's number, which one sets the pace, and what a change
//! there would give.

use bedplate_shop::line::{LineLoad, Operation as Load, ShiftDemand, load_line, takt};
use serde::Serialize;

use crate::bench::Tone;
use crate::instant;
use crate::plan::{Line, Operation, Plan};
use crate::who::nearest;
use crate::wire::Figure;
use crate::works::{Works, WorksError};

/// One operation against the day's number.
#[derive(Debug, Clone, Serialize)]
pub struct OperationLine {
    /// Operation.
    pub operation: String,
    /// Its title.
    pub title: String,
    /// Machine.
    pub machine: String,
    /// Time one piece takes on one machine.
    pub cycle: Figure,
    /// Machines or benches doing it.
    pub machines: u32,
    /// Machines needed for the day's number, not rounded.
    pub needed: Figure,
    /// Share of the working time it is available.
    pub availability: Figure,
    /// Share of the pieces it spoils.
    pub scrap: Figure,
    /// Good pieces an hour it can pass on to the line's end.
    pub rate: Figure,
    /// Load of each machine; above 100 % it falls behind the day's number.
    pub load: Figure,
    /// Whether it sets the pace of its line.
    pub sets_pace: bool,
}

/// What a change at the operation that sets the pace would give.
#[derive(Debug, Clone, Serialize)]
pub struct WhatIf {
    /// The change: `One more machine at fine bore`.
    pub title: String,
    /// Good pieces an hour of the line then.
    pub rate: Figure,
    /// Good pieces a day more than now.
    pub gain: Figure,
    /// The operation that sets the pace then, titled.
    pub then_pace: String,
    /// Whether the day's number would be met.
    pub meets: bool,
}

/// One line against the day's number.
#[derive(Debug, Clone, Serialize)]
pub struct LineView {
    /// Line.
    pub line: String,
    /// Its title.
    pub title: String,
    /// Pieces one engine takes.
    pub per_engine: u32,
    /// Good pieces wanted a day.
    pub demand: Figure,
    /// Time for each piece from the clock alone.
    pub takt: Figure,
    /// Good pieces an hour it can give.
    pub rate: Figure,
    /// Good pieces an hour wanted.
    pub wanted_rate: Figure,
    /// Engines a day for which it can give the pieces.
    pub engines_a_day: Figure,
    /// Load of the operation that sets the pace.
    pub load: Figure,
    /// Whether the day's number is met.
    pub meets: bool,
    /// The operation that sets the pace, counted from 0.
    pub pace: usize,
    /// The operations in order.
    pub operations: Vec<OperationLine>,
    /// What changes at the pace-setter would give.
    pub what_if: Vec<WhatIf>,
}

/// The line sheet.
#[derive(Debug, Clone, Serialize)]
pub struct LineSheet {
    /// Instant of the figures.
    pub as_of: String,
    /// Engines planned a day.
    pub day_rate: u32,
    /// Working time a day.
    pub working_time: Figure,
    /// The line shown, counted from 0 among `lines`.
    pub shown: usize,
    /// Every line that can be computed, in the plan's order.
    pub lines: Vec<LineView>,
    /// Lines that cannot be computed: title, and why.
    pub left_out: Vec<(String, String)>,
    /// The finding.
    pub finding: Vec<(Tone, String)>,
}

impl Works {
    /// The line sheet for the line of this name; without one, the line that holds the works back.
    ///
    /// # Errors
    /// [`WorksError::Unknown`] for the line.
    pub fn line(&self, wanted: Option<&str>) -> Result<LineSheet, WorksError> {
        let plan = self.plan();
        if let Some(name) = wanted.filter(|n| !plan.lines.contains_key(*n)) {
            let nearest = nearest(name, plan.lines.keys().map(String::as_str));
            return Err(WorksError::Unknown { kind: "line", name: name.to_owned(), nearest });
        }
        let (mut lines, mut left_out) = (vec![], vec![]);
        for line in plan.lines.values() {
            match view(&plan, line) {
                Ok(view) => lines.push(view),
                Err(why) => left_out.push((line.title.clone(), why)),
            }
        }
        let slowest = (0..lines.len()).max_by(|a, b| {
            let load = |i: &usize| lines[*i].load.value;
            load(a).total_cmp(&load(b)).then(b.cmp(a))
        });
        let shown = wanted
            .and_then(|name| lines.iter().position(|l| l.line == name))
            .or(slowest)
            .unwrap_or(0);
        Ok(LineSheet {
            as_of: instant::iso(self.as_of(), &instant::zone(&plan.works.time_zone)),
            day_rate: plan.works.day_rate,
            working_time: Figure::of(&plan.works.working_time),
            finding: finding(lines.get(shown)),
            shown,
            lines,
            left_out,
        })
    }
}

fn view(plan: &Plan, line: &Line) -> Result<LineView, String> {
    let operations: Vec<&Operation> =
        line.operations.iter().filter_map(|name| plan.operations.get(name)).collect();
    let per_engine =
        plan.engines.values().filter_map(|e| e.parts.get(&line.part)).max().copied().unwrap_or(1);
    let demand = f64::from(plan.works.day_rate) * f64::from(per_engine);
    let planned_s = plan.works.working_time.to("s");
    let loads: Vec<Load> = operations.iter().map(|o| load_of(o)).collect();
    let now = load_line(&loads, demand, planned_s).map_err(|e| e.to_string())?;
    let shift = ShiftDemand { demand, shift_s: planned_s, stops_s: 0.0, efficiency: 1.0 };
    let pace_s = takt(shift).map_err(|e| e.to_string())?.takt_s;
    let day = Day { demand, planned_s, hours: plan.works.working_time.to_string() };
    let inputs = day.inputs(&loads);
    let by_load = |f: Figure| f.by("line-load", inputs.clone());
    let content: f64 = loads.iter().map(|l| l.piece_s).sum();
    let takt_inputs =
        [("demand", number(demand)), ("shift", day.hours.clone()), ("content", seconds(content))];
    let engines = now.pieces_per_h * planned_s / 3600.0 / f64::from(per_engine.max(1));
    Ok(LineView {
        line: line.name.clone(),
        title: line.title.clone(),
        per_engine,
        demand: Figure::new(demand, "", 0),
        takt: time_figure(pace_s).by("takt", takt_inputs),
        rate: by_load(Figure::new(now.pieces_per_h, "pieces/h", 1)),
        wanted_rate: Figure::new(demand / planned_s * 3600.0, "pieces/h", 1),
        engines_a_day: by_load(Figure::new(engines.floor(), "", 0)),
        load: by_load(Figure::new(now.operations[now.pace_idx].load * 100.0, "%", 0)),
        meets: now.meets_demand,
        pace: now.pace_idx,
        what_if: what_if(&operations, &loads, &now, &day),
        operations: operation_lines(&operations, &now, &inputs),
    })
}

/// The day that lines are held against.
struct Day {
    demand: f64,
    planned_s: f64,
    hours: String,
}

impl Day {
    fn inputs(&self, loads: &[Load]) -> Vec<(String, String)> {
        let rows: Vec<String> = loads
            .iter()
            .map(|l| {
                let (fit, spoilt) = (l.availability * 100.0, l.scrap * 100.0);
                format!(
                    "{}, {} %, {} %, {}",
                    seconds(l.piece_s),
                    number(fit),
                    number(spoilt),
                    l.n_machines
                )
            })
            .collect();
        vec![
            ("operations".to_owned(), rows.join("; ")),
            ("demand".to_owned(), number(self.demand)),
            ("planned_time".to_owned(), self.hours.clone()),
        ]
    }
}

fn load_of(operation: &Operation) -> Load {
    Load {
        piece_s: operation.cycle.to("s"),
        availability: operation.availability,
        scrap: operation.scrap,
        // None named is one: a line cannot run through an operation that nobody does.
        n_machines: operation.machines.max(1),
    }
}

fn operation_lines(
    operations: &[&Operation],
    now: &LineLoad,
    inputs: &[(String, String)],
) -> Vec<OperationLine> {
    let by_load = |f: Figure| f.by("line-load", inputs.to_vec());
    operations
        .iter()
        .zip(&now.operations)
        .enumerate()
        .map(|(i, (o, load))| OperationLine {
            operation: o.name.clone(),
            title: o.title.clone(),
            machine: o.machine.clone(),
            cycle: Figure::of(&o.cycle),
            machines: load.n_machines,
            needed: by_load(Figure::new(load.machines_exact, "", 2)),
            availability: Figure::new(o.availability * 100.0, "%", 0),
            scrap: Figure::new(o.scrap * 100.0, "%", 1),
            rate: by_load(Figure::new(load.pieces_per_h, "pieces/h", 1)),
            load: by_load(Figure::new(load.load * 100.0, "%", 0)),
            sets_pace: i == now.pace_idx,
        })
        .collect()
}

/// One machine more, and a tenth off the time, at the operation that sets the pace.
fn what_if(operations: &[&Operation], loads: &[Load], now: &LineLoad, day: &Day) -> Vec<WhatIf> {
    let pace = operations[now.pace_idx];
    let place = pace.title.to_lowercase();
    let changed = |change: &dyn Fn(&mut Load)| {
        let mut then = loads.to_vec();
        change(&mut then[now.pace_idx]);
        then
    };
    let cases = [
        (
            format!("One more machine at {place}"),
            changed(&|l| l.n_machines = l.n_machines.saturating_add(1)),
        ),
        (format!("{} 10 % quicker", pace.title), changed(&|l| l.piece_s *= 0.9)),
    ];
    cases
        .into_iter()
        .filter_map(|(title, then)| {
            let line = load_line(&then, day.demand, day.planned_s).ok()?;
            let a_day = (line.pieces_per_h - now.pieces_per_h) * day.planned_s / 3600.0;
            Some(WhatIf {
                title,
                rate: Figure::new(line.pieces_per_h, "pieces/h", 1)
                    .by("line-load", day.inputs(&then)),
                gain: Figure::signed(a_day, "", 0),
                then_pace: operations[line.pace_idx].title.clone(),
                meets: line.meets_demand,
            })
        })
        .collect()
}

fn finding(line: Option<&LineView>) -> Vec<(Tone, String)> {
    let Some(line) = line else {
        return vec![(Tone::Ink, "The works file names no line yet.".to_owned())];
    };
    let Some(pace) = line.operations.get(line.pace) else { return vec![] };
    let title = &line.title;
    let mut says = vec![(
        Tone::Ink,
        format!("{} sets the pace of the {} line.", pace.title, title.to_lowercase()),
    )];
    let (can, wanted) = (&line.rate.text, &line.wanted_rate.text);
    if line.meets {
        let text = format!("It can give {can} pieces an hour; {wanted} are wanted.");
        says.push((Tone::Ink, text));
        return says;
    }
    let text = format!("It gives {can} pieces an hour where {wanted} are wanted.");
    says.push((Tone::Red, text));
    if let Some(best) =
        line.what_if.iter().rev().max_by(|a, b| a.gain.value.total_cmp(&b.gain.value))
    {
        says.push((Tone::Blue, format!("{}: {} pieces a day.", best.title, best.gain.text)));
    }
    says
}

/// Seconds up to ten minutes, minutes beyond.
fn time_figure(s: f64) -> Figure {
    if s < 600.0 { Figure::new(s, "s", 0) } else { Figure::new(s / 60.0, "min", 1) }
}

fn seconds(s: f64) -> String {
    format!("{} s", number(s))
}

/// A number as an input of the handbook, without the tail that binary fractions grow.
fn number(x: f64) -> String {
    let rounded = (x * 1e6).round() / 1e6;
    format!("{rounded}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use bedplate_gauge::quantity::Quantity;
    use bedplate_gauge::unit::Unit;

    fn time(text: &str) -> Quantity {
        let minute = Unit::named("min").expect("the unit is in the table");
        Quantity::parse(text, minute.dimension).expect("a time")
    }

    fn operation(name: &str, cycle: &str, machines: u32) -> Operation {
        Operation {
            name: name.to_owned(),
            title: name.to_owned(),
            part: "block".to_owned(),
            machine: String::new(),
            cycle: time(cycle),
            machines,
            availability: 0.9,
            scrap: 0.0,
            caution: String::new(),
        }
    }

    fn day() -> Day {
        Day { demand: 90.0, planned_s: 28_800.0, hours: "8 h".to_owned() }
    }

    /// The worked example of the handbook's line-load entry: 2 min and 4 min at 90 % give
    /// 13.5 pieces an hour (arithmetic from the definition).
    #[test]
    fn the_slowest_operation_sets_the_pace_and_a_second_machine_moves_it() {
        let (a, b) = (operation("Face", "2 min", 1), operation("Bore", "4 min", 1));
        let operations = [&a, &b];
        let loads: Vec<Load> = operations.iter().map(|o| load_of(o)).collect();
        let now = load_line(&loads, 90.0, 28_800.0).expect("a line");
        assert_eq!(now.pace_idx, 1);
        let then = what_if(&operations, &loads, &now, &day());
        // Two machines at 4 min are level with one at 2 min: 27 an hour, 13.5 · 8 = 108 a day more.
        assert_eq!(then[0].rate.text, "27.0");
        assert_eq!(then[0].gain.text, "+108");
        // A tenth off: 13.5/0.9 = 15 an hour, 12 a day more, and boring still sets the pace.
        assert_eq!((then[1].rate.text.as_str(), then[1].gain.text.as_str()), ("15.0", "+12"));
        assert_eq!(then[1].then_pace, "Bore");
    }

    #[test]
    fn an_operation_without_machines_counts_as_one() {
        assert_eq!(load_of(&operation("Face", "2 min", 0)).n_machines, 1);
    }

    #[test]
    fn inputs_are_what_the_handbook_reads() {
        let loads = [load_of(&operation("Face", "2 min", 1)), load_of(&operation("B", "4 min", 1))];
        let inputs = day().inputs(&loads);
        assert_eq!(inputs[0].1, "120 s, 90 %, 0 %, 1; 240 s, 90 %, 0 %, 1");
        assert_eq!(inputs[2].1, "8 h");
    }
}
