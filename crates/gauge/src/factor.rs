//! The factors of control charts for groups of 2 to 25 pieces.

use crate::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};

/// Smallest group the factors are given for.
pub const SMALLEST_GROUP: usize = 2;
/// Largest group the factors are given for. The range of larger ones wastes most of what they
/// know; use the standard deviation there.
pub const LARGEST_GROUP: usize = 25;

/// Mean d₂ and standard deviation d₃ of the range of n normal values of standard deviation 1, from
/// n = 2. Computed to 20 digits with mpmath 1.3 by `reference/gauge/chart_factors.py`; a test
/// computes them anew by another rule.
#[expect(clippy::approx_constant, reason = "2/√π is the first of a table of computed factors")]
const RANGE: [(f64, f64); LARGEST_GROUP - 1] = [
    (1.128_379_167_095_512_6, 0.852_502_466_427_421_7), // n = 2
    (1.692_568_750_643_269, 0.888_368_004_045_204_3),   // n = 3
    (2.058_750_746_007_928, 0.879_808_202_824_983_3),   // n = 4
    (2.325_928_947_281_039, 0.864_081_941_099_504_1),   // n = 5
    (2.534_412_721_222_943, 0.848_039_686_117_495_3),   // n = 6
    (2.704_356_751_213_808_7, 0.833_205_335_622_293_7), // n = 7
    (2.847_200_612_090_555_5, 0.819_831_489_791_944),   // n = 8
    (2.970_026_324_418_474, 0.807_834_274_553_322_5),   // n = 9
    (3.077_505_461_670_346, 0.797_050_673_519_411_2),   // n = 10
    (3.172_872_703_816_000_5, 0.787_314_620_550_327_7), // n = 11
    (3.258_455_279_743_826, 0.778_478_341_203_384_4),   // n = 12
    (3.335_980_354_098_255, 0.770_416_202_063_754_8),   // n = 13
    (3.406_763_108_199_953, 0.763_023_095_624_790_3),   // n = 14
    (3.471_826_889_882_074_8, 0.756_211_429_727_943_9), // n = 15
    (3.531_982_786_109_576, 0.749_908_089_409_915_9),   // n = 16
    (3.587_883_961_765_381_7, 0.744_051_783_960_731_5), // n = 17
    (3.640_063_757_937_444_4, 0.738_590_853_378_177_8), // n = 18
    (3.688_963_023_207_649_3, 0.733_481_495_518_868_4), // n = 19
    (3.734_950_119_596_641, 0.728_686_345_707_305_2),   // n = 20
    (3.778_335_829_842_621, 0.724_173_340_717_499),     // n = 21
    (3.819_384_643_362_832_7, 0.719_914_808_434_223_4), // n = 22
    (3.858_323_423_285_007, 0.715_886_735_491_814_4),   // n = 23
    (3.895_348_148_451_356_4, 0.712_068_175_147_937_2), // n = 24
    (3.930_629_219_507_113, 0.708_440_765_888_655),     // n = 25
];

/// Control-chart factors of groups of n.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Factors {
    /// Pieces in a group.
    pub n: usize,
    /// Mean of the standard deviation s over σ.
    pub c4: f64,
    /// Mean of the range over σ.
    pub d2: f64,
    /// Standard deviation of the range over σ.
    pub d3: f64,
}

impl Factors {
    /// The factors of groups of `n`; `None` unless 2 ≤ n ≤ 25.
    ///
    /// # Formula
    /// c₄ = √(2/(n − 1))·Γ(n/2)/Γ((n − 1)/2); d₂, d₃: mean and standard deviation of the range of n
    /// standard normal values.
    ///
    /// # Source
    /// c₄ in closed form; d₂ and d₃ by the integrals of Tippett, Biometrika 17 (1925) 364. Printed
    /// tables of d₃, D₃ and D₄ are off by one in the last digit at some places, being made from
    /// rounded factors; the integrals are followed here.
    ///
    /// # Example
    /// ```
    /// let f = bedplate_gauge::factor::Factors::of_groups(5).unwrap();
    /// assert_eq!(format!("{:.3} {:.3} {:.3}", f.d2, f.a2(), f.upper_d4()), "2.326 0.577 2.114");
    /// ```
    #[must_use]
    pub fn of_groups(n: usize) -> Option<Self> {
        let &(d2, d3) = RANGE.get(n.checked_sub(SMALLEST_GROUP)?)?;
        let half = n as f64 / 2.0;
        let ratio = (libm::lgamma(half) - libm::lgamma(half - 0.5)).exp();
        Some(Self { n, c4: ratio / (half - 0.5).sqrt(), d2, d3 })
    }

    /// Three standard deviations of the mean, in mean ranges: A₂ = 3/(d₂√n).
    #[must_use]
    pub fn a2(&self) -> f64 {
        3.0 / (self.d2 * (self.n as f64).sqrt())
    }

    /// Three standard deviations of the mean, in mean standard deviations: A₃ = 3/(c₄√n).
    #[must_use]
    pub fn a3(&self) -> f64 {
        3.0 / (self.c4 * (self.n as f64).sqrt())
    }

    /// Lower limit of s over its mean: B₃ = max(0, 1 − 3√(1 − c₄²)/c₄).
    #[must_use]
    pub fn lower_b3(&self) -> f64 {
        (1.0 - self.spread_of_s()).max(0.0)
    }

    /// Upper limit of s over its mean: B₄ = 1 + 3√(1 − c₄²)/c₄.
    #[must_use]
    pub fn upper_b4(&self) -> f64 {
        1.0 + self.spread_of_s()
    }

    /// Lower limit of the range over its mean: D₃ = max(0, 1 − 3d₃/d₂).
    #[must_use]
    pub fn lower_d3(&self) -> f64 {
        (1.0 - 3.0 * self.d3 / self.d2).max(0.0)
    }

    /// Upper limit of the range over its mean: D₄ = 1 + 3d₃/d₂.
    #[must_use]
    pub fn upper_d4(&self) -> f64 {
        1.0 + 3.0 * self.d3 / self.d2
    }

    fn spread_of_s(&self) -> f64 {
        3.0 * (1.0 - self.c4 * self.c4).sqrt() / self.c4
    }
}

/// The factors of control charts.
pub const CHART_FACTORS: Calculation = Calculation {
    name: "chart-factors",
    title: "Factors of control charts",
    stage: Stage::Control,
    question: "By what must mean range or mean standard deviation be multiplied for the limits?",
    inputs: &[Input::count("n", "pieces in a group").at_least(2.0).at_most(25.0)],
    outputs: &[
        Output::figure("c4", "", "mean of s over σ"),
        Output::figure("d2", "", "mean of the range over σ"),
        Output::figure("d3", "", "standard deviation of the range over σ"),
        Output::figure("A2", "", "mean chart from mean range"),
        Output::figure("A3", "", "mean chart from mean standard deviation"),
        Output::figure("B3", "", "lower limit of s over its mean"),
        Output::figure("B4", "", "upper limit of s over its mean"),
        Output::figure("D3", "", "lower limit of the range over its mean"),
        Output::figure("D4", "", "upper limit of the range over its mean"),
    ],
    formula: "c₄ = √(2/(n−1))·Γ(n/2)/Γ((n−1)/2); d₂ = ∫(1 − Φⁿ − (1 − Φ)ⁿ)dx; A₂ = 3/(d₂√n), \
              A₃ = 3/(c₄√n), B₃,₄ = 1 ∓ 3√(1 − c₄²)/c₄, D₃,₄ = 1 ∓ 3d₃/d₂",
    source: "Tippett, Biometrika 17 (1925) 364; definitions as in ISO 7870-2",
    validity: "Normal scatter within the group.",
    // Computed with scipy 1.17.1, agreeing with printed tables.
    example: &[("n", "5")],
    expected: &[
        ("c4", "0.9399856"),
        ("d2", "2.3259289"),
        ("d3", "0.864082"),
        ("A2", "0.5768193"),
        ("A3", "1.4272993"),
        ("B3", "0"),
        ("B4", "2.0889979"),
        ("D3", "0"),
        ("D4", "2.114499"),
    ],
    run: run_factors,
};

fn run_factors(given: &Given) -> Result<Answer, Refused> {
    let f = Factors::of_groups(given.count("n"))
        .ok_or_else(|| Refused::because("n", "groups of 2 to 25 pieces are tabulated"))?;
    Ok(Answer::new()
        .figure("c4", f.c4)
        .figure("d2", f.d2)
        .figure("d3", f.d3)
        .figure("A2", f.a2())
        .figure("A3", f.a3())
        .figure("B3", f.lower_b3())
        .figure("B4", f.upper_b4())
        .figure("D3", f.lower_d3())
        .figure("D4", f.upper_d4()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::distribution::{normal_density, normal_probability};
    use crate::integral::integral;

    #[test]
    fn tabulated_range_factors_are_the_integrals() {
        let ends = |from: i32, to: i32| (from..=to).map(f64::from).collect::<Vec<_>>();
        for n in SMALLEST_GROUP..=LARGEST_GROUP {
            let f = Factors::of_groups(n).unwrap();
            let power = i32::try_from(n).unwrap();
            let beyond = |x: f64| {
                1.0 - normal_probability(x).powi(power) - normal_probability(-x).powi(power)
            };
            let d2 = integral(beyond, &mut ends(-10, 10));
            assert!((d2 - f.d2).abs() < 1e-13, "n = {n}: {d2}");
        }
        for n in [2, 5, 10, 25_i32] {
            let within = |w: f64| {
                let inner = |x: f64| {
                    let between = normal_probability(x + w) - normal_probability(x);
                    normal_density(x) * between.powi(n - 1)
                };
                f64::from(n) * integral(inner, &mut ends(-12, 8))
            };
            let second = 2.0 * integral(|w| w * (1.0 - within(w)), &mut ends(0, 13));
            let f = Factors::of_groups(usize::try_from(n).unwrap()).unwrap();
            let d3 = (second - f.d2 * f.d2).sqrt();
            assert!((d3 - f.d3).abs() < 1e-11, "n = {n}: {d3}");
        }
    }

    #[test]
    fn groups_of_two_have_closed_forms() {
        let f = Factors::of_groups(2).unwrap();
        let pi = std::f64::consts::PI;
        assert!((f.d2 - 2.0 / pi.sqrt()).abs() < 1e-15);
        assert!((f.d3 - (2.0 - 4.0 / pi).sqrt()).abs() < 1e-15);
        assert!((f.c4 - (2.0 / pi).sqrt()).abs() < 1e-15);
    }

    #[test]
    fn other_groups_have_no_factors() {
        for n in [0, 1, 26, usize::MAX] {
            assert_eq!(Factors::of_groups(n), None);
        }
    }
}
