//! Tolerance classes of ISO 286: "68 H6" to limits, and fits of a hole with a shaft.
//!
//! The tables hold standard tolerance grades IT01 to IT18 and the fundamental deviations of shafts
//! c to s, for sizes up to 500 mm; holes follow from the shafts by the standard's rules.

use std::fmt;

use crate::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};
use crate::limits::Limits;

/// Standard tolerances in µm. Source: ISO 286-1:2010 Table 1 as retyped in two public files that
/// agree (status: verified); IT01, IT0 and IT16 to IT18 from memory.
const GRADES_CSV: &str = include_str!("iso286_it_grades_um.csv");

/// Fundamental deviations of shafts in µm. Source: ISO 286-1:2010 Tables 4 and 5 as retyped in two
/// public files that agree (status: verified).
const DEVIATIONS_CSV: &str = include_str!("iso286_fundamental_deviations_um.csv");

/// The grades in the order of the table's columns.
const GRADES: [&str; 20] = [
    "01", "0", "1", "2", "3", "4", "5", "6", "7", "8", "9", "10", "11", "12", "13", "14", "15",
    "16", "17", "18",
];
/// The letters tabulated, as of shafts.
const LETTERS: [&str; 13] = ["c", "d", "e", "f", "g", "h", "js", "k", "m", "n", "p", "r", "s"];

/// Whether a class is of a hole (capital letter) or of a shaft (small letter).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Feature {
    /// An internal feature, such as a bore.
    Hole,
    /// An external feature, such as a journal.
    Shaft,
}

/// A tolerance class at a nominal size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ToleranceClass {
    nominal_mm: f64,
    feature: Feature,
    letter: &'static str,
    grade: usize,
    lower_um: f64,
    upper_um: f64,
}

/// Why a text is no tolerance class of the tables.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Iso286Error {
    /// The text is not built like a class.
    #[error("\"{text}\" is not a size with a tolerance class, such as \"68 H6\"")]
    NotAClass {
        /// The text as received.
        text: String,
    },
    /// The text is not built like a fit.
    #[error("\"{text}\" is not a size with a fit, such as \"40 H7/g6\"")]
    NotAFit {
        /// The text as received.
        text: String,
    },
    /// The nominal size lies outside the tables.
    #[error("{nominal_mm} mm lies outside the tables, which hold sizes over 0 up to 500 mm")]
    Size {
        /// The nominal size.
        nominal_mm: f64,
    },
    /// The letter is not tabulated.
    #[error(
        "the letter {letter} is not in the tables, which hold c to h, js, k, m, n, p, r, s and the \
         same capitals"
    )]
    Letter {
        /// The letter as received.
        letter: String,
    },
    /// The grade does not exist.
    #[error("IT{grade} is no grade; there are IT01, IT0 and IT1 to IT18")]
    Grade {
        /// The grade as received.
        grade: String,
    },
    /// The standard gives no such class.
    #[error("the tables give no {letter}{grade} at {nominal_mm} mm")]
    NoSuchClass {
        /// The letter.
        letter: String,
        /// The grade.
        grade: &'static str,
        /// The nominal size.
        nominal_mm: f64,
    },
}

/// The standard tolerance of a grade at a nominal size, in µm.
///
/// # Given
/// `nominal_mm`: over 0 up to 500; `grade`: "01", "0", "1" … "18", with or without "IT".
///
/// # Errors
/// [`Iso286Error::Size`] or [`Iso286Error::Grade`].
///
/// # Source
/// ISO 286-1:2010 Table 1; IT01, IT0 and IT16 to IT18 from memory.
///
/// # Example
/// ```
/// assert_eq!(bedplate_gauge::iso286::standard_tolerance_um(68.0, "IT6").unwrap(), 19.0);
/// ```
pub fn standard_tolerance_um(nominal_mm: f64, grade: &str) -> Result<f64, Iso286Error> {
    tolerance_um(nominal_mm, grade_index(grade)?)
}

fn grade_index(grade: &str) -> Result<usize, Iso286Error> {
    let number = grade.strip_prefix("IT").unwrap_or(grade).trim();
    GRADES
        .iter()
        .position(|g| *g == number)
        .ok_or_else(|| Iso286Error::Grade { grade: number.to_owned() })
}

fn tolerance_um(nominal_mm: f64, grade: usize) -> Result<f64, Iso286Error> {
    let row = step(GRADES_CSV, nominal_mm, |_| true).ok_or(Iso286Error::Size { nominal_mm })?;
    let cell = row.split(',').nth(2 + grade).expect("every row has every grade");
    Ok(cell.parse().expect("the table holds numbers"))
}

/// The row of a table whose step "over … up to and including" holds the size. The two columns of
/// the step are the last two before the figures.
fn step(
    table: &'static str,
    nominal_mm: f64,
    wanted: impl Fn(&str) -> bool,
) -> Option<&'static str> {
    let mut lines = table.lines();
    let over_at = lines.next()?.split(',').position(|c| c == "over_mm")?;
    lines.find(|line| {
        let mut ends = line.split(',').skip(over_at).map(str::parse::<f64>);
        match (ends.next(), ends.next()) {
            (Some(Ok(over)), Some(Ok(to))) => over < nominal_mm && nominal_mm <= to && wanted(line),
            _ => false,
        }
    })
}

/// The fundamental deviation of a shaft, in µm.
fn shaft_deviation_um(nominal_mm: f64, letter: &str) -> Option<f64> {
    let row = step(DEVIATIONS_CSV, nominal_mm, |line| line.split(',').next() == Some(letter))?;
    row.rsplit(',').next()?.parse().ok()
}

impl ToleranceClass {
    /// Reads a size with its class: "68 H6", "⌀68H6", "25,5 js5".
    ///
    /// # Errors
    /// [`Iso286Error`] says what was wrong and what would have been right.
    ///
    /// # Source
    /// ISO 286-1:2010.
    ///
    /// # Example
    /// ```
    /// use bedplate_gauge::iso286::ToleranceClass;
    /// let bore = ToleranceClass::parse("68 H6").unwrap();
    /// assert_eq!((bore.lower_um(), bore.upper_um()), (0.0, 19.0));
    /// assert_eq!(bore.to_string(), "68 H6");
    /// ```
    pub fn parse(text: &str) -> Result<Self, Iso286Error> {
        let (nominal_mm, rest) =
            read_size(text).ok_or_else(|| Iso286Error::NotAClass { text: text.to_owned() })?;
        Self::read(nominal_mm, rest)
            .unwrap_or_else(|| Err(Iso286Error::NotAClass { text: text.to_owned() }))
    }

    /// Letter and grade in one text; `None` if it is not built that way.
    fn read(nominal_mm: f64, class: &str) -> Option<Result<Self, Iso286Error>> {
        let class = class.trim();
        let letters = class.find(|c: char| !c.is_ascii_alphabetic())?;
        let (letter, grade) = class.split_at(letters);
        let digits = grade.bytes().all(|b| b.is_ascii_digit());
        (digits && !letter.is_empty()).then(|| Self::new(nominal_mm, letter, grade))
    }

    /// The class of this letter and grade at a nominal size. A capital letter is a hole's, a small
    /// one a shaft's.
    ///
    /// # Formula
    /// Shaft: c to h from above, es = deviation, ei = es − IT; k to s from below, ei = deviation,
    /// es = ei + IT; js ±IT/2. Hole: C to H mirror the shaft, EI = −es; K, M, N to IT8 and P, R, S
    /// to IT7 follow ES = −ei + Δ, Δ = ITn − ITn₋₁ (over 3 mm); coarser ones ES = −ei.
    ///
    /// # Errors
    /// [`Iso286Error`] for a size, letter, grade or class that the tables do not hold.
    ///
    /// # Validity
    /// Sizes up to 500 mm. js with an odd tolerance keeps its half micrometre, which printed tables
    /// sometimes round. N coarser than IT8 has ES = 0; M6 over 250 up to 315 mm has ES = −9
    /// (both from memory).
    ///
    /// # Source
    /// ISO 286-1:2010 clause 4.3.2 and Tables 2 to 5.
    pub fn new(nominal_mm: f64, letter: &str, grade: &str) -> Result<Self, Iso286Error> {
        let lower = letter.to_ascii_lowercase();
        let unknown = || Iso286Error::Letter { letter: letter.to_owned() };
        let shaft = LETTERS.into_iter().find(|l| *l == lower).ok_or_else(unknown)?;
        let feature = if letter == shaft {
            Feature::Shaft
        } else if letter == shaft.to_ascii_uppercase() {
            Feature::Hole
        } else {
            return Err(unknown());
        };
        let grade = grade_index(grade)?;
        let width_um = tolerance_um(nominal_mm, grade)?;
        let missing = || Iso286Error::NoSuchClass {
            letter: letter.to_owned(),
            grade: GRADES[grade],
            nominal_mm,
        };
        let (lower_um, upper_um) = match (shaft, feature) {
            ("js", _) => (-0.5 * width_um, 0.5 * width_um),
            ("c" | "d" | "e" | "f" | "g" | "h", _) => {
                let es = shaft_deviation_um(nominal_mm, shaft).ok_or_else(missing)?;
                if feature == Feature::Shaft { (es - width_um, es) } else { (-es, width_um - es) }
            }
            (_, Feature::Shaft) => {
                let ei = tight_shaft_um(nominal_mm, shaft, grade).ok_or_else(missing)?;
                (ei, ei + width_um)
            }
            (_, Feature::Hole) => {
                let es = tight_hole_um(nominal_mm, shaft, grade).ok_or_else(missing)?;
                (es - width_um, es)
            }
        };
        Ok(Self { nominal_mm, feature, letter: shaft, grade, lower_um, upper_um })
    }

    /// Nominal size.
    #[must_use]
    pub const fn nominal_mm(&self) -> f64 {
        self.nominal_mm
    }

    /// Hole or shaft.
    #[must_use]
    pub const fn feature(&self) -> Feature {
        self.feature
    }

    /// Lower limit deviation from nominal (EI or ei).
    #[must_use]
    pub const fn lower_um(&self) -> f64 {
        self.lower_um
    }

    /// Upper limit deviation from nominal (ES or es).
    #[must_use]
    pub const fn upper_um(&self) -> f64 {
        self.upper_um
    }

    /// The limits of the deviation from nominal, in µm.
    #[must_use]
    pub fn deviation_limits_um(&self) -> Limits {
        Limits::between(self.lower_um, self.upper_um).expect("a tolerance is wider than nothing")
    }

    /// The limits of size, in mm.
    #[must_use]
    pub fn limits_mm(&self) -> Limits {
        // Thousands are added, not thousandths, so that 68 + 0.019 comes out as 68.019.
        let size = |um: f64| (self.nominal_mm * 1e3 + um) / 1e3;
        Limits::between(size(self.lower_um), size(self.upper_um))
            .expect("a tolerance is wider than nothing")
    }
}

/// Lower deviation of the shafts k to s.
fn tight_shaft_um(nominal_mm: f64, letter: &str, grade: usize) -> Option<f64> {
    let ei = shaft_deviation_um(nominal_mm, letter)?;
    let tabulated = letter != "k" || matches!(GRADES[grade], "4" | "5" | "6" | "7");
    Some(if tabulated { ei } else { 0.0 })
}

/// Upper deviation of the holes K to S.
fn tight_hole_um(nominal_mm: f64, letter: &str, grade: usize) -> Option<f64> {
    let finest = GRADES.iter().position(|g| *g == "3")?;
    let coarsest = GRADES
        .iter()
        .position(|g| *g == if matches!(letter, "k" | "m" | "n") { "8" } else { "7" })?;
    let ei = shaft_deviation_um(nominal_mm, letter)?;
    if nominal_mm <= 3.0 {
        return if letter == "k" && grade > coarsest { None } else { Some(-ei) };
    }
    if (finest..=coarsest).contains(&grade) {
        let m6 = letter == "m" && GRADES[grade] == "6";
        if m6 && 250.0 < nominal_mm && nominal_mm <= 315.0 {
            return Some(-9.0);
        }
        let delta =
            tolerance_um(nominal_mm, grade).ok()? - tolerance_um(nominal_mm, grade - 1).ok()?;
        return Some(delta - ei);
    }
    match letter {
        "k" => None,
        "n" if grade > coarsest => Some(0.0),
        _ => (grade > coarsest).then_some(-ei),
    }
}

/// Splits "⌀68,5 H6" into 68.5 and the rest.
fn read_size(text: &str) -> Option<(f64, &str)> {
    let text = text.trim().trim_start_matches(['⌀', 'Ø', 'ø', '∅']).trim_start();
    let end = text.find(|c: char| !(c.is_ascii_digit() || c == '.' || c == ','))?;
    let size = text[..end].replace(',', ".").parse::<f64>().ok()?;
    let rest = text[end..].trim_start();
    Some((size, rest.strip_prefix("mm").map_or(rest, str::trim_start)))
}

impl fmt::Display for ToleranceClass {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let grade = GRADES[self.grade];
        match self.feature {
            Feature::Shaft => write!(f, "{} {}{grade}", self.nominal_mm, self.letter),
            Feature::Hole => {
                write!(f, "{} {}{grade}", self.nominal_mm, self.letter.to_ascii_uppercase())
            }
        }
    }
}

/// What a fit is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum FitKind {
    /// Always room between hole and shaft.
    Clearance,
    /// Room or overlap, by the pieces.
    Transition,
    /// Always overlap.
    Interference,
}

impl FitKind {
    /// The kind in a word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Clearance => "clearance",
            Self::Transition => "transition",
            Self::Interference => "interference",
        }
    }
}

/// A hole with a shaft of the same nominal size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// The hole.
    pub hole: ToleranceClass,
    /// The shaft.
    pub shaft: ToleranceClass,
}

impl Fit {
    /// Reads a fit: "40 H7/g6".
    ///
    /// # Errors
    /// [`Iso286Error`] says what was wrong.
    ///
    /// # Example
    /// ```
    /// let fit = bedplate_gauge::iso286::Fit::parse("40 H7/g6").unwrap();
    /// assert_eq!((fit.least_clearance_um(), fit.greatest_clearance_um()), (9.0, 50.0));
    /// ```
    pub fn parse(text: &str) -> Result<Self, Iso286Error> {
        let bad = || Iso286Error::NotAFit { text: text.to_owned() };
        let (nominal_mm, classes) = read_size(text).ok_or_else(bad)?;
        let (hole, shaft) = classes.split_once('/').ok_or_else(bad)?;
        let hole = ToleranceClass::read(nominal_mm, hole).ok_or_else(bad)??;
        let shaft = ToleranceClass::read(nominal_mm, shaft).ok_or_else(bad)??;
        let ordered = hole.feature == Feature::Hole && shaft.feature == Feature::Shaft;
        if ordered { Ok(Self { hole, shaft }) } else { Err(bad()) }
    }

    /// Least clearance, EI − es; negative is interference.
    #[must_use]
    pub fn least_clearance_um(&self) -> f64 {
        self.hole.lower_um - self.shaft.upper_um
    }

    /// Greatest clearance, ES − ei; negative is interference.
    #[must_use]
    pub fn greatest_clearance_um(&self) -> f64 {
        self.hole.upper_um - self.shaft.lower_um
    }

    /// Clearance, transition or interference. A least clearance of nothing is a clearance fit
    /// still (h in H), a greatest of nothing an interference fit (ISO 286-1:2010 clause 3.3).
    #[must_use]
    pub fn kind(&self) -> FitKind {
        if self.least_clearance_um() >= 0.0 {
            FitKind::Clearance
        } else if self.greatest_clearance_um() <= 0.0 {
            FitKind::Interference
        } else {
            FitKind::Transition
        }
    }
}

const HOLE_LETTERS: &[&str] = &["C", "D", "E", "F", "G", "H", "JS", "K", "M", "N", "P", "R", "S"];
const ALL_LETTERS: &[&str] = &[
    "H", "C", "D", "E", "F", "G", "JS", "K", "M", "N", "P", "R", "S", "c", "d", "e", "f", "g", "h",
    "js", "k", "m", "n", "p", "r", "s",
];

/// The limits of a tolerance class.
pub const TOLERANCE_CLASS: Calculation = Calculation {
    name: "tolerance-class",
    title: "Limits of a tolerance class",
    stage: Stage::Plan,
    question: "What are the limits of 68 H6?",
    inputs: &[
        Input::quantity("nominal", "mm", "nominal size").over(0.0).at_most(500.0),
        Input::choice("letter", ALL_LETTERS, "capital for a hole, small for a shaft"),
        Input::choice("grade", &GRADES, "tolerance grade, IT"),
    ],
    outputs: &[
        Output::figure("tolerance", "µm", "width of the limits"),
        Output::figure("lower_deviation", "µm", "lower limit less nominal (EI, ei)"),
        Output::figure("upper_deviation", "µm", "upper limit less nominal (ES, es)"),
        Output::figure("lower", "mm", "lower limit of size"),
        Output::figure("upper", "mm", "upper limit of size"),
    ],
    formula: "shaft: es = ei + IT; hole: EI = −es (C to H), ES = −ei + Δ (K to S)",
    source: "ISO 286-1:2010 Tables 1 to 5",
    validity: "Sizes up to 500 mm, letters c to h, js, k, m, n, p, r, s.",
    // ISO 286-1:2010 Table 1, over 50 up to 80 mm: IT6 = 19 µm.
    example: &[("nominal", "68 mm"), ("letter", "H"), ("grade", "6")],
    expected: &[
        ("tolerance", "19"),
        ("lower_deviation", "0"),
        ("upper_deviation", "19"),
        ("upper", "68.019"),
    ],
    run: run_class,
};

fn run_class(given: &Given) -> Result<Answer, Refused> {
    let (letter, grade) = (given.word("letter"), given.word("grade"));
    let class = ToleranceClass::new(given.number("nominal"), letter, grade)
        .map_err(|e| Refused::because("letter", e.to_string()))?;
    let limits = class.limits_mm();
    Ok(Answer::new()
        .figure("tolerance", class.upper_um - class.lower_um)
        .figure("lower_deviation", class.lower_um)
        .figure("upper_deviation", class.upper_um)
        .figure("lower", limits.lower().unwrap_or(f64::NAN))
        .figure("upper", limits.upper().unwrap_or(f64::NAN)))
}

/// The clearance of a fit.
pub const FIT: Calculation = Calculation {
    name: "fit",
    title: "Clearance of a fit",
    stage: Stage::Plan,
    question: "How much room does 40 H7/g6 leave?",
    inputs: &[
        Input::quantity("nominal", "mm", "nominal size").over(0.0).at_most(500.0),
        Input::choice("hole", HOLE_LETTERS, "letter of the hole").or("H"),
        Input::choice("hole_grade", &GRADES, "grade of the hole, IT").or("7"),
        Input::choice("shaft", &LETTERS, "letter of the shaft"),
        Input::choice("shaft_grade", &GRADES, "grade of the shaft, IT"),
    ],
    outputs: &[
        Output::figure("least", "µm", "least clearance; negative is interference"),
        Output::figure("greatest", "µm", "greatest clearance; negative is interference"),
        Output::figure("kind", "", "clearance, transition or interference"),
        Output::figure("ES", "µm", "upper deviation of the hole"),
        Output::figure("EI", "µm", "lower deviation of the hole"),
        Output::figure("es", "µm", "upper deviation of the shaft"),
        Output::figure("ei", "µm", "lower deviation of the shaft"),
    ],
    formula: "least = EI − es, greatest = ES − ei",
    source: "ISO 286-1:2010",
    validity: "Sizes up to 500 mm, letters c to h, js, k, m, n, p, r, s; both at 20 °C.",
    // ISO 286-1:2010 Tables 1, 2 and 4 (values read in a public retyping).
    example: &[("nominal", "40 mm"), ("shaft", "g"), ("shaft_grade", "6")],
    expected: &[("least", "9"), ("greatest", "50"), ("kind", "clearance")],
    run: run_fit,
};

fn run_fit(given: &Given) -> Result<Answer, Refused> {
    let class = |letter, grade| {
        ToleranceClass::new(given.number("nominal"), given.word(letter), given.word(grade))
            .map_err(|e| Refused::because(letter, e.to_string()))
    };
    let fit = Fit { hole: class("hole", "hole_grade")?, shaft: class("shaft", "shaft_grade")? };
    Ok(Answer::new()
        .figure("least", fit.least_clearance_um())
        .figure("greatest", fit.greatest_clearance_um())
        .word("kind", fit.kind().word())
        .figure("ES", fit.hole.upper_um)
        .figure("EI", fit.hole.lower_um)
        .figure("es", fit.shaft.upper_um)
        .figure("ei", fit.shaft.lower_um))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn class(text: &str) -> (f64, f64) {
        let c = ToleranceClass::parse(text).unwrap();
        (c.lower_um(), c.upper_um())
    }

    #[test]
    fn every_cell_of_the_tables_is_a_number_and_every_step_joins_the_next() {
        for table in [GRADES_CSV, DEVIATIONS_CSV] {
            let width = table.lines().next().unwrap().split(',').count();
            assert!(table.lines().all(|l| l.split(',').count() == width));
        }
        for tenth_mm in 1..=5000 {
            let size = f64::from(tenth_mm) / 10.0;
            for grade in GRADES {
                assert!(standard_tolerance_um(size, grade).unwrap() > 0.0);
            }
            for letter in LETTERS.into_iter().filter(|l| *l != "js") {
                assert!(shaft_deviation_um(size, letter).is_some(), "{letter} {size}");
            }
        }
    }

    #[test]
    fn steps_hold_their_upper_end() {
        assert_eq!(standard_tolerance_um(50.0, "6").unwrap(), 16.0);
        assert_eq!(standard_tolerance_um(50.001, "6").unwrap(), 19.0);
        assert_eq!(standard_tolerance_um(500.0, "IT6").unwrap(), 40.0);
    }

    #[test]
    fn spellings_of_the_drawing_are_taken() {
        for text in ["68 H6", "68H6", "⌀68 H6", "Ø 68 H6", " 68.0 H6 ", "68,0H6", "68 mm H6"] {
            assert_eq!(class(text), (0.0, 19.0), "{text}");
        }
        let bore = ToleranceClass::parse("68 H6").unwrap();
        assert_eq!(bore.limits_mm(), Limits::between(68.0, 68.019).unwrap());
    }

    #[test]
    fn what_is_no_class_is_refused_in_words() {
        let words = |t: &str| ToleranceClass::parse(t).unwrap_err().to_string();
        assert!(words("H6").contains("not a size with a tolerance class"));
        assert!(words("68").contains("not a size"));
        assert!(words("").contains("not a size"));
        assert!(words("68 H").contains("not a size"));
        assert!(words("68 A6").contains("letter A is not in the tables"));
        assert!(words("68 Js6").contains("letter Js"));
        assert!(words("68 H19").contains("IT19 is no grade"));
        assert!(words("501 H6").contains("501 mm lies outside"));
        assert!(words("0 H6").contains("0 mm lies outside"));
        assert!(words("68 K9").contains("no K9 at 68 mm"));
        let fit = |t: &str| Fit::parse(t).unwrap_err().to_string();
        assert!(fit("40 g6/H7").contains("not a size with a fit"));
        assert!(fit("40 H7").contains("not a size with a fit"));
    }

    #[test]
    fn rules_for_tight_holes() {
        // ISO 286-2 (from memory): N9 has its upper limit at nominal; M6 over 250 up to 315 mm is
        // −9; K7 at 3 mm has no Δ.
        assert_eq!(class("40 N9"), (-62.0, 0.0));
        assert_eq!(class("300 M6"), (-41.0, -9.0));
        assert_eq!(class("3 K7"), (-10.0, 0.0));
        assert_eq!(class("20 k8"), (0.0, 33.0));
    }

    proptest! {
        #[test]
        fn classes_are_as_wide_as_their_grade_and_print_as_read(
            tenth in 1u32..=5000,
            letter in 0usize..LETTERS.len(),
            grade in 0usize..GRADES.len(),
            hole in any::<bool>(),
        ) {
            let size = f64::from(tenth) / 10.0;
            let small = LETTERS[letter].to_owned();
            let letter = if hole { small.to_ascii_uppercase() } else { small };
            if let Ok(c) = ToleranceClass::new(size, &letter, GRADES[grade]) {
                let width = standard_tolerance_um(size, GRADES[grade]).unwrap();
                prop_assert!((c.upper_um() - c.lower_um() - width).abs() < 1e-9);
                prop_assert_eq!(ToleranceClass::parse(&c.to_string()).unwrap(), c);
            }
        }

        #[test]
        fn loose_holes_mirror_loose_shafts(
            tenth in 1u32..=5000, letter in 0usize..6, grade in 0usize..GRADES.len()
        ) {
            let size = f64::from(tenth) / 10.0;
            let class = |letter: &str| ToleranceClass::new(size, letter, GRADES[grade]).unwrap();
            let shaft = class(LETTERS[letter]);
            let hole = class(&LETTERS[letter].to_ascii_uppercase());
            prop_assert_eq!(hole.lower_um(), -shaft.upper_um());
        }

        #[test]
        fn any_text_is_read_or_refused(text in "\\PC{0,20}", size in any::<f64>()) {
            let _ = ToleranceClass::parse(&text);
            let _ = Fit::parse(&text);
            let _ = ToleranceClass::new(size, "H", "6");
        }
    }
}
