//! What belongs to one type of engine: the roles its pieces play, the fits between them, and what
//! must be alike over its places. All of it is data; a new fit is one more [`Fit`].

use std::collections::HashSet;

use super::KitError;

/// Most pieces of one role in one engine.
pub const PER_ENGINE_MAX: usize = 128;

/// Most values of one feature on one piece, and most places of one rule.
pub const PLACES_MAX: usize = 128;

/// Largest magnitude of a size in nanometres or a mass in milligrams: 10 m, 10 t.
pub const REACH: i64 = 10_000_000_000;

/// Largest sum of the magnitudes of all factors that act at one place.
pub const FACTORS_MAX: f64 = 1_000.0;

/// Fine steps in one whole step; see [`Fit`].
pub(super) const FINE: i64 = 1_024;

/// What a feature measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Measure {
    /// A length, in whole nanometres.
    Length,
    /// A mass, in whole milligrams.
    Mass,
}

impl Measure {
    /// A value in the unit people read: mm or g, with its sign.
    #[must_use]
    pub fn tell(self, steps: i64) -> String {
        match self {
            Self::Length => format!("{} mm", steps as f64 / 1e6),
            Self::Mass => format!("{} g", steps as f64 / 1e3),
        }
    }
}

/// Something gauged or weighed on every piece of a role, at one or more positions (the journals of
/// a crankshaft, the bores of a block).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Feature {
    /// Its name.
    pub name: String,
    /// Length or mass.
    pub measure: Measure,
    /// Number of values on one piece, 1 to 128.
    pub positions: usize,
}

/// How pieces of a role lie in the store.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Supply {
    /// One by one, each with its own number and readings.
    Numbered,
    /// By grade: all pieces of a grade are alike, and their number in stock is known.
    Graded,
}

/// A part that goes into the engine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Role {
    /// Its name.
    pub name: String,
    /// How many go into one engine, 1 to 128.
    pub per_engine: usize,
    /// How they lie in the store.
    pub supply: Supply,
    /// What is known of each piece.
    pub features: Vec<Feature>,
}

/// One feature's share in the value of a rule.
///
/// A role holds `n` values of the feature in one engine: its pieces in order, and on each piece its
/// positions in order. With as many values as the rule has places, place `k` takes value `k`; with
/// `m` times as many, it takes the sum of values `k·m` to `k·m + m − 1` (two shell halves on one
/// journal); with a `q`-th of them, value `k / q` serves `q` places (two rods on one crank pin).
#[derive(Debug, Clone, PartialEq)]
pub struct Term {
    /// Name of the role.
    pub role: String,
    /// Name of its feature.
    pub feature: String,
    /// What the values are multiplied by: not 0.
    pub factor: f64,
    /// Which value (or group of values, counted from 0) each place takes, where they do not follow
    /// the order of the places; empty where they do.
    pub at: Vec<usize>,
}

impl Term {
    /// A term whose values follow the order of the places.
    #[must_use]
    pub fn new(role: &str, feature: &str, factor: f64) -> Self {
        Self { role: role.to_owned(), feature: feature.to_owned(), factor, at: Vec::new() }
    }
}

/// The limits of a fit and what it aims at, in whole steps: min ≤ target ≤ max.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// Least value, itself allowed.
    pub min: i64,
    /// The value aimed at.
    pub target: i64,
    /// Greatest value, itself allowed.
    pub max: i64,
}

/// A rule on the value at each of its places: clearance, interference, gap, protrusion.
///
/// The value at a place is `constant + Σ factor · value` in whole steps. Each product is first
/// rounded to 1/1024 of a step, the sum then to the nearest whole step, halves upward; with whole
/// factors nothing is rounded at all.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Its name.
    pub name: String,
    /// Number of places in one engine, 1 to 128.
    pub places: usize,
    /// What it is made of, at least one term.
    pub terms: Vec<Term>,
    /// Added at every place.
    pub constant: i64,
    /// What is allowed.
    pub window: Window,
}

/// A rule on the difference between the greatest and the least value over its places, as for the
/// masses of pistons, or of piston, pin and rod together. The values are made as those of a
/// [`Fit`].
#[derive(Debug, Clone, PartialEq)]
pub struct Spread {
    /// Its name.
    pub name: String,
    /// Number of places in one engine, 1 to 128.
    pub places: usize,
    /// What the value is made of, at least one term.
    pub terms: Vec<Term>,
    /// Greatest difference, itself allowed; 0 or more.
    pub allowed: i64,
}

/// How the errors of the gauges go together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Errors {
    /// Independent of each other: variances add within a place, probabilities multiply over places.
    Independent,
    /// Not known, as with one gauge for several features or one master for several gauges:
    /// uncertainties add within a place, and the chances to be outside add over places. What this
    /// promises holds whatever the correlation.
    Unknown,
}

/// The least probability that every fit of an engine lies inside its limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Certainty {
    /// From 0 up to, not including, 1.
    pub probability: f64,
    /// How errors go together.
    pub errors: Errors,
}

/// Roles and rules of one type of engine that do not contradict themselves.
///
/// Roles are chosen in the order in which they are given: put the ones that many rules touch first.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    host: usize,
    roles: Vec<Role>,
    fits: Vec<Fit>,
    spreads: Vec<Spread>,
    certainty: Option<Certainty>,
}

impl Plan {
    /// A plan; `host` names the role that an engine is called by (the block), one per engine.
    ///
    /// # Errors
    /// [`KitError`] for names given twice or unknown, counts out of range, limits that cross, and
    /// terms that do not go into their places.
    pub fn new(
        host: &str,
        roles: Vec<Role>,
        fits: Vec<Fit>,
        spreads: Vec<Spread>,
        certainty: Option<Certainty>,
    ) -> Result<Self, KitError> {
        once(roles.iter().map(|r| r.name.as_str()), "role")?;
        roles.iter().try_for_each(check_role)?;
        let at = roles.iter().position(|r| r.name == host);
        let host_idx = at.ok_or_else(|| KitError::UnknownRole { role: host.to_owned() })?;
        let Role { per_engine, supply, .. } = roles[host_idx];
        if per_engine != 1 || supply != Supply::Numbered {
            return Err(KitError::HostNotSingle { role: host.to_owned(), per_engine });
        }
        let fit_names = fits.iter().map(|f| f.name.as_str());
        once(fit_names.chain(spreads.iter().map(|s| s.name.as_str())), "rule")?;
        for fit in &fits {
            check_terms(&roles, &fit.name, fit.places, &fit.terms)?;
            check_window(fit)?;
        }
        for spread in &spreads {
            check_terms(&roles, &spread.name, spread.places, &spread.terms)?;
            if !(0..=REACH).contains(&spread.allowed) {
                let (rule, allowed) = (spread.name.clone(), spread.allowed);
                return Err(KitError::SpreadOutOfReach { rule, allowed });
            }
        }
        if let Some(Certainty { probability, .. }) = certainty
            && !(0.0..1.0).contains(&probability)
        {
            return Err(KitError::ProbabilityOutOfRange { probability });
        }
        Ok(Self { host: host_idx, roles, fits, spreads, certainty })
    }

    /// The role that an engine is called by.
    #[must_use]
    pub fn host(&self) -> &Role {
        &self.roles[self.host]
    }

    /// Its place among the roles.
    pub(super) fn host_idx(&self) -> usize {
        self.host
    }

    /// All roles, the host among them.
    #[must_use]
    pub fn roles(&self) -> &[Role] {
        &self.roles
    }

    /// All fits.
    #[must_use]
    pub fn fits(&self) -> &[Fit] {
        &self.fits
    }

    /// All spreads.
    #[must_use]
    pub fn spreads(&self) -> &[Spread] {
        &self.spreads
    }

    /// The least probability asked for, if any.
    #[must_use]
    pub fn certainty(&self) -> Option<Certainty> {
        self.certainty
    }

    /// Place of a role by name.
    pub(super) fn role_named(&self, name: &str) -> Result<usize, KitError> {
        let at = self.roles.iter().position(|r| r.name == name);
        at.ok_or_else(|| KitError::UnknownRole { role: name.to_owned() })
    }

    /// What a rule measures: the measure of its terms.
    #[must_use]
    pub fn measure(&self, terms: &[Term]) -> Measure {
        let feature = terms.first().and_then(|t| {
            let role = self.roles.iter().find(|r| r.name == t.role)?;
            role.features.iter().find(|f| f.name == t.feature)
        });
        feature.map_or(Measure::Length, |f| f.measure)
    }
}

/// The values of a term's feature that act at one place, counted over the pieces of its role.
pub(super) fn values_at(n_values: usize, places: usize, term: &Term, place: usize) -> Vec<usize> {
    let group = term.at.get(place).copied();
    if n_values >= places && n_values.is_multiple_of(places) {
        let m = n_values / places;
        let group = group.unwrap_or(place);
        (group * m..group * m + m).collect()
    } else {
        let q = places / n_values;
        vec![group.unwrap_or(place / q)]
    }
}

fn once<'a>(names: impl Iterator<Item = &'a str>, what: &'static str) -> Result<(), KitError> {
    let mut seen = HashSet::new();
    for name in names {
        if name.is_empty() {
            return Err(KitError::NoName { what });
        }
        if !seen.insert(name) {
            return Err(KitError::NameTwice { what, name: name.to_owned() });
        }
    }
    Ok(())
}

fn check_role(role: &Role) -> Result<(), KitError> {
    if role.per_engine == 0 || role.per_engine > PER_ENGINE_MAX {
        let (name, per_engine) = (role.name.clone(), role.per_engine);
        return Err(KitError::PerEngineOutOfRange { role: name, per_engine });
    }
    once(role.features.iter().map(|f| f.name.as_str()), "feature")?;
    let wrong = role.features.iter().find(|f| !(1..=PLACES_MAX).contains(&f.positions));
    wrong.map_or(Ok(()), |f| {
        let (feature, positions) = (f.name.clone(), f.positions);
        Err(KitError::PositionsOutOfRange { role: role.name.clone(), feature, positions })
    })
}

fn check_window(fit: &Fit) -> Result<(), KitError> {
    let Window { min, target, max } = fit.window;
    let rule = fit.name.clone();
    if min > max {
        return Err(KitError::LimitsCross { rule, min, max });
    }
    if !(min..=max).contains(&target) {
        return Err(KitError::TargetOutside { rule, target, min, max });
    }
    let wrong = [min, max, fit.constant].into_iter().find(|v| !(-REACH..=REACH).contains(v));
    wrong.map_or(Ok(()), |value| Err(KitError::LimitOutOfReach { rule, value }))
}

fn check_terms(roles: &[Role], rule: &str, places: usize, terms: &[Term]) -> Result<(), KitError> {
    if !(1..=PLACES_MAX).contains(&places) {
        return Err(KitError::PlacesOutOfRange { rule: rule.to_owned(), places });
    }
    let (mut factors, mut measure) = (0.0, None);
    for term in terms {
        let feature = check_term(roles, rule, places, term)?;
        let values = feature.1;
        factors += term.factor.abs() * (values as f64 / places as f64).max(1.0);
        if measure.is_some_and(|m| m != feature.0.measure) {
            return Err(KitError::MeasuresMixed { rule: rule.to_owned() });
        }
        measure = Some(feature.0.measure);
    }
    if terms.is_empty() {
        return Err(KitError::NoTerm { rule: rule.to_owned() });
    }
    if factors > FACTORS_MAX {
        return Err(KitError::FactorsOutOfReach { rule: rule.to_owned(), sum: factors });
    }
    Ok(())
}

/// The feature a term names and how many values of it one engine holds.
fn check_term<'r>(
    roles: &'r [Role],
    rule: &str,
    places: usize,
    term: &Term,
) -> Result<(&'r Feature, usize), KitError> {
    let role = roles.iter().find(|r| r.name == term.role);
    let role = role.ok_or_else(|| KitError::UnknownRole { role: term.role.clone() })?;
    let feature = role.features.iter().find(|f| f.name == term.feature);
    let feature = feature.ok_or_else(|| KitError::UnknownFeature {
        role: role.name.clone(),
        feature: term.feature.clone(),
    })?;
    let (rule, factor) = (rule.to_owned(), term.factor);
    if !factor.is_finite() || factor == 0.0 {
        return Err(KitError::FactorWrong { rule, feature: feature.name.clone(), factor });
    }
    let values = role.per_engine * feature.positions;
    if !values.is_multiple_of(places) && !places.is_multiple_of(values) {
        let (role, feature) = (role.name.clone(), feature.name.clone());
        return Err(KitError::PlacesDoNotGo { rule, places, role, feature, values });
    }
    let groups = values.min(places);
    let known = term.at.is_empty() || term.at.len() == places;
    if !known || term.at.iter().any(|&g| g >= groups) {
        return Err(KitError::OrderWrong { rule, feature: feature.name.clone(), places, groups });
    }
    Ok((feature, values))
}
