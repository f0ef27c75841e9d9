//! What is missing: for every host that is left, which place blocks, and which pieces more would
//! complete it, in numbers a setter or a buyer can use.
//!
//! Each host left is completed on trial from what lies free and, where that gives nothing, from
//! pieces beyond the stock; those are what is missing. How far their sizes may range is found by
//! widening them as long as every row and spread of the completed engine is kept over the whole
//! range, so that any piece within it will do.

use std::fmt;

use super::bench::{Bench, Idx, fine_share, measured, whole};
use super::fill::{Manner, fill};
use super::plan::{FINE, Measure, REACH, Supply};
use super::stock::{Measured, Piece, Wish};
use super::tray::{NONE, Trays};
use super::{KitError, LeftHost, Reason};
use crate::draw::Draw;

/// What the values of one feature of a missing piece may be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Range {
    /// Name of the feature.
    pub feature: String,
    /// Position on the piece, counted from 1.
    pub position: usize,
    /// Length or mass.
    pub measure: Measure,
    /// Least value, whole steps.
    pub from: i64,
    /// Greatest value, whole steps.
    pub to: i64,
}

/// Pieces that are missing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wanted {
    /// Name of the role.
    pub role: String,
    /// How many.
    pub n: usize,
    /// The grade, where it is one of the store.
    pub grade: Option<String>,
    /// What their values must be: any within these ranges, all at once, will do.
    pub ranges: Vec<Range>,
}

/// Pieces that would complete hosts that are left, beside what lies free.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shortage {
    /// The pieces.
    pub wanted: Vec<Wanted>,
    /// The hosts that all of them together would complete, by id.
    pub hosts: Vec<String>,
}

impl fmt::Display for Wanted {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let plural = if self.n == 1 { "" } else { "s" };
        write!(f, "{} more {}{plural}", self.n, self.role)?;
        if let Some(grade) = &self.grade {
            write!(f, " of grade {grade}")?;
        }
        for (i, range) in self.ranges.iter().enumerate() {
            let Range { feature, position, measure, from, to } = range;
            write!(f, "{} {feature}", if i == 0 { " with" } else { "," })?;
            if self.ranges.iter().any(|r| r.feature == *feature && r.position != *position) {
                write!(f, " {position}")?;
            }
            write!(f, " {}", measure.tell(*from))?;
            if from != to {
                write!(f, " to {}", measure.tell(*to))?;
            }
        }
        Ok(())
    }
}

impl fmt::Display for Shortage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let wanted: Vec<String> = self.wanted.iter().map(Wanted::to_string).collect();
        let n = self.hosts.len();
        let engines = if n == 1 { "engine" } else { "engines" };
        write!(f, "{} would complete {n} {engines}", wanted.join(" and "))
    }
}

/// What the ids of pieces that are made up begin with.
const MARK: char = '\u{1}';
/// Most hosts that are completed on trial.
const HOSTS_MAX: usize = 60;
/// Trials for one host.
const TRIALS: usize = 3;
/// Most pieces that are made up.
const INVENTED_MAX: usize = 200;

/// Slots of a host that hold pieces beyond the stock, and those pieces.
type Lacking = Vec<(usize, Idx)>;

/// Why each host is left, by id, and what is missing.
pub(super) fn shortages(
    bench: &Bench<'_>,
    trays: &Trays<'_, '_>,
    pieces: &[Piece],
    wishes: &[Wish],
    seed: u64,
) -> Result<(Vec<LeftHost>, Vec<Shortage>), KitError> {
    let idle: Vec<usize> = (0..bench.n_hosts).filter(|&h| !trays.built[h]).collect();
    let mut more = pieces.to_vec();
    let mut invented: Vec<(String, String)> = Vec::new();
    for &host in idle.iter().take(HOSTS_MAX) {
        invent(bench, trays, host, &mut more, &mut invented);
    }
    let wide = Bench::lay(bench.plan, &more, wishes)?;
    let mut trial = carry_over(bench, trays, &wide, &invented);
    let new: Vec<bool> = wide.pieces.iter().map(|p| is_invented(p, &invented)).collect();
    let mut draw = Draw::new(seed, 77);
    let (mut left, mut found) = (Vec::new(), Vec::new());
    let mut ranked = idle;
    ranked.sort_by_key(|&h| (bench.rank[h], h));
    for (i, host) in ranked.into_iter().enumerate() {
        let known = known_reason(bench, trays, host);
        let blocked = trial.broken(host).is_some() || bench.held[bench.host_piece(host)];
        let tried = (!blocked && i < HOSTS_MAX).then(|| complete(&mut trial, host, &mut draw));
        let reason = match (known, tried) {
            (Some(reason), None | Some(Err(_))) => reason,
            (known, Some(Ok(lacking))) => {
                let first = lacking.first().copied();
                let missing = lacking.len();
                gather(&mut found, wants(&trial, host, &lacking, &new), bench.host_id(host));
                known.unwrap_or_else(|| serve_others(bench, first, missing))
            }
            (None, Some(Err(slot))) => {
                let (role, place) = place_of(bench, slot);
                Reason::NoKitFound { role, place }
            }
            (None, None) => serve_others(bench, None, 0),
        };
        left.push(LeftHost { host: bench.host_id(host).to_owned(), reason });
    }
    left.sort_by(|a, b| a.host.cmp(&b.host));
    found.iter_mut().for_each(|s| s.hosts.sort());
    found.sort_by_key(|s: &Shortage| std::cmp::Reverse(s.hosts.len()));
    Ok((left, found))
}

fn serve_others(bench: &Bench<'_>, first: Option<(usize, Idx)>, missing: usize) -> Reason {
    let slot = first.map_or(bench.host_slot(), |f| f.0);
    let (role, place) = place_of(bench, slot);
    Reason::PiecesServeOthers { role, place, missing }
}

fn place_of(bench: &Bench<'_>, slot: usize) -> (String, usize) {
    let role = bench.slot_role[slot];
    (bench.plan.roles()[role].name.clone(), slot - bench.tables[role].slots.start + 1)
}

/// What can be told without a trial.
fn known_reason(bench: &Bench<'_>, trays: &Trays<'_, '_>, host: usize) -> Option<Reason> {
    if bench.held[bench.host_piece(host)] {
        return Some(Reason::Held);
    }
    let open = |slot: usize| trays.piece_in(host, slot) == NONE;
    match trays.broken(host) {
        Some(Ok(row)) => match bench.slots_of_row[row].iter().find(|&&slot| open(slot)) {
            // Nothing in the store reaches from what lies there into the window.
            Some(&slot) => {
                let (role, place) = place_of(bench, slot);
                Some(Reason::NothingFits { role, place })
            }
            None => Some(fitted_breaks(bench, row)),
        },
        Some(Err(spread)) => {
            let rule = bench.plan.spreads()[spread].name.clone();
            Some(Reason::FittedBreaks { rule, place: 0 })
        }
        None => {
            let mut slots = 0..bench.n_slots;
            let slot = slots.find(|&slot| open(slot) && trays.choice(host, slot) == 0)?;
            let (role, place) = place_of(bench, slot);
            Some(Reason::NothingFits { role, place })
        }
    }
}

/// The fit and place of a row that pieces which cannot be moved break by themselves.
fn fitted_breaks(bench: &Bench<'_>, row: usize) -> Reason {
    let (mut rule, mut place) = (String::new(), row + 1);
    for fit in bench.plan.fits() {
        rule.clone_from(&fit.name);
        if place <= fit.places {
            break;
        }
        place -= fit.places;
    }
    Reason::FittedBreaks { rule, place }
}

fn is_invented(piece: &Piece, invented: &[(String, String)]) -> bool {
    piece.id.starts_with(MARK)
        && invented.iter().any(|(role, id)| *role == piece.role && *id == piece.id)
}

/// For each slot of a host that no piece of the store fits, a piece that would.
fn invent(
    bench: &Bench<'_>,
    trays: &Trays<'_, '_>,
    host: usize,
    more: &mut Vec<Piece>,
    invented: &mut Vec<(String, String)>,
) {
    if bench.held[bench.host_piece(host)] {
        return;
    }
    for slot in 0..bench.n_slots {
        if trays.piece_in(host, slot) != NONE || trays.choice(host, slot) > 0 {
            continue;
        }
        let role = bench.slot_role[slot];
        let table = &bench.tables[role];
        if invented.len() >= INVENTED_MAX {
            return;
        }
        let Some(model) = table.pieces.clone().find(|&g| !bench.held[g]) else { continue };
        let mut piece = bench.pieces[model].clone();
        for touch in &bench.touches[slot] {
            let Some((from, to)) = trays.needed(host, slot, *touch) else { continue };
            let (feature, position, factor) = table.col(touch.col);
            let name = &bench.plan.roles()[role].features[feature].name;
            let own = piece.measured.iter_mut().find(|m| m.feature == *name);
            let Some(value) = own.and_then(|m| m.values.get_mut(position)) else { continue };
            let share = fine_share(factor, *value);
            if from <= share && share <= to {
                continue;
            }
            let ideal = from.midpoint(to) as f64 / factor / FINE as f64;
            if ideal.abs() < REACH as f64 {
                #[expect(clippy::cast_possible_truncation, reason = "within reach")]
                let ideal = ideal.round() as i64;
                *value = ideal;
            }
        }
        // Ids from outside hold no control characters in practice; a clash is met by one more.
        piece.id = format!("{MARK}{}", invented.len());
        while more.iter().any(|p| p.id == piece.id && p.role == piece.role) {
            piece.id.insert(0, MARK);
        }
        piece.stock = i64::from(table.supply == Supply::Numbered);
        invented.push((piece.role.clone(), piece.id.clone()));
        more.push(piece);
    }
}

/// The trays on the wider bench; invented pieces are not in stock.
fn carry_over<'w, 'a>(
    bench: &Bench<'_>,
    trays: &Trays<'_, '_>,
    wide: &'w Bench<'a>,
    invented: &[(String, String)],
) -> Trays<'w, 'a> {
    let mut trial = Trays::new(wide);
    trial.beyond_stock = true;
    for (g, piece) in wide.pieces.iter().enumerate() {
        if is_invented(piece, invented) {
            trial.free[g] = 0;
        }
    }
    for host in 0..bench.n_hosts {
        for slot in 0..bench.n_slots {
            let piece = trays.piece_in(host, slot);
            if piece == NONE || trial.piece_in(host, slot) != NONE {
                continue;
            }
            if let Some(same) = wide.find(bench.slot_role[slot], &bench.pieces[piece as usize].id) {
                trial.put(host, slot, same);
            }
        }
    }
    trial.built.clone_from(&trays.built);
    trial
}

/// Completes a host on trial with as few pieces beyond the stock as a few tries find, and adds
/// those to the stock of the trial.
///
/// # Errors
/// The slot that found nothing.
fn complete(trial: &mut Trays<'_, '_>, host: usize, draw: &mut Draw) -> Result<Lacking, usize> {
    let mut best: Option<(Lacking, Vec<Idx>)> = None;
    let mut blocking = trial.bench.host_slot();
    for round in 0..TRIALS {
        let noise = if round == 0 { 0.0 } else { 0.3 };
        match fill(trial, host, Manner { noise, retreats: 8, chain: 0 }, draw) {
            Ok(()) => {
                let lacking = beyond_stock(trial, host);
                if best.as_ref().is_none_or(|b| lacking.len() < b.0.len()) {
                    best = Some((lacking, trial.pieces_in(host).to_vec()));
                }
            }
            Err(slot) => blocking = slot,
        }
        trial.release(host);
    }
    let (lacking, pieces) = best.ok_or(blocking)?;
    for (slot, &piece) in pieces.iter().enumerate() {
        if trial.piece_in(host, slot) == NONE {
            trial.put(host, slot, piece);
        }
    }
    trial.built[host] = true;
    lacking.iter().for_each(|&(_, piece)| trial.free[piece as usize] += 1);
    Ok(lacking)
}

/// The slots of a host that hold pieces beyond the stock.
fn beyond_stock(trial: &Trays<'_, '_>, host: usize) -> Lacking {
    let mut over: Vec<(Idx, i64)> = Vec::new();
    let mut lacking = Vec::new();
    for (slot, &piece) in trial.pieces_in(host).iter().enumerate() {
        if trial.is_fitted(host, slot) || slot == trial.bench.host_slot() {
            continue;
        }
        if !over.iter().any(|o| o.0 == piece) {
            over.push((piece, -trial.free[piece as usize]));
        }
        if let Some(left) = over.iter_mut().find(|o| o.0 == piece && o.1 > 0) {
            left.1 -= 1;
            lacking.push((slot, piece));
        }
    }
    lacking
}

/// What a completed engine lacks, alike pieces together.
fn wants(
    trial: &Trays<'_, '_>,
    host: usize,
    lacking: &[(usize, Idx)],
    new: &[bool],
) -> Vec<Wanted> {
    let bench = trial.bench;
    let mut rows: Vec<(i64, i64)> =
        (0..bench.rows.len()).map(|row| (trial.fine(host, row), trial.fine(host, row))).collect();
    let mut all: Vec<Wanted> = Vec::new();
    for &(slot, piece) in lacking {
        let role = bench.slot_role[slot];
        let graded = bench.tables[role].supply == Supply::Graded && !new[piece as usize];
        let mut wanted = Wanted {
            role: bench.plan.roles()[role].name.clone(),
            n: 1,
            grade: graded.then(|| bench.pieces[piece as usize].id.clone()),
            ranges: Vec::new(),
        };
        wanted.ranges = ranges(trial, slot, piece, &mut rows, graded);
        match all.iter_mut().find_map(|w| joined(w, &wanted).map(|j| (w, j))) {
            Some((same, joined)) => *same = joined,
            None => all.push(wanted),
        }
    }
    all.sort_by(|a, b| a.role.cmp(&b.role).then(a.grade.cmp(&b.grade)));
    all
}

/// The values a piece in a slot may have, each widened in turn; `rows` are widened with them.
fn ranges(
    trial: &Trays<'_, '_>,
    slot: usize,
    piece: Idx,
    rows: &mut [(i64, i64)],
    fixed: bool,
) -> Vec<Range> {
    let bench = trial.bench;
    let role = bench.slot_role[slot];
    let table = &bench.tables[role];
    let mut seen: Vec<(usize, usize)> =
        bench.touches[slot].iter().map(|t| (table.col(t.col).0, table.col(t.col).1)).collect();
    seen.sort_unstable();
    seen.dedup();
    let mut all = Vec::new();
    for (feature, position) in seen {
        let Some(named) = bench.plan.roles()[role].features.get(feature) else { continue };
        let own = measured(bench.pieces[piece as usize], &named.name);
        let Some(&value) = own.and_then(|m| m.values.get(position)) else { continue };
        let widened = |rows: &[(i64, i64)], from: i64, to: i64| {
            let mut next = rows.to_vec();
            for touch in &bench.touches[slot] {
                let (f, p, factor) = table.col(touch.col);
                if (f, p) != (feature, position) {
                    continue;
                }
                let [a, own, b] = [from, value, to].map(|v| fine_share(factor, v));
                next[touch.row].0 += a.min(b) - own;
                next[touch.row].1 += a.max(b) - own;
            }
            kept(bench, &next).then_some(next)
        };
        let (mut from, mut to) = (value, value);
        if !fixed {
            let both = widest(|w| widened(rows, value - w, value + w).is_some());
            let below = widest(|w| widened(rows, value - both - w, value + both).is_some());
            from = value - both - below;
            let above = widest(|w| widened(rows, from, value + both + w).is_some());
            to = value + both + above;
        }
        if let Some(next) = widened(rows, from, to) {
            rows.copy_from_slice(&next);
        }
        let (feature, measure) = (named.name.clone(), named.measure);
        all.push(Range { feature, position: position + 1, measure, from, to });
    }
    all
}

/// Whether every rule is kept over whole intervals of its rows.
fn kept(bench: &Bench<'_>, rows: &[(i64, i64)]) -> bool {
    let fits = rows[..bench.n_fit_rows].iter().zip(&bench.rows);
    if !fits.clone().all(|(v, rule)| rule.lo <= v.0 && v.1 <= rule.hi) {
        return false;
    }
    bench.spread_rows.iter().zip(&bench.spread_allowed).all(|(range, &allowed)| {
        let own = &rows[range.clone()];
        let (least, greatest) = (own.iter().map(|v| v.0).min(), own.iter().map(|v| v.1).max());
        whole(greatest.unwrap_or(0)) - whole(least.unwrap_or(0)) <= allowed
    })
}

/// The widest distance that is still legal; legal distances are all shorter ones. Nothing is
/// widened beyond 1 mm or 1 kg.
fn widest(legal: impl Fn(i64) -> bool) -> i64 {
    const MOST: i64 = 1_000_000;
    let (mut good, mut bad) = (0, MOST + 1);
    while bad - good > 1 {
        let middle = good.midpoint(bad);
        if legal(middle) { good = middle } else { bad = middle }
    }
    good
}

/// Two wants as one, where the same pieces would do for both.
fn joined(a: &Wanted, b: &Wanted) -> Option<Wanted> {
    if a.role != b.role || a.grade != b.grade || a.ranges.len() != b.ranges.len() {
        return None;
    }
    let mut ranges = Vec::new();
    for (x, y) in a.ranges.iter().zip(&b.ranges) {
        let (from, to) = (x.from.max(y.from), x.to.min(y.to));
        // Ranges that hardly meet would make a narrow order out of two easy ones.
        let narrower = (x.to - x.from).min(y.to - y.from);
        if from > to || (to - from) * 2 < narrower {
            return None;
        }
        ranges.push(Range { from, to, ..x.clone() });
    }
    Some(Wanted { n: a.n + b.n, ranges, ..a.clone() })
}

/// Adds one host's wants to a shortage of the same kind, or as a new one.
fn gather(found: &mut Vec<Shortage>, wants: Vec<Wanted>, host: &str) {
    if wants.is_empty() {
        return;
    }
    let host = host.to_owned();
    for shortage in found.iter_mut() {
        if shortage.wanted.len() != wants.len() {
            continue;
        }
        let pairs = shortage.wanted.iter().zip(&wants);
        let both: Option<Vec<Wanted>> = pairs.map(|(a, b)| joined(a, b)).collect();
        if let Some(both) = both {
            shortage.wanted = both;
            shortage.hosts.push(host);
            return;
        }
    }
    found.push(Shortage { wanted: wants, hosts: vec![host] });
}

/// A piece that meets a want, all its values in the middle of their ranges; other features as on
/// `like`.
#[must_use]
pub fn piece_for(wanted: &Wanted, id: &str, like: &Piece) -> Piece {
    let mut piece = Piece { id: id.to_owned(), ..like.clone() };
    for range in &wanted.ranges {
        let own = piece.measured.iter_mut().find(|m: &&mut Measured| m.feature == range.feature);
        if let Some(value) = own.and_then(|m| m.values.get_mut(range.position - 1)) {
            *value = range.from.midpoint(range.to);
        }
    }
    piece
}
