//! A polar trace: deviations from a radius at equal steps of angle, once round.

use std::f64::consts::TAU;

use super::circle::Point;

/// A trace once round a part.
#[derive(Debug, Clone, PartialEq)]
pub struct Trace {
    radius_mm: f64,
    deviations_um: Vec<f64>,
}

/// Why readings are no trace.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum TraceError {
    /// The radius is no positive number.
    #[error("a radius of {radius_mm} mm; it must be above 0")]
    Radius {
        /// What was given, mm.
        radius_mm: f64,
    },
    /// Too few readings.
    #[error("{got} readings; a trace needs at least 4, at equal steps once round")]
    TooFew {
        /// How many there were.
        got: usize,
    },
    /// A deviation is no finite number.
    #[error("deviation {position} is {deviation_um} µm; it must be a finite number")]
    NotFinite {
        /// Place, counted from 1.
        position: usize,
        /// What stood there, µm.
        deviation_um: f64,
    },
    /// A deviation reaches the centre.
    #[error(
        "deviation {position} is {deviation_um} µm, beyond the centre at a radius of {radius_mm} mm"
    )]
    BeyondCentre {
        /// Place, counted from 1.
        position: usize,
        /// What stood there, µm.
        deviation_um: f64,
        /// The radius, mm.
        radius_mm: f64,
    },
}

impl Trace {
    /// A trace of deviations from a radius, outward positive, at equal steps of angle from 0 on.
    ///
    /// # Given
    /// `radius_mm`: the radius the deviations count from, above 0; `deviations_um`: four or more.
    ///
    /// # Errors
    /// [`TraceError`].
    ///
    /// # Validity
    /// A part set so well that its eccentricity is small beside its radius: the instrument reads
    /// along the radius from the table's axis.
    pub fn new(radius_mm: f64, deviations_um: Vec<f64>) -> Result<Self, TraceError> {
        if !(radius_mm.is_finite() && radius_mm > 0.0) {
            return Err(TraceError::Radius { radius_mm });
        }
        if deviations_um.len() < 4 {
            return Err(TraceError::TooFew { got: deviations_um.len() });
        }
        for (i, &deviation_um) in deviations_um.iter().enumerate() {
            let position = i + 1;
            if !deviation_um.is_finite() {
                return Err(TraceError::NotFinite { position, deviation_um });
            }
            if radius_mm + deviation_um * 1e-3 <= 0.0 {
                return Err(TraceError::BeyondCentre { position, deviation_um, radius_mm });
            }
        }
        Ok(Self { radius_mm, deviations_um })
    }

    /// The radius the deviations count from, mm.
    #[must_use]
    pub const fn radius_mm(&self) -> f64 {
        self.radius_mm
    }

    /// The deviations, µm, outward positive.
    #[must_use]
    pub fn deviations_um(&self) -> &[f64] {
        &self.deviations_um
    }

    /// Angle of a reading by its place, degrees.
    #[must_use]
    pub fn angle_deg(&self, reading_idx: usize) -> f64 {
        360.0 * reading_idx as f64 / self.deviations_um.len() as f64
    }

    /// The points of the trace about the table's axis, mm; anticlockwise from the x axis.
    ///
    /// # Formula
    /// x = (R + d)·cos θ, y = (R + d)·sin θ.
    ///
    /// # Example
    /// ```
    /// use bedplate_gauge::form::trace::Trace;
    /// let trace = Trace::new(34.0, vec![0.0, 2.0, 0.0, -2.0]).unwrap();
    /// let up = trace.points()[1];
    /// assert!((up.y - 34.002).abs() < 1e-12 && up.x.abs() < 1e-12);
    /// ```
    #[must_use]
    pub fn points(&self) -> Vec<Point> {
        let step = TAU / self.deviations_um.len() as f64;
        let at = |(i, d): (usize, &f64)| {
            let (sine, cosine) = (step * i as f64).sin_cos();
            let radius = self.radius_mm + d * 1e-3;
            Point { x: radius * cosine, y: radius * sine }
        };
        self.deviations_um.iter().enumerate().map(at).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_trace_is_refused_in_words() {
        let words = |r, d: &[f64]| Trace::new(r, d.to_vec()).unwrap_err().to_string();
        assert!(words(0.0, &[0.0; 8]).contains("above 0"));
        assert!(words(f64::NAN, &[0.0; 8]).contains("above 0"));
        assert!(words(34.0, &[0.0; 3]).contains("3 readings"));
        assert!(words(34.0, &[0.0, 0.0, f64::INFINITY, 0.0]).contains("deviation 3 is inf"));
        assert!(words(34.0, &[0.0, -40_000.0, 0.0, 0.0]).contains("beyond the centre"));
    }
}
