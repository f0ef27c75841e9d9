//! Judging readings by the plan under which they were taken.

use std::collections::BTreeMap;

use bedplate_gauge::judge::{Printed, judge as judge_value, reason};
use bedplate_gauge::limits::Limits;
use bedplate_record::reading::{KeptReading, Reading};
use bedplate_record::store::Wanted;
use serde::Serialize;

use crate::instant;
use crate::plan::{Characteristic, Plan};
use crate::wire::{Figure, Word};
use crate::works::{Works, WorksError};

/// A reading with its judgement, as every page and answer shows it.
#[derive(Debug, Clone, Serialize)]
pub struct Judged {
    /// The reading's number in the record; 0 for one that is not kept.
    pub number: u64,
    /// When, ISO 8601 in the works' zone.
    pub at: String,
    /// When, milliseconds since 1970 UTC.
    pub at_ms: i64,
    /// Characteristic.
    pub characteristic: String,
    /// Its title.
    pub title: String,
    /// Piece.
    pub piece: String,
    /// Position, or empty.
    pub position: String,
    /// The value.
    pub value: Figure,
    /// The value as received.
    pub received: String,
    /// From nominal, where the plan shows deviations.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub deviation: Option<Figure>,
    /// Lower limit, in the value's unit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lower: Option<Figure>,
    /// Upper limit, in the value's unit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub upper: Option<Figure>,
    /// Accept, reject, cannot tell, not judged.
    pub word: Word,
    /// Probability of conformity.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub probability: Option<f64>,
    /// The judgement in one line.
    pub reason: String,
    /// Expanded uncertainty of the reading (coverage factor 2).
    pub uncertainty: Figure,
    /// Gauge.
    pub gauge: String,
    /// Person or device.
    pub person: String,
    /// Machine, or empty.
    pub machine: String,
    /// Spindle, or empty.
    pub spindle: String,
    /// Tool, or empty.
    pub tool: String,
    /// Where it came from.
    pub source: String,
    /// Edition of the plan, its first twelve digits.
    pub edition: String,
    /// Why it was withdrawn, if it was.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub withdrawn: Option<String>,
}

/// The scale on which a characteristic's figures are shown: deviations from nominal in µm or thou
/// where the plan asks for it, else its own unit.
#[derive(Debug, Clone, Copy)]
pub struct Scale {
    /// Symbol of the unit.
    pub unit: &'static str,
    /// What stands at zero, in the characteristic's unit.
    pub zero: f64,
    /// How many of `unit` make one of the characteristic's unit.
    pub per_unit: f64,
    /// Decimals shown.
    pub decimals: u8,
    /// Whether signs are always shown.
    pub signed: bool,
}

impl Scale {
    /// The scale of a characteristic.
    #[must_use]
    pub fn of(characteristic: &Characteristic) -> Self {
        let c = characteristic;
        match (c.deviation_unit, &c.nominal) {
            (Some(unit), Some(nominal)) => {
                let per_unit = c.unit.factor() / unit.factor();
                let finer = per_unit.log10().round().clamp(0.0, 9.0);
                #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0…9")]
                let decimals = c.decimals.saturating_sub(finer as u8);
                let zero = nominal.in_unit(c.unit).unwrap_or(0.0);
                Self { unit: unit.symbol, zero, per_unit, decimals, signed: true }
            }
            _ => Self {
                unit: c.unit.symbol,
                zero: 0.0,
                per_unit: 1.0,
                decimals: c.decimals,
                signed: false,
            },
        }
    }

    /// A value in the characteristic's unit, on this scale.
    #[must_use]
    pub fn place(&self, value: f64) -> f64 {
        // Rounded far below any gauge, so that 68.0087 − 68 shows as 8.7 and not as 8.69999….
        let raw = (value - self.zero) * self.per_unit;
        (raw * 1e9).round() / 1e9
    }

    /// As a figure.
    #[must_use]
    pub fn figure(&self, value: f64) -> Figure {
        let placed = self.place(value);
        if self.signed {
            Figure::signed(placed, self.unit, self.decimals)
        } else {
            Figure::new(placed, self.unit, self.decimals)
        }
    }
}

/// The limits of a characteristic in its own unit, if it has any.
#[must_use]
pub fn limits_of(characteristic: &Characteristic) -> Option<Limits> {
    let in_unit = |q: &Option<_>| {
        q.as_ref().and_then(|q: &bedplate_gauge::quantity::Quantity| q.in_unit(characteristic.unit))
    };
    Limits::new(in_unit(&characteristic.lower), in_unit(&characteristic.upper)).ok()
}

/// Judges one reading by `plan`. A reading of a characteristic that the plan does not know, or that
/// has no limits, is shown and not judged.
#[must_use]
pub fn judged(plan: &Plan, number: u64, reading: &Reading) -> Judged {
    let zone = instant::zone(&plan.works.time_zone);
    let context = &reading.context;
    let known = plan.characteristics.get(reading.characteristic.as_ref());
    let value = known.map_or_else(
        || Figure::of(&reading.value),
        |c| Figure::of_in(&reading.value, c.unit, c.decimals),
    );
    let mut view = Judged {
        number,
        at: instant::iso(reading.at, &zone),
        at_ms: reading.at,
        characteristic: reading.characteristic.to_string(),
        title: known.map_or_else(|| reading.characteristic.to_string(), |c| c.title.clone()),
        piece: reading.piece.to_string(),
        position: reading.position.to_string(),
        value: if number > 0 { value.from_readings([number]) } else { value },
        received: reading.value.to_string(),
        deviation: None,
        lower: None,
        upper: None,
        word: Word::NotJudged,
        probability: None,
        reason: "The plan sets no limits for it.".to_owned(),
        uncertainty: Figure::new(0.0, "", 0),
        gauge: context.gauge.to_string(),
        person: context.person.to_string(),
        machine: context.machine.to_string(),
        spindle: context.spindle.to_string(),
        tool: context.tool.to_string(),
        source: context.source.to_string(),
        edition: context.edition.chars().take(12).collect(),
        withdrawn: None,
    };
    if let Some(characteristic) = known {
        fill_judgement(&mut view, plan, characteristic, reading);
    }
    view
}

fn fill_judgement(view: &mut Judged, plan: &Plan, c: &Characteristic, reading: &Reading) {
    let scale = Scale::of(c);
    let Some(value) = reading.value.in_unit(c.unit) else {
        view.reason = format!("The reading is in {}, not {}.", reading.value, c.unit.symbol);
        return;
    };
    let u = standard_uncertainty(plan, c, reading);
    let per = if scale.signed { scale.per_unit } else { 1.0 };
    view.uncertainty = Figure::new(2.0 * u * per, scale.unit, scale.decimals);
    if scale.signed {
        view.deviation = Some(scale.figure(value).from_readings(view.value.readings.clone()));
    }
    let Some(limits) = limits_of(c) else { return };
    view.lower = limits.lower().map(|x| Figure::new(x, c.unit.symbol, c.decimals));
    view.upper = limits.upper().map(|x| Figure::new(x, c.unit.symbol, c.decimals));
    let verdict = judge_value(value, &limits, u, plan.rule_of(c));
    let printed =
        Printed { unit: scale.unit, per_unit: scale.per_unit, decimals: scale.decimals.into() };
    view.word = verdict.judgement.into();
    view.probability = Some(verdict.probability_of_conformity);
    view.reason = reason(&verdict, &limits, &printed);
}

/// The standard uncertainty of a reading in the characteristic's unit: of the gauge that took it,
/// if the plan knows it, else of the gauge the plan names for the characteristic.
fn standard_uncertainty(plan: &Plan, c: &Characteristic, reading: &Reading) -> f64 {
    let gauge = plan
        .gauges
        .get(reading.context.gauge.as_ref())
        .filter(|g| g.uncertainty.unit().dimension == c.unit.dimension);
    gauge.map_or_else(
        || plan.standard_uncertainty(c),
        |g| g.uncertainty.number() * g.uncertainty.unit().factor() / c.unit.factor() / 2.0,
    )
}

impl Works {
    /// A kept reading, judged by the edition of the plan under which it was taken.
    #[must_use]
    pub fn judged(&self, kept: &KeptReading) -> Judged {
        let plan = self.plan_of(&kept.reading.context.edition);
        let mut view = judged(&plan, kept.number, &kept.reading);
        view.withdrawn = self.floor(|f| f.withdrawn.get(&kept.number).cloned());
        view
    }

    /// One reading by its number.
    ///
    /// # Errors
    /// [`WorksError::Unknown`] if there is none; [`WorksError::Store`].
    pub fn reading(&self, number: u64) -> Result<Judged, WorksError> {
        let found = self.store().readings(&Wanted::Numbers(&[number]))?;
        let kept = found.first().ok_or_else(|| WorksError::Unknown {
            kind: "reading",
            name: number.to_string(),
            nearest: None,
        })?;
        Ok(self.judged(kept))
    }

    /// Readings of a piece that count: not withdrawn, in order of their numbers.
    ///
    /// # Errors
    /// [`WorksError::Store`].
    pub fn readings_of_piece(&self, piece: &str) -> Result<Vec<KeptReading>, WorksError> {
        let mut readings = self.store().readings(&Wanted::Piece(piece))?;
        self.floor(|f| readings.retain(|r| !f.withdrawn.contains_key(&r.number)));
        Ok(readings)
    }
}

impl Works {
    /// The title of the first characteristic that a piece is rejected on by its newest reading,
    /// and for which no concession was granted.
    #[must_use]
    pub fn rejected_by(&self, readings: &[KeptReading]) -> Option<String> {
        let mut newest_of: BTreeMap<(&str, &str), &KeptReading> = BTreeMap::new();
        for r in readings {
            newest_of.insert((&r.reading.characteristic, &r.reading.position), r);
        }
        newest_of.into_iter().find_map(|((id, position), kept)| {
            let judged = self.judged(kept);
            let conceded = self.floor(|f| {
                f.concessions.contains(&(judged.piece.clone(), id.to_owned(), position.to_owned()))
            });
            let rejected = judged.word == Word::Reject && !conceded;
            rejected.then(|| format!("{} {position}", judged.title).trim_end().to_owned())
        })
    }
}

/// The newest reading of `characteristic` at `position` among a piece's readings.
#[must_use]
pub fn newest<'a>(
    readings: &'a [KeptReading],
    characteristic: &str,
    position: &str,
) -> Option<&'a KeptReading> {
    readings
        .iter()
        .filter(|r| {
            r.reading.characteristic.as_ref() == characteristic
                && r.reading.position.as_ref() == position
        })
        .max_by_key(|r| (r.reading.at, r.number))
}
