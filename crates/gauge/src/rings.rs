//! Piston rings: the gap in a bore of another size, and size by the place on a taper.

use std::f64::consts::PI;

use crate::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};

/// Why a ring or a taper gives no figure.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum RingError {
    /// A diameter or taper that is not positive, or a distance that is no number.
    #[error("the {what} is {value}; {wanted}")]
    OutOfRange {
        /// Which one.
        what: &'static str,
        /// What was given.
        value: f64,
        /// What would be right.
        wanted: &'static str,
    },
    /// The ring butts before it fits the bore.
    #[error("the gap would be {gap_mm} mm: the ring butts at {butts_at_mm} mm")]
    Butts {
        /// The gap computed, negative.
        gap_mm: f64,
        /// Diameter at which the gap is closed.
        butts_at_mm: f64,
    },
}

fn positive(what: &'static str, value: f64) -> Result<f64, RingError> {
    if value.is_finite() && value > 0.0 {
        Ok(value)
    } else {
        Err(RingError::OutOfRange { what, value, wanted: "it must be positive" })
    }
}

/// The closed gap of a ring in a bore, from its gap in a gauge.
///
/// # Formula
/// gap = gap₀ + π·(D − D₀).
///
/// # Given
/// `gauge_mm`: D₀, diameter of the gauge the gap was measured in; `gap_mm`: gap₀, 0 or more;
/// `bore_mm`: D, diameter of the bore.
///
/// # Returns
/// The gap in the bore, mm.
///
/// # Errors
/// [`RingError::OutOfRange`]; [`RingError::Butts`] if the ring would not go in: a ring that butts
/// scores the bore or breaks.
///
/// # Validity
/// Both at the same temperature; the ring's length along its outside diameter stays the same.
///
/// # Source
/// Geometry.
///
/// # Example
/// ```
/// let gap = bedplate_gauge::rings::gap_in_bore(100.0, 0.40, 100.03).unwrap();
/// assert_eq!(format!("{gap:.4}"), "0.4942");
/// ```
pub fn gap_in_bore(gauge_mm: f64, gap_mm: f64, bore_mm: f64) -> Result<f64, RingError> {
    let (gauge, bore) = (positive("gauge diameter", gauge_mm)?, positive("bore", bore_mm)?);
    let gap = checked_gap(gap_mm)? + PI * (bore - gauge);
    if gap < 0.0 {
        let butts_at_mm = bore_without_gap(gauge_mm, gap_mm)?;
        return Err(RingError::Butts { gap_mm: gap, butts_at_mm });
    }
    Ok(gap)
}

/// The bore diameter in which the ring's gap is just closed.
///
/// # Formula
/// D = D₀ − gap₀/π.
///
/// # Given
/// As [`gap_in_bore`].
///
/// # Errors
/// [`RingError::OutOfRange`].
///
/// # Source
/// Geometry.
///
/// # Example
/// ```
/// let bore = bedplate_gauge::rings::bore_without_gap(100.0, 0.40).unwrap();
/// assert_eq!(format!("{bore:.4}"), "99.8727");
/// ```
pub fn bore_without_gap(gauge_mm: f64, gap_mm: f64) -> Result<f64, RingError> {
    Ok(positive("gauge diameter", gauge_mm)? - checked_gap(gap_mm)? / PI)
}

fn checked_gap(gap_mm: f64) -> Result<f64, RingError> {
    if gap_mm.is_finite() && gap_mm >= 0.0 {
        Ok(gap_mm)
    } else {
        let wanted = "it must be 0 or more";
        Err(RingError::OutOfRange { what: "gap", value: gap_mm, wanted })
    }
}

/// A taper ring gauge: a cone of known taper, along which a ring is pushed till its gap closes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TaperGauge {
    start_mm: f64,
    ratio: f64,
}

/// Which way the ring is pushed from the end the distance is measured from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Towards {
    /// Towards the larger end.
    Larger,
    /// Towards the smaller end.
    Smaller,
}

/// How far a taper gauge, a reading on it and the bore are known: standard uncertainties.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct TaperUncertainty {
    /// Of the diameter at the start, mm.
    pub start_mm: f64,
    /// Of the taper's ratio.
    pub ratio: f64,
    /// Of the distance read, mm.
    pub distance_mm: f64,
    /// Of the bore the gap is wanted in, mm.
    pub bore_mm: f64,
}

/// The gap of a ring by its place on a taper gauge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TaperGap {
    /// Diameter at which the ring closes, mm.
    pub closed_at_mm: f64,
    /// Gap in the bore, mm.
    pub gap_mm: f64,
    /// Its standard uncertainty, mm.
    pub uncertainty_mm: f64,
}

impl TaperGauge {
    /// A gauge of diameter `start_mm` at the end from which distances are measured, and of taper
    /// 1 : `ratio` on the diameter.
    ///
    /// # Errors
    /// [`RingError::OutOfRange`] unless both are positive.
    pub fn new(start_mm: f64, ratio: f64) -> Result<Self, RingError> {
        Ok(Self { start_mm: positive("diameter", start_mm)?, ratio: positive("taper", ratio)? })
    }

    /// The diameter at a distance from the starting end.
    ///
    /// # Formula
    /// D = D₀ ± x/ratio.
    ///
    /// # Given
    /// `distance_mm`: x, 0 or more.
    ///
    /// # Errors
    /// [`RingError::OutOfRange`] for a distance that is negative or beyond the cone's point.
    ///
    /// # Source
    /// Geometry.
    ///
    /// # Example
    /// ```
    /// use bedplate_gauge::rings::{TaperGauge, Towards};
    /// let gauge = TaperGauge::new(100.0, 50.0).unwrap();
    /// let d = gauge.diameter_mm(12.5, Towards::Larger).unwrap();
    /// assert!((d - 100.25).abs() < 1e-9);
    /// ```
    pub fn diameter_mm(&self, distance_mm: f64, towards: Towards) -> Result<f64, RingError> {
        let (what, value) = ("distance", distance_mm);
        if !(distance_mm.is_finite() && distance_mm >= 0.0) {
            return Err(RingError::OutOfRange { what, value, wanted: "it must be 0 or more" });
        }
        let change = distance_mm / self.ratio;
        let diameter = match towards {
            Towards::Larger => self.start_mm + change,
            Towards::Smaller => self.start_mm - change,
        };
        if diameter > 0.0 && diameter.is_finite() {
            Ok(diameter)
        } else {
            Err(RingError::OutOfRange { what, value, wanted: "the cone ends before it" })
        }
    }

    /// The gap in a bore of a ring that closes at a distance along the gauge.
    ///
    /// # Formula
    /// gap = π·(D − D_c), D_c the diameter at the distance.
    /// u² = π²·(u²(D) + u²(D₀) + u²(x)/ratio² + x²·u²(ratio)/ratio⁴).
    ///
    /// # Given
    /// `distance_mm` and `towards`: where the gap just closes; `bore_mm`: D, diameter of the bore;
    /// `known`: standard uncertainties.
    ///
    /// # Returns
    /// [`TaperGap`], mm.
    ///
    /// # Errors
    /// [`RingError::OutOfRange`]; [`RingError::Butts`] if the ring would not go in.
    ///
    /// # Validity
    /// Ring square to the taper's axis, all at one temperature, figures independent of each other.
    ///
    /// # Source
    /// Geometry; JCGM 100:2008 equation (10).
    ///
    /// # Example
    /// ```
    /// use bedplate_gauge::rings::{TaperGauge, TaperUncertainty, Towards};
    /// let gauge = TaperGauge::new(99.5, 50.0).unwrap();
    /// let known = TaperUncertainty { distance_mm: 0.05, ..TaperUncertainty::default() };
    /// let gap = gauge.gap_in_bore(18.0, Towards::Larger, 100.0, known).unwrap();
    /// // Closed at 99.86: π·0.14 mm, and π·0.05/50.
    /// assert_eq!(format!("{:.4} {:.5}", gap.gap_mm, gap.uncertainty_mm), "0.4398 0.00314");
    /// ```
    pub fn gap_in_bore(
        &self,
        distance_mm: f64,
        towards: Towards,
        bore_mm: f64,
        known: TaperUncertainty,
    ) -> Result<TaperGap, RingError> {
        let closed_at_mm = self.diameter_mm(distance_mm, towards)?;
        let parts = [
            ("uncertainty of the bore", known.bore_mm, 1.0),
            ("uncertainty of the start", known.start_mm, 1.0),
            ("uncertainty of the distance", known.distance_mm, 1.0 / self.ratio),
            ("uncertainty of the taper", known.ratio, distance_mm / (self.ratio * self.ratio)),
        ];
        let mut squares = 0.0;
        for (what, value, sensitivity) in parts {
            if !(value.is_finite() && value >= 0.0) {
                return Err(RingError::OutOfRange { what, value, wanted: "it must be 0 or more" });
            }
            squares += (value * sensitivity).powi(2);
        }
        let gap_mm = gap_in_bore(closed_at_mm, 0.0, bore_mm)?;
        Ok(TaperGap { closed_at_mm, gap_mm, uncertainty_mm: PI * squares.sqrt() })
    }

    /// What a step along the gauge is in diameter.
    #[must_use]
    pub fn resolution_mm(&self, step_mm: f64) -> f64 {
        step_mm / self.ratio
    }
}

/// The gap of a ring in its bore.
pub const RING_GAP: Calculation = Calculation {
    name: "ring-gap",
    title: "Ring gap in its bore",
    stage: Stage::Match,
    question: "What gap does this ring have in this bore?",
    inputs: &[
        Input::quantity("gauge", "mm", "diameter of the gauge the gap was measured in").over(0.0),
        Input::quantity("gap", "mm", "gap in the gauge").at_least(0.0),
        Input::quantity("bore", "mm", "diameter of the bore").over(0.0),
    ],
    outputs: &[
        Output::figure("gap", "mm", "gap in the bore"),
        Output::figure("butts_at", "mm", "bore diameter in which the gap is just closed"),
    ],
    formula: "gap = gap₀ + π·(D − D₀)",
    source: "geometry",
    validity: "Both at one temperature. Leave room for the ring to grow when hot: a ring that \
               butts scores the bore or breaks.",
    // Arithmetic.
    example: &[("gauge", "100 mm"), ("gap", "0.4 mm"), ("bore", "100.03 mm")],
    expected: &[("gap", "0.4942477796"), ("butts_at", "99.87267604553")],
    run: |given| {
        let (gauge, gap) = (given.number("gauge"), given.number("gap"));
        let refuse = |e: RingError| Refused::because("bore", e.to_string());
        Ok(Answer::new()
            .figure("gap", gap_in_bore(gauge, gap, given.number("bore")).map_err(refuse)?)
            .figure("butts_at", bore_without_gap(gauge, gap).map_err(refuse)?))
    },
};

/// The size of a ring by its place on a taper.
pub const TAPER_RING: Calculation = Calculation {
    name: "taper-ring-gauge",
    title: "Ring size by a taper gauge",
    stage: Stage::Gauge,
    question: "At what diameter does this ring close, by its place on the taper?",
    inputs: &[
        Input::quantity("start", "mm", "diameter at the end distances are measured from").over(0.0),
        Input::quantity("taper", "", "taper 1 : this, on the diameter").over(0.0).or("50"),
        Input::quantity("distance", "mm", "distance from that end").at_least(0.0),
        Input::choice("towards", &["larger", "smaller"], "which way the ring was pushed")
            .or("larger"),
        Input::quantity("step", "mm", "finest distance read").at_least(0.0).or("0.1 mm"),
    ],
    outputs: &[
        Output::figure("diameter", "mm", "diameter at which the ring closes"),
        Output::figure("resolution", "mm", "what the finest distance is in diameter"),
    ],
    formula: "D = D₀ ± x/ratio",
    source: "geometry",
    validity: "Ring square to the taper's axis, both at one temperature.",
    // Arithmetic.
    example: &[("start", "100.0 mm"), ("taper", "50"), ("distance", "12.5 mm")],
    expected: &[("diameter", "100.25"), ("resolution", "0.002")],
    run: run_taper,
};

fn run_taper(given: &Given) -> Result<Answer, Refused> {
    let refuse = |e: RingError| Refused::because("distance", e.to_string());
    let gauge = TaperGauge::new(given.number("start"), given.number("taper")).map_err(refuse)?;
    let towards =
        if given.word("towards") == "smaller" { Towards::Smaller } else { Towards::Larger };
    Ok(Answer::new()
        .figure("diameter", gauge.diameter_mm(given.number("distance"), towards).map_err(refuse)?)
        .figure("resolution", gauge.resolution_mm(given.number("step"))))
}

/// The gap of a ring by its place on a taper.
pub const TAPER_RING_GAP: Calculation = Calculation {
    name: "taper-ring-gap",
    title: "Ring gap by a taper gauge",
    stage: Stage::Gauge,
    question: "What gap will this ring have in this bore, by where it closes on the taper?",
    inputs: &[
        Input::quantity("start", "mm", "diameter at the end distances are measured from").over(0.0),
        Input::quantity("taper", "", "taper 1 : this, on the diameter").over(0.0).or("50"),
        Input::quantity("distance", "mm", "distance from that end at which the gap just closes")
            .at_least(0.0),
        Input::choice("towards", &["larger", "smaller"], "which way the ring was pushed")
            .or("larger"),
        Input::quantity("bore", "mm", "diameter of the bore").over(0.0),
        Input::quantity("start_uncertainty", "mm", "standard, of the diameter at the start")
            .at_least(0.0)
            .or("0 mm"),
        Input::quantity("taper_uncertainty", "", "standard, of the taper's ratio")
            .at_least(0.0)
            .or("0"),
        Input::quantity("distance_uncertainty", "mm", "standard, of the distance")
            .at_least(0.0)
            .or("0 mm"),
        Input::quantity("bore_uncertainty", "mm", "standard, of the bore").at_least(0.0).or("0 mm"),
    ],
    outputs: &[
        Output::figure("closed_at", "mm", "diameter at which the ring closes"),
        Output::figure("gap", "mm", "gap in the bore"),
        Output::figure("uncertainty", "mm", "standard uncertainty of the gap"),
    ],
    formula: "gap = π·(D − D₀ ∓ x/ratio)",
    source: "geometry; JCGM 100:2008 equation (10)",
    validity: "Ring square to the taper's axis, all at one temperature. Leave room for the ring to \
               grow when hot: a ring that butts scores the bore or breaks.",
    // Arithmetic: π·0.14 mm; π·√(0.001² + (0.05/50)²) mm.
    example: &[
        ("start", "99.5 mm"),
        ("distance", "18 mm"),
        ("bore", "100 mm"),
        ("start_uncertainty", "0.001 mm"),
        ("distance_uncertainty", "0.05 mm"),
    ],
    expected: &[("closed_at", "99.86"), ("gap", "0.4398229715"), ("uncertainty", "0.004442882938")],
    run: run_taper_gap,
};

fn run_taper_gap(given: &Given) -> Result<Answer, Refused> {
    let refuse = |e: RingError| Refused::because("distance", e.to_string());
    let gauge = TaperGauge::new(given.number("start"), given.number("taper")).map_err(refuse)?;
    let towards =
        if given.word("towards") == "smaller" { Towards::Smaller } else { Towards::Larger };
    let known = TaperUncertainty {
        start_mm: given.number("start_uncertainty"),
        ratio: given.number("taper_uncertainty"),
        distance_mm: given.number("distance_uncertainty"),
        bore_mm: given.number("bore_uncertainty"),
    };
    let (distance, bore) = (given.number("distance"), given.number("bore"));
    let ring = gauge.gap_in_bore(distance, towards, bore, known).map_err(refuse)?;
    Ok(Answer::new()
        .figure("closed_at", ring.closed_at_mm)
        .figure("gap", ring.gap_mm)
        .figure("uncertainty", ring.uncertainty_mm))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_ring_that_butts_is_refused_with_the_bore_it_butts_in() {
        let words = gap_in_bore(100.0, 0.1, 99.9).unwrap_err().to_string();
        assert!(words.contains("the ring butts at 99.968"), "{words}");
        assert!(gap_in_bore(0.0, 0.1, 99.9).is_err());
        assert!(gap_in_bore(100.0, -0.1, 99.9).is_err());
        assert!(gap_in_bore(100.0, f64::NAN, 99.9).is_err());
        assert!(TaperGauge::new(100.0, 0.0).is_err());
        let gauge = TaperGauge::new(100.0, 50.0).unwrap();
        assert!(gauge.diameter_mm(-1.0, Towards::Larger).is_err());
        assert!(gauge.diameter_mm(5000.0, Towards::Smaller).is_err());
    }

    #[test]
    fn a_ring_too_large_for_the_bore_and_uncertainties_below_zero_are_refused() {
        let gauge = TaperGauge::new(100.0, 50.0).unwrap();
        let known = TaperUncertainty::default();
        let butts = gauge.gap_in_bore(10.0, Towards::Larger, 100.0, known).unwrap_err();
        assert!(butts.to_string().contains("butts"));
        let known = TaperUncertainty { ratio: -1.0, ..known };
        let refused = gauge.gap_in_bore(1.0, Towards::Smaller, 100.0, known).unwrap_err();
        assert!(refused.to_string().contains("uncertainty of the taper is -1"));
    }

    proptest! {
        #[test]
        fn gap_and_uncertainty_are_those_of_the_steps(
            d in 50.0f64..150.0, ratio in 10.0f64..100.0, x in 0.0f64..50.0,
            u in (0.0f64..0.1, 0.0f64..0.1, 0.0f64..0.1, 0.0f64..0.1)
        ) {
            let gauge = TaperGauge::new(d, ratio).unwrap();
            let (start_mm, distance_mm, bore_mm) = (u.0, u.2, u.3);
            let known = TaperUncertainty { start_mm, ratio: u.1, distance_mm, bore_mm };
            let bore = d + 1.0;
            let ring = gauge.gap_in_bore(x, Towards::Smaller, bore, known).unwrap();
            let by_hand = gap_in_bore(d, 0.0, bore).unwrap() + PI * x / ratio;
            prop_assert!((ring.gap_mm - by_hand).abs() < 1e-10);
            // Each sensitivity by a small step.
            let gap = |d: f64, ratio: f64, x: f64, bore: f64| PI * (bore - d + x / ratio);
            let h = 1e-4;
            let parts = [
                u.0 * (gap(d + h, ratio, x, bore) - gap(d - h, ratio, x, bore)),
                u.1 * (gap(d, ratio + h, x, bore) - gap(d, ratio - h, x, bore)),
                u.2 * (gap(d, ratio, x + h, bore) - gap(d, ratio, x - h, bore)),
                u.3 * (gap(d, ratio, x, bore + h) - gap(d, ratio, x, bore - h)),
            ];
            let slow = parts.iter().map(|p| (p / (2.0 * h)).powi(2)).sum::<f64>().sqrt();
            prop_assert!((ring.uncertainty_mm - slow).abs() < 1e-7);
        }

        #[test]
        fn the_gap_closes_where_it_is_said_to(d in 10.0f64..200.0, gap in 0.0f64..2.0) {
            let closed = bore_without_gap(d, gap).unwrap();
            // A hair over, for the rounding of the subtraction.
            prop_assert!(gap_in_bore(d, gap, closed + 1e-12).unwrap().abs() < 1e-10);
        }

        #[test]
        fn there_and_back_along_the_taper_is_the_start(d in 50.0f64..200.0, x in 0.0f64..100.0) {
            let up = TaperGauge::new(d, 50.0).unwrap().diameter_mm(x, Towards::Larger).unwrap();
            let down = TaperGauge::new(up, 50.0).unwrap().diameter_mm(x, Towards::Smaller).unwrap();
            prop_assert!((down - d).abs() < 1e-11);
        }
    }
}
