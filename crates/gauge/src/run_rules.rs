//! Run rules: patterns on a chart that chance seldom makes.
//!
//! The eight tests carry the numbers of ISO 8258:1991; ISO 7870-2:2013 shows the first three, with
//! runs and trends of seven. Points are given in standard deviations from the centre line; the
//! chart that owns them is in [`crate::chart`].

/// One of the eight tests, by its number in ISO 8258:1991.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum RunRule {
    /// 1: a point beyond the control limits.
    Beyond,
    /// 2: a run of points on one side of the centre line.
    OneSide,
    /// 3: a run of points steadily rising or falling.
    Trend,
    /// 4: fourteen points alternating up and down.
    Alternating,
    /// 5: two of three points beyond two standard deviations on one side.
    TwoOfThree,
    /// 6: four of five points beyond one standard deviation on one side.
    FourOfFive,
    /// 7: fifteen points within one standard deviation.
    Hugging,
    /// 8: eight points beyond one standard deviation, on both sides.
    Avoiding,
}

impl RunRule {
    /// Every rule in the order of its number.
    pub const ALL: [Self; 8] = [
        Self::Beyond,
        Self::OneSide,
        Self::Trend,
        Self::Alternating,
        Self::TwoOfThree,
        Self::FourOfFive,
        Self::Hugging,
        Self::Avoiding,
    ];

    /// Number in the list of ISO 8258:1991.
    #[must_use]
    pub const fn number(self) -> u8 {
        match self {
            Self::Beyond => 1,
            Self::OneSide => 2,
            Self::Trend => 3,
            Self::Alternating => 4,
            Self::TwoOfThree => 5,
            Self::FourOfFive => 6,
            Self::Hugging => 7,
            Self::Avoiding => 8,
        }
    }

    /// The rule with this number.
    #[must_use]
    pub fn with_number(number: u8) -> Option<Self> {
        Self::ALL.into_iter().find(|rule| rule.number() == number)
    }

    /// What such a pattern says about the process, in the trade's words.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Beyond => "something happened at this piece",
            Self::OneSide => "the process has moved",
            Self::Trend => "the process drifts, as by wear or warming",
            Self::Alternating => "two streams are mixed, or the machine is set after every piece",
            Self::TwoOfThree => "the process has moved far",
            Self::FourOfFive => "the process has moved",
            Self::Hugging => "the limits are too wide for the scatter, or streams are mixed",
            Self::Avoiding => "two streams on either side of the centre are mixed",
        }
    }
}

/// Which rules are watched, and how long runs and trends are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RunRules {
    /// The rules watched.
    pub watched: Vec<RunRule>,
    /// Points on one side that make a run; at least 2.
    pub one_side_points: usize,
    /// Points steadily rising or falling that make a trend, the first included; at least 2.
    pub trend_points: usize,
}

impl RunRules {
    /// Points beyond the limits, runs of seven and trends of seven.
    ///
    /// Source: ISO 7870-2:2013, parameters from memory.
    #[must_use]
    pub fn iso_7870_2() -> Self {
        let watched = vec![RunRule::Beyond, RunRule::OneSide, RunRule::Trend];
        Self { watched, one_side_points: 7, trend_points: 7 }
    }

    /// All eight tests, with runs of nine and trends of six.
    ///
    /// Source: ISO 8258:1991 and Nelson, Journal of Quality Technology 16 (1984) 237, from memory.
    #[must_use]
    pub fn iso_8258() -> Self {
        Self { watched: RunRule::ALL.to_vec(), one_side_points: 9, trend_points: 6 }
    }

    /// A point beyond the limits alone: for charts of ranges, whose scatter is not symmetrical.
    #[must_use]
    pub fn beyond_alone() -> Self {
        Self { watched: vec![RunRule::Beyond], one_side_points: 9, trend_points: 6 }
    }
}

/// A pattern found, ending at one point.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Signal {
    /// The rule that fired.
    pub rule: RunRule,
    /// First point of the pattern, counted from 0.
    pub first: usize,
    /// Point that completed it, counted from 0.
    pub last: usize,
    /// Whether the pattern lies above the centre line or rises.
    pub upward: bool,
}

impl Signal {
    /// The signal in words, points counted from 1: "points 9 to 17 lie above the centre line: the
    /// process has moved".
    #[must_use]
    pub fn words(&self) -> String {
        let (first, last) = (self.first + 1, self.last + 1);
        let side = if self.upward { "above" } else { "below" };
        let what = match self.rule {
            RunRule::Beyond if self.upward => format!("point {last} lies over the upper limit"),
            RunRule::Beyond => format!("point {last} lies under the lower limit"),
            RunRule::OneSide => format!("points {first} to {last} lie {side} the centre line"),
            RunRule::Trend => {
                let way = if self.upward { "rise" } else { "fall" };
                format!("points {first} to {last} {way} steadily")
            }
            RunRule::Alternating => format!("points {first} to {last} go up and down in turn"),
            RunRule::TwoOfThree => {
                format!("two of points {first} to {last} lie more than two sigma {side} the centre")
            }
            RunRule::FourOfFive => {
                format!(
                    "four of points {first} to {last} lie more than one sigma {side} the centre"
                )
            }
            RunRule::Hugging => format!("points {first} to {last} lie within one sigma"),
            RunRule::Avoiding => {
                format!("points {first} to {last} lie beyond one sigma on both sides")
            }
        };
        format!("{what}: {}", self.rule.meaning())
    }
}

/// The signals among points given in standard deviations from the centre line.
///
/// # Given
/// `z`: the points in order; a NaN breaks every run. `rules`: which tests are watched.
///
/// # Returns
/// Every completing point of every rule watched, in the order of the points and then of the rules'
/// numbers. A run of ten with a rule of nine signals twice.
///
/// # Validity
/// Chance alone signals now and then: rule 1 once in 370 points, all eight together far oftener.
/// A point exactly on a line counts as neither beyond it nor on either side. In rules 5 and 6 the
/// completing point itself lies in the zone.
///
/// # Source
/// ISO 8258:1991, the eight tests, and ISO 7870-2:2013; both from memory.
///
/// # Example
/// ```
/// use bedplate_gauge::run_rules::{RunRules, signals};
/// let found = signals(&[0.2, 3.2, -0.1], &RunRules::iso_7870_2());
/// assert_eq!(found[0].words(),
///     "point 2 lies over the upper limit: something happened at this piece");
/// ```
#[must_use]
pub fn signals(z: &[f64], rules: &RunRules) -> Vec<Signal> {
    let mut watched = rules.watched.clone();
    watched.sort_unstable();
    watched.dedup();
    let mut found = Vec::new();
    for last in 0..z.len() {
        for &rule in &watched {
            if let Some((first, upward)) = completes(&z[..=last], rule, rules) {
                found.push(Signal { rule, first, last, upward });
            }
        }
    }
    found
}

/// Whether the last of `z` completes a pattern: its first point and which way it lies.
fn completes(z: &[f64], rule: RunRule, rules: &RunRules) -> Option<(usize, bool)> {
    let last = z.len() - 1;
    let tail = |n: usize| z.len().checked_sub(n.max(2)).map(|first| (first, &z[first..]));
    let up = z[last] > 0.0;
    let signed = |x: f64| if up { x } else { -x };
    match rule {
        RunRule::Beyond => (z[last].abs() > 3.0).then_some((last, up)),
        RunRule::OneSide => {
            let (first, run) = tail(rules.one_side_points)?;
            run.iter().all(|&x| signed(x) > 0.0).then_some((first, up))
        }
        RunRule::Trend => {
            let (first, run) = tail(rules.trend_points)?;
            let rises = run.windows(2).all(|w| w[0] < w[1]);
            let falls = run.windows(2).all(|w| w[0] > w[1]);
            (rises || falls).then_some((first, rises))
        }
        RunRule::Alternating => {
            let (first, run) = tail(14)?;
            let turns = |w: &[f64]| (w[1] - w[0]) * (w[2] - w[1]) < 0.0;
            run.windows(3).all(turns).then_some((first, run[13] > run[12]))
        }
        RunRule::TwoOfThree => most_beyond(z, 3, 2.0).map(|first| (first, up)),
        RunRule::FourOfFive => most_beyond(z, 5, 1.0).map(|first| (first, up)),
        RunRule::Hugging => {
            let (first, run) = tail(15)?;
            run.iter().all(|x| x.abs() < 1.0).then_some((first, up))
        }
        RunRule::Avoiding => {
            let (first, run) = tail(8)?;
            let both = run.iter().any(|&x| x > 0.0) && run.iter().any(|&x| x < 0.0);
            (both && run.iter().all(|x| x.abs() > 1.0)).then_some((first, up))
        }
    }
}

/// Whether all but one of the last `n` points, the very last among them, lie more than `zone` from
/// the centre on its side; the first of the n.
fn most_beyond(z: &[f64], n: usize, zone: f64) -> Option<usize> {
    let newest = *z.last()?;
    let beyond = |x: f64| if newest > 0.0 { x > zone } else { x < -zone };
    // At the start of a chart fewer points may already hold enough.
    let first = z.len().saturating_sub(n);
    let count = z[first..].iter().filter(|&&x| beyond(x)).count();
    (beyond(newest) && count + 1 >= n).then_some(first)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn ends(z: &[f64], rules: &RunRules, rule: RunRule) -> Vec<usize> {
        signals(z, rules).iter().filter(|s| s.rule == rule).map(|s| s.last + 1).collect()
    }

    #[test]
    fn numbers_and_rules_are_one_to_one() {
        for (i, rule) in RunRule::ALL.into_iter().enumerate() {
            assert_eq!(usize::from(rule.number()), i + 1);
            assert_eq!(RunRule::with_number(rule.number()), Some(rule));
        }
        assert_eq!(RunRule::with_number(9), None);
    }

    #[test]
    fn each_pattern_is_found_where_it_completes_and_not_one_short() {
        let all = RunRules::iso_8258();
        let zigzag: Vec<f64> = (0..14).map(|i| if i % 2 == 0 { 0.4 } else { -0.4 }).collect();
        assert_eq!(ends(&zigzag, &all, RunRule::Alternating), [14]);
        assert!(ends(&zigzag[1..], &all, RunRule::Alternating).is_empty());
        let hug = [0.5; 15].map(|x: f64| x);
        assert_eq!(ends(&hug, &all, RunRule::Hugging), [15]);
        assert!(ends(&hug[1..], &all, RunRule::Hugging).is_empty());
        let avoid = [1.2, -1.3, 1.4, 1.5, -1.2, 1.1, -1.9, 1.4];
        assert_eq!(ends(&avoid, &all, RunRule::Avoiding), [8]);
        assert!(ends(&[1.2; 8], &all, RunRule::Avoiding).is_empty(), "one side alone is rule 2's");
        assert_eq!(ends(&[2.1, 0.0, 2.2], &all, RunRule::TwoOfThree), [3]);
        assert!(ends(&[2.1, 2.2, 0.0], &all, RunRule::TwoOfThree) == [2]);
        assert!(ends(&[2.1, 0.0, -2.2], &all, RunRule::TwoOfThree).is_empty());
        assert_eq!(ends(&[-1.1, -1.2, 0.3, -1.4, -1.1], &all, RunRule::FourOfFive), [5]);
    }

    #[test]
    fn a_point_on_a_line_is_not_beyond_it() {
        let all = RunRules::iso_8258();
        assert!(signals(&[3.0], &all).is_empty());
        assert!(
            ends(&[0.1, 0.1, 0.1, 0.1, 0.0, 0.1, 0.1, 0.1, 0.1], &all, RunRule::OneSide).is_empty()
        );
        assert!(signals(&[], &all).is_empty());
        assert!(signals(&[f64::NAN; 20], &all).is_empty());
    }

    proptest! {
        #[test]
        fn mirrored_points_give_mirrored_signals(z in prop::collection::vec(-4.0f64..4.0, 0..60)) {
            let rules = RunRules::iso_8258();
            let mirrored: Vec<f64> = z.iter().map(|x| -x).collect();
            let (a, b) = (signals(&z, &rules), signals(&mirrored, &rules));
            prop_assert_eq!(a.len(), b.len());
            for (a, b) in a.iter().zip(&b) {
                let mirrored = (b.rule, b.first, b.last, !b.upward);
                prop_assert_eq!((a.rule, a.first, a.last, a.upward), mirrored);
            }
        }

        #[test]
        fn what_comes_later_changes_no_signal_before(
            z in prop::collection::vec(-4.0f64..4.0, 1..60), cut in 0usize..60
        ) {
            let rules = RunRules::iso_8258();
            let cut = cut.min(z.len());
            let whole: Vec<_> = signals(&z, &rules).into_iter().filter(|s| s.last < cut).collect();
            prop_assert_eq!(whole, signals(&z[..cut], &rules));
        }
    }
}
