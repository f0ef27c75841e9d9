//! What an engine really gives, from the true sizes of its own parts.
//!
//! Simple physics of the trade, with round figures: torque goes with displacement and with the
//! ideal efficiency of its compression ratio; a lost valve lift starves it, most at speed; wide
//! ring gaps and clearances let gas by; tight bearings and pistons rub.

use std::f64::consts::PI;

use crate::stream::Stream;
use crate::truth::EngineTruth;

/// Speeds of the schedule, rev/min.
pub(crate) const SPEEDS_RPM: [f64; 3] = [2400.0, 3000.0, 3600.0];
/// Torque of a middling engine in reference air, N·m: what the works file expects.
pub(crate) const EXPECTED_NM: [f64; 3] = [66.5, 63.5, 58.4];

/// Bearings and pistons of a middling engine rub this much, N·m.
const FRICTION_NM: [f64; 3] = [11.0, 12.5, 14.5];
/// Share of torque lost for each share of valve lift lost.
const LIFT_WEIGHT: [f64; 3] = [0.45, 0.75, 1.1];
/// Exponent of the ideal efficiency 1 − r^(1−κ) with κ = 1.30.
const IDEAL_EXPONENT: f64 = -0.30;
/// Lift of a middling cam, mm.
const LIFT_MM: f64 = 6.2;
/// A tappet softer than this wears while the engine runs in, HRC.
const WEARS_BELOW_HRC: f64 = 58.6;
/// Lift lost for each HRC it is softer, mm.
const WEAR_MM_PER_HRC: f64 = 0.13;
/// What a middling engine has: ratio, gap in mm, main and piston clearance in µm.
const MIDDLING: Middling = Middling { ratio: 8.31, gap_mm: 0.36, main_um: 31.5, piston_um: 36.0 };

struct Middling {
    ratio: f64,
    gap_mm: f64,
    main_um: f64,
    piston_um: f64,
}

/// True sizes of one engine's parts; lengths in mm, volumes in cm³.
#[derive(Debug, Clone)]
pub(crate) struct TrueParts {
    pub(crate) bores: [f64; 4],
    pub(crate) skirts: [f64; 4],
    pub(crate) compression_heights: [f64; 4],
    pub(crate) rod_lengths: [f64; 4],
    pub(crate) chambers: [f64; 4],
    pub(crate) stroke: f64,
    pub(crate) deck_height: f64,
    pub(crate) cam_lifts: Vec<f64>,
    pub(crate) tappets_hrc: Vec<f64>,
    pub(crate) gaps: Vec<f64>,
    pub(crate) main_clearance_um: f64,
    pub(crate) pump_flow: f64,
}

fn mean(of: &[f64]) -> f64 {
    of.iter().sum::<f64>() / of.len().max(1) as f64
}

impl TrueParts {
    /// Compression ratio of a cylinder: flat crown, gasket 70 mm wide and 1.2 mm thick.
    pub(crate) fn ratio(&self, cylinder: usize) -> f64 {
        let area = |diameter_mm: f64| PI * diameter_mm * diameter_mm / 4.0;
        let bore_area = area(self.bores[cylinder]);
        let below_face = self.deck_height
            - self.stroke / 2.0
            - self.rod_lengths[cylinder]
            - self.compression_heights[cylinder];
        let dead = self.chambers[cylinder] * 1000.0 + area(70.0) * 1.2 + bore_area * below_face;
        1.0 + bore_area * self.stroke / dead
    }

    /// Mean clearance of the pistons, µm.
    pub(crate) fn piston_clearance_um(&self) -> f64 {
        mean(&[0, 1, 2, 3].map(|c| (self.bores[c] - self.skirts[c]) * 1000.0))
    }

    /// Mean gap of the top rings, mm.
    pub(crate) fn gap_mm(&self) -> f64 {
        mean(&self.gaps)
    }

    /// How much more the engine rubs than a middling one, as a share of its friction.
    pub(crate) fn friction_share(&self) -> f64 {
        let Middling { main_um, piston_um, .. } = MIDDLING;
        0.30 * (main_um - self.main_clearance_um) / main_um
            + 0.15 * (piston_um - self.piston_clearance_um()) / piston_um
    }

    /// Share of valve lift lost against a middling engine.
    fn lift_share(&self) -> f64 {
        let lost = self.cam_lifts.iter().zip(&self.tappets_hrc).map(|(lift, hrc)| {
            let wear = WEAR_MM_PER_HRC * (WEARS_BELOW_HRC - hrc).max(0.0);
            LIFT_MM - lift + wear
        });
        lost.sum::<f64>() / 8.0 / LIFT_MM
    }

    /// Torque lost by displacement and compression, a share.
    fn compression_share(&self) -> f64 {
        let ideal = |ratio: f64| 1.0 - libm::pow(ratio, IDEAL_EXPONENT);
        let gain = (0..4).map(|c| {
            let swept = self.bores[c] * self.bores[c] * self.stroke / (68.006 * 68.006 * 76.0);
            swept * ideal(self.ratio(c)) / ideal(MIDDLING.ratio)
        });
        1.0 - gain.sum::<f64>() / 4.0
    }

    /// What the engine really gives; the draws are what no part explains. `jet_loss` is the share
    /// lost to a faulty jet, mostly none.
    pub(crate) fn truth(&self, chance: &mut Stream, jet_loss: f64) -> EngineTruth {
        let (lift, compression) = (self.lift_share(), self.compression_share());
        let gap = (self.gap_mm() - MIDDLING.gap_mm) / 0.1;
        let blow_by = 0.012 * gap + 0.0004 * (self.piston_clearance_um() - MIDDLING.piston_um);
        let friction = self.friction_share();
        let common = chance.normal(0.0, 0.007);
        let torque_nm = [0, 1, 2].map(|point| {
            let lost = LIFT_WEIGHT[point] * lift + compression + blow_by + jet_loss;
            let share = 1.0 - lost + common + chance.normal(0.0, 0.002);
            EXPECTED_NM[point] * share - FRICTION_NM[point] * friction
        });
        EngineTruth {
            torque_nm,
            lift_loss: LIFT_WEIGHT[2] * lift,
            compression_loss: compression,
            blow_by_loss: blow_by,
            friction_loss: FRICTION_NM[2] * friction / EXPECTED_NM[2],
            jet_loss,
        }
    }
}

#[cfg(test)]
pub(crate) fn middling() -> TrueParts {
    TrueParts {
        bores: [68.006; 4],
        skirts: [67.970; 4],
        compression_heights: [40.0; 4],
        rod_lengths: [130.0; 4],
        chambers: [32.4; 4],
        stroke: 76.0,
        deck_height: 208.2,
        cam_lifts: vec![6.2; 8],
        tappets_hrc: vec![60.4; 8],
        gaps: vec![0.36; 4],
        main_clearance_um: 31.5,
        pump_flow: 11.8,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stream::Purpose;

    #[test]
    fn a_middling_engine_gives_what_is_expected() {
        let parts = middling();
        // By hand: 276.05 cm³ swept; 32.4 + 4.618 + 0.726 = 37.745 cm³ dead; 1 + 7.3136.
        assert!((parts.ratio(0) - 8.3136).abs() < 5e-4, "{}", parts.ratio(0));
        let mut chance = Stream::new(3, Purpose::Bed);
        let torques: Vec<f64> =
            (0..400).map(|_| parts.truth(&mut chance, 0.0).torque_nm[2]).collect();
        // Four standard errors of 400 engines that scatter by 0.7 %.
        assert!((mean(&torques) / 58.4 - 1.0).abs() < 4.0 * 0.0073 / 20.0);
    }

    #[test]
    fn soft_tappets_cost_most_at_speed() {
        let soft = TrueParts { tappets_hrc: vec![56.6; 8], ..middling() };
        let [slow, _, fast] = {
            let mut a = Stream::new(3, Purpose::Bed);
            let mut b = Stream::new(3, Purpose::Bed);
            let (sound, soft) = (middling().truth(&mut a, 0.0), soft.truth(&mut b, 0.0));
            [0, 1, 2].map(|p| 1.0 - soft.torque_nm[p] / sound.torque_nm[p])
        };
        // 2 HRC × 0.13 mm of 6.2 mm is 4.2 % of lift.
        assert!((slow - 0.0189).abs() < 0.001 && (fast - 0.0461).abs() < 0.002, "{slow} {fast}");
    }
}
