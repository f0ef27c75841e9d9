//! One tray for each host: which piece lies in which slot, and the interval of every row.
//!
//! An empty slot counts with the range of all that could lie in it, so that one test serves engines
//! begun and engines complete: exact for the latter, never too strict for the former.

use std::collections::VecDeque;

use super::bench::{Bench, Idx, Touch, whole};
use super::plan::FINE;

/// No piece.
pub(super) const NONE: Idx = Idx::MAX;

/// The trays of all hosts.
#[derive(Debug, Clone)]
pub(super) struct Trays<'b, 'a> {
    pub(super) bench: &'b Bench<'a>,
    /// Piece in each slot, host after host.
    piece_in: Vec<Idx>,
    /// Places (host · slots + slot) that hold each piece, and where each place stands in them.
    holders: Vec<Vec<Idx>>,
    stands: Vec<Idx>,
    /// How many of each piece or grade lie free.
    pub(super) free: Vec<i64>,
    /// How many pieces of each role lie free, those held apart.
    free_of: Vec<i64>,
    /// Interval of each row, host after host, fine steps.
    lo: Vec<i64>,
    hi: Vec<i64>,
    /// Slots still empty of each host.
    missing: Vec<usize>,
    /// Whether each host is complete and legal.
    pub(super) built: Vec<bool>,
    /// Pieces beyond stock may be taken (to find out what is missing).
    pub(super) beyond_stock: bool,
    /// Pieces are looked for from the end of a stretch that fewer slots could use.
    pub(super) thrifty: bool,
}

/// Which pieces to look at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Which {
    /// Those that lie free.
    Free,
    /// Those that serve engines, none of them free.
    Used,
    /// All, whether there are any left or not.
    All,
}

/// Where to look for pieces: a stretch of one column's order, and the share that suits best.
#[derive(Debug, Clone, Copy)]
struct Stretch {
    col: usize,
    start: usize,
    end: usize,
    ideal: i64,
}

impl<'b, 'a> Trays<'b, 'a> {
    /// Trays with the hosts and what is fitted.
    pub(super) fn new(bench: &'b Bench<'a>) -> Self {
        let mut trays = Self {
            bench,
            piece_in: vec![NONE; bench.n_hosts * bench.n_slots],
            holders: vec![Vec::new(); bench.pieces.len()],
            stands: vec![0; bench.n_hosts * bench.n_slots],
            free: bench.stock.clone(),
            free_of: vec![0; bench.tables.len()],
            lo: bench.empty_lo.repeat(bench.n_hosts),
            hi: bench.empty_hi.repeat(bench.n_hosts),
            missing: vec![bench.n_slots; bench.n_hosts],
            built: vec![false; bench.n_hosts],
            beyond_stock: false,
            thrifty: false,
        };
        for g in (0..bench.pieces.len()).filter(|&g| !bench.held[g]) {
            trays.free_of[bench.role_of[g]] += bench.stock[g];
        }
        for host in 0..bench.n_hosts {
            let piece = Idx::try_from(bench.host_piece(host)).unwrap_or(NONE);
            trays.put(host, bench.host_slot(), piece);
        }
        for &(host, slot, piece) in &bench.fitted {
            trays.put(host, slot, piece);
        }
        trays
    }

    /// What lies in the slots of a host.
    pub(super) fn pieces_in(&self, host: usize) -> &[Idx] {
        &self.piece_in[host * self.bench.n_slots..(host + 1) * self.bench.n_slots]
    }

    /// What lies in a slot.
    pub(super) fn piece_in(&self, host: usize, slot: usize) -> Idx {
        self.piece_in[host * self.bench.n_slots + slot]
    }

    /// The places that hold a piece, as host and slot.
    pub(super) fn held_by(&self, piece: Idx) -> impl Iterator<Item = (usize, usize)> + '_ {
        let n = self.bench.n_slots;
        self.holders[piece as usize].iter().map(move |&at| (at as usize / n, at as usize % n))
    }

    /// The `k`-th place that holds a piece.
    pub(super) fn holder(&self, piece: Idx, k: usize) -> (usize, usize) {
        let at = self.holders[piece as usize][k] as usize;
        (at / self.bench.n_slots, at % self.bench.n_slots)
    }

    /// How many places hold a piece.
    pub(super) fn n_holders(&self, piece: Idx) -> usize {
        self.holders[piece as usize].len()
    }

    /// Puts a piece into an empty slot.
    pub(super) fn put(&mut self, host: usize, slot: usize, piece: Idx) {
        let bench = self.bench;
        let (table, at) = (&bench.tables[bench.slot_role[slot]], host * bench.n_slots + slot);
        debug_assert_eq!(self.piece_in[at], NONE);
        self.piece_in[at] = piece;
        self.missing[host] -= 1;
        self.free[piece as usize] -= 1;
        self.free_of[bench.slot_role[slot]] -= 1;
        self.stands[at] = len_of(&self.holders[piece as usize]);
        self.holders[piece as usize].push(at as Idx);
        let base = host * bench.rows.len();
        for touch in &bench.touches[slot] {
            let share = table.share(piece, touch.col);
            self.lo[base + touch.row] += share - table.least[touch.col];
            self.hi[base + touch.row] += share - table.greatest[touch.col];
        }
    }

    /// Takes the piece out of a slot.
    pub(super) fn take(&mut self, host: usize, slot: usize) -> Idx {
        let bench = self.bench;
        let (table, at) = (&bench.tables[bench.slot_role[slot]], host * bench.n_slots + slot);
        let piece = self.piece_in[at];
        debug_assert_ne!(piece, NONE);
        self.piece_in[at] = NONE;
        self.missing[host] += 1;
        self.free[piece as usize] += 1;
        self.free_of[bench.slot_role[slot]] += 1;
        let holders = &mut self.holders[piece as usize];
        let stands = self.stands[at] as usize;
        holders.swap_remove(stands);
        if let Some(&moved) = holders.get(stands) {
            self.stands[moved as usize] = stands as Idx;
        }
        let base = host * bench.rows.len();
        for touch in &bench.touches[slot] {
            let share = table.share(piece, touch.col);
            self.lo[base + touch.row] -= share - table.least[touch.col];
            self.hi[base + touch.row] -= share - table.greatest[touch.col];
        }
        piece
    }

    /// A slot for which no piece lies free, whatever its size; chains of exchanges cannot help it.
    pub(super) fn beyond_free(&self, host: usize) -> Option<usize> {
        if self.beyond_stock {
            return None;
        }
        self.bench.tables.iter().zip(&self.free_of).find_map(|(table, &free)| {
            let open = table.slots.clone().filter(|&s| self.piece_in(host, s) == NONE);
            open.zip(0_i64..).find(|&(_, n)| n >= free).map(|(slot, _)| slot)
        })
    }

    /// Takes out of a host all that is not fitted.
    pub(super) fn release(&mut self, host: usize) {
        self.built[host] = false;
        for slot in 0..self.bench.n_slots {
            if slot != self.bench.host_slot()
                && !self.is_fitted(host, slot)
                && self.piece_in(host, slot) != NONE
            {
                self.take(host, slot);
            }
        }
    }

    /// Whether a slot keeps what it holds.
    pub(super) fn is_fitted(&self, host: usize, slot: usize) -> bool {
        self.bench.is_fitted[host * self.bench.n_slots + slot]
    }

    /// Whether a piece may go into an engine at all, its size apart.
    pub(super) fn may(&self, host: usize, piece: Idx) -> bool {
        let at = piece as usize;
        if self.bench.held[at] || self.bench.reserved[at].is_some_and(|kept| kept != host) {
            return false;
        }
        self.bench.apart[at].iter().all(|&other| self.held_by(other).all(|(h, _)| h != host))
    }

    /// Whether the rows and spreads that a slot acts on can still be kept.
    pub(super) fn legal_at(&self, host: usize, slot: usize) -> bool {
        let (bench, base) = (self.bench, host * self.bench.rows.len());
        let fits = bench.fit_rows_of[slot].iter().all(|&row| {
            let rule = &bench.rows[row];
            self.lo[base + row] <= rule.hi && rule.lo <= self.hi[base + row]
        });
        fits && bench.spreads_of[slot]
            .iter()
            .all(|&s| self.spread_least(host, s) <= bench.spread_allowed[s])
    }

    /// The first rule that an engine can no longer keep: a row, or a spread.
    pub(super) fn broken(&self, host: usize) -> Option<Result<usize, usize>> {
        let (bench, base) = (self.bench, host * self.bench.rows.len());
        let row = (0..bench.n_fit_rows).find(|&row| {
            let rule = &bench.rows[row];
            self.lo[base + row] > rule.hi || rule.lo > self.hi[base + row]
        });
        let spread = || {
            let mut spreads = 0..bench.spread_allowed.len();
            spreads.find(|&s| self.spread_least(host, s) > bench.spread_allowed[s])
        };
        row.map(Ok).or_else(|| spread().map(Err))
    }

    /// The least that a spread can come to; the spread itself once its rows are complete.
    pub(super) fn spread_least(&self, host: usize, spread: usize) -> i64 {
        let base = host * self.bench.rows.len();
        let range = &self.bench.spread_rows[spread];
        let (mut greatest, mut least) = (i64::MIN, i64::MAX);
        for row in range.clone() {
            greatest = greatest.max(self.lo[base + row]);
            least = least.min(self.hi[base + row]);
        }
        // Rounding keeps order, so that rounding the extremes is rounding all values.
        (whole(greatest) - whole(least)).max(0)
    }

    /// The value of a complete row, whole steps.
    pub(super) fn value(&self, host: usize, row: usize) -> i64 {
        whole(self.lo[host * self.bench.rows.len() + row])
    }

    /// The sum of a complete row, fine steps.
    pub(super) fn fine(&self, host: usize, row: usize) -> i64 {
        self.lo[host * self.bench.rows.len() + row]
    }

    /// The least loss of a row.
    pub(super) fn row_loss(&self, host: usize, row: usize) -> f64 {
        let (rule, at) = (&self.bench.rows[row], host * self.bench.rows.len() + row);
        let (lo, hi) = (whole(self.lo[at]), whole(self.hi[at]));
        let off = (lo - rule.target).max(rule.target - hi).max(0) as f64 * rule.per_width;
        off * off
    }

    pub(super) fn spread_loss(&self, host: usize, spread: usize) -> f64 {
        let allowed = self.bench.spread_allowed[spread];
        // No spread allowed means that every legal engine has none.
        if allowed == 0 { 0.0 } else { self.spread_least(host, spread) as f64 / allowed as f64 }
    }

    /// The least loss of the rules that a slot acts on.
    pub(super) fn loss_at(&self, host: usize, slot: usize) -> f64 {
        let bench = self.bench;
        let fits = bench.fit_rows_of[slot].iter().map(|&row| self.row_loss(host, row));
        let spreads = bench.spreads_of[slot].iter().map(|&s| self.spread_loss(host, s));
        fits.chain(spreads).fold(0.0, |sum, loss| sum + loss)
    }

    /// The loss of an engine.
    pub(super) fn loss(&self, host: usize) -> f64 {
        let fits = (0..self.bench.n_fit_rows).map(|row| self.row_loss(host, row));
        let spreads = (0..self.bench.spread_rows.len()).map(|s| self.spread_loss(host, s));
        fits.chain(spreads).fold(0.0, |sum, loss| sum + loss)
    }

    /// By how much the loss of a complete engine grows with another piece in a simple slot; none
    /// if a rule is broken by it. Nothing is moved: most suggestions end here.
    pub(super) fn growth(&self, host: usize, slot: usize, piece: Idx) -> Option<f64> {
        let bench = self.bench;
        let table = &bench.tables[bench.slot_role[slot]];
        let own = &self.lo[host * bench.rows.len()..(host + 1) * bench.rows.len()];
        let old = self.piece_in(host, slot);
        let mut grown = 0.0;
        for &Touch { row, col, .. } in &bench.touches[slot] {
            let now = own[row] + table.share(piece, col) - table.share(old, col);
            let rule = &bench.rows[row];
            if row < bench.n_fit_rows {
                if now < rule.lo || rule.hi < now {
                    return None;
                }
                let off = |fine: i64| (whole(fine) - rule.target) as f64 * rule.per_width;
                grown += (off(now) - off(own[row])) * (off(now) + off(own[row]));
                continue;
            }
            let s = bench.spread_of[row];
            let range = bench.spread_rows[s].clone();
            let (mut least, mut greatest) = (i64::MAX, i64::MIN);
            for other in range.filter(|&other| other != row) {
                (least, greatest) = (least.min(own[other]), greatest.max(own[other]));
            }
            let width = |fine: i64| whole(greatest.max(fine)) - whole(least.min(fine));
            let allowed = bench.spread_allowed[s];
            if width(now) > allowed {
                return None;
            }
            if allowed > 0 {
                grown += (width(now) - width(own[row])) as f64 / allowed as f64;
            }
        }
        Some(grown)
    }

    /// Number of engines.
    pub(super) fn n_built(&self) -> usize {
        self.built.iter().filter(|b| **b).count()
    }

    /// Shares that may go into an empty slot as far as one row goes.
    pub(super) fn needed(&self, host: usize, slot: usize, touch: Touch) -> Option<(i64, i64)> {
        if !touch.alone {
            return None;
        }
        let (bench, at) = (self.bench, host * self.bench.rows.len() + touch.row);
        let table = &bench.tables[bench.slot_role[slot]];
        let rest_lo = self.lo[at] - table.least[touch.col];
        let rest_hi = self.hi[at] - table.greatest[touch.col];
        if touch.row < bench.n_fit_rows {
            let rule = &bench.rows[touch.row];
            return Some((rule.lo - rest_hi, rule.hi - rest_lo));
        }
        let s = bench.spread_of[touch.row];
        let base = host * bench.rows.len();
        let others = bench.spread_rows[s].clone().filter(|&row| row != touch.row);
        let (mut greatest, mut least) = (i64::MIN, i64::MAX);
        for row in others {
            greatest = greatest.max(self.lo[base + row]);
            least = least.min(self.hi[base + row]);
        }
        if greatest == i64::MIN {
            return None;
        }
        let allowed = bench.spread_allowed[s];
        let from = (whole(greatest) - allowed) * FINE - FINE / 2;
        let to = (whole(least) + allowed) * FINE + FINE / 2 - 1;
        Some((from - rest_hi, to - rest_lo))
    }

    /// The shortest stretch of pieces that one row leaves for an empty slot.
    fn stretch(&self, host: usize, slot: usize) -> Option<Stretch> {
        let bench = self.bench;
        let table = &bench.tables[bench.slot_role[slot]];
        let mut best: Option<(usize, Touch, Stretch)> = None;
        for &touch in &bench.touches[slot] {
            let Some((from, to)) = self.needed(host, slot, touch) else { continue };
            let rising = &table.rising[touch.col];
            let start = rising.partition_point(|&v| v < from);
            let end = start + rising[start..].partition_point(|&v| v <= to);
            if best.as_ref().is_none_or(|b| end - start < b.0) {
                let ideal = from.midpoint(to);
                best = Some((end - start, touch, Stretch { col: touch.col, start, end, ideal }));
            }
        }
        let (_, touch, mut stretch) = best?;
        if touch.row < bench.n_fit_rows {
            let at = host * bench.rows.len() + touch.row;
            let rest_lo = self.lo[at] - table.least[touch.col];
            let rest_hi = self.hi[at] - table.greatest[touch.col];
            stretch.ideal = bench.rows[touch.row].target * FINE - rest_lo.midpoint(rest_hi);
        }
        if self.thrifty && stretch.start < stretch.end {
            let (low, high) = (stretch.start, stretch.end - 1);
            let useful = |at: usize| bench.useful[table.sorted[touch.col][at] as usize];
            let end = if useful(low) < useful(high) { low } else { high };
            stretch.ideal = table.rising[touch.col][end];
        }
        Some(stretch)
    }

    /// How many pieces one row leaves at most for an empty slot.
    pub(super) fn choice(&self, host: usize, slot: usize) -> usize {
        let all = self.bench.tables[self.bench.slot_role[slot]].pieces.len();
        self.stretch(host, slot).map_or(all, |s| s.end - s.start)
    }

    /// Up to `most` pieces that may go into an empty slot, with the loss they add; nearest to what
    /// suits the tightest row first.
    pub(super) fn candidates(
        &mut self,
        host: usize,
        slot: usize,
        from: Which,
        most: usize,
    ) -> Vec<(f64, Idx)> {
        /// A stretch is not walked farther than this many pieces that are not to be had.
        const STEPS: usize = 4_000;
        let bench = self.bench;
        let table = &bench.tables[bench.slot_role[slot]];
        let before = self.loss_at(host, slot);
        let mut found = Vec::new();
        let mut order = Walk::along(table, self.stretch(host, slot));
        for _ in 0..STEPS {
            let Some(piece) = order.next(table) else { break };
            let free = self.free[piece as usize] > 0;
            let wanted = match from {
                Which::Free => free,
                Which::Used => !free && self.n_holders(piece) > 0,
                Which::All => true,
            };
            if !wanted || !self.may(host, piece) {
                continue;
            }
            self.put(host, slot, piece);
            if self.legal_at(host, slot) {
                found.push((self.loss_at(host, slot) - before, piece));
            }
            self.take(host, slot);
            if found.len() >= most {
                break;
            }
        }
        found
    }

    /// Fills a slot from the pieces chosen already, if that is legal.
    pub(super) fn take_up(&mut self, host: usize, slot: usize, piece: Idx) {
        let empty = self.piece_in(host, slot) == NONE;
        if !empty || self.free[piece as usize] <= 0 || !self.may(host, piece) {
            return;
        }
        self.put(host, slot, piece);
        if !self.legal_at(host, slot) {
            self.take(host, slot);
        }
    }
}

fn len_of(list: &[Idx]) -> Idx {
    Idx::try_from(list.len()).unwrap_or(NONE)
}

/// A walk over a stretch, outward from the share that suits best; or over a role's pieces as they
/// come where no row limits them.
#[derive(Debug)]
enum Walk {
    Outward { stretch: Stretch, below: usize, above: usize },
    All(VecDeque<Idx>),
}

impl Walk {
    fn along(table: &super::bench::Table, stretch: Option<Stretch>) -> Self {
        match stretch {
            Some(stretch) => {
                let rising = &table.rising[stretch.col][stretch.start..stretch.end];
                let at = stretch.start + rising.partition_point(|&v| v < stretch.ideal);
                Self::Outward { stretch, below: at, above: at }
            }
            None => Self::All(table.pieces.clone().map(|g| g as Idx).collect()),
        }
    }

    fn next(&mut self, table: &super::bench::Table) -> Option<Idx> {
        match self {
            Self::All(left) => left.pop_front(),
            Self::Outward { stretch, below, above } => {
                let rising = &table.rising[stretch.col];
                let down = (*below > stretch.start).then(|| stretch.ideal - rising[*below - 1]);
                let up = (*above < stretch.end).then(|| rising[*above] - stretch.ideal);
                let at = match (down, up) {
                    (Some(d), Some(u)) if d <= u => {
                        *below -= 1;
                        *below
                    }
                    (_, Some(_)) => {
                        *above += 1;
                        *above - 1
                    }
                    (Some(_), None) => {
                        *below -= 1;
                        *below
                    }
                    (None, None) => return None,
                };
                Some(table.sorted[stretch.col][at])
            }
        }
    }
}
