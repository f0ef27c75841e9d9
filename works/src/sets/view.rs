//! A set as it is shown: every fit at every place, every spread, judged by the works' rule.

use std::collections::BTreeMap;

use bedplate_engine::set::clearance::{GaugedClearance, probability_all_inside};
use bedplate_gauge::judge::judge as judge_value;
use bedplate_gauge::limits::Limits;
use bedplate_gauge::unit::Dimension;
use bedplate_record::entry::PlaceFilled;

use super::rule::{FitRule, Rule, SpreadRule, sum_at};
use super::store::Candidate;
use super::{FitLine, PieceLine, SetPlace, SetView, SpreadLine};
use crate::wire::{Figure, Word};

/// The pieces of one set with what was gauged on them.
pub(super) struct Tray<'c> {
    /// Part → pieces in the order of their places.
    pieces: BTreeMap<String, Vec<(String, &'c Candidate)>>,
}

impl<'c> Tray<'c> {
    pub(super) fn of(
        rule: &Rule<'_>,
        places: &[PlaceFilled],
        candidate: impl Fn(&str, &str) -> Option<&'c Candidate>,
    ) -> Self {
        let mut pieces: BTreeMap<String, Vec<(String, &'c Candidate)>> = BTreeMap::new();
        for role in &rule.roles {
            let mut own = vec![];
            for place in 0..role.per_engine {
                let name = rule.place_name(role.part, place);
                let filled = places.iter().find(|p| p.part == role.part && p.position == name);
                let Some(filled) = filled else { continue };
                let Some(c) = candidate(role.part, &filled.piece) else { continue };
                own.push((filled.piece.clone(), c));
            }
            // A place that is empty shifts nothing: a part is either all there or not there.
            if own.len() == role.per_engine {
                pieces.insert(role.part.to_owned(), own);
            }
        }
        Self { pieces }
    }

    fn piece(&self, part: &str, place: usize) -> Option<&'c Candidate> {
        self.pieces.get(part)?.get(place).map(|(_, c)| *c)
    }

    fn number(&self, part: &str, place: usize) -> Option<&str> {
        self.pieces.get(part)?.get(place).map(|(n, _)| n.as_str())
    }
}

/// One value of a fit, before it is put into words.
struct Valued {
    um: f64,
    readings: Vec<u64>,
    verdict: Option<bedplate_gauge::judge::Verdict>,
}

fn valued(rule: &Rule<'_>, fit: &FitRule<'_>, tray: &Tray<'_>, place: usize) -> Option<Valued> {
    let (si, readings) = sum_at(&fit.terms, fit.places, place, |part, at| tray.piece(part, at))?;
    let um = ((si - fit.fit.less) * 1e9).round() / 1e3;
    if !um.is_finite() {
        return None;
    }
    // The window was taken as it stands when the set was chosen: the rule of a fit is exact, what
    // the gauges leave open is shown beside it.
    let (lower, upper) = (fit.fit.lower.to("µm"), fit.fit.upper.to("µm"));
    let limits = Limits::new(Some(lower), Some(upper)).ok();
    let u = rule.uncertainty(fit.places, &fit.terms) * 1e6;
    let verdict = limits.map(|l| judge_value(um, &l, u, rule.plan.works.decision));
    Some(Valued { um, readings, verdict })
}

fn word_of(v: &Valued) -> Word {
    v.verdict.as_ref().map_or(Word::NotJudged, |v| v.judgement.into())
}

/// The set of these pieces.
pub(super) fn view(rule: &Rule<'_>, set: &str, places: &[PlaceFilled], tray: &Tray<'_>) -> SetView {
    let block = places.first().map_or("", |p| p.piece.as_str());
    let main: Vec<SetPlace> =
        (0..rule.fits[0].places).filter_map(|k| main_place(rule, tray, k)).collect();
    let fits: Vec<FitLine> = rule
        .fits
        .iter()
        .skip(1)
        .flat_map(|fit| (0..fit.places).filter_map(|k| fit_line(rule, fit, tray, k)))
        .collect();
    let spreads: Vec<SpreadLine> =
        rule.spreads.iter().filter_map(|s| spread_line(s, tray)).collect();
    let first = spreads.first();
    let (host, filler) = (rule.host().part, rule.filler());
    let others = places.iter().filter(|p| p.part != host && p.part != filler);
    let probability = probability_of_all(rule, &main, &fits);
    SetView {
        set: set.to_owned(),
        block: block.to_owned(),
        mass_spread: first.map_or_else(|| Figure::new(0.0, "g", 1), |s| s.spread.clone()),
        mass_spread_allowed: first.map_or_else(|| Figure::new(0.0, "g", 1), |s| s.allowed.clone()),
        mass_word: first.map_or(Word::NotJudged, |s| s.word),
        probability,
        places: main,
        fits,
        spreads,
        pieces: others
            .map(|p| PieceLine {
                part: p.part.clone(),
                title: rule
                    .plan
                    .parts
                    .get(&p.part)
                    .map_or_else(|| p.part.clone(), |x| x.title.clone()),
                position: p.position.clone(),
                piece: p.piece.clone(),
                is_graded: rule.role(&p.part).is_some_and(|r| r.is_graded),
            })
            .collect(),
        loss: 0.0,
        made: String::new(),
        by: String::new(),
        state: "proposed".to_owned(),
        engine: String::new(),
        reason: String::new(),
    }
}

/// A value of a term's characteristic as it was gauged, in its own unit and digits.
fn gauged(rule: &Rule<'_>, tray: &Tray<'_>, term: usize, place: usize) -> Option<Figure> {
    let fit = &rule.fits[0];
    let t = fit.terms.get(term)?;
    let positions = t.size.c.positions.len().max(1);
    let at = super::rule::values_at(t.values, fit.places, place).next()?;
    let own = tray.piece(&t.size.c.part, at / positions)?;
    let (number, si) = *own.values.get(&t.size.c.id)?.get(at % positions)?;
    let mm = Figure::new(si * 1e3, "mm", t.size.c.decimals);
    Some(if number > 0 { mm.from_readings([number]) } else { mm })
}

fn main_place(rule: &Rule<'_>, tray: &Tray<'_>, place: usize) -> Option<SetPlace> {
    let fit = &rule.fits[0];
    let filler = rule.filler();
    let per_place = (rule.per_engine(filler) / fit.places.max(1)).max(1);
    let piston = tray.number(filler, place * per_place)?.to_owned();
    let valued = valued(rule, fit, tray, place)?;
    let (bore, size) = (gauged(rule, tray, 0, place)?, gauged(rule, tray, 1, place)?);
    let clearance = Figure::new(valued.um, "µm", 1).from_readings(valued.readings.clone());
    let is_plain = rule.main().is_some_and(|m| m.fit.at.is_none());
    let clearance = if is_plain {
        let inputs = [("bore", bore.with_unit()), ("piston", size.with_unit())];
        clearance.by("piston-clearance", inputs)
    } else {
        clearance
    };
    let mass = rule.spreads.first().and_then(|s| {
        let term = s.terms.iter().find(|t| t.size.c.part == filler)?;
        let (number, si) = *tray.piece(filler, place)?.values.get(&term.size.c.id)?.first()?;
        let unit =
            if term.size.c.unit.dimension == Dimension::Mass { ("g", 1e3) } else { ("µm", 1e6) };
        Some(Figure::new(si * unit.1, unit.0, term.size.c.decimals).from_readings([number]))
    });
    Some(SetPlace {
        position: rule.fit_place(fit, place),
        piston,
        bore,
        size,
        clearance,
        word: word_of(&valued),
        probability: valued.verdict.map_or(0.0, |v| v.probability_of_conformity),
        mass: mass.unwrap_or_else(|| Figure::new(0.0, "g", 1)),
    })
}

fn fit_line(rule: &Rule<'_>, fit: &FitRule<'_>, tray: &Tray<'_>, place: usize) -> Option<FitLine> {
    let valued = valued(rule, fit, tray, place)?;
    let um = |q: &bedplate_gauge::quantity::Quantity| Figure::new(q.to("µm"), "µm", 1);
    Some(FitLine {
        fit: fit.fit.name.clone(),
        title: fit.fit.title.clone(),
        position: rule.fit_place(fit, place),
        clearance: Figure::new(valued.um, "µm", 1).from_readings(valued.readings.clone()),
        limits: [um(&fit.fit.lower), um(&fit.fit.target), um(&fit.fit.upper)],
        guard: Figure::new(2.0 * rule.uncertainty(fit.places, &fit.terms) * 1e6, "µm", 1),
        word: word_of(&valued),
        probability: valued.verdict.map_or(0.0, |v| v.probability_of_conformity),
    })
}

fn spread_line(spread: &SpreadRule<'_>, tray: &Tray<'_>) -> Option<SpreadLine> {
    let values = (0..spread.places)
        .map(|k| sum_at(&spread.terms, spread.places, k, |part, at| tray.piece(part, at)))
        .collect::<Option<Vec<_>>>()?;
    let all = || values.iter().map(|(si, _)| *si);
    let si = all().fold(f64::MIN, f64::max) - all().fold(f64::MAX, f64::min);
    let si = if values.is_empty() { 0.0 } else { si };
    if !si.is_finite() {
        return None;
    }
    let c = spread.terms[0].size.c;
    let (unit, per_si, decimals) = match c.unit.dimension {
        Dimension::Mass => ("g", 1e3, c.decimals),
        _ => ("µm", 1e6, 1),
    };
    // To a milligram or a nanometre, so that what binary figures leave does not break a rule.
    let tell = |si: f64| (si * per_si * 1e3).round() / 1e3;
    let figure = Figure::new(tell(si), unit, decimals)
        .from_readings(values.iter().flat_map(|(_, readings)| readings.iter().copied()));
    let figure = if spread.terms.len() == 1 && unit == "g" {
        let listed: Vec<String> =
            all().map(|si| Figure::new(si * per_si, unit, decimals).with_unit()).collect();
        figure.by("mass-spread", [("masses", listed.join("; "))])
    } else {
        figure
    };
    let word = if tell(si) <= tell(spread.allowed) { Word::Accept } else { Word::Reject };
    Some(SpreadLine {
        title: spread.title.clone(),
        spread: figure,
        allowed: Figure::new(tell(spread.allowed), unit, 1),
        word,
    })
}

/// Probability that every fit lies in its window, the fits taken as independent.
fn probability_of_all(rule: &Rule<'_>, main: &[SetPlace], fits: &[FitLine]) -> f64 {
    let fit = &rule.fits[0];
    let (lower, upper) = (fit.fit.lower.to("µm"), fit.fit.upper.to("µm"));
    let Ok(limits) = Limits::new(Some(lower), Some(upper)) else { return 0.0 };
    let u = rule.uncertainty(fit.places, &fit.terms) * 1e6;
    let gauged: Vec<GaugedClearance> = main
        .iter()
        .map(|p| GaugedClearance { clearance_um: p.clearance.value, uncertainty_um: u })
        .collect();
    let main = probability_all_inside(&gauged, &limits).unwrap_or(0.0);
    fits.iter().fold(main, |all, f| all * f.probability)
}
