//! Exchanges between complete engines under all rules: simulated annealing towards the least loss,
//! and afterwards a store of grades left even.

use super::bench::Idx;
use super::plan::{FINE, Supply};
use super::tray::Trays;
use crate::draw::Draw;

/// From how warm to how cold, over how many moves.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cooling {
    pub(super) from: f64,
    pub(super) to: f64,
    pub(super) moves: usize,
}

/// One place in an engine.
type At = (usize, usize);

/// Anneals the engines that are built; every engine stays legal at every step.
pub(super) fn anneal(trays: &mut Trays<'_, '_>, cooling: Cooling, draw: &mut Draw) {
    /// Moves at one temperature.
    const SAME: usize = 256;
    let places = movable(trays);
    if places.is_empty() || cooling.moves == 0 {
        return;
    }
    let ratio = cooling.to / cooling.from;
    let mut temperature = cooling.from;
    for step in 0..cooling.moves {
        if step % SAME == 0 {
            let share = step as f64 / cooling.moves as f64;
            temperature = cooling.from * libm::pow(ratio, share);
        }
        let (host, slot) = places[draw.below(places.len())];
        let limit = -temperature * libm::log(1.0 - draw.unit());
        if let Some(piece) = suggest(trays, host, slot, draw) {
            exchange(trays, (host, slot), piece, limit, draw);
        }
    }
}

/// Places of built engines that could hold another piece.
fn movable(trays: &Trays<'_, '_>) -> Vec<At> {
    let bench = trays.bench;
    let mut places = Vec::new();
    for host in (0..bench.n_hosts).filter(|&h| trays.built[h]) {
        for slot in 0..bench.n_slots {
            let choice = bench.tables[bench.slot_role[slot]].pieces.len() > 1;
            let ruled = !bench.touches[slot].is_empty();
            if choice && ruled && slot != bench.host_slot() && !trays.is_fitted(host, slot) {
                places.push((host, slot));
            }
        }
    }
    places
}

/// A piece near what suits one of the rows that a slot acts on.
fn suggest(trays: &Trays<'_, '_>, host: usize, slot: usize, draw: &mut Draw) -> Option<Idx> {
    let bench = trays.bench;
    let table = &bench.tables[bench.slot_role[slot]];
    let touch = bench.touches[slot][draw.below(bench.touches[slot].len())];
    let own = table.share(trays.piece_in(host, slot), touch.col);
    let off = trays.off_target(host, touch.row);
    let rising = &table.rising[touch.col];
    if rising.is_empty() {
        return None;
    }
    let at = rising.partition_point(|&v| v < own - off);
    // Steps of every length, short ones as often as long ones.
    let reach = libm::exp(draw.unit() * libm::log(rising.len() as f64 + 1.0));
    #[expect(clippy::cast_possible_truncation, reason = "at most the number of pieces")]
    #[expect(clippy::cast_sign_loss, reason = "an exponential is not negative")]
    let reach = reach as usize;
    let low = at.saturating_sub(reach);
    let high = (at + reach).min(rising.len() - 1);
    let piece = table.sorted[touch.col][low + draw.below(high + 1 - low)];
    (piece != trays.piece_in(host, slot)).then_some(piece)
}

/// Puts a piece into a place, from the store or against the one there, if all stays legal and the
/// loss grows by no more than `limit`.
fn exchange(trays: &mut Trays<'_, '_>, a: At, piece: Idx, limit: f64, draw: &mut Draw) -> bool {
    if trays.free[piece as usize] > 0 {
        return replace(trays, a, piece, limit);
    }
    let n = trays.n_holders(piece);
    if n == 0 {
        return false;
    }
    let b = trays.holder(piece, draw.below(n));
    if !trays.built[b.0] || trays.is_fitted(b.0, b.1) || b == a {
        return false;
    }
    swap(trays, a, b, limit)
}

fn replace(trays: &mut Trays<'_, '_>, (host, slot): At, piece: Idx, limit: f64) -> bool {
    if trays.bench.simple[slot] && trays.growth(host, slot, piece).is_none_or(|g| g > limit) {
        return false;
    }
    let before = trays.loss_at(host, slot);
    let old = trays.take(host, slot);
    let may = trays.may(host, piece);
    trays.put(host, slot, piece);
    if may && trays.legal_at(host, slot) && trays.loss_at(host, slot) - before <= limit {
        return true;
    }
    trays.take(host, slot);
    trays.put(host, slot, old);
    false
}

fn swap(trays: &mut Trays<'_, '_>, a: At, b: At, limit: f64) -> bool {
    let one_engine = a.0 == b.0;
    if !one_engine && trays.bench.simple[a.1] {
        // Both slots are of one role, but may act on different rows.
        let Some(of_a) = trays.growth(a.0, a.1, trays.piece_in(b.0, b.1)) else { return false };
        if trays.bench.simple[b.1] {
            let of_b = trays.growth(b.0, b.1, trays.piece_in(a.0, a.1));
            if of_b.is_none_or(|of_b| of_a + of_b > limit) {
                return false;
            }
        }
    }
    // Two places of one engine may share rows: the whole engine is counted then.
    let loss = |trays: &Trays<'_, '_>| {
        if one_engine { trays.loss(a.0) } else { trays.loss_at(a.0, a.1) + trays.loss_at(b.0, b.1) }
    };
    let before = loss(trays);
    let (piece_a, piece_b) = (trays.take(a.0, a.1), trays.take(b.0, b.1));
    let may = trays.may(a.0, piece_b) && trays.may(b.0, piece_a);
    trays.put(a.0, a.1, piece_b);
    trays.put(b.0, b.1, piece_a);
    let legal = may && trays.legal_at(a.0, a.1) && trays.legal_at(b.0, b.1);
    if legal && loss(trays) - before <= limit {
        return true;
    }
    trays.take(a.0, a.1);
    trays.take(b.0, b.1);
    trays.put(a.0, a.1, piece_a);
    trays.put(b.0, b.1, piece_b);
    false
}

/// Takes grades from where most are left, where the loss does not grow by it.
pub(super) fn even_out(trays: &mut Trays<'_, '_>) {
    /// Sums of a few dozen squares differ by less than this if they are the same.
    const SAME: f64 = 1e-12;
    let bench = trays.bench;
    for (host, slot) in movable(trays) {
        let table = &bench.tables[bench.slot_role[slot]];
        if table.supply != Supply::Graded {
            continue;
        }
        for piece in table.pieces.clone() {
            let old = trays.piece_in(host, slot);
            // One more taken of this and one less of the old must leave them nearer each other.
            if trays.free[piece] > trays.free[old as usize] + 1 {
                replace(trays, (host, slot), piece as Idx, SAME);
            }
        }
        even_pair(trays, (host, slot), SAME);
    }
}

/// The same for two slots that share a row, where one grade up and another down is no difference.
fn even_pair(trays: &mut Trays<'_, '_>, (host, slot): At, same: f64) {
    let bench = trays.bench;
    let role = bench.slot_role[slot];
    let partner = |row: usize| {
        let mut near = bench.slots_of_row[row].iter().copied();
        near.find(|&s| s > slot && bench.slot_role[s] == role && !trays.is_fitted(host, s))
    };
    let Some(other) = bench.fit_rows_of[slot].iter().find_map(|&row| partner(row)) else { return };
    let pieces = bench.tables[role].pieces.clone();
    // Pairs of many grades would take longer than they are worth.
    if pieces.len() > 12 {
        return;
    }
    let unevenness = |trays: &Trays<'_, '_>| -> i128 {
        pieces.clone().map(|g| i128::from(trays.free[g]).pow(2)).sum()
    };
    let before = trays.loss(host);
    let mut best = (unevenness(trays), trays.piece_in(host, slot), trays.piece_in(host, other));
    trays.take(host, slot);
    trays.take(host, other);
    for a in pieces.clone() {
        for b in pieces.clone() {
            let (a, b) = (a as Idx, b as Idx);
            if trays.free[a as usize] <= 0 || !trays.may(host, a) {
                continue;
            }
            trays.put(host, slot, a);
            if trays.free[b as usize] > 0 && trays.may(host, b) {
                trays.put(host, other, b);
                let legal = trays.legal_at(host, slot) && trays.legal_at(host, other);
                let uneven = unevenness(trays);
                if legal && uneven < best.0 && trays.loss(host) <= before + same {
                    best = (uneven, a, b);
                }
                trays.take(host, other);
            }
            trays.take(host, slot);
        }
    }
    trays.put(host, slot, best.1);
    trays.put(host, other, best.2);
}

impl Trays<'_, '_> {
    /// How far a complete row is above its target, fine steps; for a spread, above the middle of
    /// its greatest and least value.
    fn off_target(&self, host: usize, row: usize) -> i64 {
        let bench = self.bench;
        if row < bench.n_fit_rows {
            return self.fine(host, row) - bench.rows[row].target * FINE;
        }
        let range = bench.spread_rows.iter().find(|range| range.contains(&row));
        let values = || range.cloned().unwrap_or(row..row + 1).map(|r| self.fine(host, r));
        let (least, greatest) = (values().min().unwrap_or(0), values().max().unwrap_or(0));
        self.fine(host, row) - least.midpoint(greatest)
    }
}
