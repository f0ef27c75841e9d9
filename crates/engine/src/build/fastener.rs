//! A fastener tightened by torque and angle, judged against both windows.

use bedplate_gauge::calculation::{Answer, Calculation, Input, Output, Refused, Stage};
use bedplate_gauge::judge::{DecisionRule, Judgement, Verdict, judge};
use bedplate_gauge::limits::{Limits, Side};

/// What the spindle showed at the end of tightening.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TighteningReading {
    /// Final torque, N·m.
    pub torque_nm: f64,
    /// Its standard uncertainty, N·m.
    pub u_torque_nm: f64,
    /// Angle turned from the snug torque, degrees.
    pub angle_deg: f64,
    /// Its standard uncertainty, degrees.
    pub u_angle_deg: f64,
}

/// What the plan allows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TighteningLimits {
    /// Torque, N·m.
    pub torque_nm: Limits,
    /// Angle from the snug torque, degrees.
    pub angle_deg: Limits,
}

/// A tightening judged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tightening {
    /// Verdict on the torque.
    pub torque: Verdict,
    /// Verdict on the angle.
    pub angle: Verdict,
    /// Reject if either is rejected, else cannot tell if either cannot be told, else accept.
    pub judgement: Judgement,
    /// Where to look first, when not accepted.
    pub look_at: Option<&'static str>,
}

/// Judges a tightening by torque and angle.
///
/// # Formula
/// Each by the plan's decision rule; both must be good.
/// # Given
/// Final torque and angle from snug with their standard uncertainties; a window for each; the rule.
/// # Returns
/// Both verdicts, the judgement, and where to look first.
/// # Validity
/// The pair tells more than either alone: torque reached too early points to the thread, too late
/// to the bolt or the joint. The hint is experience, not proof.
/// # Source
/// Judgement as at `bedplate_gauge::judge`; the hints: common practice, no source.
#[must_use]
pub fn judge_tightening(
    reading: TighteningReading,
    limits: &TighteningLimits,
    rule: DecisionRule,
) -> Tightening {
    let torque = judge(reading.torque_nm, &limits.torque_nm, reading.u_torque_nm, rule);
    let angle = judge(reading.angle_deg, &limits.angle_deg, reading.u_angle_deg, rule);
    let judgement = match (torque.judgement, angle.judgement) {
        (Judgement::Reject, _) | (_, Judgement::Reject) => Judgement::Reject,
        (Judgement::CannotTell, _) | (_, Judgement::CannotTell) => Judgement::CannotTell,
        _ => Judgement::Accept,
    };
    Tightening { torque, angle, judgement, look_at: look_at(torque.side, angle.side) }
}

const fn look_at(torque: Option<Side>, angle: Option<Side>) -> Option<&'static str> {
    match (torque, angle) {
        (None, None) => None,
        (Some(Side::Upper), Some(Side::Lower)) | (None, Some(Side::Lower)) => {
            Some("torque came early: dirty, dry or crossed thread, or a bolt that bottoms")
        }
        (Some(Side::Lower), Some(Side::Upper)) | (None, Some(Side::Upper)) => {
            Some("the bolt went on turning: yield, stripped thread, or a joint not closed at snug")
        }
        (Some(Side::Lower), _) => Some("tightening stopped before its end"),
        (Some(Side::Upper), _) => Some("tightened too far: strain on bolt and thread"),
    }
}

/// Declaration of [`judge_tightening`].
pub const TIGHTENING: Calculation = Calculation {
    name: "tightening",
    title: "Tightening by torque and angle",
    stage: Stage::Build,
    question: "Is this fastener tight, by torque and by angle?",
    inputs: &[
        Input::quantity("torque", "N·m", "final torque"),
        Input::quantity("angle", "°", "angle turned from the snug torque"),
        Input::quantity("torque_lower", "N·m", "least torque allowed"),
        Input::quantity("torque_upper", "N·m", "greatest torque allowed"),
        Input::quantity("angle_lower", "°", "least angle allowed"),
        Input::quantity("angle_upper", "°", "greatest angle allowed"),
        Input::quantity("u_torque", "N·m", "standard uncertainty of the torque")
            .at_least(0.0)
            .or("0 N·m"),
        Input::quantity("u_angle", "°", "standard uncertainty of the angle").at_least(0.0).or("0°"),
        Input::quantity("guard_factor", "", "guard band in units of U = 2u; 0 for none")
            .at_least(0.0)
            .or("1"),
    ],
    outputs: &[
        Output::figure("judgement", "", "accept, reject or cannot tell"),
        Output::figure("torque_judgement", "", "of the torque"),
        Output::figure("angle_judgement", "", "of the angle"),
        Output::figure("torque_probability", "", "probability that the torque conforms"),
        Output::figure("angle_probability", "", "probability that the angle conforms"),
        Output::figure("look_at", "", "where to look first, when not accepted"),
    ],
    formula: "accept if m ≥ g for both, reject if m ≤ −g for either, else cannot tell",
    source: "ISO 14253-1 (from memory); JCGM 106:2012, clause 7; hints common practice, no source; \
             example made up",
    validity: "The hint is experience, not proof. The maker's tightening instructions go before.",
    example: &[
        ("torque", "62 N·m"),
        ("angle", "64°"),
        ("torque_lower", "55 N·m"),
        ("torque_upper", "75 N·m"),
        ("angle_lower", "75°"),
        ("angle_upper", "105°"),
        ("u_torque", "0.6 N·m"),
        ("u_angle", "1°"),
    ],
    expected: &[
        ("judgement", "reject"),
        ("torque_judgement", "accept"),
        ("angle_judgement", "reject"),
    ],
    run: |given| {
        let window = |input, lower, upper| {
            Limits::between(given.number(lower), given.number(upper))
                .map_err(|error| Refused::because(input, error.to_string()))
        };
        let limits = TighteningLimits {
            torque_nm: window("torque_upper", "torque_lower", "torque_upper")?,
            angle_deg: window("angle_upper", "angle_lower", "angle_upper")?,
        };
        let reading = TighteningReading {
            torque_nm: given.number("torque"),
            u_torque_nm: given.number("u_torque"),
            angle_deg: given.number("angle"),
            u_angle_deg: given.number("u_angle"),
        };
        let rule = DecisionRule::Guarded { factor: given.number("guard_factor") };
        let judged = judge_tightening(reading, &limits, rule);
        Ok(Answer::new()
            .word("judgement", judged.judgement.word())
            .word("torque_judgement", judged.torque.judgement.word())
            .word("angle_judgement", judged.angle.judgement.word())
            .figure("torque_probability", judged.torque.probability_of_conformity)
            .figure("angle_probability", judged.angle.probability_of_conformity)
            .word("look_at", judged.look_at.unwrap_or("nothing")))
    },
};

#[cfg(test)]
mod tests {
    use super::*;

    fn judged(torque_nm: f64, angle_deg: f64) -> Tightening {
        let limits = TighteningLimits {
            torque_nm: Limits::between(55.0, 75.0).unwrap(),
            angle_deg: Limits::between(75.0, 105.0).unwrap(),
        };
        let reading =
            TighteningReading { torque_nm, u_torque_nm: 0.5, angle_deg, u_angle_deg: 1.0 };
        judge_tightening(reading, &limits, DecisionRule::default())
    }

    #[test]
    fn both_windows_must_be_met() {
        assert_eq!(judged(65.0, 90.0).judgement, Judgement::Accept);
        assert_eq!(judged(65.0, 90.0).look_at, None);
        assert_eq!(judged(65.0, 120.0).judgement, Judgement::Reject);
        assert_eq!(judged(50.0, 90.0).judgement, Judgement::Reject);
        assert_eq!(judged(55.5, 90.0).judgement, Judgement::CannotTell);
        assert_eq!(judged(f64::NAN, 90.0).judgement, Judgement::CannotTell);
    }

    #[test]
    fn the_pair_says_where_to_look() {
        assert!(judged(80.0, 60.0).look_at.unwrap().contains("thread"));
        assert!(judged(50.0, 120.0).look_at.unwrap().contains("yield"));
        assert!(judged(50.0, 60.0).look_at.unwrap().contains("stopped"));
    }
}
