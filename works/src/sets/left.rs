//! What is left over and why, in words a machine setter can use.

use std::collections::BTreeMap;

use bedplate_engine::kit::plan::Measure;
use bedplate_engine::kit::shortage::{Range, Shortage as KitShortage, Wanted};
use bedplate_engine::kit::{LeftHost, Reason as KitReason};
use bedplate_engine::set::shortage::Shortage;
use bedplate_engine::set::{LeftBlock, Reason};

use super::rule::Rule;
use super::solve::Found;
use super::store::Store;
use super::{Advice, Band, LeftBlockLine};
use crate::plan::Origin;
use crate::trace::counted;
use crate::wire::Figure;

/// Every block left because nothing of the part `lacking` is there.
pub(super) fn nothing_to_choose(rule: &Rule<'_>, store: &Store, lacking: &str) -> Found {
    let reason = format!("no {} in the store is accepted", words_of(rule, lacking));
    let all = |part: &str| store.pile(part).into_iter().flat_map(|p| p.pieces.keys().cloned());
    let line = |block: String| LeftBlockLine { block, reason: reason.clone() };
    Found {
        left: all(rule.host().part).map(line).collect(),
        left_fillers: all(rule.filler()).collect(),
        ..Found::default()
    }
}

/// A part's title within a sentence: `main shell`.
pub(super) fn words_of(rule: &Rule<'_>, part: &str) -> String {
    let title = rule.plan.parts.get(part).map_or(part, |p| p.title.as_str());
    let mut letters = title.chars();
    let first = letters.next().map(|c| c.to_lowercase().to_string()).unwrap_or_default();
    first + letters.as_str()
}

fn place_words(rule: &Rule<'_>, part: &str, place: usize) -> String {
    let name = rule.place_name(part, place.saturating_sub(1));
    let part = words_of(rule, part);
    if name.is_empty() { part } else { format!("{part} {name}") }
}

pub(super) fn block_line(rule: &Rule<'_>, left: &LeftBlock) -> LeftBlockLine {
    let filler = words_of(rule, rule.filler());
    let reason = match left.reason {
        Reason::NoPistonFits { cylinder } => {
            let place = rule.fit_place(&rule.fits[0], cylinder - 1);
            let hole = rule.fits[0].terms[0].size.c.title.to_lowercase();
            format!("no {filler} in the store fits {hole} {place}").trim_end().to_owned()
        }
        Reason::NoSetKeepsMass => "no set that fits keeps the spread of mass".to_owned(),
        Reason::PistonsServeOthers => format!("the {filler}s that fit serve other engines"),
    };
    LeftBlockLine { block: left.block.clone(), reason }
}

pub(super) fn host_line(rule: &Rule<'_>, left: &LeftHost) -> LeftBlockLine {
    let reason = match &left.reason {
        KitReason::Held => "it is held".to_owned(),
        KitReason::FittedBreaks { rule: name, place } => {
            let at = if *place == 0 { String::new() } else { format!(" at place {place}") };
            format!("what is fitted already breaks {name}{at}")
        }
        KitReason::NothingFits { role, place } => {
            format!("nothing in the store fits as {}", place_words(rule, role, *place))
        }
        KitReason::NoKitFound { role, place } => {
            format!("no whole set was found; {} stays empty", place_words(rule, role, *place))
        }
        KitReason::PiecesServeOthers { role, place, missing } => {
            let place = place_words(rule, role, *place);
            let missing = counted(*missing, "piece");
            format!("what fits as {place} serves other engines; {missing} missing")
        }
    };
    LeftBlockLine { block: left.host.clone(), reason }
}

/// Who is told that pieces of a part are missing.
fn told_to(rule: &Rule<'_>, part: &str) -> &'static str {
    let made = rule.plan.parts.get(part).is_some_and(|p| p.origin == Origin::Made);
    match rule.role(part) {
        Some(role) if role.is_graded || !made => "the stores",
        _ if part == rule.filler() => "turning",
        _ => "the machine shop",
    }
}

pub(super) fn piston_advice(rule: &Rule<'_>, s: &Shortage) -> Advice {
    let filler = words_of(rule, rule.filler());
    let plural = if s.pistons == 1 { "" } else { "s" };
    Advice {
        part: rule.filler().to_owned(),
        tell: told_to(rule, rule.filler()),
        grade: String::new(),
        pieces: s.pistons,
        from: Figure::new(s.from.mm(), "mm", 4),
        to: Figure::new(s.to.mm(), "mm", 4),
        engines: s.engines,
        words: format!(
            "{} more {filler}{plural} of {:.3}–{:.3} mm would complete {}",
            s.pistons,
            s.from.mm(),
            s.to.mm(),
            counted(s.engines, "more engine")
        ),
    }
}

pub(super) fn kit_advice(rule: &Rule<'_>, s: &KitShortage) -> Advice {
    let first = s.wanted.first();
    let length = |r: &&Range| r.measure == Measure::Length;
    let range = first.and_then(|w| w.ranges.iter().find(length));
    #[expect(clippy::cast_precision_loss, reason = "nanometres within 10 m: below 2^53")]
    let mm = |nm: Option<i64>| Figure::new(nm.unwrap_or(0) as f64 / 1e6, "mm", 4);
    let wanted: Vec<String> = s.wanted.iter().map(|w| wanted_words(rule, w)).collect();
    Advice {
        part: first.map_or_else(String::new, |w| w.role.clone()),
        tell: first.map_or("", |w| told_to(rule, &w.role)),
        grade: first.and_then(|w| w.grade.clone()).unwrap_or_default(),
        pieces: s.wanted.iter().map(|w| w.n).sum(),
        from: mm(range.map(|r| r.from)),
        to: mm(range.map(|r| r.to)),
        engines: s.hosts.len(),
        words: format!(
            "{} would complete {}",
            wanted.join(" and "),
            counted(s.hosts.len(), "more engine")
        ),
    }
}

/// `6 more main shells of grade M2 (1.995 mm)`, `12 more pins of 18.001–18.003 mm`.
fn wanted_words(rule: &Rule<'_>, wanted: &Wanted) -> String {
    let plural = if wanted.n == 1 { "" } else { "s" };
    let part = words_of(rule, &wanted.role);
    let mut told = vec![];
    for range in &wanted.ranges {
        // A feature is told once where all its positions may lie alike.
        let said = range_words(range);
        let several = wanted.ranges.iter().filter(|r| r.measure == range.measure).count() > 1;
        let title = rule.plan.characteristics.get(&range.feature);
        let said = match title.filter(|_| several) {
            Some(c) => format!("{} {said}", c.title.to_lowercase()),
            None => said,
        };
        if !told.contains(&said) {
            told.push(said);
        }
    }
    let sizes = told.join(", ");
    match &wanted.grade {
        Some(grade) => format!("{} more {part}{plural} of grade {grade} ({sizes})", wanted.n),
        None => format!("{} more {part}{plural} of {sizes}", wanted.n),
    }
}

#[expect(clippy::cast_precision_loss, reason = "steps within 10 m or 10 t: below 2^53")]
fn range_words(range: &Range) -> String {
    let (per, unit, decimals) = match range.measure {
        Measure::Length => (1e6, "mm", 4),
        Measure::Mass => (1e3, "g", 1),
    };
    let tell = |steps: i64| crate::wire::shown(steps as f64 / per, decimals);
    let (from, to) = (tell(range.from), tell(range.to));
    if from == to { format!("{from} {unit}") } else { format!("{from}–{to} {unit}") }
}

/// How wide a band of size is, in µm: about the width of a size grade.
const BAND_UM: f64 = 4.0;

/// What is left over by the filler's size wanted: a hole counts where a piece at target would lie.
pub(super) fn bands(rule: &Rule<'_>, store: &Store, found: &Found) -> Vec<Band> {
    let Some(main) = rule.main() else { return vec![] };
    let target_um = main.fit.target.si() * 1e6;
    let mut counts: BTreeMap<i64, (usize, usize)> = BTreeMap::new();
    let key = |um: f64| super::rule::whole((um / BAND_UM).floor());
    for left in &found.left {
        let Some(block) = store.candidate(rule.host().part, &left.block) else { continue };
        for (_, si) in block.values.get(&main.outer.c.id).into_iter().flatten() {
            counts.entry(key(si * main.outer.swell * 1e6 - target_um)).or_default().0 += 1;
        }
    }
    for piece in &found.left_fillers {
        let size =
            store.candidate(rule.filler(), piece).and_then(|c| c.values.get(&main.inner.c.id));
        let Some((_, si)) = size.and_then(|v| v.first()) else { continue };
        counts.entry(key(si * main.inner.swell * 1e6)).or_default().1 += 1;
    }
    let band = |(k, (bores, pistons)): (i64, (usize, usize))| {
        #[expect(clippy::cast_precision_loss, reason = "bands are small integers")]
        let from = k as f64 * BAND_UM / 1e3;
        Band {
            from: Figure::new(from, "mm", 3),
            to: Figure::new(from + BAND_UM / 1e3, "mm", 3),
            bores,
            pistons,
        }
    };
    counts.into_iter().map(band).collect()
}
