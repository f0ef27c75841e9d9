//! Kits: the whole set of an engine. Which crankshaft, rods, pins, rings, shells, tappets and shims
//! go with which block, so that every fit lies inside its limits.
//!
//! What an engine is made of is data ([`plan::Plan`]): roles, fits between them, spreads over the
//! places of one engine. Every rule is kept in whole nanometres and milligrams. First come as many
//! complete engines as can be found, then those of the highest ranks, then the least loss, then a
//! store of grades left even. [`Kits::bound`] says beside it what no choice at all can exceed, and
//! [`check::check_kits`] goes through an answer by a way of its own.
//!
//! The same plan, pieces, wishes and seed give the same answer, in whatever order pieces and wishes
//! come and on however many cores: the search is limited by a count of moves, never by the clock.
//!
//! This module knows nothing of files, of who gauged a piece, or whether a reading can be trusted.
//! Start reading at [`match_kits`].

pub mod bound;
pub mod check;
pub mod plan;
pub mod shortage;
pub mod stock;

mod bench;
mod chain;
mod exchange;
mod fill;
mod search;
mod tray;

use std::fmt;

use bedplate_gauge::judge::probability_of_conformity;
use bedplate_gauge::limits::Limits;

use bench::Bench;
use bound::Bound;
use plan::{Errors, Plan};
use shortage::Shortage;
use stock::{Named, Piece, Placed, Wish};
use tray::{NONE, Trays};

/// How long to search, and which draws of chance to use.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Search {
    /// Seed of the draws of chance. The same seed gives the same answer.
    pub seed: u64,
    /// Moves for each place of each engine. More moves take longer in proportion and rarely do
    /// worse.
    pub moves: u32,
}

impl Search {
    /// Moves for each place unless told otherwise.
    pub const MOVES: u32 = 40;

    /// A search with the usual number of moves.
    #[must_use]
    pub const fn with_seed(seed: u64) -> Self {
        Self { seed, moves: Self::MOVES }
    }
}

impl Default for Search {
    fn default() -> Self {
        Self::with_seed(1)
    }
}

/// One piece in its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Part {
    /// Name of the role.
    pub role: String,
    /// Place within the role, counted from 1.
    pub place: usize,
    /// Id of the piece, or name of the grade.
    pub piece: String,
}

/// The value of a fit at one place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FitValue {
    /// Name of the fit.
    pub fit: String,
    /// Place, counted from 1.
    pub place: usize,
    /// Its value, in whole steps.
    pub value: i64,
}

/// The value of a spread in one engine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SpreadValue {
    /// Name of the spread.
    pub spread: String,
    /// Greatest less least, in whole steps.
    pub value: i64,
}

/// All that goes into one engine.
#[derive(Debug, Clone, PartialEq)]
pub struct Kit {
    /// Id of the host.
    pub host: String,
    /// Every part but the host, role by role in the plan's order.
    pub parts: Vec<Part>,
    /// Every fit at every place.
    pub fits: Vec<FitValue>,
    /// Every spread.
    pub spreads: Vec<SpreadValue>,
    /// Sum over fits and places of the squared distance from target, as a share of the larger
    /// distance from target to limit, plus each spread as a share of what is allowed.
    pub loss: f64,
    /// What the uncertainties leave of the probability that all its fits lie inside their limits;
    /// by the plan's [`plan::Errors`], independent where the plan asks for no certainty.
    pub probability: f64,
}

/// Why a host is left over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reason {
    /// It is held.
    Held,
    /// What is fitted or pinned already breaks this rule by itself.
    FittedBreaks {
        /// Name of the fit or spread.
        rule: String,
        /// Place, counted from 1; for a spread, 0.
        place: usize,
    },
    /// No piece of the whole store can go into this place.
    NothingFits {
        /// Name of the role.
        role: String,
        /// Place within the role, counted from 1.
        place: usize,
    },
    /// Each place has pieces that fit, but no whole kit was found even with every piece of the
    /// store at hand.
    NoKitFound {
        /// Name of the role that could not be filled.
        role: String,
        /// Place within the role, counted from 1.
        place: usize,
    },
    /// Kits exist, but their pieces serve other engines in this answer.
    PiecesServeOthers {
        /// Name of the role of which pieces are missing.
        role: String,
        /// Place within the role, counted from 1.
        place: usize,
        /// How many pieces of all roles are missing; 0 where more hosts are left than are tried.
        missing: usize,
    },
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Held => write!(f, "it is held"),
            Self::FittedBreaks { rule, place: 0 } => {
                write!(f, "what is fitted breaks {rule} by itself")
            }
            Self::FittedBreaks { rule, place } => {
                write!(f, "what is fitted breaks {rule} at place {place} by itself")
            }
            Self::NothingFits { role, place } => {
                write!(f, "no {role} of the whole store can go into place {place}")
            }
            Self::NoKitFound { role, place } => {
                write!(f, "no whole kit was found; place {place} of {role} stays empty")
            }
            Self::PiecesServeOthers { role, missing: 0, .. } => {
                write!(f, "pieces such as {role} serve other engines")
            }
            Self::PiecesServeOthers { role, place, missing } => write!(
                f,
                "{missing} missing, the first for place {place} of {role}; the rest serve others"
            ),
        }
    }
}

/// A host without a kit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftHost {
    /// Id of the host.
    pub host: String,
    /// Why.
    pub reason: Reason,
}

/// Pieces in no kit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spare {
    /// The piece or grade.
    pub piece: Named,
    /// How many.
    pub n: i64,
}

/// The answer of [`match_kits`].
#[derive(Debug, Clone, PartialEq)]
pub struct Kits {
    /// Complete engines, by id of the host.
    pub engines: Vec<Kit>,
    /// What no choice at all can exceed.
    pub bound: Bound,
    /// Sum of the losses of all engines.
    pub loss: f64,
    /// Hosts without a kit, by id.
    pub left: Vec<LeftHost>,
    /// Pieces in no kit, by role in the plan's order and id; those fitted to a host that is left
    /// are not among them.
    pub spare: Vec<Spare>,
    /// Pieces fitted to hosts that are left, by host, role and place.
    pub still_fitted: Vec<Placed>,
    /// What would complete hosts that are left.
    pub shortages: Vec<Shortage>,
}

/// Why a plan or a store is refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum KitError {
    /// A name that is empty.
    #[error("a {what} has no name; each needs one")]
    NoName {
        /// What it is.
        what: &'static str,
    },
    /// A name given twice.
    #[error("{what} {name} is given twice; each once")]
    NameTwice {
        /// What it is.
        what: &'static str,
        /// Its name.
        name: String,
    },
    /// A role that the plan does not have.
    #[error("there is no role {role} in the plan")]
    UnknownRole {
        /// Its name.
        role: String,
    },
    /// A feature that its role does not have.
    #[error("role {role} has no feature {feature}")]
    UnknownFeature {
        /// Name of the role.
        role: String,
        /// Name of the feature.
        feature: String,
    },
    /// A host that is not one numbered piece for an engine.
    #[error(
        "role {role} cannot be the host with {per_engine} per engine; \
         a host is one numbered piece per engine"
    )]
    HostNotSingle {
        /// Name of the role.
        role: String,
        /// Its count.
        per_engine: usize,
    },
    /// A count per engine that is none.
    #[error("role {role} has {per_engine} per engine; 1 to 128")]
    PerEngineOutOfRange {
        /// Name of the role.
        role: String,
        /// The count.
        per_engine: usize,
    },
    /// A number of positions that is none.
    #[error("feature {feature} of role {role} has {positions} positions; 1 to 128")]
    PositionsOutOfRange {
        /// Name of the role.
        role: String,
        /// Name of the feature.
        feature: String,
        /// The number.
        positions: usize,
    },
    /// A number of places that is none.
    #[error("rule {rule} has {places} places; 1 to 128")]
    PlacesOutOfRange {
        /// Name of the rule.
        rule: String,
        /// The number.
        places: usize,
    },
    /// A rule without a term.
    #[error("rule {rule} has no term; it needs one at least")]
    NoTerm {
        /// Name of the rule.
        rule: String,
    },
    /// A rule that adds lengths to masses.
    #[error("rule {rule} adds lengths and masses; one of them")]
    MeasuresMixed {
        /// Name of the rule.
        rule: String,
    },
    /// A factor that is no number or nothing.
    #[error("the factor of {feature} in rule {rule} is {factor}; a finite number that is not 0")]
    FactorWrong {
        /// Name of the rule.
        rule: String,
        /// Name of the feature.
        feature: String,
        /// The factor.
        factor: f64,
    },
    /// Factors that are too large together.
    #[error("the factors at one place of rule {rule} sum to {sum}; at most 1000")]
    FactorsOutOfReach {
        /// Name of the rule.
        rule: String,
        /// Sum of magnitudes.
        sum: f64,
    },
    /// Values that do not go into the places of a rule.
    #[error(
        "{values} values of {feature} of {role} do not go into the {places} places of rule {rule}; \
         one number must be a multiple of the other"
    )]
    PlacesDoNotGo {
        /// Name of the rule.
        rule: String,
        /// Its places.
        places: usize,
        /// Name of the role.
        role: String,
        /// Name of the feature.
        feature: String,
        /// Its values in one engine.
        values: usize,
    },
    /// An order of places that names no value.
    #[error(
        "the order of {feature} in rule {rule} must name for each of {places} places \
         one of the values 0 to {groups} less 1"
    )]
    OrderWrong {
        /// Name of the rule.
        rule: String,
        /// Name of the feature.
        feature: String,
        /// Places of the rule.
        places: usize,
        /// How many values or groups there are.
        groups: usize,
    },
    /// Limits the wrong way round.
    #[error("rule {rule} has limits that cross: least {min}, greatest {max}")]
    LimitsCross {
        /// Name of the rule.
        rule: String,
        /// Least value.
        min: i64,
        /// Greatest value.
        max: i64,
    },
    /// A target that the limits do not allow.
    #[error("rule {rule} aims at {target}, outside its limits {min} to {max}")]
    TargetOutside {
        /// Name of the rule.
        rule: String,
        /// The target.
        target: i64,
        /// Least value.
        min: i64,
        /// Greatest value.
        max: i64,
    },
    /// A limit or constant that is out of reach.
    #[error("rule {rule} has a limit or constant of {value} steps; at most 10^10 from zero")]
    LimitOutOfReach {
        /// Name of the rule.
        rule: String,
        /// The value.
        value: i64,
    },
    /// An allowed spread that is none.
    #[error("rule {rule} allows a spread of {allowed} steps; 0 to 10^10")]
    SpreadOutOfReach {
        /// Name of the rule.
        rule: String,
        /// As given.
        allowed: i64,
    },
    /// A probability that is none.
    #[error("a probability of {probability} cannot be asked for; 0 up to, not including, 1")]
    ProbabilityOutOfRange {
        /// As given.
        probability: f64,
    },
    /// Uncertainties that leave nothing of a window.
    #[error(
        "a standard uncertainty of {uncertainty} steps leaves nothing of the window of fit {fit} \
         for the probability asked for; it may be {uncertainty_max} at most"
    )]
    CertaintyOutOfReach {
        /// Name of the fit.
        fit: String,
        /// Largest standard uncertainty of its values.
        uncertainty: f64,
        /// What would leave a window.
        uncertainty_max: f64,
    },
    /// No piece of a role.
    #[error("there is no {role} to choose from; at least one is needed")]
    NoPieces {
        /// Name of the role.
        role: String,
    },
    /// A feature missing on a piece, or given twice.
    #[error("{role} {piece} gives feature {feature} {times} times; once")]
    FeatureNotOnce {
        /// Name of the role.
        role: String,
        /// Id of the piece.
        piece: String,
        /// Name of the feature.
        feature: String,
        /// How often it is given.
        times: usize,
    },
    /// Too many or too few values of a feature.
    #[error("{role} {piece} has {values} values of {feature}; {positions} are needed")]
    ValuesDoNotGo {
        /// Name of the role.
        role: String,
        /// Id of the piece.
        piece: String,
        /// Name of the feature.
        feature: String,
        /// How many are given.
        values: usize,
        /// How many are needed.
        positions: usize,
    },
    /// A value out of reach.
    #[error("{feature} of {role} {piece} is {value} steps; at most 10^10 from zero")]
    ValueOutOfReach {
        /// Name of the role.
        role: String,
        /// Id of the piece.
        piece: String,
        /// Name of the feature.
        feature: String,
        /// The value.
        value: i64,
    },
    /// An uncertainty that is none.
    #[error("{feature} of {role} {piece} has an uncertainty of {uncertainty}; 0 to 10^10 steps")]
    UncertaintyWrong {
        /// Name of the role.
        role: String,
        /// Id of the piece.
        piece: String,
        /// Name of the feature.
        feature: String,
        /// As given.
        uncertainty: f64,
    },
    /// A stock that cannot be.
    #[error("{role} {piece} has a stock of {stock}; 0 to 10^9 of a grade, 1 of a numbered piece")]
    StockWrong {
        /// Name of the role.
        role: String,
        /// Id of the piece.
        piece: String,
        /// As given.
        stock: i64,
    },
    /// A wish or a start for a piece that is not there.
    #[error("there is no {role} {piece} in the store")]
    UnknownPiece {
        /// Name of the role.
        role: String,
        /// Its id.
        piece: String,
    },
    /// A place that the role does not have.
    #[error("{role} has no place {place}; 1 to {per_engine}, and the host is not placed")]
    NoSuchPlace {
        /// Name of the role.
        role: String,
        /// As given.
        place: usize,
        /// How many there are.
        per_engine: usize,
    },
    /// Two pieces for one place.
    #[error("place {place} of {role} in {host} is given to {one} and to {other}; one piece each")]
    PlaceTwice {
        /// Id of the host.
        host: String,
        /// Name of the role.
        role: String,
        /// The place.
        place: usize,
        /// One piece.
        one: String,
        /// The other.
        other: String,
    },
    /// More of a piece fitted than there is.
    #[error("{role} {piece} is fitted or pinned to more places than its stock of {stock}")]
    FittedBeyondStock {
        /// Name of the role.
        role: String,
        /// Id of the piece.
        piece: String,
        /// Its stock.
        stock: i64,
    },
    /// Wishes that contradict each other.
    #[error("the wishes for {role} {piece} contradict each other: {one}, and {other}")]
    WishesContradict {
        /// Name of the role.
        role: String,
        /// Id of the piece.
        piece: String,
        /// One of them.
        one: &'static str,
        /// The other.
        other: &'static str,
    },
}

/// Chooses kits for hosts: as many complete engines as can be found, of those the highest ranks,
/// then the least loss that can be found.
///
/// # Formula
/// Most `Σ z_h`, then least `Σ_built [Σ_fits Σ_places ((v − t)/w)² + Σ_spreads (max − min)/a]`,
/// with `v` the value of a fit at a place, `t` its target, `w` the larger distance from target
/// to limit, `a` the allowed spread.
/// # Given
/// The plan, the pieces and grades, wishes, a `start` (pieces already chosen by another way, such
/// as pistons by [`crate::set`]; taken up where it is legal, changed where that is better), and how
/// long to search. The order of pieces, wishes and start does not matter.
/// # Returns
/// [`Kits`]. Never fewer engines than the start completes.
/// # Errors
/// [`KitError`]; nothing is assigned then.
/// # Validity
/// The rules are kept exactly. The count is the best found, not always the most there is: the
/// problem is hard in general. [`Kits::bound`] says how far off it can be at most.
/// # Source
/// Derived here: filling with a look ahead by intervals, chains of exchanges, simulated annealing;
/// see the module's files.
/// # Example
/// Two pistons for a block of two bores, 38 µm of clearance aimed at:
/// ```
/// use bedplate_engine::kit::plan::{Feature, Fit, Measure, Plan, Role, Supply, Term, Window};
/// use bedplate_engine::kit::stock::{Measured, Piece};
/// use bedplate_engine::kit::{Search, match_kits};
///
/// let role = |name: &str, per_engine, feature: &str, positions| {
///     let feature = feature.to_owned();
///     let features = vec![Feature { name: feature, measure: Measure::Length, positions }];
///     Role { name: name.to_owned(), per_engine, supply: Supply::Numbered, features }
/// };
/// let clearance = Fit {
///     name: "piston clearance".to_owned(),
///     places: 2,
///     terms: vec![Term::new("block", "bore", 1.0), Term::new("piston", "skirt", -1.0)],
///     constant: 0,
///     window: Window { min: 30_000, target: 38_000, max: 46_000 },
/// };
/// let roles = vec![role("block", 1, "bore", 2), role("piston", 2, "skirt", 1)];
/// let plan = Plan::new("block", roles, vec![clearance], vec![], None)?;
/// let piece = |role: &str, id: &str, feature, values| Piece {
///     role: role.to_owned(),
///     id: id.to_owned(),
///     measured: vec![Measured::sure(feature, values)],
///     stock: 1,
/// };
/// let store = [
///     piece("block", "B1", "bore", vec![81_010_000, 81_004_000]),
///     piece("piston", "P1", "skirt", vec![80_966_000]),
///     piece("piston", "P2", "skirt", vec![80_972_000]),
/// ];
/// let kits = match_kits(&plan, &store, &[], &[], Search::default())?;
/// assert_eq!(kits.engines[0].parts[0].piece, "P2");
/// assert_eq!((kits.bound.engines, kits.loss), (1, 0.0));
/// # Ok::<(), bedplate_engine::kit::KitError>(())
/// ```
pub fn match_kits(
    plan: &Plan,
    pieces: &[Piece],
    wishes: &[Wish],
    start: &[Placed],
    search: Search,
) -> Result<Kits, KitError> {
    let mut bench = Bench::lay(plan, pieces, wishes)?;
    bench.useful = bound::usefulness(&bench);
    let start = bench.read_start(start)?;
    let (most, limit) = bound::most_engines(&bench);
    let trays = search::search(&bench, &start, search, most);
    let (left, shortages) = shortage::shortages(&bench, &trays, pieces, wishes, search.seed)?;
    let engines: Vec<Kit> =
        (0..bench.n_hosts).filter(|&h| trays.built[h]).map(|h| kit(&bench, &trays, h)).collect();
    // Begun at +0: the sum of nothing would be −0.
    let loss = engines.iter().fold(0.0, |sum, kit| sum + kit.loss);
    let least = bound::least_loss(&bench, engines.len());
    let bound = Bound { engines: most, limit, loss: least };
    let (spare, still_fitted) = (spare(&bench, &trays), still_fitted(&bench, &trays));
    Ok(Kits { engines, bound, loss, left, spare, still_fitted, shortages })
}

/// The places of a host but its own, as role, place and piece.
fn parts<'t>(
    bench: &'t Bench<'_>,
    trays: &'t Trays<'_, '_>,
    host: usize,
) -> impl Iterator<Item = Part> + 't {
    let filled = trays.pieces_in(host).iter().enumerate();
    let filled = filled.filter(move |&(slot, &p)| p != NONE && slot != bench.host_slot());
    filled.map(|(slot, &piece)| Part {
        role: bench.pieces[piece as usize].role.clone(),
        place: slot - bench.tables[bench.slot_role[slot]].slots.start + 1,
        piece: bench.pieces[piece as usize].id.clone(),
    })
}

/// A filled tray as a kit.
fn kit(bench: &Bench<'_>, trays: &Trays<'_, '_>, host: usize) -> Kit {
    let plan = bench.plan;
    let errors = plan.certainty().map_or(Errors::Independent, |c| c.errors);
    let (mut fits, mut row) = (Vec::new(), 0);
    let (mut product, mut outside) = (1.0, 0.0);
    for fit in plan.fits() {
        for place in 1..=fit.places {
            let value = trays.value(host, row);
            let u = bench.uncertainty_with(row, trays.pieces_in(host), errors);
            let limits = Limits::between(fit.window.min as f64, fit.window.max as f64);
            // The plan's limits are in order; without a spread of values a kept fit is sure.
            let inside = limits.map_or(1.0, |limits| {
                if u > 0.0 { probability_of_conformity(value as f64, &limits, u) } else { 1.0 }
            });
            product *= inside;
            outside += 1.0 - inside;
            fits.push(FitValue { fit: fit.name.clone(), place, value });
            row += 1;
        }
    }
    let spreads = plan.spreads().iter().enumerate().map(|(s, spread)| SpreadValue {
        spread: spread.name.clone(),
        value: trays.spread_least(host, s),
    });
    Kit {
        host: bench.host_id(host).to_owned(),
        parts: parts(bench, trays, host).collect(),
        fits,
        spreads: spreads.collect(),
        loss: trays.loss(host),
        probability: match errors {
            Errors::Independent => product,
            Errors::Unknown => f64::max(1.0 - outside, 0.0),
        },
    }
}

/// What lies free, hosts apart.
fn spare(bench: &Bench<'_>, trays: &Trays<'_, '_>) -> Vec<Spare> {
    let free = trays.free.iter().enumerate();
    let free = free.filter(|&(g, &n)| n > 0 && bench.role_of[g] != bench.plan.host_idx());
    free.map(|(g, &n)| {
        let Piece { role, id, .. } = bench.pieces[g];
        Spare { piece: Named { role: role.clone(), id: id.clone() }, n }
    })
    .collect()
}

/// What stays in hosts that are left.
fn still_fitted(bench: &Bench<'_>, trays: &Trays<'_, '_>) -> Vec<Placed> {
    let left = (0..bench.n_hosts).filter(|&h| !trays.built[h]);
    left.flat_map(|h| {
        let host = bench.host_id(h);
        parts(bench, trays, h).map(move |Part { role, place, piece }| Placed {
            host: host.to_owned(),
            role,
            place,
            piece,
        })
    })
    .collect()
}
