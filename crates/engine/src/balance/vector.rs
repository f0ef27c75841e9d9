//! How an unbalance is written: amount and angle, or two components square to each other.
//!
//! Angles are in degrees from crank pin 1. The arithmetic is the same whichever way they are
//! counted, as long as every angle of a rotor is counted the same way; [`Sense`] names that way and
//! turns angles counted one way into the other.

use std::f64::consts::PI;
use std::ops::{Add, Div, Mul, Neg, Sub};

/// The way in which angles are counted from pin 1, looking at the rotor from its front end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sense {
    /// With the hands of a clock.
    Clockwise,
    /// Against the hands of a clock.
    Anticlockwise,
}

impl Sense {
    /// The sense in words, as a page states it.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Clockwise => "clockwise from pin 1, seen from the front",
            Self::Anticlockwise => "anticlockwise from pin 1, seen from the front",
        }
    }

    /// `angle_deg`, counted in this sense, as counted in `wanted`: in `[0, 360)`.
    #[must_use]
    pub fn angle_deg_in(self, wanted: Self, angle_deg: f64) -> f64 {
        whole_turn_deg(if self == wanted { angle_deg } else { -angle_deg })
    }
}

/// `angle_deg` brought into `[0, 360)`; NaN for what is not finite.
#[must_use]
pub fn whole_turn_deg(angle_deg: f64) -> f64 {
    let turned = angle_deg.rem_euclid(360.0);
    // A tiny negative angle is rounded up to the whole turn itself.
    if turned >= 360.0 { 0.0 } else { turned }
}

/// An unbalance: how much and where the heavy side is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unbalance {
    /// Amount, g·mm.
    pub amount_gmm: f64,
    /// Angle of the heavy side from pin 1, degrees.
    pub angle_deg: f64,
}

/// An unbalance by its two components.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Components {
    /// Component towards pin 1, at 0°, g·mm.
    pub along_gmm: f64,
    /// Component towards 90°, g·mm.
    pub across_gmm: f64,
}

impl Unbalance {
    /// No unbalance.
    pub const NONE: Self = Self { amount_gmm: 0.0, angle_deg: 0.0 };

    /// The same unbalance by its components.
    ///
    /// # Formula
    /// `along = U cos φ`, `across = U sin φ`.
    /// # Source
    /// Definition of polar coordinates.
    /// # Example
    /// ```
    /// use bedplate_engine::balance::vector::Unbalance;
    /// let parts = Unbalance { amount_gmm: 50.0, angle_deg: 30.0 }.components();
    /// assert!((parts.across_gmm - 25.0).abs() < 1e-12);
    /// ```
    #[must_use]
    pub fn components(self) -> Components {
        let Phasor { re, im } = self.phasor();
        Components { along_gmm: re, across_gmm: im }
    }

    pub(super) fn phasor(self) -> Phasor {
        Phasor::polar(self.amount_gmm, self.angle_deg)
    }

    pub(super) fn from_phasor(phasor: Phasor) -> Self {
        Self { amount_gmm: phasor.size(), angle_deg: phasor.angle_deg() }
    }

    pub(super) const fn is_finite(self) -> bool {
        self.amount_gmm.is_finite() && self.angle_deg.is_finite()
    }
}

impl Components {
    /// The same unbalance by amount and angle; the angle in `[0, 360)`, 0 where there is none.
    #[must_use]
    pub fn polar(self) -> Unbalance {
        Unbalance::from_phasor(Phasor { re: self.along_gmm, im: self.across_gmm })
    }
}

/// A quantity with amount and angle, in components: the arithmetic behind every balancing method.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Phasor {
    pub(super) re: f64,
    pub(super) im: f64,
}

impl Phasor {
    pub(super) const ZERO: Self = Self { re: 0.0, im: 0.0 };

    pub(super) fn polar(size: f64, angle_deg: f64) -> Self {
        let (sin, cos) = sin_cos_deg(angle_deg);
        Self { re: size * cos, im: size * sin }
    }

    pub(super) fn size(self) -> f64 {
        libm::hypot(self.re, self.im)
    }

    pub(super) fn angle_deg(self) -> f64 {
        if self == Self::ZERO {
            return 0.0;
        }
        whole_turn_deg(libm::atan2(self.im, self.re) * 180.0 / PI)
    }

    pub(super) fn is_finite(self) -> bool {
        self.re.is_finite() && self.im.is_finite()
    }
}

/// Sine and cosine of an angle in degrees. From `libm`, so that a plan is the same on every
/// machine.
pub(super) fn sin_cos_deg(angle_deg: f64) -> (f64, f64) {
    libm::sincos(angle_deg * PI / 180.0)
}

impl Add for Phasor {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self { re: self.re + other.re, im: self.im + other.im }
    }
}

impl Sub for Phasor {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self { re: self.re - other.re, im: self.im - other.im }
    }
}

impl Neg for Phasor {
    type Output = Self;
    fn neg(self) -> Self {
        Self { re: -self.re, im: -self.im }
    }
}

impl Mul for Phasor {
    type Output = Self;
    fn mul(self, other: Self) -> Self {
        Self {
            re: self.re * other.re - self.im * other.im,
            im: self.re * other.im + self.im * other.re,
        }
    }
}

impl Mul<f64> for Phasor {
    type Output = Self;
    fn mul(self, factor: f64) -> Self {
        Self { re: self.re * factor, im: self.im * factor }
    }
}

impl Div for Phasor {
    type Output = Self;
    fn div(self, other: Self) -> Self {
        let square = other.re * other.re + other.im * other.im;
        Self {
            re: (self.re * other.re + self.im * other.im) / square,
            im: (self.im * other.re - self.re * other.im) / square,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn nothing_has_the_angle_zero() {
        assert_eq!(Unbalance::NONE.components().polar(), Unbalance::NONE);
    }

    #[test]
    fn a_tiny_negative_angle_stays_below_a_whole_turn() {
        assert_eq!(whole_turn_deg(-1e-20), 0.0);
        assert_eq!(whole_turn_deg(-90.0), 270.0);
        assert_eq!(whole_turn_deg(720.0), 0.0);
        assert!(whole_turn_deg(f64::NAN).is_nan());
        assert!(whole_turn_deg(f64::INFINITY).is_nan());
    }

    #[test]
    fn the_other_sense_mirrors_the_angle() {
        assert_eq!(Sense::Clockwise.angle_deg_in(Sense::Anticlockwise, 90.0), 270.0);
        assert_eq!(Sense::Clockwise.angle_deg_in(Sense::Clockwise, 90.0), 90.0);
        assert_eq!(Sense::Anticlockwise.angle_deg_in(Sense::Clockwise, 0.0), 0.0);
    }

    proptest! {
        #[test]
        fn components_and_polar_are_inverse(
            amount_gmm in 1e-3..1e6f64, angle_deg in 0.0..360.0f64,
        ) {
            let back = Unbalance { amount_gmm, angle_deg }.components().polar();
            prop_assert!((back.amount_gmm / amount_gmm - 1.0).abs() < 1e-12);
            let turn = (back.angle_deg - angle_deg + 180.0).rem_euclid(360.0) - 180.0;
            prop_assert!(turn.abs() < 1e-9, "{turn}");
        }
    }
}
