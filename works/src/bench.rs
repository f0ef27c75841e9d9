//! The gauge bench: the reading just taken, its judgement, what comes next.

use bedplate_record::reading::{KeptReading, Millis};
use bedplate_record::store::Wanted;
use serde::Serialize;

use crate::control::{Advice, Stream};
use crate::floor::Calibration;
use crate::instant;
use crate::judge::{Judged, Scale, limits_of, newest};
use crate::plan::{Characteristic, Gauge, Plan, Sampling};
use crate::trace::counted;
use crate::who::nearest;
use crate::wire::{Figure, Word};
use crate::works::{Works, WorksError};

/// A characteristic that can be chosen at the bench.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Choice {
    /// `block.bore`.
    pub id: String,
    /// `Block: bore`.
    pub title: String,
}

/// One position of the piece at the bench.
#[derive(Debug, Clone, Serialize)]
pub struct PositionCell {
    /// Position, or empty.
    pub position: String,
    /// Newest reading there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub judged: Option<Judged>,
    /// Whether the reading just taken is here.
    pub is_now: bool,
    /// Whether this is to be read next.
    pub is_next: bool,
}

/// The scale on which the bench shows its figures.
#[derive(Debug, Clone, Serialize)]
pub struct BenchScale {
    /// Unit of the figures on the glass: deviations from nominal, or the value itself.
    pub unit: &'static str,
    /// Decimals.
    pub decimals: u8,
    /// Whether signs are shown.
    pub signed: bool,
    /// Nominal in full.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nominal: Option<Figure>,
    /// Lower limit on the scale.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lower: Option<Figure>,
    /// Upper limit on the scale.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub upper: Option<Figure>,
    /// Width of the band where the gauge cannot tell.
    pub guard: Figure,
    /// Expanded uncertainty of one reading.
    pub uncertainty: Figure,
}

/// Whether a gauge may judge.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "standing")]
pub enum GaugeStanding {
    /// Set against its master within its time.
    InOrder {
        /// When.
        since: String,
    },
    /// Past its time.
    Overdue {
        /// Last set.
        since: String,
        /// Days past.
        days: i64,
    },
    /// Found out of calibration.
    Out {
        /// When.
        since: String,
        /// What it showed too much.
        error: String,
    },
    /// Never set against its master.
    NeverSet,
}

/// The gauge bench sheet.
#[derive(Debug, Clone, Serialize)]
pub struct BenchSheet {
    /// Instant of the figures.
    pub as_of: String,
    /// Characteristic at the bench.
    pub characteristic: Choice,
    /// Others that can be chosen.
    pub choices: Vec<Choice>,
    /// Operation that makes it, titled.
    pub operation: String,
    /// Gauge's title.
    pub gauge: String,
    /// Gauge's short name.
    pub gauge_name: String,
    /// Whether the gauge may judge.
    pub standing: GaugeStanding,
    /// The piece at the bench, or empty.
    pub piece: String,
    /// Its positions.
    pub positions: Vec<PositionCell>,
    /// The reading just taken.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub latest: Option<Judged>,
    /// The last readings of the same position and spindle, the newest last.
    pub last: Vec<Judged>,
    /// Revision triangles among them: index of the first reading after, and what was done.
    pub revisions: Vec<(usize, String)>,
    /// Which stream these are: `spindle 3`.
    pub stream: String,
    /// Scale.
    pub scale: BenchScale,
    /// The finding, by its parts: ink, red, blue.
    pub finding: Vec<(Tone, String)>,
    /// What to turn, if anything.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub advice: Option<Advice>,
}

/// Ink, blue pencil or red.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Tone {
    /// What is so.
    Ink,
    /// What is proposed.
    Blue,
    /// What needs a person.
    Red,
}

/// How many readings the bench shows behind the newest.
const LAST_SHOWN: usize = 25;

/// Whether a gauge may judge at an instant, from its checks.
#[must_use]
pub fn standing(plan: &Plan, gauge: &Gauge, checks: &[Calibration], at: Millis) -> GaugeStanding {
    let zone = instant::zone(&plan.works.time_zone);
    let Some(last) = checks.iter().rev().find(|c| c.at <= at) else {
        return GaugeStanding::NeverSet;
    };
    let since = instant::short(last.at, &zone);
    if !last.in_order {
        return GaugeStanding::Out { since, error: last.error.clone() };
    }
    const DAY_MS: i64 = 86_400_000;
    let days = (at - last.at) / DAY_MS - i64::from(gauge.proving_days);
    if days > 0 { GaugeStanding::Overdue { since, days } } else { GaugeStanding::InOrder { since } }
}

impl Works {
    /// Whether a gauge may judge now.
    #[must_use]
    pub fn gauge_standing(&self, gauge: &str) -> GaugeStanding {
        let plan = self.plan();
        let at = self.as_of();
        let Some(known) = plan.gauges.get(gauge) else { return GaugeStanding::NeverSet };
        self.floor(|f| {
            let checks = f.calibrations.get(gauge).map_or(&[][..], Vec::as_slice);
            standing(&plan, known, checks, at)
        })
    }

    /// The bench for a characteristic, and a piece if one is named; without, the last one read.
    ///
    /// # Errors
    /// [`WorksError::Unknown`] for the characteristic; [`WorksError::Refused`] if the plan has none;
    /// [`WorksError::Store`].
    pub fn bench(
        &self,
        characteristic: Option<&str>,
        piece: Option<&str>,
    ) -> Result<BenchSheet, WorksError> {
        let plan = self.plan();
        let choices = choices(&plan);
        let c = self.at_bench(&plan, characteristic)?;
        let newest_of_all = Wanted::Newest { name: &c.id, position: "", count: 1 };
        let newest_of_all = self.store().readings(&newest_of_all)?;
        let piece = piece
            .map(str::to_owned)
            .or_else(|| newest_of_all.last().map(|r| r.reading.piece.to_string()));
        let readings = match &piece {
            Some(piece) => self.readings_of_piece(piece)?,
            None => vec![],
        };
        let latest = readings.iter().rfind(|r| *r.reading.characteristic == *c.id);
        let stream = latest.map(Stream::of);
        let last = self.last_of_stream(c, stream.as_ref())?;
        let positions = positions(self, c, &readings, latest);
        let latest = latest.map(|r| self.judged(r));
        let standing = self.gauge_standing(&c.gauge);
        let advice = stream.as_ref().map(|s| self.advice(c, s)).transpose()?.flatten();
        let part = plan.parts.get(&c.part).map_or(c.part.as_str(), |p| p.title.as_str());
        Ok(BenchSheet {
            as_of: instant::iso(self.as_of(), &instant::zone(&plan.works.time_zone)),
            characteristic: choice(&plan, c),
            choices,
            operation: plan
                .operations
                .get(&c.operation)
                .map_or_else(String::new, |o| o.title.clone()),
            gauge: plan.gauges.get(&c.gauge).map_or_else(|| c.gauge.clone(), |g| g.title.clone()),
            gauge_name: c.gauge.clone(),
            finding: finding(c, part, piece.as_deref(), latest.as_ref(), &positions, &standing),
            standing,
            piece: piece.unwrap_or_default(),
            positions,
            revisions: self.revisions_among(c, stream.as_ref(), &last),
            last: last.iter().map(|r| self.judged(r)).collect(),
            stream: stream.map_or_else(String::new, |s| s.words(c)),
            scale: bench_scale(&plan, c),
            latest,
            advice,
        })
    }

    fn at_bench<'p>(
        &self,
        plan: &'p Plan,
        characteristic: Option<&str>,
    ) -> Result<&'p Characteristic, WorksError> {
        match characteristic {
            Some(id) => plan.characteristics.get(id).ok_or_else(|| {
                let nearest = nearest(id, plan.characteristics.keys().map(String::as_str));
                WorksError::Unknown { kind: "characteristic", name: id.to_owned(), nearest }
            }),
            None => plan
                .fits
                .values()
                .find_map(|f| plan.characteristics.get(f.outer()))
                .or_else(|| plan.characteristics.values().next())
                .ok_or_else(|| {
                    let why = "the works file names no characteristic; add one";
                    WorksError::refused("the gauge bench", why)
                }),
        }
    }

    fn last_of_stream(
        &self,
        c: &Characteristic,
        stream: Option<&Stream>,
    ) -> Result<Vec<KeptReading>, WorksError> {
        let Some(stream) = stream else { return Ok(vec![]) };
        let wanted = Wanted::Newest { name: &c.id, position: &stream.position, count: LAST_SHOWN };
        let mut readings = self.store().readings(&wanted)?;
        self.floor(|f| readings.retain(|r| !f.withdrawn.contains_key(&r.number)));
        Ok(readings)
    }

    fn revisions_among(
        &self,
        c: &Characteristic,
        stream: Option<&Stream>,
        readings: &[KeptReading],
    ) -> Vec<(usize, String)> {
        let (Some(stream), Some(first)) = (stream, readings.first()) else { return vec![] };
        self.floor(|f| {
            f.revisions
                .iter()
                .filter(|r| stream.is_touched_by(c, r) && r.at > first.reading.at)
                .filter_map(|r| {
                    let after = readings.iter().position(|k| k.reading.at >= r.at)?;
                    Some((after, r.what.clone()))
                })
                .collect()
        })
    }
}

pub(crate) fn choice(plan: &Plan, c: &Characteristic) -> Choice {
    let part = plan.parts.get(&c.part).map_or("Engine", |p| p.title.as_str());
    Choice { id: c.id.clone(), title: format!("{part}: {}", c.title.to_lowercase()) }
}

fn choices(plan: &Plan) -> Vec<Choice> {
    let mut every: Vec<&Characteristic> = plan.characteristics.values().collect();
    every.sort_by_key(|c| c.sampling != Sampling::Every);
    every.into_iter().map(|c| choice(plan, c)).collect()
}

pub(crate) fn bench_scale(plan: &Plan, c: &Characteristic) -> BenchScale {
    let scale = Scale::of(c);
    let limits = limits_of(c);
    let u = 2.0 * plan.standard_uncertainty(c) * scale.per_unit;
    let guard = plan.rule_of(c).guard(plan.standard_uncertainty(c)) * scale.per_unit;
    BenchScale {
        unit: scale.unit,
        decimals: scale.decimals,
        signed: scale.signed,
        nominal: c.nominal.as_ref().map(|n| Figure::of_in(n, c.unit, c.decimals)),
        lower: limits.as_ref().and_then(|l| l.lower()).map(|x| scale.figure(x)),
        upper: limits.as_ref().and_then(|l| l.upper()).map(|x| scale.figure(x)),
        guard: Figure::new(if guard.is_finite() { guard } else { 0.0 }, scale.unit, scale.decimals),
        uncertainty: Figure::new(u, scale.unit, scale.decimals),
    }
}

fn positions(
    works: &Works,
    c: &Characteristic,
    readings: &[KeptReading],
    latest: Option<&KeptReading>,
) -> Vec<PositionCell> {
    let one = [String::new()];
    let all = if c.positions.is_empty() { &one[..] } else { &c.positions };
    let mut next_found = false;
    all.iter()
        .map(|position| {
            let kept = newest(readings, &c.id, position);
            let is_next = kept.is_none() && !next_found;
            next_found |= is_next;
            PositionCell {
                position: position.clone(),
                judged: kept.map(|r| works.judged(r)),
                is_now: kept.zip(latest).is_some_and(|(k, l)| k.number == l.number),
                is_next,
            }
        })
        .collect()
}

fn finding(
    c: &Characteristic,
    part: &str,
    piece: Option<&str>,
    latest: Option<&Judged>,
    positions: &[PositionCell],
    standing: &GaugeStanding,
) -> Vec<(Tone, String)> {
    let ink = |s: String| (Tone::Ink, s);
    let red = |s: String| (Tone::Red, s);
    match standing {
        GaugeStanding::Out { since, error } => {
            return vec![red(format!(
                "This gauge was found {error} out on {since}. Set it on its master before it judges again."
            ))];
        }
        GaugeStanding::Overdue { days, .. } => {
            return vec![red(format!(
                "This gauge is {} past its time. Set it on its master.",
                counted(usize::try_from(*days).unwrap_or(0), "day")
            ))];
        }
        GaugeStanding::InOrder { .. } | GaugeStanding::NeverSet => {}
    }
    let (Some(piece), Some(latest)) = (piece, latest) else {
        return vec![ink(format!(
            "No reading yet. Type one, send one, or read a file: {} of a {}.",
            c.title.to_lowercase(),
            part.to_lowercase()
        ))];
    };
    let name = format!("{} {}", c.title, latest.position).trim_end().to_owned();
    match latest.word {
        Word::Accept => {
            let next = positions.iter().find(|p| p.is_next);
            let then = next.map_or_else(
                || format!("{} {piece} is done.", part),
                |p| format!("Next: {} {} of {piece}.", c.title.to_lowercase(), p.position),
            );
            vec![ink(format!("{name} is in. {then}"))]
        }
        Word::CannotTell => vec![
            ink(format!("{name} of {piece} is too close to call.")),
            red("Measure it again, turned a quarter.".to_owned()),
        ],
        Word::Reject => {
            vec![red(format!("{name} of {piece} is out. Tag it and set it aside."))]
        }
        Word::NotJudged => vec![ink(format!("{name} of {piece} is taken. {}", latest.reason))],
    }
}
