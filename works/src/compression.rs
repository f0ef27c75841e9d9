//! The compression ratio of each cylinder from the parts that are in it.

use std::collections::BTreeMap;

use bedplate_engine::build::compression::{
    CylinderParts, Deck, Part, compression, ratio_uncertainty,
};
use bedplate_gauge::judge::judge as judge_value;
use bedplate_gauge::limits::Limits;
use bedplate_record::entry::PlaceFilled;
use bedplate_record::reading::KeptReading;
use serde::Serialize;

use crate::judge::newest;
use crate::plan::{Plan, Source};
use crate::wire::{Figure, Word};

/// One cylinder's ratio.
#[derive(Debug, Clone, Serialize)]
pub struct CylinderRatio {
    /// Cylinder.
    pub cylinder: String,
    /// The ratio, if every part is measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ratio: Option<Figure>,
    /// Its expanded uncertainty.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub uncertainty: Option<Figure>,
    /// Judgement against the engine's limits.
    pub word: Word,
    /// What is missing, or why there is no ratio.
    pub missing: Vec<String>,
}

/// One figure of a cylinder, with the reading it came from and its standard uncertainty.
struct Sized {
    si: f64,
    number: Option<u64>,
    standard_uncertainty_si: f64,
}

struct Sources<'a> {
    plan: &'a Plan,
    places: &'a [PlaceFilled],
    readings: &'a BTreeMap<String, Vec<KeptReading>>,
    cylinder: &'a str,
    numbers: Vec<u64>,
    missing: Vec<String>,
}

impl Sources<'_> {
    fn take(&mut self, source: &Source) -> Option<Sized> {
        let id = match source {
            Source::Fixed(q) => {
                return Some(Sized { si: q.si(), number: None, standard_uncertainty_si: 0.0 });
            }
            Source::Measured(id) => id,
        };
        let found = self.measured(id);
        match &found {
            Some(sized) => self.numbers.extend(sized.number),
            None => self.missing.push(format!("{id} of cylinder {}", self.cylinder)),
        }
        found
    }

    /// The reading of a characteristic for this cylinder: on the cylinder's own piece, or at the
    /// cylinder's position of the one piece, or on the one piece as a whole.
    fn measured(&self, id: &str) -> Option<Sized> {
        let c = self.plan.characteristics.get(id)?;
        let of_part = |position: &str| {
            self.places.iter().find(|p| p.part == c.part && p.position == position)
        };
        let (piece, position) = match of_part(self.cylinder) {
            Some(own) => (&own.piece, ""),
            None => {
                let one = &of_part("")?.piece;
                let by_cylinder = c.positions.iter().any(|p| p == self.cylinder);
                (one, if by_cylinder { self.cylinder } else { "" })
            }
        };
        let readings = self.readings.get(piece)?;
        let kept = newest(readings, id, position).or_else(|| {
            // A characteristic read at other positions than cylinders: the newest of them stands
            // for the piece.
            readings.iter().rfind(|r| *r.reading.characteristic == *c.id)
        })?;
        Some(Sized {
            si: kept.reading.value.si(),
            number: Some(kept.number),
            standard_uncertainty_si: self.plan.standard_uncertainty(c) * c.unit.factor(),
        })
    }
}

/// The ratio of each cylinder; empty if the plan does not ask for it.
#[must_use]
pub fn ratios(
    plan: &Plan,
    engine_type: &str,
    places: &[PlaceFilled],
    readings: &BTreeMap<String, Vec<KeptReading>>,
) -> Vec<CylinderRatio> {
    let Some(engine) = plan.engines.get(engine_type) else { return vec![] };
    let Some(wanted) = &engine.compression else { return vec![] };
    (1..=engine.cylinders)
        .map(|n| {
            let cylinder = n.to_string();
            let sources = Sources {
                plan,
                places,
                readings,
                cylinder: &cylinder,
                numbers: vec![],
                missing: vec![],
            };
            one_ratio(wanted, sources)
        })
        .collect()
}

fn unmeasured(cylinder: String, missing: Vec<String>) -> CylinderRatio {
    CylinderRatio { cylinder, ratio: None, uncertainty: None, word: Word::NotJudged, missing }
}

fn one_ratio(wanted: &crate::plan::Compression, mut sources: Sources<'_>) -> CylinderRatio {
    let bore = sources.take(&Source::Measured(wanted.bore.clone()));
    let stroke = sources.take(&wanted.stroke);
    let rod = sources.take(&wanted.rod_length);
    let deck = sources.take(&wanted.deck_height);
    let height = sources.take(&wanted.compression_height);
    let chamber = sources.take(&wanted.chamber_volume);
    let crown = sources.take(&wanted.crown_volume);
    let cylinder = sources.cylinder.to_owned();
    let (Some(bore), Some(stroke), Some(rod), Some(deck)) = (bore, stroke, rod, deck) else {
        return unmeasured(cylinder, sources.missing);
    };
    let (Some(height), Some(chamber), Some(crown)) = (height, chamber, crown) else {
        return unmeasured(cylinder, sources.missing);
    };
    let parts = CylinderParts {
        bore_mm: bore.si * 1e3,
        stroke_mm: stroke.si * 1e3,
        deck: Deck::FromParts {
            block_height_mm: deck.si * 1e3,
            rod_length_mm: rod.si * 1e3,
            compression_height_mm: height.si * 1e3,
        },
        chamber_cm3: chamber.si * 1e6,
        gasket_bore_mm: wanted.gasket_bore.to("mm"),
        gasket_mm: wanted.gasket_thickness.to("mm"),
        crown_cm3: crown.si * 1e6,
        crevice_cm3: 0.0,
    };
    let result = match compression(&parts) {
        Ok(result) => result,
        Err(e) => {
            let missing = vec![e.to_string()];
            return CylinderRatio {
                cylinder,
                ratio: None,
                uncertainty: None,
                word: Word::Reject,
                missing,
            };
        }
    };
    let mm = |s: &Sized| s.standard_uncertainty_si * 1e3;
    let uncertainties = [
        (Part::Bore, mm(&bore)),
        (Part::Stroke, mm(&stroke)),
        (Part::BlockHeight, mm(&deck)),
        (Part::RodLength, mm(&rod)),
        (Part::CompressionHeight, mm(&height)),
        (Part::Chamber, chamber.standard_uncertainty_si * 1e6),
        (Part::Crown, crown.standard_uncertainty_si * 1e6),
    ];
    let (u, _) = ratio_uncertainty(&result, &uncertainties);
    let word = Limits::new(Some(wanted.lower), Some(wanted.upper)).map_or(Word::NotJudged, |l| {
        judge_value(result.ratio, &l, u, sources.plan.works.decision).judgement.into()
    });
    let inputs = [
        ("bore", format!("{} mm", parts.bore_mm)),
        ("stroke", format!("{} mm", parts.stroke_mm)),
        ("deck_clearance", format!("{:.4} mm", result.deck_clearance_mm)),
        ("chamber", format!("{} cm³", parts.chamber_cm3)),
        ("gasket_bore", wanted.gasket_bore.to_string()),
        ("gasket", wanted.gasket_thickness.to_string()),
        ("crown", format!("{} cm³", parts.crown_cm3)),
    ];
    CylinderRatio {
        cylinder,
        ratio: Some(
            Figure::new(result.ratio, "", 2)
                .from_readings(sources.numbers)
                .by("compression-ratio", inputs),
        ),
        uncertainty: Some(Figure::new(2.0 * u, "", 2)),
        word,
        missing: vec![],
    }
}
