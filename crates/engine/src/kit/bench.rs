//! Plan and store laid out on the bench: everything numbered, every product of factor and value
//! made once, and for each rule at each place one *row* that says which slots act on it.
//!
//! A *slot* is one place of one role in an engine; the slots of a role follow each other. A row's
//! value is the sum of the shares of the pieces in its slots, in fine steps (1/1024 of a step). An
//! empty slot stands for the range of what any piece could give, so that a row of an engine begun
//! is an interval; it can be kept only if that interval meets the window.

use std::collections::HashMap;
use std::ops::Range;

use bedplate_gauge::distribution::normal_quantile;

use super::KitError;
use super::plan::{Certainty, Errors, FINE, Plan, REACH, Supply, Term, values_at};
use super::stock::{Named, Piece, Placed, Wish};

/// A place in an engine, or a piece, on the bench.
pub(super) type Idx = u32;

/// One row that a slot acts on, and the column of its role's table with its share.
#[derive(Debug, Clone, Copy)]
pub(super) struct Touch {
    pub(super) row: usize,
    pub(super) col: usize,
    /// Whether the slot acts on this row by this column alone.
    pub(super) alone: bool,
}

/// A fit at one place, or a spread at one place.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row {
    /// Least and greatest sum allowed, fine steps; unlimited for a spread.
    pub(super) lo: i64,
    pub(super) hi: i64,
    /// Target, whole steps.
    pub(super) target: i64,
    /// One over the larger distance from target to limit; 0 where both limits are the target.
    pub(super) per_width: f64,
}

/// A share: one value of one feature times one factor.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Col {
    feature: usize,
    position: usize,
    factor: f64,
}

/// The pieces of one role with their shares.
#[derive(Debug)]
pub(super) struct Table {
    /// Its slots and its pieces.
    pub(super) slots: Range<usize>,
    pub(super) pieces: Range<usize>,
    pub(super) supply: Supply,
    cols: Vec<Col>,
    /// Share of each piece in each column, piece after piece, fine steps.
    shares: Vec<i64>,
    /// Per column: the pieces that may be used, by share, and those shares.
    pub(super) sorted: Vec<Vec<Idx>>,
    pub(super) rising: Vec<Vec<i64>>,
    /// Per column: least and greatest share of a piece that may be used.
    pub(super) least: Vec<i64>,
    pub(super) greatest: Vec<i64>,
    /// Per column: largest standard uncertainty times the factor, steps.
    uncertainty: Vec<f64>,
}

impl Table {
    pub(super) fn share(&self, piece: Idx, col: usize) -> i64 {
        self.shares[(piece as usize - self.pieces.start) * self.cols.len() + col]
    }

    /// Feature and position of a column, and its factor.
    pub(super) fn col(&self, col: usize) -> (usize, usize, f64) {
        let Col { feature, position, factor } = self.cols[col];
        (feature, position, factor)
    }

    fn col_of(&mut self, col: Col) -> usize {
        self.cols.iter().position(|c| *c == col).unwrap_or_else(|| {
            self.cols.push(col);
            self.cols.len() - 1
        })
    }
}

/// Everything laid out.
#[derive(Debug)]
pub(super) struct Bench<'a> {
    pub(super) plan: &'a Plan,
    pub(super) pieces: Vec<&'a Piece>,
    pub(super) tables: Vec<Table>,
    /// Role of each piece and of each slot.
    pub(super) role_of: Vec<usize>,
    pub(super) slot_role: Vec<usize>,
    pub(super) stock: Vec<i64>,
    pub(super) held: Vec<bool>,
    /// The host that a piece is kept for.
    pub(super) reserved: Vec<Option<usize>>,
    /// Pieces that a piece may not share an engine with.
    pub(super) apart: Vec<Vec<Idx>>,
    pub(super) n_hosts: usize,
    pub(super) n_slots: usize,
    /// Rows of fits first, then those of spreads.
    pub(super) rows: Vec<Row>,
    pub(super) n_fit_rows: usize,
    pub(super) spread_rows: Vec<Range<usize>>,
    pub(super) spread_allowed: Vec<i64>,
    /// Interval of each row of an engine with nothing in it.
    pub(super) empty_lo: Vec<i64>,
    pub(super) empty_hi: Vec<i64>,
    pub(super) touches: Vec<Vec<Touch>>,
    pub(super) fit_rows_of: Vec<Vec<usize>>,
    pub(super) spreads_of: Vec<Vec<usize>>,
    pub(super) slots_of_row: Vec<Vec<usize>>,
    /// Spread of each row; past the last one for a row of a fit.
    pub(super) spread_of: Vec<usize>,
    /// Whether a slot acts by one column on each of its rows, and on one row of each spread.
    pub(super) simple: Vec<bool>,
    /// How many slots could use each piece, as a share of all, summed over its features; see
    /// [`super::bound::usefulness`].
    pub(super) useful: Vec<f64>,
    /// Turn of each host, lowest first: the complement of the rank that was wished.
    pub(super) rank: Vec<u32>,
    /// What lies in its place for good: host, slot, piece.
    pub(super) fitted: Vec<(usize, usize, Idx)>,
    pub(super) is_fitted: Vec<bool>,
}

impl<'a> Bench<'a> {
    /// Lays out plan, pieces and wishes; refuses what contradicts itself.
    pub(super) fn lay(
        plan: &'a Plan,
        pieces: &'a [Piece],
        wishes: &[Wish],
    ) -> Result<Self, KitError> {
        let mut sorted: Vec<(usize, &Piece)> = Vec::with_capacity(pieces.len());
        for piece in pieces {
            let role = plan.role_named(&piece.role)?;
            check_piece(plan, role, piece)?;
            sorted.push((role, piece));
        }
        sorted.sort_by(|a, b| (a.0, &a.1.id).cmp(&(b.0, &b.1.id)));
        if let Some(w) = sorted.windows(2).find(|w| w[0].0 == w[1].0 && w[0].1.id == w[1].1.id) {
            return Err(KitError::NameTwice { what: "piece", name: w[0].1.id.clone() });
        }
        let mut bench = Self::empty(plan, sorted)?;
        bench.lay_rows();
        bench.read_wishes(wishes)?;
        bench.lay_shares();
        bench.guard()?;
        Ok(bench)
    }

    fn empty(plan: &'a Plan, sorted: Vec<(usize, &'a Piece)>) -> Result<Self, KitError> {
        let (mut tables, mut slot_role) = (Vec::new(), Vec::new());
        for (r, role) in plan.roles().iter().enumerate() {
            let start = sorted.partition_point(|p| p.0 < r);
            let pieces = start..sorted.partition_point(|p| p.0 <= r);
            if pieces.is_empty() {
                return Err(KitError::NoPieces { role: role.name.clone() });
            }
            let slots = slot_role.len()..slot_role.len() + role.per_engine;
            slot_role.resize(slots.end, r);
            tables.push(Table {
                slots,
                pieces,
                supply: role.supply,
                cols: Vec::new(),
                shares: Vec::new(),
                sorted: Vec::new(),
                rising: Vec::new(),
                least: Vec::new(),
                greatest: Vec::new(),
                uncertainty: Vec::new(),
            });
        }
        let (n_hosts, n_slots) = (tables[plan.host_idx()].pieces.len(), slot_role.len());
        let sorted_len = sorted.len();
        Ok(Self {
            plan,
            role_of: sorted.iter().map(|p| p.0).collect(),
            stock: sorted.iter().map(|p| p.1.stock).collect(),
            held: vec![false; sorted.len()],
            reserved: vec![None; sorted.len()],
            apart: vec![Vec::new(); sorted.len()],
            pieces: sorted.into_iter().map(|p| p.1).collect(),
            tables,
            n_hosts,
            n_slots,
            rows: Vec::new(),
            n_fit_rows: 0,
            spread_rows: Vec::new(),
            spread_allowed: plan.spreads().iter().map(|s| s.allowed).collect(),
            empty_lo: Vec::new(),
            empty_hi: Vec::new(),
            touches: vec![Vec::new(); n_slots],
            fit_rows_of: vec![Vec::new(); n_slots],
            spreads_of: vec![Vec::new(); n_slots],
            slots_of_row: Vec::new(),
            spread_of: Vec::new(),
            simple: vec![true; n_slots],
            useful: vec![0.0; sorted_len],
            rank: vec![u32::MAX; n_hosts],
            fitted: Vec::new(),
            is_fitted: vec![false; n_hosts * n_slots],
            slot_role,
        })
    }

    /// Makes the rows of every rule, and what each slot acts on.
    fn lay_rows(&mut self) {
        for fit in self.plan.fits() {
            let w = fit.window;
            let width = (w.target - w.min).max(w.max - w.target) as f64;
            let row = Row {
                lo: w.min * FINE - FINE / 2,
                hi: w.max * FINE + FINE / 2 - 1,
                target: w.target,
                per_width: if width > 0.0 { 1.0 / width } else { 0.0 },
            };
            self.lay_rule(row, fit.places, &fit.terms, fit.constant);
        }
        self.n_fit_rows = self.rows.len();
        for spread in self.plan.spreads() {
            let start = self.rows.len();
            // Far outside any sum, and far inside 64 bits.
            let row = Row { lo: i64::MIN / 4, hi: i64::MAX / 4, target: 0, per_width: 0.0 };
            self.lay_rule(row, spread.places, &spread.terms, 0);
            self.spread_rows.push(start..self.rows.len());
        }
        let (mut spread_of, rows) = (vec![usize::MAX; self.rows.len()], self.rows.len());
        for (s, range) in self.spread_rows.iter().enumerate() {
            spread_of[range.clone()].fill(s);
        }
        self.slots_of_row = vec![Vec::new(); rows];
        for slot in 0..self.n_slots {
            let mut own: Vec<usize> = self.touches[slot].iter().map(|t| t.row).collect();
            for touch in &mut self.touches[slot] {
                touch.alone = own.iter().filter(|&&row| row == touch.row).count() == 1;
            }
            own.sort_unstable();
            own.dedup();
            own.iter().for_each(|&row| self.slots_of_row[row].push(slot));
            let (fits, spreads): (Vec<_>, Vec<_>) =
                own.into_iter().partition(|&row| row < self.n_fit_rows);
            let mut spreads: Vec<usize> = spreads.into_iter().map(|row| spread_of[row]).collect();
            let n_spread_rows = spreads.len();
            spreads.dedup();
            self.simple[slot] = spreads.len() == n_spread_rows
                && self.touches[slot].iter().all(|touch| touch.alone);
            (self.fit_rows_of[slot], self.spreads_of[slot]) = (fits, spreads);
        }
        self.spread_of = spread_of;
    }

    fn lay_rule(&mut self, row: Row, places: usize, terms: &[Term], constant: i64) {
        let first = self.rows.len();
        for place in 0..places {
            self.rows.push(row);
            self.empty_lo.push(constant * FINE);
            self.empty_hi.push(constant * FINE);
            for term in terms {
                self.lay_term(term, places, place, first + place);
            }
        }
    }

    fn lay_term(&mut self, term: &Term, places: usize, place: usize, row: usize) {
        let roles = self.plan.roles();
        // The plan was made only with terms whose role and feature are known.
        let r = roles.iter().position(|r| r.name == term.role).expect("the plan knows its roles");
        let features = &roles[r].features;
        let feature = features.iter().position(|f| f.name == term.feature);
        let feature = feature.expect("the plan knows its features");
        let positions = features[feature].positions;
        let n_values = roles[r].per_engine * positions;
        for value in values_at(n_values, places, term, place) {
            let position = value % positions;
            let col = self.tables[r].col_of(Col { feature, position, factor: term.factor });
            let slot = self.tables[r].slots.start + value / positions;
            self.touches[slot].push(Touch { row, col, alone: true });
        }
    }

    /// Makes the shares of every piece, sorts them, and the intervals of an empty engine.
    fn lay_shares(&mut self) {
        for (r, table) in self.tables.iter_mut().enumerate() {
            let features = &self.plan.roles()[r].features;
            let n_cols = table.cols.len();
            table.uncertainty = vec![0.0; n_cols];
            for g in table.pieces.clone() {
                for (c, col) in table.cols.iter().enumerate() {
                    let measured = measured(self.pieces[g], &features[col.feature].name);
                    let (value, u) =
                        measured.map_or((0, 0.0), |m| (m.values[col.position], m.uncertainty));
                    table.shares.push(fine_share(col.factor, value));
                    if !self.held[g] {
                        let u = u * col.factor.abs();
                        table.uncertainty[c] = f64::max(table.uncertainty[c], u);
                    }
                }
            }
            for c in 0..n_cols {
                let usable = table.pieces.clone().filter(|&g| !self.held[g]);
                #[expect(clippy::cast_possible_truncation, reason = "fewer pieces than 2^32")]
                let mut by: Vec<Idx> = usable.map(|g| g as Idx).collect();
                by.sort_by_key(|&g| (table.share(g, c), g));
                let rising: Vec<i64> = by.iter().map(|&g| table.share(g, c)).collect();
                table.least.push(rising.first().copied().unwrap_or(0));
                table.greatest.push(rising.last().copied().unwrap_or(0));
                table.sorted.push(by);
                table.rising.push(rising);
            }
        }
        for slot in 0..self.n_slots {
            let table = &self.tables[self.slot_role[slot]];
            for touch in &self.touches[slot] {
                self.empty_lo[touch.row] += table.least[touch.col];
                self.empty_hi[touch.row] += table.greatest[touch.col];
            }
        }
    }

    /// Draws the windows in, so that the probability asked for is kept by every legal kit.
    fn guard(&mut self) -> Result<(), KitError> {
        let Some(Certainty { probability, errors }) = self.plan.certainty() else { return Ok(()) };
        if probability == 0.0 || self.n_fit_rows == 0 {
            return Ok(());
        }
        let n = self.n_fit_rows as f64;
        // Both rules give each row a chance to be outside such that all rows together keep what is
        // asked: by the product if independent, by the sum of chances if not.
        let outside = match errors {
            Errors::Independent => -libm::expm1(libm::log(probability) / n),
            Errors::Unknown => (1.0 - probability) / n,
        };
        let z = normal_quantile(outside / 2.0).map_or(f64::INFINITY, |z| -z);
        let mut row = 0;
        for fit in self.plan.fits() {
            for _ in 0..fit.places {
                let uncertainty = self.row_uncertainty(row, errors);
                let guard = (z * uncertainty * FINE as f64).ceil();
                let room = (self.rows[row].hi - self.rows[row].lo) as f64;
                if uncertainty > 0.0 && guard * 2.0 > room {
                    let uncertainty_max = room / 2.0 / FINE as f64 / z;
                    let fit = fit.name.clone();
                    return Err(KitError::CertaintyOutOfReach {
                        fit,
                        uncertainty,
                        uncertainty_max,
                    });
                }
                if uncertainty > 0.0 {
                    #[expect(clippy::cast_possible_truncation, reason = "at most half the room")]
                    let guard = guard as i64;
                    self.rows[row].lo += guard;
                    self.rows[row].hi -= guard;
                }
                row += 1;
            }
        }
        Ok(())
    }

    /// Largest standard uncertainty that a row can have, steps.
    fn row_uncertainty(&self, row: usize, errors: Errors) -> f64 {
        let mut all = Vec::new();
        for &slot in &self.slots_of_row[row] {
            let table = &self.tables[self.slot_role[slot]];
            let own = self.touches[slot].iter().filter(|t| t.row == row);
            all.extend(own.map(|t| table.uncertainty[t.col]));
        }
        together(&all, errors)
    }

    /// Standard uncertainty of a row with these pieces in the engine's slots, steps.
    pub(super) fn uncertainty_with(&self, row: usize, piece_in: &[Idx], errors: Errors) -> f64 {
        let mut all = Vec::new();
        for &slot in &self.slots_of_row[row] {
            let role = self.slot_role[slot];
            for touch in self.touches[slot].iter().filter(|t| t.row == row) {
                let (feature, _, factor) = self.tables[role].col(touch.col);
                let name = &self.plan.roles()[role].features[feature].name;
                let own = measured(self.pieces[piece_in[slot] as usize], name);
                all.push(own.map_or(0.0, |m| m.uncertainty * factor.abs()));
            }
        }
        together(&all, errors)
    }

    /// The piece of a role by id.
    pub(super) fn find(&self, role: usize, id: &str) -> Option<Idx> {
        let range = self.tables[role].pieces.clone();
        let at = self.pieces[range.clone()].binary_search_by(|p| p.id.as_str().cmp(id)).ok()?;
        Idx::try_from(range.start + at).ok()
    }

    /// The piece that a host is.
    pub(super) fn host_piece(&self, host: usize) -> usize {
        self.tables[self.plan.host_idx()].pieces.start + host
    }

    /// The slot of the hosts.
    pub(super) fn host_slot(&self) -> usize {
        self.tables[self.plan.host_idx()].slots.start
    }

    /// Id of a host.
    pub(super) fn host_id(&self, host: usize) -> &str {
        &self.pieces[self.host_piece(host)].id
    }

    fn named(&self, role: &str, id: &str) -> Result<Idx, KitError> {
        let at = self.plan.role_named(role)?;
        let unknown = || KitError::UnknownPiece { role: role.to_owned(), piece: id.to_owned() };
        self.find(at, id).ok_or_else(unknown)
    }

    fn host_named(&self, id: &str) -> Result<usize, KitError> {
        let piece = self.named(&self.plan.host().name, id)?;
        Ok(piece as usize - self.host_piece(0))
    }

    fn read_placed(&self, placed: &Placed) -> Result<(usize, usize, Idx), KitError> {
        let host = self.host_named(&placed.host)?;
        let piece = self.named(&placed.role, &placed.piece)?;
        let slots = self.tables[self.role_of[piece as usize]].slots.clone();
        if placed.place == 0 || placed.place > slots.len() || slots.start == self.host_slot() {
            let (role, place) = (placed.role.clone(), placed.place);
            return Err(KitError::NoSuchPlace { role, place, per_engine: slots.len() });
        }
        Ok((host, slots.start + placed.place - 1, piece))
    }

    /// Pieces chosen already, in a fixed order; two for one place are refused.
    pub(super) fn read_start(
        &self,
        start: &[Placed],
    ) -> Result<Vec<(usize, usize, Idx)>, KitError> {
        let read: Result<Vec<_>, _> = start.iter().map(|p| self.read_placed(p)).collect();
        let mut read = read?;
        read.sort_unstable();
        read.dedup();
        match read.windows(2).find(|w| (w[0].0, w[0].1) == (w[1].0, w[1].1)) {
            Some(w) => Err(self.place_twice(w[0], w[1].2)),
            None => Ok(read),
        }
    }

    fn place_twice(&self, (host, slot, one): (usize, usize, Idx), other: Idx) -> KitError {
        let table = &self.tables[self.slot_role[slot]];
        KitError::PlaceTwice {
            host: self.host_id(host).to_owned(),
            role: self.pieces[one as usize].role.clone(),
            place: slot - table.slots.start + 1,
            one: self.pieces[one as usize].id.clone(),
            other: self.pieces[other as usize].id.clone(),
        }
    }

    fn read_wishes(&mut self, wishes: &[Wish]) -> Result<(), KitError> {
        let mut fitted = Vec::new();
        let mut ranked: HashMap<usize, u32> = HashMap::new();
        for wish in wishes {
            match wish {
                Wish::Fitted(placed) => fitted.push(placed.clone()),
                Wish::Held(Named { role, id }) => {
                    let piece = self.named(role, id)?;
                    self.held[piece as usize] = true;
                }
                Wish::Reserved { piece, host } => self.reserve(piece, host)?,
                Wish::Apart(a, b) => {
                    let (a, b) = (self.named(&a.role, &a.id)?, self.named(&b.role, &b.id)?);
                    self.apart[a as usize].push(b);
                    self.apart[b as usize].push(a);
                }
                Wish::Rank { host, rank } => {
                    let host_idx = self.host_named(host)?;
                    if ranked.insert(host_idx, *rank).is_some_and(|old| old != *rank) {
                        let piece = self.host_piece(host_idx);
                        return Err(self.contradict(piece, "one rank", "another rank"));
                    }
                    self.rank[host_idx] = u32::MAX - *rank;
                }
            }
        }
        for apart in &mut self.apart {
            apart.sort_unstable();
            apart.dedup();
        }
        self.read_fitted(&fitted)
    }

    fn reserve(&mut self, piece: &Named, host: &str) -> Result<(), KitError> {
        let host = self.host_named(host)?;
        let piece = self.named(&piece.role, &piece.id)? as usize;
        if self.role_of[piece] == self.plan.host_idx() {
            let one = "it is a host";
            return Err(self.contradict(piece, one, "it is kept for a host"));
        }
        if self.reserved[piece].is_some_and(|old| old != host) {
            return Err(self.contradict(piece, "kept for one host", "kept for another"));
        }
        self.reserved[piece] = Some(host);
        Ok(())
    }

    fn read_fitted(&mut self, fitted: &[Placed]) -> Result<(), KitError> {
        self.fitted = self.read_start(fitted)?;
        let mut used: HashMap<Idx, i64> = HashMap::new();
        for &(host, slot, piece) in &self.fitted {
            let at = piece as usize;
            let n = used.entry(piece).or_default();
            *n += 1;
            if *n > self.stock[at] {
                let Piece { role, id, stock, .. } = self.pieces[at];
                let (role, piece, stock) = (role.clone(), id.clone(), *stock);
                return Err(KitError::FittedBeyondStock { role, piece, stock });
            }
            if self.held[at] {
                return Err(self.contradict(at, "fitted", "held"));
            }
            if self.reserved[at].is_some_and(|kept| kept != host) {
                return Err(self.contradict(at, "fitted to one host", "kept for another"));
            }
            self.is_fitted[host * self.n_slots + slot] = true;
        }
        let together = |a: usize, host: usize, b: Idx| {
            let is_host = self.host_piece(host) == b as usize;
            let n = self.fitted.iter().filter(|&&(h, _, p)| h == host && p == b).count();
            is_host || n > usize::from(a == b as usize)
        };
        let wrong = self.fitted.iter().find(|&&(host, _, piece)| {
            self.apart[piece as usize].iter().any(|&b| together(piece as usize, host, b))
        });
        match wrong {
            Some(&(.., piece)) => Err(self.contradict(
                piece as usize,
                "fitted in one engine with another piece",
                "never in one engine with it",
            )),
            None => Ok(()),
        }
    }

    fn contradict(&self, piece: usize, one: &'static str, other: &'static str) -> KitError {
        let Piece { role, id, .. } = self.pieces[piece];
        KitError::WishesContradict { role: role.clone(), piece: id.clone(), one, other }
    }
}

/// The product of a factor and a value in fine steps.
pub(super) fn fine_share(factor: f64, value: i64) -> i64 {
    let fine = factor * FINE as f64 * value as f64;
    #[expect(clippy::cast_possible_truncation, reason = "at most 10^10 · 10^3 · 2^10")]
    let share = fine.round() as i64;
    share
}

/// A sum of fine steps in whole steps, halves upward.
pub(super) fn whole(fine: i64) -> i64 {
    (fine + FINE / 2).div_euclid(FINE)
}

/// Standard uncertainties of one sum together.
pub(super) fn together(all: &[f64], errors: Errors) -> f64 {
    match errors {
        Errors::Independent => all.iter().map(|u| u * u).sum::<f64>().sqrt(),
        Errors::Unknown => all.iter().sum(),
    }
}

/// The values of a feature on a piece.
pub(super) fn measured<'p>(piece: &'p Piece, feature: &str) -> Option<&'p super::stock::Measured> {
    piece.measured.iter().find(|m| m.feature == feature)
}

fn check_piece(plan: &Plan, role: usize, piece: &Piece) -> Result<(), KitError> {
    let (name, id) = (&piece.role, &piece.id);
    if id.is_empty() {
        return Err(KitError::NoName { what: "piece" });
    }
    let legal = match plan.roles()[role].supply {
        Supply::Numbered => piece.stock == 1,
        Supply::Graded => (0..=1_000_000_000).contains(&piece.stock),
    };
    if !legal {
        let stock = piece.stock;
        return Err(KitError::StockWrong { role: name.clone(), piece: id.clone(), stock });
    }
    for m in &piece.measured {
        if !plan.roles()[role].features.iter().any(|f| f.name == m.feature) {
            let feature = m.feature.clone();
            return Err(KitError::UnknownFeature { role: name.clone(), feature });
        }
    }
    for feature in &plan.roles()[role].features {
        let times = piece.measured.iter().filter(|m| m.feature == feature.name).count();
        let (role, piece_id) = (name.clone(), id.clone());
        let feature_name = feature.name.clone();
        let Some(own) = measured(piece, &feature.name).filter(|_| times == 1) else {
            return Err(KitError::FeatureNotOnce {
                role,
                piece: piece_id,
                feature: feature_name,
                times,
            });
        };
        if own.values.len() != feature.positions {
            return Err(KitError::ValuesDoNotGo {
                role,
                piece: piece_id,
                feature: feature_name,
                values: own.values.len(),
                positions: feature.positions,
            });
        }
        if let Some(&value) = own.values.iter().find(|v| !(-REACH..=REACH).contains(*v)) {
            let feature = feature_name;
            return Err(KitError::ValueOutOfReach { role, piece: piece_id, feature, value });
        }
        if !(0.0..=REACH as f64).contains(&own.uncertainty) {
            return Err(KitError::UncertaintyWrong {
                role,
                piece: piece_id,
                feature: feature_name,
                uncertainty: own.uncertainty,
            });
        }
    }
    Ok(())
}
