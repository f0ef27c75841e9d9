//! `[rotor.NAME]`: what is balanced, how well, and where it may be drilled.

use bedplate_gauge::quantity::Quantity;
use bedplate_gauge::unit::{Dimension, Unit};

use super::part::title_of;
use super::section::Section;
use super::table::{Entry, Sign, Table};
use super::{Characteristic, Drill, Part, Rotor, Site};

const KEYS: [&str; 16] = [
    "title",
    "part",
    "mass",
    "service_speed",
    "grade",
    "amount",
    "angle",
    "plane_a",
    "plane_b",
    "mass_centre",
    "guard",
    "max_holes",
    "depth_step",
    "angle_step",
    "cautions",
    "site",
];

const WINDOWS: &str = "[[\"24°\", \"61°\"], [\"82°\", \"118°\"]]";

fn unit(symbol: &str) -> &'static Unit {
    Unit::named(symbol).expect("in the table of units")
}

/// A quantity that must be there and above zero.
fn figure(
    table: &Table<'_>,
    key: &'static str,
    dimension: Dimension,
    example: &str,
) -> Option<Quantity> {
    table.need(table.quantity(key, dimension, Sign::Positive), key, example)
}

/// A place along the axis, on either side of zero.
fn place(table: &Table<'_>, key: &'static str, example: &str) -> Option<Quantity> {
    table.need(table.quantity(key, Dimension::Length, Sign::Any), key, example)
}

/// Reads `[rotor.NAME]`.
pub(super) fn rotor(
    name: &str,
    table: &Table<'_>,
    parts: &Section<Part>,
    characteristics: &Section<Characteristic>,
) -> Option<Rotor> {
    table.knows(&KEYS);
    let title = table.text("title", "\"Crankshaft\"");
    let part = parts.named_by(table, "part", "\"crankshaft\"").map(|p| p.name);
    let part = table.need(part, "part", "\"crankshaft\"");
    let mass = figure(table, "mass", Dimension::Mass, "\"11.4 kg\"");
    let speed = figure(table, "service_speed", Dimension::RotationalSpeed, "\"3600 rev/min\"");
    let grade = table.need(grade(table), "grade", "\"G 6.3\"");
    let channel =
        |key, dimension, example| planes_of(table, key, dimension, example, part, characteristics);
    let amount = channel("amount", Dimension::Unbalance, "\"crankshaft.unbalance\"");
    let angle = channel("angle", Dimension::Angle, "\"crankshaft.unbalance_angle\"");
    let plane_a = place(table, "plane_a", "\"40 mm\"");
    let plane_b = place(table, "plane_b", "\"380 mm\"");
    let mass_centre = place(table, "mass_centre", "\"212 mm\"");
    let guard = table.quantity("guard", Dimension::Unbalance, Sign::NotNegative);
    let max_holes = table.whole("max_holes", 1..=64, 6);
    let depth_step = table.quantity("depth_step", Dimension::Length, Sign::Positive);
    let angle_step = table.quantity("angle_step", Dimension::Angle, Sign::Positive);
    let cautions = table.remarks("cautions", "[\"Guard shut and cradle clamped.\"]");
    let sites = sites(table);
    if let (Some(a), Some(b)) = (plane_a, plane_b)
        && a.si() == b.si()
    {
        let what = format!("planes A and B are both at {a}");
        table.fault_at("plane_b", what, "write the places of two planes");
    }
    Some(Rotor {
        name: name.to_owned(),
        title: title.map_or_else(|| title_of(name), str::to_owned),
        part: part?.to_owned(),
        mass: mass?,
        service_speed: speed?,
        grade: grade?,
        amount: amount?,
        angle: angle?,
        plane_a: plane_a?,
        plane_b: plane_b?,
        mass_centre: mass_centre?,
        guard: guard.unwrap_or(Quantity::new(0, 0, unit("g·mm"))),
        max_holes: max_holes.unwrap_or(8),
        depth_step: depth_step.unwrap_or(Quantity::new(1, -1, unit("mm"))),
        angle_step: angle_step.unwrap_or(Quantity::new(1, 0, unit("°"))),
        sites: sites?,
        cautions,
    })
}

/// The balance quality grade: `"G 6.3"`, or the velocity that it stands for.
fn grade(table: &Table<'_>) -> Option<Quantity> {
    const EXAMPLE: &str = "\"G 6.3\"";
    let text = table.text("grade", EXAMPLE)?;
    let named = text.strip_prefix('G').map(|number| Quantity::parse_in(number, unit("mm/s")));
    let read = named.unwrap_or_else(|| Quantity::parse(text, Dimension::Velocity));
    let grade = read.ok().filter(|grade| grade.mantissa() > 0);
    if grade.is_none() {
        let what = format!("grade = \"{text}\" is not a balance quality grade");
        table.fault_at("grade", what, "write it like grade = \"G 6.3\", or as \"6.3 mm/s\"");
    }
    grade
}

/// The characteristic that holds amount or angle at planes A and B.
fn planes_of(
    table: &Table<'_>,
    key: &'static str,
    dimension: Dimension,
    example: &str,
    part: Option<&str>,
    characteristics: &Section<Characteristic>,
) -> Option<String> {
    let found = characteristics.named_by(table, key, example);
    let found = table.need(found, key, example)?;
    if let Some(c) = found.thing {
        let name = found.name;
        let fault = if c.unit.dimension != dimension {
            let (got, wanted) = (c.unit.dimension.words(), dimension.words());
            let what = format!("\"{name}\" is {got}, but {wanted} is wanted");
            Some((what, "name the characteristic that holds it".to_owned()))
        } else if part.is_some_and(|part| part != c.part) {
            let what = format!("\"{name}\" is measured on {}, not on this rotor's part", c.part);
            Some((what, "name a characteristic of the part that is balanced".to_owned()))
        } else if c.positions != ["A", "B"] {
            let what = format!("\"{name}\" is not measured at planes A and B");
            let mend = format!("write positions = [\"A\", \"B\"] under [characteristic.{name}]");
            Some((what, mend))
        } else {
            None
        };
        if let Some((what, mend)) = fault {
            table.fault_at(key, what, mend);
        }
    }
    Some(found.name.to_owned())
}

fn sites(rotor: &Table<'_>) -> Option<Vec<Site>> {
    let heading = format!("[[{}.site]]", rotor.path());
    let tables = rotor.tables("site", &heading);
    if tables.is_empty() && !rotor.has("site") {
        let what = format!("{} has no place where it may be drilled", rotor.heading());
        rotor.fault(&rotor.span, what, format!("add one with {heading}"));
    }
    let mut names: Vec<&str> = Vec::new();
    let mut sites = Vec::with_capacity(tables.len());
    for table in &tables {
        if let Some(name) = table.text("name", "\"web 1\"") {
            if names.contains(&name) {
                let what = format!("there are two sites \"{name}\"");
                table.fault_at("name", what, "give each its own name");
            }
            names.push(name);
        }
        sites.push(site(table));
        table.finish();
    }
    sites.into_iter().collect()
}

fn site(table: &Table<'_>) -> Option<Site> {
    table.knows(&["name", "z", "radius", "density", "windows", "wall", "max_holes", "drill"]);
    let name = table.need(table.text("name", "\"web 1\""), "name", "\"web 1\"");
    let z = place(table, "z", "\"74 mm\"");
    let radius = figure(table, "radius", Dimension::Length, "\"70 mm\"");
    let density = figure(table, "density", Dimension::Density, "\"7.85 g/cm³\"");
    let windows = windows(table);
    let wall = table.quantity("wall", Dimension::Length, Sign::NotNegative);
    let wall = table.need(wall, "wall", "\"3 mm\"");
    let max_holes = table.whole("max_holes", 1..=64, 3);
    let drills = drills(table, radius);
    Some(Site {
        name: name?.to_owned(),
        z: z?,
        radius: radius?,
        density: density?,
        windows: windows?,
        wall: wall?,
        max_holes: max_holes.unwrap_or(4),
        drills: drills?,
    })
}

/// A window as degrees from 0: where it begins and how far it reaches.
struct Arc {
    from: f64,
    width: f64,
}

impl Arc {
    fn of(from: Quantity, to: Quantity) -> Self {
        let turn = |degrees: f64| degrees.rem_euclid(360.0);
        let (from, to) = (from.to("°"), to.to("°"));
        let width = if (to - from).abs() >= 360.0 { 360.0 } else { turn(to - from) };
        Self { from: turn(from), width }
    }

    fn overlaps(&self, other: &Self) -> bool {
        let ahead = (other.from - self.from).rem_euclid(360.0);
        ahead < self.width || 360.0 - ahead < other.width
    }
}

fn windows(table: &Table<'_>) -> Option<Vec<(Quantity, Quantity)>> {
    let items = table.need(table.items("windows", WINDOWS), "windows", WINDOWS)?;
    if items.is_empty() {
        let mend =
            format!("write it like windows = {WINDOWS}; the whole turn is [[\"0°\", \"360°\"]]");
        table.fault_at("windows", "windows is an empty list: nothing may be drilled", mend);
    }
    let mut arcs: Vec<Arc> = Vec::with_capacity(items.len());
    let mut windows = Vec::with_capacity(items.len());
    for item in &items {
        let Some((from, to)) = window(table, item) else { continue };
        let arc = Arc::of(from, to);
        if arc.width == 0.0 {
            let what = format!("the window from {from} to {to} has no width");
            table.fault(&item.span, what, "write where it begins and where it ends");
        } else if arcs.iter().any(|other| other.overlaps(&arc)) {
            let what = format!("the window from {from} to {to} overlaps another");
            table.fault(&item.span, what, "write windows that lie apart");
        }
        arcs.push(arc);
        windows.push((from, to));
    }
    (windows.len() == items.len()).then_some(windows)
}

fn window(table: &Table<'_>, item: &Entry<'_>) -> Option<(Quantity, Quantity)> {
    let words = table.words_of(item, WINDOWS)?;
    let [from, to] = words.as_slice() else {
        let what = format!("a window wants two angles, but has {}", words.len());
        let mend = format!("write from and to, such as windows = {WINDOWS}");
        table.fault(&item.span, what, mend);
        return None;
    };
    let angle = |word| {
        let angle = table.quantity_in("windows", word, Dimension::Angle, Sign::Any)?;
        let degrees = angle.to("°");
        if (-360.0..=360.0).contains(&degrees) {
            return Some(angle);
        }
        let what = format!("the angle \"{}\" is more than a turn", word.text);
        table.fault(&word.span, what, "write angles from -360° to 360°");
        None
    };
    let (from, to) = (angle(from), angle(to));
    Some((from?, to?))
}

fn drills(site: &Table<'_>, radius: Option<Quantity>) -> Option<Vec<Drill>> {
    let heading = format!("[[{}.drill]]", site.path());
    let tables = site.tables("drill", &heading);
    if tables.is_empty() && !site.has("drill") {
        let what = format!("{} has no drill", site.heading());
        site.fault(&site.span, what, format!("add one with {heading}"));
    }
    let drills: Vec<Option<Drill>> = tables.iter().map(|t| drill(t, radius)).collect();
    drills.into_iter().collect()
}

fn drill(table: &Table<'_>, radius: Option<Quantity>) -> Option<Drill> {
    table.knows(&["diameter", "point", "depth_min", "depth_max"]);
    let diameter = figure(table, "diameter", Dimension::Length, "\"12 mm\"");
    let point = table.quantity("point", Dimension::Angle, Sign::Positive);
    let point = point.unwrap_or(Quantity::new(118, 0, unit("°")));
    let least = table.quantity("depth_min", Dimension::Length, Sign::NotNegative);
    let depth_min = table.need(least, "depth_min", "\"2.0 mm\"");
    let depth_max = figure(table, "depth_max", Dimension::Length, "\"14.0 mm\"");
    table.finish();
    // Short of a needle: the cone's height is reckoned with below.
    let point_rad = point.si();
    if !(point.to("°") >= 30.0 && point.to("°") <= 180.0) {
        let what = format!("point = \"{point}\" is no drill's point");
        table.fault_at("point", what, "write an angle from 30° to 180°, such as \"118°\"");
        return None;
    }
    let (diameter, depth_min, depth_max) = (diameter?, depth_min?, depth_max?);
    if depth_min.si() >= depth_max.si() {
        let what = format!("depth_max = \"{depth_max}\" is not above depth_min = \"{depth_min}\"");
        table.fault_at("depth_max", what, "swap the two, or mend the figure");
    }
    let cone = diameter.si() / 2.0 / (point_rad / 2.0).tan();
    if let Some(radius) = radius
        && depth_max.si() + cone.max(0.0) >= radius.si()
    {
        let what = format!(
            "a hole {depth_max} deep with its point reaches the axis, {radius} below the surface"
        );
        table.fault_at("depth_max", what, "write a smaller depth, or mend the site's radius");
    }
    Some(Drill { diameter, point, depth_min, depth_max })
}
