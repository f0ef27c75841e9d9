//! `[gauge.NAME]`: what readings are taken with.

use bedplate_gauge::unit::Dimension;

use super::Gauge;
use super::part::title_of;
use super::table::Table;

const KEYS: [&str; 7] =
    ["title", "method", "resolution", "uncertainty", "masters", "proving_days", "caution"];

/// Uncertainty that the resolution alone leaves open: half a step either way, spread evenly, has a
/// standard deviation of step/√12 (JCGM 100:2008, F.2.2.1); twice that is expanded, k = 2.
const LEAST_STEPS: f64 = 0.577;

/// Reads `[gauge.NAME]`.
pub(super) fn gauge(name: &str, table: &Table<'_>) -> Option<Gauge> {
    table.knows(&KEYS);
    let title = table.text("title", "\"Air gauge, block bores\"");
    let method = table.need(table.text("method", "\"air gauge\""), "method", "\"air gauge\"");
    let resolution = table.any_quantity("resolution", "0.1 µm");
    let resolution = table.need(resolution, "resolution", "\"0.1 µm\"");
    let uncertainty = table.any_quantity("uncertainty", "1.6 µm");
    let uncertainty = table.need(uncertainty, "uncertainty", "\"1.6 µm\"");
    let masters = table.remarks("masters", "[\"ring 68.006\"]");
    let proving_days = table.whole("proving_days", 1..=3650, 90);
    let caution = table.remark("caution", "\"Shut off the air before changing the plug.\"");
    let (resolution, uncertainty) = (resolution?, uncertainty?);
    let dimension = resolution.unit().dimension;
    if resolution.mantissa() <= 0 {
        let what = format!("resolution = \"{resolution}\" is no step that a gauge can show");
        table.fault_at("resolution", what, "write one above zero, such as \"0.1 µm\"");
    }
    if !comparable(dimension, uncertainty.unit().dimension)
        || (dimension == Dimension::Hardness && resolution.unit() != uncertainty.unit())
    {
        let what = format!(
            "uncertainty = \"{uncertainty}\" is not of the kind of resolution = \"{resolution}\""
        );
        table.fault_at("uncertainty", what, "write both in units of the same kind");
        return None;
    }
    let least = LEAST_STEPS * resolution.number() * resolution.unit().factor();
    // Counting and good-or-not-good have no step to be uncertain by.
    let counted = dimension == Dimension::Number;
    if uncertainty.mantissa() < 0 {
        let what = format!("uncertainty = \"{uncertainty}\" is negative");
        table.fault_at("uncertainty", what, "write zero or more");
    } else if !counted && uncertainty.number() * uncertainty.unit().factor() < least {
        table.fault_at(
            "uncertainty",
            format!(
                "uncertainty = \"{uncertainty}\" is less than the resolution alone leaves open"
            ),
            format!("write at least {LEAST_STEPS} of the resolution {resolution}"),
        );
    }
    Some(Gauge {
        name: name.to_owned(),
        title: title.map_or_else(|| title_of(name), str::to_owned),
        method: method?.to_owned(),
        resolution,
        uncertainty,
        masters,
        proving_days: proving_days.unwrap_or(365),
        caution,
    })
}

/// Whether a difference in the one can be compared with a difference in the other.
pub(super) fn comparable(a: Dimension, b: Dimension) -> bool {
    difference(a) == difference(b)
}

/// What a difference of two such quantities is.
pub(super) const fn difference(dimension: Dimension) -> Dimension {
    match dimension {
        Dimension::Temperature => Dimension::TemperatureDifference,
        other => other,
    }
}
