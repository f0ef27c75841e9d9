//! The plan as JSON, for the API: names as in the works file, quantities as text with their unit.

use bedplate_gauge::judge::DecisionRule;
use bedplate_gauge::quantity::Quantity;
use bedplate_gauge::unit::Unit;
use indexmap::IndexMap;
use serde_json::{Map, Value, json};

use super::characteristic::KINDS;
use super::person::ROLES;
use super::{
    Bed, Characteristic, Compression, CorrectionStandard, Cycle, Engine, Fit, Gauge, Grade,
    Ignition, Line, Operation, Origin, Part, Person, Plan, Rotor, Sampling, SetRule, Shown, Site,
    Source, Step, WorksHead,
};

/// The plan as one JSON object, section by section under the names of the works file. A quantity is
/// text with its unit, as it was written: `"68.012 mm"`; a share is a number from 0 to 1; what the
/// plan does not set is `null`. The text of the works file is left out; `edition` names it.
#[must_use]
pub fn to_json(plan: &Plan) -> Value {
    json!({
        "edition": plan.edition,
        "works": head(&plan.works),
        "engine": by_name(&plan.engines, engine),
        "part": by_name(&plan.parts, part),
        "characteristic": by_name(&plan.characteristics, characteristic),
        "gauge": by_name(&plan.gauges, gauge),
        "grade": by_name(&plan.grades, |of_part| grades(of_part)),
        "fit": by_name(&plan.fits, fit),
        "set": by_name(&plan.sets, set_rule),
        "rotor": by_name(&plan.rotors, rotor),
        "operation": by_name(&plan.operations, operation),
        "line": by_name(&plan.lines, line),
        "step": by_name(&plan.steps, |steps| steps.iter().map(step).collect()),
        "bed": by_name(&plan.beds, bed),
        "person": by_name(&plan.people, person),
    })
}

fn by_name<T>(things: &IndexMap<String, T>, one: impl Fn(&T) -> Value) -> Value {
    let things = things.iter().map(|(name, thing)| (name.clone(), one(thing)));
    Value::Object(things.collect::<Map<_, _>>())
}

fn text(quantity: Quantity) -> Value {
    Value::String(quantity.to_string())
}

fn text_or_null(quantity: Option<Quantity>) -> Value {
    quantity.map_or(Value::Null, text)
}

fn symbol_or_null(unit: Option<&Unit>) -> Value {
    unit.map_or(Value::Null, |u| u.symbol.into())
}

fn rule(rule: DecisionRule) -> Value {
    match rule {
        DecisionRule::Simple => json!({ "decision": "simple" }),
        DecisionRule::Guarded { factor } => {
            json!({ "decision": "guarded", "guard_factor": factor })
        }
        DecisionRule::Conformity { accept_at, reject_at } => {
            json!({ "decision": "conformity", "accept_at": accept_at, "reject_at": reject_at })
        }
    }
}

fn head(works: &WorksHead) -> Value {
    let shifts = works.shifts.iter().map(|shift| {
        let start = format!("{:02}:{:02}", shift.start_minute / 60, shift.start_minute % 60);
        json!({ "name": shift.name, "start": start })
    });
    json!({
        "name": works.name,
        "units": match works.units { Shown::Metric => "metric", Shown::Inch => "inch" },
        "time_zone": works.time_zone,
        "rule": rule(works.decision),
        "day_rate": works.day_rate,
        "working_time": text(works.working_time),
        "shift": shifts.collect::<Vec<_>>(),
    })
}

fn engine(engine: &Engine) -> Value {
    let cycle = match engine.cycle {
        Cycle::TwoStroke => "two-stroke",
        Cycle::FourStroke => "four-stroke",
    };
    let ignition = match engine.ignition {
        Ignition::Spark => "spark",
        Ignition::Compression => "compression",
    };
    json!({
        "name": engine.name,
        "title": engine.title,
        "cylinders": engine.cylinders,
        "bore": text(engine.bore),
        "stroke": text(engine.stroke),
        "cycle": cycle,
        "ignition": ignition,
        "firing_order": engine.firing_order,
        "rated_power": text(engine.rated_power),
        "rated_speed": text(engine.rated_speed),
        "power_tolerance": engine.power_tolerance,
        "parts": by_name(&engine.parts, |count| (*count).into()),
        "compression": engine.compression.as_ref().map_or(Value::Null, compression),
    })
}

/// A measured source is the characteristic's name, a fixed one its figure: told apart by key.
fn source(source: &Source) -> Value {
    match source {
        Source::Measured(characteristic) => json!({ "characteristic": characteristic }),
        Source::Fixed(quantity) => json!({ "figure": text(*quantity) }),
    }
}

fn compression(compression: &Compression) -> Value {
    json!({
        "lower": compression.lower,
        "upper": compression.upper,
        "bore": { "characteristic": compression.bore },
        "stroke": source(&compression.stroke),
        "rod_length": source(&compression.rod_length),
        "deck_height": source(&compression.deck_height),
        "compression_height": source(&compression.compression_height),
        "chamber_volume": source(&compression.chamber_volume),
        "crown_volume": source(&compression.crown_volume),
        "gasket_bore": text(compression.gasket_bore),
        "gasket_thickness": text(compression.gasket_thickness),
    })
}

fn part(part: &Part) -> Value {
    json!({
        "name": part.name,
        "title": part.title,
        "origin": match part.origin { Origin::Made => "made", Origin::Bought => "bought" },
        "material": part.material,
        "family": part.family,
        "expansion_per_k": part.expansion,
        "prefix": part.prefix,
    })
}

fn characteristic(c: &Characteristic) -> Value {
    let sampling = match c.sampling {
        Sampling::Every => "every".to_owned(),
        Sampling::OneIn(n) => format!("1 in {n}"),
    };
    let adjustment = c
        .adjustment
        .as_ref()
        .map_or(Value::Null, |a| json!({ "what": a.what, "per_division": text(a.per_division) }));
    json!({
        "id": c.id,
        "part": c.part,
        "title": c.title,
        "kind": word_of(&KINDS, c.kind),
        "unit": c.unit.symbol,
        "decimals": c.decimals,
        "nominal": text_or_null(c.nominal),
        "lower": text_or_null(c.lower),
        "upper": text_or_null(c.upper),
        "class": c.class,
        "deviation_unit": symbol_or_null(c.deviation_unit),
        "positions": c.positions,
        "gauge": c.gauge,
        "measured_at": text_or_null(c.measured_at),
        "operation": c.operation,
        "sampling": sampling,
        "rule": c.decision.map_or(Value::Null, rule),
        "capability_wanted": c.capability_wanted,
        "adjustment": adjustment,
        "caution": c.caution,
    })
}

fn gauge(gauge: &Gauge) -> Value {
    json!({
        "name": gauge.name,
        "title": gauge.title,
        "method": gauge.method,
        "resolution": text(gauge.resolution),
        "uncertainty": text(gauge.uncertainty),
        "masters": gauge.masters,
        "proving_days": gauge.proving_days,
        "caution": gauge.caution,
    })
}

fn fit(fit: &Fit) -> Value {
    json!({
        "name": fit.name,
        "title": fit.title,
        "sum": fit.terms.iter().map(|t| json!([t.characteristic, t.factor])).collect::<Vec<_>>(),
        "less_m": fit.less,
        "lower": text(fit.lower),
        "upper": text(fit.upper),
        "target": text(fit.target),
        "at": text_or_null(fit.at),
    })
}

fn set_rule(set: &SetRule) -> Value {
    let together = set
        .together
        .iter()
        .map(|t| json!({ "title": t.title, "of": t.of, "spread": text(t.spread) }));
    json!({
        "fits": set.fits,
        "spread": by_name(&set.spreads, |q| text(*q)),
        "together": together.collect::<Vec<_>>(),
        "sure": set.sure,
        "waited": text_or_null(set.waited),
    })
}

fn grades(grades: &[Grade]) -> Value {
    let one = |g: &Grade| json!({ "name": g.name, "sizes": by_name(&g.sizes, |q| text(*q)) });
    grades.iter().map(one).collect()
}

fn rotor(rotor: &Rotor) -> Value {
    json!({
        "name": rotor.name,
        "title": rotor.title,
        "part": rotor.part,
        "mass": text(rotor.mass),
        "service_speed": text(rotor.service_speed),
        "grade": text(rotor.grade),
        "amount": rotor.amount,
        "angle": rotor.angle,
        "plane_a": text(rotor.plane_a),
        "plane_b": text(rotor.plane_b),
        "mass_centre": text(rotor.mass_centre),
        "guard": text(rotor.guard),
        "max_holes": rotor.max_holes,
        "depth_step": text(rotor.depth_step),
        "angle_step": text(rotor.angle_step),
        "site": rotor.sites.iter().map(site).collect::<Vec<_>>(),
        "cautions": rotor.cautions,
    })
}

fn site(site: &Site) -> Value {
    let windows = site.windows.iter().map(|(from, to)| json!([text(*from), text(*to)]));
    let drills = site.drills.iter().map(|drill| {
        json!({
            "diameter": text(drill.diameter),
            "point": text(drill.point),
            "depth_min": text(drill.depth_min),
            "depth_max": text(drill.depth_max),
        })
    });
    json!({
        "name": site.name,
        "z": text(site.z),
        "radius": text(site.radius),
        "density": text(site.density),
        "windows": windows.collect::<Vec<_>>(),
        "wall": text(site.wall),
        "max_holes": site.max_holes,
        "drill": drills.collect::<Vec<_>>(),
    })
}

fn operation(operation: &Operation) -> Value {
    json!({
        "name": operation.name,
        "title": operation.title,
        "part": operation.part,
        "machine": operation.machine,
        "cycle": text(operation.cycle),
        "machines": operation.machines,
        "availability": operation.availability,
        "scrap": operation.scrap,
        "caution": operation.caution,
    })
}

fn line(line: &Line) -> Value {
    json!({
        "name": line.name,
        "title": line.title,
        "part": line.part,
        "operations": line.operations,
    })
}

fn step(step: &Step) -> Value {
    json!({
        "id": step.id,
        "title": step.title,
        "checks": step.checks,
        "caution": step.caution,
    })
}

fn bed(bed: &Bed) -> Value {
    let correction = match bed.correction {
        CorrectionStandard::Iso1585 => "ISO 1585",
        CorrectionStandard::Iso3046 => "ISO 3046-1",
        CorrectionStandard::None => "none",
    };
    let points = bed.points.iter().map(|point| {
        json!({
            "name": point.name,
            "speed": text(point.speed),
            "torque": text(point.torque),
            "below": point.below,
            "above": point.above,
            "consumption_max": text_or_null(point.consumption_max),
        })
    });
    let channels = &bed.channels;
    json!({
        "correction": correction,
        "channels": {
            "torque": channels.torque,
            "speed": channels.speed,
            "fuel_mass": channels.fuel_mass,
            "fuel_time": channels.fuel_time,
            "air_temperature": channels.air_temperature,
            "air_pressure": channels.air_pressure,
            "air_humidity": channels.air_humidity,
            "others": channels.others,
        },
        "point": points.collect::<Vec<_>>(),
        "cautions": bed.cautions,
    })
}

fn person(person: &Person) -> Value {
    let roles = person.roles.iter().map(|role| word_of(&ROLES, *role));
    json!({ "id": person.id, "name": person.name, "roles": roles.collect::<Vec<_>>() })
}

/// The word by which the works file names a thing.
fn word_of<T: PartialEq>(words: &[(&'static str, T)], thing: T) -> &'static str {
    words.iter().find(|(_, t)| *t == thing).map_or("", |(word, _)| word)
}
