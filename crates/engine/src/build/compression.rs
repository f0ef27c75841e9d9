//! Compression ratio of one cylinder from its measured parts, and how much each part moves it.

use std::f64::consts::{FRAC_PI_2, FRAC_PI_4};

use bedplate_gauge::calculation::{
    Answer, Calculation, Column, Given, Input, Output, Refused, Stage,
};

/// Where the piston stands at top dead centre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Deck {
    /// As measured on the assembled block.
    Measured {
        /// Crown below the deck, mm; negative where it stands proud.
        clearance_mm: f64,
    },
    /// From the parts, before they are assembled.
    FromParts {
        /// Crankshaft centre to deck, mm.
        block_height_mm: f64,
        /// Rod, centre to centre, mm.
        rod_length_mm: f64,
        /// Pin centre to crown, mm.
        compression_height_mm: f64,
    },
}

/// The measured parts of one cylinder.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CylinderParts {
    /// Bore, mm.
    pub bore_mm: f64,
    /// Stroke, mm.
    pub stroke_mm: f64,
    /// Deck clearance, measured or from the parts.
    pub deck: Deck,
    /// Volume of the chamber in the head, cm³.
    pub chamber_cm3: f64,
    /// Bore of the gasket, mm.
    pub gasket_bore_mm: f64,
    /// Thickness of the gasket when pressed, mm.
    pub gasket_mm: f64,
    /// Volume of the crown, cm³: a dish or valve pockets positive, a dome negative.
    pub crown_cm3: f64,
    /// Volume above the top ring beside the piston, cm³; 0 where the drawing leaves it out.
    pub crevice_cm3: f64,
}

/// A measured quantity of the cylinder.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// Bore.
    Bore,
    /// Stroke.
    Stroke,
    /// Deck clearance as measured.
    DeckClearance,
    /// Crankshaft centre to deck.
    BlockHeight,
    /// Rod length.
    RodLength,
    /// Compression height of the piston.
    CompressionHeight,
    /// Chamber volume.
    Chamber,
    /// Gasket bore.
    GasketBore,
    /// Gasket thickness.
    Gasket,
    /// Crown volume.
    Crown,
    /// Crevice volume.
    Crevice,
}

impl Part {
    /// The quantity in the trade's words.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Bore => "bore",
            Self::Stroke => "stroke",
            Self::DeckClearance => "deck clearance",
            Self::BlockHeight => "block height",
            Self::RodLength => "rod length",
            Self::CompressionHeight => "compression height",
            Self::Chamber => "chamber volume",
            Self::GasketBore => "gasket bore",
            Self::Gasket => "gasket thickness",
            Self::Crown => "crown volume",
            Self::Crevice => "crevice volume",
        }
    }

    const fn input(self) -> &'static str {
        match self {
            Self::Bore => "bore",
            Self::Stroke => "stroke",
            Self::DeckClearance | Self::BlockHeight | Self::RodLength => "deck_clearance",
            Self::CompressionHeight => "deck_clearance",
            Self::Chamber => "chamber",
            Self::GasketBore => "gasket_bore",
            Self::Gasket => "gasket",
            Self::Crown => "crown",
            Self::Crevice => "crevice",
        }
    }
}

/// How much one quantity moves the ratio.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sensitivity {
    /// The quantity.
    pub part: Part,
    /// Change of the ratio for one millimetre or one cubic centimetre more.
    pub per_unit: f64,
}

/// Compression ratio with what led to it.
#[derive(Debug, Clone, PartialEq)]
pub struct Compression {
    /// Swept volume, cm³.
    pub swept_cm3: f64,
    /// Volume above the piston at top dead centre, cm³.
    pub clearance_cm3: f64,
    /// Deck clearance used, mm.
    pub deck_clearance_mm: f64,
    /// Compression ratio.
    pub ratio: f64,
    /// How much each quantity moves the ratio.
    pub sensitivities: Vec<Sensitivity>,
}

/// Why there is no compression ratio.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum CompressionError {
    /// A size that cannot be.
    #[error("the {} of {value} cannot be; it must be {wanted}", .part.word())]
    Size {
        /// Which quantity.
        part: Part,
        /// What was given.
        value: f64,
        /// What would have been right.
        wanted: &'static str,
    },
    /// The crown would strike the head.
    #[error(
        "the crown stands {} mm proud under a gasket of {gasket_mm} mm: it would strike the head",
        -.deck_clearance_mm
    )]
    Strikes {
        /// Deck clearance, mm.
        deck_clearance_mm: f64,
        /// Gasket thickness, mm.
        gasket_mm: f64,
    },
    /// Nothing is left above the piston.
    #[error("a volume of {clearance_cm3} cm³ above the piston cannot be; it must be above 0")]
    NoVolume {
        /// Volume above the piston, cm³.
        clearance_cm3: f64,
    },
}

impl From<CompressionError> for Refused {
    fn from(error: CompressionError) -> Self {
        let input = match error {
            CompressionError::Size { part, .. } => part.input(),
            CompressionError::Strikes { .. } => "deck_clearance",
            CompressionError::NoVolume { .. } => "chamber",
        };
        Self::because(input, error.to_string())
    }
}

/// Swept volume of one cylinder.
///
/// # Formula
/// `V_s = π/4 D² S`.
/// # Given
/// Bore and stroke in mm, above zero.
/// # Returns
/// Volume in cm³.
/// # Validity
/// Crank in line with the bore.
/// # Source
/// Geometry.
/// # Example
/// ```
/// use bedplate_engine::build::compression::{BoreAndStroke, swept_volume_cm3};
/// // QB4, an invented engine: 68 mm × 76 mm; π/4 · 6.8² · 7.6.
/// let volume = swept_volume_cm3(BoreAndStroke { bore_mm: 68.0, stroke_mm: 76.0 });
/// assert_eq!(format!("{volume:.2}"), "276.01");
/// ```
#[must_use]
pub fn swept_volume_cm3(cylinder: BoreAndStroke) -> f64 {
    FRAC_PI_4 * cylinder.bore_mm * cylinder.bore_mm * cylinder.stroke_mm / 1e3
}

/// Bore and stroke of a cylinder.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BoreAndStroke {
    /// Bore, mm.
    pub bore_mm: f64,
    /// Stroke, mm.
    pub stroke_mm: f64,
}

/// Deck clearance: how far the crown stands below the deck at top dead centre.
///
/// # Formula
/// `d = H − (S/2 + L + h)`, block height, half the stroke, rod length, compression height.
/// # Given
/// The cylinder's parts in mm.
/// # Returns
/// Deck clearance in mm, negative where the crown stands proud.
/// # Validity
/// Crank in line with the bore; the play of pin and bearings is left out, so the crown can stand
/// nearer to the head by about half of it.
/// # Source
/// Geometry.
#[must_use]
pub fn deck_clearance_mm(parts: &CylinderParts) -> f64 {
    match parts.deck {
        Deck::Measured { clearance_mm } => clearance_mm,
        Deck::FromParts { block_height_mm, rod_length_mm, compression_height_mm } => {
            block_height_mm - (parts.stroke_mm / 2.0 + rod_length_mm + compression_height_mm)
        }
    }
}

/// Compression ratio of one cylinder and how much each part moves it.
///
/// # Formula
/// `V_c = V_chamber + π/4 D² d + π/4 D_g² s + V_crown + V_crevice`, `ε = 1 + V_s/V_c`;
/// `dε/dx = (dV_s/dx)/V_c − V_s (dV_c/dx)/V_c²`.
/// # Given
/// The cylinder's measured parts; see [`CylinderParts`] for units and signs.
/// # Returns
/// Swept and clearance volume in cm³, the ratio, and its sensitivities for each mm or cm³.
/// # Errors
/// [`CompressionError::Size`], [`CompressionError::Strikes`], [`CompressionError::NoVolume`].
/// # Validity
/// Cold parts at 20 °C; the geometric ratio, whatever the valves do.
/// # Source
/// Geometry.
/// # Example
/// ```
/// use bedplate_engine::build::compression::{CylinderParts, Deck, compression};
/// let cylinder = CylinderParts {
///     bore_mm: 86.0,
///     stroke_mm: 86.0,
///     deck: Deck::Measured { clearance_mm: 0.3 },
///     chamber_cm3: 42.5,
///     gasket_bore_mm: 87.5,
///     gasket_mm: 1.2,
///     crown_cm3: 4.0,
///     crevice_cm3: 0.0,
/// };
/// // Arithmetic from the geometry.
/// assert_eq!(format!("{:.9}", compression(&cylinder)?.ratio), "10.007768524");
/// # Ok::<(), bedplate_engine::build::compression::CompressionError>(())
/// ```
pub fn compression(parts: &CylinderParts) -> Result<Compression, CompressionError> {
    check(parts)?;
    let deck_mm = deck_clearance_mm(parts);
    let gasket_mm = parts.gasket_mm;
    if deck_mm + gasket_mm <= 0.0 {
        return Err(CompressionError::Strikes { deck_clearance_mm: deck_mm, gasket_mm });
    }
    let CylinderParts { bore_mm, stroke_mm, gasket_bore_mm, .. } = *parts;
    let piston_cm2 = FRAC_PI_4 * bore_mm * bore_mm / 100.0;
    let gasket_cm2 = FRAC_PI_4 * gasket_bore_mm * gasket_bore_mm / 100.0;
    let swept_cm3 = swept_volume_cm3(BoreAndStroke { bore_mm, stroke_mm });
    let clearance_cm3 = parts.chamber_cm3
        + piston_cm2 * deck_mm / 10.0
        + gasket_cm2 * gasket_mm / 10.0
        + parts.crown_cm3
        + parts.crevice_cm3;
    if !(0.0 < clearance_cm3 && clearance_cm3.is_finite()) {
        return Err(CompressionError::NoVolume { clearance_cm3 });
    }
    // (part, change of swept volume, change of clearance volume), cm³ for each unit of the part.
    let deck_cm3 = piston_cm2 / 10.0;
    let mut changes = vec![
        (Part::Bore, 2.0 * swept_cm3 / bore_mm, FRAC_PI_2 * bore_mm * deck_mm / 1e3),
        (Part::Stroke, swept_cm3 / stroke_mm, 0.0),
        (Part::Chamber, 0.0, 1.0),
        (Part::GasketBore, 0.0, FRAC_PI_2 * gasket_bore_mm * gasket_mm / 1e3),
        (Part::Gasket, 0.0, gasket_cm2 / 10.0),
        (Part::Crown, 0.0, 1.0),
        (Part::Crevice, 0.0, 1.0),
    ];
    match parts.deck {
        Deck::Measured { .. } => changes.push((Part::DeckClearance, 0.0, deck_cm3)),
        Deck::FromParts { .. } => {
            changes[1].2 = -deck_cm3 / 2.0;
            changes.push((Part::BlockHeight, 0.0, deck_cm3));
            changes.push((Part::RodLength, 0.0, -deck_cm3));
            changes.push((Part::CompressionHeight, 0.0, -deck_cm3));
        }
    }
    let per_unit = |swept: f64, clearance: f64| {
        swept / clearance_cm3 - swept_cm3 * clearance / (clearance_cm3 * clearance_cm3)
    };
    let sensitivities = changes
        .iter()
        .map(|&(part, s, c)| Sensitivity { part, per_unit: per_unit(s, c) })
        .collect();
    Ok(Compression {
        swept_cm3,
        clearance_cm3,
        deck_clearance_mm: deck_mm,
        ratio: 1.0 + swept_cm3 / clearance_cm3,
        sensitivities,
    })
}

fn check(parts: &CylinderParts) -> Result<(), CompressionError> {
    let above_zero = [
        (Part::Bore, parts.bore_mm),
        (Part::Stroke, parts.stroke_mm),
        (Part::GasketBore, parts.gasket_bore_mm),
    ];
    let zero_or_more = [
        (Part::Chamber, parts.chamber_cm3),
        (Part::Gasket, parts.gasket_mm),
        (Part::Crevice, parts.crevice_cm3),
    ];
    let mut any = vec![(Part::Crown, parts.crown_cm3)];
    match parts.deck {
        Deck::Measured { clearance_mm } => any.push((Part::DeckClearance, clearance_mm)),
        Deck::FromParts { block_height_mm, rod_length_mm, compression_height_mm } => any.extend([
            (Part::BlockHeight, block_height_mm),
            (Part::RodLength, rod_length_mm),
            (Part::CompressionHeight, compression_height_mm),
        ]),
    }
    for (part, value) in above_zero {
        if !(0.0 < value && value.is_finite()) {
            return Err(CompressionError::Size { part, value, wanted: "a number above 0" });
        }
    }
    for (part, value) in zero_or_more {
        if !(0.0 <= value && value.is_finite()) {
            return Err(CompressionError::Size { part, value, wanted: "0 or more" });
        }
    }
    match any.into_iter().find(|(_, value)| !value.is_finite()) {
        Some((part, value)) => {
            Err(CompressionError::Size { part, value, wanted: "a finite number" })
        }
        None => Ok(()),
    }
}

/// What one part leaves open in the ratio.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RatioContribution {
    /// The quantity.
    pub part: Part,
    /// Its standard uncertainty in the ratio.
    pub in_ratio: f64,
    /// Its share of the variance, 0 to 1.
    pub share: f64,
}

/// Standard uncertainty of the compression ratio from those of its parts.
///
/// # Formula
/// `u² = Σ (dε/dx_i · u_i)²`.
/// # Given
/// The compression computed, and standard uncertainties (or standard deviations of the parts) in
/// mm or cm³; parts not named count as exact.
/// # Returns
/// Standard uncertainty of the ratio and each part's share of its square, largest first.
/// # Validity
/// Uncorrelated, small against the parts.
/// # Source
/// JCGM 100:2008, 5.1.2.
#[must_use]
pub fn ratio_uncertainty(
    compression: &Compression,
    uncertainties: &[(Part, f64)],
) -> (f64, Vec<RatioContribution>) {
    let mut contributions: Vec<RatioContribution> = uncertainties
        .iter()
        .filter_map(|&(part, u)| {
            let found = compression.sensitivities.iter().find(|s| s.part == part)?;
            let in_ratio = (found.per_unit * u).abs();
            Some(RatioContribution { part, in_ratio, share: 0.0 })
        })
        .collect();
    let variance: f64 = contributions.iter().map(|c| c.in_ratio * c.in_ratio).sum();
    if variance > 0.0 {
        for c in &mut contributions {
            c.share = c.in_ratio * c.in_ratio / variance;
        }
    }
    contributions.sort_by(|a, b| b.share.total_cmp(&a.share));
    (variance.sqrt(), contributions)
}

const GASKET_BORE: Input = Input::quantity("gasket_bore", "mm", "bore of the gasket").over(0.0);
const GASKET: Input =
    Input::quantity("gasket", "mm", "thickness of the gasket when pressed").at_least(0.0);
const CREVICE: Input =
    Input::quantity("crevice", "cm³", "volume beside the piston above the top ring")
        .at_least(0.0)
        .or("0 cm³");

const MOVED: &[Column] = &[
    Column { name: "bore", unit: "", meaning: "change of the ratio for 1 mm more bore" },
    Column { name: "stroke", unit: "", meaning: "for 1 mm more stroke" },
    Column { name: "deck_clearance", unit: "", meaning: "for 1 mm more deck clearance" },
    Column { name: "chamber", unit: "", meaning: "for 1 cm³ more chamber" },
    Column { name: "gasket", unit: "", meaning: "for 1 mm more gasket" },
    Column { name: "gasket_bore", unit: "", meaning: "for 1 mm more gasket bore" },
    Column { name: "crown", unit: "", meaning: "for 1 cm³ more crown volume" },
];
const MOVED_PARTS: [Part; 7] = [
    Part::Bore,
    Part::Stroke,
    Part::DeckClearance,
    Part::Chamber,
    Part::Gasket,
    Part::GasketBore,
    Part::Crown,
];

fn cylinder_of(given: &Given) -> CylinderParts {
    CylinderParts {
        bore_mm: given.number("bore"),
        stroke_mm: given.number("stroke"),
        deck: Deck::Measured { clearance_mm: given.number("deck_clearance") },
        chamber_cm3: given.number("chamber"),
        gasket_bore_mm: given.number("gasket_bore"),
        gasket_mm: given.number("gasket"),
        crown_cm3: given.number("crown"),
        crevice_cm3: given.number("crevice"),
    }
}

/// Declaration of [`compression`] and [`ratio_uncertainty`] for one cylinder.
pub const COMPRESSION_RATIO: Calculation = Calculation {
    name: "compression-ratio",
    title: "Compression ratio of one cylinder",
    stage: Stage::Build,
    question: "What compression has this cylinder, and which part moves it most?",
    inputs: &[
        Input::quantity("bore", "mm", "bore").over(0.0),
        Input::quantity("stroke", "mm", "stroke").over(0.0),
        Input::quantity("deck_clearance", "mm", "crown below the deck; negative if proud"),
        Input::quantity("chamber", "cm³", "chamber in the head").at_least(0.0),
        GASKET_BORE,
        GASKET,
        Input::quantity("crown", "cm³", "dish or pockets positive, dome negative").or("0 cm³"),
        CREVICE,
        Input::quantity("u_bore", "mm", "standard uncertainty of the bore")
            .at_least(0.0)
            .or("0 mm"),
        Input::quantity("u_stroke", "mm", "of the stroke").at_least(0.0).or("0 mm"),
        Input::quantity("u_deck", "mm", "of the deck clearance").at_least(0.0).or("0 mm"),
        Input::quantity("u_chamber", "cm³", "of the chamber").at_least(0.0).or("0 cm³"),
        Input::quantity("u_gasket", "mm", "of the gasket's thickness").at_least(0.0).or("0 mm"),
        Input::quantity("u_crown", "cm³", "of the crown's volume").at_least(0.0).or("0 cm³"),
    ],
    outputs: &[
        Output::figure("swept", "cm³", "swept volume"),
        Output::figure("clearance", "cm³", "volume above the piston at top dead centre"),
        Output::figure("ratio", "", "compression ratio"),
        Output::figure("u_ratio", "", "standard uncertainty of the ratio"),
        Output::figure("moved_most_by", "", "the part that leaves most open, if any"),
        Output::figure("sensitivities", "", "change of the ratio for 1 mm or 1 cm³ of each part"),
    ],
    formula: "V_c = V_chamber + π/4 D² d + π/4 D_g² s + V_crown + V_crevice; ε = 1 + V_s/V_c; \
              u² = Σ (∂ε/∂x · u_x)²",
    source: "geometry; JCGM 100:2008, 5.1.2",
    validity: "Cold parts at 20 °C, crank in line with the bore, uncorrelated uncertainties.",
    example: &[
        ("bore", "86 mm"),
        ("stroke", "86 mm"),
        ("deck_clearance", "0.3 mm"),
        ("chamber", "42.5 cm³"),
        ("gasket_bore", "87.5 mm"),
        ("gasket", "1.2 mm"),
        ("crown", "4 cm³"),
        ("u_deck", "0.05 mm"),
        ("u_chamber", "0.3 cm³"),
        ("u_gasket", "0.02 mm"),
    ],
    expected: &[
        ("swept", "499.5572142"),
        ("clearance", "55.45848707"),
        ("ratio", "10.00776852"),
        ("u_ratio", "0.070578"),
        ("moved_most_by", "chamber volume"),
    ],
    run: |given| {
        let found = compression(&cylinder_of(given))?;
        let uncertainties = [
            (Part::Bore, given.number("u_bore")),
            (Part::Stroke, given.number("u_stroke")),
            (Part::DeckClearance, given.number("u_deck")),
            (Part::Chamber, given.number("u_chamber")),
            (Part::Gasket, given.number("u_gasket")),
            (Part::Crown, given.number("u_crown")),
        ];
        let (u_ratio, shares) = ratio_uncertainty(&found, &uncertainties);
        let most = shares.first().filter(|c| c.share > 0.0).map_or("none", |c| c.part.word());
        let moved =
            |part| found.sensitivities.iter().find(|s| s.part == part).map_or(0.0, |s| s.per_unit);
        Ok(Answer::new()
            .figure("swept", found.swept_cm3)
            .figure("clearance", found.clearance_cm3)
            .figure("ratio", found.ratio)
            .figure("u_ratio", u_ratio)
            .word("moved_most_by", most)
            .table("sensitivities", MOVED, vec![MOVED_PARTS.map(moved).to_vec()]))
    },
};

const CYLINDERS: &[Column] = &[
    Column { name: "bore", unit: "mm", meaning: "bore" },
    Column { name: "stroke", unit: "mm", meaning: "stroke" },
    Column { name: "block_height", unit: "mm", meaning: "crankshaft centre to deck" },
    Column { name: "rod_length", unit: "mm", meaning: "rod, centre to centre" },
    Column { name: "compression_height", unit: "mm", meaning: "pin centre to crown" },
    Column { name: "chamber", unit: "cm³", meaning: "chamber in the head" },
    Column { name: "crown", unit: "cm³", meaning: "dish positive, dome negative" },
];

const RATIOS: &[Column] = &[
    Column { name: "cylinder", unit: "", meaning: "cylinder, in the order given" },
    Column { name: "deck_clearance", unit: "mm", meaning: "crown below the deck" },
    Column { name: "swept", unit: "cm³", meaning: "swept volume" },
    Column { name: "clearance", unit: "cm³", meaning: "volume above the piston" },
    Column { name: "ratio", unit: "", meaning: "compression ratio" },
];

/// Declaration of [`compression`] for every cylinder of an engine.
pub const COMPRESSION_RATIOS: Calculation = Calculation {
    name: "compression-ratios",
    title: "Compression ratio of every cylinder",
    stage: Stage::Build,
    question: "Do the cylinders of this engine have the same compression?",
    inputs: &[
        Input::table("cylinders", CYLINDERS, "the measured parts of each cylinder"),
        GASKET_BORE,
        GASKET,
        CREVICE,
    ],
    outputs: &[
        Output::figure("ratios", "", "each cylinder"),
        Output::figure("lowest", "", "lowest ratio"),
        Output::figure("highest", "", "highest ratio"),
        Output::figure("displacement", "l", "swept volume of all cylinders"),
    ],
    formula: "d = H − (S/2 + L + h); ε = 1 + V_s/V_c",
    source: "geometry; example arithmetic from it",
    validity: "Cold parts at 20 °C, crank in line with the bore.",
    example: &[
        (
            "cylinders",
            "86 mm, 86 mm, 212.8 mm, 137 mm, 32.5 mm, 42.5 cm³, 4 cm³; \
             86 mm, 86 mm, 212.7 mm, 137 mm, 32.5 mm, 42.5 cm³, 4 cm³",
        ),
        ("gasket_bore", "87.5 mm"),
        ("gasket", "1.2 mm"),
    ],
    expected: &[("lowest", "10.0078"), ("displacement", "0.99911443")],
    run: |given| {
        let mut rows = Vec::new();
        let (mut lowest, mut highest, mut total) = (f64::INFINITY, 0.0_f64, 0.0);
        for row in given.table("cylinders") {
            let found = compression(&CylinderParts {
                bore_mm: row[0],
                stroke_mm: row[1],
                deck: Deck::FromParts {
                    block_height_mm: row[2],
                    rod_length_mm: row[3],
                    compression_height_mm: row[4],
                },
                chamber_cm3: row[5],
                gasket_bore_mm: given.number("gasket_bore"),
                gasket_mm: given.number("gasket"),
                crown_cm3: row[6],
                crevice_cm3: given.number("crevice"),
            })
            .map_err(|error| {
                let cylinder = rows.len() + 1;
                Refused::because("cylinders", format!("cylinder {cylinder}: {error}"))
            })?;
            (lowest, highest) = (lowest.min(found.ratio), highest.max(found.ratio));
            total += found.swept_cm3 / 1e3;
            #[expect(clippy::cast_precision_loss, reason = "a count of cylinders")]
            let cylinder = (rows.len() + 1) as f64;
            let Compression { deck_clearance_mm, swept_cm3, clearance_cm3, ratio, .. } = found;
            rows.push(vec![cylinder, deck_clearance_mm, swept_cm3, clearance_cm3, ratio]);
        }
        if rows.is_empty() {
            return Err(Refused::because("cylinders", "at least one cylinder is needed"));
        }
        Ok(Answer::new()
            .table("ratios", RATIOS, rows)
            .figure("lowest", lowest)
            .figure("highest", highest)
            .figure("displacement", total))
    },
};

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const CYLINDER: CylinderParts = CylinderParts {
        bore_mm: 68.0,
        stroke_mm: 76.0,
        deck: Deck::FromParts {
            block_height_mm: 190.0,
            rod_length_mm: 120.0,
            compression_height_mm: 31.8,
        },
        chamber_cm3: 28.0,
        gasket_bore_mm: 69.0,
        gasket_mm: 1.1,
        crown_cm3: 0.0,
        crevice_cm3: 0.4,
    };

    #[test]
    fn parts_that_cannot_be_are_refused() {
        let proud = CylinderParts { deck: Deck::Measured { clearance_mm: -1.1 }, ..CYLINDER };
        assert!(matches!(compression(&proud), Err(CompressionError::Strikes { .. })));
        let filled = CylinderParts { crown_cm3: -60.0, ..CYLINDER };
        assert!(matches!(compression(&filled), Err(CompressionError::NoVolume { .. })));
        for bad in [f64::NAN, f64::INFINITY, -1.0, 0.0] {
            let no_bore = CylinderParts { bore_mm: bad, ..CYLINDER };
            assert!(matches!(compression(&no_bore), Err(CompressionError::Size { .. })));
        }
        let nan = CylinderParts { deck: Deck::Measured { clearance_mm: f64::NAN }, ..CYLINDER };
        assert!(matches!(compression(&nan), Err(CompressionError::Size { .. })));
    }

    fn with(part: Part, by: f64) -> CylinderParts {
        let mut there = CYLINDER;
        let Deck::FromParts { block_height_mm, rod_length_mm, compression_height_mm } =
            &mut there.deck
        else {
            return there;
        };
        *match part {
            Part::Bore => &mut there.bore_mm,
            Part::Stroke => &mut there.stroke_mm,
            Part::BlockHeight => block_height_mm,
            Part::RodLength => rod_length_mm,
            Part::CompressionHeight => compression_height_mm,
            Part::Chamber => &mut there.chamber_cm3,
            Part::GasketBore => &mut there.gasket_bore_mm,
            Part::Gasket => &mut there.gasket_mm,
            Part::Crown => &mut there.crown_cm3,
            Part::Crevice | Part::DeckClearance => &mut there.crevice_cm3,
        } += by;
        there
    }

    #[test]
    fn every_sensitivity_agrees_with_a_small_change() {
        for s in compression(&CYLINDER).unwrap().sensitivities {
            let step = 1e-4;
            let up = compression(&with(s.part, step)).unwrap().ratio;
            let down = compression(&with(s.part, -step)).unwrap().ratio;
            let by_difference = (up - down) / (2.0 * step);
            assert!((s.per_unit - by_difference).abs() < 1e-6, "{:?}", s.part);
        }
    }

    proptest! {
        #[test]
        fn the_ratio_does_not_know_the_unit(scale in 0.5..2.0f64) {
            let Deck::FromParts { block_height_mm, rod_length_mm, compression_height_mm } =
                CYLINDER.deck else { unreachable!("declared above") };
            let volume = scale.powi(3);
            let scaled = CylinderParts {
                bore_mm: CYLINDER.bore_mm * scale,
                stroke_mm: CYLINDER.stroke_mm * scale,
                deck: Deck::FromParts {
                    block_height_mm: block_height_mm * scale,
                    rod_length_mm: rod_length_mm * scale,
                    compression_height_mm: compression_height_mm * scale,
                },
                chamber_cm3: CYLINDER.chamber_cm3 * volume,
                gasket_bore_mm: CYLINDER.gasket_bore_mm * scale,
                gasket_mm: CYLINDER.gasket_mm * scale,
                crown_cm3: CYLINDER.crown_cm3 * volume,
                crevice_cm3: CYLINDER.crevice_cm3 * volume,
            };
            let ratio = compression(&CYLINDER).unwrap().ratio;
            prop_assert!((compression(&scaled).unwrap().ratio / ratio - 1.0).abs() < 1e-9);
        }
    }
}
