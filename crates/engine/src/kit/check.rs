//! Going through kits by a way of its own: it trusts nothing of the search, only plan, pieces and
//! wishes.

use std::collections::{HashMap, HashSet};

use super::plan::{Errors, Plan, Term};
use super::stock::{Piece, Wish};
use super::{Kit, Kits};

/// The first fault found in an answer.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Fault {
    /// A host or piece that was not given.
    #[error("{role} {piece} was not given")]
    Unknown {
        /// Its role.
        role: String,
        /// Its id.
        piece: String,
    },
    /// A host with two kits, or both built and left.
    #[error("host {host} is not accounted for exactly once, built or left")]
    HostNotOnce {
        /// Its id.
        host: String,
    },
    /// A kit that does not fill its engine.
    #[error("engine {host} does not have place {place} of {role} filled once")]
    NotComplete {
        /// Its id.
        host: String,
        /// The role.
        role: String,
        /// The place, from 1.
        place: usize,
    },
    /// Pieces used and spare that are not the stock.
    #[error("{role} {piece} has a stock of {stock}, but {told} are used, fitted or spare")]
    StockDoesNotClose {
        /// The role.
        role: String,
        /// The piece or grade.
        piece: String,
        /// Its stock.
        stock: i64,
        /// As the answer tells.
        told: i64,
    },
    /// A fit outside its limits.
    #[error("{fit} at place {place} of engine {host} is {value} steps, outside its limits")]
    FitOutside {
        /// The engine.
        host: String,
        /// The fit.
        fit: String,
        /// The place, from 1.
        place: usize,
        /// Its value.
        value: i64,
    },
    /// A spread that is too wide.
    #[error("{spread} of engine {host} is {value} steps, more than allowed")]
    SpreadTooWide {
        /// The engine.
        host: String,
        /// The spread.
        spread: String,
        /// Its value.
        value: i64,
    },
    /// A wish that is not kept.
    #[error("in engine {host}, {role} {piece} goes against a wish")]
    WishNotKept {
        /// The engine.
        host: String,
        /// The role.
        role: String,
        /// The piece.
        piece: String,
    },
    /// An engine less sure than was asked.
    #[error("engine {host} has a probability of {probability}, less than asked")]
    NotSure {
        /// The engine.
        host: String,
        /// Its probability.
        probability: f64,
    },
    /// A figure that the pieces do not bear out.
    #[error("the {figure} stated for {what} is {stated}, but it is {found}")]
    WrongFigure {
        /// Which figure.
        figure: &'static str,
        /// Of which engine, or of the whole.
        what: String,
        /// As stated.
        stated: f64,
        /// As found from the pieces.
        found: f64,
    },
    /// More engines or less loss than the bound allows: the bound is wrong.
    #[error("the answer passes its own bound on {figure}")]
    PastBound {
        /// Which figure.
        figure: &'static str,
    },
}

/// Pieces by role and id.
type Store<'a> = HashMap<(&'a str, &'a str), &'a Piece>;

/// Checks every rule and wish on every engine of an answer, every figure stated with it, and that
/// the stock of each piece closes.
///
/// # Given
/// Plan, pieces and wishes as they were given to [`super::match_kits`], and its answer.
/// # Returns
/// Nothing; the answer is legal.
/// # Errors
/// The first [`Fault`] found.
/// # Source
/// Derived here, from the definition of a legal engine.
pub fn check_kits(
    plan: &Plan,
    pieces: &[Piece],
    wishes: &[Wish],
    kits: &Kits,
) -> Result<(), Fault> {
    let store: Store<'_> = pieces.iter().map(|p| ((p.role.as_str(), p.id.as_str()), p)).collect();
    check_hosts(plan, pieces, kits)?;
    for kit in &kits.engines {
        check_kit(plan, &store, kit)?;
    }
    check_stock(plan, pieces, kits)?;
    for wish in wishes {
        check_wish(plan, wish, kits)?;
    }
    let loss = kits.engines.iter().fold(0.0, |sum, kit| sum + kit.loss);
    same("loss", "all engines", kits.loss, loss)?;
    if kits.engines.len() > kits.bound.engines {
        return Err(Fault::PastBound { figure: "engines" });
    }
    if kits.bound.loss > kits.loss + 1e-9 {
        return Err(Fault::PastBound { figure: "loss" });
    }
    Ok(())
}

fn check_hosts(plan: &Plan, pieces: &[Piece], kits: &Kits) -> Result<(), Fault> {
    let mut seen: HashMap<&str, usize> = HashMap::new();
    let built = kits.engines.iter().map(|k| k.host.as_str());
    for host in built.chain(kits.left.iter().map(|l| l.host.as_str())) {
        *seen.entry(host).or_default() += 1;
    }
    let hosts = pieces.iter().filter(|p| p.role == plan.host().name);
    for host in hosts {
        if seen.remove(host.id.as_str()) != Some(1) {
            return Err(Fault::HostNotOnce { host: host.id.clone() });
        }
    }
    let stranger = seen.into_keys().min();
    stranger.map_or(Ok(()), |id| {
        Err(Fault::Unknown { role: plan.host().name.clone(), piece: id.to_owned() })
    })
}

/// The pieces of one engine, role by role, in order of place; every place once.
fn filled<'a>(
    plan: &Plan,
    store: &Store<'a>,
    kit: &'a Kit,
) -> Result<HashMap<String, Vec<&'a Piece>>, Fault> {
    let mut all = HashMap::new();
    for role in plan.roles() {
        let mut own: Vec<&Piece> = Vec::new();
        let names: Vec<&str> = if role.name == plan.host().name {
            vec![kit.host.as_str()]
        } else {
            let mut places: Vec<_> = kit.parts.iter().filter(|p| p.role == role.name).collect();
            places.sort_by_key(|p| p.place);
            let wrong = (1..=role.per_engine.max(places.len()))
                .find(|&k| places.get(k - 1).is_none_or(|p| p.place != k) || k > role.per_engine);
            if let Some(place) = wrong {
                let (host, role) = (kit.host.clone(), role.name.clone());
                return Err(Fault::NotComplete { host, role, place });
            }
            places.into_iter().map(|p| p.piece.as_str()).collect()
        };
        for id in names {
            let piece = store.get(&(role.name.as_str(), id)).copied();
            let role = role.name.clone();
            own.push(piece.ok_or_else(|| Fault::Unknown { role, piece: id.to_owned() })?);
        }
        all.insert(role.name.clone(), own);
    }
    let known: HashSet<&str> = plan.roles().iter().map(|r| r.name.as_str()).collect();
    let stranger = kit.parts.iter().find(|p| !known.contains(p.role.as_str()));
    stranger
        .map_or(Ok(all), |p| Err(Fault::Unknown { role: p.role.clone(), piece: p.piece.clone() }))
}

/// The values of a rule at its places, and their standard uncertainties.
fn values(
    own: &HashMap<String, Vec<&Piece>>,
    places: usize,
    terms: &[Term],
    constant: i64,
    errors: Errors,
) -> Vec<(i64, f64)> {
    let mut sums = vec![i128::from(constant) * 1024; places];
    let mut spread = vec![0.0; places];
    for term in terms {
        let mut all: Vec<(i64, f64)> = Vec::new();
        for piece in &own[&term.role] {
            let found = piece.measured.iter().find(|m| m.feature == term.feature);
            if let Some(m) = found {
                all.extend(m.values.iter().map(|&v| (v, m.uncertainty)));
            }
        }
        for (place, (sum, spread)) in sums.iter_mut().zip(&mut spread).enumerate() {
            let (size, at) = if all.len() >= places {
                (all.len() / places, place)
            } else {
                (1, place * all.len() / places)
            };
            let at = term.at.get(place).copied().unwrap_or(at);
            for &(value, u) in all.iter().skip(at * size).take(size) {
                #[expect(clippy::cast_possible_truncation, reason = "at most 10^13 · 10^3")]
                let share = (term.factor * 1024.0 * value as f64).round() as i128;
                *sum += share;
                let u = u * term.factor.abs();
                *spread += if errors == Errors::Independent { u * u } else { u };
            }
        }
    }
    let whole = |sum: i128| i64::try_from((sum + 512).div_euclid(1024)).unwrap_or(i64::MAX);
    let root = |s: f64| if errors == Errors::Independent { s.sqrt() } else { s };
    sums.into_iter().zip(spread).map(|(sum, s)| (whole(sum), root(s))).collect()
}

fn check_kit(plan: &Plan, store: &Store<'_>, kit: &Kit) -> Result<(), Fault> {
    let own = filled(plan, store, kit)?;
    let host = || kit.host.clone();
    let errors = plan.certainty().map_or(Errors::Independent, |c| c.errors);
    let (mut loss, mut told) = (0.0, kit.fits.iter());
    let (mut product, mut outside) = (1.0, 0.0);
    for fit in plan.fits() {
        let w = fit.window;
        let width = (w.target - w.min).max(w.max - w.target) as f64;
        let found = values(&own, fit.places, &fit.terms, fit.constant, errors);
        for (i, (value, u)) in found.into_iter().enumerate() {
            let (name, place) = (fit.name.clone(), i + 1);
            if value < w.min || w.max < value {
                return Err(Fault::FitOutside { host: host(), fit: name, place, value });
            }
            let stated = told.next().filter(|t| t.fit == fit.name && t.place == place);
            let stated = stated.map_or(f64::NAN, |t| t.value as f64);
            same("value of a fit", &kit.host, stated, value as f64)?;
            if width > 0.0 {
                loss += ((value - w.target) as f64 / width).powi(2);
            }
            let inside = probability_inside(value as f64, w.min as f64, w.max as f64, u);
            product *= inside;
            outside += 1.0 - inside;
        }
    }
    for (i, spread) in plan.spreads().iter().enumerate() {
        let found = values(&own, spread.places, &spread.terms, 0, errors);
        let sizes = || found.iter().map(|v| v.0);
        let value = sizes().max().unwrap_or(0) - sizes().min().unwrap_or(0);
        if value > spread.allowed {
            let spread = spread.name.clone();
            return Err(Fault::SpreadTooWide { host: host(), spread, value });
        }
        let stated = kit.spreads.get(i).filter(|s| s.spread == spread.name);
        same("spread", &kit.host, stated.map_or(f64::NAN, |s| s.value as f64), value as f64)?;
        if spread.allowed > 0 {
            loss += value as f64 / spread.allowed as f64;
        }
    }
    same("loss", &kit.host, kit.loss, loss)?;
    let sure = if errors == Errors::Independent { product } else { (1.0 - outside).max(0.0) };
    same("probability", &kit.host, kit.probability, sure)?;
    match plan.certainty() {
        Some(c) if sure < c.probability - 1e-9 => {
            Err(Fault::NotSure { host: host(), probability: sure })
        }
        _ => Ok(()),
    }
}

fn probability_inside(value: f64, min: f64, max: f64, u: f64) -> f64 {
    if u == 0.0 {
        return 1.0;
    }
    let root = std::f64::consts::SQRT_2;
    0.5 * (libm::erfc((min - value) / u / root) - libm::erfc((max - value) / u / root))
}

fn check_stock(plan: &Plan, pieces: &[Piece], kits: &Kits) -> Result<(), Fault> {
    let mut told: HashMap<(&str, &str), i64> = HashMap::new();
    for part in kits.engines.iter().flat_map(|k| &k.parts) {
        *told.entry((part.role.as_str(), part.piece.as_str())).or_default() += 1;
    }
    for placed in &kits.still_fitted {
        *told.entry((placed.role.as_str(), placed.piece.as_str())).or_default() += 1;
    }
    for spare in &kits.spare {
        *told.entry((spare.piece.role.as_str(), spare.piece.id.as_str())).or_default() += spare.n;
    }
    for piece in pieces.iter().filter(|p| p.role != plan.host().name) {
        let told = told.remove(&(piece.role.as_str(), piece.id.as_str())).unwrap_or(0);
        if told != piece.stock {
            let (role, id, stock) = (piece.role.clone(), piece.id.clone(), piece.stock);
            return Err(Fault::StockDoesNotClose { role, piece: id, stock, told });
        }
    }
    let stranger = told.into_keys().min();
    stranger.map_or(Ok(()), |(role, id)| {
        Err(Fault::Unknown { role: role.to_owned(), piece: id.to_owned() })
    })
}

fn check_wish(plan: &Plan, wish: &Wish, kits: &Kits) -> Result<(), Fault> {
    let host_role = plan.host().name.as_str();
    let holds = |kit: &Kit, role: &str, id: &str| {
        (role == host_role && kit.host == id)
            || kit.parts.iter().any(|p| p.role == role && p.piece == id)
    };
    let against = match wish {
        Wish::Rank { .. } => None,
        Wish::Held(piece) => {
            let found = kits.engines.iter().find(|k| holds(k, &piece.role, &piece.id));
            found.map(|k| (k, piece.role.clone(), piece.id.clone()))
        }
        Wish::Reserved { piece, host } => {
            let mut others = kits.engines.iter().filter(|k| k.host != *host);
            let found = others.find(|k| holds(k, &piece.role, &piece.id));
            found.map(|k| (k, piece.role.clone(), piece.id.clone()))
        }
        Wish::Apart(a, b) => {
            let both = |k: &&Kit| {
                let same = a == b;
                let times = || k.parts.iter().filter(|p| p.role == a.role && p.piece == a.id);
                if same {
                    times().count() > 1
                } else {
                    holds(k, &a.role, &a.id) && holds(k, &b.role, &b.id)
                }
            };
            kits.engines.iter().find(both).map(|k| (k, a.role.clone(), a.id.clone()))
        }
        Wish::Fitted(placed) => {
            let found = kits.engines.iter().find(|k| k.host == placed.host);
            let wrong = found.filter(|k| {
                let same = |p: &&super::Part| p.role == placed.role && p.place == placed.place;
                k.parts.iter().find(same).is_none_or(|p| p.piece != placed.piece)
            });
            wrong.map(|k| (k, placed.role.clone(), placed.piece.clone()))
        }
    };
    against.map_or(Ok(()), |(kit, role, piece)| {
        Err(Fault::WishNotKept { host: kit.host.clone(), role, piece })
    })
}

fn same(figure: &'static str, what: &str, stated: f64, found: f64) -> Result<(), Fault> {
    // Losses are sums of many squares; whole values are exact.
    if (stated - found).abs() <= 1e-9 * found.abs().max(1.0) {
        Ok(())
    } else {
        Err(Fault::WrongFigure { figure, what: what.to_owned(), stated, found })
    }
}
