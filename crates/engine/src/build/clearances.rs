//! Clearances of the assembled engine from measured pieces: piston to head, end float, oil
//! clearance of a bearing. Each with the standard uncertainty the readings leave.

use bedplate_gauge::calculation::{Answer, Calculation, Input, Output, Stage};

/// A reading with its standard uncertainty, both in mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// The reading, mm.
    pub value_mm: f64,
    /// Its standard uncertainty, mm; 0 or more.
    pub u_mm: f64,
}

/// A clearance with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Clearance {
    /// The clearance, mm; negative is interference.
    pub clearance_mm: f64,
    /// Its standard uncertainty, mm.
    pub u_mm: f64,
}

/// Sum of readings times their counts and signs.
fn sum(terms: &[(f64, Reading)]) -> Clearance {
    Clearance {
        clearance_mm: terms.iter().map(|(times, r)| times * r.value_mm).sum(),
        u_mm: terms.iter().map(|(times, r)| (times * r.u_mm).powi(2)).sum::<f64>().sqrt(),
    }
}

/// Room between crown and head at top dead centre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PistonToHead {
    /// Crown below the deck; negative where it stands proud.
    pub deck_clearance: Reading,
    /// Thickness of the gasket when pressed.
    pub gasket: Reading,
    /// How far the crown comes nearer when running: growth, stretch of the rod, bearing clearances
    /// taken up. The engine's maker states it; 0 for the cold clearance.
    pub running_allowance_mm: f64,
}

/// Clearance between crown and head.
///
/// # Formula
/// `c = d + s − a`: deck clearance, gasket, running allowance.
/// # Given
/// Readings in mm; see [`PistonToHead`].
/// # Returns
/// Clearance in mm; zero or less means that the piston strikes.
/// # Validity
/// Flat squish land; the allowance is the maker's.
/// # Source
/// Geometry.
/// # Example
/// ```
/// use bedplate_engine::build::clearances::{PistonToHead, Reading, piston_to_head};
/// let room = piston_to_head(PistonToHead {
///     deck_clearance: Reading { value_mm: -0.25, u_mm: 0.0 },
///     gasket: Reading { value_mm: 1.20, u_mm: 0.0 },
///     running_allowance_mm: 0.0,
/// });
/// assert!((room.clearance_mm - 0.95).abs() < 1e-12);
/// ```
#[must_use]
pub fn piston_to_head(parts: PistonToHead) -> Clearance {
    let cold = sum(&[(1.0, parts.deck_clearance), (1.0, parts.gasket)]);
    Clearance { clearance_mm: cold.clearance_mm - parts.running_allowance_mm, ..cold }
}

/// What sets the end float of a crankshaft.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThrustParts {
    /// Between the thrust faces of the shaft.
    pub journal_width: Reading,
    /// Width of the housing or flanged bearing between its faces.
    pub housing_width: Reading,
    /// Thickness of one thrust washer; 0 with a flanged bearing.
    pub washer: Reading,
    /// How many washers stand in the way: 0, 1 or 2.
    pub n_washers: u8,
}

/// End float: how far the shaft can be moved to and fro.
///
/// # Formula
/// `f = W − (B + n w)`: between the shaft's faces, less housing, less washers.
/// # Given
/// Readings in mm; see [`ThrustParts`].
/// # Returns
/// End float in mm; negative means that it cannot be assembled.
/// # Validity
/// Faces square; washers of one lot share their error, so `n` washers count `n` times in full.
/// # Source
/// Geometry.
/// # Example
/// ```
/// use bedplate_engine::build::clearances::{Reading, ThrustParts, end_float};
/// let exact = |value_mm| Reading { value_mm, u_mm: 0.0 };
/// let float = end_float(ThrustParts {
///     journal_width: exact(34.02), housing_width: exact(29.23), washer: exact(2.31), n_washers: 2,
/// });
/// assert!((float.clearance_mm - 0.17).abs() < 1e-12);
/// ```
#[must_use]
pub fn end_float(parts: ThrustParts) -> Clearance {
    let washers = -f64::from(parts.n_washers);
    sum(&[(1.0, parts.journal_width), (-1.0, parts.housing_width), (washers, parts.washer)])
}

/// Journal, housing and shells of one bearing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BearingParts {
    /// Diameter of the housing, cap pulled down, without shells.
    pub housing_bore: Reading,
    /// Thickness of one shell at its crown.
    pub shell: Reading,
    /// Diameter of the journal.
    pub journal: Reading,
}

/// Oil clearance of a bearing, on diameter.
///
/// # Formula
/// `c = H − 2 t − J`: housing, two shells, journal.
/// # Given
/// Readings in mm at 20 °C; see [`BearingParts`].
/// # Returns
/// Diametral clearance in mm at the crown of the shells.
/// # Validity
/// Both shells of one thickness grade, so their error counts twice in full; the growth of the
/// housing by the crush of the shells (a few µm) is left out: a bore measured with shells pulled
/// down, where there is one, is better.
/// # Source
/// Geometry.
/// # Example
/// ```
/// use bedplate_engine::build::clearances::{BearingParts, Reading, bearing_clearance};
/// let exact = |value_mm| Reading { value_mm, u_mm: 0.0 };
/// let oil = bearing_clearance(BearingParts {
///     housing_bore: exact(54.010), shell: exact(1.990), journal: exact(49.984),
/// });
/// assert!((oil.clearance_mm - 0.046).abs() < 1e-12);
/// ```
#[must_use]
pub fn bearing_clearance(parts: BearingParts) -> Clearance {
    sum(&[(1.0, parts.housing_bore), (-2.0, parts.shell), (-1.0, parts.journal)])
}

const fn uncertainty(name: &'static str, meaning: &'static str) -> Input {
    Input::quantity(name, "µm", meaning).at_least(0.0).or("0 µm")
}

/// Declaration of [`piston_to_head`].
pub const PISTON_TO_HEAD: Calculation = Calculation {
    name: "piston-to-head",
    title: "Piston to head clearance",
    stage: Stage::Build,
    question: "How much room is there between crown and head at top dead centre?",
    inputs: &[
        Input::quantity("deck_clearance", "mm", "crown below the deck; negative if proud"),
        Input::quantity("gasket", "mm", "thickness of the gasket when pressed").at_least(0.0),
        Input::quantity("running_allowance", "mm", "growth and stretch when running, by the maker")
            .at_least(0.0)
            .or("0 mm"),
        uncertainty("u_deck", "standard uncertainty of the deck clearance"),
        uncertainty("u_gasket", "of the gasket"),
    ],
    outputs: &[
        Output::figure("clearance", "mm", "clearance; zero or less strikes"),
        Output::figure("u_clearance", "µm", "its standard uncertainty"),
    ],
    formula: "c = d + s − a",
    source: "geometry",
    validity: "Flat squish land; the running allowance is the maker's.",
    example: &[("deck_clearance", "-0.25 mm"), ("gasket", "1.20 mm")],
    expected: &[("clearance", "0.95")],
    run: |given| {
        let reading =
            |name, u| Reading { value_mm: given.number(name), u_mm: given.number(u) / 1e3 };
        let room = piston_to_head(PistonToHead {
            deck_clearance: reading("deck_clearance", "u_deck"),
            gasket: reading("gasket", "u_gasket"),
            running_allowance_mm: given.number("running_allowance"),
        });
        Ok(Answer::new()
            .figure("clearance", room.clearance_mm)
            .figure("u_clearance", room.u_mm * 1e3))
    },
};

/// Declaration of [`end_float`].
pub const END_FLOAT: Calculation = Calculation {
    name: "end-float",
    title: "End float of the crankshaft",
    stage: Stage::Build,
    question: "How far can the crankshaft move to and fro?",
    inputs: &[
        Input::quantity("journal_width", "mm", "between the thrust faces of the shaft").over(0.0),
        Input::quantity("housing_width", "mm", "housing or flanged bearing over its faces")
            .over(0.0),
        Input::quantity("washer", "mm", "thickness of one thrust washer").at_least(0.0).or("0 mm"),
        Input::choice("washers", &["0", "1", "2"], "washers in the way").or("2"),
        uncertainty("u_journal", "standard uncertainty of the journal width"),
        uncertainty("u_housing", "of the housing width"),
        uncertainty("u_washer", "of one washer"),
    ],
    outputs: &[
        Output::figure("end_float", "mm", "end float; negative cannot be assembled"),
        Output::figure("u_end_float", "µm", "its standard uncertainty"),
    ],
    formula: "f = W − (B + n w)",
    source: "geometry",
    validity: "Faces square; washers of one lot share their error.",
    example: &[("journal_width", "34.02 mm"), ("housing_width", "29.23 mm"), ("washer", "2.31 mm")],
    expected: &[("end_float", "0.17")],
    run: |given| {
        let reading =
            |name, u| Reading { value_mm: given.number(name), u_mm: given.number(u) / 1e3 };
        let n_washers = match given.word("washers") {
            "0" => 0,
            "1" => 1,
            _ => 2,
        };
        let float = end_float(ThrustParts {
            journal_width: reading("journal_width", "u_journal"),
            housing_width: reading("housing_width", "u_housing"),
            washer: reading("washer", "u_washer"),
            n_washers,
        });
        Ok(Answer::new()
            .figure("end_float", float.clearance_mm)
            .figure("u_end_float", float.u_mm * 1e3))
    },
};

/// Declaration of [`bearing_clearance`].
pub const BEARING_CLEARANCE: Calculation = Calculation {
    name: "bearing-clearance",
    title: "Oil clearance of a bearing",
    stage: Stage::Build,
    question: "How much oil clearance has this journal in these shells?",
    inputs: &[
        Input::quantity("housing_bore", "mm", "housing, cap pulled down, no shells").over(0.0),
        Input::quantity("shell", "mm", "thickness of one shell at its crown").over(0.0),
        Input::quantity("journal", "mm", "diameter of the journal").over(0.0),
        uncertainty("u_housing", "standard uncertainty of the housing"),
        uncertainty("u_shell", "of one shell"),
        uncertainty("u_journal", "of the journal"),
    ],
    outputs: &[
        Output::figure("clearance", "µm", "diametral clearance at the crown"),
        Output::figure("u_clearance", "µm", "its standard uncertainty"),
    ],
    formula: "c = H − 2 t − J; u² = u_H² + (2 u_t)² + u_J²",
    source: "geometry; JCGM 100:2008, 5.1.2 and 5.2.2 (both shells' errors together)",
    validity: "20 °C; growth of the housing by the crush of the shells left out.",
    example: &[("housing_bore", "54.010 mm"), ("shell", "1.990 mm"), ("journal", "49.984 mm")],
    expected: &[("clearance", "46.0")],
    run: |given| {
        let reading =
            |name, u| Reading { value_mm: given.number(name), u_mm: given.number(u) / 1e3 };
        let oil = bearing_clearance(BearingParts {
            housing_bore: reading("housing_bore", "u_housing"),
            shell: reading("shell", "u_shell"),
            journal: reading("journal", "u_journal"),
        });
        Ok(Answer::new()
            .figure("clearance", oil.clearance_mm * 1e3)
            .figure("u_clearance", oil.u_mm * 1e3))
    },
};

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn two_shells_of_one_grade_count_their_error_twice() {
        let reading = |value_mm| Reading { value_mm, u_mm: 0.001 };
        let oil = bearing_clearance(BearingParts {
            housing_bore: reading(54.01),
            shell: reading(1.99),
            journal: reading(49.984),
        });
        // √(1 + 4 + 1) µm.
        assert!((oil.u_mm - 0.001 * 6f64.sqrt()).abs() < 1e-15);
    }

    proptest! {
        #[test]
        fn a_thicker_shell_takes_twice_its_thickness(t in 1.5..3.0f64, more in 0.001..0.02f64) {
            let at = |shell_mm| bearing_clearance(BearingParts {
                housing_bore: Reading { value_mm: 60.0, u_mm: 0.0 },
                shell: Reading { value_mm: shell_mm, u_mm: 0.0 },
                journal: Reading { value_mm: 50.0, u_mm: 0.0 },
            }).clearance_mm;
            prop_assert!((at(t) - at(t + more) - 2.0 * more).abs() < 1e-12);
        }
    }
}
