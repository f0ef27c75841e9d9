//! Spread of mass in a set of pistons.

use bedplate_gauge::calculation::{Answer, Calculation, Input, Output, Refused, Stage};

use super::size::Milligram;

/// The heaviest piston of a set less the lightest.
///
/// # Formula
/// `m_max − m_min`
/// # Given
/// The masses of one engine's pistons, n ≥ 1, with whatever is weighed with them.
/// # Returns
/// The spread, 0 or more; `None` for no piston at all.
/// # Validity
/// Exact. Says nothing of the unbalance the masses leave on the crankshaft.
/// # Source
/// Definition.
/// # Example
/// ```
/// use bedplate_engine::set::{mass::mass_spread, size::Milligram};
/// let set = [416_100, 417_400, 415_900, 418_200].map(Milligram);
/// assert_eq!(mass_spread(&set), Some(Milligram(2_300)));
/// ```
#[must_use]
pub fn mass_spread(masses: &[Milligram]) -> Option<Milligram> {
    Some(*masses.iter().max()? - *masses.iter().min()?)
}

/// [`mass_spread`] as a calculation.
pub const MASS_SPREAD: Calculation = Calculation {
    name: "mass-spread",
    title: "Spread of mass in a set",
    stage: Stage::Match,
    question: "How far apart are the masses of this engine's pistons?",
    inputs: &[Input::list("masses", "g", "mass of each piston of the engine, each above 0")],
    outputs: &[Output::figure("spread", "g", "heaviest less lightest")],
    formula: "m_max − m_min",
    source: "definition",
    validity: "Exact to 1 mg. Says nothing of the unbalance the masses leave on the crankshaft.",
    example: &[("masses", "416.1, 417.4, 415.9, 418.2 g")],
    expected: &[("spread", "2.3")],
    run: |given| {
        let mut masses = Vec::new();
        for (i, &mass_g) in given.list("masses").iter().enumerate() {
            let wrong =
                |reason: String| Refused::because("masses", format!("mass {}: {reason}", i + 1));
            let mass = Milligram::from_g(mass_g).map_err(|e| wrong(e.to_string()))?;
            if mass.0 <= 0 {
                return Err(wrong(format!("{mass_g} g is not above 0")));
            }
            masses.push(mass);
        }
        let spread = mass_spread(&masses).ok_or_else(|| {
            Refused::because("masses", "no mass is given; at least one is needed")
        })?;
        Ok(Answer::new().figure("spread", spread.g()))
    },
};
