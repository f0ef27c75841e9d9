//! Reading, limits and uncertainty to a judgement: accept, reject, or cannot tell.
//!
//! The rule is the plan's, stated with every judgement. Start at [`judge`]; [`reason`] puts a
//! [`Verdict`] into one line for the bench. Knows nothing of where the uncertainty comes from
//! nor of what a rule costs over many pieces.

use crate::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};
use crate::distribution::{normal_between, normal_probability, normal_quantile};
use crate::limits::{LOWER_INPUT, Limits, Side, UPPER_INPUT, limits_given, rounding_width};

/// Coverage factor of the expanded uncertainty that a guard band is measured in (ISO 14253-1).
pub const COVERAGE_FACTOR: f64 = 2.0;

/// What is decided about a piece.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Judgement {
    /// The piece is good by the rule.
    Accept,
    /// The piece is bad by the rule.
    Reject,
    /// The gauge cannot tell: the reading is too near a limit for its uncertainty.
    CannotTell,
}

impl Judgement {
    /// The judgement in words: "accept", "reject", "cannot tell".
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Accept => "accept",
            Self::Reject => "reject",
            Self::CannotTell => "cannot tell",
        }
    }
}

/// How a reading is turned into a judgement.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DecisionRule {
    /// Accept on and inside the limits, reject beyond: maker and user share the gauge's error
    /// (simple acceptance, JCGM 106:2012 clause 8.2).
    Simple,
    /// Accept only when inside both limits by at least the guard band g = factor × U, reject only
    /// when beyond one by at least g, else cannot tell (ISO 14253-1). U is the expanded
    /// uncertainty at k = 2.
    Guarded {
        /// Guard band in units of U; 1 unless the plan says otherwise, 0.825 for the 1.65 u of a
        /// conformance probability of 95 %. Finite, 0 or more.
        factor: f64,
    },
    /// Accept when the probability of conformity is `accept_at` or more, reject when it is
    /// `reject_at` or less, else cannot tell (JCGM 106:2012 clause 8.3).
    Conformity {
        /// Least probability of conformity of an accepted piece.
        accept_at: f64,
        /// Greatest probability of conformity of a rejected piece; below `accept_at`.
        reject_at: f64,
    },
}

impl Default for DecisionRule {
    /// The guard band of the whole expanded uncertainty.
    fn default() -> Self {
        Self::Guarded { factor: 1.0 }
    }
}

/// Why a decision rule makes no sense.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum RuleError {
    /// The guard factor is negative or no number.
    #[error("the guard factor is {factor}; it must be a number of 0 or more")]
    Factor {
        /// What was given.
        factor: f64,
    },
    /// The probabilities do not stand in order between 0 and 1.
    #[error(
        "accept at {accept_at} and reject at {reject_at}; both must lie between 0 and 1, and a \
         piece must be accepted at a greater probability than it is rejected"
    )]
    Probabilities {
        /// Probability at which a piece is accepted.
        accept_at: f64,
        /// Probability at which a piece is rejected.
        reject_at: f64,
    },
}

impl DecisionRule {
    /// The rule, if it makes sense: for rules read from outside.
    ///
    /// # Errors
    /// [`RuleError`] says which figure is out of its range.
    pub fn checked(self) -> Result<Self, RuleError> {
        match self {
            Self::Simple => Ok(self),
            Self::Guarded { factor } if factor.is_finite() && factor >= 0.0 => Ok(self),
            Self::Guarded { factor } => Err(RuleError::Factor { factor }),
            Self::Conformity { accept_at, reject_at }
                if 0.0 <= reject_at && reject_at < accept_at && accept_at <= 1.0 =>
            {
                Ok(self)
            }
            Self::Conformity { accept_at, reject_at } => {
                Err(RuleError::Probabilities { accept_at, reject_at })
            }
        }
    }

    /// The width of the band beside a limit in which the gauge cannot tell, in the unit of
    /// `standard_uncertainty`. For [`DecisionRule::Conformity`] it is the band inside the limit,
    /// exact for one limit alone and for two that lie many uncertainties apart; zero where a
    /// probability of conformity of one half already accepts.
    #[must_use]
    pub fn guard(&self, standard_uncertainty: f64) -> f64 {
        match *self {
            Self::Simple => 0.0,
            Self::Guarded { factor } => factor * COVERAGE_FACTOR * standard_uncertainty,
            Self::Conformity { accept_at, .. } => match normal_quantile(accept_at) {
                Ok(z) => (z * standard_uncertainty).max(0.0),
                Err(_) => f64::INFINITY,
            },
        }
    }
}

/// A judgement with the figures that led to it. Lengths are in the unit of the reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Verdict {
    /// What is decided.
    pub judgement: Judgement,
    /// The probability that the true value lies between the limits, given this reading.
    pub probability_of_conformity: f64,
    /// Distance to the nearest limit: positive inside, negative beyond.
    pub margin: f64,
    /// Width of the band beside a limit in which the gauge cannot tell.
    pub guard: f64,
    /// Expanded uncertainty U at k = 2: how far the gauge can be wrong.
    pub expanded_uncertainty: f64,
    /// The limit in question: the nearest one when the piece is not accepted.
    pub side: Option<Side>,
    /// The rule that was followed.
    pub rule: DecisionRule,
}

/// Judges one reading.
///
/// # Formula
/// p = Φ((T_U − x)/u) − Φ((T_L − x)/u); margin m = min(x − T_L, T_U − x); g by the rule.
/// Simple: accept if m ≥ 0. Guarded: accept if m ≥ g, reject if m ≤ −g. Conformity: by p.
///
/// # Given
/// `value`: the reading; `limits`: its limits; `standard_uncertainty`: u of the reading, 0 or
/// more (0 for a reading taken as exact); all in one unit. `rule`: the plan's decision rule.
///
/// # Returns
/// The verdict. What is no finite number, a negative uncertainty, or a rule that
/// [`DecisionRule::checked`] refuses is never accepted or rejected: it cannot be told. Where a
/// guarded band is zero, a reading exactly on a limit is accepted.
///
/// # Validity
/// The reading's error is taken as normal and the prior as flat, so the probability is that of
/// JCGM 106:2012 clause 7 with a vague prior. A figure equal to a bound to within the rounding of
/// binary arithmetic counts as standing on it.
///
/// # Source
/// ISO 14253-1 (guard band g = U at k = 2, from memory); JCGM 106:2012 clauses 7 and 8.
///
/// # Example
/// ```
/// use bedplate_gauge::judge::{DecisionRule, Judgement, judge};
/// use bedplate_gauge::limits::Limits;
/// let bore_mm = Limits::between(25.0, 25.021).unwrap();
/// let rule = DecisionRule::Guarded { factor: 0.825 }; // g = 1.65 u
/// let verdict = judge(25.0017, &bore_mm, 0.001, rule);
/// assert_eq!(verdict.judgement, Judgement::Accept);
/// assert_eq!(judge(25.0195, &bore_mm, 0.001, rule).judgement, Judgement::CannotTell);
/// ```
#[must_use]
pub fn judge(
    value: f64,
    limits: &Limits,
    standard_uncertainty: f64,
    rule: DecisionRule,
) -> Verdict {
    let (side, margin) = limits.nearest(value);
    let probability = probability_of_conformity(value, limits, standard_uncertainty);
    let guard = rule.guard(standard_uncertainty);
    let sound = value.is_finite()
        && standard_uncertainty.is_finite()
        && standard_uncertainty >= 0.0
        && rule.checked().is_ok();
    let judgement = if sound {
        let slack = rounding_width(value, value.abs() + margin.abs());
        decide(rule, margin, guard, slack, probability)
    } else {
        Judgement::CannotTell
    };
    Verdict {
        judgement,
        probability_of_conformity: probability,
        margin,
        guard,
        expanded_uncertainty: COVERAGE_FACTOR * standard_uncertainty,
        side: (judgement != Judgement::Accept && value.is_finite()).then_some(side),
        rule,
    }
}

fn decide(rule: DecisionRule, margin: f64, guard: f64, slack: f64, p: f64) -> Judgement {
    let (accept, reject) = match rule {
        DecisionRule::Simple => (margin >= 0.0, margin < 0.0),
        DecisionRule::Guarded { .. } => {
            // A guard band of zero leaves no doubt: on the limit is good, beyond it bad.
            let inside = margin >= 0.0 && margin + slack >= guard;
            (inside, margin < 0.0 && -margin + slack >= guard)
        }
        DecisionRule::Conformity { accept_at, reject_at } => (p >= accept_at, p <= reject_at),
    };
    match (accept, reject) {
        (true, _) => Judgement::Accept,
        (false, true) => Judgement::Reject,
        (false, false) => Judgement::CannotTell,
    }
}

/// The probability that the true value lies between the limits, given one reading of it.
///
/// # Formula
/// p = Φ((T_U − x)/u) − Φ((T_L − x)/u); one term alone for one limit alone.
///
/// # Given
/// `value` and `limits` in one unit, `standard_uncertainty` ≥ 0 in the same.
///
/// # Returns
/// 0 to 1. With u = 0 it is 1 on and inside the limits and 0 beyond. NaN for what is no number or
/// a negative uncertainty.
///
/// # Validity
/// Normal error of measurement, no other knowledge of the piece.
///
/// # Source
/// JCGM 106:2012 clauses 7.2 and 7.3.
#[must_use]
pub fn probability_of_conformity(value: f64, limits: &Limits, standard_uncertainty: f64) -> f64 {
    if !value.is_finite() || !standard_uncertainty.is_finite() || standard_uncertainty < 0.0 {
        return f64::NAN;
    }
    if standard_uncertainty == 0.0 {
        return if limits.contains(value) { 1.0 } else { 0.0 };
    }
    let z = |limit: f64| (limit - value) / standard_uncertainty;
    match (limits.lower(), limits.upper()) {
        (Some(lower), Some(upper)) => normal_between(z(lower), z(upper)),
        (Some(lower), None) => normal_probability(-z(lower)),
        (None, Some(upper)) => normal_probability(z(upper)),
        (None, None) => unreachable!("limits hold at least one limit"),
    }
}

/// How figures are printed in a [`reason`]: a reading in millimetres may be spoken of in
/// micrometres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Printed {
    /// Symbol of the unit to print.
    pub unit: &'static str,
    /// How many of that unit one unit of the reading is: 1000 for a reading in mm printed in µm.
    pub per_unit: f64,
    /// Decimals to print.
    pub decimals: usize,
}

impl Printed {
    /// The figure without its unit.
    fn number(&self, value: f64) -> String {
        format!("{:.*}", self.decimals, value * self.per_unit)
    }

    /// The figure with its unit.
    fn figure(&self, value: f64) -> String {
        let space = if self.unit.is_empty() { "" } else { " " };
        format!("{}{space}{}", self.number(value), self.unit)
    }

    fn is_zero(&self, value: f64) -> bool {
        self.number(value).chars().all(|c| matches!(c, '0' | '.' | '-'))
    }
}

/// The verdict in one line, in the trade's words, as the bench shows it.
///
/// # Given
/// The verdict, the limits it was given against, and how figures are printed.
///
/// # Returns
/// A sentence such as "0.8 µm inside the limit; the gauge can be wrong by 1.6." It names the guard
/// band instead of the gauge where the rule asks for another band than U.
///
/// # Example
/// ```
/// use bedplate_gauge::judge::{DecisionRule, Printed, judge, reason};
/// use bedplate_gauge::limits::Limits;
/// let limits = Limits::between(68.0, 68.012).unwrap();
/// let um = Printed { unit: "µm", per_unit: 1e3, decimals: 1 };
/// let verdict = judge(68.0112, &limits, 0.0008, DecisionRule::default());
/// assert_eq!(reason(&verdict, &limits, &um),
///     "0.8 µm inside the limit; the gauge can be wrong by 1.6.");
/// ```
#[must_use]
pub fn reason(verdict: &Verdict, limits: &Limits, printed: &Printed) -> String {
    if !verdict.margin.is_finite() {
        return "There is no reading to judge.".to_owned();
    }
    if verdict.rule.checked().is_err() || verdict.expanded_uncertainty.is_nan() {
        return "The rule or the gauge's uncertainty is not in order; nothing can be judged."
            .to_owned();
    }
    match verdict.judgement {
        Judgement::Accept => accepted(verdict, limits),
        Judgement::Reject => {
            let place = place(verdict, limits, printed);
            match verdict.rule {
                DecisionRule::Guarded { .. } if verdict.guard > 0.0 => {
                    format!("{place}, more than {}.", band_words(verdict))
                }
                _ => format!("{place}{}.", conformity_words(verdict)),
            }
        }
        Judgement::CannotTell => {
            let place = place(verdict, limits, printed);
            match verdict.rule {
                DecisionRule::Guarded { factor } if factor != 1.0 => {
                    format!("{place}; the guard band is {}.", printed.number(verdict.guard))
                }
                _ => {
                    let wrong = printed.number(verdict.expanded_uncertainty);
                    format!("{place}; the gauge can be wrong by {wrong}.")
                }
            }
        }
    }
}

fn accepted(verdict: &Verdict, limits: &Limits) -> String {
    let which = match (limits.lower(), limits.upper()) {
        (Some(_), Some(_)) => "both limits",
        (Some(_), None) => "the lower limit",
        _ => "the upper limit",
    };
    match verdict.rule {
        DecisionRule::Guarded { .. } if verdict.guard > 0.0 => {
            format!("Clear of {which} by more than {}.", band_words(verdict))
        }
        _ => format!("Inside {which}{}.", conformity_words(verdict)),
    }
}

/// What the margin is compared with.
fn band_words(verdict: &Verdict) -> &'static str {
    match verdict.rule {
        DecisionRule::Guarded { factor } if factor != 1.0 => "the guard band",
        _ => "the gauge can be wrong",
    }
}

fn conformity_words(verdict: &Verdict) -> String {
    match verdict.rule {
        DecisionRule::Conformity { .. } => {
            let percent = 100.0 * verdict.probability_of_conformity;
            // Never round up to certainty.
            if percent >= 99.95 {
                "; good with more than 99.9 % probability".to_owned()
            } else if percent < 0.05 {
                "; good with less than 0.1 % probability".to_owned()
            } else {
                format!("; good with {percent:.1} % probability")
            }
        }
        _ => String::new(),
    }
}

/// Where the reading stands by its nearest limit.
fn place(verdict: &Verdict, limits: &Limits, printed: &Printed) -> String {
    let side =
        verdict.side.unwrap_or(if limits.upper().is_some() { Side::Upper } else { Side::Lower });
    if printed.is_zero(verdict.margin) {
        return format!("On the {} limit", side.word());
    }
    let distance = printed.figure(verdict.margin.abs());
    if verdict.margin > 0.0 {
        return format!("{distance} inside the limit");
    }
    let beyond = if side == Side::Upper { "over" } else { "under" };
    format!("{distance} {beyond} the {} limit", side.word())
}

/// The judgement of one reading of a length.
pub const JUDGE: Calculation = Calculation {
    name: "judge",
    title: "Judgement of a reading",
    stage: Stage::Gauge,
    question: "Is this piece good, bad, or too close to call?",
    inputs: &[
        Input::quantity("value", "mm", "the reading at 20 °C"),
        LOWER_INPUT,
        UPPER_INPUT,
        Input::quantity("uncertainty", "mm", "standard uncertainty u of the reading").at_least(0.0),
        Input::choice("rule", &["guarded", "simple", "conformity"], "the decision rule")
            .or("guarded"),
        Input::quantity("factor", "", "guarded: guard band in units of U = 2u")
            .at_least(0.0)
            .or("1"),
        Input::quantity("accept_at", "", "conformity: least probability of an accepted piece")
            .over(0.0)
            .at_most(1.0)
            .or("0.95"),
        Input::quantity("reject_at", "", "conformity: greatest probability of a rejected piece")
            .at_least(0.0)
            .under(1.0)
            .or("0.05"),
    ],
    outputs: &[
        Output::figure("judgement", "", "accept, reject or cannot tell"),
        Output::figure("probability", "", "probability that the piece conforms"),
        Output::figure("margin", "µm", "distance to the nearest limit; positive inside"),
        Output::figure("guard", "µm", "band beside a limit in which the gauge cannot tell"),
        Output::figure("reason", "", "the judgement in one line"),
    ],
    formula: "p = Φ((T_U − x)/u) − Φ((T_L − x)/u); accept if margin ≥ g, reject if margin ≤ −g, \
              g = factor · 2u",
    source: "ISO 14253-1; JCGM 106:2012 clauses 7 and 8",
    validity: "Normal error of measurement; nothing else known of the piece.",
    // ISO 14253-1 with g = 1.65 u; probability computed with a general statistics library.
    example: &[
        ("value", "25.0017 mm"),
        ("lower", "25.000 mm"),
        ("upper", "25.021 mm"),
        ("uncertainty", "0.001 mm"),
        ("factor", "0.825"),
    ],
    expected: &[("judgement", "accept"), ("probability", "0.955435"), ("guard", "1.65")],
    run: run_judge,
};

fn run_judge(given: &Given) -> Result<Answer, Refused> {
    let limits = limits_given(given)?;
    let rule = match given.word("rule") {
        "simple" => DecisionRule::Simple,
        "conformity" => DecisionRule::Conformity {
            accept_at: given.number("accept_at"),
            reject_at: given.number("reject_at"),
        },
        _ => DecisionRule::Guarded { factor: given.number("factor") },
    };
    let rule = rule.checked().map_err(|e| Refused::because("rule", e.to_string()))?;
    let verdict = judge(given.number("value"), &limits, given.number("uncertainty"), rule);
    let um = Printed { unit: "µm", per_unit: 1e3, decimals: 1 };
    Ok(Answer::new()
        .word("judgement", verdict.judgement.word())
        .figure("probability", verdict.probability_of_conformity)
        .figure("margin", verdict.margin * 1e3)
        .figure("guard", verdict.guard * 1e3)
        .word("reason", reason(&verdict, &limits, &um)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const UM: Printed = Printed { unit: "µm", per_unit: 1e3, decimals: 1 };

    fn bore() -> Limits {
        Limits::between(68.0, 68.012).unwrap()
    }

    fn say(value: f64, limits: &Limits, rule: DecisionRule) -> String {
        reason(&judge(value, limits, 0.0008, rule), limits, &UM)
    }

    #[test]
    fn guard_bands_of_iso_14253_1() {
        // ISO 14253-1 with g = 1.65 u and with g = 2 u; conformity from scipy 1.17.1
        // (status: computed; the rule from memory).
        let limits = Limits::between(25.0, 25.021).unwrap();
        let readings = [25.0015, 25.0017, 25.0205, 25.0195, 25.0225];
        let p = [
            0.933_192_798_731_149_4,
            0.955_434_537_241_418_5,
            0.691_462_461_274_853_7,
            0.933_192_798_731_149_4,
            0.066_807_201_268_850_69,
        ];
        use Judgement::{Accept, CannotTell};
        let by_165 = [CannotTell, Accept, CannotTell, CannotTell, CannotTell];
        for (i, &reading) in readings.iter().enumerate() {
            let narrow = judge(reading, &limits, 0.001, DecisionRule::Guarded { factor: 0.825 });
            assert_eq!(narrow.judgement, by_165[i], "{reading}");
            assert!((narrow.probability_of_conformity - p[i]).abs() < 1e-9);
            assert!((narrow.guard - 0.00165).abs() < 1e-12);
            let wide = judge(reading, &limits, 0.001, DecisionRule::default());
            assert_eq!(wide.judgement, CannotTell, "{reading}");
            assert!((wide.guard - 0.002).abs() < 1e-12);
        }
    }

    #[test]
    fn one_sided_conformity_of_jcgm_106() {
        // JCGM 106:2012 clause 7.3.3: y = −5.47 V, u = 0.05 V, T_U = −5.4 V; printed 92 %
        // (status: computed, printed value from memory).
        let limits = Limits::at_most(-5.4).unwrap();
        let p = probability_of_conformity(-5.47, &limits, 0.05);
        assert!((p - 0.919_243_340_766_228_9).abs() < 1e-6);
        assert!((p - 0.92).abs() < 0.005);
    }

    #[test]
    fn a_reading_exactly_on_the_guard_band_is_accepted() {
        // 68.0104 mm stands U = 1.6 µm inside 68.012 mm, on paper and so here.
        let verdict = judge(68.0104, &bore(), 0.0008, DecisionRule::default());
        assert_eq!(verdict.judgement, Judgement::Accept);
        let outside = judge(68.0136, &bore(), 0.0008, DecisionRule::default());
        assert_eq!(outside.judgement, Judgement::Reject);
        for doubtful in [68.01041, 68.01359, 68.012, 67.99841, 68.00159] {
            let verdict = judge(doubtful, &bore(), 0.0008, DecisionRule::default());
            assert_eq!(verdict.judgement, Judgement::CannotTell, "{doubtful}");
        }
    }

    #[test]
    fn the_bench_says_why() {
        let rule = DecisionRule::default();
        let limits = bore();
        assert_eq!(
            say(68.0087, &limits, rule),
            "Clear of both limits by more than the gauge can be wrong."
        );
        assert_eq!(
            say(68.0112, &limits, rule),
            "0.8 µm inside the limit; the gauge can be wrong by 1.6."
        );
        assert_eq!(
            say(68.0141, &limits, rule),
            "2.1 µm over the upper limit, more than the gauge can be wrong."
        );
        assert_eq!(
            say(67.9990, &limits, rule),
            "1.0 µm under the lower limit; the gauge can be wrong by 1.6."
        );
        assert_eq!(
            say(68.012, &limits, rule),
            "On the upper limit; the gauge can be wrong by 1.6."
        );
        assert_eq!(say(68.0121, &limits, DecisionRule::Simple), "0.1 µm over the upper limit.");
        assert_eq!(say(68.012, &limits, DecisionRule::Simple), "Inside both limits.");
        let narrow = DecisionRule::Guarded { factor: 0.5 };
        assert_eq!(
            say(68.0115, &limits, narrow),
            "0.5 µm inside the limit; the guard band is 0.8."
        );
        let by_chance = DecisionRule::Conformity { accept_at: 0.95, reject_at: 0.05 };
        assert_eq!(
            say(68.006, &limits, by_chance),
            "Inside both limits; good with more than 99.9 % probability."
        );
        assert!(say(f64::NAN, &limits, rule).starts_with("There is no reading"));
        assert!(
            say(68.0, &limits, DecisionRule::Guarded { factor: -1.0 }).contains("not in order")
        );
    }

    #[test]
    fn what_is_no_number_is_never_decided() {
        let limits = bore();
        for (value, u, rule) in [
            (f64::NAN, 0.001, DecisionRule::Simple),
            (f64::INFINITY, 0.001, DecisionRule::Simple),
            (68.006, f64::NAN, DecisionRule::Simple),
            (68.006, -0.001, DecisionRule::default()),
            (68.006, 0.001, DecisionRule::Guarded { factor: f64::NAN }),
            (68.006, 0.001, DecisionRule::Conformity { accept_at: 0.1, reject_at: 0.9 }),
        ] {
            assert_eq!(judge(value, &limits, u, rule).judgement, Judgement::CannotTell);
        }
    }

    #[test]
    fn rules_out_of_range_are_refused_in_words() {
        let e = DecisionRule::Guarded { factor: -0.5 }.checked().unwrap_err();
        assert_eq!(e.to_string(), "the guard factor is -0.5; it must be a number of 0 or more");
        let e = DecisionRule::Conformity { accept_at: 0.5, reject_at: 0.5 }.checked().unwrap_err();
        assert!(e.to_string().contains("accept at 0.5 and reject at 0.5"));
    }

    proptest! {
        #[test]
        fn mirroring_about_the_middle_mirrors_the_verdict(
            half in 1e-3f64..1.0, share in -2.0f64..2.0, u in 0.0f64..0.5, factor in 0.0f64..2.0
        ) {
            // About zero, so that mirroring is exact.
            let limits = Limits::between(-half, half).unwrap();
            for rule in [DecisionRule::Simple, DecisionRule::Guarded { factor },
                DecisionRule::Conformity { accept_at: 0.95, reject_at: 0.05 }] {
                let a = judge(share * half, &limits, u, rule);
                let b = judge(-share * half, &limits, u, rule);
                prop_assert_eq!(a.judgement, b.judgement);
                let (p, q) = (a.probability_of_conformity, b.probability_of_conformity);
                prop_assert!((p - q).abs() < 1e-12);
            }
        }

        #[test]
        fn unit_does_not_matter(
            share in -1.0f64..2.0, u in 0.0f64..0.01, factor in 0.0f64..2.0
        ) {
            let value = share * 0.012;
            let mm = Limits::between(0.0, 0.012).unwrap();
            let um = Limits::between(0.0, 12.0).unwrap();
            let rule = DecisionRule::Guarded { factor };
            let a = judge(value, &mm, u, rule);
            let b = judge(value * 1e3, &um, u * 1e3, rule);
            prop_assert!((a.margin * 1e3 - b.margin).abs() < 1e-9);
            prop_assert!((a.probability_of_conformity - b.probability_of_conformity).abs() < 1e-9);
            if (a.margin.abs() - a.guard).abs() > 1e-9 {
                prop_assert_eq!(a.judgement, b.judgement);
            }
        }

        #[test]
        fn simple_accepts_what_the_limits_contain(value in 67.9f64..68.1, u in 0.0f64..0.1) {
            let verdict = judge(value, &bore(), u, DecisionRule::Simple);
            prop_assert_eq!(verdict.judgement == Judgement::Accept, bore().contains(value));
            let unguarded = judge(value, &bore(), u, DecisionRule::Guarded { factor: 0.0 });
            prop_assert_eq!(unguarded.judgement, verdict.judgement);
        }

        #[test]
        fn more_guard_never_turns_a_verdict_into_its_opposite(
            value in 67.98f64..68.03, u in 0.0f64..0.01, f in 0.0f64..1.0, more in 0.0f64..1.0
        ) {
            let a = judge(value, &bore(), u, DecisionRule::Guarded { factor: f }).judgement;
            let b = judge(value, &bore(), u, DecisionRule::Guarded { factor: f + more }).judgement;
            prop_assert!(b == a || b == Judgement::CannotTell);
        }

        #[test]
        fn probability_is_a_probability(
            value in any::<f64>(), l in any::<f64>(), h in any::<f64>(), u in any::<f64>()
        ) {
            if let Ok(limits) = Limits::between(l, h) {
                let p = probability_of_conformity(value, &limits, u);
                prop_assert!(p.is_nan() || (0.0..=1.0).contains(&p), "{}", p);
                let verdict = judge(value, &limits, u, DecisionRule::default());
                let _ = reason(&verdict, &limits, &UM);
            }
        }
    }
}
