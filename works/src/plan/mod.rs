//! The plan: what should be, as the works file says it.
//!
//! The types here are what the works file means after it was read and checked (see [`read`]); they
//! cannot be wrong in the ways the reader checks: every name that is used exists, every quantity
//! has its dimension, limits are the right way round.

mod bed;
mod characteristic;
mod decision;
mod engine;
mod exact;
mod fit;
mod gauge;
mod grade;
mod head;
mod include;
pub mod json;
mod nearest;
mod operation;
mod part;
pub(crate) mod partial;
mod person;
mod place;
pub mod read;
mod rotor;
mod section;
mod sections;
mod syntax;
pub(crate) mod table;

use bedplate_gauge::judge::DecisionRule;
use bedplate_gauge::quantity::Quantity;
use bedplate_gauge::unit::Unit;
use indexmap::IndexMap;

/// The small works file that a new works begins with: one engine, block bores and pistons, every
/// line explained.
pub const SMALL_WORKS: &str = include_str!("small.toml");

/// The whole plan of a works.
#[derive(Debug, Clone)]
pub struct Plan {
    /// BLAKE3 of the text, in hexadecimal: names this edition.
    pub edition: String,
    /// The works file as it was read (with included files spliced in).
    pub text: String,
    /// The works itself.
    pub works: WorksHead,
    /// Engine types, by name.
    pub engines: IndexMap<String, Engine>,
    /// Kinds of part, by name.
    pub parts: IndexMap<String, Part>,
    /// Characteristics, by `part.name`.
    pub characteristics: IndexMap<String, Characteristic>,
    /// Gauges, by name.
    pub gauges: IndexMap<String, Gauge>,
    /// Fits, by name.
    pub fits: IndexMap<String, Fit>,
    /// Classes of parts that are kept by count, by part.
    pub grades: IndexMap<String, Vec<Grade>>,
    /// Set rules, by engine type.
    pub sets: IndexMap<String, SetRule>,
    /// Rotors, by name.
    pub rotors: IndexMap<String, Rotor>,
    /// Operations, by name.
    pub operations: IndexMap<String, Operation>,
    /// Lines, by name.
    pub lines: IndexMap<String, Line>,
    /// Build steps in order, by engine type.
    pub steps: IndexMap<String, Vec<Step>>,
    /// Test beds' schedules, by engine type.
    pub beds: IndexMap<String, Bed>,
    /// People, by their short name.
    pub people: IndexMap<String, Person>,
}

/// `[works]`
#[derive(Debug, Clone)]
pub struct WorksHead {
    /// Name of the works.
    pub name: String,
    /// Units shown.
    pub units: Shown,
    /// IANA time zone in which days and shifts are counted.
    pub time_zone: String,
    /// The decision rule that judges every reading unless a characteristic names its own.
    pub decision: DecisionRule,
    /// Engines planned a day.
    pub day_rate: u32,
    /// Working time a day.
    pub working_time: Quantity,
    /// Shifts in order: name and start, minutes after midnight.
    pub shifts: Vec<Shift>,
}

/// One shift.
#[derive(Debug, Clone)]
pub struct Shift {
    /// `A`.
    pub name: String,
    /// Minutes after midnight at which it starts.
    pub start_minute: u16,
}

/// Units in which figures are shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shown {
    /// mm, µm, g, kW.
    Metric,
    /// in, thou, oz, hp.
    Inch,
}

/// How many strokes a working cycle has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cycle {
    /// Two.
    TwoStroke,
    /// Four.
    FourStroke,
}

/// How the charge is lit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ignition {
    /// By spark.
    Spark,
    /// By compression.
    Compression,
}

/// `[engine.NAME]`
#[derive(Debug, Clone)]
pub struct Engine {
    /// Name of the type: `QB4`.
    pub name: String,
    /// One line about it.
    pub title: String,
    /// Number of cylinders, 1 to 16.
    pub cylinders: u32,
    /// Nominal bore.
    pub bore: Quantity,
    /// Nominal stroke.
    pub stroke: Quantity,
    /// Working cycle.
    pub cycle: Cycle,
    /// Ignition.
    pub ignition: Ignition,
    /// Firing order.
    pub firing_order: Vec<u32>,
    /// Rated power.
    pub rated_power: Quantity,
    /// Rated speed.
    pub rated_speed: Quantity,
    /// Allowed shortfall of rated power, a share.
    pub power_tolerance: f64,
    /// How many of each part an engine has. One: its place is empty; more: places `1`…`n`.
    pub parts: IndexMap<String, u32>,
    /// How the compression ratio is computed, if the works wants it.
    pub compression: Option<Compression>,
}

/// `[engine.NAME.compression]`: the sources of each cylinder's compression ratio.
#[derive(Debug, Clone)]
pub struct Compression {
    /// Least ratio allowed.
    pub lower: f64,
    /// Greatest ratio allowed.
    pub upper: f64,
    /// Characteristic of the bore, by cylinder.
    pub bore: String,
    /// Nominal or characteristic of the crank throw's stroke.
    pub stroke: Source,
    /// Rod length between centres.
    pub rod_length: Source,
    /// Crank axis to block face.
    pub deck_height: Source,
    /// Pin axis to crown.
    pub compression_height: Source,
    /// Volume of the chamber in the head.
    pub chamber_volume: Source,
    /// Volume of the crown: dish positive, dome negative.
    pub crown_volume: Source,
    /// Bore of the gasket.
    pub gasket_bore: Quantity,
    /// Thickness of the gasket, pressed.
    pub gasket_thickness: Quantity,
}

/// A figure that is either measured on each piece or taken from the drawing.
#[derive(Debug, Clone, PartialEq)]
pub enum Source {
    /// A characteristic; its reading on the piece in this engine.
    Measured(String),
    /// A fixed figure.
    Fixed(Quantity),
}

/// Where pieces of a part come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    /// Machined here.
    Made,
    /// Bought.
    Bought,
}

/// `[part.NAME]`
#[derive(Debug, Clone)]
pub struct Part {
    /// Short name: `piston`.
    pub name: String,
    /// Title: `Piston`.
    pub title: String,
    /// Made or bought.
    pub origin: Origin,
    /// Material, in words.
    pub material: String,
    /// Family for its wash and hatch in drawings: iron, steel, alloy, bronze or other.
    pub family: String,
    /// Coefficient of linear thermal expansion, 1/K, if sizes must be brought to a temperature.
    pub expansion: Option<f64>,
    /// What its piece numbers begin with; a piece whose number begins so is of this part unless an
    /// entry says otherwise.
    pub prefix: String,
}

/// What kind of thing a characteristic is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A size.
    Size,
    /// A deviation of form: roundness, run-out.
    Form,
    /// A mass.
    Mass,
    /// A hardness.
    Hardness,
    /// A point of a curve: cam lift, torque at a speed.
    Curve,
    /// Good or not good: 1 or 0.
    Attribute,
    /// Unbalance: amount or angle.
    Unbalance,
    /// Anything else measured: torque of a screw, pressure, temperature.
    Other,
}

/// How often it is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sampling {
    /// Every piece.
    Every,
    /// One piece in `n`.
    OneIn(u32),
}

/// `[characteristic.PART.NAME]`
#[derive(Debug, Clone)]
pub struct Characteristic {
    /// `block.bore`.
    pub id: String,
    /// The part it belongs to; `engine` for what is measured on the assembled engine.
    pub part: String,
    /// Title in the trade's words: `Bore`.
    pub title: String,
    /// Kind.
    pub kind: Kind,
    /// Unit in which readings without a unit are taken and figures are shown in full.
    pub unit: &'static Unit,
    /// Decimals shown in `unit`.
    pub decimals: u8,
    /// Nominal, if it has one.
    pub nominal: Option<Quantity>,
    /// Lower limit.
    pub lower: Option<Quantity>,
    /// Upper limit.
    pub upper: Option<Quantity>,
    /// ISO 286 class as written, such as `H6`, when limits came from one.
    pub class: Option<String>,
    /// Unit of deviations from nominal shown first (µm or thou), if they are.
    pub deviation_unit: Option<&'static Unit>,
    /// Positions, in order; empty when there is only one place.
    pub positions: Vec<String>,
    /// Gauge by which it is measured.
    pub gauge: String,
    /// Temperature to which its readings refer; 20 °C if left out (ISO 1).
    pub measured_at: Option<Quantity>,
    /// Operation that makes it, or empty.
    pub operation: String,
    /// How often it is measured.
    pub sampling: Sampling,
    /// Rule that judges it, when not the works'.
    pub decision: Option<DecisionRule>,
    /// Capability wanted, such as 1.33.
    pub capability_wanted: f64,
    /// What the operator turns to move the size, and how far one division moves it.
    pub adjustment: Option<Adjustment>,
    /// Caution, or empty.
    pub caution: String,
}

/// How a machine is moved towards its centre.
#[derive(Debug, Clone)]
pub struct Adjustment {
    /// What is turned: `collar`.
    pub what: String,
    /// How far one division moves the size; sign says which way.
    pub per_division: Quantity,
}

/// `[gauge.NAME]`
#[derive(Debug, Clone)]
pub struct Gauge {
    /// Short name.
    pub name: String,
    /// Title.
    pub title: String,
    /// Method in the trade's words: `air gauge`, `comparator`, `balance`, …
    pub method: String,
    /// Resolution.
    pub resolution: Quantity,
    /// Expanded uncertainty (coverage factor 2) of one reading, as the budget gives it.
    pub uncertainty: Quantity,
    /// Masters.
    pub masters: Vec<String>,
    /// Days between calibrations.
    pub proving_days: u32,
    /// Caution, or empty.
    pub caution: String,
}

/// `[fit.NAME]`: `Σ factor · size − less` must lie within the window at every place.
#[derive(Debug, Clone)]
pub struct Fit {
    /// Short name.
    pub name: String,
    /// Title: `Piston in bore`.
    pub title: String,
    /// What is added up: for a plain clearance the hole with 1, then the shaft and what lies
    /// between with −1.
    pub terms: Vec<FitTerm>,
    /// What is taken off the sum, m.
    pub less: f64,
    /// Least clearance.
    pub lower: Quantity,
    /// Greatest clearance.
    pub upper: Quantity,
    /// Clearance aimed at.
    pub target: Quantity,
    /// Temperature at which the sizes meet; the sizes as they were gauged if it is left out.
    pub at: Option<Quantity>,
}

/// One size in a fit.
#[derive(Debug, Clone, PartialEq)]
pub struct FitTerm {
    /// The characteristic.
    pub characteristic: String,
    /// How often it counts.
    pub factor: f64,
}

impl Fit {
    /// The characteristic named first: the hole of a clearance.
    #[must_use]
    pub fn outer(&self) -> &str {
        self.terms.first().map_or("", |t| &t.characteristic)
    }

    /// The characteristic named second: the shaft of a clearance.
    #[must_use]
    pub fn inner(&self) -> &str {
        self.terms.get(1).map_or("", |t| &t.characteristic)
    }
}

/// `[set.ENGINE]`
#[derive(Debug, Clone)]
pub struct SetRule {
    /// The fits that a set must meet.
    pub fits: Vec<String>,
    /// Greatest spread of a characteristic over the pieces of a set.
    pub spreads: IndexMap<String, Quantity>,
    /// Greatest spread of sums, cylinder by cylinder.
    pub together: Vec<Together>,
    /// Least probability that all fits of a set lie in their windows, if that is a rule.
    pub sure: Option<f64>,
    /// A block that has waited longer than this comes first among equals.
    pub waited: Option<Quantity>,
}

/// `[[set.ENGINE.together]]`
#[derive(Debug, Clone)]
pub struct Together {
    /// Title: `Moving mass`.
    pub title: String,
    /// The characteristics added up.
    pub of: Vec<String>,
    /// Greatest difference of the sums.
    pub spread: Quantity,
}

/// `[grade.PART.NAME]`: pieces without numbers of their own, kept by class and count.
#[derive(Debug, Clone)]
pub struct Grade {
    /// Name of the class: `M2`.
    pub name: String,
    /// Size of each characteristic, by its full name.
    pub sizes: IndexMap<String, Quantity>,
}

/// `[rotor.NAME]`
#[derive(Debug, Clone)]
pub struct Rotor {
    /// Short name.
    pub name: String,
    /// Title.
    pub title: String,
    /// The part.
    pub part: String,
    /// Mass.
    pub mass: Quantity,
    /// Greatest service speed.
    pub service_speed: Quantity,
    /// Balance quality grade G, as a velocity.
    pub grade: Quantity,
    /// Characteristic that holds the amount of unbalance, positions `A` and `B`.
    pub amount: String,
    /// Characteristic that holds its angle, positions `A` and `B`.
    pub angle: String,
    /// Axial place of tolerance plane A from the front face.
    pub plane_a: Quantity,
    /// Axial place of tolerance plane B.
    pub plane_b: Quantity,
    /// Axial place of the mass centre.
    pub mass_centre: Quantity,
    /// What is taken off each plane's limit for the machine's own uncertainty.
    pub guard: Quantity,
    /// Most holes allowed in all.
    pub max_holes: u32,
    /// Step in which the machine sets depth.
    pub depth_step: Quantity,
    /// Step in which the machine sets angle.
    pub angle_step: Quantity,
    /// Where it may be drilled.
    pub sites: Vec<Site>,
    /// Cautions to be ticked before the spindle moves.
    pub cautions: Vec<String>,
}

/// `[[rotor.NAME.site]]`
#[derive(Debug, Clone)]
pub struct Site {
    /// `web 1`.
    pub name: String,
    /// Axial place.
    pub z: Quantity,
    /// Radius of the surface drilled.
    pub radius: Quantity,
    /// Density of the metal.
    pub density: Quantity,
    /// Windows of angle that may be drilled, each from–to in the sense of angles.
    pub windows: Vec<(Quantity, Quantity)>,
    /// Least metal between two holes.
    pub wall: Quantity,
    /// Most holes at this site.
    pub max_holes: u32,
    /// Drills that may be used.
    pub drills: Vec<Drill>,
}

/// `[[rotor.NAME.site.drill]]`
#[derive(Debug, Clone)]
pub struct Drill {
    /// Diameter.
    pub diameter: Quantity,
    /// Point angle.
    pub point: Quantity,
    /// Least depth of full diameter.
    pub depth_min: Quantity,
    /// Greatest depth of full diameter.
    pub depth_max: Quantity,
}

/// `[operation.NAME]`
#[derive(Debug, Clone)]
pub struct Operation {
    /// Short name: `block-70`.
    pub name: String,
    /// Title: `Fine bore`.
    pub title: String,
    /// The part it works on, or `engine`.
    pub part: String,
    /// Machine.
    pub machine: String,
    /// Time one piece takes, floor to floor.
    pub cycle: Quantity,
    /// Machines or benches doing it.
    pub machines: u32,
    /// Share of working time it is available.
    pub availability: f64,
    /// Share of pieces scrapped.
    pub scrap: f64,
    /// Caution, or empty.
    pub caution: String,
}

/// `[line.NAME]`
#[derive(Debug, Clone)]
pub struct Line {
    /// Short name.
    pub name: String,
    /// Title.
    pub title: String,
    /// The part it makes, or `engine`.
    pub part: String,
    /// Its operations in order.
    pub operations: Vec<String>,
}

/// `[[step.ENGINE]]`
#[derive(Debug, Clone)]
pub struct Step {
    /// Short name.
    pub id: String,
    /// What is done.
    pub title: String,
    /// Characteristics of the engine that must be read and accepted for the step.
    pub checks: Vec<String>,
    /// Caution, or empty.
    pub caution: String,
}

/// The standard by which power is corrected to reference air.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CorrectionStandard {
    /// ISO 1585.
    Iso1585,
    /// ISO 3046-1.
    Iso3046,
    /// None: observed figures are judged.
    None,
}

/// `[bed.ENGINE]`
#[derive(Debug, Clone)]
pub struct Bed {
    /// Correction standard.
    pub correction: CorrectionStandard,
    /// Characteristic of each channel, positions are the points' names.
    pub channels: Channels,
    /// The schedule.
    pub points: Vec<Point>,
    /// Cautions shown on the page.
    pub cautions: Vec<String>,
}

/// The characteristics that hold the bed's channels.
#[derive(Debug, Clone)]
pub struct Channels {
    /// Brake torque.
    pub torque: String,
    /// Speed.
    pub speed: String,
    /// Fuel mass burnt in `fuel_time`.
    pub fuel_mass: Option<String>,
    /// Time in which it was burnt.
    pub fuel_time: Option<String>,
    /// Temperature of the inlet air.
    pub air_temperature: String,
    /// Barometric pressure.
    pub air_pressure: String,
    /// Relative humidity, a share.
    pub air_humidity: Option<String>,
    /// Others shown beside them.
    pub others: Vec<String>,
}

/// `[[bed.ENGINE.point]]`
#[derive(Debug, Clone)]
pub struct Point {
    /// Short name, a position of the channels' characteristics.
    pub name: String,
    /// Speed.
    pub speed: Quantity,
    /// Expected corrected torque.
    pub torque: Quantity,
    /// Acceptance band below, a share of the expected.
    pub below: f64,
    /// Acceptance band above, a share of the expected.
    pub above: f64,
    /// Greatest specific fuel consumption, if judged.
    pub consumption_max: Option<Quantity>,
}

/// What a person may do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Role {
    /// Looks.
    Viewer,
    /// Takes readings.
    Inspector,
    /// Makes sets, drills, builds.
    Fitter,
    /// Runs the bed.
    Tester,
    /// Decides: passes, holds, waives, changes the plan.
    Engineer,
    /// Sets up people and devices.
    Administrator,
}

/// `[person.NAME]`
#[derive(Debug, Clone)]
pub struct Person {
    /// Short name: `v.marl`.
    pub id: String,
    /// Name as signed: `V. Marl`.
    pub name: String,
    /// Roles.
    pub roles: Vec<Role>,
}

impl Plan {
    /// The part a piece number belongs to by its prefix (the longest that fits), or `None`.
    #[must_use]
    pub fn part_of(&self, piece: &str) -> Option<&Part> {
        self.parts
            .values()
            .filter(|p| !p.prefix.is_empty() && piece.starts_with(p.prefix.as_str()))
            .filter(|p| piece[p.prefix.len()..].starts_with(|c: char| c.is_ascii_digit()))
            .max_by_key(|p| p.prefix.len())
    }

    /// The decision rule that judges `characteristic`.
    #[must_use]
    pub fn rule_of(&self, characteristic: &Characteristic) -> DecisionRule {
        characteristic.decision.unwrap_or(self.works.decision)
    }

    /// Standard uncertainty of one reading of `characteristic`, in its own unit.
    #[must_use]
    pub fn standard_uncertainty(&self, characteristic: &Characteristic) -> f64 {
        let Some(gauge) = self.gauges.get(&characteristic.gauge) else { return 0.0 };
        // The gauge's uncertainty is a difference: take the factor alone, never a zero offset.
        gauge.uncertainty.number() * gauge.uncertainty.unit().factor()
            / characteristic.unit.factor()
            / 2.0
    }
}
