//! The metal left between two radial holes of one site. They run together towards the axis, so the
//! deeper they are, the less is left.

use super::vector::sin_cos_deg;

/// A hole as its neighbour meets it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bore {
    pub(super) diameter_mm: f64,
    pub(super) point_deg: f64,
    pub(super) depth_mm: f64,
}

/// Metal surely left between two holes whose axes are `apart_deg` apart in a round of `radius_mm`;
/// negative where they may cut into each other.
///
/// Measured square to the line midway between the axes: what lies on either side of that line can
/// only be farther apart. Exact for holes of equal depth and diameter. With points of 90° or more
/// the shoulder of a hole comes nearest to that line, except beyond the point's own angle.
pub(super) fn web_left_mm(radius_mm: f64, apart_deg: f64, bores: [Bore; 2]) -> f64 {
    let turned = (apart_deg.abs() % 360.0).min(360.0 - apart_deg.abs() % 360.0);
    let (sin, cos) = sin_cos_deg(turned / 2.0);
    let clear = |bore: Bore| {
        let half_mm = bore.diameter_mm / 2.0;
        let (point_sin, point_cos) = sin_cos_deg(bore.point_deg / 2.0);
        let shoulder = (radius_mm - bore.depth_mm) * sin - half_mm * cos;
        let tip = (radius_mm - bore.depth_mm - half_mm * point_cos / point_sin) * sin;
        shoulder.min(tip)
    };
    clear(bores[0]) + clear(bores[1])
}

#[cfg(test)]
mod tests {
    use super::*;

    const BORE: Bore = Bore { diameter_mm: 10.0, point_deg: 118.0, depth_mm: 20.0 };

    #[test]
    fn equal_holes_leave_what_plane_geometry_says() {
        // Shoulders at radius 40 mm, 5 mm off their axes, 30° apart: 2 (40 sin 15° − 5 cos 15°).
        let expected = 2.0 * (40.0 * 0.258_819_045 - 5.0 * 0.965_925_826);
        assert!((web_left_mm(60.0, 30.0, [BORE, BORE]) - expected).abs() < 1e-8);
        assert!((web_left_mm(60.0, -330.0, [BORE, BORE]) - expected).abs() < 1e-8);
    }

    #[test]
    fn holes_at_one_angle_leave_nothing_and_deeper_ones_less() {
        assert!(web_left_mm(60.0, 0.0, [BORE, BORE]) < 0.0);
        let deeper = Bore { depth_mm: 25.0, ..BORE };
        let left = |bore| web_left_mm(60.0, 20.0, [BORE, bore]);
        assert!(left(deeper) < left(BORE));
    }
}
