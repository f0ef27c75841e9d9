//! How far a measurement can be wrong: the budget of the GUM, and the correction to 20 °C.
//!
//! List what a measurement depends on as [`Contribution`]s, [`combine`] them, then expand the
//! result to the probability wanted. Knows nothing of limits.

use crate::calculation::{
    Answer, Calculation, Column, Given, Input, Output, Refused, Stage, Value,
};
use crate::distribution::{DistributionError, t_quantile};

/// The reference temperature of lengths, °C (ISO 1:2022).
pub const REFERENCE_C: f64 = 20.0;

/// What kind of figure stands for a contribution, and so what it is divided by to become a
/// standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spread {
    /// A standard deviation or standard uncertainty as it is.
    Standard,
    /// An expanded uncertainty with its coverage factor, as on a certificate.
    Expanded {
        /// The coverage factor k, above 0.
        coverage_factor: f64,
    },
    /// Half the width of a band in which every value is equally likely: a resolution, a stated
    /// limit of error. Divided by √3.
    Rectangular,
    /// Half the width of a band whose middle is likeliest and whose ends are not reached. By √6.
    Triangular,
    /// Half the swing of something that turns about between two ends, such as a room's
    /// temperature under a two-point control. By √2.
    Arcsine,
}

impl Spread {
    /// What the figure is divided by.
    ///
    /// Source: JCGM 100:2008 clauses 4.3.3, 4.3.7, 4.3.9, H.1.3.4.
    #[must_use]
    pub fn divisor(self) -> f64 {
        match self {
            Self::Standard => 1.0,
            Self::Expanded { coverage_factor } => coverage_factor,
            Self::Rectangular => 3f64.sqrt(),
            Self::Triangular => 6f64.sqrt(),
            Self::Arcsine => 2f64.sqrt(),
        }
    }
}

/// One line of an uncertainty budget.
#[derive(Debug, Clone, PartialEq)]
pub struct Contribution {
    /// What it comes from, in the trade's words.
    pub name: String,
    /// Its size, in the unit of the input it belongs to; 0 or more.
    pub figure: f64,
    /// What kind of figure that is.
    pub spread: Spread,
    /// Sensitivity: how much the result changes per unit of this input, with its sign.
    pub sensitivity: f64,
    /// Degrees of freedom; infinity for what is known from a certificate or by judgement.
    pub dof: f64,
}

impl Contribution {
    /// A standard uncertainty with sensitivity 1 and no end of degrees of freedom; change what
    /// differs.
    #[must_use]
    pub fn standard(name: impl Into<String>, figure: f64) -> Self {
        let name = name.into();
        Self { name, figure, spread: Spread::Standard, sensitivity: 1.0, dof: f64::INFINITY }
    }

    /// The term of second order of a product of two inputs that are both zero in the mean:
    /// `factor` × u(first) × u(second), as of an expansion and a temperature difference.
    ///
    /// Source: JCGM 100:2008 clause 5.1.2 note and H.1.7.
    #[must_use]
    pub fn product(name: impl Into<String>, factor: f64, first: f64, second: f64) -> Self {
        Self { sensitivity: factor, ..Self::standard(name, first * second) }
    }

    /// The same with this sensitivity.
    #[must_use]
    pub fn times(mut self, sensitivity: f64) -> Self {
        self.sensitivity = sensitivity;
        self
    }

    /// The same with this spread.
    #[must_use]
    pub fn spread(mut self, spread: Spread) -> Self {
        self.spread = spread;
        self
    }

    /// The same with these degrees of freedom.
    #[must_use]
    pub fn dof(mut self, dof: f64) -> Self {
        self.dof = dof;
        self
    }

    /// Its share of the result's standard uncertainty, in the unit of the result: |c|·a/divisor.
    #[must_use]
    pub fn share(&self) -> f64 {
        self.sensitivity.abs() * self.figure / self.spread.divisor()
    }
}

/// A combined standard uncertainty with its degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Combined {
    /// Combined standard uncertainty u_c, in the unit of the result.
    pub standard_uncertainty: f64,
    /// Effective degrees of freedom; infinite if every contribution's are.
    pub dof: f64,
}

/// An expanded uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expanded {
    /// Expanded uncertainty U = k·u_c, in the unit of the result.
    pub uncertainty: f64,
    /// Coverage factor k.
    pub coverage_factor: f64,
    /// Degrees of freedom used: the effective ones cut to a whole number.
    pub dof: f64,
}

/// Why an uncertainty cannot be computed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum UncertaintyError {
    /// The budget has no lines.
    #[error("the budget has no contributions; at least one is needed")]
    Empty,
    /// A contribution's figure is no number of 0 or more.
    #[error("\"{name}\" has the figure {figure}; it must be a number of 0 or more")]
    Figure {
        /// The contribution.
        name: String,
        /// What was given.
        figure: f64,
    },
    /// A contribution's divisor is no positive number.
    #[error("\"{name}\" has the divisor {divisor}; it must be a positive number")]
    Divisor {
        /// The contribution.
        name: String,
        /// What was given.
        divisor: f64,
    },
    /// A contribution's sensitivity is no number.
    #[error("\"{name}\" has the sensitivity {sensitivity}; it must be a finite number")]
    Sensitivity {
        /// The contribution.
        name: String,
        /// What was given.
        sensitivity: f64,
    },
    /// A contribution has too few degrees of freedom.
    #[error("\"{name}\" has {dof} degrees of freedom; at least 1 is needed, or infinitely many")]
    Dof {
        /// The contribution.
        name: String,
        /// What was given.
        dof: f64,
    },
    /// The coverage probability is none.
    #[error("the coverage: {0}")]
    Coverage(#[from] DistributionError),
}

/// Combines the contributions of a budget.
///
/// # Formula
/// u_c² = Σ (cᵢ·uᵢ)²; ν_eff = u_c⁴ / Σ ((cᵢ·uᵢ)⁴/νᵢ) (Welch and Satterthwaite).
///
/// # Given
/// One or more contributions, each in its own unit, with sensitivities into that of the result.
///
/// # Returns
/// In the unit of the result.
///
/// # Errors
/// [`UncertaintyError`] names the contribution whose figure, divisor, sensitivity or degrees of
/// freedom is out of range.
///
/// # Validity
/// Independent contributions, a model near enough to linear over their spread (add
/// [`Contribution::product`] terms where it is not).
///
/// # Source
/// JCGM 100:2008 equations (10) and (G.2b).
///
/// # Example
/// ```
/// use bedplate_gauge::uncertainty::{Contribution, combine};
/// let u = combine(&[
///     Contribution::standard("master", 0.3),
///     Contribution::standard("repeat", 0.4).dof(9.0),
/// ]).unwrap();
/// assert!((u.standard_uncertainty - 0.5).abs() < 1e-15);
/// ```
pub fn combine(contributions: &[Contribution]) -> Result<Combined, UncertaintyError> {
    if contributions.is_empty() {
        return Err(UncertaintyError::Empty);
    }
    for line in contributions {
        check(line)?;
    }
    let largest = contributions.iter().map(Contribution::share).fold(0.0, f64::max);
    if largest == 0.0 {
        return Ok(Combined { standard_uncertainty: 0.0, dof: f64::INFINITY });
    }
    // In parts of the largest share, so that nothing over- or underflows.
    let parts = || contributions.iter().map(|line| (line.share() / largest, line.dof));
    let squares: f64 = parts().map(|(part, _)| part * part).sum();
    let fourths: f64 = parts().map(|(part, dof)| part.powi(4) / dof).sum();
    let dof = if fourths > 0.0 { squares * squares / fourths } else { f64::INFINITY };
    Ok(Combined { standard_uncertainty: largest * squares.sqrt(), dof })
}

fn check(line: &Contribution) -> Result<(), UncertaintyError> {
    let name = || line.name.clone();
    let divisor = line.spread.divisor();
    if !(line.figure.is_finite() && line.figure >= 0.0) {
        return Err(UncertaintyError::Figure { name: name(), figure: line.figure });
    }
    if !(divisor.is_finite() && divisor > 0.0) {
        return Err(UncertaintyError::Divisor { name: name(), divisor });
    }
    if !line.sensitivity.is_finite() {
        let sensitivity = line.sensitivity;
        return Err(UncertaintyError::Sensitivity { name: name(), sensitivity });
    }
    if line.dof >= 1.0 {
        Ok(())
    } else {
        Err(UncertaintyError::Dof { name: name(), dof: line.dof })
    }
}

impl Combined {
    /// The uncertainty expanded to a coverage probability.
    ///
    /// # Formula
    /// U = k·u_c, k = t at (1 + p)/2 with ν_eff cut to a whole number (JCGM 100:2008 G.4.1).
    ///
    /// # Given
    /// `coverage`: the probability p with which the interval ±U is to hold the true value,
    /// strictly between 0 and 1.
    ///
    /// # Errors
    /// [`UncertaintyError::Coverage`] for another.
    pub fn expanded(&self, coverage: f64) -> Result<Expanded, UncertaintyError> {
        if !(0.0 < coverage && coverage < 1.0) {
            let probability = coverage;
            return Err(DistributionError::NotAProbability { probability }.into());
        }
        let dof = self.dof.floor().max(1.0);
        let coverage_factor = t_quantile(0.5 * (1.0 + coverage), dof)?;
        let uncertainty = coverage_factor * self.standard_uncertainty;
        Ok(Expanded { uncertainty, coverage_factor, dof })
    }
}

/// A body's temperature and expansion, each with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Warmth {
    /// Temperature, °C.
    pub temperature_c: f64,
    /// Standard uncertainty of the temperature, K.
    pub temperature_uncertainty_k: f64,
    /// Linear expansion, 1/K.
    pub expansion_per_k: f64,
    /// Standard uncertainty of the expansion, 1/K.
    pub expansion_uncertainty_per_k: f64,
}

impl Warmth {
    fn excess_k(&self) -> f64 {
        self.temperature_c - REFERENCE_C
    }

    /// The contributions to a length of 1 of what is not known about temperature and expansion.
    fn contributions(&self, body: &str) -> [Contribution; 3] {
        let (u_t, u_a) = (self.temperature_uncertainty_k, self.expansion_uncertainty_per_k);
        [
            Contribution::standard(format!("temperature of the {body}"), u_t)
                .times(self.expansion_per_k),
            Contribution::standard(format!("expansion of the {body}"), u_a).times(self.excess_k()),
            Contribution::product(format!("both, of the {body}"), 1.0, u_t, u_a),
        ]
    }
}

/// A length corrected to 20 °C, in the unit of the reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AtReference {
    /// The length at 20 °C.
    pub length: f64,
    /// What was added to the reading.
    pub correction: f64,
    /// Standard uncertainty of the correction alone.
    pub standard_uncertainty: f64,
}

/// A length read on a part that is not at 20 °C, corrected to 20 °C.
///
/// # Formula
/// L₂₀ = x·(1 + α_m·θ_m)/(1 + α·θ), θ = T − 20 °C; index m for the master (or scale) the gauge was
/// set with; u² = x²·Σ (θ²·u²(α) + α²·u²(θ) + u²(α)·u²(θ)) over part and master.
///
/// # Given
/// `reading`: x, in any unit of length, as the gauge shows it when set to the master's size at
/// 20 °C; `part` and `master`: their temperatures and expansions. For a gauge whose scale is true
/// at its own temperature give the master's temperature as 20 °C.
///
/// # Returns
/// The length at 20 °C, the correction with its sign, and its standard uncertainty.
///
/// # Errors
/// [`UncertaintyError`] if an uncertainty is negative or a figure is no number.
///
/// # Validity
/// Bodies at one temperature throughout, temperatures and expansions independent of each other,
/// master about as long as the part.
///
/// # Source
/// ISO 1:2022 for 20 °C; definition of linear expansion; uncertainty as JCGM 100:2008 H.1.
///
/// # Example
/// ```
/// use bedplate_gauge::uncertainty::{Warmth, at_reference};
/// // A 100 mm steel part (11.5e-6 per kelvin) 2 K warm against a scale at 20 °C: 2.3 µm long.
/// let part = Warmth { temperature_c: 22.0, temperature_uncertainty_k: 0.2,
///     expansion_per_k: 11.5e-6, expansion_uncertainty_per_k: 1e-6 };
/// let scale = Warmth { temperature_c: 20.0, temperature_uncertainty_k: 0.0,
///     expansion_per_k: 11.5e-6, expansion_uncertainty_per_k: 0.0 };
/// let l = at_reference(100.0023, &part, &scale).unwrap();
/// assert_eq!(format!("{:.5} {:.4}", l.length, l.correction), "100.00000 -0.0023");
/// ```
pub fn at_reference(
    reading: f64,
    part: &Warmth,
    master: &Warmth,
) -> Result<AtReference, UncertaintyError> {
    let growth = |w: &Warmth| w.expansion_per_k * w.excess_k();
    // The difference of the growths is small; the ratio less one is taken from it, not from
    // figures near one.
    let correction = reading * (growth(master) - growth(part)) / (1.0 + growth(part));
    let lines = [part.contributions("part"), master.contributions("master")].concat();
    let relative = combine(&lines)?.standard_uncertainty;
    if !correction.is_finite() {
        return Err(UncertaintyError::Figure { name: "reading".to_owned(), figure: correction });
    }
    let standard_uncertainty = reading.abs() * relative;
    Ok(AtReference { length: reading + correction, correction, standard_uncertainty })
}

const BUDGET_COLUMNS: &[Column] = &[
    Column { name: "figure", unit: "µm", meaning: "size of the contribution" },
    Column {
        name: "divisor",
        unit: "",
        meaning: "1 standard, 2 expanded at k = 2, 1.7320508 rectangular, 2.4494897 triangular",
    },
    Column { name: "sensitivity", unit: "", meaning: "change of the result per unit" },
    Column { name: "dof", unit: "", meaning: "degrees of freedom; 0 for no end of them" },
];

/// The uncertainty budget of a length.
pub const UNCERTAINTY_BUDGET: Calculation = Calculation {
    name: "uncertainty-budget",
    title: "Uncertainty budget",
    stage: Stage::Gauge,
    question: "How far can this measurement be wrong?",
    inputs: &[
        Input::table("contributions", BUDGET_COLUMNS, "one row a contribution"),
        Input::quantity("coverage", "", "probability that ±U holds the true value")
            .over(0.0)
            .under(1.0)
            .or("0.95"),
    ],
    outputs: &[
        Output::figure("uc", "µm", "combined standard uncertainty"),
        Output::figure("dof", "", "effective degrees of freedom cut to a whole number"),
        Output::figure("k", "", "coverage factor"),
        Output::figure("U", "µm", "expanded uncertainty"),
    ],
    formula: "u_c² = Σ(cᵢ·aᵢ/dᵢ)², ν = u_c⁴/Σ((cᵢ·uᵢ)⁴/νᵢ), U = t((1 + p)/2, ν)·u_c",
    source: "JCGM 100:2008 equations (10) and (G.2b), clause G.4.1",
    validity: "Independent contributions, model near enough to linear.",
    // JCGM 100:2008 H.1, the calibration of an end gauge.
    example: &[
        (
            "contributions",
            "figure, divisor, sensitivity, dof; 25 nm, 1, 1, 18; 9.7 nm, 1, 1, 25.6; \
             2.9 nm, 1, 1, 50; 16.675 nm, 1, 1, 2",
        ),
        ("coverage", "0.99"),
    ],
    expected: &[("uc", "0.032"), ("dof", "16"), ("k", "2.92"), ("U", "0.093")],
    run: run_budget,
};

fn run_budget(given: &Given) -> Result<Answer, Refused> {
    let lines: Vec<Contribution> = given
        .table("contributions")
        .iter()
        .enumerate()
        .map(|(i, row)| Contribution {
            name: format!("row {}", i + 1),
            figure: row[0],
            spread: Spread::Expanded { coverage_factor: row[1] },
            sensitivity: row[2],
            dof: if row[3] == 0.0 { f64::INFINITY } else { row[3] },
        })
        .collect();
    let combined = combine(&lines).map_err(|e| Refused::because("contributions", e.to_string()))?;
    let expanded = combined
        .expanded(given.number("coverage"))
        .map_err(|e| Refused::because("coverage", e.to_string()))?;
    let dof = if expanded.dof.is_finite() {
        Value::Figure(expanded.dof)
    } else {
        Value::Word("endless".to_owned())
    };
    Ok(Answer::new()
        .figure("uc", combined.standard_uncertainty)
        .with("dof", dof)
        .figure("k", expanded.coverage_factor)
        .figure("U", expanded.uncertainty))
}

/// The correction of a length to 20 °C.
pub const AT_REFERENCE: Calculation = Calculation {
    name: "temperature-correction",
    title: "Correction to 20 °C",
    stage: Stage::Gauge,
    question: "What would this part measure at 20 °C?",
    inputs: &[
        Input::quantity("reading", "mm", "length as read").over(0.0),
        Input::quantity("part_temperature", "°C", "temperature of the part"),
        Input::quantity("part_expansion", "ppm/K", "expansion of the part").or("11.5 ppm/K"),
        Input::quantity("master_temperature", "°C", "temperature of the master or scale")
            .or("20 °C"),
        Input::quantity("master_expansion", "ppm/K", "expansion of the master or scale")
            .or("11.5 ppm/K"),
        Input::quantity(
            "temperature_uncertainty",
            "ΔK",
            "standard uncertainty of each temperature",
        )
        .at_least(0.0)
        .or("0 K"),
        Input::quantity("expansion_uncertainty", "ppm/K", "standard uncertainty of each expansion")
            .at_least(0.0)
            .or("0 ppm/K"),
    ],
    outputs: &[
        Output::figure("length", "mm", "length at 20 °C"),
        Output::figure("correction", "µm", "what was added to the reading"),
        Output::figure("uncertainty", "µm", "standard uncertainty of the correction"),
    ],
    formula: "L₂₀ = x·(1 + α_m·θ_m)/(1 + α·θ), θ = T − 20 °C",
    source: "ISO 1:2022; definition of linear expansion; JCGM 100:2008 H.1",
    validity: "Each body at one temperature throughout; master about as long as the part.",
    // Arithmetic: 100 mm × 11.5e-6/K × 2 K = 2.3 µm.
    example: &[("reading", "100.0023 mm"), ("part_temperature", "22 °C")],
    expected: &[("length", "100.0000"), ("correction", "-2.30")],
    run: run_at_reference,
};

fn run_at_reference(given: &Given) -> Result<Answer, Refused> {
    let warmth = |temperature, expansion| Warmth {
        temperature_c: given.number(temperature),
        temperature_uncertainty_k: given.number("temperature_uncertainty"),
        expansion_per_k: given.number(expansion) * 1e-6,
        expansion_uncertainty_per_k: given.number("expansion_uncertainty") * 1e-6,
    };
    let part = warmth("part_temperature", "part_expansion");
    let master = warmth("master_temperature", "master_expansion");
    let at = at_reference(given.number("reading"), &part, &master)
        .map_err(|e| Refused::because("reading", e.to_string()))?;
    Ok(Answer::new()
        .figure("length", at.length)
        .figure("correction", at.correction * 1e3)
        .figure("uncertainty", at.standard_uncertainty * 1e3))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// JCGM 100:2008 H.1: an end gauge of 50 mm by comparison with a standard, in nanometres
    /// (status: verified; the second-order result from memory, recomputed).
    fn end_gauge() -> Vec<Contribution> {
        let standard_nm = 50.000_623e6;
        vec![
            Contribution::standard("standard", 25.0).dof(18.0),
            Contribution::standard("comparison", 9.7).dof(25.6),
            Contribution::standard("expansion of the standard", 1.2e-6).times(0.0),
            Contribution::standard("mean temperature", 0.41).times(0.0),
            Contribution::standard("difference of expansion", 0.58e-6)
                .times(standard_nm * 0.1)
                .dof(50.0),
            Contribution::standard("difference of temperature", 0.029)
                .times(-standard_nm * 11.5e-6)
                .dof(2.0),
        ]
    }

    #[test]
    fn end_gauge_of_gum_h1() {
        let combined = combine(&end_gauge()).unwrap();
        assert!((combined.standard_uncertainty - 31.710_606_335_883_01).abs() < 0.02);
        assert!((combined.standard_uncertainty - 32.0).abs() < 0.5);
        let expanded = combined.expanded(0.99).unwrap();
        assert_eq!(expanded.dof, 16.0);
        assert!((expanded.coverage_factor - 2.92).abs() < 0.005);
        // The source rounds midway and prints 93; unrounded it is 92.6.
        assert!((expanded.uncertainty - 93.0).abs() < 0.6);
        // The length itself: 50.000623 mm + 215 nm.
        assert!((50.000_623_f64 + 215e-6 - 50.000_838).abs() < 5e-7);
    }

    #[test]
    fn end_gauge_of_gum_h1_with_terms_of_second_order() {
        let mut lines = end_gauge();
        let length_nm = 50.000_623e6;
        lines.push(Contribution::product("δα·θ", length_nm, 0.58e-6, 0.41));
        lines.push(Contribution::product("α·δθ", length_nm, 1.2e-6, 0.029));
        assert!((combine(&lines).unwrap().standard_uncertainty - 34.0).abs() < 0.5);
    }

    #[test]
    fn parts_of_the_comparison_combine_to_its_figure() {
        // JCGM 100:2008 H.1.3.2: 5.8, 3.9 and 6.7 nm give 9.7 nm with 25.6 degrees of freedom.
        let parts = [(5.8, 24.0), (3.9, 5.0), (6.7, 8.0)]
            .map(|(u, dof)| Contribution::standard("part", u).dof(dof));
        let combined = combine(&parts).unwrap();
        assert!((combined.standard_uncertainty - 9.7).abs() < 0.05);
        // The source takes the fourth power of the rounded 9.7; so does this line.
        let as_rounded = combined.dof * (9.7 / combined.standard_uncertainty).powi(4);
        assert!((as_rounded - 25.6).abs() < 0.05);
    }

    #[test]
    fn divisors_are_those_of_the_spreads() {
        // A resolution of 1 µm: ±0.5 µm, u = 0.29 µm (JCGM 100:2008 F.2.2.1).
        let half_step = Contribution::standard("resolution", 0.5).spread(Spread::Rectangular);
        assert!((half_step.share() - 0.29).abs() < 0.005);
        // ±0.5 K swing: u = 0.35 K (JCGM 100:2008 H.1.3.4).
        let swing = Contribution::standard("cycle", 0.5).spread(Spread::Arcsine);
        assert!((swing.share() - 0.35).abs() < 0.005);
    }

    #[test]
    fn lines_out_of_range_are_named() {
        let words = |line: Contribution| combine(&[line]).unwrap_err().to_string();
        let line = || Contribution::standard("master", 1.0);
        assert!(
            words(Contribution { figure: -1.0, ..line() }).contains("\"master\" has the figure -1")
        );
        assert!(words(line().times(f64::NAN)).contains("sensitivity NaN"));
        assert!(words(line().dof(0.5)).contains("0.5 degrees of freedom"));
        let zero = Spread::Expanded { coverage_factor: 0.0 };
        assert!(words(line().spread(zero)).contains("divisor 0"));
        assert_eq!(combine(&[]), Err(UncertaintyError::Empty));
        let one = combine(&[line()]).unwrap();
        assert!(one.expanded(1.0).is_err() && one.expanded(f64::NAN).is_err());
    }

    #[test]
    fn part_and_master_alike_need_no_correction() {
        let warm = Warmth {
            temperature_c: 24.0,
            temperature_uncertainty_k: 0.3,
            expansion_per_k: 11.5e-6,
            expansion_uncertainty_per_k: 1e-6,
        };
        let at = at_reference(68.0, &warm, &warm).unwrap();
        assert_eq!(at.correction, 0.0);
        // Yet it is not sure: 68 mm × √2 × √((11.5e-6·0.3)² + (4·1e-6)² + (0.3e-6)²), by hand.
        let by_hand = 68.0 * 2f64.sqrt() * (3.45e-6f64.powi(2) + 4e-6f64.powi(2) + 9e-14).sqrt();
        assert!((at.standard_uncertainty / by_hand - 1.0).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn unit_of_the_result_does_not_matter(
            us in prop::collection::vec((0.0f64..10.0, 1.0f64..100.0), 1..8), scale in 1e-9f64..1e9
        ) {
            let lines = |c: f64| -> Vec<Contribution> {
                let line = |u, dof| Contribution::standard("x", u).times(c).dof(dof);
                us.iter().map(|&(u, dof)| line(u, dof)).collect()
            };
            let (a, b) = (combine(&lines(1.0)).unwrap(), combine(&lines(scale)).unwrap());
            prop_assert!((a.standard_uncertainty * scale - b.standard_uncertainty).abs()
                <= 1e-12 * b.standard_uncertainty);
            prop_assert!(a.dof == b.dof || (a.dof / b.dof - 1.0).abs() < 1e-9);
        }

        #[test]
        fn effective_degrees_lie_between_the_fewest_and_the_sum(
            us in prop::collection::vec((0.1f64..10.0, 1.0f64..100.0), 1..8)
        ) {
            let lines: Vec<_> =
                us.iter().map(|&(u, v)| Contribution::standard("x", u).dof(v)).collect();
            let dof = combine(&lines).unwrap().dof;
            let fewest = us.iter().map(|x| x.1).fold(f64::INFINITY, f64::min);
            let total: f64 = us.iter().map(|x| x.1).sum();
            prop_assert!(fewest * (1.0 - 1e-12) <= dof && dof <= total * (1.0 + 1e-12));
        }

        #[test]
        fn another_contribution_never_lessens_the_uncertainty(
            a in 0.0f64..10.0, b in 0.0f64..10.0
        ) {
            let both = [a, b].map(|u| Contribution::standard("x", u));
            let one = combine(&both[..1]).unwrap();
            let two = combine(&both).unwrap();
            prop_assert!(two.standard_uncertainty >= one.standard_uncertainty);
            prop_assert!((two.standard_uncertainty - a.hypot(b)).abs() < 1e-12);
        }

        #[test]
        fn correction_there_is_undone_by_growing_back(
            x in 1.0f64..1000.0, t in -10.0f64..60.0, alpha in 0.0f64..30e-6
        ) {
            let part = Warmth { temperature_c: t, temperature_uncertainty_k: 0.0,
                expansion_per_k: alpha, expansion_uncertainty_per_k: 0.0 };
            let scale = Warmth { temperature_c: 20.0, ..part };
            let at = at_reference(x, &part, &scale).unwrap();
            let grown = at.length * (1.0 + alpha * (t - 20.0));
            prop_assert!((grown - x).abs() < 1e-12 * x.max(1.0) * 4.0);
        }

        #[test]
        fn any_budget_is_combined_or_refused(
            figure in any::<f64>(), c in any::<f64>(), dof in any::<f64>(), p in any::<f64>()
        ) {
            let line = Contribution::standard("x", figure).times(c).dof(dof);
            if let Ok(combined) = combine(&[line.clone(), line]) {
                let _ = combined.expanded(p);
            }
        }
    }
}
