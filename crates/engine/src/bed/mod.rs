//! The test bed: readings of one engine at each point of its schedule, reduced to torque, power,
//! mean effective pressure and fuel consumption, corrected to reference air, and held against the
//! acceptance band.
//!
//! Knows nothing of how the readings came in, who took them or what happens to the engine. Start
//! reading at [`point`], which reduces one point; [`correction`] holds the standards' factors.
//!
//! # Caution
//! A running engine on a bed can hurt: exhaust carries carbon monoxide and must be ducted away with
//! the room ventilated; surfaces are hot; fuel burns; the coupling must be guarded, the overspeed
//! trip proved and hearing protected. The makers' instructions for engine, brake and bed, local
//! codes and licensed practice go before anything computed here.

use bedplate_gauge::calculation::Calculation;

pub mod air;
pub mod correction;
pub mod curve;
pub mod friction;
pub mod fuel;
pub mod point;
pub mod site;
pub mod torque;

/// Every calculation of the bed, in the order in which an engine meets them.
pub static CALCULATIONS: &[&Calculation] = &[
    &torque::BRAKE_TORQUE,
    &torque::ENGINE_OUTPUT,
    &torque::TORQUE_FROM_POWER,
    &fuel::FUEL_RATE_BY_VOLUME,
    &fuel::FUEL_RATE_BY_MASS,
    &fuel::SPECIFIC_CONSUMPTION,
    &air::SATURATION_PRESSURE,
    &air::VAPOUR_PRESSURE,
    &air::VAPOUR_PRESSURE_WET_BULB,
    &air::VOLUMETRIC_EFFICIENCY,
    &correction::ISO_1585_SPARK,
    &correction::ISO_1585_COMPRESSION,
    &correction::J1349,
    &correction::DIN_70020,
    &site::ISO_3046,
    &point::BED_POINT,
    &curve::BED_CURVE,
    &friction::CUT_OUT,
    &friction::FUEL_LINE,
    &friction::MOTORED_FRICTION,
];
