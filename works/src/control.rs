//! Control: is a characteristic still on centre, can it hold its limits, when must it be reset?

mod capability;
mod chart;
mod reset;

use std::collections::BTreeMap;

use bedplate_gauge::chart::ControlLimits;
use bedplate_gauge::summary::summary;
use bedplate_record::reading::KeptReading;
use bedplate_record::store::Wanted;
use serde::Serialize;

use crate::bench::{BenchScale, Choice, Tone, bench_scale, choice};
use crate::floor::Revision;
use crate::instant;
use crate::judge::{Judged, Scale};
use crate::plan::{Characteristic, Plan};
use crate::trace::counted;
use crate::who::nearest;
use crate::wire::{Figure, Word};
use crate::works::{Works, WorksError};
use capability::capability_view;
use chart::{control_chart, histogram, segments};
use reset::advise;

/// One stream of a characteristic: what one spindle makes at one position.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Stream {
    /// Position, or empty.
    pub position: String,
    /// Machine, or empty.
    pub machine: String,
    /// Spindle, or empty.
    pub spindle: String,
}

impl Stream {
    /// The stream a reading belongs to.
    #[must_use]
    pub fn of(kept: &KeptReading) -> Self {
        let r = &kept.reading;
        Self {
            position: r.position.to_string(),
            machine: r.context.machine.to_string(),
            spindle: r.context.spindle.to_string(),
        }
    }

    /// In words: `bore 3, spindle 3`.
    #[must_use]
    pub fn words(&self, c: &Characteristic) -> String {
        let mut words =
            format!("{} {}", c.title.to_lowercase(), self.position).trim_end().to_owned();
        if !self.spindle.is_empty() {
            words = format!("{words}, spindle {}", self.spindle);
        }
        words
    }

    /// Whether a change to a process touched this stream.
    #[must_use]
    pub fn is_touched_by(&self, c: &Characteristic, revision: &Revision) -> bool {
        revision.machine == self.machine
            && (revision.spindle.is_empty() || revision.spindle == self.spindle)
            && (revision.characteristic.is_empty() || revision.characteristic == c.id)
    }
}

/// What to turn, which way, how far, and what happens if not.
#[derive(Debug, Clone, Serialize)]
pub struct Advice {
    /// The stream.
    pub stream: Stream,
    /// Whether it should be done before the next stop: within two hours of the day's rate.
    pub is_due: bool,
    /// What to do, in a few words.
    pub title: String,
    /// What leaving it costs.
    pub cost: String,
    /// What is seen.
    pub why: String,
    /// What is proposed, in a sentence.
    pub proposed: String,
    /// Change a piece.
    pub climb: Figure,
    /// Level now.
    pub level: Figure,
    /// Pieces that may still be made before the chance of a bad or doubtful one exceeds 5 %.
    pub pieces_left: Option<u64>,
    /// How far to move the size.
    pub shift: Figure,
    /// Divisions to turn; the sign is that of the adjustment.
    pub divisions: i64,
    /// What is turned, or empty.
    pub what: String,
    /// The move as the record wants it.
    pub moved: String,
    /// Pieces of the next two hours that lie beyond what may still be made.
    pub pieces_at_risk: f64,
}

/// One reading on a chart.
#[derive(Debug, Clone, Serialize)]
pub struct ChartPoint {
    /// Reading's number.
    pub number: u64,
    /// When.
    pub at: String,
    /// Piece.
    pub piece: String,
    /// Value on the scale.
    pub value: f64,
    /// As shown.
    pub text: String,
    /// Judgement.
    pub word: Word,
}

/// A change made to the process.
#[derive(Debug, Clone, Serialize)]
pub struct RevisionMark {
    /// Index of the first point after it.
    pub before: usize,
    /// Its number on the chart.
    pub label: String,
    /// What was done.
    pub what: String,
    /// When and by whom.
    pub when: String,
}

/// The line along which the process ran between two changes.
#[derive(Debug, Clone, Serialize)]
pub struct Segment {
    /// First point.
    pub from: usize,
    /// Last point.
    pub to: usize,
    /// Height at the first.
    pub start: f64,
    /// Height at the last.
    pub end: f64,
    /// Three standard deviations about it: what the process keeps to.
    pub half_width: f64,
    /// Change a piece.
    pub climb: f64,
}

/// Control limits as drawn.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Lines {
    /// Lower.
    pub lower: f64,
    /// Centre.
    pub centre: f64,
    /// Upper.
    pub upper: f64,
}

impl From<ControlLimits> for Lines {
    fn from(c: ControlLimits) -> Self {
        Self { lower: c.lower, centre: c.centre, upper: c.upper }
    }
}

/// A run rule that fired.
#[derive(Debug, Clone, Serialize)]
pub struct SignalLine {
    /// Number of the rule.
    pub rule: u8,
    /// Index of the point that completed it.
    pub at: usize,
    /// In words.
    pub words: String,
}

/// The control chart of individuals and moving ranges.
#[derive(Debug, Clone, Serialize)]
pub struct ControlChart {
    /// Limits of the individuals.
    pub individuals: Lines,
    /// Limits of the moving range.
    pub moving_range: Lines,
    /// Moving ranges: index of the later point, and the range.
    pub ranges: Vec<(usize, f64)>,
    /// Signals.
    pub signals: Vec<SignalLine>,
}

/// A capability figure with its interval.
#[derive(Debug, Clone, Serialize)]
pub struct CapabilityLine {
    /// `Cp`, `Pp`, `Ppk`.
    pub symbol: &'static str,
    /// In words.
    pub title: &'static str,
    /// The figure.
    pub value: Figure,
    /// Ends of its 95 % interval.
    pub interval: (f64, f64),
    /// Against what is wanted: cannot tell when the interval straddles it.
    pub word: Word,
}

/// Capability of a characteristic.
#[derive(Debug, Clone, Serialize)]
pub struct CapabilityView {
    /// Wanted.
    pub wanted: f64,
    /// The figures.
    pub lines: Vec<CapabilityLine>,
    /// Expected parts per million beyond the limits.
    pub beyond_ppm: Figure,
    /// Said when the process is not steady: then no figure is to be relied on.
    pub caution: String,
}

/// How often a value occurs.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct Bar {
    /// From.
    pub from: f64,
    /// To.
    pub to: f64,
    /// How many.
    pub count: usize,
}

/// The characteristic sheet.
#[derive(Debug, Clone, Serialize)]
pub struct CharacteristicSheet {
    /// Instant of the figures.
    pub as_of: String,
    /// The characteristic.
    pub characteristic: Choice,
    /// Operation, titled.
    pub operation: String,
    /// Gauge, titled.
    pub gauge: String,
    /// Streams that can be chosen.
    pub streams: Vec<Stream>,
    /// The stream shown.
    pub stream: Stream,
    /// In words.
    pub stream_words: String,
    /// Scale.
    pub scale: BenchScale,
    /// Points, oldest first.
    pub points: Vec<ChartPoint>,
    /// Changes made among them.
    pub revisions: Vec<RevisionMark>,
    /// Lines between the changes.
    pub segments: Vec<Segment>,
    /// Control chart, if the readings allow one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub chart: Option<ControlChart>,
    /// Why there is none.
    pub no_chart: String,
    /// Mean of the points.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mean: Option<Figure>,
    /// How often.
    pub histogram: Vec<Bar>,
    /// Capability, if it can be had.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub capability: Option<CapabilityView>,
    /// Advice, if any.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub advice: Option<Advice>,
    /// Counts of accept, reject, cannot tell among the points.
    pub counts: [usize; 3],
    /// The finding.
    pub finding: Vec<(Tone, String)>,
}

/// One characteristic in the list of all.
#[derive(Debug, Clone, Serialize)]
pub struct CharacteristicRow {
    /// The characteristic.
    pub characteristic: Choice,
    /// Title of its part, or `Engine`.
    pub part: String,
    /// Its own title.
    pub title: String,
    /// Operation that makes it, titled, or empty.
    pub operation: String,
    /// Gauge, titled.
    pub gauge: String,
    /// Limits on its scale, as printed, or empty.
    pub limits: String,
    /// Newest reading.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last: Option<Judged>,
    /// Readings taken on the day of the figures.
    pub today: usize,
}

/// Every characteristic of the plan.
#[derive(Debug, Clone, Serialize)]
pub struct CharacteristicsSheet {
    /// Instant of the figures.
    pub as_of: String,
    /// The characteristics, grouped by part in the plan's order.
    pub rows: Vec<CharacteristicRow>,
    /// The finding.
    pub finding: Vec<(Tone, String)>,
}

/// How many newest readings tell which streams there are.
const STREAMS_LOOK: usize = 400;
/// How many readings of a stream a trend rests on at the most.
const TREND_POINTS: usize = 60;
/// The fewest readings since the last change from which a trend is believed.
const TREND_FEWEST: usize = 8;
/// A climb is real when chance alone would give one as steep in fewer cases than this.
const CLIMB_CHANCE: f64 = 0.01;
/// The chance of a bad or doubtful piece at which a reset is due.
const RESET_CHANCE: f64 = 0.05;
/// Points shown unless more are asked for, and the most.
const POINTS_SHOWN: usize = 100;
const POINTS_MAX: usize = 5_000;

impl Works {
    /// The streams of a characteristic seen among its newest readings, in order of position.
    ///
    /// # Errors
    /// [`WorksError::Store`].
    pub fn streams(&self, c: &Characteristic) -> Result<Vec<Stream>, WorksError> {
        let wanted = Wanted::Newest { name: &c.id, position: "", count: STREAMS_LOOK };
        let readings = self.store().readings(&wanted)?;
        let mut streams: BTreeMap<String, Stream> = BTreeMap::new();
        for kept in &readings {
            let stream = Stream::of(kept);
            streams.insert(stream.position.clone(), stream);
        }
        Ok(streams.into_values().collect())
    }

    /// Every characteristic with its newest reading and how many were taken today.
    ///
    /// # Errors
    /// [`WorksError::Store`].
    pub fn characteristics(&self) -> Result<CharacteristicsSheet, WorksError> {
        let plan = self.plan();
        let zone = instant::zone(&plan.works.time_zone);
        let at = self.as_of();
        let day = instant::start_of_day(at, &zone);
        let mut rows = vec![];
        for c in plan.characteristics.values() {
            let newest =
                self.store().readings(&Wanted::Newest { name: &c.id, position: "", count: 1 })?;
            let today = Wanted::Characteristic { name: &c.id, from: day, to: at };
            rows.push(CharacteristicRow {
                characteristic: choice(&plan, c),
                part: plan
                    .parts
                    .get(&c.part)
                    .map_or_else(|| "Engine".to_owned(), |p| p.title.clone()),
                title: c.title.clone(),
                operation: plan
                    .operations
                    .get(&c.operation)
                    .map_or_else(String::new, |o| o.title.clone()),
                gauge: plan
                    .gauges
                    .get(&c.gauge)
                    .map_or_else(|| c.gauge.clone(), |g| g.title.clone()),
                limits: limits_words(&plan, c),
                last: newest.last().map(|r| self.judged(r)),
                today: self.store().readings(&today)?.len(),
            });
        }
        let order: Vec<String> = plan.parts.values().map(|p| p.title.clone()).collect();
        rows.sort_by_key(|r| order.iter().position(|p| *p == r.part).unwrap_or(order.len()));
        let finding = all_finding(&rows);
        Ok(CharacteristicsSheet { as_of: instant::iso(at, &zone), rows, finding })
    }

    fn readings_of_stream(
        &self,
        c: &Characteristic,
        stream: &Stream,
        count: usize,
    ) -> Result<Vec<KeptReading>, WorksError> {
        let wanted = Wanted::Newest { name: &c.id, position: &stream.position, count };
        let mut readings = self.store().readings(&wanted)?;
        self.floor(|f| readings.retain(|r| !f.withdrawn.contains_key(&r.number)));
        readings.sort_by_key(|r| (r.reading.at, r.number));
        Ok(readings)
    }

    /// When a stream must be reset and how far, if its readings say so.
    ///
    /// # Errors
    /// [`WorksError::Store`].
    pub fn advice(
        &self,
        c: &Characteristic,
        stream: &Stream,
    ) -> Result<Option<Advice>, WorksError> {
        if c.adjustment.is_none() {
            return Ok(None);
        }
        let readings = self.readings_of_stream(c, stream, TREND_POINTS)?;
        let since = self.floor(|f| {
            f.revisions.iter().rev().find(|r| stream.is_touched_by(c, r)).map_or(i64::MIN, |r| r.at)
        });
        let values: Vec<f64> = readings
            .iter()
            .filter(|r| r.reading.at >= since)
            .filter_map(|r| r.reading.value.in_unit(c.unit))
            .collect();
        Ok(advise(&self.plan(), c, stream, &values))
    }

    /// The characteristic sheet: `position` chooses the stream; without one, the stream with the
    /// most pressing advice.
    ///
    /// # Errors
    /// [`WorksError::Unknown`]; [`WorksError::Store`].
    pub fn characteristic(
        &self,
        id: &str,
        position: Option<&str>,
        count: Option<usize>,
    ) -> Result<CharacteristicSheet, WorksError> {
        let plan = self.plan();
        let Some(c) = plan.characteristics.get(id) else {
            let nearest = nearest(id, plan.characteristics.keys().map(String::as_str));
            return Err(WorksError::Unknown {
                kind: "characteristic",
                name: id.to_owned(),
                nearest,
            });
        };
        let streams = self.streams(c)?;
        let stream = self.stream_shown(c, &streams, position)?;
        let count = count.unwrap_or(POINTS_SHOWN).clamp(2, POINTS_MAX);
        let readings = self.readings_of_stream(c, &stream, count)?;
        let scale = Scale::of(c);
        let points: Vec<ChartPoint> =
            readings.iter().filter_map(|r| self.point(c, &scale, r)).collect();
        let values: Vec<f64> = points.iter().map(|p| p.value).collect();
        let (revisions, starts) = self.revision_marks(c, &stream, &readings);
        let segments = segments(&values, &starts);
        let (chart, no_chart) = match control_chart(&values, &starts) {
            Ok(chart) => (Some(chart), String::new()),
            Err(why) => (None, why),
        };
        let advice = self.advice(c, &stream)?;
        let capability = capability_view(c, &scale, &values, &segments, chart.as_ref());
        let tally = |w: Word| points.iter().filter(|p| p.word == w).count();
        Ok(CharacteristicSheet {
            as_of: instant::iso(self.as_of(), &instant::zone(&plan.works.time_zone)),
            characteristic: choice(&plan, c),
            operation: plan
                .operations
                .get(&c.operation)
                .map_or_else(String::new, |o| o.title.clone()),
            gauge: plan.gauges.get(&c.gauge).map_or_else(|| c.gauge.clone(), |g| g.title.clone()),
            finding: finding(
                c,
                &stream,
                &points,
                &segments,
                chart.as_ref(),
                advice.as_ref(),
                &scale,
            ),
            stream_words: stream.words(c),
            scale: bench_scale(&plan, c),
            mean: summary(&values).ok().map(|s| scale_figure(&scale, s.mean)),
            histogram: histogram(&values),
            counts: [tally(Word::Accept), tally(Word::Reject), tally(Word::CannotTell)],
            streams,
            stream,
            points,
            revisions,
            segments,
            chart,
            no_chart,
            capability,
            advice,
        })
    }

    fn stream_shown(
        &self,
        c: &Characteristic,
        streams: &[Stream],
        position: Option<&str>,
    ) -> Result<Stream, WorksError> {
        let nothing = || Stream {
            position: position
                .map_or_else(|| c.positions.first().cloned().unwrap_or_default(), str::to_owned),
            machine: String::new(),
            spindle: String::new(),
        };
        if let Some(position) = position {
            if !position.is_empty() && !c.positions.iter().any(|p| p == position) {
                let nearest = nearest(position, c.positions.iter().map(String::as_str));
                return Err(WorksError::Unknown {
                    kind: "position",
                    name: position.to_owned(),
                    nearest,
                });
            }
            return Ok(streams
                .iter()
                .find(|s| s.position == position)
                .cloned()
                .unwrap_or_else(nothing));
        }
        let mut pressing: Option<(f64, &Stream)> = None;
        for stream in streams {
            let at_risk = self.advice(c, stream)?.map_or(-1.0, |a| a.pieces_at_risk);
            if pressing.is_none_or(|(most, _)| at_risk > most) {
                pressing = Some((at_risk, stream));
            }
        }
        Ok(pressing.map_or_else(nothing, |(_, s)| s.clone()))
    }

    fn point(&self, c: &Characteristic, scale: &Scale, kept: &KeptReading) -> Option<ChartPoint> {
        let value = kept.reading.value.in_unit(c.unit)?;
        let judged = self.judged(kept);
        Some(ChartPoint {
            number: kept.number,
            at: judged.at,
            piece: judged.piece,
            value: scale.place(value),
            text: scale.figure(value).text,
            word: judged.word,
        })
    }

    fn revision_marks(
        &self,
        c: &Characteristic,
        stream: &Stream,
        readings: &[KeptReading],
    ) -> (Vec<RevisionMark>, Vec<usize>) {
        let zone = instant::zone(&self.plan().works.time_zone);
        let Some(first) = readings.first().map(|r| r.reading.at) else { return (vec![], vec![]) };
        self.floor(|f| {
            let touching = f.revisions.iter().filter(|r| stream.is_touched_by(c, r));
            let mut marks: Vec<RevisionMark> = vec![];
            let mut starts = vec![];
            for (n, r) in touching.enumerate().filter(|(_, r)| r.at > first) {
                let before =
                    readings.iter().position(|k| k.reading.at >= r.at).unwrap_or(readings.len());
                if starts.last() != Some(&before) && before < readings.len() && before > 0 {
                    starts.push(before);
                }
                marks.push(RevisionMark {
                    before,
                    label: (n + 1).to_string(),
                    what: r.what.clone(),
                    when: format!("{}, {}", instant::short(r.at, &zone), r.by),
                });
            }
            (marks, starts)
        })
    }
}

fn limits_words(plan: &Plan, c: &Characteristic) -> String {
    let scale = bench_scale(plan, c);
    let words = match (&scale.lower, &scale.upper) {
        (Some(lower), Some(upper)) => format!("{} to {}", lower.text, upper.text),
        (None, Some(upper)) => format!("at most {}", upper.text),
        (Some(lower), None) => format!("at least {}", lower.text),
        (None, None) => return String::new(),
    };
    format!("{words} {}", scale.unit).trim_end().to_owned()
}

fn all_finding(rows: &[CharacteristicRow]) -> Vec<(Tone, String)> {
    let today: usize = rows.iter().map(|r| r.today).sum();
    let bad = |r: &&CharacteristicRow| r.last.as_ref().is_some_and(|l| l.word == Word::Reject);
    let rejected: Vec<String> =
        rows.iter().filter(bad).map(|r| r.characteristic.title.to_lowercase()).collect();
    let mut says = vec![(
        Tone::Ink,
        format!("{}, {} today.", counted(rows.len(), "characteristic"), counted(today, "reading")),
    )];
    match rejected.as_slice() {
        [] => {}
        [one] => says.push((Tone::Red, format!("The last reading of {one} was rejected."))),
        many => says.push((
            Tone::Red,
            format!("The last reading of {} characteristics was rejected.", many.len()),
        )),
    }
    says
}

fn scale_figure(scale: &Scale, placed: f64) -> Figure {
    if scale.signed {
        Figure::signed(placed, scale.unit, scale.decimals)
    } else {
        Figure::new(placed, scale.unit, scale.decimals)
    }
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |x| x.to_uppercase().collect::<String>() + chars.as_str())
}

fn as_f64(n: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "counts of readings are below 2^53")]
    let x = n as f64;
    x
}

fn finding(
    c: &Characteristic,
    stream: &Stream,
    points: &[ChartPoint],
    segments: &[Segment],
    chart: Option<&ControlChart>,
    advice: Option<&Advice>,
    scale: &Scale,
) -> Vec<(Tone, String)> {
    let name = capital(&stream.words(c));
    if points.is_empty() {
        return vec![(Tone::Ink, format!("{name} has no reading yet."))];
    }
    if let Some(advice) = advice {
        let climb = advice.climb.value;
        let seen = if climb.abs() > 0.0 && segments.last().is_some_and(|s| s.climb != 0.0) {
            let way = if climb > 0.0 { "climbs" } else { "falls" };
            let by = Figure::new(climb.abs(), advice.climb.unit, scale.decimals + 1);
            format!("{name} {way} {} a piece.", by.with_unit())
        } else {
            format!("{name} runs at {}.", advice.level.with_unit())
        };
        let tone = if advice.is_due { Tone::Red } else { Tone::Blue };
        return vec![(Tone::Ink, seen), (tone, advice.proposed.clone())];
    }
    let signals = chart.map_or(0, |c| c.signals.len());
    let rejected = points.iter().filter(|p| p.word == Word::Reject).count();
    match (signals, rejected) {
        (0, 0) => {
            vec![(Tone::Ink, format!("{name} is steady over {}.", counted(points.len(), "piece")))]
        }
        (0, _) => vec![
            (Tone::Ink, format!("{name} is steady,")),
            (Tone::Red, format!("yet {} of {} were rejected.", rejected, points.len())),
        ],
        _ => {
            let last =
                chart.and_then(|c| c.signals.last()).map_or_else(String::new, |s| s.words.clone());
            vec![
                (Tone::Ink, format!("{name} is not steady: {}.", counted(signals, "signal"))),
                (Tone::Red, format!("{}.", capital(last.trim_end_matches('.')))),
            ]
        }
    }
}
