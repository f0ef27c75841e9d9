//! A works on paper: blocks come, the store is filled up again, and what a way of choosing comes to
//! is counted.

use super::super::size::{Milligram, Nanometre};
use super::super::{Block, Piston, Rules, SetError};
use super::store::{Store, StoreError};
use super::{Decision, Policy, decide};
use crate::draw::Draw;

/// Largest store simulated.
const STORE_MAX: usize = 100_000;
/// Most parked blocks simulated.
const PARKED_MAX: usize = 1_000;
/// Most blocks simulated.
const BLOCKS_MAX: usize = 1_000_000;

/// How the pieces scatter, and how the track is laid out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Track {
    /// Mean bore, mm.
    pub bore_mm: f64,
    /// Standard deviation of the bores, µm.
    pub bore_sd_um: f64,
    /// Mean piston diameter, mm.
    pub piston_mm: f64,
    /// Standard deviation of the pistons, µm.
    pub piston_sd_um: f64,
    /// Mean mass of a piston, g.
    pub mass_g: f64,
    /// Standard deviation of the masses, g.
    pub mass_sd_g: f64,
    /// Cylinders of a block, 1 to 16.
    pub cylinders: usize,
    /// Pistons that the store holds whenever a block comes.
    pub store: usize,
    /// Blocks that may be parked. When one more must wait, the one parked longest is sent away.
    pub parked_max: usize,
    /// Blocks that come.
    pub blocks: usize,
}

/// What a simulation came to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Run {
    /// Blocks that came.
    pub blocks: usize,
    /// Engines completed.
    pub engines: usize,
    /// Blocks sent away because too many were parked.
    pub sent_away: usize,
    /// Blocks still parked at the end.
    pub parked: usize,
    /// Mean distance of the clearance from its target, µm; 0 if no engine was completed.
    pub clearance_error_um: f64,
    /// Mean clearance less its target, µm, with its sign; 0 if no engine was completed.
    pub clearance_off_um: f64,
    /// Mean spread of mass in an engine, g; 0 if no engine was completed.
    pub mass_spread_g: f64,
    /// How often a block was looked at.
    pub decisions: usize,
}

/// Why a track cannot be simulated.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum TrackError {
    /// NaN, an infinity or a negative standard deviation.
    #[error("the {what} is {value}; it must be a finite number of 0 or more")]
    NotTaken {
        /// Which figure.
        what: &'static str,
        /// As given.
        value: f64,
    },
    /// More than is simulated in one go.
    #[error("{value} {what} are too many to simulate; at most {limit} are taken")]
    TooMany {
        /// Of what.
        what: &'static str,
        /// As given.
        value: usize,
        /// The most taken.
        limit: usize,
    },
    /// A drawn piece that is none, such as a bore below zero.
    #[error("a piece drawn from these figures is none: {0}")]
    Piece(#[from] SetError),
    /// The store refused; no two pieces drawn here have one id, so it cannot.
    #[error("the store refused a piece that was drawn: {0}")]
    Store(#[from] StoreError),
}

/// Pieces of a seed: the same blocks and the same pistons in the same order for every way of
/// choosing.
struct Arrivals {
    track: Track,
    bores: Draw,
    pistons: Draw,
    n_blocks: usize,
    n_pistons: usize,
}

impl Arrivals {
    fn new(track: Track, seed: u64) -> Self {
        let (bores, pistons) = (Draw::new(seed, 11), Draw::new(seed, 12));
        Self { track, bores, pistons, n_blocks: 0, n_pistons: 0 }
    }

    fn block(&mut self) -> Result<Block, TrackError> {
        let Track { bore_mm, bore_sd_um, cylinders, .. } = self.track;
        let bore = |draw: &mut Draw| drawn_size(bore_mm, bore_sd_um, draw);
        let bores = (0..cylinders).map(|_| bore(&mut self.bores)).collect::<Result<_, _>>()?;
        self.n_blocks += 1;
        Ok(Block::new(format!("B{}", self.n_blocks), bores)?)
    }

    fn piston(&mut self) -> Result<Piston, TrackError> {
        let Track { piston_mm, piston_sd_um, mass_g, mass_sd_g, .. } = self.track;
        let diameter = drawn_size(piston_mm, piston_sd_um, &mut self.pistons)?;
        let mass_g = mass_g + mass_sd_g * normal(&mut self.pistons);
        // Weighed to 0.01 g.
        let mass = Milligram::from_g((mass_g * 100.0).round() / 100.0)
            .map_err(|_| TrackError::NotTaken { what: "drawn mass", value: mass_g })?;
        self.n_pistons += 1;
        Ok(Piston::new(format!("P{}", self.n_pistons), diameter, mass)?)
    }
}

/// A size gauged to 0.1 µm.
fn drawn_size(mean_mm: f64, sd_um: f64, draw: &mut Draw) -> Result<Nanometre, TrackError> {
    let size_mm = mean_mm + sd_um / 1e3 * normal(draw);
    Nanometre::from_mm((size_mm * 1e4).round() / 1e4)
        .map_err(|_| TrackError::NotTaken { what: "drawn size", value: size_mm })
}

/// A draw from the normal distribution of mean 0 and standard deviation 1 (Box and Muller).
pub(in super::super) fn normal(draw: &mut Draw) -> f64 {
    // 1 − u lies above 0, so that the logarithm is finite.
    let radius = (-2.0 * libm::log(1.0 - draw.unit())).sqrt();
    radius * libm::cos(std::f64::consts::TAU * draw.unit())
}

/// Lets blocks come one at a time and completes what a way of choosing can.
///
/// # Formula
/// For each block that comes: decide it; then each parked block once, the one parked longest first;
/// after every completed engine the store is filled up with the next pistons that come.
/// # Given
/// The track, the rules, the way of choosing and a seed. Sizes scatter normally, to 0.1 µm and
/// 0.01 g, the cylinders of a block independently of each other.
/// # Returns
/// The counts and means. The same seed brings the same pieces whatever the way of choosing, so that
/// two ways can be compared piece by piece; and the same bytes each time.
/// # Errors
/// [`TrackError`] for figures that are not finite or from which no piece can be drawn.
/// # Validity
/// Misfits are never thrown out of the store. Gauging errors, scrap and machine stops are left out.
/// # Source
/// Derived here.
pub fn simulate(
    track: &Track,
    rules: &Rules,
    policy: Policy,
    seed: u64,
) -> Result<Run, TrackError> {
    check(track)?;
    let mut arrivals = Arrivals::new(*track, seed);
    let mut store = Store::new(rules.clone());
    while store.len() < track.store {
        store.receive(arrivals.piston()?)?;
    }
    let mut count = Count::default();
    let mut parked: Vec<Block> = Vec::new();
    let mut sent_away = 0;
    for _ in 0..track.blocks {
        let block = arrivals.block()?;
        store.note_block(&block);
        let mut waiting = Vec::with_capacity(parked.len() + 1);
        let n_parked = parked.len();
        let mut newest = None;
        for (i, block) in std::iter::once(block).chain(parked).enumerate() {
            count.decisions += 1;
            match decide(&store, &block, n_parked, policy) {
                Decision::Fit { set, .. } => {
                    count.add(&set, rules);
                    store.take(&set)?;
                    while store.len() < track.store {
                        store.receive(arrivals.piston()?)?;
                    }
                }
                Decision::Park(_) if i == 0 => newest = Some(block),
                Decision::Park(_) => waiting.push(block),
            }
        }
        waiting.extend(newest);
        if track.parked_max < waiting.len() {
            waiting.remove(0);
            sent_away += 1;
        }
        parked = waiting;
    }
    Ok(count.run(track.blocks, sent_away, parked.len()))
}

fn check(track: &Track) -> Result<(), TrackError> {
    let figures = [
        ("mean bore", track.bore_mm),
        ("standard deviation of the bores", track.bore_sd_um),
        ("mean piston diameter", track.piston_mm),
        ("standard deviation of the pistons", track.piston_sd_um),
        ("mean mass", track.mass_g),
        ("standard deviation of the masses", track.mass_sd_g),
    ];
    let counts = [
        ("pistons in store", track.store, STORE_MAX),
        ("parked blocks", track.parked_max, PARKED_MAX),
        ("blocks", track.blocks, BLOCKS_MAX),
    ];
    if let Some((what, value, limit)) = counts.into_iter().find(|(_, value, limit)| limit < value) {
        return Err(TrackError::TooMany { what, value, limit });
    }
    match figures.into_iter().find(|(_, value)| !value.is_finite() || *value < 0.0) {
        Some((what, value)) => Err(TrackError::NotTaken { what, value }),
        None => Ok(()),
    }
}

/// Sums over the completed engines, in whole numbers.
#[derive(Debug, Default)]
struct Count {
    engines: usize,
    places: usize,
    error_nm: i128,
    off_nm: i128,
    spread_mg: i128,
    decisions: usize,
}

impl Count {
    fn add(&mut self, set: &super::super::Set, rules: &Rules) {
        self.engines += 1;
        self.spread_mg += i128::from(set.mass_spread.0);
        for place in &set.places {
            let off = i128::from((place.clearance - rules.clearance_target()).0);
            self.places += 1;
            self.off_nm += off;
            self.error_nm += off.abs();
        }
    }

    fn run(&self, blocks: usize, sent_away: usize, parked: usize) -> Run {
        let places = self.places.max(1) as f64 * 1e3;
        Run {
            blocks,
            engines: self.engines,
            sent_away,
            parked,
            clearance_error_um: self.error_nm as f64 / places,
            clearance_off_um: self.off_nm as f64 / places,
            mass_spread_g: self.spread_mg as f64 / (self.engines.max(1) as f64 * 1e3),
            decisions: self.decisions,
        }
    }
}
