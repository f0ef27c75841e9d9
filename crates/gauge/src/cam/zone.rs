//! The zones of a cam.

/// A zone of a cam, in the order in which they pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Zone {
    /// The round part that does not lift.
    BaseCircle,
    /// The gentle start that takes up the clearance.
    OpeningRamp,
    /// The steep part up.
    OpeningFlank,
    /// Over the top.
    Nose,
    /// The steep part down.
    ClosingFlank,
    /// The gentle end.
    ClosingRamp,
}

impl Zone {
    /// All of them, in the order in which they pass.
    pub const ALL: [Self; 6] = [
        Self::BaseCircle,
        Self::OpeningRamp,
        Self::OpeningFlank,
        Self::Nose,
        Self::ClosingFlank,
        Self::ClosingRamp,
    ];

    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::BaseCircle => "base circle",
            Self::OpeningRamp => "opening ramp",
            Self::OpeningFlank => "opening flank",
            Self::Nose => "nose",
            Self::ClosingFlank => "closing flank",
            Self::ClosingRamp => "closing ramp",
        }
    }
}

/// Where the zones start, in degrees of the lift table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ZoneStarts {
    /// Start of the base circle, and of each following zone as [`Zone::ALL`] orders them.
    starts_deg: [f64; 6],
}

/// Angles that are no zones.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ZoneError {
    /// A start is no finite number.
    #[error("the {zone} starts at {start_deg}°; that must be a finite number")]
    NotFinite {
        /// The zone's name.
        zone: &'static str,
        /// What was given, degrees.
        start_deg: f64,
    },
    /// The starts do not follow each other once round.
    #[error(
        "the zones do not follow each other once round: base circle, ramp, flank, nose, flank, ramp"
    )]
    Order,
}

impl ZoneStarts {
    /// Zones by the angles at which they start, as [`Zone::ALL`] orders them: base circle, opening
    /// ramp, opening flank, nose, closing flank, closing ramp. Each ends where the next starts.
    ///
    /// # Given
    /// Degrees of the lift table, following each other once round; they may pass 360.
    ///
    /// # Errors
    /// [`ZoneError`].
    pub fn new(starts_deg: [f64; 6]) -> Result<Self, ZoneError> {
        for (zone, start_deg) in Zone::ALL.iter().zip(starts_deg) {
            if start_deg.abs() >= 1e6 || start_deg.is_nan() {
                return Err(ZoneError::NotFinite { zone: zone.name(), start_deg });
            }
        }
        let part = |i: usize| (starts_deg[(i + 1) % 6] - starts_deg[i]).rem_euclid(360.0);
        let parts: Vec<f64> = (0..6).map(part).collect();
        let once_round = (parts.iter().sum::<f64>() - 360.0).abs() < 1e-6;
        if once_round && parts.iter().all(|p| *p > 0.0) {
            Ok(Self { starts_deg })
        } else {
            Err(ZoneError::Order)
        }
    }

    /// The zone of an angle of the lift table, degrees.
    #[must_use]
    pub fn zone(&self, angle_deg: f64) -> Zone {
        let past = |i: usize| (angle_deg - self.starts_deg[i]).rem_euclid(360.0);
        let nearest = (0..6).min_by(|&a, &b| past(a).total_cmp(&past(b)));
        Zone::ALL[nearest.unwrap_or(0)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_angle_has_its_zone_and_starts_belong_to_it() {
        let zones = ZoneStarts::new([250.0, 470.0, 485.0, 525.0, 555.0, 595.0]).unwrap();
        assert_eq!(zones.zone(0.0), Zone::BaseCircle);
        assert_eq!(zones.zone(110.0), Zone::OpeningRamp);
        assert_eq!(zones.zone(109.999), Zone::BaseCircle);
        assert_eq!(zones.zone(180.0), Zone::Nose);
        assert_eq!(zones.zone(249.0 + 720.0), Zone::ClosingRamp);
        assert!(ZoneStarts::new([0.0, 90.0, 80.0, 100.0, 120.0, 140.0]).is_err());
        assert!(ZoneStarts::new([0.0; 6]).is_err());
        let lost = ZoneStarts::new([0.0, 90.0, f64::NAN, 100.0, 120.0, 140.0]).unwrap_err();
        assert!(lost.to_string().contains("opening flank starts at NaN"));
    }
}
