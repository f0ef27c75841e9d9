//! The bed: a test schedule's readings reduced, corrected and judged against the bands.

use bedplate_engine::bed::air::HumidityFormula;
use bedplate_engine::bed::correction::Charging;
use bedplate_engine::bed::fuel::FuelReading;
use bedplate_engine::bed::point::{
    Load, PointReadings, PointResult, PointUncertainty, Standard, reduce_point,
};
use bedplate_engine::bed::site::SiteExponents;
use bedplate_engine::bed::torque::{Cycle as Strokes, EngineSize, brake_torque_nm};
use bedplate_gauge::judge::{Printed, judge as judge_value, reason};
use bedplate_gauge::limits::Limits;
use bedplate_record::entry::Event;
use bedplate_record::reading::KeptReading;
use serde::Serialize;

use crate::floor::{Engine as OnFloor, EngineState};
use crate::instant;
use crate::judge::{Judged, newest};
use crate::plan::{self, Bed, CorrectionStandard, Cycle, Ignition, Plan, Point};
use crate::tell;
use crate::trace::engine_state;
use crate::who::{Doing, allowed, nearest};
use crate::wire::{Figure, Word};
use crate::works::{Deed, Works, WorksError};

/// One channel's reading at a point.
#[derive(Debug, Clone, Serialize)]
pub struct ChannelReading {
    /// Characteristic.
    pub characteristic: String,
    /// Its title.
    pub title: String,
    /// The reading, if there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub judged: Option<Judged>,
}

/// One point of the schedule.
#[derive(Debug, Clone, Serialize)]
pub struct PointLine {
    /// Its name.
    pub name: String,
    /// Planned speed.
    pub planned_speed: Figure,
    /// The channels' readings.
    pub channels: Vec<ChannelReading>,
    /// What is missing, by title.
    pub missing: Vec<String>,
    /// Speed run.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub speed: Option<Figure>,
    /// Observed torque.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub observed_torque: Option<Figure>,
    /// Correction factor.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub factor: Option<Figure>,
    /// Corrected torque (observed, where the plan corrects nothing).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub torque: Option<Figure>,
    /// Its expanded uncertainty.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub uncertainty: Option<Figure>,
    /// Corrected power.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub power: Option<Figure>,
    /// Corrected mean effective pressure.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mean_pressure: Option<Figure>,
    /// Specific fuel consumption.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub consumption: Option<Figure>,
    /// Its judgement against the most allowed.
    pub consumption_word: Word,
    /// Expected torque.
    pub expected: Figure,
    /// Band.
    pub lower: Figure,
    /// Band.
    pub upper: Figure,
    /// Percent above (+) or below (−) expected.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub against_expected: Option<Figure>,
    /// Judgement of the torque.
    pub word: Word,
    /// Probability of conformity of the torque.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub probability: Option<f64>,
    /// In one line; also why nothing could be corrected.
    pub reason: String,
}

/// The test-bed sheet of one engine.
#[derive(Debug, Clone, Serialize)]
pub struct BedSheet {
    /// Instant of the figures.
    pub as_of: String,
    /// Engine.
    pub engine: String,
    /// Engine type.
    pub engine_type: String,
    /// Where it stands.
    pub state: String,
    /// Bed it ran on, or empty.
    pub bed: String,
    /// When, or empty.
    pub tested: String,
    /// By whom, or empty.
    pub tested_by: String,
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
    /// Whether it may be passed now, and if not, why.
    pub may_pass: Result<(), String>,
    /// Cautions.
    pub cautions: Vec<String>,
    /// Engines waiting for the bed or for a decision.
    pub waiting: Vec<String>,
}

/// Words of the correction standard.
#[must_use]
pub const fn standard_words(standard: CorrectionStandard) -> &'static str {
    match standard {
        CorrectionStandard::Iso1585 => "ISO 1585",
        CorrectionStandard::Iso3046 => "ISO 3046-1",
        CorrectionStandard::None => "not corrected",
    }
}

fn standard_of(engine: &plan::Engine, bed: &Bed) -> Option<Standard> {
    match (bed.correction, engine.ignition) {
        (CorrectionStandard::Iso1585, Ignition::Spark) => Some(Standard::Iso1585Spark),
        (CorrectionStandard::Iso1585, Ignition::Compression) => {
            Some(Standard::Iso1585Compression { charging: Charging::Natural, boost_ratio: 1.0 })
        }
        (CorrectionStandard::Iso3046, _) => Some(Standard::Iso3046 {
            // Naturally aspirated, as in ISO 3046-1:2002, table 2 (from memory).
            exponents: SiteExponents {
                humidity: 1.0,
                pressure: 1.0,
                temperature: 0.75,
                coolant: 0.0,
            },
            mechanical_efficiency: 0.8,
            coolant_c: 25.0,
        }),
        (CorrectionStandard::None, _) => None,
    }
}

/// Swept volume of all cylinders in litres, from nominal bore and stroke.
#[must_use]
pub fn displacement_l(engine: &plan::Engine) -> f64 {
    let (bore, stroke) = (engine.bore.to("mm"), engine.stroke.to("mm"));
    std::f64::consts::FRAC_PI_4 * bore * bore * stroke * f64::from(engine.cylinders) / 1e6
}

/// What every channel of one point gave.
pub(crate) struct Channels<'a> {
    readings: &'a [KeptReading],
    point: &'a str,
}

impl Channels<'_> {
    fn find(&self, id: &str) -> Option<&KeptReading> {
        newest(self.readings, id, self.point)
    }

    fn value(&self, id: &str, unit: &str) -> Option<f64> {
        let unit = bedplate_gauge::unit::Unit::named(unit)?;
        self.find(id)?.reading.value.in_unit(unit)
    }
}

fn standard_uncertainty_in(plan: &Plan, id: &str, unit_factor: f64) -> f64 {
    plan.characteristics
        .get(id)
        .map_or(0.0, |c| plan.standard_uncertainty(c) * c.unit.factor() / unit_factor)
}

fn uncertainties(plan: &Plan, bed: &Bed, fuel_mass_g: Option<f64>) -> PointUncertainty {
    let of = |id: &str, factor: f64| standard_uncertainty_in(plan, id, factor);
    let channels = &bed.channels;
    let fuel = channels.fuel_mass.as_deref().map_or(0.0, |id| of(id, 1e-3));
    PointUncertainty {
        load_n: 0.0,
        arm_m: 0.0,
        torque_nm: of(&channels.torque, 1.0),
        speed_rpm: of(&channels.speed, std::f64::consts::PI / 30.0),
        air_temperature_k: of(&channels.air_temperature, 1.0),
        barometer_kpa: of(&channels.air_pressure, 1e3),
        relative_humidity: channels.air_humidity.as_deref().map_or(0.0, |id| of(id, 1.0)),
        fuel_rate_relative: fuel_mass_g.filter(|m| *m > 0.0).map_or(0.0, |m| fuel / m),
    }
}

pub(crate) fn point_line(
    plan: &Plan,
    engine: &plan::Engine,
    bed: &Bed,
    point: &Point,
    readings: &[KeptReading],
    judge: &dyn Fn(&KeptReading) -> Judged,
) -> PointLine {
    let channels = Channels { readings, point: &point.name };
    let mut line = blank_line(plan, bed, point, &channels, judge);
    let value = |id: &str, unit: &str| channels.value(id, unit);
    let c = &bed.channels;
    let (Some(torque_nm), Some(speed_rpm), Some(air_temperature_c), Some(barometer_kpa)) = (
        value(&c.torque, "N·m"),
        value(&c.speed, "rev/min"),
        value(&c.air_temperature, "°C"),
        value(&c.air_pressure, "kPa"),
    ) else {
        line.reason = format!("Not measured yet: {}.", line.missing.join(", "));
        return line;
    };
    let fuel = c.fuel_mass.as_deref().zip(c.fuel_time.as_deref()).and_then(|(mass, time)| {
        Some(FuelReading::Mass { mass_g: value(mass, "g")?, time_s: value(time, "s")? })
    });
    let fuel_mass_g = c.fuel_mass.as_deref().and_then(|id| value(id, "g"));
    let cycle = match engine.cycle {
        Cycle::TwoStroke => Strokes::TwoStroke,
        Cycle::FourStroke => Strokes::FourStroke,
    };
    let standard = standard_of(engine, bed);
    let readings = PointReadings {
        load: Load::Torque { torque_nm },
        speed_rpm,
        fuel,
        air_temperature_c,
        barometer_kpa,
        relative_humidity: c.air_humidity.as_deref().and_then(|id| value(id, "")),
        size: EngineSize { displacement_l: displacement_l(engine), cycle },
        standard: standard.unwrap_or(Standard::Iso1585Spark),
        humidity_formula: HumidityFormula::If97,
        uncertainty: Some(uncertainties(plan, bed, fuel_mass_g)),
    };
    match reduce_point(&readings) {
        Ok(result) => fill_line(&mut line, plan, engine, point, &readings, &result, standard),
        Err(e) => line.reason = format!("Cannot be reduced: {e}."),
    }
    line
}

fn blank_line(
    plan: &Plan,
    bed: &Bed,
    point: &Point,
    channels: &Channels<'_>,
    judge: &dyn Fn(&KeptReading) -> Judged,
) -> PointLine {
    let c = &bed.channels;
    let needed = [Some(&c.torque), Some(&c.speed), Some(&c.air_temperature), Some(&c.air_pressure)];
    let optional = [c.fuel_mass.as_ref(), c.fuel_time.as_ref(), c.air_humidity.as_ref()];
    let title =
        |id: &str| plan.characteristics.get(id).map_or_else(|| id.to_owned(), |c| c.title.clone());
    let all = needed.iter().chain(&optional).copied().flatten().chain(&c.others);
    let channel_readings: Vec<ChannelReading> = all
        .map(|id| ChannelReading {
            characteristic: id.clone(),
            title: title(id),
            judged: channels.find(id).map(judge),
        })
        .collect();
    let is_missing = |id: &&&String| channels.find(id).is_none();
    let missing =
        needed.iter().chain(&optional).flatten().filter(is_missing).map(|id| title(id)).collect();
    let expected = point.torque.to("N·m");
    PointLine {
        name: point.name.clone(),
        planned_speed: Figure::of(&point.speed),
        channels: channel_readings,
        missing,
        speed: None,
        observed_torque: None,
        factor: None,
        torque: None,
        uncertainty: None,
        power: None,
        mean_pressure: None,
        consumption: None,
        consumption_word: Word::NotJudged,
        expected: Figure::new(expected, "N·m", 1),
        lower: Figure::new(expected * (1.0 - point.below), "N·m", 1),
        upper: Figure::new(expected * (1.0 + point.above), "N·m", 1),
        against_expected: None,
        word: Word::NotJudged,
        probability: None,
        reason: String::new(),
    }
}

fn used(engine: &plan::Engine, readings: &PointReadings) -> Vec<(&'static str, String)> {
    let torque_nm = match readings.load {
        Load::Torque { torque_nm } => torque_nm,
        Load::Brake(brake) => brake_torque_nm(brake),
    };
    let mut inputs = vec![
        ("torque", format!("{torque_nm} N·m")),
        ("speed", format!("{} rev/min", readings.speed_rpm)),
        ("temperature", format!("{} °C", readings.air_temperature_c)),
        ("barometer", format!("{} kPa", readings.barometer_kpa)),
        ("displacement", format!("{:.6} l", readings.size.displacement_l)),
        ("humidity", format!("{} %", readings.relative_humidity.unwrap_or(0.0) * 100.0)),
    ];
    if let Some(FuelReading::Mass { mass_g, time_s }) = readings.fuel {
        inputs.push(("fuel_mass", format!("{mass_g} g")));
        inputs.push(("fuel_time", format!("{time_s} s")));
    }
    if engine.cycle == Cycle::TwoStroke {
        inputs.push(("cycle", "two-stroke".to_owned()));
    }
    inputs
}

fn fill_line(
    line: &mut PointLine,
    plan: &Plan,
    engine: &plan::Engine,
    point: &Point,
    readings: &PointReadings,
    result: &PointResult,
    standard: Option<Standard>,
) {
    let numbers: Vec<u64> =
        line.channels.iter().filter_map(|c| c.judged.as_ref()).map(|j| j.number).collect();
    let by = |f: Figure| {
        f.from_readings(numbers.iter().copied()).by("bed-point", used(engine, readings))
    };
    let figures = match (standard, &result.corrected) {
        (None, _) => result.observed,
        (Some(_), Some(corrected)) => *corrected,
        (Some(_), None) => {
            line.reason = result
                .not_corrected
                .as_ref()
                .map_or_else(String::new, |why| format!("{}.", capital(&why.to_string())));
            line.observed_torque = Some(by(Figure::new(result.observed.torque_nm, "N·m", 1)));
            return;
        }
    };
    line.speed = Some(by(Figure::new(readings.speed_rpm, "rev/min", 0)));
    line.observed_torque = Some(by(Figure::new(result.observed.torque_nm, "N·m", 1)));
    line.factor = standard.and(result.factor).map(|f| by(Figure::new(f, "", 4)));
    line.torque = Some(by(Figure::new(figures.torque_nm, "N·m", 1)));
    line.power = Some(by(Figure::new(figures.power_kw, "kW", 2)));
    line.mean_pressure = Some(by(Figure::new(figures.bmep_bar, "bar", 2)));
    line.consumption = figures.bsfc_g_kwh.map(|b| by(Figure::new(b, "g/kWh", 0)));
    let expected = point.torque.to("N·m");
    let percent = (figures.torque_nm / expected - 1.0) * 100.0;
    line.against_expected = Some(by(Figure::signed(percent, "%", 1)));
    let u = result.corrected_torque_uncertainty_nm.unwrap_or_else(|| {
        plan.characteristics
            .values()
            .find(|c| c.id.ends_with("torque") && c.positions.contains(&point.name))
            .map_or(0.0, |c| plan.standard_uncertainty(c))
    });
    line.uncertainty = Some(by(Figure::new(2.0 * u, "N·m", 1)));
    let band =
        Limits::new(Some(expected * (1.0 - point.below)), Some(expected * (1.0 + point.above)));
    if let Ok(band) = band {
        let verdict = judge_value(figures.torque_nm, &band, u, plan.works.decision);
        line.word = verdict.judgement.into();
        line.probability = Some(verdict.probability_of_conformity);
        let printed = Printed { unit: "N·m", per_unit: 1.0, decimals: 1 };
        line.reason = reason(&verdict, &band, &printed);
    }
    if let (Some(most), Some(bsfc)) = (&point.consumption_max, figures.bsfc_g_kwh) {
        let inside = bsfc <= most.to("g/kWh");
        line.consumption_word = if inside { Word::Accept } else { Word::Reject };
    }
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().collect::<String>() + chars.as_str())
}

/// The judgement of a whole schedule: the gravest point; not judged while one is missing.
pub(crate) fn schedule_word(points: &[PointLine]) -> Word {
    points.iter().fold(Word::Accept, |worst, p| {
        worst.worse(p.word).worse(match p.consumption_word {
            Word::Reject => Word::Reject,
            _ => Word::Accept,
        })
    })
}

pub(crate) fn schedule_finding(engine: &str, word: Word, points: &[PointLine]) -> String {
    let worst = points
        .iter()
        .filter_map(|p| p.against_expected.as_ref().map(|a| (a.value, p)))
        .min_by(|a, b| a.0.total_cmp(&b.0));
    let at = |p: &PointLine| format!("at {} rev/min", p.name);
    match (word, worst) {
        (Word::Accept, Some((percent, p))) => format!(
            "Engine {engine} makes its power: {} % against expected {}, inside the band.",
            crate::wire::shown_signed(percent, 1),
            at(p)
        ),
        (Word::Reject, Some((_, p))) if p.word != Word::Reject => {
            format!("Engine {engine} burns more fuel than allowed.")
        }
        (Word::Reject, Some((percent, p))) => format!(
            "Engine {engine} is {} % {} {}, outside the band.",
            crate::wire::shown(percent.abs(), 1),
            if percent < 0.0 { "down" } else { "up" },
            at(p)
        ),
        (Word::CannotTell, Some((percent, p))) => format!(
            "Engine {engine} is too close to call: {} % {}. Run it again.",
            crate::wire::shown_signed(percent, 1),
            at(p)
        ),
        _ => format!("Engine {engine} has not run its whole schedule."),
    }
}

impl Works {
    fn engine_on_floor(&self, engine: &str) -> Result<OnFloor, WorksError> {
        self.floor(|f| f.engines.get(engine).cloned()).ok_or_else(|| {
            let nearest = self.floor(|f| nearest(engine, f.engines.keys().map(String::as_str)));
            WorksError::Unknown { kind: "engine", name: engine.to_owned(), nearest }
        })
    }

    /// The test-bed sheet of an engine.
    ///
    /// # Errors
    /// [`WorksError::Unknown`] for the engine; [`WorksError::Refused`] if the plan has no schedule
    /// for its type; [`WorksError::Store`].
    pub fn bed(&self, engine: &str) -> Result<BedSheet, WorksError> {
        let on_floor = self.engine_on_floor(engine)?;
        let plan = self.plan();
        let (engine_plan, bed) = bed_of(&plan, &on_floor.engine_type)?;
        let readings = self.readings_of_piece(engine)?;
        let judge = |kept: &KeptReading| self.judged(kept);
        let points: Vec<PointLine> = bed
            .points
            .iter()
            .map(|p| point_line(&plan, engine_plan, bed, p, &readings, &judge))
            .collect();
        let word = schedule_word(&points);
        let zone = instant::zone(&plan.works.time_zone);
        let may_pass = self.may_pass(engine, &on_floor, &plan, word);
        let (bed_name, tested, tested_by) =
            on_floor.tested.as_ref().map_or_else(Default::default, |(bed, at, by)| {
                (bed.clone(), instant::iso(*at, &zone), tell::signed(&plan, by))
            });
        Ok(BedSheet {
            as_of: instant::iso(self.as_of(), &zone),
            engine: engine.to_owned(),
            engine_type: on_floor.engine_type.clone(),
            state: engine_state(&on_floor.state),
            bed: bed_name,
            tested,
            tested_by,
            standard: standard_words(bed.correction),
            displacement: Figure::new(displacement_l(engine_plan), "l", 3),
            finding: schedule_finding(engine, word, &points),
            points,
            word,
            may_pass,
            cautions: bed.cautions.clone(),
            waiting: self.waiting_for_bed(),
        })
    }

    /// Engines that are built and not decided, in order of their numbers.
    #[must_use]
    pub fn waiting_for_bed(&self) -> Vec<String> {
        let open = |s: &EngineState| {
            matches!(s, EngineState::Building | EngineState::Tested | EngineState::Held(_))
        };
        self.floor(|f| {
            f.engines.iter().filter(|(_, e)| open(&e.state)).map(|(n, _)| n.clone()).collect()
        })
    }

    fn may_pass(
        &self,
        engine: &str,
        on_floor: &OnFloor,
        plan: &Plan,
        word: Word,
    ) -> Result<(), String> {
        if on_floor.state == EngineState::Passed {
            return Err(format!("engine {engine} is passed already"));
        }
        let open: Vec<&str> = plan
            .steps
            .get(&on_floor.engine_type)
            .into_iter()
            .flatten()
            .filter(|s| !on_floor.steps.contains_key(&s.id))
            .map(|s| s.id.as_str())
            .collect();
        if !open.is_empty() {
            return Err(format!("these build steps are still open: {}", open.join(", ")));
        }
        if on_floor.tested.is_none() || word == Word::NotJudged {
            return Err("it has not run its whole schedule".to_owned());
        }
        Ok(())
    }

    /// Records that an engine ran its schedule on `bed`; its readings must be in the record.
    ///
    /// # Errors
    /// [`WorksError::NotAllowed`], [`WorksError::Unknown`], [`WorksError::Refused`] with what is
    /// missing.
    pub fn test_run(&self, deed: &Deed, engine: &str, bed: &str) -> Result<(), WorksError> {
        allowed(&self.plan(), &deed.by, Doing::Testing)?;
        let what = || format!("the run of engine {engine}");
        if bed.trim().is_empty() {
            return Err(WorksError::refused(what(), "say which bed it ran on"));
        }
        self.alone(|| {
            let sheet = self.bed(engine)?;
            let missing: Vec<String> = sheet
                .points
                .iter()
                .filter(|p| p.torque.is_none())
                .map(|p| format!("point {}: {}", p.name, p.reason))
                .collect();
            if !missing.is_empty() {
                return Err(WorksError::refused(what(), missing.join(" ")));
            }
            let (engine, bed) = (engine.to_owned(), bed.trim().to_owned());
            self.write(deed, vec![Event::TestRun { engine, bed }], vec![]).map(|_| ())
        })
    }

    /// Passes an engine. One whose judgement is not accept needs a note that says why.
    ///
    /// # Errors
    /// [`WorksError::NotAllowed`], [`WorksError::Unknown`], [`WorksError::Refused`].
    pub fn pass_engine(&self, deed: &Deed, engine: &str, note: &str) -> Result<(), WorksError> {
        allowed(&self.plan(), &deed.by, Doing::Deciding)?;
        let what = || format!("passing engine {engine}");
        self.alone(|| {
            let sheet = self.bed(engine)?;
            sheet.may_pass.map_err(|why| WorksError::refused(what(), why))?;
            if sheet.word != Word::Accept && note.trim().is_empty() {
                let why = format!(
                    "its judgement is \"{}\"; to pass it all the same, give a note that says why",
                    sheet.word.text()
                );
                return Err(WorksError::refused(what(), why));
            }
            let (engine, note) = (engine.to_owned(), note.trim().to_owned());
            self.write(deed, vec![Event::EnginePassed { engine, note }], vec![]).map(|_| ())
        })
    }

    /// Holds an engine back.
    ///
    /// # Errors
    /// [`WorksError::NotAllowed`], [`WorksError::Unknown`], [`WorksError::Refused`] without a
    /// reason.
    pub fn hold_engine(&self, deed: &Deed, engine: &str, reason: &str) -> Result<(), WorksError> {
        allowed(&self.plan(), &deed.by, Doing::Deciding)?;
        if reason.trim().is_empty() {
            let what = format!("holding engine {engine}");
            return Err(WorksError::refused(what, "a reason is needed; say why"));
        }
        self.alone(|| {
            self.engine_on_floor(engine)?;
            let (engine, reason) = (engine.to_owned(), reason.trim().to_owned());
            self.write(deed, vec![Event::EngineHeld { engine, reason }], vec![]).map(|_| ())
        })
    }
}

fn bed_of<'p>(
    plan: &'p Plan,
    engine_type: &str,
) -> Result<(&'p plan::Engine, &'p Bed), WorksError> {
    let missing = |what: &str| {
        let why = format!("the works file has no {what} for {engine_type}");
        WorksError::refused("the test bed", why)
    };
    let engine = plan.engines.get(engine_type).ok_or_else(|| missing("[engine]"))?;
    let bed = plan.beds.get(engine_type).ok_or_else(|| missing("[bed]"))?;
    Ok((engine, bed))
}
