//! A correction divided between two angles at which metal may be taken or added.

use bedplate_gauge::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};

use super::vector::{sin_cos_deg, whole_turn_deg};

/// Why a correction cannot be divided between two angles.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum SplitError {
    /// A figure is no finite number, or the amount is negative.
    #[error("{what} is {value}; a finite number is needed, and no negative amount")]
    NotFinite {
        /// Which figure.
        what: &'static str,
        /// Its value.
        value: f64,
    },
    /// The two angles point the same or opposite ways.
    #[error(
        "{first_deg}° and {second_deg}° lie on one line; two angles apart by under 180° are needed"
    )]
    OneLine {
        /// First allowed angle.
        first_deg: f64,
        /// Second allowed angle.
        second_deg: f64,
    },
    /// The correction's angle is outside the two allowed ones.
    #[error(
        "{angle_deg}° is not between {first_deg}° and {second_deg}°; one on each side is needed"
    )]
    NotBetween {
        /// Angle of the correction.
        angle_deg: f64,
        /// First allowed angle.
        first_deg: f64,
        /// Second allowed angle.
        second_deg: f64,
    },
}

/// A correction and the two angles at which it may be made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Correction {
    /// Amount, in any unit (g at one radius, or g·mm); zero or more.
    pub amount: f64,
    /// Its angle, degrees.
    pub angle_deg: f64,
    /// The allowed angles, degrees, in any order, the correction's angle between them.
    pub allowed_deg: [f64; 2],
}

/// A correction divided between two allowed angles.
///
/// # Formula
/// Sine rule: `m_1 = m sin(φ_2 − φ) / sin(φ_2 − φ_1)`, `m_2 = m sin(φ − φ_1) / sin(φ_2 − φ_1)`.
/// # Given
/// A [`Correction`].
/// # Returns
/// The amounts at the two angles, in their order and in the unit of the amount.
/// # Errors
/// [`SplitError`]: angles on one line, or the correction outside them (one share would be
/// negative).
/// # Validity
/// Both at the same radius and in the same plane.
/// # Source
/// Sine rule of the plane triangle.
/// # Example
/// Arithmetic: 20 at 50° between 30° and 90°.
/// ```
/// use bedplate_engine::balance::split::{Correction, split_correction};
/// let shares =
///     split_correction(Correction { amount: 20.0, angle_deg: 50.0, allowed_deg: [30.0, 90.0] })?;
/// assert_eq!(format!("{:.6} {:.6}", shares[0], shares[1]), "14.844544 7.898617");
/// # Ok::<(), bedplate_engine::balance::split::SplitError>(())
/// ```
pub fn split_correction(correction: Correction) -> Result<[f64; 2], SplitError> {
    let Correction { amount, angle_deg, allowed_deg: [first_deg, second_deg] } = correction;
    let named = [
        ("amount", amount),
        ("angle", angle_deg),
        ("allowed angle", first_deg),
        ("allowed angle", second_deg),
    ];
    if let Some((what, value)) = named.into_iter().find(|(_, value)| !value.is_finite()) {
        return Err(SplitError::NotFinite { what, value });
    }
    if amount < 0.0 {
        return Err(SplitError::NotFinite { what: "amount", value: amount });
    }
    let sine = |from_deg: f64, to_deg: f64| sin_cos_deg(whole_turn_deg(to_deg - from_deg)).0;
    let spread = sine(first_deg, second_deg);
    if spread.abs() < 1e-9 {
        return Err(SplitError::OneLine { first_deg, second_deg });
    }
    let shares = [
        amount * sine(angle_deg, second_deg) / spread,
        amount * sine(first_deg, angle_deg) / spread,
    ];
    // A correction exactly at an allowed angle may leave a share of minus the rounding.
    let rounding = 1e-12 * amount / spread.abs();
    if shares.iter().any(|share| *share < -rounding) {
        return Err(SplitError::NotBetween { angle_deg, first_deg, second_deg });
    }
    Ok(shares.map(|share| share.max(0.0)))
}

/// Handbook entry of [`split_correction`].
pub const SPLIT_CORRECTION: Calculation = Calculation {
    name: "split-correction",
    title: "Correction split between two angles",
    stage: Stage::Balance,
    question: "How much belongs at each of two allowed angles?",
    inputs: &[
        Input::quantity("amount", "", "correction, as a plain number in any unit").at_least(0.0),
        Input::quantity("angle", "°", "its angle from pin 1"),
        Input::list("allowed", "°", "the two allowed angles, one on each side"),
    ],
    outputs: &[
        Output::figure("first", "", "share at the first angle, in the unit of the amount"),
        Output::figure("second", "", "share at the second angle, in the unit of the amount"),
    ],
    formula: "m1 = m sin(φ2 − φ) / sin(φ2 − φ1);  m2 = m sin(φ − φ1) / sin(φ2 − φ1)",
    source: "sine rule",
    validity: "Same radius, same plane; the correction between the two angles.",
    example: &[("amount", "20"), ("angle", "50°"), ("allowed", "30, 90 °")],
    expected: &[("first", "14.8445439794"), ("second", "7.89861687269")],
    run: run_split,
};

fn run_split(given: &Given) -> Result<Answer, Refused> {
    let allowed_deg = <[f64; 2]>::try_from(given.list("allowed")).map_err(|_| {
        let got = given.list("allowed").len();
        Refused::because("allowed", format!("{got} angles given; two are needed"))
    })?;
    let (amount, angle_deg) = (given.number("amount"), given.number("angle"));
    let [first, second] = split_correction(Correction { amount, angle_deg, allowed_deg })
        .map_err(|error| Refused::because("allowed", error.to_string()))?;
    Ok(Answer::new().figure("first", first).figure("second", second))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::balance::vector::Phasor;
    use proptest::prelude::*;

    fn split(amount: f64, angle_deg: f64, allowed_deg: [f64; 2]) -> Result<[f64; 2], SplitError> {
        split_correction(Correction { amount, angle_deg, allowed_deg })
    }

    #[test]
    fn a_correction_at_an_allowed_angle_stays_whole() {
        for (angle, whole) in [(20.0, 0), (80.0, 1)] {
            let shares = split(5.0, angle, [20.0, 80.0]).unwrap();
            assert!((shares[whole] - 5.0).abs() < 1e-12 && shares[1 - whole] < 1e-12);
        }
    }

    #[test]
    fn outside_on_one_line_and_not_finite_are_refused() {
        assert!(matches!(split(5.0, 100.0, [20.0, 80.0]), Err(SplitError::NotBetween { .. })));
        assert!(matches!(split(5.0, 230.0, [20.0, 80.0]), Err(SplitError::NotBetween { .. })));
        assert!(matches!(split(5.0, 20.0, [20.0, 200.0]), Err(SplitError::OneLine { .. })));
        assert!(matches!(split(f64::NAN, 20.0, [20.0, 80.0]), Err(SplitError::NotFinite { .. })));
        assert!(matches!(split(-1.0, 30.0, [20.0, 80.0]), Err(SplitError::NotFinite { .. })));
    }

    proptest! {
        #[test]
        fn the_shares_add_to_the_correction(
            amount in 0.0..1e3f64, first in -400.0..400.0f64, spread in 2.0..178.0f64,
            part in 0.0..1.0f64, swapped in any::<bool>(),
        ) {
            let (second, angle) = (first + spread, first + part * spread);
            let allowed = if swapped { [second, first] } else { [first, second] };
            let shares = split(amount, angle, allowed).unwrap();
            let sum = Phasor::polar(shares[0], allowed[0]) + Phasor::polar(shares[1], allowed[1]);
            let left = sum - Phasor::polar(amount, angle);
            prop_assert!(left.size() < 1e-9 * (1.0 + shares[0] + shares[1]));
        }
    }
}
