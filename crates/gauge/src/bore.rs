//! A bore read at several levels and angles: its mean size, taper, ovality and barrel.
//!
//! Each reading is a diameter, two points opposite each other, as a bore gauge or a row of air jets
//! gives it. Form between the levels is not seen.

use crate::calculation::{Answer, Calculation, Column, Given, Input, Output, Refused, Stage};
use crate::least_squares::{least_squares, powers};

/// One diameter of the bore.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BoreReading {
    /// Depth from the top face, mm.
    pub level_mm: f64,
    /// Direction of the diameter, degrees; the same again at 180.
    pub angle_deg: f64,
    /// Diameter, mm.
    pub diameter_mm: f64,
}

/// How far each diameter is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BoreUncertainty {
    /// Standard uncertainty of one reading that the next does not share: repeatability, mm.
    pub reading_mm: f64,
    /// Standard uncertainty that all readings share: the master, the temperature, mm.
    pub shared_mm: f64,
}

/// A figure with its standard uncertainty, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figure {
    /// The figure.
    pub value_mm: f64,
    /// Its standard uncertainty.
    pub uncertainty_mm: f64,
}

/// One level of the bore.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BoreLevel {
    /// Depth, mm.
    pub level_mm: f64,
    /// Mean of its diameters.
    pub mean: Figure,
    /// Largest less smallest of its diameters; none where there is one alone.
    pub ovality: Option<Figure>,
    /// Direction of the largest, degrees.
    pub largest_at_deg: f64,
}

/// A bore in its figures.
#[derive(Debug, Clone, PartialEq)]
pub struct BoreForm {
    /// Mean of the levels' means.
    pub mean: Figure,
    /// Smallest diameter read: what the piston meets.
    pub least: Figure,
    /// Largest diameter read.
    pub greatest: Figure,
    /// Change from the first to the last level by the straight line through the levels' means;
    /// positive where the bore widens downwards. None for one level.
    pub taper: Option<Figure>,
    /// How far the middle stands wider than the mean of both ends, by the parabola through the
    /// levels' means; negative for a waist. None for fewer than three levels.
    pub barrel: Option<Figure>,
    /// The worst ovality of a level.
    pub ovality: Option<Figure>,
    /// Each level from the top.
    pub levels: Vec<BoreLevel>,
}

/// Why readings give no bore.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum BoreError {
    /// No readings.
    #[error("there are no readings; at least one diameter is needed")]
    Empty,
    /// A reading is no number, or its diameter is not positive.
    #[error(
        "reading {position}: {diameter_mm} mm at {level_mm} mm and {angle_deg}°; the diameter \
         must be above 0, level and angle finite numbers"
    )]
    Reading {
        /// Place, counted from 1.
        position: usize,
        /// Depth, mm.
        level_mm: f64,
        /// Direction, degrees.
        angle_deg: f64,
        /// Diameter, mm.
        diameter_mm: f64,
    },
    /// The same diameter read twice.
    #[error("level {level_mm} mm is read twice at {angle_deg}°; take their mean first")]
    Twice {
        /// Depth, mm.
        level_mm: f64,
        /// Direction, degrees.
        angle_deg: f64,
    },
    /// An uncertainty is negative or no number.
    #[error("an uncertainty of {uncertainty_mm} mm; it must be 0 or more")]
    Uncertainty {
        /// What was given, mm.
        uncertainty_mm: f64,
    },
}

/// The figures of a bore from its diameters.
///
/// # Formula
/// Mean D̄ = mean of the levels' means m; taper = slope of the line through (z, m) times the depth
/// between the first and the last level; barrel = −b₂·(half that depth)², b₂ the parabola's last
/// coefficient; ovality = largest less smallest diameter of a level. Each figure is a weighted sum
/// Σ w·d, so u² = u_r²·Σ w² + u_s²·(Σ w)².
///
/// # Given
/// One diameter or more; levels equal to the micrometre are one level.
///
/// # Returns
/// [`BoreForm`], mm.
///
/// # Errors
/// [`BoreError`].
///
/// # Validity
/// Two-point diameters: an odd number of lobes does not show in them. Largest less smallest is
/// raised by the readings' own scatter: an ovality below twice its uncertainty may be nothing.
///
/// # Source
/// Definitions (common practice); uncertainty JCGM 100:2008 equation (10); line and parabola
/// checked against numpy.
///
/// # Example
/// ```
/// use bedplate_gauge::bore::{BoreReading, BoreUncertainty, bore_form};
/// let at = |level_mm, angle_deg, diameter_mm| BoreReading { level_mm, angle_deg, diameter_mm };
/// let readings = [
///     at(10.0, 0.0, 68.004), at(10.0, 90.0, 68.010),
///     at(45.0, 0.0, 68.010), at(45.0, 90.0, 68.012),
///     at(80.0, 0.0, 68.007), at(80.0, 90.0, 68.011),
/// ];
/// let known = BoreUncertainty { reading_mm: 0.0005, shared_mm: 0.0004 };
/// let bore = bore_form(&readings, known).unwrap();
/// // By hand: means 68.007, 68.011, 68.009; taper 0.002, barrel 68.011 − 68.008.
/// assert_eq!(format!("{:.4}", bore.mean.value_mm), "68.0090");
/// assert_eq!(format!("{:.4}", bore.taper.unwrap().value_mm), "0.0020");
/// assert_eq!(format!("{:.4}", bore.barrel.unwrap().value_mm), "0.0030");
/// assert_eq!(format!("{:.4}", bore.ovality.unwrap().value_mm), "0.0060");
/// ```
pub fn bore_form(readings: &[BoreReading], known: BoreUncertainty) -> Result<BoreForm, BoreError> {
    let grouped = by_level(readings, known)?;
    let levels: Vec<BoreLevel> = grouped.iter().map(|of| level(of, known)).collect();
    // Each level's own share of the uncertainty of its mean.
    let own: Vec<f64> =
        grouped.iter().map(|of| known.reading_mm / (of.len() as f64).sqrt()).collect();
    let means: Vec<f64> = levels.iter().map(|l| l.mean.value_mm).collect();
    let weighed = |weights: &[f64]| {
        // Sums about the first mean, so that micrometres keep their digits beside the size.
        let total: f64 = weights.iter().sum();
        let over = |(w, m): (&f64, &f64)| w * (m - means[0]);
        let apart: f64 = weights.iter().zip(&own).map(|(w, u)| (w * u).powi(2)).sum();
        Figure {
            value_mm: total * means[0] + weights.iter().zip(&means).map(over).sum::<f64>(),
            uncertainty_mm: (apart + (total * known.shared_mm).powi(2)).sqrt(),
        }
    };
    let count = levels.len() as f64;
    let one = |value_mm: f64| Figure {
        value_mm,
        uncertainty_mm: known.reading_mm.hypot(known.shared_mm),
    };
    let diameters = || readings.iter().map(|r| r.diameter_mm);
    let ovalities = levels.iter().filter_map(|l| l.ovality);
    Ok(BoreForm {
        mean: weighed(&vec![1.0 / count; levels.len()]),
        least: one(diameters().fold(f64::INFINITY, f64::min)),
        greatest: one(diameters().fold(f64::NEG_INFINITY, f64::max)),
        taper: shape_weights(&levels, 1).map(|w| weighed(&w)),
        barrel: shape_weights(&levels, 2).map(|w| weighed(&w)),
        ovality: ovalities.max_by(|a, b| a.value_mm.total_cmp(&b.value_mm)),
        levels,
    })
}

/// Readings checked, sorted and grouped by level from the top.
fn by_level(
    readings: &[BoreReading],
    known: BoreUncertainty,
) -> Result<Vec<Vec<BoreReading>>, BoreError> {
    for uncertainty_mm in [known.reading_mm, known.shared_mm] {
        if !(uncertainty_mm.is_finite() && uncertainty_mm >= 0.0) {
            return Err(BoreError::Uncertainty { uncertainty_mm });
        }
    }
    for (i, r) in readings.iter().enumerate() {
        let BoreReading { level_mm, angle_deg, diameter_mm } = *r;
        let sound = level_mm.abs() < 1e9 && angle_deg.abs() < 1e9;
        if !(sound && 0.0 < diameter_mm && diameter_mm < 1e9) {
            let position = i + 1;
            return Err(BoreError::Reading { position, level_mm, angle_deg, diameter_mm });
        }
    }
    let mut sorted = readings.to_vec();
    sorted.sort_by(|a, b| a.level_mm.total_cmp(&b.level_mm));
    let mut grouped: Vec<Vec<BoreReading>> = vec![];
    for reading in sorted {
        match grouped.last_mut() {
            Some(of) if reading.level_mm - of[0].level_mm <= 1e-3 => {
                let apart = |r: &&BoreReading| {
                    let turn = (r.angle_deg - reading.angle_deg).rem_euclid(180.0);
                    turn.min(180.0 - turn) < 1e-6
                };
                if let Some(r) = of.iter().find(apart) {
                    let (level_mm, angle_deg) = (r.level_mm, r.angle_deg);
                    return Err(BoreError::Twice { level_mm, angle_deg });
                }
                of.push(reading);
            }
            _ => grouped.push(vec![reading]),
        }
    }
    if grouped.is_empty() { Err(BoreError::Empty) } else { Ok(grouped) }
}

fn level(of: &[BoreReading], known: BoreUncertainty) -> BoreLevel {
    let first = of[0].diameter_mm;
    let mean = first + of.iter().map(|r| r.diameter_mm - first).sum::<f64>() / of.len() as f64;
    let (mut least, mut most) = (of[0], of[0]);
    for r in of {
        least = if r.diameter_mm < least.diameter_mm { *r } else { least };
        most = if r.diameter_mm > most.diameter_mm { *r } else { most };
    }
    let own = known.reading_mm / (of.len() as f64).sqrt();
    let ovality = Figure {
        value_mm: most.diameter_mm - least.diameter_mm,
        uncertainty_mm: known.reading_mm * std::f64::consts::SQRT_2,
    };
    BoreLevel {
        level_mm: of[0].level_mm,
        mean: Figure { value_mm: mean, uncertainty_mm: own.hypot(known.shared_mm) },
        ovality: (of.len() > 1).then_some(ovality),
        largest_at_deg: most.angle_deg,
    }
}

/// What each level's mean counts for in the taper (degree 1) or the barrel (degree 2).
fn shape_weights(levels: &[BoreLevel], degree: u8) -> Option<Vec<f64>> {
    let (first, last) = (levels.first()?.level_mm, levels.last()?.level_mm);
    if levels.len() <= usize::from(degree) {
        return None;
    }
    // From −1 at the first level to 1 at the last.
    let place = |l: &BoreLevel| (2.0 * l.level_mm - first - last) / (last - first);
    let columns = powers(&levels.iter().map(place).collect::<Vec<f64>>(), degree);
    // A coefficient is a weighted sum of the means; its weights are its values for a mean of one at
    // each level in turn.
    let scale = if degree == 1 { 2.0 } else { -1.0 };
    let weight = |i: usize| {
        let mut one = vec![0.0; levels.len()];
        one[i] = 1.0;
        let fit = least_squares(&columns, &one).ok()?;
        fit.coefficients.last().map(|c| c * scale)
    };
    (0..levels.len()).map(weight).collect()
}

const READING_COLUMNS: &[Column] = &[
    Column { name: "level", unit: "mm", meaning: "depth from the top face" },
    Column { name: "angle", unit: "°", meaning: "direction of the diameter" },
    Column { name: "diameter", unit: "mm", meaning: "diameter" },
];

const LEVEL_COLUMNS: &[Column] = &[
    Column { name: "level", unit: "mm", meaning: "depth from the top face" },
    Column { name: "mean", unit: "mm", meaning: "mean diameter" },
    Column { name: "ovality", unit: "µm", meaning: "largest less smallest; 0 for one alone" },
    Column { name: "largest_at", unit: "°", meaning: "direction of the largest" },
];

/// A bore read at several levels.
pub const BORE_FORM: Calculation = Calculation {
    name: "bore-form",
    title: "Size, taper and ovality of a bore",
    stage: Stage::Gauge,
    question: "How large is this bore, and how far is it from a cylinder?",
    inputs: &[
        Input::table("readings", READING_COLUMNS, "one row a diameter"),
        Input::quantity("reading_uncertainty", "µm", "standard, of each reading alone")
            .at_least(0.0)
            .or("0 µm"),
        Input::quantity("shared_uncertainty", "µm", "standard, of master and temperature")
            .at_least(0.0)
            .or("0 µm"),
    ],
    outputs: &[
        Output::figure("mean", "mm", "mean of the levels' means"),
        Output::figure("mean_uncertainty", "µm", "its standard uncertainty"),
        Output::figure("least", "mm", "smallest diameter read"),
        Output::figure("greatest", "mm", "largest diameter read"),
        Output::figure("taper", "µm", "first to last level; positive where it widens downwards"),
        Output::figure("taper_uncertainty", "µm", "its standard uncertainty"),
        Output::figure("barrel", "µm", "middle over the mean of the ends; negative for a waist"),
        Output::figure("barrel_uncertainty", "µm", "its standard uncertainty"),
        Output::figure("ovality", "µm", "worst level, largest less smallest"),
        Output::figure("ovality_uncertainty", "µm", "its standard uncertainty"),
        Output::figure("by_level", "", "each level from the top"),
    ],
    formula: "taper = slope·depth, barrel = −b₂·(depth/2)², ovality = d_max − d_min; \
              u² = u_r²·Σw² + u_s²·(Σw)²",
    source: "definitions, common practice; JCGM 100:2008 equation (10)",
    validity: "Two-point diameters; odd lobes do not show. Needs two levels for taper, three for \
               barrel, two angles for ovality.",
    // Line and parabola computed with numpy 2.4.6 (polyfit), uncertainties from its design matrix.
    example: &[
        (
            "readings",
            "level, angle, diameter; 10, 0, 68.004; 10, 90, 68.010; 30, 0, 68.009; 30, 90, 68.012; \
             50, 0, 68.011; 50, 90, 68.012; 90, 0, 68.006; 90, 90, 68.011",
        ),
        ("reading_uncertainty", "0.5 µm"),
        ("shared_uncertainty", "0.4 µm"),
    ],
    expected: &[
        ("mean", "68.009375"),
        ("mean_uncertainty", "0.4373214"),
        ("taper", "0.857143"),
        ("taper_uncertainty", "0.4780914"),
        ("barrel", "3.863636"),
        ("barrel_uncertainty", "0.3988620"),
        ("ovality", "6.0"),
        ("ovality_uncertainty", "0.7071068"),
    ],
    run: run_bore_form,
};

fn run_bore_form(given: &Given) -> Result<Answer, Refused> {
    let row = |r: &Vec<f64>| BoreReading { level_mm: r[0], angle_deg: r[1], diameter_mm: r[2] };
    let readings: Vec<BoreReading> = given.table("readings").iter().map(row).collect();
    let known = BoreUncertainty {
        reading_mm: given.number("reading_uncertainty") * 1e-3,
        shared_mm: given.number("shared_uncertainty") * 1e-3,
    };
    let bore =
        bore_form(&readings, known).map_err(|e| Refused::because("readings", e.to_string()))?;
    let mut answer = Answer::new()
        .figure("mean", bore.mean.value_mm)
        .figure("mean_uncertainty", bore.mean.uncertainty_mm * 1e3)
        .figure("least", bore.least.value_mm)
        .figure("greatest", bore.greatest.value_mm);
    let shapes = [
        ("taper", "taper_uncertainty", bore.taper, "one level has no taper"),
        ("barrel", "barrel_uncertainty", bore.barrel, "needs three levels"),
        ("ovality", "ovality_uncertainty", bore.ovality, "needs two angles at a level"),
    ];
    for (name, uncertainty, figure, without) in shapes {
        answer = match figure {
            Some(f) => {
                answer.figure(name, f.value_mm * 1e3).figure(uncertainty, f.uncertainty_mm * 1e3)
            }
            None => answer.word(name, without).word(uncertainty, without),
        };
    }
    let row = |l: &BoreLevel| {
        let ovality = l.ovality.map_or(0.0, |o| o.value_mm * 1e3);
        vec![l.level_mm, l.mean.value_mm, ovality, l.largest_at_deg]
    };
    Ok(answer.table("by_level", LEVEL_COLUMNS, bore.levels.iter().map(row).collect()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const KNOWN: BoreUncertainty = BoreUncertainty { reading_mm: 0.0005, shared_mm: 0.0004 };

    fn at(level_mm: f64, angle_deg: f64, diameter_mm: f64) -> BoreReading {
        BoreReading { level_mm, angle_deg, diameter_mm }
    }

    #[test]
    fn what_is_no_bore_is_refused_in_words() {
        let words = |r: &[BoreReading]| bore_form(r, KNOWN).unwrap_err().to_string();
        assert!(words(&[]).contains("no readings"));
        assert!(words(&[at(0.0, 0.0, 68.0), at(1.0, 0.0, -1.0)]).contains("reading 2"));
        assert!(words(&[at(f64::NAN, 0.0, 68.0)]).contains("reading 1"));
        let twice = [at(10.0, 5.0, 68.0), at(10.0, 185.0, 68.0)];
        assert!(words(&twice).contains("read twice"));
        let unknown = BoreUncertainty { reading_mm: -1.0, shared_mm: 0.0 };
        assert!(bore_form(&[at(0.0, 0.0, 68.0)], unknown).is_err());
    }

    #[test]
    fn one_diameter_is_a_size_and_nothing_more() {
        let bore = bore_form(&[at(10.0, 0.0, 68.01)], KNOWN).unwrap();
        assert_eq!((bore.taper, bore.barrel, bore.ovality), (None, None, None));
        assert_eq!(bore.mean.value_mm, 68.01);
        assert!((bore.mean.uncertainty_mm - 0.0005_f64.hypot(0.0004)).abs() < 1e-15);
    }

    #[test]
    fn the_master_cancels_in_taper_and_barrel() {
        // By hand, for levels at −1, 0, 1 with two diameters each: taper m₃ − m₁, u = √2·u_r/√2;
        // barrel m₂ − (m₁ + m₃)/2, u = √1.5·u_r/√2.
        let readings: Vec<BoreReading> = [10.0, 45.0, 80.0]
            .into_iter()
            .flat_map(|z| [at(z, 0.0, 68.0 + z * 1e-5), at(z, 90.0, 68.002 + z * 1e-5)])
            .collect();
        let bore = bore_form(&readings, KNOWN).unwrap();
        let (taper, barrel) = (bore.taper.unwrap(), bore.barrel.unwrap());
        assert!((taper.value_mm - 70.0e-5).abs() < 1e-12);
        assert!((taper.uncertainty_mm - 0.0005).abs() < 1e-15);
        assert!(barrel.value_mm.abs() < 1e-12);
        assert!((barrel.uncertainty_mm - 0.0005 * 0.75_f64.sqrt()).abs() < 1e-15);
        // The mean of six: u_r/√6, and the master whole.
        let by_hand = (0.0005 / 6_f64.sqrt()).hypot(0.0004);
        assert!((bore.mean.uncertainty_mm - by_hand).abs() < 1e-15);
    }

    proptest! {
        #[test]
        fn a_shape_of_known_size_is_found(
            size in 20.0f64..150.0, taper in -0.05f64..0.05, barrel in -0.05f64..0.05,
            oval in 0.0f64..0.05, shift in -50.0f64..50.0, count in 3_u32..9
        ) {
            let place = |i: u32| 2.0 * f64::from(i) / f64::from(count - 1) - 1.0;
            let mean = |i: u32| {
                size + 0.5 * taper * place(i) + barrel * (1.0 - place(i).powi(2))
            };
            let readings: Vec<BoreReading> = (0..count)
                .flat_map(|i| [(0.0, 0.5), (90.0, -0.5)].map(|(a, s)| {
                    at(shift + 20.0 * f64::from(i), a, mean(i) + s * oval)
                }))
                .collect();
            let bore = bore_form(&readings, KNOWN).unwrap();
            prop_assert!((bore.taper.unwrap().value_mm - taper).abs() < 1e-11);
            prop_assert!((bore.barrel.unwrap().value_mm - barrel).abs() < 1e-11);
            prop_assert!((bore.ovality.unwrap().value_mm - oval).abs() < 1e-11);
            let mut turned = readings.clone();
            turned.reverse();
            prop_assert_eq!(bore, bore_form(&turned, KNOWN).unwrap());
        }

        #[test]
        fn any_readings_are_summed_up_or_refused(
            rows in prop::collection::vec((any::<f64>(), any::<f64>(), any::<f64>()), 0..6),
            few in prop::collection::vec((0_u8..4, 0_u8..4, 1_u8..9), 0..9)
        ) {
            let rows: Vec<BoreReading> = rows.into_iter().map(|(a, b, c)| at(a, b, c)).collect();
            let _ = bore_form(&rows, KNOWN);
            let few: Vec<BoreReading> = few
                .into_iter()
                .map(|(a, b, c)| at(f64::from(a), f64::from(b) * 40.0, f64::from(c)))
                .collect();
            let _ = bore_form(&few, KNOWN);
        }
    }
}
