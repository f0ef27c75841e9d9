//! The minimum-zone circles, proven to be the best there are.

use super::circle::{CircleError, Point};
use super::exchange::{Row, exchange};
use super::least::start_centre;
use super::proof::{Aim, Proven, Step, prove_best};
use super::scaled::{Scaled, View};

/// The minimum-zone circles: two circles of one centre, as close together as can be, with all
/// points between them.
///
/// # Formula
/// Minimises max ρᵢ − min ρᵢ over all centres. From the centre that minimises
/// Σ(ρ² − R²)², the linear problem
/// about each centre is solved by exchange until four contacts hold it: two outside and two inside
/// in turn, or three and one.
///
/// # Given
/// As [`super::least::least_squares_circle`].
///
/// # Returns
/// [`Proven`]: the circle, whose `inner` and `outer` are the two radii and `radius` midway, and the
/// proof ([`super::proof::Proof`]). Its `bound` is the least width any zone can have.
///
/// # Errors
/// [`CircleError`].
///
/// # Validity
/// Proven for every centre of the plane where points lie all the way round and the width is less
/// than about the diameter; otherwise for centres no farther off than the outer radius. Exact up to
/// rounding (1e-14 of the radius). Near-equal answers exist; judge by the zone's width, not by its
/// centre.
///
/// # Source
/// ISO 12181-1 (MZCI), definition; dual simplex method, textbook; the proof is derived in
/// [`super::proof`]; checked against a search over all pairs and triples of points.
///
/// # Example
/// ```
/// use bedplate_gauge::form::{circle::Point, zone::minimum_zone_circle};
/// // An oval of half axes 10.1 and 10: touched at the ends of its axes.
/// let ends = [(10.1, 0.0), (0.0, 10.0), (-10.1, 0.0), (0.0, -10.0)];
/// let zone = minimum_zone_circle(&ends.map(|(x, y)| Point { x, y })).unwrap();
/// assert!((zone.circle.roundness() - 0.1).abs() < 1e-12);
/// assert_eq!((zone.proof.outside, zone.proof.inside), (vec![0, 2], vec![1, 3]));
/// assert!(zone.proof.within.is_infinite());
/// ```
pub fn minimum_zone_circle(points: &[Point]) -> Result<Proven, CircleError> {
    let scaled = Scaled::of(points)?;
    let start = start_centre(&scaled);
    let best = prove_best(&scaled, start, Aim::Width, round);
    let (centre, proof) = best.ok_or(CircleError::NotRound)?;
    let circle = scaled.circle(centre, |inner, outer| 0.5 * (inner + outer))?;
    Ok(Proven { circle, proof })
}

/// One round: z is the shift, the middle radius and half the width. A key is twice the point's
/// place, one more where the point pushes from inside.
fn round(view: &View, rows: &[usize]) -> Option<Step> {
    let row = |key: usize| -> Row<4> {
        let i = key / 2;
        let (u, v, rho) = (view.along_x[i], view.along_y[i], view.distance[i]);
        if key.is_multiple_of(2) { ([u, v, 1.0, 1.0], rho) } else { ([-u, -v, -1.0, 1.0], -rho) }
    };
    let worst = |z: &[f64; 4]| {
        let (least, most) = view.extremes_after([z[0], z[1]]);
        let (above, below) = (most.1 - z[2] - z[3], z[2] - least.1 - z[3]);
        if above >= below { (2 * most.0, above) } else { (2 * least.0 + 1, below) }
    };
    let start = rows.try_into().ok().or_else(|| three_ways(view))?;
    let held = exchange(start, row, worst)?;
    let touching = held.rows.iter().zip(held.shares).filter(|(_, share)| *share > 1e-9);
    let (outside, inside): (Vec<usize>, Vec<usize>) =
        touching.map(|(key, _)| *key).partition(|key| key % 2 == 0);
    let places = |keys: Vec<usize>| {
        let mut places: Vec<usize> = keys.into_iter().map(|key| key / 2).collect();
        places.sort_unstable();
        places
    };
    Some(Step {
        shift: [held.z[0], held.z[1]],
        rows: held.rows.to_vec(),
        outside: places(outside),
        inside: places(inside),
    })
}

/// Rows to start from: one point from both sides, which holds a zone of no width, and two more in
/// other directions.
fn three_ways(view: &View) -> Option<[usize; 4]> {
    let n = view.distance.len();
    let along = |i: usize| (view.along_x[i], view.along_y[i]);
    let first = (0..n).max_by(|&a, &b| view.distance[a].total_cmp(&view.distance[b]))?;
    let facing = |i: usize| along(i).0 * along(first).0 + along(i).1 * along(first).1;
    let second = (0..n).min_by(|&a, &b| facing(a).total_cmp(&facing(b)))?;
    let from = |i: usize| (along(i).0 - along(first).0, along(i).1 - along(first).1);
    let area = |i: usize| (from(second).0 * from(i).1 - from(second).1 * from(i).0).abs();
    let third = (0..n).max_by(|&a, &b| area(a).total_cmp(&area(b)))?;
    Some([2 * first, 2 * first + 1, 2 * second, 2 * third])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::form::trace::Trace;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(40))]

        #[test]
        fn a_long_trace_is_proven_for_the_whole_plane(
            lobes in prop::collection::vec((1_u8..40, 0.0f64..5.0, 0.0f64..6.3), 1..6),
            steps_um in 0.0f64..0.5, radius in 5.0f64..200.0
        ) {
            let deviation = |i: i32| {
                let angle = std::f64::consts::TAU * f64::from(i) / 3600.0;
                let of = |(k, size, phase): &(u8, f64, f64)| {
                    size * (f64::from(*k) * angle + phase).cos()
                };
                let sum: f64 = lobes.iter().map(of).sum();
                // Read in steps, so that many points tie.
                if steps_um > 0.05 { (sum / steps_um).round() * steps_um } else { sum }
            };
            let trace = Trace::new(radius, (0..3600).map(deviation).collect()).unwrap();
            let zone = minimum_zone_circle(&trace.points()).unwrap();
            prop_assert!(zone.proof.within.is_infinite());
            prop_assert!(zone.proof.is_closed(zone.circle.roundness(), zone.circle.outer));
        }
    }
}
