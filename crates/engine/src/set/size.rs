//! Sizes and masses as whole numbers, so that a limit is kept exactly and two runs give one answer.
//!
//! A bore of 68.0087 mm is 68 008 700 nm, a piston of 416.12 g is 416 120 mg. One nanometre and one
//! milligram lie a hundredfold below what a shop's air gauge and scale resolve, so that reading
//! a figure into these steps loses nothing that was measured.

use std::fmt;
use std::ops::Sub;

/// A length or a difference of lengths in whole nanometres.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Default)]
pub struct Nanometre(pub i64);

/// A mass or a difference of masses in whole milligrams.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Default)]
pub struct Milligram(pub i64);

/// Why a number is taken neither as a size nor as a mass.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum SizeError {
    /// Not a number, or infinite.
    #[error("{value} is not a finite number; a size or a mass must be finite")]
    NotFinite {
        /// The number as received.
        value: f64,
    },
    /// Farther from zero than anything weighed or gauged here.
    #[error("{value} {unit} is out of reach; at most {limit} {unit} is taken")]
    OutOfReach {
        /// The number as received.
        value: f64,
        /// Its unit.
        unit: &'static str,
        /// The largest magnitude that is taken, in that unit.
        limit: f64,
    },
}

impl Nanometre {
    /// Largest magnitude taken: 10 m. Sums of a few of them stay far inside 64 bits.
    pub const REACH: Self = Self(10_000_000_000);

    /// The nearest whole nanometre to a length in millimetres.
    ///
    /// # Errors
    /// [`SizeError::NotFinite`] for NaN and infinities, [`SizeError::OutOfReach`] beyond 10 m.
    pub fn from_mm(length_mm: f64) -> Result<Self, SizeError> {
        whole(length_mm, "mm", 1e4).map(Self)
    }

    /// The nearest whole nanometre to a length in micrometres.
    ///
    /// # Errors
    /// [`SizeError::NotFinite`] for NaN and infinities, [`SizeError::OutOfReach`] beyond 10 m.
    pub fn from_um(length_um: f64) -> Result<Self, SizeError> {
        whole(length_um / 1e3, "mm", 1e4).map(Self)
    }

    /// The length in millimetres.
    #[must_use]
    pub fn mm(self) -> f64 {
        self.0 as f64 / 1e6
    }

    /// The length in micrometres.
    #[must_use]
    pub fn um(self) -> f64 {
        self.0 as f64 / 1e3
    }

    /// Whether the magnitude is one that is taken.
    #[must_use]
    pub const fn within_reach(self) -> bool {
        -Self::REACH.0 <= self.0 && self.0 <= Self::REACH.0
    }
}

impl Milligram {
    /// Largest magnitude taken: 10 t.
    pub const REACH: Self = Self(10_000_000_000);

    /// The nearest whole milligram to a mass in grams.
    ///
    /// # Errors
    /// [`SizeError::NotFinite`] for NaN and infinities, [`SizeError::OutOfReach`] beyond 10 t.
    pub fn from_g(mass_g: f64) -> Result<Self, SizeError> {
        whole(mass_g / 1e3, "kg", 1e4).map(Self)
    }

    /// The mass in grams.
    #[must_use]
    pub fn g(self) -> f64 {
        self.0 as f64 / 1e3
    }

    /// Whether the magnitude is one that is taken.
    #[must_use]
    pub const fn within_reach(self) -> bool {
        -Self::REACH.0 <= self.0 && self.0 <= Self::REACH.0
    }
}

/// Millionths of `value`, rounded half away from zero; both units here hold a million steps.
fn whole(value: f64, unit: &'static str, limit: f64) -> Result<i64, SizeError> {
    if !value.is_finite() {
        return Err(SizeError::NotFinite { value });
    }
    if value.abs() > limit {
        return Err(SizeError::OutOfReach { value, unit, limit });
    }
    #[expect(clippy::cast_possible_truncation, reason = "the magnitude is at most 1e10 here")]
    Ok((value * 1e6).round() as i64)
}

impl Sub for Nanometre {
    type Output = Self;

    /// Exact within reach; beyond, it stops at the ends of 64 bits.
    fn sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

impl Sub for Milligram {
    type Output = Self;

    /// Exact within reach; beyond, it stops at the ends of 64 bits.
    fn sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

impl fmt::Display for Nanometre {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} mm", self.mm())
    }
}

impl fmt::Display for Milligram {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} g", self.g())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn printed_figures_become_whole_steps() {
        assert_eq!(Nanometre::from_mm(68.0087), Ok(Nanometre(68_008_700)));
        assert_eq!(Nanometre::from_um(38.5), Ok(Nanometre(38_500)));
        assert_eq!(Milligram::from_g(416.12), Ok(Milligram(416_120)));
        assert_eq!(Nanometre::from_mm(-0.0005), Ok(Nanometre(-500)));
    }

    #[test]
    fn numbers_that_are_none_are_refused() {
        assert!(matches!(Nanometre::from_mm(f64::NAN), Err(SizeError::NotFinite { .. })));
        assert!(matches!(Milligram::from_g(f64::INFINITY), Err(SizeError::NotFinite { .. })));
        let far = Nanometre::from_mm(1e300).unwrap_err();
        assert!(far.to_string().contains("at most 10000 mm"), "{far}");
    }

    #[test]
    fn differences_are_exact() {
        assert_eq!(Nanometre(68_008_700) - Nanometre(67_970_200), Nanometre(38_500));
        assert_eq!((Nanometre(68_008_700) - Nanometre(67_970_200)).um(), 38.5);
    }
}
