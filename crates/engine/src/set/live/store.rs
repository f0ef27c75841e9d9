//! The store of pistons on the track, and what it remembers of the pieces that came.

use std::collections::{BTreeMap, HashSet, VecDeque};
use std::ops::Range;

use super::super::size::{Milligram, Nanometre};
use super::super::{Block, Piston, Place, Rules, Set};

/// Bores and pistons remembered. Long enough that chance moves the mean by a fiftieth of the
/// spread, short enough that a new tool is learnt within 500 blocks of four.
const REMEMBERED: usize = 2_000;
/// Bores at which half of what was learnt is believed.
const HALF_BELIEVED: f64 = 160.0;
/// Credit for a piston that has seen as many others come as the store holds.
const AGE: f64 = 0.1;
/// Credit for a size of which `e` times as many lie in the store as is its share. This and the
/// other figures were chosen on seeds 1 to 4 of the simulation and are reported on others.
const OVERSTOCK: f64 = 0.5;
/// Distance up to which pistons count as of one size, as a share of the larger distance from
/// target to limit.
const ONE_SIZE: f64 = 0.4;
/// Parked blocks that double the credit of the pairing by rank.
const PARKED_DOUBLE: f64 = 20.0;

/// Why the store refuses.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum StoreError {
    /// A piston that already lies in the store.
    #[error("piston {piston} already lies in the store; each piston once")]
    PistonTwice {
        /// Its id.
        piston: String,
    },
    /// A piston that is to be taken and does not lie there.
    #[error("piston {piston} does not lie in the store; only pistons that do can be taken")]
    NotInStore {
        /// Its id.
        piston: String,
    },
}

/// A piston in the store, and how many had come before it.
#[derive(Debug, Clone)]
pub(super) struct Held {
    pub(super) piston: Piston,
    pub(super) arrival: u64,
}

/// The pistons that lie ready, in order of diameter, under the rules of one fit.
#[derive(Debug, Clone)]
pub struct Store {
    rules: Rules,
    held: Vec<Held>,
    ids: HashSet<String>,
    received: u64,
    bores: Recent,
    pistons: Recent,
    /// Remembered pistons by class of diameter.
    classes: BTreeMap<i64, u32>,
}

/// The last sizes that came, with their sums in whole numbers so that no rounding builds up.
#[derive(Debug, Clone, Default)]
struct Recent {
    sizes: VecDeque<i64>,
    sum: i128,
    squares: i128,
}

impl Recent {
    /// Adds a size; gives back the one that is forgotten for it.
    fn add(&mut self, size: i64) -> Option<i64> {
        let forgotten = if self.sizes.len() == REMEMBERED { self.sizes.pop_front() } else { None };
        if let Some(old) = forgotten {
            self.sum -= i128::from(old);
            self.squares -= i128::from(old) * i128::from(old);
        }
        self.sizes.push_back(size);
        self.sum += i128::from(size);
        self.squares += i128::from(size) * i128::from(size);
        forgotten
    }

    /// Mean and standard deviation, nm; `None` of fewer than two sizes.
    fn scatter(&self) -> Option<(f64, f64)> {
        let n = self.sizes.len();
        if n < 2 {
            return None;
        }
        // n Σx² − (Σx)² is exact: sizes stay below 10¹⁰ nm, so the terms below 10²⁸.
        let spread = n as i128 * self.squares - self.sum * self.sum;
        Some((self.sum as f64 / n as f64, (spread as f64).max(0.0).sqrt() / n as f64))
    }
}

impl Store {
    /// An empty store under these rules.
    #[must_use]
    pub fn new(rules: Rules) -> Self {
        Self {
            rules,
            held: Vec::new(),
            ids: HashSet::new(),
            received: 0,
            bores: Recent::default(),
            pistons: Recent::default(),
            classes: BTreeMap::new(),
        }
    }

    /// The rules of the fit.
    #[must_use]
    pub fn rules(&self) -> &Rules {
        &self.rules
    }

    /// Number of pistons that lie ready.
    #[must_use]
    pub fn len(&self) -> usize {
        self.held.len()
    }

    /// Whether no piston lies ready.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.held.is_empty()
    }

    /// Lays a piston into the store.
    ///
    /// # Errors
    /// [`StoreError::PistonTwice`] if one of this id lies there.
    pub fn receive(&mut self, piston: Piston) -> Result<(), StoreError> {
        if !self.ids.insert(piston.id().to_owned()) {
            return Err(StoreError::PistonTwice { piston: piston.id().to_owned() });
        }
        let diameter = piston.diameter().0;
        let step = self.class_step();
        *self.classes.entry(diameter.div_euclid(step)).or_default() += 1;
        if let Some(old) = self.pistons.add(diameter) {
            let class = old.div_euclid(step);
            let left = self.classes.get(&class).map_or(0, |n| n - 1);
            if left == 0 {
                self.classes.remove(&class);
            } else {
                self.classes.insert(class, left);
            }
        }
        let at = self.held.partition_point(|h| h.piston.diameter().0 <= diameter);
        self.held.insert(at, Held { piston, arrival: self.received });
        self.received += 1;
        Ok(())
    }

    /// Counts the bores of a block that has come; once a block, when it comes.
    pub fn note_block(&mut self, block: &Block) {
        for bore in block.bores() {
            self.bores.add(bore.0);
        }
    }

    /// Takes the pistons of a set out of the store.
    ///
    /// # Errors
    /// [`StoreError::NotInStore`] if one of them does not lie there; nothing is taken then.
    pub fn take(&mut self, set: &Set) -> Result<(), StoreError> {
        if let Some(place) = set.places.iter().find(|place| !self.ids.contains(&place.piston)) {
            return Err(StoreError::NotInStore { piston: place.piston.clone() });
        }
        let gone: Vec<&str> = set.places.iter().map(|place| place.piston.as_str()).collect();
        self.held.retain(|held| !gone.contains(&held.piston.id()));
        for id in gone {
            self.ids.remove(id);
        }
        Ok(())
    }

    /// The pistons, in order of diameter.
    pub(super) fn held(&self) -> &[Held] {
        &self.held
    }

    /// The pistons that a bore allows.
    pub(super) fn fitting(&self, bore: Nanometre) -> Range<usize> {
        let (min, max) = (self.rules.clearance_min().0, self.rules.clearance_max().0);
        let start = self.held.partition_point(|h| h.piston.diameter().0 < bore.0 - max);
        let end = self.held.partition_point(|h| h.piston.diameter().0 <= bore.0 - min);
        start..end.max(start)
    }

    /// Pistons received since this one, as a multiple of what the store holds.
    pub(super) fn age(&self, held: usize) -> f64 {
        (self.received - self.held[held].arrival) as f64 / self.held.len() as f64
    }

    /// Larger distance from the target to a limit, nm, 1 at least.
    pub(super) fn half_width(&self) -> f64 {
        let (min, max) = (self.rules.clearance_min().0, self.rules.clearance_max().0);
        let target = self.rules.clearance_target().0;
        (target - min).max(max - target).max(1) as f64
    }

    /// Loss of one pair.
    pub(super) fn place_loss(&self, bore: Nanometre, held: usize) -> f64 {
        let clearance = bore - self.held[held].piston.diameter();
        let off = (clearance - self.rules.clearance_target()).0 as f64 / self.half_width();
        off * off
    }

    /// Loss of a spread of mass.
    pub(super) fn spread_loss(&self, spread_mg: i64) -> f64 {
        spread_mg as f64 / self.rules.mass_spread_max().0.max(1) as f64
    }

    /// The set of these pistons in these cylinders.
    pub(super) fn set(&self, block: &Block, chosen: &[usize]) -> Set {
        let pairs = || block.bores().iter().zip(chosen);
        let place = |(i, (&bore, &held)): (usize, (&Nanometre, &usize))| Place {
            cylinder: i + 1,
            piston: self.held[held].piston.id().to_owned(),
            clearance: bore - self.held[held].piston.diameter(),
        };
        let masses = || chosen.iter().map(|&held| self.held[held].piston.mass().0);
        let spread = masses().max().unwrap_or(0) - masses().min().unwrap_or(0);
        let places_loss: f64 = pairs().map(|(&bore, &held)| self.place_loss(bore, held)).sum();
        Set {
            block: block.id().to_owned(),
            places: pairs().enumerate().map(place).collect(),
            mass_spread: Milligram(spread),
            loss: places_loss + self.spread_loss(spread),
        }
    }

    /// What it is worth to be rid of each piston that a cylinder allows; see the module `live`.
    /// Pistons that none allows have 0.
    pub(super) fn credits(&self, runs: &[Range<usize>], parked: usize) -> Vec<f64> {
        let mut credits = vec![0.0; self.held.len()];
        let start = runs.iter().map(|run| run.start).min().unwrap_or(0);
        let end = runs.iter().map(|run| run.end).max().unwrap_or(0);
        let pressure = 1.0 + parked as f64;
        let by_rank = 1.0 + parked as f64 / PARKED_DOUBLE;
        let rank = self.rank_credit();
        let expected = self.expected();
        let near = self.near();
        let (mut from, mut to) = (start, start);
        let diameter = |i: usize| self.held[i].piston.diameter().0;
        while 0 < from && diameter(start) - near <= diameter(from - 1) {
            from -= 1;
        }
        for (held, credit) in credits.iter_mut().enumerate().take(end).skip(start) {
            let d = diameter(held);
            while diameter(from) < d - near {
                from += 1;
            }
            while to < self.held.len() && diameter(to) <= d + near {
                to += 1;
            }
            let overstock = ((to - from) as f64 + 0.5) / (expected(d) + 0.5);
            *credit = by_rank * rank(d)
                + pressure * (AGE * self.age(held) + OVERSTOCK * libm::log(overstock));
        }
        credits
    }

    /// The credit of the pairing by rank for a diameter; 0 until enough has come to say.
    fn rank_credit(&self) -> impl Fn(i64) -> f64 + use<> {
        let learnt = self.bores.scatter().zip(self.pistons.scatter());
        let believed = self.bores.sizes.len() as f64;
        let believed = believed / (believed + HALF_BELIEVED);
        let target = self.rules.clearance_target().0 as f64;
        let (mut mean, mut off, mut wider) = (0.0, 0.0, 0.0);
        if let Some(((bore, bore_sd), (piston, piston_sd))) = learnt {
            mean = piston;
            off = believed * (bore - target - piston);
            // Pistons all of one size have no rank.
            wider = if piston_sd > 0.0 { believed * (bore_sd / piston_sd - 1.0) } else { 0.0 };
        }
        let h = self.half_width();
        move |diameter| {
            let x = (diameter as f64 - mean) / h;
            -(2.0 * off / h * x + wider * x * x)
        }
    }

    /// How many pistons of about a diameter the store would hold if it held what comes.
    fn expected(&self) -> impl Fn(i64) -> f64 + use<> {
        let step = self.class_step();
        let reach = self.near() / step;
        let mut below: Vec<(i64, u64)> = Vec::with_capacity(self.classes.len());
        let mut sum = 0;
        for (&class, &n) in &self.classes {
            below.push((class, sum));
            sum += u64::from(n);
        }
        let share = self.held.len() as f64 / self.pistons.sizes.len().max(1) as f64;
        let count = move |class: i64| {
            let at = below.partition_point(|&(c, _)| c < class);
            below.get(at).map_or(sum, |&(_, n)| n)
        };
        move |diameter| {
            let class = diameter.div_euclid(step);
            (count(class + reach + 1) - count(class - reach)) as f64 * share
        }
    }

    /// Distance up to which pistons count as of one size, nm.
    fn near(&self) -> i64 {
        #[expect(clippy::cast_possible_truncation, reason = "at most a few metres, in nanometres")]
        let near = (ONE_SIZE * self.half_width()) as i64;
        near.max(1)
    }

    /// Width of a class of diameter, nm.
    fn class_step(&self) -> i64 {
        (self.near() / 4).max(1)
    }
}
