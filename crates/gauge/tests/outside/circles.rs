//! Reference circles of roundness traces.

use bedplate_gauge::circle::{Circle, Point, least_squares_circle, minimum_zone_circle};

use crate::cases::each_case;

#[test]
fn reference_circles_of_iso_12181() {
    each_case(include_str!("../reference/circles.json"), |_, case| {
        let points: Vec<Point> =
            case.table("points").iter().map(|p| Point { x: p[0], y: p[1] }).collect();
        let centre = |c: &Circle| [c.centre.x, c.centre.y];
        let least = least_squares_circle(&points).unwrap();
        case.check_list("ls_centre", &centre(&least));
        case.check("ls_radius", least.radius);
        case.check("ls_roundness", least.roundness());
        let zone = minimum_zone_circle(&points).unwrap();
        case.check("mz_roundness", zone.roundness());
        case.check_list("mz_centre", &centre(&zone));
        case.check("mz_r_in", zone.inner);
        case.check("mz_r_out", zone.outer);
    });
}
