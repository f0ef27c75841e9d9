//! One-dimensional stacks: the gap that a chain of sizes leaves, at worst, by root sum of squares,
//! and with the exact variance of the parts as they are.

use std::f64::consts::TAU;

use bedplate_gauge::calculation::{
    Answer, Calculation, Column, Given, Input, Output, Refused, Stage,
};
use rand::{Rng, RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

/// How the sizes of one part lie between their limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spread {
    /// Anywhere between the limits alike.
    Uniform,
    /// Normal about the middle, the half width being this many standard deviations.
    Normal {
        /// Standard deviations from the middle to a limit; above zero.
        sigmas: f64,
    },
    /// Rising straight from the limits to the middle.
    Triangular,
}

/// One link of a chain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Link {
    /// Nominal size, mm.
    pub nominal_mm: f64,
    /// Upper deviation from nominal, mm.
    pub upper_mm: f64,
    /// Lower deviation from nominal, mm; usually negative, not above the upper.
    pub lower_mm: f64,
    /// How the gap moves for one more of this size: +1 opens it, −1 closes it, another figure for
    /// a lever or a slope.
    pub direction: f64,
    /// How the sizes lie between the limits.
    pub spread: Spread,
}

impl Link {
    /// A link with limits alike on both sides, and sizes anywhere between them.
    #[must_use]
    pub const fn plus_minus(nominal_mm: f64, half_mm: f64, direction: f64) -> Self {
        let spread = Spread::Uniform;
        Self { nominal_mm, upper_mm: half_mm, lower_mm: -half_mm, direction, spread }
    }

    fn middle_mm(&self) -> f64 {
        self.nominal_mm + f64::midpoint(self.upper_mm, self.lower_mm)
    }

    fn half_mm(&self) -> f64 {
        (self.upper_mm - self.lower_mm) / 2.0
    }

    /// Standard deviation of the gap that this link alone gives, mm.
    fn sd_mm(&self) -> f64 {
        let half = (self.half_mm() * self.direction).abs();
        match self.spread {
            Spread::Uniform => half / 3f64.sqrt(),
            Spread::Triangular => half / 6f64.sqrt(),
            Spread::Normal { sigmas } => half / sigmas,
        }
    }

    /// Fourth cumulant of the gap that this link alone gives, mm⁴.
    fn fourth_cumulant(&self) -> f64 {
        let half = (self.half_mm() * self.direction).abs();
        match self.spread {
            Spread::Uniform => -2.0 / 15.0 * half.powi(4),
            Spread::Triangular => -half.powi(4) / 60.0,
            Spread::Normal { .. } => 0.0,
        }
    }
}

/// What a chain leaves.
#[derive(Debug, Clone, PartialEq)]
pub struct Gap {
    /// Gap of the nominals, mm.
    pub nominal_mm: f64,
    /// Gap with every link at the middle of its limits, mm.
    pub middle_mm: f64,
    /// Smallest gap any parts inside their limits can give, mm.
    pub worst_min_mm: f64,
    /// Largest such gap, mm.
    pub worst_max_mm: f64,
    /// Root of the sum of squares of the half widths, mm: about [`Gap::middle_mm`].
    pub root_sum_square_mm: f64,
    /// Standard deviation of the gap with the links' spreads, mm.
    pub sd_mm: f64,
    /// Excess kurtosis of the gap: 0 for normal, −1.2 for one uniform link.
    pub excess_kurtosis: f64,
    /// Share of the variance that each link contributes, in the order given; sums to 1.
    pub shares: Vec<f64>,
}

/// Why a chain cannot be added up.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum StackError {
    /// No links.
    #[error("the chain has no links; at least one is needed")]
    NoLinks,
    /// A link that cannot be.
    #[error(
        "link {link} cannot be: sizes must be finite and the lower deviation not above the upper"
    )]
    Link {
        /// Which link, counted from 1.
        link: usize,
    },
    /// A count of standard deviations that is not above zero.
    #[error("link {link} has limits at {sigmas} standard deviations; it must be above 0")]
    Sigmas {
        /// Which link, counted from 1.
        link: usize,
        /// What was given.
        sigmas: f64,
    },
    /// Half widths or bound of a sum of uniform errors that cannot be.
    #[error("half widths and bound must be finite and 0 or more, with one half width above 0")]
    Widths,
    /// Too many or too unlike errors for the exact sum in double precision.
    #[error(
        "{n_errors} errors of such different size cannot be added exactly (at most {most} count); \
         draw them at random instead"
    )]
    NotExact {
        /// How many were given.
        n_errors: usize,
        /// How many are taken.
        most: usize,
    },
}

impl From<StackError> for Refused {
    fn from(error: StackError) -> Self {
        let input = match error {
            StackError::NoLinks | StackError::Link { .. } | StackError::Sigmas { .. } => "links",
            StackError::Widths | StackError::NotExact { .. } => "half_widths",
        };
        Self::because(input, error.to_string())
    }
}

/// The gap that a chain of sizes leaves.
///
/// # Formula
/// `g = Σ c_i x_i`; worst `Σ c_i m_i ± Σ |c_i| t_i` about the middles `m_i`, half widths `t_i`;
/// root sum of squares `√Σ (c_i t_i)²`; variance `Σ (c_i s_i)²` with `s = t/√3` uniform, `t/√6`
/// triangular, `t/k` normal; excess kurtosis `Σ c_i⁴ κ_i / (variance)²`.
/// # Given
/// Links in mm; see [`Link`].
/// # Returns
/// See [`Gap`]. Lengths in mm.
/// # Errors
/// [`StackError::NoLinks`], [`StackError::Link`], [`StackError::Sigmas`].
/// # Validity
/// Links independent of each other; sizes inside their limits for the worst case. The variance is
/// exact for any mix of spreads; limits drawn from it as if normal are not, least of all for few
/// uniform links.
/// # Source
/// Textbook: limits by addition, variance of a sum of independent quantities.
/// # Example
/// ```
/// use bedplate_engine::build::stack::{Link, gap};
/// let chain = [
///     Link::plus_minus(12.0, 0.05, -1.0),
///     Link::plus_minus(20.0, 0.08, -1.0),
///     Link::plus_minus(35.5, 0.10, -1.0),
///     Link::plus_minus(67.8, 0.12, 1.0),
/// ];
/// let gap = gap(&chain)?;
/// // Arithmetic from the formulas.
/// assert_eq!(format!("{:.2} to {:.2}", gap.worst_min_mm, gap.worst_max_mm), "-0.05 to 0.65");
/// assert_eq!(format!("{:.7}", gap.root_sum_square_mm), "0.1824829");
/// # Ok::<(), bedplate_engine::build::stack::StackError>(())
/// ```
pub fn gap(links: &[Link]) -> Result<Gap, StackError> {
    check(links)?;
    let sum = |f: fn(&Link) -> f64| links.iter().map(f).sum::<f64>();
    let nominal_mm = sum(|l| l.direction * l.nominal_mm);
    let middle_mm = sum(|l| l.direction * l.middle_mm());
    let reach = sum(|l| (l.direction * l.half_mm()).abs());
    let variance = sum(|l| l.sd_mm().powi(2));
    let shares = links
        .iter()
        .map(|l| if variance > 0.0 { l.sd_mm().powi(2) / variance } else { 0.0 })
        .collect();
    let excess_kurtosis =
        if variance > 0.0 { sum(Link::fourth_cumulant) / (variance * variance) } else { 0.0 };
    Ok(Gap {
        nominal_mm,
        middle_mm,
        worst_min_mm: middle_mm - reach,
        worst_max_mm: middle_mm + reach,
        root_sum_square_mm: sum(|l| (l.direction * l.half_mm()).powi(2)).sqrt(),
        sd_mm: variance.sqrt(),
        excess_kurtosis,
        shares,
    })
}

fn check(links: &[Link]) -> Result<(), StackError> {
    if links.is_empty() {
        return Err(StackError::NoLinks);
    }
    for (i, l) in links.iter().enumerate() {
        let link = i + 1;
        let finite = [l.nominal_mm, l.upper_mm, l.lower_mm, l.direction]
            .iter()
            .all(|x| x.is_finite() && x.abs() < 1e12);
        if !finite || l.lower_mm > l.upper_mm {
            return Err(StackError::Link { link });
        }
        if let Spread::Normal { sigmas } = l.spread
            && !(0.0 < sigmas && sigmas.is_finite())
        {
            return Err(StackError::Sigmas { link, sigmas });
        }
    }
    Ok(())
}

/// Most errors taken by [`uniform_sum_outside`]: beyond this the alternating sum loses its digits.
pub const MOST_UNIFORM_ERRORS: usize = 16;

/// Probability that a sum of uniform errors lies beyond ± a bound.
///
/// # Formula
/// `P(S ≤ x) = Σ_ε (Π ε_i) (x + Σ ε_i h_i)₊ⁿ / (n! Π 2 h_i)`, the sum over all signs `ε_i = ±1`;
/// outside is `2 P(S ≤ −q)`.
/// # Given
/// Half widths `h_i` in one unit, 0 or more, one at least above 0; bound `q` in the same, 0 or
/// more.
/// # Returns
/// Probability, 0 to 1.
/// # Errors
/// [`StackError::Widths`]; [`StackError::NotExact`] for more than 16 errors that count, or where
/// rounding would leave fewer than six digits.
/// # Validity
/// Independent errors, each uniform about zero.
/// # Source
/// J. O. Irwin and P. Hall 1927, for unequal widths by inclusion and exclusion.
/// # Example
/// ```
/// use bedplate_engine::build::stack::uniform_sum_outside;
/// // Exact polynomial: three errors of ±0.05 beyond ±0.09.
/// assert_eq!(format!("{:.6}", uniform_sum_outside(&[0.05; 3], 0.09)?), "0.072000");
/// # Ok::<(), bedplate_engine::build::stack::StackError>(())
/// ```
pub fn uniform_sum_outside(half_widths: &[f64], bound: f64) -> Result<f64, StackError> {
    let sound = |x: f64| 0.0 <= x && x.is_finite();
    if !sound(bound) || !half_widths.iter().all(|h| sound(*h)) {
        return Err(StackError::Widths);
    }
    let largest = half_widths.iter().copied().fold(0.0, f64::max);
    if largest == 0.0 {
        return Err(StackError::Widths);
    }
    let widths: Vec<f64> = half_widths.iter().filter(|h| **h > 0.0).map(|h| h / largest).collect();
    let n = widths.len();
    let refuse = StackError::NotExact { n_errors: n, most: MOST_UNIFORM_ERRORS };
    if n > MOST_UNIFORM_ERRORS {
        return Err(refuse);
    }
    let reach: f64 = widths.iter().sum();
    let depth = reach - bound / largest;
    if depth <= 0.0 {
        return Ok(0.0);
    }
    // P(S ≤ −q): the terms (−q + Σ ε h)₊ⁿ, that is (depth − 2 Σ of the widths turned)₊ⁿ.
    let (mut total, mut size) = (0.0, 0.0);
    for turned in 0..1_u32 << n {
        let taken: f64 = (0..n).filter(|i| turned >> i & 1 == 1).map(|i| 2.0 * widths[i]).sum();
        let term = widths
            .iter()
            .enumerate()
            .map(|(i, h)| (depth - taken).max(0.0) / (2.0 * h) / (i + 1) as f64)
            .product::<f64>();
        total += if turned.count_ones() % 2 == 0 { term } else { -term };
        size += term;
    }
    if size * f64::EPSILON * 4.0 > 1e-6 * total.abs() && size * f64::EPSILON > 1e-9 {
        return Err(refuse);
    }
    Ok((2.0 * total).clamp(0.0, 1.0))
}

/// What drawing parts at random gives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drawn {
    /// Mean gap, mm.
    pub mean_mm: f64,
    /// Standard deviation of the gap, mm.
    pub sd_mm: f64,
    /// Share of the gaps outside the limits.
    pub outside: f64,
    /// Standard error of that share.
    pub outside_error: f64,
}

/// Gaps allowed by the drawing, mm; both ends inside.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GapLimits {
    /// Smallest gap allowed, mm.
    pub lower_mm: f64,
    /// Largest gap allowed, mm.
    pub upper_mm: f64,
}

/// Draws parts at random and measures the gaps they leave.
///
/// # Formula
/// Each draw: every link from its spread, `g = Σ c_i x_i`; share outside and its standard error
/// `√(p(1−p)/n)`.
/// # Given
/// Links as for [`gap`]; limits; the number of draws; a random source.
/// # Returns
/// Mean, standard deviation and share outside the limits.
/// # Errors
/// As [`gap`].
/// # Validity
/// Normal links are not cut off at their limits. The same source and seed give the same figures.
/// # Source
/// JCGM 101:2008; normal numbers by the polar formula of G. E. P. Box and M. E. Muller 1958.
pub fn draw_gaps(
    links: &[Link],
    limits: GapLimits,
    n_draws: u32,
    source: &mut impl Rng,
) -> Result<Drawn, StackError> {
    check(links)?;
    let (mut mean, mut square, mut outside) = (0.0, 0.0, 0_u32);
    for k in 1..=n_draws {
        let gap: f64 = links.iter().map(|l| l.direction * size(l, source)).sum();
        let step = gap - mean;
        mean += step / f64::from(k);
        square += step * (gap - mean);
        outside += u32::from(!(limits.lower_mm <= gap && gap <= limits.upper_mm));
    }
    let n = f64::from(n_draws.max(2));
    let share = f64::from(outside) / n;
    Ok(Drawn {
        mean_mm: mean,
        sd_mm: (square / (n - 1.0)).sqrt(),
        outside: share,
        outside_error: (share * (1.0 - share) / n).sqrt(),
    })
}

fn size(link: &Link, source: &mut impl Rng) -> f64 {
    let mut unit = || source.random::<f64>();
    let off = match link.spread {
        Spread::Uniform => 2.0 * unit() - 1.0,
        Spread::Triangular => unit() - unit(),
        // 1 − u is never zero, so its logarithm is finite.
        Spread::Normal { sigmas } => {
            (-2.0 * (1.0 - unit()).ln()).sqrt() * (TAU * unit()).cos() / sigmas
        }
    };
    link.middle_mm() + link.half_mm() * off
}

const LINKS: &[Column] = &[
    Column { name: "nominal", unit: "mm", meaning: "nominal size" },
    Column { name: "upper", unit: "mm", meaning: "upper deviation" },
    Column { name: "lower", unit: "mm", meaning: "lower deviation" },
    Column { name: "direction", unit: "", meaning: "+1 opens the gap, −1 closes it" },
];
const SPREADS: Input = Input::choice(
    "spread",
    &["uniform", "normal", "triangular"],
    "how sizes lie between their limits",
)
.or("uniform");
const SIGMAS: Input =
    Input::quantity("sigmas", "", "for normal: standard deviations from middle to limit")
        .over(0.0)
        .or("3");
const SHARES: &[Column] = &[
    Column { name: "link", unit: "", meaning: "link, in the order given" },
    Column { name: "share", unit: "%", meaning: "share of the variance" },
];

fn links_of(given: &Given) -> Vec<Link> {
    let spread = match given.word("spread") {
        "normal" => Spread::Normal { sigmas: given.number("sigmas") },
        "triangular" => Spread::Triangular,
        _ => Spread::Uniform,
    };
    let link = |row: &Vec<f64>| Link {
        nominal_mm: row[0],
        upper_mm: row[1],
        lower_mm: row[2],
        direction: row[3],
        spread,
    };
    given.table("links").iter().map(link).collect()
}

const CHAIN: &str = "12 mm, 0.05 mm, -0.05 mm, -1; 20 mm, 0.08 mm, -0.08 mm, -1; \
                     35.5 mm, 0.1 mm, -0.1 mm, -1; 67.8 mm, 0.12 mm, -0.12 mm, 1";

/// Declaration of [`gap`].
pub const STACK: Calculation = Calculation {
    name: "stack",
    title: "Gap of a chain of sizes",
    stage: Stage::Build,
    question: "What gap do these limits leave, at worst and as parts usually fall?",
    inputs: &[Input::table("links", LINKS, "the sizes of the chain"), SPREADS, SIGMAS],
    outputs: &[
        Output::figure("gap", "mm", "gap of the nominals"),
        Output::figure("middle", "mm", "gap with every size at the middle of its limits"),
        Output::figure("worst_min", "mm", "smallest gap"),
        Output::figure("worst_max", "mm", "largest gap"),
        Output::figure("rss", "mm", "root sum of squares of the half widths"),
        Output::figure("sd", "mm", "standard deviation of the gap"),
        Output::figure("excess_kurtosis", "", "0 for normal, −1.2 for one uniform size"),
        Output::figure("shares", "", "share of the variance of each size"),
    ],
    formula: "g = Σ c x; worst = Σ c m ± Σ |c| t; rss = √Σ (c t)²; sd² = Σ (c s)², s = t/√3 \
              uniform, t/√6 triangular, t/k normal",
    source: "textbook: addition of limits, variance of a sum of independent quantities",
    validity: "Sizes independent of each other.",
    example: &[("links", CHAIN)],
    expected: &[
        ("gap", "0.3"),
        ("worst_min", "-0.05"),
        ("worst_max", "0.65"),
        ("rss", "0.1824828759"),
        ("sd", "0.1053565375"),
    ],
    run: |given| {
        let gap = gap(&links_of(given))?;
        #[expect(clippy::cast_precision_loss, reason = "a count of links")]
        let shares =
            gap.shares.iter().enumerate().map(|(i, s)| vec![(i + 1) as f64, s * 100.0]).collect();
        Ok(Answer::new()
            .figure("gap", gap.nominal_mm)
            .figure("middle", gap.middle_mm)
            .figure("worst_min", gap.worst_min_mm)
            .figure("worst_max", gap.worst_max_mm)
            .figure("rss", gap.root_sum_square_mm)
            .figure("sd", gap.sd_mm)
            .figure("excess_kurtosis", gap.excess_kurtosis)
            .table("shares", SHARES, shares))
    },
};

/// Declaration of [`uniform_sum_outside`].
pub const UNIFORM_SUM: Calculation = Calculation {
    name: "uniform-sum",
    title: "Sum of uniform errors beyond a bound",
    stage: Stage::Build,
    question: "How often do several errors, each anywhere inside its limits, add up too far?",
    inputs: &[
        Input::list("half_widths", "mm", "half width of each error").at_least(0.0),
        Input::quantity("bound", "mm", "bound either side of zero").at_least(0.0),
    ],
    outputs: &[
        Output::figure("outside", "", "probability that the sum lies beyond ± the bound"),
        Output::figure("sd", "mm", "standard deviation of the sum"),
        Output::figure("excess_kurtosis", "", "0 for normal"),
    ],
    formula: "P = 2 Σ_ε (Π ε)(−q + Σ ε h)₊ⁿ / (n! Π 2h)",
    source: "J. O. Irwin and P. Hall 1927; example an exact polynomial",
    validity: "Independent errors, uniform about zero; up to 16 of them.",
    example: &[("half_widths", "0.05, 0.05, 0.05 mm"), ("bound", "0.09 mm")],
    expected: &[("outside", "0.07200000"), ("excess_kurtosis", "-0.4")],
    run: |given| {
        let half_widths = given.list("half_widths");
        let outside = uniform_sum_outside(half_widths, given.number("bound"))?;
        let links: Vec<Link> =
            half_widths.iter().map(|half_mm| Link::plus_minus(0.0, *half_mm, 1.0)).collect();
        let gap = gap(&links)?;
        Ok(Answer::new()
            .figure("outside", outside)
            .figure("sd", gap.sd_mm)
            .figure("excess_kurtosis", gap.excess_kurtosis))
    },
};

/// Declaration of [`draw_gaps`].
pub const STACK_DRAWN: Calculation = Calculation {
    name: "stack-drawn",
    title: "Gap of a chain, parts drawn at random",
    stage: Stage::Build,
    question: "How often does this chain leave a gap outside its limits?",
    inputs: &[
        Input::table("links", LINKS, "the sizes of the chain"),
        SPREADS,
        SIGMAS,
        Input::quantity("lower", "mm", "smallest gap allowed"),
        Input::quantity("upper", "mm", "largest gap allowed"),
        Input::count("draws", "engines drawn").at_least(100.0).at_most(2_000_000.0).or("200000"),
        Input::count("seed", "seed of the random numbers").or("1"),
    ],
    outputs: &[
        Output::figure("mean", "mm", "mean gap"),
        Output::figure("sd", "mm", "standard deviation of the gap"),
        Output::figure("outside", "", "share of the gaps outside the limits"),
        Output::figure("outside_error", "", "standard error of that share"),
    ],
    formula: "every size from its spread, g = Σ c x, counted",
    source: "JCGM 101:2008; example the sum of three uniform errors, exactly 0.072 outside",
    validity: "Sizes independent of each other; normal sizes are not cut off at their limits.",
    example: &[
        (
            "links",
            "0 mm, 0.05 mm, -0.05 mm, 1; 0 mm, 0.05 mm, -0.05 mm, 1; 0 mm, 0.05 mm, -0.05 mm, 1",
        ),
        ("lower", "-0.09 mm"),
        ("upper", "0.09 mm"),
        ("draws", "1000000"),
    ],
    expected: &[("sd", "0.050"), ("outside", "0.072")],
    run: |given| {
        let limits = GapLimits { lower_mm: given.number("lower"), upper_mm: given.number("upper") };
        let n_draws = u32::try_from(given.count("draws")).unwrap_or(u32::MAX);
        let mut source = Xoshiro256PlusPlus::seed_from_u64(given.count("seed") as u64);
        let drawn = draw_gaps(&links_of(given), limits, n_draws, &mut source)?;
        Ok(Answer::new()
            .figure("mean", drawn.mean_mm)
            .figure("sd", drawn.sd_mm)
            .figure("outside", drawn.outside)
            .figure("outside_error", drawn.outside_error))
    },
};

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn chains_that_cannot_be_are_refused() {
        assert_eq!(gap(&[]), Err(StackError::NoLinks));
        let good = Link::plus_minus(10.0, 0.1, 1.0);
        let crossed = Link { lower_mm: 0.2, ..good };
        assert_eq!(gap(&[good, crossed]), Err(StackError::Link { link: 2 }));
        let nan = Link { nominal_mm: f64::NAN, ..good };
        assert_eq!(gap(&[nan]), Err(StackError::Link { link: 1 }));
        let flat = Link { spread: Spread::Normal { sigmas: 0.0 }, ..good };
        assert!(matches!(gap(&[flat]), Err(StackError::Sigmas { .. })));
        assert_eq!(uniform_sum_outside(&[], 1.0), Err(StackError::Widths));
        assert_eq!(uniform_sum_outside(&[0.0], 1.0), Err(StackError::Widths));
        assert_eq!(uniform_sum_outside(&[1.0], f64::NAN), Err(StackError::Widths));
        let many = uniform_sum_outside(&[1.0; 17], 1.0);
        assert!(matches!(many, Err(StackError::NotExact { .. })));
        let unlike = uniform_sum_outside(&[1.0, 1e-9, 1e-9, 1e-9], 0.5);
        assert!(matches!(unlike, Err(StackError::NotExact { .. })), "{unlike:?}");
    }

    #[test]
    fn one_and_two_uniform_errors_are_as_geometry_says() {
        // One: 1 − q/h. Two alike: the triangle, (1 − q/2h)².
        assert!((uniform_sum_outside(&[0.1], 0.07).unwrap() - 0.3).abs() < 1e-14);
        assert!((uniform_sum_outside(&[0.1, 0.1], 0.1).unwrap() - 0.25).abs() < 1e-14);
        assert_eq!(uniform_sum_outside(&[0.1, 0.2], 0.31), Ok(0.0));
        assert_eq!(uniform_sum_outside(&[0.1, 0.2], 0.0), Ok(1.0));
    }

    #[test]
    fn deviations_on_one_side_move_the_middle() {
        let link = Link {
            nominal_mm: 50.0,
            upper_mm: 0.0,
            lower_mm: -0.02,
            direction: -1.0,
            spread: Spread::Triangular,
        };
        let gap = gap(&[link]).unwrap();
        assert!((gap.nominal_mm + 50.0).abs() < 1e-12 && (gap.middle_mm + 49.99).abs() < 1e-12);
        assert!((gap.worst_min_mm + 50.0).abs() < 1e-12);
        // Triangular: variance t²/6, excess kurtosis −0.6.
        assert!((gap.sd_mm - 0.01 / 6f64.sqrt()).abs() < 1e-15);
        assert!((gap.excess_kurtosis + 0.6).abs() < 1e-9);
    }

    proptest! {
        #[test]
        fn worst_case_holds_every_draw_and_shares_sum_to_one(
            sizes in proptest::collection::vec((1.0..90.0f64, 0.001..0.2f64, any::<bool>()), 1..8),
            seed in any::<u64>(),
        ) {
            let links: Vec<Link> = sizes
                .iter()
                .map(|&(n, t, opens)| Link::plus_minus(n, t, if opens { 1.0 } else { -1.0 }))
                .collect();
            let found = gap(&links).unwrap();
            prop_assert!((found.shares.iter().sum::<f64>() - 1.0).abs() < 1e-12);
            let slack = 1e-9;
            let limits = GapLimits {
                lower_mm: found.worst_min_mm - slack,
                upper_mm: found.worst_max_mm + slack,
            };
            let mut source = Xoshiro256PlusPlus::seed_from_u64(seed);
            let drawn = draw_gaps(&links, limits, 200, &mut source).unwrap();
            prop_assert_eq!(drawn.outside, 0.0);
        }

        #[test]
        fn the_exact_sum_falls_with_the_bound(
            h in proptest::collection::vec(0.2..1.0f64, 1..7), q in 0.0..2.0f64,
        ) {
            let near = uniform_sum_outside(&h, q).unwrap();
            prop_assert!(uniform_sum_outside(&h, q + 0.1).unwrap() <= near + 1e-9);
        }
    }
}
