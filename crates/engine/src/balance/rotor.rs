//! A rotor as its plan of holes needs it: where it is judged, and where, with what and how deep it
//! may be drilled. The limits of drilling are the maker's to give.

use super::holes::{Drilling, Face, HoleError, Profile};
use super::planes::{Plane, Planes, PlanesError, lever};

/// A rotor with its tolerance planes and the sites at which it may be drilled.
#[derive(Debug, Clone, PartialEq)]
pub struct Rotor {
    /// Where the tolerance planes stand along the axis, mm; apart.
    pub plane_z_mm: Planes<f64>,
    /// Most unbalance that the machine may show at each plane, g·mm: the permissible share less the
    /// machine's guard (see [`super::permissible`]); over zero.
    pub limit_gmm: Planes<f64>,
    /// The webs, counterweights or rims that may be drilled. Holes at different sites are never
    /// held against each other: a site is a piece of metal by itself.
    pub sites: Vec<Site>,
    /// How finely the machine can set angle and depth.
    pub machine: Machine,
    /// Most new holes in the whole rotor, 0 to 8.
    pub holes_max: usize,
}

/// A piece of metal that may be drilled radially from its round surface.
#[derive(Debug, Clone, PartialEq)]
pub struct Site {
    /// Place along the axis, mm.
    pub z_mm: f64,
    /// Radius of the round surface, mm; 1 or more.
    pub radius_mm: f64,
    /// Density of the metal, g/cm³; 0.1 to 100.
    pub density_g_cm3: f64,
    /// Where a hole's axis may stand.
    pub windows: Vec<Window>,
    /// The drills that may be used, each with its limits of depth here.
    pub drills: Vec<Drill>,
    /// Most new holes at this site.
    pub holes_max: usize,
    /// Least metal left between two holes, mm; zero or more.
    pub web_mm: f64,
    /// Holes already there.
    pub existing: Vec<ExistingHole>,
}

/// A range of angles, from one edge in the sense of counting to the other, both edges allowed. It
/// may pass 0°; equal edges allow one angle, edges 360° apart the whole circle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// First edge, degrees from pin 1.
    pub from_deg: f64,
    /// Last edge, degrees from pin 1.
    pub to_deg: f64,
}

impl Window {
    /// Width, degrees, 0 to 360.
    #[must_use]
    pub fn width_deg(self) -> f64 {
        let width = self.to_deg - self.from_deg;
        if width.abs() >= 360.0 { 360.0 } else { super::vector::whole_turn_deg(width) }
    }

    /// Whether a hole's axis may stand at `angle_deg`; a nanodegree of rounding is allowed.
    #[must_use]
    pub fn holds(self, angle_deg: f64) -> bool {
        let past = super::vector::whole_turn_deg(angle_deg - self.from_deg);
        past <= self.width_deg() + 1e-9 || past >= 360.0 - 1e-9
    }
}

/// A drill and how deep it may go at a site.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drill {
    /// Diameter, mm; over zero.
    pub diameter_mm: f64,
    /// Angle of the point, degrees; 90 to 180.
    pub point_deg: f64,
    /// Least full-diameter depth, mm; zero or more.
    pub depth_mm_min: f64,
    /// Greatest full-diameter depth, mm; the point goes deeper by its own height.
    pub depth_mm_max: f64,
}

/// A hole that is there already, drilled radially from the round surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ExistingHole {
    /// Angle of its axis, degrees from pin 1.
    pub angle_deg: f64,
    /// Diameter, mm; over zero.
    pub diameter_mm: f64,
    /// Angle of its point, degrees; 90 to 180.
    pub point_deg: f64,
    /// Full-diameter depth, mm; zero or more.
    pub depth_mm: f64,
}

/// How finely the drilling machine can be set. Both count from zero: depth from the touched
/// surface, angle from pin 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Machine {
    /// Step of depth, mm; 0.001 to 10.
    pub depth_step_mm: f64,
    /// Step of angle, degrees; 0.1 to 90.
    pub angle_step_deg: f64,
}

/// Most new holes a plan may have.
pub const HOLES_MOST: usize = 8;
/// Most sites, and most windows, drills or existing holes of a site.
pub const LIST_MOST: usize = 32;
/// Most pairs of a window and a drill in the whole rotor.
pub const PAIRS_MOST: usize = 256;

/// What is wrong with a rotor's description.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum RotorError {
    /// The tolerance planes.
    #[error(transparent)]
    Planes(#[from] PlanesError),
    /// The tolerance planes too near or too far from each other.
    #[error("the tolerance planes are {apart_mm} mm apart; 1 mm to 100 m is needed")]
    PlanesApart {
        /// Their distance.
        apart_mm: f64,
    },
    /// A limit that leaves nothing, or beyond all measure.
    #[error("the limit at plane {} is {limit_gmm} g·mm; it must be 1e-6 to 1e12", .plane.letter())]
    Limit {
        /// At which plane.
        plane: Plane,
        /// The limit.
        limit_gmm: f64,
    },
    /// A step of depth that no machine has.
    #[error("the depth step is {step_mm} mm; it must be 0.001 to 10 mm")]
    DepthStep {
        /// The step given.
        step_mm: f64,
    },
    /// A step of angle that no machine has.
    #[error("the angle step is {step_deg}°; it must be 0.1° to 90°")]
    AngleStep {
        /// The step given.
        step_deg: f64,
    },
    /// More holes than a plan can have.
    #[error("at most {holes_max} holes are asked for; a plan has {most} at most")]
    Holes {
        /// Number asked for.
        holes_max: usize,
        /// Most.
        most: usize,
    },
    /// A list longer than a rotor has.
    #[error("{n} {what}; at most {most} can be given")]
    Many {
        /// Of what.
        what: &'static str,
        /// How many were given.
        n: usize,
        /// Most.
        most: usize,
    },
    /// A figure of a site out of its range.
    #[error("site {}: {what} is {value}; {range} is needed", .site_idx + 1)]
    Site {
        /// Place of the site in the list, from 0.
        site_idx: usize,
        /// Which figure.
        what: &'static str,
        /// Its value.
        value: f64,
        /// What would have been right.
        range: &'static str,
    },
    /// A drill that cannot be used at a site.
    #[error("site {}: {hole}", .site_idx + 1)]
    Hole {
        /// Place of the site in the list, from 0.
        site_idx: usize,
        /// What is wrong.
        hole: HoleError,
    },
}

impl Site {
    /// The drilling of a hole of this diameter and point here.
    #[must_use]
    pub const fn drilling(&self, diameter_mm: f64, point_deg: f64) -> Drilling {
        Drilling {
            diameter_mm,
            point_deg,
            density_g_cm3: self.density_g_cm3,
            radius_mm: self.radius_mm,
            face: Face::Round,
        }
    }

    fn check(&self, site_idx: usize) -> Result<(), RotorError> {
        let need = |right: bool, what: &'static str, value: f64, range: &'static str| {
            if right && value.is_finite() {
                Ok(())
            } else {
                Err(RotorError::Site { site_idx, what, value, range })
            }
        };
        let Self { z_mm, radius_mm, density_g_cm3, web_mm, .. } = *self;
        need(z_mm.abs() <= 1e5, "place", z_mm, "-100 m to 100 m")?;
        need((1.0..=1e5).contains(&radius_mm), "radius", radius_mm, "1 mm to 100 m")?;
        need((0.1..=100.0).contains(&density_g_cm3), "density", density_g_cm3, "0.1 to 100 g/cm³")?;
        need((0.0..=1e5).contains(&web_mm), "web", web_mm, "zero or more")?;
        for edge_deg in self.windows.iter().flat_map(|w| [w.from_deg, w.to_deg]) {
            need(edge_deg.abs() <= 1e5, "window edge", edge_deg, "an angle of few turns")?;
        }
        for drill in &self.drills {
            let Drill { point_deg, depth_mm_min: least, depth_mm_max: most, .. } = *drill;
            need((90.0..=180.0).contains(&point_deg), "point angle", point_deg, "90° to 180°")?;
            need(least >= 0.0, "least depth", least, "zero or more")?;
            need(most >= least, "greatest depth", most, "the least depth or more")?;
            self.check_depth(site_idx, drill.diameter_mm, point_deg, most)?;
        }
        for hole in &self.existing {
            let ExistingHole { angle_deg, point_deg, depth_mm, .. } = *hole;
            need(angle_deg.abs() <= 1e5, "existing hole", angle_deg, "an angle of few turns")?;
            need((90.0..=180.0).contains(&point_deg), "point angle", point_deg, "90° to 180°")?;
            need(depth_mm >= 0.0, "depth of an existing hole", depth_mm, "zero or more")?;
            self.check_depth(site_idx, hole.diameter_mm, point_deg, depth_mm)?;
        }
        Ok(())
    }

    fn check_depth(
        &self,
        site_idx: usize,
        diameter_mm: f64,
        point_deg: f64,
        depth_mm: f64,
    ) -> Result<(), RotorError> {
        let wrong = |hole| RotorError::Hole { site_idx, hole };
        let profile = Profile::of(&self.drilling(diameter_mm, point_deg)).map_err(wrong)?;
        let (least_mm, most_mm) = (0.0, profile.most_mm);
        if depth_mm <= most_mm {
            Ok(())
        } else {
            Err(wrong(HoleError::Depth { depth_mm, least_mm, most_mm }))
        }
    }
}

impl Rotor {
    /// Whether the description makes sense; everything that plans or checks asks this first.
    ///
    /// # Errors
    /// [`RotorError`] names the first figure that is out of its range.
    pub fn check(&self) -> Result<(), RotorError> {
        lever(self.plane_z_mm, self.plane_z_mm.a)?;
        let apart_mm = (self.plane_z_mm.b - self.plane_z_mm.a).abs();
        if !(1.0..=1e5).contains(&apart_mm) {
            return Err(RotorError::PlanesApart { apart_mm });
        }
        for plane in [Plane::A, Plane::B] {
            let limit_gmm = self.limit_gmm.at(plane);
            if !(1e-6..=1e12).contains(&limit_gmm) {
                return Err(RotorError::Limit { plane, limit_gmm });
            }
        }
        let Machine { depth_step_mm: step_mm, angle_step_deg: step_deg } = self.machine;
        if !(0.001..=10.0).contains(&step_mm) {
            return Err(RotorError::DepthStep { step_mm });
        }
        if !(0.1..=90.0).contains(&step_deg) {
            return Err(RotorError::AngleStep { step_deg });
        }
        if self.holes_max > HOLES_MOST {
            return Err(RotorError::Holes { holes_max: self.holes_max, most: HOLES_MOST });
        }
        self.check_lists()?;
        for (site_idx, site) in self.sites.iter().enumerate() {
            lever(self.plane_z_mm, site.z_mm)?;
            site.check(site_idx)?;
        }
        Ok(())
    }

    fn check_lists(&self) -> Result<(), RotorError> {
        let mut lists = vec![("sites", self.sites.len(), LIST_MOST)];
        let mut n_pairs = 0;
        for site in &self.sites {
            lists.push(("windows at a site", site.windows.len(), LIST_MOST));
            lists.push(("drills at a site", site.drills.len(), LIST_MOST));
            lists.push(("existing holes at a site", site.existing.len(), LIST_MOST));
            n_pairs += site.windows.len() * site.drills.len();
        }
        lists.push(("pairs of window and drill", n_pairs, PAIRS_MOST));
        match lists.into_iter().find(|(_, n, most)| n > most) {
            Some((what, n, most)) => Err(RotorError::Many { what, n, most }),
            None => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn windows_pass_zero_and_hold_their_edges() {
        let window = Window { from_deg: 350.0, to_deg: 10.0 };
        assert_eq!(window.width_deg(), 20.0);
        for inside in [350.0, 359.9, 0.0, 10.0, 370.0, -10.0] {
            assert!(window.holds(inside), "{inside}");
        }
        for outside in [349.999, 10.001, 180.0] {
            assert!(!window.holds(outside), "{outside}");
        }
        let one = Window { from_deg: 90.0, to_deg: 90.0 };
        assert!(one.holds(90.0) && !one.holds(90.1) && !one.holds(89.9));
        let all = Window { from_deg: 0.0, to_deg: 360.0 };
        assert!([0.0, 123.0, 359.999].iter().all(|angle| all.holds(*angle)));
    }
}
