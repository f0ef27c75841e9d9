//! Grades of size and classes of mass: equal steps from a lower limit, numbered from 1.
//!
//! A size on the border of two grades belongs to the upper one; the upper limit of the last grade
//! still belongs to the last.

use bedplate_gauge::calculation::{Answer, Calculation, Input, Output, Refused, Stage};

use crate::set::size::{Milligram, Nanometre};

/// Every calculation of this module.
pub static CALCULATIONS: &[&Calculation] = &[&GRADE_OF_SIZE];

/// Most grades of one scale.
pub const GRADES_MAX: u32 = 1_000;

/// Where a piece lies on a scale of grades or classes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Grade {
    /// Below the lower limit of the first.
    Below,
    /// In this one, counted from 1.
    In(u32),
    /// Above the upper limit of the last.
    Above,
}

/// Grades of size: of a bore, or of a piston.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Grades {
    lower: Nanometre,
    step: Nanometre,
    count: u32,
}

/// Classes of mass.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MassClasses {
    lower: Milligram,
    step: Milligram,
    count: u32,
}

/// Why figures make no scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum GradeError {
    /// A step of nothing or less.
    #[error("the step of the grades is not above 0")]
    StepNotPositive,
    /// No grade, or too many.
    #[error("{count} grades are asked for; 1 to {GRADES_MAX} are possible")]
    WrongCount {
        /// As given.
        count: u32,
    },
    /// A lower limit or step of many metres or tonnes.
    #[error("the lower limit or the step of the grades is out of reach; at most 10 m or 10 t")]
    OutOfReach,
}

/// Which grade a value on a scale of equal steps has.
fn place(value: i64, lower: i64, step: i64, count: u32) -> Grade {
    let above_lower = i128::from(value) - i128::from(lower);
    let whole = i128::from(step) * i128::from(count);
    if above_lower < 0 {
        Grade::Below
    } else if above_lower > whole {
        Grade::Above
    } else {
        let steps = u32::try_from(above_lower / i128::from(step)).expect("at most the count");
        Grade::In((steps + 1).min(count))
    }
}

impl Grades {
    /// `count` grades, each `step` wide, the first beginning at `lower`.
    ///
    /// # Errors
    /// [`GradeError::StepNotPositive`], [`GradeError::WrongCount`] unless 1 to 1 000,
    /// [`GradeError::OutOfReach`].
    pub fn new(scale: GradeScale<Nanometre>) -> Result<Self, GradeError> {
        let GradeScale { lower, step, count } = scale;
        check(step.0, count, lower.within_reach() && step.within_reach())?;
        Ok(Self { lower, step, count })
    }

    /// The grade of a size.
    ///
    /// # Example
    /// ```
    /// use bedplate_engine::grade::{Grade, GradeScale, Grades};
    /// use bedplate_engine::set::size::Nanometre;
    /// let pistons = Grades::new(GradeScale {
    ///     lower: Nanometre(67_961_000),
    ///     step: Nanometre(3_000),
    ///     count: 5,
    /// }).unwrap();
    /// assert_eq!(pistons.of(Nanometre(67_970_200)), Grade::In(4));
    /// ```
    #[must_use]
    pub fn of(&self, size: Nanometre) -> Grade {
        place(size.0, self.lower.0, self.step.0, self.count)
    }

    /// Lower and upper limit of a grade; `None` if there is no such grade.
    #[must_use]
    pub fn limits(&self, grade: u32) -> Option<(Nanometre, Nanometre)> {
        let within = 1 <= grade && grade <= self.count;
        let lower = || self.lower.0 + self.step.0 * i64::from(grade - 1);
        within.then(|| (Nanometre(lower()), Nanometre(lower() + self.step.0)))
    }

    /// How many grades.
    #[must_use]
    pub fn count(&self) -> u32 {
        self.count
    }

    /// The piston grades that go with these bore grades: one target clearance below. A pair of one
    /// number then has the target clearance, give or take one step.
    #[must_use]
    pub fn partners(&self, target_clearance: Nanometre) -> Self {
        Self { lower: self.lower - target_clearance, ..*self }
    }
}

/// The figures of a scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct GradeScale<T> {
    /// Lower limit of the first grade, itself in it.
    pub lower: T,
    /// Width of each grade.
    pub step: T,
    /// How many.
    pub count: u32,
}

impl MassClasses {
    /// `count` classes, each `step` wide, the first beginning at `lower`.
    ///
    /// # Errors
    /// [`GradeError::StepNotPositive`], [`GradeError::WrongCount`] unless 1 to 1 000,
    /// [`GradeError::OutOfReach`].
    pub fn new(scale: GradeScale<Milligram>) -> Result<Self, GradeError> {
        let GradeScale { lower, step, count } = scale;
        check(step.0, count, lower.within_reach() && step.within_reach())?;
        Ok(Self { lower, step, count })
    }

    /// The class of a mass.
    #[must_use]
    pub fn of(&self, mass: Milligram) -> Grade {
        place(mass.0, self.lower.0, self.step.0, self.count)
    }

    /// How many classes.
    #[must_use]
    pub fn count(&self) -> u32 {
        self.count
    }
}

fn check(step: i64, count: u32, within_reach: bool) -> Result<(), GradeError> {
    if step <= 0 {
        Err(GradeError::StepNotPositive)
    } else if count == 0 || GRADES_MAX < count {
        Err(GradeError::WrongCount { count })
    } else if !within_reach {
        Err(GradeError::OutOfReach)
    } else {
        Ok(())
    }
}

/// [`Grades::of`] as a calculation.
pub const GRADE_OF_SIZE: Calculation = Calculation {
    name: "grade-of-size",
    title: "Grade of a size",
    stage: Stage::Match,
    question: "Which grade has a piece of this size?",
    inputs: &[
        Input::quantity("size", "mm", "measured diameter").over(0.0).at_most(1e4),
        Input::quantity("lower", "mm", "lower limit of grade 1, itself in it")
            .over(0.0)
            .at_most(1e4),
        Input::quantity("step", "µm", "width of a grade").over(0.0),
        Input::count("grades", "how many grades").at_least(1.0).at_most(1e3),
    ],
    outputs: &[
        Output::figure("grade", "", "number of the grade, or below or above all"),
        Output::figure("from", "mm", "lower limit of that grade, or of the nearest"),
        Output::figure("to", "mm", "upper limit of that grade, or of the nearest"),
    ],
    formula: "n = ⌊(size − lower)/step⌋ + 1",
    source: "common practice, no source",
    validity: "A size on a border belongs to the upper grade, on the last limit to the last grade.",
    // By hand: 67.970 to 67.973 is the fourth step of 3 µm from 67.961.
    example: &[("size", "67.9702 mm"), ("lower", "67.961 mm"), ("step", "3 µm"), ("grades", "5")],
    expected: &[("grade", "4"), ("from", "67.970"), ("to", "67.973")],
    run: |given| {
        let length = |name, mm: f64| {
            Nanometre::from_mm(mm).map_err(|e| Refused::because(name, e.to_string()))
        };
        let scale = GradeScale {
            lower: length("lower", given.number("lower"))?,
            step: length("step", given.number("step") / 1e3)?,
            count: u32::try_from(given.count("grades")).unwrap_or(u32::MAX),
        };
        let grades = Grades::new(scale).map_err(|e| {
            let input = if matches!(e, GradeError::WrongCount { .. }) { "grades" } else { "step" };
            Refused::because(input, e.to_string())
        })?;
        let (word, nearest) = match grades.of(length("size", given.number("size"))?) {
            Grade::Below => ("below all".to_owned(), 1),
            Grade::In(n) => (n.to_string(), n),
            Grade::Above => ("above all".to_owned(), grades.count()),
        };
        let (from, to) = grades.limits(nearest).expect("the nearest grade is one of them");
        Ok(Answer::new().word("grade", word).figure("from", from.mm()).figure("to", to.mm()))
    },
};

#[cfg(test)]
mod tests {
    use super::*;

    fn five() -> Grades {
        let scale = GradeScale { lower: Nanometre(67_961_000), step: Nanometre(3_000), count: 5 };
        Grades::new(scale).unwrap()
    }

    #[test]
    fn borders_belong_to_the_upper_grade_and_the_last_limit_to_the_last() {
        let of = |nm| five().of(Nanometre(nm));
        assert_eq!(of(67_960_999), Grade::Below);
        assert_eq!(of(67_961_000), Grade::In(1));
        assert_eq!(of(67_963_999), Grade::In(1));
        assert_eq!(of(67_964_000), Grade::In(2));
        assert_eq!(of(67_976_000), Grade::In(5));
        assert_eq!(of(67_976_001), Grade::Above);
    }

    #[test]
    fn partners_of_one_grade_keep_the_target_within_one_step() {
        let bores = Grades::new(GradeScale {
            lower: Nanometre(68_000_000),
            step: Nanometre(3_000),
            count: 4,
        })
        .unwrap();
        let pistons = bores.partners(Nanometre(36_000));
        for grade in 1..=4 {
            let (bore, piston) = (bores.limits(grade).unwrap(), pistons.limits(grade).unwrap());
            assert_eq!(bore.0 - piston.1, Nanometre(33_000));
            assert_eq!(bore.1 - piston.0, Nanometre(39_000));
        }
    }

    #[test]
    fn masses_have_classes_too() {
        let scale = GradeScale { lower: Milligram(414_000), step: Milligram(2_000), count: 3 };
        let classes = MassClasses::new(scale).unwrap();
        assert_eq!(classes.of(Milligram(416_100)), Grade::In(2));
        assert_eq!(classes.of(Milligram(420_000)), Grade::In(3));
        assert_eq!(classes.of(Milligram(420_001)), Grade::Above);
    }

    #[test]
    fn scales_that_are_none_are_refused() {
        let scale = |step, count| GradeScale { lower: Nanometre(0), step: Nanometre(step), count };
        assert_eq!(Grades::new(scale(0, 3)), Err(GradeError::StepNotPositive));
        assert_eq!(Grades::new(scale(1, 0)), Err(GradeError::WrongCount { count: 0 }));
        assert_eq!(Grades::new(scale(1, 1001)), Err(GradeError::WrongCount { count: 1001 }));
        assert_eq!(Grades::new(scale(i64::MAX, 3)), Err(GradeError::OutOfReach));
    }
}
