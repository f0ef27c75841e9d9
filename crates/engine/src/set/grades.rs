//! Grade limits for a works that sorts bores and pistons into grades and pairs by grade.
//!
//! [`best_grades`] finds, for a number of grades, the limits that serve a stated rule best;
//! [`equal_width_grades`] and [`equal_count_grades`] are what is done by habit; [`judge_grades`]
//! says what any of them is worth in a long run. The limits are found exactly over classes a
//! twenty-fourth of the clearance window wide, by dynamic programming, not by trial.
//!
//! All of it is in the long run: the shares of bores and pistons in a grade are their
//! probabilities. In a lot chance takes more, and a block needs a partner for each of its bores:
//! [`trial::grades_or_measurement`] counts engines of lots drawn by chance.

use bedplate_gauge::calculation::{Answer, Calculation, Column, Input, Output, Refused, Stage};
use bedplate_gauge::distribution::{normal_probability, normal_quantile};

use super::clearance::Scatter;

mod programme;
pub mod trial;

/// Every calculation of this module.
pub static CALCULATIONS: &[&Calculation] = &[&GRADE_LIMITS];

/// Most grades asked for.
pub const GRADES_MAX: usize = 24;

/// One grade: bores and pistons between these sizes go together. Lower limits belong to the grade,
/// upper ones to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grade {
    /// Smallest bore, mm.
    pub bore_mm_min: f64,
    /// Bores end before this size, mm.
    pub bore_mm_max: f64,
    /// Smallest piston, mm.
    pub piston_mm_min: f64,
    /// Pistons end before this size, mm.
    pub piston_mm_max: f64,
}

/// What the grades must do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GradeRule {
    /// Any bore of a grade with any piston of it lies in the window; as many pairs as can be.
    AlwaysFits,
    /// As many pairs in the window as can be, counting those of a grade that are taken blindly and
    /// do not fit as lost.
    MostFit,
}

/// Two productions, the window between them, and how many grades.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GradeQuestion {
    /// How the bores scatter.
    pub bore: Scatter,
    /// How the pistons scatter.
    pub piston: Scatter,
    /// Least clearance, µm.
    pub clearance_um_min: f64,
    /// Greatest clearance, µm.
    pub clearance_um_max: f64,
    /// Number of grades, 1 to 24.
    pub grades: usize,
}

/// What grades are worth in the long run, as shares of all bores (as many pistons as bores).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Worth {
    /// Share that finds a partner of its grade.
    pub paired: f64,
    /// Share that finds one and has a clearance in the window.
    pub fitting: f64,
    /// Share of bores in no grade.
    pub bores_ungraded: f64,
    /// Share of pistons in no grade.
    pub pistons_ungraded: f64,
}

/// Why grade limits are refused.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum GradeError {
    /// NaN or an infinity.
    #[error("the {what} is {value}; it must be a finite number")]
    NotFinite {
        /// Which figure.
        what: &'static str,
        /// As given.
        value: f64,
    },
    /// No scatter, so that there is nothing to sort.
    #[error("the {what} is {value} mm; it must be above 0, or there is nothing to sort")]
    NoScatter {
        /// Which figure.
        what: &'static str,
        /// As given.
        value: f64,
    },
    /// No width between the clearance limits.
    #[error("the clearance limits {min} to {max} µm leave no width; the upper must be larger")]
    NoWindow {
        /// Least clearance.
        min: f64,
        /// Greatest clearance.
        max: f64,
    },
    /// No grade, or too many.
    #[error("{grades} grades are asked for; 1 to 24 can be sorted")]
    Grades {
        /// As given.
        grades: usize,
    },
    /// Scatter far wider than the window.
    #[error(
        "the sizes scatter over {spread_um:.0} µm, more than {limit_um:.0} µm, 25 times the \
         window; grades could serve hardly any"
    )]
    TooWide {
        /// Width over which the sizes lie, µm.
        spread_um: f64,
        /// The widest taken, µm.
        limit_um: f64,
    },
}

/// The best grade limits for a rule.
///
/// # Formula
/// Most `Σ_k min(P_k, Q_k)` (always fits) or `Σ_k min(P_k, Q_k)·f_k` (most fit), with `P_k`, `Q_k`
/// the shares of bores and pistons in grade `k` and `f_k` the share of random pairs of the grade
/// within the window; grades in order of size, none overlapping, sizes between them in no grade.
/// # Given
/// Means and standard deviations, mm; window, µm; number of grades.
/// # Returns
/// Up to that many grades, rising; fewer where more would add nothing.
/// # Errors
/// [`GradeError`] for figures out of range; scatter of more than 25 windows is refused.
/// # Validity
/// Normal sizes; exact for limits on a grid of 1/24 of the window. Masses and whole blocks are left
/// out: with several cylinders a block is complete only if all of its bores find a partner.
/// # Source
/// Derived here: dynamic programming. For equal scatter and mean clearance in the middle the
/// result for [`GradeRule::AlwaysFits`] must be `2Φ(g·c/(4σ)) − 1`, which the tests hold against
/// it.
pub fn best_grades(asked: &GradeQuestion, rule: GradeRule) -> Result<Vec<Grade>, GradeError> {
    let grid = Grid::of(asked)?;
    let runs = match rule {
        GradeRule::AlwaysFits => programme::always(&grid.bores, &grid.pistons, asked.grades),
        GradeRule::MostFit => programme::most(&grid.bores, &grid.pistons, asked.grades),
    };
    Ok(runs.into_iter().map(|run| grid.grade(run)).collect())
}

/// Grades half a window wide each, side by side, about the middle between both productions; each
/// pair of a grade lies in the window.
///
/// # Formula
/// Width `c/2` with `c = c_max − c_min`; the piston grade lies the middle clearance below the bore
/// grade.
/// # Errors
/// As for [`best_grades`].
/// # Source
/// Common practice, no source.
pub fn equal_width_grades(asked: &GradeQuestion) -> Result<Vec<Grade>, GradeError> {
    Grid::of(asked)?;
    let middle_mm = (asked.clearance_um_min + asked.clearance_um_max) / 2e3;
    let width_mm = (asked.clearance_um_max - asked.clearance_um_min) / 2e3;
    let centre_mm = f64::midpoint(asked.bore.mean_mm, asked.piston.mean_mm + middle_mm);
    let edge = |k: usize| centre_mm + (k as f64 - asked.grades as f64 / 2.0) * width_mm;
    let grade = |k: usize| Grade {
        bore_mm_min: edge(k),
        bore_mm_max: edge(k + 1),
        piston_mm_min: edge(k) - middle_mm,
        piston_mm_max: edge(k + 1) - middle_mm,
    };
    Ok((0..asked.grades).map(grade).collect())
}

/// Grades that hold equally many bores and equally many pistons, the outermost open to four
/// standard deviations and a half. Nothing is left ungraded, but pairs of a grade need not fit.
///
/// # Formula
/// Limits at `μ + σ·Φ⁻¹(k/g)`.
/// # Errors
/// As for [`best_grades`].
/// # Source
/// Common practice, no source.
pub fn equal_count_grades(asked: &GradeQuestion) -> Result<Vec<Grade>, GradeError> {
    Grid::of(asked)?;
    let edge = |of: Scatter, k: usize| {
        let z = if k == 0 {
            -REACH_SD
        } else if k == asked.grades {
            REACH_SD
        } else {
            normal_quantile(k as f64 / asked.grades as f64).unwrap_or(0.0)
        };
        of.mean_mm + of.sd_mm * z
    };
    let grade = |k: usize| Grade {
        bore_mm_min: edge(asked.bore, k),
        bore_mm_max: edge(asked.bore, k + 1),
        piston_mm_min: edge(asked.piston, k),
        piston_mm_max: edge(asked.piston, k + 1),
    };
    Ok((0..asked.grades).map(grade).collect())
}

/// What grades are worth in the long run.
///
/// # Formula
/// `paired = Σ min(P_k, Q_k)`, `fitting = Σ min(P_k, Q_k)·f_k`; `f_k` by summing over 200 equal
/// parts of the bores' grade with the normal probability of the pistons that fit each.
/// # Given
/// The question as for [`best_grades`], and grades of any origin.
/// # Returns
/// Shares, 0 to 1.
/// # Errors
/// As for [`best_grades`].
/// # Validity
/// Normal sizes, in the long run; the summing is good to about 1e-5.
/// # Source
/// Derived here.
pub fn judge_grades(asked: &GradeQuestion, grades: &[Grade]) -> Result<Worth, GradeError> {
    Grid::of(asked)?;
    let mut worth = Worth { paired: 0.0, fitting: 0.0, bores_ungraded: 1.0, pistons_ungraded: 1.0 };
    for grade in grades {
        let bores = share(asked.bore, grade.bore_mm_min, grade.bore_mm_max);
        let pistons = share(asked.piston, grade.piston_mm_min, grade.piston_mm_max);
        worth.bores_ungraded -= bores;
        worth.pistons_ungraded -= pistons;
        let paired = bores.min(pistons);
        if 0.0 < paired {
            worth.paired += paired;
            worth.fitting += paired * share_fitting(asked, grade) / (bores * pistons);
        }
    }
    Ok(worth)
}

/// Parts of a grade over which its share of fitting pairs is summed.
const PARTS: usize = 200;

/// Probability that a bore and a piston taken at random both lie in the grade and fit.
fn share_fitting(asked: &GradeQuestion, grade: &Grade) -> f64 {
    let width = (grade.bore_mm_max - grade.bore_mm_min) / PARTS as f64;
    let part = |k: usize| {
        let from = grade.bore_mm_min + k as f64 * width;
        let bore = from + width / 2.0;
        // The pistons of the grade that this bore allows.
        let lower = grade.piston_mm_min.max(bore - asked.clearance_um_max / 1e3);
        let upper = grade.piston_mm_max.min(bore - asked.clearance_um_min / 1e3);
        share(asked.bore, from, from + width) * share(asked.piston, lower, upper)
    };
    (0..PARTS).map(part).sum()
}

/// Share of a production between two sizes; 0 if they cross.
fn share(of: Scatter, lower_mm: f64, upper_mm: f64) -> f64 {
    let below = |size_mm: f64| normal_probability((size_mm - of.mean_mm) / of.sd_mm);
    (below(upper_mm) - below(lower_mm)).max(0.0)
}

/// Standard deviations on either side that are looked at.
const REACH_SD: f64 = 4.5;
/// Classes in one clearance window.
const CLASSES: usize = 24;
/// Windows over which sizes may lie.
const WINDOWS_MAX: f64 = 25.0;

/// Both productions on one scale: bores as they are, pistons raised by the middle clearance, in
/// classes of a twenty-fourth of the window.
struct Grid {
    start_mm: f64,
    step_mm: f64,
    middle_mm: f64,
    bores: Vec<f64>,
    pistons: Vec<f64>,
}

impl Grid {
    fn of(asked: &GradeQuestion) -> Result<Self, GradeError> {
        check(asked)?;
        let middle_mm = (asked.clearance_um_min + asked.clearance_um_max) / 2e3;
        let window_mm = (asked.clearance_um_max - asked.clearance_um_min) / 1e3;
        let raised = Scatter { mean_mm: asked.piston.mean_mm + middle_mm, ..asked.piston };
        let reach = |s: Scatter| (s.mean_mm - REACH_SD * s.sd_mm, s.mean_mm + REACH_SD * s.sd_mm);
        let ((b0, b1), (p0, p1)) = (reach(asked.bore), reach(raised));
        let (lower, upper) = (b0.min(p0), b1.max(p1));
        let limit = WINDOWS_MAX * window_mm;
        if limit < upper - lower || !(upper - lower).is_finite() {
            let (spread_um, limit_um) = ((upper - lower) * 1e3, limit * 1e3);
            return Err(GradeError::TooWide { spread_um, limit_um });
        }
        let step_mm = window_mm / CLASSES as f64;
        // The middle between both is a limit of classes, so that what is symmetric stays so.
        let centre = f64::midpoint(asked.bore.mean_mm, raised.mean_mm);
        let each_side = ((upper - centre).max(centre - lower) / step_mm).ceil();
        let start_mm = centre - each_side * step_mm;
        let count = (0..).take_while(|&k| f64::from(k) < 2.0 * each_side).count();
        let edge = |k: usize| start_mm + k as f64 * step_mm;
        let shares = |s: Scatter| (0..count).map(|k| share(s, edge(k), edge(k + 1))).collect();
        Ok(Self {
            start_mm,
            step_mm,
            middle_mm,
            bores: shares(asked.bore),
            pistons: shares(raised),
        })
    }

    fn grade(&self, run: programme::Run) -> Grade {
        let edge = |k: usize| self.start_mm + k as f64 * self.step_mm;
        Grade {
            bore_mm_min: edge(run.bores.start),
            bore_mm_max: edge(run.bores.end),
            piston_mm_min: edge(run.pistons.start) - self.middle_mm,
            piston_mm_max: edge(run.pistons.end) - self.middle_mm,
        }
    }
}

fn check(asked: &GradeQuestion) -> Result<(), GradeError> {
    let figures = [
        ("mean bore", asked.bore.mean_mm),
        ("standard deviation of the bores", asked.bore.sd_mm),
        ("mean piston", asked.piston.mean_mm),
        ("standard deviation of the pistons", asked.piston.sd_mm),
        ("least clearance", asked.clearance_um_min),
        ("greatest clearance", asked.clearance_um_max),
    ];
    if let Some((what, value)) = figures.into_iter().find(|(_, value)| !value.is_finite()) {
        return Err(GradeError::NotFinite { what, value });
    }
    if let Some((what, value)) =
        [figures[1], figures[3]].into_iter().find(|(_, value)| *value <= 0.0)
    {
        return Err(GradeError::NoScatter { what, value });
    }
    if asked.clearance_um_max <= asked.clearance_um_min {
        let (min, max) = (asked.clearance_um_min, asked.clearance_um_max);
        return Err(GradeError::NoWindow { min, max });
    }
    if asked.grades == 0 || GRADES_MAX < asked.grades {
        return Err(GradeError::Grades { grades: asked.grades });
    }
    Ok(())
}

/// [`best_grades`] beside the habits, as a calculation.
pub const GRADE_LIMITS: Calculation = Calculation {
    name: "grade-limits",
    title: "Grade limits for bores and pistons",
    stage: Stage::Match,
    question: "If bores and pistons are sorted into grades, where should the limits lie?",
    inputs: &[
        Input::quantity("bore", "mm", "mean bore").over(0.0).at_most(1e4),
        Input::quantity("bore_sd", "mm", "standard deviation of the bores").over(0.0),
        Input::quantity("piston", "mm", "mean piston diameter").over(0.0).at_most(1e4),
        Input::quantity("piston_sd", "mm", "standard deviation of the pistons").over(0.0),
        Input::quantity("clearance_min", "µm", "least clearance allowed"),
        Input::quantity("clearance_max", "µm", "greatest clearance allowed"),
        Input::count("grades", "number of grades").at_least(1.0).at_most(24.0),
        Input::choice(
            "rule",
            &["always", "most"],
            "always: every pair of a grade fits; most: most pairs fit",
        )
        .or("always"),
    ],
    outputs: &[
        Output::figure("limits", "", "one row a grade, lower limits included"),
        Output::figure("paired", "", "share of bores that find a partner of their grade"),
        Output::figure("fitting", "", "share that find one and fit"),
        Output::figure("equal_width", "", "the same share with grades half a window wide"),
        Output::figure("equal_count", "", "the same share with grades of equal count"),
    ],
    formula: "most Σ min(P_k, Q_k)·f_k over limits on a grid of 1/24 of the window",
    source: "dynamic programming, derived here; equal widths and counts are common practice",
    validity: "Normal sizes, a long run, as many pistons as bores; one cylinder at a time, no mass.",
    // Equal scatter, mean clearance in the middle: 2Φ(4·10/(4·4)) − 1 = 2Φ(2.5) − 1, Φ from any
    // table of the normal distribution.
    example: &[
        ("bore", "68 mm"),
        ("bore_sd", "4 µm"),
        ("piston", "67.962 mm"),
        ("piston_sd", "4 µm"),
        ("clearance_min", "33 µm"),
        ("clearance_max", "43 µm"),
        ("grades", "4"),
    ],
    expected: &[("paired", "0.98758"), ("fitting", "0.98758"), ("equal_width", "0.98758")],
    run: |given| {
        let scatter = |mean, sd| Scatter { mean_mm: given.number(mean), sd_mm: given.number(sd) };
        let asked = GradeQuestion {
            bore: scatter("bore", "bore_sd"),
            piston: scatter("piston", "piston_sd"),
            clearance_um_min: given.number("clearance_min"),
            clearance_um_max: given.number("clearance_max"),
            grades: given.count("grades"),
        };
        let rule =
            if given.word("rule") == "most" { GradeRule::MostFit } else { GradeRule::AlwaysFits };
        let refused = |e: GradeError| Refused::because("clearance_max", e.to_string());
        let grades = best_grades(&asked, rule).map_err(refused)?;
        let worth = judge_grades(&asked, &grades).map_err(refused)?;
        let fitting = |grades: Result<Vec<Grade>, GradeError>| {
            grades.and_then(|g| judge_grades(&asked, &g)).map(|w| w.fitting).map_err(refused)
        };
        let row = |g: &Grade| vec![g.bore_mm_min, g.bore_mm_max, g.piston_mm_min, g.piston_mm_max];
        Ok(Answer::new()
            .table("limits", LIMITS, grades.iter().map(row).collect())
            .figure("paired", worth.paired)
            .figure("fitting", worth.fitting)
            .figure("equal_width", fitting(equal_width_grades(&asked))?)
            .figure("equal_count", fitting(equal_count_grades(&asked))?))
    },
};

const LIMITS: &[Column] = &[
    Column { name: "bore_min", unit: "mm", meaning: "smallest bore of the grade" },
    Column { name: "bore_max", unit: "mm", meaning: "bores end before this size" },
    Column { name: "piston_min", unit: "mm", meaning: "smallest piston of the grade" },
    Column { name: "piston_max", unit: "mm", meaning: "pistons end before this size" },
];
