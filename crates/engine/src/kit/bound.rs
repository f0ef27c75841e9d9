//! What no choice of kits at all can exceed: a bound on the engines, and one on the loss.
//!
//! **Engines.** Take one role, one of its features and one position, and give every other choice
//! free: each empty slot of the role then allows a stretch of the pieces in order of that feature,
//! made from the intervals of its rows (every other empty slot standing for the whole range of
//! what could lie in it). Every legal answer keeps within those stretches, so that no answer has
//! more engines than this role alone could serve. Two bounds on that are taken:
//!
//! * *Matching.* Let `M` be the most slots that can be served at once. An answer with `E` engines
//!   serves all open slots of `E` hosts, so the `E` smallest numbers of open slots sum to at most
//!   `M`.
//! * *Prices.* For any prices `λ ≥ 0` of the pieces, every engine of an answer pays at least the
//!   cheapest price in the stretch of each of its slots, and all engines together pay no more than
//!   the whole stock is worth. So `E ≤ Σ_p λ_p·stock_p + Σ_h max(0, 1 − Σ_s min λ)`. The prices are
//!   whole multiples of 2⁻²⁰ and the sum is made in whole numbers, so that nothing rests on how
//!   the prices were found.
//!
//! **Loss.** For each host and row the least loss that its interval allows, or, where one slot
//! alone is open, the nearest single piece; an answer of `E` engines loses at least the sum of the
//! `E` smallest. Where all hosts are built, fits of hosts with one role count by the best
//! pairing in which no piece serves twice.

use std::cmp::Reverse;
use std::collections::BinaryHeap;
use std::ops::Range;

use super::bench::{Bench, Idx, whole};
use super::plan::FINE;
use super::tray::{NONE, Trays};

/// What limits the number of engines.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Limit {
    /// The hosts: all that can be completed at all are counted.
    Hosts,
    /// The stock of a role.
    Stock {
        /// Name of the role.
        role: String,
    },
    /// The sizes or masses of a role.
    Feature {
        /// Name of the role.
        role: String,
        /// Name of the feature.
        feature: String,
    },
}

/// What no choice can exceed.
#[derive(Debug, Clone, PartialEq)]
pub struct Bound {
    /// No choice completes more engines.
    pub engines: usize,
    /// What limits them.
    pub limit: Limit,
    /// No choice of as many engines as the answer has loses less.
    pub loss: f64,
}

/// One in whole prices.
const ONE: i128 = 1 << 20;

/// Hosts that could be built with the whole store to themselves, as far as single slots tell.
fn hosts_of(trays: &Trays<'_, '_>) -> Vec<usize> {
    let bench = trays.bench;
    (0..bench.n_hosts)
        .filter(|&h| !bench.held[bench.host_piece(h)] && can_be_built(trays, h))
        .collect()
}

/// How many engines no choice exceeds, and what limits them.
pub(super) fn most_engines(bench: &Bench<'_>) -> (usize, Limit) {
    let trays = Trays::new(bench);
    let hosts = hosts_of(&trays);
    let (mut engines, mut limit) = (hosts.len(), Limit::Hosts);
    for (r, role) in bench.plan.roles().iter().enumerate() {
        if r == bench.plan.host_idx() {
            continue;
        }
        let usable = bench.tables[r].pieces.clone().filter(|&g| !bench.held[g]);
        let stock: i64 = usable.map(|g| bench.stock[g]).sum();
        let by_stock = usize::try_from(stock).unwrap_or(usize::MAX) / role.per_engine;
        if by_stock < engines {
            (engines, limit) = (by_stock, Limit::Stock { role: role.name.clone() });
        }
        for (f, feature) in role.features.iter().enumerate() {
            for position in 0..feature.positions {
                let most = Market::of(&trays, &hosts, r, f, position).most_engines();
                if most < engines {
                    let (role, feature) = (role.name.clone(), feature.name.clone());
                    (engines, limit) = (most, Limit::Feature { role, feature });
                }
            }
        }
    }
    (engines, limit)
}

/// How many slots of all hosts could use each piece, as a share of all, summed over its features.
/// A piece that few could use is better used where it can be than left for the end.
pub(super) fn usefulness(bench: &Bench<'_>) -> Vec<f64> {
    let trays = Trays::new(bench);
    let hosts = hosts_of(&trays);
    let mut useful = vec![0.0; bench.pieces.len()];
    for (r, role) in bench.plan.roles().iter().enumerate() {
        if r == bench.plan.host_idx() {
            continue;
        }
        for (f, feature) in role.features.iter().enumerate() {
            for position in 0..feature.positions {
                let market = Market::of(&trays, &hosts, r, f, position);
                let wanted = market.wanted();
                for (&piece, wanted) in market.pieces.iter().zip(wanted) {
                    useful[piece as usize] += wanted;
                }
            }
        }
    }
    useful
}

/// What an answer of `n_built` engines loses at least.
pub(super) fn least_loss(bench: &Bench<'_>, n_built: usize) -> f64 {
    let trays = Trays::new(bench);
    let hosts = hosts_of(&trays);
    // A hair below, since sums of squares carry the rounding of their order.
    least_loss_of(&trays, &hosts, n_built) * (1.0 - 1e-9)
}

fn least_loss_of(trays: &Trays<'_, '_>, hosts: &[usize], n_built: usize) -> f64 {
    let bench = trays.bench;
    let sum = |rows: Range<usize>, host: usize| -> f64 {
        rows.fold(0.0, |sum, row| sum + least_row_loss(trays, host, row))
    };
    let spreads = |host: usize| {
        (0..bench.spread_rows.len()).fold(0.0, |sum, s| sum + trays.spread_loss(host, s))
    };
    if n_built < hosts.len() {
        let mut losses: Vec<f64> =
            hosts.iter().map(|&h| sum(0..bench.n_fit_rows, h) + spreads(h)).collect();
        losses.sort_by(f64::total_cmp);
        return losses.iter().take(n_built).fold(0.0, |sum, l| sum + l);
    }
    // All hosts that can be built are: then pieces that serve one cannot serve another.
    let (mut all, mut first) = (hosts.iter().fold(0.0, |sum, &h| sum + spreads(h)), 0);
    for fit in bench.plan.fits() {
        let rows = first..first + fit.places;
        first = rows.end;
        let alone = hosts.iter().fold(0.0, |all, &h| all + sum(rows.clone(), h));
        all += paired_loss(trays, hosts, rows).map_or(alone, |paired| paired.max(alone));
    }
    all
}

/// What a fit loses at least over all hosts, if in each of its rows one slot of one role is open
/// and acts by the same column. The loss grows with the square of a difference, so that the best
/// pairing of ideal shares and pieces keeps the order of both; which pieces stay out is found row
/// by row. Limits are left out, and half a step of rounding is given away, which only lowers it.
fn paired_loss(trays: &Trays<'_, '_>, hosts: &[usize], rows: Range<usize>) -> Option<f64> {
    /// Most pairs that are compared.
    const PAIRS: usize = 20_000_000;
    let bench = trays.bench;
    let mut only: Option<(usize, usize)> = None;
    let mut ideals = Vec::new();
    for &host in hosts {
        for row in rows.clone() {
            let own = bench.slots_of_row[row].iter().copied();
            let mut open = own.filter(|&slot| trays.piece_in(host, slot) == NONE);
            let (slot, None) = (open.next()?, open.next()) else { return None };
            let touch = bench.touches[slot].iter().find(|t| t.row == row && t.alone)?;
            let (role, col) = (bench.slot_role[slot], touch.col);
            if only.is_some_and(|o| o != (role, col)) {
                return None;
            }
            only = Some((role, col));
            let rest = trays.fine(host, row) - bench.tables[role].least[col];
            ideals.push(bench.rows[row].target * FINE - rest);
        }
    }
    let (role, col) = only?;
    let (table, n) = (&bench.tables[role], ideals.len());
    let mut pieces = Vec::new();
    for (&g, &share) in table.sorted[col].iter().zip(&table.rising[col]) {
        let times = usize::try_from(trays.free[g as usize]).unwrap_or(0).min(n);
        pieces.extend(std::iter::repeat_n(share, times));
    }
    let spare = pieces.len().checked_sub(n)?;
    if n.saturating_mul(spare + 1) > PAIRS {
        return None;
    }
    ideals.sort_unstable();
    let per_width = bench.rows[rows.start].per_width / FINE as f64;
    // least[k]: the ideals so far paired with pieces of which k are left out at most.
    let mut least = vec![0.0; spare + 1];
    for (i, ideal) in ideals.iter().enumerate() {
        let mut best = f64::INFINITY;
        for (k, so_far) in least.iter_mut().enumerate() {
            let off = ((ideal - pieces[i + k]).abs() - FINE / 2).max(0) as f64 * per_width;
            best = f64::min(best, *so_far + off * off);
            *so_far = best;
        }
    }
    least.last().copied()
}

/// Whether a host could be built with the whole store to itself, as far as single slots tell.
pub(super) fn can_be_built(trays: &Trays<'_, '_>, host: usize) -> bool {
    trays.broken(host).is_none()
        && (0..trays.bench.n_slots)
            .all(|slot| trays.piece_in(host, slot) != NONE || trays.choice(host, slot) > 0)
}

/// The least loss of a row of a host with the whole store to itself.
fn least_row_loss(trays: &Trays<'_, '_>, host: usize, row: usize) -> f64 {
    let own = trays.bench.slots_of_row[row].iter().copied();
    let mut open = own.filter(|&slot| trays.piece_in(host, slot) == NONE);
    let by_interval = trays.row_loss(host, row);
    let (Some(slot), None) = (open.next(), open.next()) else { return by_interval };
    nearest(trays, host, slot, row).map_or(by_interval, |loss| loss.max(by_interval))
}

/// The loss of a row with the nearest single piece in its one open slot.
fn nearest(trays: &Trays<'_, '_>, host: usize, slot: usize, row: usize) -> Option<f64> {
    let bench = trays.bench;
    let table = &bench.tables[bench.slot_role[slot]];
    let touch = bench.touches[slot].iter().find(|t| t.row == row && t.alone)?;
    let rest = trays.fine(host, row) - table.least[touch.col];
    let rising = &table.rising[touch.col];
    let ideal = bench.rows[row].target * FINE - rest;
    let at = rising.partition_point(|&v| v < ideal);
    let beside = [at.checked_sub(1), Some(at)].into_iter().flatten();
    let off = beside.filter_map(|i| rising.get(i)).map(|&v| {
        let off = (whole(rest + v) - bench.rows[row].target) as f64 * bench.rows[row].per_width;
        off * off
    });
    off.reduce(f64::min)
}

/// One role's pieces in order of one feature, and what each open slot of each host allows of them.
#[derive(Debug)]
struct Market {
    /// The pieces in order of the feature, and how many of each lie free.
    pieces: Vec<Idx>,
    stock: Vec<i64>,
    /// For each host the stretches of its open slots.
    hosts: Vec<Vec<Range<usize>>>,
}

impl Market {
    fn of(
        trays: &Trays<'_, '_>,
        hosts: &[usize],
        role: usize,
        feature: usize,
        position: usize,
    ) -> Self {
        let bench = trays.bench;
        let table = &bench.tables[role];
        let own: Vec<usize> = (0..table.sorted.len())
            .filter(|&c| (table.col(c).0, table.col(c).1) == (feature, position))
            .collect();
        let Some(&first) = own.first() else {
            return Self { pieces: Vec::new(), stock: Vec::new(), hosts: Vec::new() };
        };
        let n = table.sorted[first].len();
        let mut pieces = table.sorted[first].clone();
        if table.col(first).2 < 0.0 {
            pieces.reverse();
        }
        let stock = pieces.iter().map(|&g| trays.free[g as usize]).collect();
        let open = |host: usize| {
            let slots = table.slots.clone().filter(|&s| trays.piece_in(host, s) == NONE);
            let stretch = |slot: usize| {
                let mut range = 0..n;
                for &touch in bench.touches[slot].iter().filter(|t| own.contains(&t.col)) {
                    let Some((from, to)) = trays.needed(host, slot, touch) else { continue };
                    let rising = &table.rising[touch.col];
                    let start = rising.partition_point(|&v| v < from);
                    let end = rising.partition_point(|&v| v <= to).max(start);
                    // A negative factor turns the order round; equal values stay together.
                    let falls = table.col(touch.col).2 < 0.0;
                    let (start, end) = if falls { (n - end, n - start) } else { (start, end) };
                    range = range.start.max(start)..range.end.min(end);
                }
                range.start..range.end.max(range.start)
            };
            slots.map(stretch).collect::<Vec<_>>()
        };
        let hosts: Vec<Vec<Range<usize>>> = hosts.iter().map(|&h| open(h)).collect();
        Self { pieces, stock, hosts }
    }

    /// The share of all open slots that could use each piece.
    fn wanted(&self) -> Vec<f64> {
        let mut steps = vec![0.0; self.stock.len() + 1];
        let (mut n, mut now) = (0.0, 0.0);
        for slot in self.hosts.iter().flatten() {
            steps[slot.start] += 1.0;
            steps[slot.end] -= 1.0;
            n += 1.0;
        }
        steps.pop();
        let share = |step: f64| {
            now += step;
            now / f64::max(n, 1.0)
        };
        steps.into_iter().map(share).collect()
    }

    /// The most engines that this role alone could serve; `usize::MAX` where nothing limits it.
    fn most_engines(&self) -> usize {
        if self.stock.is_empty() {
            return usize::MAX;
        }
        let served = self.most_slots();
        let mut open: Vec<usize> =
            self.hosts.iter().filter(|h| !h.iter().any(Range::is_empty)).map(Vec::len).collect();
        open.sort_unstable();
        let mut left = served;
        let fits = |&n: &usize| {
            let enough = n <= left;
            left = left.saturating_sub(n);
            enough
        };
        let by_matching = open.iter().copied().take_while(fits).count();
        if by_matching == self.hosts.len() {
            by_matching
        } else {
            by_matching.min(self.by_prices())
        }
    }

    /// The most slots served at once: along the pieces, each serves the slot that ends first.
    fn most_slots(&self) -> usize {
        let mut slots: Vec<&Range<usize>> = self.hosts.iter().flatten().collect();
        slots.sort_by_key(|s| (s.start, s.end));
        let (mut next, mut waiting, mut served) = (0, BinaryHeap::new(), 0);
        for (p, &stock) in self.stock.iter().enumerate() {
            while next < slots.len() && slots[next].start <= p {
                waiting.push(Reverse(slots[next].end));
                next += 1;
            }
            let mut left = stock;
            while left > 0 {
                let Some(Reverse(end)) = waiting.pop() else { break };
                if end > p {
                    served += 1;
                    left -= 1;
                }
            }
        }
        served
    }

    /// The bound by prices, with the best prices a short descent finds.
    fn by_prices(&self) -> usize {
        let classes = Classes::of(self);
        let n = classes.stock.len();
        let per_engine = self.hosts.iter().map(Vec::len).max().unwrap_or(1).max(1);
        let mut price = vec![0.0; n];
        // Where stock is short everywhere, an even price is a fair beginning.
        let even = vec![1.0 / per_engine as f64; n];
        let (mut best, begun) = (classes.most(&price), classes.most(&even));
        if begun < best {
            (best, price) = (begun, even);
        }
        let (mut stride, mut since) = (0.5, 0);
        let mut at = price.clone();
        for _ in 0..250 {
            let (value, slope) = classes.slope(&at);
            let norm: f64 = slope.iter().map(|g| g * g).sum();
            if norm == 0.0 {
                break;
            }
            let aim = best as f64 / ONE as f64 * 0.97 - 0.5;
            let step = stride * (value - aim).max(0.0) / norm;
            for (p, g) in at.iter_mut().zip(&slope) {
                *p = (*p - step * g).clamp(0.0, 1.0);
            }
            let found = classes.most(&at);
            since += 1;
            if found < best {
                (best, since) = (found, 0);
                price.clone_from(&at);
            }
            if since > 20 {
                (stride, since) = (stride * 0.6, 0);
                at.clone_from(&price);
            }
        }
        usize::try_from(best / ONE).unwrap_or(usize::MAX)
    }
}

/// The market in at most a few dozen classes of neighbours; stretches are widened to whole classes,
/// which can only raise the bound.
#[derive(Debug)]
struct Classes {
    stock: Vec<i64>,
    hosts: Vec<Vec<Range<usize>>>,
}

impl Classes {
    fn of(market: &Market) -> Self {
        const MOST: usize = 96;
        let n = market.stock.len();
        let per = n.div_ceil(MOST).max(1);
        let stock = market.stock.chunks(per).map(|c| c.iter().sum()).collect();
        let widen = |r: &Range<usize>| {
            if r.is_empty() { 0..0 } else { r.start / per..r.end.div_ceil(per) }
        };
        let hosts = market.hosts.iter().map(|h| h.iter().map(widen).collect()).collect();
        Self { stock, hosts }
    }

    /// The bound at these prices, in 2⁻²⁰ engines.
    fn most(&self, price: &[f64]) -> i128 {
        #[expect(clippy::cast_possible_truncation, reason = "prices lie between 0 and 1")]
        let whole: Vec<i128> = price.iter().map(|p| (p * ONE as f64).round() as i128).collect();
        let worth: i128 = whole.iter().zip(&self.stock).map(|(p, &n)| p * i128::from(n)).sum();
        let gain = |slots: &Vec<Range<usize>>| {
            let cheapest = |r: &Range<usize>| whole[r.clone()].iter().copied().min();
            // A slot without a piece can be had at no price.
            let cost = slots.iter().map(cheapest).try_fold(0, |sum, c| Some(sum + c?));
            cost.map_or(0, |cost| (ONE - cost).max(0))
        };
        worth + self.hosts.iter().map(gain).sum::<i128>()
    }

    /// The bound at these prices in engines, and how it changes with them.
    fn slope(&self, price: &[f64]) -> (f64, Vec<f64>) {
        let mut slope: Vec<f64> = self.stock.iter().map(|&n| n as f64).collect();
        let mut value: f64 = price.iter().zip(&slope).map(|(p, n)| p * n).sum();
        let cheapest = |r: &Range<usize>| r.clone().min_by(|&a, &b| price[a].total_cmp(&price[b]));
        for slots in &self.hosts {
            let picks: Option<Vec<usize>> = slots.iter().map(cheapest).collect();
            let Some(picks) = picks else { continue };
            let gain = 1.0 - picks.iter().map(|&p| price[p]).sum::<f64>();
            if gain > 0.0 {
                value += gain;
                picks.into_iter().for_each(|p| slope[p] -= 1.0);
            }
        }
        (value, slope)
    }
}
