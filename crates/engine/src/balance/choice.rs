//! The best of a few set depths at a few set angles, in one plane: for a machine with fixed angles
//! and a stepped depth stop. [`super::plan`] plans freely, over two planes.

use bedplate_gauge::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};

use super::holes::{Drilling, Face, HoleError, Removed, drilled_hole};
use super::vector::{Phasor, Unbalance};

/// Most plans that are tried; more would keep the page waiting.
const MOST_PLANS: f64 = 5e6;

/// Angles, depths and the drill among which to choose.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    /// Unbalance to take away.
    pub unbalance: Unbalance,
    /// Angles at which one hole each may be drilled, degrees from pin 1.
    pub allowed_deg: Vec<f64>,
    /// Full-diameter depths that may be set, mm.
    pub depths_mm: Vec<f64>,
    /// The drill at its place.
    pub drilling: Drilling,
    /// Most holes.
    pub holes_max: usize,
}

/// The plan chosen.
#[derive(Debug, Clone, PartialEq)]
pub struct Chosen {
    /// For each allowed angle, which depth (its place in the list), or no hole.
    pub depth_idx: Vec<Option<usize>>,
    /// What is left.
    pub residual: Unbalance,
    /// Mass taken away, g.
    pub mass_g: f64,
}

impl Chosen {
    /// How many holes it has.
    #[must_use]
    pub fn n_holes(&self) -> usize {
        self.depth_idx.iter().flatten().count()
    }
}

/// Why nothing can be chosen.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ChoiceError {
    /// The unbalance or an angle is no finite number.
    #[error("{what} is {value}; a finite number is needed")]
    NotFinite {
        /// Which figure.
        what: &'static str,
        /// Its value.
        value: f64,
    },
    /// A depth that cannot be drilled.
    #[error(transparent)]
    Hole(#[from] HoleError),
    /// More plans than can be tried.
    #[error(
        "{n_plans:.0} plans are possible and at most {most:.0} tried; give fewer angles or depths"
    )]
    TooMany {
        /// How many plans there are.
        n_plans: f64,
        /// How many are tried.
        most: f64,
    },
}

/// The plan of set angles and depths that leaves least unbalance.
///
/// # Formula
/// Every plan of at most `holes_max` holes, at most one at each angle, is tried: least
/// `|U − Σ U_hole e^{iφ}|`; of equals the one with fewer holes, then with less mass removed.
/// # Given
/// A [`Choice`]; angles as far apart as the web between holes asks for.
/// # Returns
/// [`Chosen`].
/// # Errors
/// [`ChoiceError`].
/// # Validity
/// One plane. Plans that cannot be better are passed over, which changes nothing in the answer.
/// # Source
/// Exhaustive search; hole by [`drilled_hole`].
/// # Example
/// Brute force over all plans (Python): 310 g·mm at 40° with an 8 mm drill.
/// ```
/// use bedplate_engine::balance::choice::{Choice, choose_holes};
/// use bedplate_engine::balance::holes::{Drilling, Face};
/// use bedplate_engine::balance::vector::Unbalance;
/// let chosen = choose_holes(&Choice {
///     unbalance: Unbalance { amount_gmm: 310.0, angle_deg: 40.0 },
///     allowed_deg: vec![0.0, 30.0, 60.0, 90.0, 330.0],
///     depths_mm: vec![5.0, 10.0, 15.0],
///     drilling: Drilling {
///         diameter_mm: 8.0, point_deg: 118.0, density_g_cm3: 7.85, radius_mm: 60.0,
///         face: Face::Flat,
///     },
///     holes_max: 3,
/// })?;
/// assert_eq!(format!("{:.6}", chosen.residual.amount_gmm), "7.116828");
/// # Ok::<(), bedplate_engine::balance::choice::ChoiceError>(())
/// ```
pub fn choose_holes(choice: &Choice) -> Result<Chosen, ChoiceError> {
    if !choice.unbalance.is_finite() {
        let value = choice.unbalance.amount_gmm;
        return Err(ChoiceError::NotFinite { what: "unbalance", value });
    }
    if let Some(value) = choice.allowed_deg.iter().copied().find(|angle| !angle.is_finite()) {
        return Err(ChoiceError::NotFinite { what: "allowed angle", value });
    }
    let takes = choice
        .depths_mm
        .iter()
        .map(|depth_mm| drilled_hole(&choice.drilling, *depth_mm))
        .collect::<Result<Vec<_>, _>>()?;
    let n_plans = count_plans(choice);
    if n_plans > MOST_PLANS {
        return Err(ChoiceError::TooMany { n_plans, most: MOST_PLANS });
    }
    let directions = choice.allowed_deg.iter().map(|deg| Phasor::polar(1.0, *deg)).collect();
    let most_gmm = takes.iter().fold(0.0, |most: f64, take| most.max(take.unbalance_gmm.abs()));
    let start = choice.unbalance.phasor();
    let none = Chosen {
        depth_idx: vec![None; choice.allowed_deg.len()],
        residual: Unbalance::from_phasor(start),
        mass_g: 0.0,
    };
    let mut search = Search {
        directions,
        takes,
        most_gmm,
        holes_max: choice.holes_max,
        trial: none.depth_idx.clone(),
        best: none,
    };
    search.place_after(0, start, 0.0);
    Ok(search.best)
}

/// Number of plans: `Σ C(angles, holes) depths^holes`.
fn count_plans(choice: &Choice) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "counts of angles and depths are small")]
    let (n_angles, n_depths) = (choice.allowed_deg.len() as f64, choice.depths_mm.len() as f64);
    let (mut total, mut term, mut chosen) = (1.0, 1.0, 0.0);
    for _ in 0..choice.holes_max.min(choice.allowed_deg.len()) {
        term *= (n_angles - chosen) / (chosen + 1.0) * n_depths;
        total += term;
        chosen += 1.0;
    }
    total
}

struct Search {
    directions: Vec<Phasor>,
    takes: Vec<Removed>,
    most_gmm: f64,
    holes_max: usize,
    trial: Vec<Option<usize>>,
    best: Chosen,
}

impl Search {
    /// Tries every plan whose holes stand at the angles from place `first` on, after those of
    /// `trial` that stand before.
    fn place_after(&mut self, first: usize, left: Phasor, mass_g: f64) {
        let n_holes = self.trial.iter().flatten().count();
        self.keep_if_better(n_holes, left, mass_g);
        let room = self.holes_max.saturating_sub(n_holes).min(self.directions.len() - first);
        if room == 0 {
            return;
        }
        #[expect(clippy::cast_precision_loss, reason = "a count of holes is small")]
        let reach_gmm = room as f64 * self.most_gmm;
        if left.size() - reach_gmm > self.best.residual.amount_gmm * (1.0 + 1e-12) {
            return;
        }
        for angle in first..self.directions.len() {
            for depth in 0..self.takes.len() {
                let take = self.takes[depth];
                self.trial[angle] = Some(depth);
                let rest = left - self.directions[angle] * take.unbalance_gmm;
                self.place_after(angle + 1, rest, mass_g + take.mass_g);
            }
            self.trial[angle] = None;
        }
    }

    fn keep_if_better(&mut self, n_holes: usize, left: Phasor, mass_g: f64) {
        let (amount, best) = (left.size(), self.best.residual.amount_gmm);
        let equal = (amount - best).abs() <= 1e-9 * (1.0 + best);
        let cheaper = (n_holes, mass_g) < (self.best.n_holes(), self.best.mass_g);
        if (equal && cheaper) || (!equal && amount < best) {
            self.best.depth_idx.clone_from(&self.trial);
            self.best.residual = Unbalance::from_phasor(left);
            self.best.mass_g = mass_g;
        }
    }
}

/// Handbook entry of [`choose_holes`].
pub const HOLE_CHOICE: Calculation = Calculation {
    name: "hole-choice",
    title: "Holes at set angles and depths",
    stage: Stage::Balance,
    question: "Which of these angles and depths leave least unbalance in one plane?",
    inputs: &[
        Input::quantity("unbalance", "g·mm", "unbalance to take away").at_least(0.0),
        Input::quantity("angle", "°", "its angle from pin 1"),
        Input::list("allowed", "°", "angles at which one hole each may be drilled"),
        Input::list("depths", "mm", "full-diameter depths that may be set").at_least(0.0),
        Input::quantity("diameter", "mm", "diameter of the drill").over(0.0),
        Input::quantity("radius", "mm", "distance of the face from the rotor's axis").over(0.0),
        Input::quantity("density", "g/cm³", "density of the metal").over(0.0).or("7.85 g/cm³"),
        Input::quantity("point", "°", "angle of the drill's point")
            .over(0.0)
            .at_most(180.0)
            .or("118°"),
        Input::choice("face", &["flat", "round"], "surface drilled into").or("flat"),
        Input::count("max_holes", "most holes").at_least(0.0),
    ],
    outputs: &[
        Output::figure("residual", "g·mm", "what is left"),
        Output::figure("residual_angle", "°", "its angle from pin 1"),
        Output::figure("holes", "", "number of holes"),
        Output::figure("mass", "g", "mass taken away"),
        Output::figure(
            "depth_index",
            "",
            "for each angle: 0 no hole, 1 the first depth, 2 the second …",
        ),
    ],
    formula: "least |U − Σ U_hole e^{iφ}| over every plan; of equals fewest holes, then least mass",
    source: "exhaustive search; hole as in drilled-hole",
    validity: "One plane; angles as far apart as the web between holes asks for.",
    example: &[
        ("unbalance", "310 g·mm"),
        ("angle", "40°"),
        ("allowed", "0, 30, 60, 90, 330 °"),
        ("depths", "5, 10, 15 mm"),
        ("diameter", "8 mm"),
        ("radius", "60 mm"),
        ("density", "7.85 g/cm³"),
        ("max_holes", "3"),
    ],
    expected: &[("residual", "7.1168277375"), ("depth_index", "1, 1, 0, 1, 0"), ("holes", "3")],
    run: run_choice,
};

fn run_choice(given: &Given) -> Result<Answer, Refused> {
    let choice = Choice {
        unbalance: Unbalance {
            amount_gmm: given.number("unbalance"),
            angle_deg: given.number("angle"),
        },
        allowed_deg: given.list("allowed").to_vec(),
        depths_mm: given.list("depths").to_vec(),
        drilling: Drilling {
            diameter_mm: given.number("diameter"),
            point_deg: given.number("point"),
            density_g_cm3: given.number("density"),
            radius_mm: given.number("radius"),
            face: if given.word("face") == "round" { Face::Round } else { Face::Flat },
        },
        holes_max: given.count("max_holes"),
    };
    let chosen = choose_holes(&choice).map_err(|error| {
        let input = match error {
            ChoiceError::NotFinite { .. } => "unbalance",
            ChoiceError::Hole(_) => "depths",
            ChoiceError::TooMany { .. } => "allowed",
        };
        Refused::because(input, error.to_string())
    })?;
    #[expect(clippy::cast_precision_loss, reason = "places in a short list")]
    let place = |depth: &Option<usize>| depth.map_or(0.0, |idx| (idx + 1) as f64);
    Ok(Answer::new()
        .figure("residual", chosen.residual.amount_gmm)
        .figure("residual_angle", chosen.residual.angle_deg)
        .count("holes", chosen.n_holes())
        .figure("mass", chosen.mass_g)
        .list("depth_index", chosen.depth_idx.iter().map(place).collect()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn choice(allowed_deg: Vec<f64>, holes_max: usize) -> Choice {
        Choice {
            unbalance: Unbalance { amount_gmm: 300.0, angle_deg: 10.0 },
            allowed_deg,
            depths_mm: vec![4.0, 8.0, 12.0],
            drilling: Drilling {
                diameter_mm: 8.0,
                point_deg: 118.0,
                density_g_cm3: 7.85,
                radius_mm: 60.0,
                face: Face::Round,
            },
            holes_max,
        }
    }

    #[test]
    fn without_angles_or_holes_nothing_is_drilled() {
        for nothing in [choice(vec![], 3), choice(vec![0.0, 20.0], 0)] {
            let chosen = choose_holes(&nothing).unwrap();
            assert_eq!(chosen.n_holes(), 0);
            assert!((chosen.residual.amount_gmm - 300.0).abs() < 1e-9);
        }
    }

    #[test]
    fn an_angle_more_leaves_no_more_unbalance() {
        let mut allowed = vec![350.0];
        let mut before = f64::INFINITY;
        for angle in [330.0, 20.0, 40.0, 60.0, 75.0] {
            allowed.push(angle);
            let left = choose_holes(&choice(allowed.clone(), 3)).unwrap().residual.amount_gmm;
            assert!(left <= before + 1e-9);
            before = left;
        }
    }

    #[test]
    fn a_hole_at_the_wrong_side_is_never_drilled() {
        assert_eq!(choose_holes(&choice(vec![170.0, 190.0, 210.0], 3)).unwrap().n_holes(), 0);
    }

    #[test]
    fn too_many_plans_and_senseless_figures_are_refused() {
        let many = choice((0..90).map(|k| f64::from(k) * 4.0).collect(), 8);
        assert!(matches!(choose_holes(&many), Err(ChoiceError::TooMany { .. })));
        assert!(matches!(
            choose_holes(&choice(vec![f64::NAN], 1)),
            Err(ChoiceError::NotFinite { .. })
        ));
        let mut deep = choice(vec![0.0], 1);
        deep.depths_mm.push(400.0);
        assert!(matches!(choose_holes(&deep), Err(ChoiceError::Hole(_))));
    }
}
