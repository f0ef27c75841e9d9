//! The rules by which one engine type's sets are made, as the plan gives them: roles, fits, spreads
//! and how the values of pieces go into the places of a fit.

use bedplate_engine::kit::plan as kit;
use bedplate_engine::set::Set;
use bedplate_gauge::unit::Dimension;
use bedplate_record::entry::PlaceFilled;

use super::store::Candidate;
use crate::plan::{Characteristic, Engine, Fit, Plan, SetRule};
use crate::works::WorksError;

/// Temperature at which sizes are understood unless something else is said, °C.
///
/// Source: ISO 1:2022, standard reference temperature.
const REFERENCE_CELSIUS: f64 = 20.0;

/// A kind of part that belongs to a set.
#[derive(Debug)]
pub(super) struct Role<'p> {
    /// The part.
    pub(super) part: &'p str,
    /// How many one engine has.
    pub(super) per_engine: usize,
    /// Whether it is kept by grade and count.
    pub(super) is_graded: bool,
    /// What must be known of a piece, each once.
    pub(super) sizes: Vec<Size<'p>>,
}

/// A characteristic at the temperature of a fit.
#[derive(Debug, Clone, Copy)]
pub(super) struct Size<'p> {
    /// The characteristic.
    pub(super) c: &'p Characteristic,
    /// What a gauged value is multiplied by to have it at the fit's temperature.
    pub(super) swell: f64,
}

impl Size<'_> {
    /// Its name among the sizes of its part.
    pub(super) fn name(&self) -> String {
        if self.is_as_gauged() {
            self.c.id.clone()
        } else {
            format!("{} × {:.9}", self.c.id, self.swell)
        }
    }

    fn is_as_gauged(&self) -> bool {
        (self.swell - 1.0).abs() < 1e-12
    }

    fn is_same(&self, other: &Self) -> bool {
        self.c.id == other.c.id && (self.swell - other.swell).abs() < 1e-12
    }
}

/// One size in a sum.
#[derive(Debug, Clone, Copy)]
pub(super) struct Term<'p> {
    /// The size.
    pub(super) size: Size<'p>,
    /// How often it counts.
    pub(super) factor: f64,
    /// How many values of it one engine holds.
    pub(super) values: usize,
}

/// A fit with its places.
#[derive(Debug)]
pub(super) struct FitRule<'p> {
    /// The fit.
    pub(super) fit: &'p Fit,
    /// How many places one engine has.
    pub(super) places: usize,
    /// What is added up.
    pub(super) terms: Vec<Term<'p>>,
}

/// Something that must be alike over the places of one engine.
#[derive(Debug)]
pub(super) struct SpreadRule<'p> {
    /// What it is called.
    pub(super) title: String,
    /// How many places one engine has.
    pub(super) places: usize,
    /// What is added up.
    pub(super) terms: Vec<Term<'p>>,
    /// Greatest difference, SI.
    pub(super) allowed: f64,
}

/// All rules of one engine type.
#[derive(Debug)]
pub(super) struct Rule<'p> {
    pub(super) plan: &'p Plan,
    pub(super) engine: &'p Engine,
    pub(super) set: &'p SetRule,
    /// The host first, then the parts in the order in which the rules name them.
    pub(super) roles: Vec<Role<'p>>,
    /// The main fit first.
    pub(super) fits: Vec<FitRule<'p>>,
    pub(super) spreads: Vec<SpreadRule<'p>>,
}

/// The part of the rules that the search of blocks and pistons takes by itself.
#[derive(Debug, Clone, Copy)]
pub(super) struct Main<'p> {
    pub(super) fit: &'p Fit,
    pub(super) outer: Size<'p>,
    pub(super) inner: Size<'p>,
    /// Mass of the inner part and its allowed spread in kg, if there is such a rule.
    pub(super) mass: Option<(Size<'p>, f64)>,
}

impl<'p> Rule<'p> {
    pub(super) fn of(plan: &'p Plan, engine_type: &str) -> Result<Self, WorksError> {
        let missing = |what: String| {
            let mend = format!("the works file has no {what}; mend [set.{engine_type}]");
            WorksError::refused(format!("matching {engine_type}"), mend)
        };
        let (engine, set) = plan
            .engines
            .get(engine_type)
            .zip(plan.sets.get(engine_type))
            .ok_or_else(|| missing("set rule with a fit and a spread".to_owned()))?;
        let mut rule = Self { plan, engine, set, roles: vec![], fits: vec![], spreads: vec![] };
        for name in &set.fits {
            let fit = plan.fits.get(name).ok_or_else(|| missing(format!("fit \"{name}\"")))?;
            let terms = fit.terms.iter().map(|t| {
                let c = plan.characteristics.get(&t.characteristic);
                let c = c.ok_or_else(|| missing(format!("\"{}\"", t.characteristic)))?;
                Ok(rule.term(swollen(plan, fit, c), t.factor))
            });
            let terms = terms.collect::<Result<Vec<_>, WorksError>>()?;
            let places = terms.first().map_or(0, |t| t.values);
            rule.fits.push(FitRule { fit, places, terms });
        }
        if rule.fits.is_empty() {
            return Err(missing("fit in its set rule".to_owned()));
        }
        rule.add_spreads().map_err(missing)?;
        rule.add_roles();
        Ok(rule)
    }

    fn term(&self, size: Size<'p>, factor: f64) -> Term<'p> {
        let pieces = self.per_engine(&size.c.part);
        Term { size, factor, values: pieces * size.c.positions.len().max(1) }
    }

    /// How many pieces of a part one engine has.
    pub(super) fn per_engine(&self, part: &str) -> usize {
        self.engine.parts.get(part).map_or(0, |n| usize::try_from(*n).unwrap_or(usize::MAX))
    }

    fn add_spreads(&mut self) -> Result<(), String> {
        let plan = self.plan;
        let single = self.set.spreads.iter().map(|(id, most)| {
            let title = plan.characteristics.get(id).map_or(String::new(), |c| c.title.clone());
            (title, std::slice::from_ref(id), most)
        });
        let sums = self.set.together.iter().map(|t| (t.title.clone(), &t.of[..], &t.spread));
        let mut rules = vec![];
        for (title, of, most) in single.chain(sums) {
            let mut terms = vec![];
            for id in of {
                let c = plan.characteristics.get(id).ok_or_else(|| format!("\"{id}\""))?;
                if !matches!(c.unit.dimension, Dimension::Length | Dimension::Mass) {
                    let kind = c.unit.dimension.words();
                    return Err(format!("way to match by \"{id}\", which is {kind}"));
                }
                terms.push(self.term(Size { c, swell: 1.0 }, 1.0));
            }
            let places = terms.iter().map(|t| t.values).min().unwrap_or(0);
            // The spread is a difference: its factor alone counts, never a zero offset.
            let allowed = most.number() * most.unit().factor();
            rules.push(SpreadRule { title, places, terms, allowed });
        }
        self.spreads = rules;
        Ok(())
    }

    fn add_roles(&mut self) {
        let mut roles: Vec<Role<'p>> = vec![];
        let fits = self.fits.iter().flat_map(|f| &f.terms);
        for term in fits.chain(self.spreads.iter().flat_map(|s| &s.terms)) {
            let part = term.size.c.part.as_str();
            let at = roles.iter().position(|r| r.part == part).unwrap_or_else(|| {
                let is_graded = self.plan.grades.contains_key(part);
                let per_engine = self.per_engine(part);
                roles.push(Role { part, per_engine, is_graded, sizes: vec![] });
                roles.len() - 1
            });
            if !roles[at].sizes.iter().any(|s| s.is_same(&term.size)) {
                roles[at].sizes.push(term.size);
            }
        }
        self.roles = roles;
    }

    /// What an engine is called by while it is matched: the block.
    pub(super) fn host(&self) -> &Role<'p> {
        &self.roles[0]
    }

    pub(super) fn role(&self, part: &str) -> Option<&Role<'p>> {
        self.roles.iter().find(|r| r.part == part)
    }

    /// The part that fills the places of the main fit: the piston.
    pub(super) fn filler(&self) -> &'p str {
        self.fits[0].terms.get(1).map_or("", |t| t.size.c.part.as_str())
    }

    /// Name of a place of a part: empty where an engine has one of it.
    pub(super) fn place_name(&self, part: &str, place: usize) -> String {
        if self.per_engine(part) > 1 { (place + 1).to_string() } else { String::new() }
    }

    /// Name of a place of a fit: the position of its hole, if that has one for each.
    pub(super) fn fit_place(&self, fit: &FitRule<'p>, place: usize) -> String {
        let positions = fit.terms.first().map_or(&[][..], |t| &t.size.c.positions);
        match positions.get(place) {
            Some(name) if positions.len() == fit.places => name.clone(),
            _ if fit.places == 1 => String::new(),
            _ => (place + 1).to_string(),
        }
    }

    /// The place of the block itself, which comes first in every set.
    pub(super) fn block_place(&self, block: &str) -> PlaceFilled {
        let part = self.host().part.to_owned();
        PlaceFilled { part, position: String::new(), piece: block.to_owned() }
    }

    /// The places that the main fit's filler takes, in order.
    pub(super) fn filler_places<'s>(
        &'s self,
        pieces: impl Iterator<Item = &'s str> + 's,
    ) -> impl Iterator<Item = PlaceFilled> + 's {
        pieces.enumerate().map(|(i, piece)| PlaceFilled {
            part: self.filler().to_owned(),
            position: self.place_name(self.filler(), i),
            piece: piece.to_owned(),
        })
    }

    /// The places of a set of the main fit, block first.
    pub(super) fn places_of(&self, set: &Set) -> Vec<PlaceFilled> {
        let pistons = self.filler_places(set.places.iter().map(|p| p.piston.as_str()));
        std::iter::once(self.block_place(&set.block)).chain(pistons).collect()
    }

    /// The main fit, if it is one hole of the host and one piece for each place.
    pub(super) fn main(&self) -> Option<Main<'p>> {
        let main = &self.fits[0];
        let [outer, inner] = main.terms.as_slice() else { return None };
        let plain = outer.factor == 1.0 && inner.factor == -1.0 && main.fit.less == 0.0;
        let filler = self.role(&inner.size.c.part)?;
        let one_each = outer.values == main.places
            && inner.values == main.places
            && inner.size.c.positions.len() <= 1
            && self.host().per_engine == 1
            && !self.host().is_graded
            && !filler.is_graded;
        let single = |s: &&SpreadRule<'p>| match s.terms.as_slice() {
            [t] => t.size.c.part == filler.part && t.size.c.unit.dimension == Dimension::Mass,
            _ => false,
        };
        let mass = self.spreads.iter().find(single).map(|s| (s.terms[0].size, s.allowed));
        (plain && one_each && main.places <= bedplate_engine::set::CYLINDERS_MAX).then_some(Main {
            fit: main.fit,
            outer: outer.size,
            inner: inner.size,
            mass,
        })
    }

    /// Whether the main fit and one spread are all there is.
    pub(super) fn is_main_alone(&self) -> bool {
        let spreads = usize::from(self.main().is_some_and(|m| m.mass.is_some()));
        self.main().is_some() && self.fits.len() == 1 && self.spreads.len() == spreads
    }

    /// Standard uncertainty of a sum at one place, SI: each value's gauge, independent.
    pub(super) fn uncertainty(&self, places: usize, terms: &[Term<'p>]) -> f64 {
        let square = |t: &Term<'p>| {
            let c = t.size.c;
            if self.plan.grades.contains_key(&c.part) {
                // A grade's pieces are known by their class alone; its width is not a gauge's.
                return 0.0;
            }
            let u = self.plan.standard_uncertainty(c) * c.unit.factor() * t.factor;
            let n = u32::try_from((t.values / places.max(1)).max(1)).map_or(1.0, f64::from);
            u * u * n
        };
        terms.iter().map(square).sum::<f64>().sqrt()
    }
}

/// A characteristic at the temperature of a fit.
fn swollen<'p>(plan: &'p Plan, fit: &Fit, c: &'p Characteristic) -> Size<'p> {
    let celsius = |q: &bedplate_gauge::quantity::Quantity| q.to("°C");
    let gauged = c.measured_at.as_ref().map_or(REFERENCE_CELSIUS, celsius);
    let meets = fit.at.as_ref().map_or(gauged, celsius);
    let expansion = plan.parts.get(&c.part).and_then(|p| p.expansion).unwrap_or(0.0);
    Size { c, swell: 1.0 + expansion * (meets - gauged) }
}

/// Which values of a term act at one place: all in order, several in one place, or one for several.
pub(super) fn values_at(values: usize, places: usize, place: usize) -> std::ops::Range<usize> {
    if places == 0 || values == 0 {
        return 0..0;
    }
    if values >= places {
        let m = values / places;
        place * m..place * m + m
    } else {
        let at = place / (places / values).max(1);
        at..at + 1
    }
}

/// A value in whole nanometres or milligrams.
pub(super) fn steps(size: &Size<'_>, si: f64) -> f64 {
    let per_si = if size.c.unit.dimension == Dimension::Mass { 1e6 } else { 1e9 };
    si * size.swell * per_si
}

/// The sum of a rule at one place, SI, with the readings it rests on; `None` if one is not there.
pub(super) fn sum_at<'c>(
    terms: &[Term<'_>],
    places: usize,
    place: usize,
    piece: impl Fn(&str, usize) -> Option<&'c Candidate>,
) -> Option<(f64, Vec<u64>)> {
    let (mut sum, mut readings) = (0.0, vec![]);
    for term in terms {
        let c = term.size.c;
        let positions = c.positions.len().max(1);
        for value in values_at(term.values, places, place) {
            let own = piece(&c.part, value / positions)?;
            let (number, si) = *own.values.get(&c.id)?.get(value % positions)?;
            sum += term.factor * si * term.size.swell;
            readings.extend((number > 0).then_some(number));
        }
    }
    Some((sum, readings))
}

impl Rule<'_> {
    /// The rules as the search of whole kits takes them.
    pub(super) fn kit_plan(&self) -> Result<kit::Plan, WorksError> {
        let refused = |e: &dyn std::fmt::Display| {
            WorksError::refused(format!("matching {}", self.engine.name), e.to_string())
        };
        let measure = |c: &Characteristic| match c.unit.dimension {
            Dimension::Mass => kit::Measure::Mass,
            _ => kit::Measure::Length,
        };
        let roles = self.roles.iter().map(|r| kit::Role {
            name: r.part.to_owned(),
            per_engine: r.per_engine,
            supply: if r.is_graded { kit::Supply::Graded } else { kit::Supply::Numbered },
            features: r
                .sizes
                .iter()
                .map(|s| kit::Feature {
                    name: s.name(),
                    measure: measure(s.c),
                    positions: s.c.positions.len().max(1),
                })
                .collect(),
        });
        let terms = |terms: &[Term<'_>]| -> Vec<kit::Term> {
            let one = |t: &Term<'_>| kit::Term::new(&t.size.c.part, &t.size.name(), t.factor);
            terms.iter().map(one).collect()
        };
        let fits = self.fits.iter().map(|f| kit::Fit {
            name: f.fit.name.clone(),
            places: f.places,
            terms: terms(&f.terms),
            constant: -whole(f.fit.less * 1e9),
            window: kit::Window {
                min: whole(f.fit.lower.si() * 1e9),
                target: whole(f.fit.target.si() * 1e9),
                max: whole(f.fit.upper.si() * 1e9),
            },
        });
        let spreads = self.spreads.iter().enumerate().map(|(i, s)| {
            let is_mass = s.terms.iter().any(|t| t.size.c.unit.dimension == Dimension::Mass);
            kit::Spread {
                name: format!("{} ({})", s.title, i + 1),
                places: s.places,
                terms: terms(&s.terms),
                allowed: whole(s.allowed * if is_mass { 1e6 } else { 1e9 }),
            }
        });
        let certainty = self
            .set
            .sure
            .map(|probability| kit::Certainty { probability, errors: kit::Errors::Independent });
        let (roles, fits, spreads) = (roles.collect(), fits.collect(), spreads.collect());
        kit::Plan::new(self.host().part, roles, fits, spreads, certainty).map_err(|e| refused(&e))
    }
}

/// The nearest whole step; what is beyond reach the search refuses by itself.
pub(super) fn whole(steps: f64) -> i64 {
    #[expect(clippy::cast_possible_truncation, reason = "a cast of a float stops at the ends")]
    let nearest = steps.round() as i64;
    nearest
}
