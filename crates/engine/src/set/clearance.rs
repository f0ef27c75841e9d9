//! Piston clearance: of one pair, of a whole production, and how sure a gauged set is.
//!
//! All clearances are diametral, bore less piston, both at 20 °C.

use bedplate_gauge::calculation::{Answer, Calculation, Column, Input, Output, Refused, Stage};
use bedplate_gauge::distribution::normal_probability;
use bedplate_gauge::judge::probability_of_conformity;
use bedplate_gauge::limits::Limits;

use super::Window;
use super::size::Nanometre;

/// A bore and the piston in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pair {
    /// Bore diameter.
    pub bore: Nanometre,
    /// Piston diameter.
    pub piston: Nanometre,
}

/// A size that scatters normally over a production.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scatter {
    /// Mean, mm.
    pub mean_mm: f64,
    /// Standard deviation, mm, 0 or more.
    pub sd_mm: f64,
}

/// How the clearance of bores and pistons taken at random scatters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClearanceScatter {
    /// Mean clearance, mm.
    pub mean_mm: f64,
    /// Standard deviation of the clearance, mm.
    pub sd_mm: f64,
    /// Share of pairs tighter than the lower limit.
    pub too_tight: f64,
    /// Share of pairs looser than the upper limit.
    pub too_loose: f64,
}

/// A clearance as gauged, with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GaugedClearance {
    /// Clearance, µm.
    pub clearance_um: f64,
    /// Standard uncertainty of the clearance, µm, 0 or more.
    pub uncertainty_um: f64,
}

/// Why a clearance calculation is refused.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ClearanceError {
    /// NaN or an infinity.
    #[error("the {what} is {value}; it must be a finite number")]
    NotFinite {
        /// Which figure.
        what: &'static str,
        /// As given.
        value: f64,
    },
    /// A negative standard deviation or uncertainty.
    #[error("the {what} is {value}; it must be 0 or more")]
    Negative {
        /// Which figure.
        what: &'static str,
        /// As given.
        value: f64,
    },
    /// No clearance at all.
    #[error("there is no clearance in this set; at least one is needed")]
    NoClearance,
}

/// Diametral clearance of a piston in its bore; negative is interference.
///
/// # Formula
/// `c = D − d`
/// # Given
/// Bore `D` and piston `d`, both at 20 °C.
/// # Returns
/// Clearance, positive where the piston is smaller.
/// # Validity
/// Exact in whole nanometres. A piston is barrelled and oval: its diameter is the one the maker
/// tells to gauge, as a rule across the thrust faces at a stated height.
/// # Source
/// Definition.
/// # Example
/// ```
/// use bedplate_engine::set::{clearance::{Pair, piston_clearance}, size::Nanometre};
/// let pair = Pair { bore: Nanometre(68_008_700), piston: Nanometre(67_970_200) };
/// assert_eq!(piston_clearance(pair), Nanometre(38_500));
/// ```
#[must_use]
pub fn piston_clearance(pair: Pair) -> Nanometre {
    pair.bore - pair.piston
}

/// How clearances scatter if bores and pistons are paired at random, and the share outside the
/// limits.
///
/// # Formula
/// `μ = μ_D − μ_d`, `σ² = σ_D² + σ_d²`; too tight `Φ((c_min − μ)/σ)`, too loose `Φ((μ − c_max)/σ)`
/// # Given
/// Mean and standard deviation of bores and of pistons, mm; limits of the clearance, mm. A limit
/// that is not there lets all pass on its side.
/// # Returns
/// Mean and standard deviation, mm; the two shares, 0 to 1.
/// # Errors
/// [`ClearanceError::NotFinite`] and [`ClearanceError::Negative`] by name.
/// # Validity
/// Both sizes normal and independent of each other. Bores of one block follow one tool and are
/// not independent, so the share of engines with a clearance outside cannot be had from this.
/// # Source
/// Sum of independent normal variables, any textbook of statistics.
/// # Example
/// ```
/// use bedplate_engine::set::clearance::{Scatter, clearance_distribution};
/// use bedplate_gauge::limits::Limits;
/// let bore = Scatter { mean_mm: 81.010, sd_mm: 0.0045 };
/// let piston = Scatter { mean_mm: 80.968, sd_mm: 0.0038 };
/// let window_mm = Limits::between(0.030, 0.056).unwrap();
/// let scatter = clearance_distribution(bore, piston, &window_mm).unwrap();
/// // Computed with scipy.stats.norm.
/// assert_eq!(format!("{:.6}", scatter.too_tight + scatter.too_loose), "0.029532");
/// ```
pub fn clearance_distribution(
    bore: Scatter,
    piston: Scatter,
    window_mm: &Limits,
) -> Result<ClearanceScatter, ClearanceError> {
    let bore = checked(bore, "mean bore", "standard deviation of the bores")?;
    let piston = checked(piston, "mean piston", "standard deviation of the pistons")?;
    let mean_mm = bore.mean_mm - piston.mean_mm;
    let sd_mm = bore.sd_mm.hypot(piston.sd_mm);
    // How far beyond its limit a clearance lies on the bad side, in standard deviations.
    let share_beyond = |distance_mm: f64| {
        if sd_mm == 0.0 {
            f64::from(u8::from(distance_mm > 0.0))
        } else {
            normal_probability(distance_mm / sd_mm)
        }
    };
    let too_tight = window_mm.lower().map_or(0.0, |lower| share_beyond(lower - mean_mm));
    let too_loose = window_mm.upper().map_or(0.0, |upper| share_beyond(mean_mm - upper));
    Ok(ClearanceScatter { mean_mm, sd_mm, too_tight, too_loose })
}

fn checked(
    scatter: Scatter,
    mean: &'static str,
    sd: &'static str,
) -> Result<Scatter, ClearanceError> {
    finite(mean, scatter.mean_mm)?;
    not_negative(sd, scatter.sd_mm)?;
    Ok(scatter)
}

fn finite(what: &'static str, value: f64) -> Result<(), ClearanceError> {
    if value.is_finite() { Ok(()) } else { Err(ClearanceError::NotFinite { what, value }) }
}

fn not_negative(what: &'static str, value: f64) -> Result<(), ClearanceError> {
    finite(what, value)?;
    if value < 0.0 { Err(ClearanceError::Negative { what, value }) } else { Ok(()) }
}

/// The probability that every clearance of a set truly lies inside its limits, given how uncertain
/// each is.
///
/// # Formula
/// `Π_c [Φ((c_max − c)/u_c) − Φ((c_min − c)/u_c)]`
/// # Given
/// Each clearance and its standard uncertainty, µm, n ≥ 1; the limits, µm. The uncertainty of a
/// clearance is that of bore and piston together, `√(u_D² + u_d²)`.
/// # Returns
/// 0 to 1. An uncertainty of 0 counts as 1 on and inside the limits and 0 beyond.
/// # Errors
/// [`ClearanceError::NotFinite`], [`ClearanceError::Negative`], [`ClearanceError::NoClearance`].
/// # Validity
/// Normal errors, independent of each other, no other knowledge of the pieces. The bias that one
/// gauge gives to all its readings is common to them and not independent: with it the probability
/// is another, as a rule a lower one for sets in the middle of the window.
/// # Source
/// JCGM 106:2012 clause 7 for one quantity (from memory); the product is derived here from
/// independence.
pub fn probability_all_inside(
    clearances: &[GaugedClearance],
    limits_um: &Limits,
) -> Result<f64, ClearanceError> {
    if clearances.is_empty() {
        return Err(ClearanceError::NoClearance);
    }
    let mut all = 1.0;
    for gauged in clearances {
        finite("clearance", gauged.clearance_um)?;
        not_negative("standard uncertainty", gauged.uncertainty_um)?;
        all *= probability_of_conformity(gauged.clearance_um, limits_um, gauged.uncertainty_um);
    }
    Ok(all)
}

/// The part of a window that every clearance of a set must keep so that all of them lie inside the
/// whole window with a wanted probability, gauged as uncertainly as they are.
///
/// # Formula
/// `{c : Φ((c_max − c)/u) − Φ((c_min − c)/u) ≥ sure^(1/n)}`: each of the `n` places keeps its equal
/// share of the probability.
/// # Given
/// The window; the standard uncertainty of one clearance, µm, 0 or more; the probability wanted of
/// all places together, above 0 and below 1; the number of places, 1 or more.
/// # Returns
/// The narrower window to the nanometre inward, its target the nearest to the one given; `None` if
/// no clearance is sure enough.
/// # Validity
/// Normal errors, independent from place to place. Enough, and now and then more than enough: a set
/// whose clearances are unequally sure may keep the probability outside this window.
/// # Source
/// Derived here, from [`probability_all_inside`].
#[must_use]
pub fn sure_window(
    window: Window,
    uncertainty_um: f64,
    sure: f64,
    places: usize,
) -> Option<Window> {
    let each = sure.powf(1.0 / places.max(1) as f64);
    let (lower, upper) = (window.min.0 as f64, window.max.0 as f64);
    let limits = Limits::between(lower, upper).ok()?;
    let is_sure = |clearance: f64| {
        probability_of_conformity(clearance, &limits, uncertainty_um * 1e3) >= each
    };
    let middle = f64::midpoint(lower, upper);
    if !is_sure(middle) {
        return None;
    }
    // The probability falls from the middle to either limit, so halving finds the edge.
    let edge = |limit: f64| {
        if is_sure(limit) {
            return limit;
        }
        let (mut inside, mut outside) = (middle, limit);
        for _ in 0..60 {
            let half = f64::midpoint(inside, outside);
            if is_sure(half) { inside = half } else { outside = half }
        }
        inside
    };
    #[expect(clippy::cast_possible_truncation, reason = "between two lengths in nanometres")]
    let (min, max) = (Nanometre(edge(lower).ceil() as i64), Nanometre(edge(upper).floor() as i64));
    (min <= max).then(|| Window { min, target: window.target.clamp(min, max), max })
}

/// [`piston_clearance`] as a calculation.
pub const PISTON_CLEARANCE: Calculation = Calculation {
    name: "piston-clearance",
    title: "Piston clearance",
    stage: Stage::Match,
    question: "How much room has this piston in this bore?",
    inputs: &[
        Input::quantity("bore", "mm", "bore diameter at 20 °C").over(0.0).at_most(1e4),
        Input::quantity("piston", "mm", "piston diameter at 20 °C").over(0.0).at_most(1e4),
    ],
    outputs: &[Output::figure("clearance", "µm", "diametral clearance; negative is interference")],
    formula: "c = D − d",
    source: "definition",
    validity: "Both at one temperature. The piston's diameter is the one its maker tells to gauge.",
    example: &[("bore", "68.0087 mm"), ("piston", "67.9702 mm")],
    expected: &[("clearance", "38.5")],
    run: |given| {
        let size = |name| {
            Nanometre::from_mm(given.number(name))
                .map_err(|e| Refused::because(name, e.to_string()))
        };
        let pair = Pair { bore: size("bore")?, piston: size("piston")? };
        Ok(Answer::new().figure("clearance", piston_clearance(pair).um()))
    },
};

/// [`clearance_distribution`] as a calculation.
pub const CLEARANCE_DISTRIBUTION: Calculation = Calculation {
    name: "clearance-distribution",
    title: "Scatter of the clearance",
    stage: Stage::Match,
    question: "How do clearances scatter if pistons are taken as they come, and how many miss?",
    inputs: &[
        Input::quantity("bore", "mm", "mean bore").over(0.0),
        Input::quantity("bore_sd", "mm", "standard deviation of the bores").at_least(0.0),
        Input::quantity("piston", "mm", "mean piston diameter").over(0.0),
        Input::quantity("piston_sd", "mm", "standard deviation of the pistons").at_least(0.0),
        Input::quantity("clearance_min", "µm", "least clearance allowed"),
        Input::quantity("clearance_max", "µm", "greatest clearance allowed"),
    ],
    outputs: &[
        Output::figure("mean", "mm", "mean clearance"),
        Output::figure("sd", "mm", "standard deviation of the clearance"),
        Output::figure("too_tight", "", "share of pairs below the least clearance"),
        Output::figure("too_loose", "", "share of pairs above the greatest clearance"),
        Output::figure("outside", "", "share of pairs outside"),
    ],
    formula: "μ = μ_D − μ_d;  σ² = σ_D² + σ_d²;  outside = Φ((c_min − μ)/σ) + Φ((μ − c_max)/σ)",
    source: "sum of independent normal variables, any textbook of statistics",
    validity: "Sizes normal and independent. Bores of one block are seldom independent.",
    // Expected values computed with scipy.stats.norm.
    example: &[
        ("bore", "81.010 mm"),
        ("bore_sd", "4.5 µm"),
        ("piston", "80.968 mm"),
        ("piston_sd", "3.8 µm"),
        ("clearance_min", "30 µm"),
        ("clearance_max", "56 µm"),
    ],
    expected: &[("mean", "0.042"), ("sd", "0.00588982173"), ("outside", "0.0295318015")],
    run: |given| {
        let scatter = |mean, sd| Scatter { mean_mm: given.number(mean), sd_mm: given.number(sd) };
        let window = window_mm(given.number("clearance_min"), given.number("clearance_max"))?;
        let (bore, piston) = (scatter("bore", "bore_sd"), scatter("piston", "piston_sd"));
        let found = clearance_distribution(bore, piston, &window)
            .map_err(|e| Refused::because("bore", e.to_string()))?;
        Ok(Answer::new()
            .figure("mean", found.mean_mm)
            .figure("sd", found.sd_mm)
            .figure("too_tight", found.too_tight)
            .figure("too_loose", found.too_loose)
            .figure("outside", found.too_tight + found.too_loose))
    },
};

fn window_mm(min_um: f64, max_um: f64) -> Result<Limits, Refused> {
    Limits::between(min_um / 1e3, max_um / 1e3)
        .map_err(|e| Refused::because("clearance_min", e.to_string()))
}

/// [`probability_all_inside`] as a calculation.
pub const CLEARANCE_PROBABILITY: Calculation = Calculation {
    name: "clearance-probability",
    title: "Certainty of a set's clearances",
    stage: Stage::Match,
    question: "How sure is it that every clearance of this set lies inside its limits?",
    inputs: &[
        Input::table(
            "clearances",
            &[
                Column { name: "clearance", unit: "µm", meaning: "clearance as gauged" },
                Column { name: "uncertainty", unit: "µm", meaning: "its standard uncertainty" },
            ],
            "one row a cylinder",
        ),
        Input::quantity("clearance_min", "µm", "least clearance allowed"),
        Input::quantity("clearance_max", "µm", "greatest clearance allowed"),
    ],
    outputs: &[Output::figure("probability", "", "that all lie inside, 0 to 1")],
    formula: "Π [Φ((c_max − c)/u) − Φ((c_min − c)/u)]",
    source: "JCGM 106:2012 clause 7 for one quantity (from memory); product by independence",
    validity: "Normal errors, independent of each other; a gauge's common bias is not.",
    // Expected value computed with mpmath 1.4.1 at 30 digits.
    example: &[
        ("clearances", "30.6, 0.5; 37.4, 0.5; 41.1, 0.6; 36.0, 0.5"),
        ("clearance_min", "30 µm"),
        ("clearance_max", "42 µm"),
    ],
    expected: &[("probability", "0.825810611")],
    run: |given| {
        let (min_um, max_um) = (given.number("clearance_min"), given.number("clearance_max"));
        let limits_um = Limits::between(min_um, max_um)
            .map_err(|e| Refused::because("clearance_min", e.to_string()))?;
        let rows = given.table("clearances").iter();
        let gauged: Vec<GaugedClearance> =
            rows.map(|r| GaugedClearance { clearance_um: r[0], uncertainty_um: r[1] }).collect();
        let all = probability_all_inside(&gauged, &limits_um)
            .map_err(|e| Refused::because("clearances", e.to_string()))?;
        Ok(Answer::new().figure("probability", all))
    },
};
