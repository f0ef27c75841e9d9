//! Points and circles, and the four reference circles by name.

use super::circumscribed::minimum_circumscribed_circle;
use super::inscribed::maximum_inscribed_circle;
use super::least::least_squares_circle;
use super::proof::Proof;
use super::zone::minimum_zone_circle;
use crate::calculation::{Answer, Calculation, Column, Given, Input, Output, Refused, Stage};

/// A point of the trace.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Abscissa.
    pub x: f64,
    /// Ordinate.
    pub y: f64,
}

/// A reference circle with the roundness found from it, in the unit of the points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Circle {
    /// Centre.
    pub centre: Point,
    /// Radius: of the fitted circle, or midway in the minimum zone.
    pub radius: f64,
    /// Smallest distance of a point from the centre.
    pub inner: f64,
    /// Largest distance of a point from the centre.
    pub outer: f64,
}

impl Circle {
    /// Roundness deviation: largest less smallest distance from the centre.
    #[must_use]
    pub fn roundness(&self) -> f64 {
        self.outer - self.inner
    }
}

/// Why no circle can be laid through points.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum CircleError {
    /// Too few points.
    #[error("{got} points; at least 4 are needed to say anything of roundness")]
    TooFew {
        /// How many there were.
        got: usize,
    },
    /// A coordinate is no finite number.
    #[error("point {position} lies at ({x}, {y}); both must be finite numbers")]
    NotFinite {
        /// Place, counted from 1.
        position: usize,
        /// Abscissa.
        x: f64,
        /// Ordinate.
        y: f64,
    },
    /// All points are equal.
    #[error("all points lie in one place, ({x}, {y}); points round the part are needed")]
    OnePlace {
        /// Abscissa.
        x: f64,
        /// Ordinate.
        y: f64,
    },
    /// All points lie on a line.
    #[error("all points lie on a line; points round the part are needed")]
    OnALine,
    /// The points do not go round.
    #[error(
        "the points do not go round: they lie within too small an arc, or nowhere near a circle"
    )]
    NotRound,
}

/// Which circle the deviations are counted from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Reference {
    /// Least squares of the deviations.
    LeastSquares,
    /// Two circles of one centre as close together as can be.
    MinimumZone,
    /// The smallest circle around all points: for a shaft, the smallest ring.
    MinimumCircumscribed,
    /// The largest circle within all points: for a bore, the largest plug.
    MaximumInscribed,
}

impl Reference {
    /// All of them.
    pub const ALL: [Self; 4] =
        [Self::MinimumZone, Self::LeastSquares, Self::MinimumCircumscribed, Self::MaximumInscribed];

    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::LeastSquares => "least squares",
            Self::MinimumZone => "minimum zone",
            Self::MinimumCircumscribed => "minimum circumscribed",
            Self::MaximumInscribed => "maximum inscribed",
        }
    }

    /// The reference with this name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|r| r.name() == name)
    }
}

/// The reference circle of this kind, with its proof; least squares needs none.
///
/// # Errors
/// [`CircleError`].
///
/// # Source
/// ISO 12181-1, definitions of the reference circles.
pub fn reference_circle(
    points: &[Point],
    reference: Reference,
) -> Result<(Circle, Option<Proof>), CircleError> {
    let proven = match reference {
        Reference::LeastSquares => return Ok((least_squares_circle(points)?, None)),
        Reference::MinimumZone => minimum_zone_circle(points)?,
        Reference::MinimumCircumscribed => minimum_circumscribed_circle(points)?,
        Reference::MaximumInscribed => maximum_inscribed_circle(points)?,
    };
    Ok((proven.circle, Some(proven.proof)))
}

const POINT_COLUMNS: &[Column] = &[
    Column { name: "x", unit: "mm", meaning: "abscissa of the point" },
    Column { name: "y", unit: "mm", meaning: "ordinate of the point" },
];

/// The reference circles by name, as a choice.
pub(super) const REFERENCES: &[&str] =
    &["minimum zone", "least squares", "minimum circumscribed", "maximum inscribed"];

/// Roundness of a trace.
pub const ROUNDNESS: Calculation = Calculation {
    name: "roundness",
    title: "Roundness of a trace",
    stage: Stage::Gauge,
    question: "How far out of round is it, and where is its centre?",
    inputs: &[
        Input::table("points", POINT_COLUMNS, "where the surface was touched"),
        Input::choice("circle", REFERENCES, "reference circle").or("minimum zone"),
    ],
    outputs: &[
        Output::figure("roundness", "µm", "largest less smallest distance from the centre"),
        Output::figure("x", "mm", "abscissa of the centre"),
        Output::figure("y", "mm", "ordinate of the centre"),
        Output::figure("radius", "mm", "radius of the fitted circle, or midway in the zone"),
        Output::figure("inner", "mm", "smallest distance from the centre"),
        Output::figure("outer", "mm", "largest distance from the centre"),
        Output::figure("outside", "", "points that touch from outside, counted from 1"),
        Output::figure("inside", "", "points that touch from inside, counted from 1"),
        Output::figure("proof", "", "what is proven of the circle"),
    ],
    formula: "least squares: Σ(ρ − R)² least; minimum zone: max ρ − min ρ least; circumscribed: \
              max ρ least; inscribed: min ρ greatest",
    source: "ISO 12181-1, definitions of the reference circles",
    validity: "Nearly round parts, points spread well round; unfiltered.",
    // Computed by a search over all pairs and triples of points with mpmath.
    example: &[(
        "points",
        "x, y; 10, 0; 0, 10.2; -9.9, 0; 0, -10.1; 7.1, 7.1; -7.0, 7.1; -7.1, -7.2; 7.1, -7.0",
    )],
    expected: &[("roundness", "219.04004"), ("x", "0.05000"), ("y", "0.03103")],
    run: run_roundness,
};

fn run_roundness(given: &Given) -> Result<Answer, Refused> {
    let points: Vec<Point> =
        given.table("points").iter().map(|row| Point { x: row[0], y: row[1] }).collect();
    let reference = Reference::named(given.word("circle")).unwrap_or(Reference::MinimumZone);
    let (circle, proof) = reference_circle(&points, reference)
        .map_err(|e| Refused::because("points", e.to_string()))?;
    let places = |places: Option<&Vec<usize>>| {
        places.into_iter().flatten().map(|&i| (i + 1) as f64).collect::<Vec<f64>>()
    };
    Ok(Answer::new()
        .figure("roundness", circle.roundness() * 1e3)
        .figure("x", circle.centre.x)
        .figure("y", circle.centre.y)
        .figure("radius", circle.radius)
        .figure("inner", circle.inner)
        .figure("outer", circle.outer)
        .list("outside", places(proof.as_ref().map(|p| &p.outside)))
        .list("inside", places(proof.as_ref().map(|p| &p.inside)))
        .word("proof", words(reference, &circle, proof.as_ref())))
}

/// What a proof says, in words.
fn words(reference: Reference, circle: &Circle, proof: Option<&Proof>) -> String {
    let Some(proof) = proof else { return "by definition; no contact points".to_owned() };
    let (fitted, better) = match reference {
        Reference::MaximumInscribed => (circle.radius, "no larger circle fits within"),
        Reference::MinimumCircumscribed => (circle.radius, "no smaller circle goes around"),
        _ => (circle.roundness(), "no narrower zone exists"),
    };
    if !proof.is_closed(fitted, circle.outer) {
        return format!("not closed: nothing beyond {} mm is possible", proof.bound);
    }
    if proof.within.is_infinite() {
        format!("{better}, about any centre")
    } else {
        format!("{better} about a centre up to {:.3} mm away", proof.within)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::form::proof::Proven;
    use proptest::prelude::*;
    use std::f64::consts::TAU;

    /// A ring of radius 34 mm with these deviations, about (3, −2).
    fn ring(deviations: &[f64]) -> Vec<Point> {
        let n = deviations.len() as f64;
        let at = |(i, d): (usize, &f64)| {
            let angle = TAU * i as f64 / n;
            Point { x: 3.0 + (34.0 + d) * angle.cos(), y: -2.0 + (34.0 + d) * angle.sin() }
        };
        deviations.iter().enumerate().map(at).collect()
    }

    fn zone(points: &[Point]) -> Circle {
        minimum_zone_circle(points).unwrap().circle
    }

    /// Smallest and largest distance from a centre.
    fn reach(centre: Point, points: &[Point]) -> (f64, f64) {
        let distance = |p: &Point| (p.x - centre.x).hypot(p.y - centre.y);
        let fold = |(near, far): (f64, f64), d: f64| (near.min(d), far.max(d));
        points.iter().map(distance).fold((f64::INFINITY, 0.0), fold)
    }

    /// The second, slower way: every centre that the theory allows. A zone, a circle around and a
    /// circle within are each held by points equally far from the centre; such centres are where
    /// the middle lines of two pairs of points cross, or the middle of one pair.
    fn by_all_pairs(points: &[Point]) -> [f64; 3] {
        let n = points.len();
        let zone = minimum_zone_circle(points).unwrap();
        let plug = maximum_inscribed_circle(points).unwrap();
        let covered = |fit: &Proven, c: Point| {
            let (x, y) = (c.x - fit.circle.centre.x, c.y - fit.circle.centre.y);
            // Far off, rounding alone makes all distances equal.
            x.hypot(y) <= fit.proof.within.min(1e4)
        };
        let pairs: Vec<(usize, usize)> =
            (0..n).flat_map(|i| (i + 1..n).map(move |j| (i, j))).collect();
        let middle = |&(i, j): &(usize, usize)| {
            let (a, b) = (points[i], points[j]);
            let m = Point { x: 0.5 * (a.x + b.x), y: 0.5 * (a.y + b.y) };
            let (u, v) = (b.x - a.x, b.y - a.y);
            (m, [u, v, u * m.x + v * m.y])
        };
        let lines: Vec<(Point, [f64; 3])> = pairs.iter().map(middle).collect();
        let mut best = [f64::INFINITY, f64::INFINITY, 0.0];
        let mut take = |c: Point| {
            let (near, far) = reach(c, points);
            if far.is_finite() {
                best[1] = best[1].min(far);
            }
            if covered(&zone, c) {
                best[0] = best[0].min(far - near);
            }
            if covered(&plug, c) {
                best[2] = best[2].max(near);
            }
        };
        for (k, (m, a)) in lines.iter().enumerate() {
            take(*m);
            for (_, b) in &lines[k + 1..] {
                let whole = a[0] * b[1] - a[1] * b[0];
                if whole != 0.0 {
                    let x = (a[2] * b[1] - a[1] * b[2]) / whole;
                    take(Point { x, y: (a[0] * b[2] - a[2] * b[0]) / whole });
                }
            }
        }
        best
    }

    fn all_three(points: &[Point]) -> [f64; 3] {
        [
            zone(points).roundness(),
            minimum_circumscribed_circle(points).unwrap().circle.radius,
            maximum_inscribed_circle(points).unwrap().circle.radius,
        ]
    }

    #[test]
    fn what_does_not_go_round_is_refused_in_words() {
        for reference in Reference::ALL {
            let words = |p: &[Point]| reference_circle(p, reference).unwrap_err().to_string();
            assert!(words(&[]).contains("0 points"));
            assert!(words(&ring(&[0.0; 3])).contains("3 points"));
            let line: Vec<Point> =
                (0..6).map(|i| Point { x: f64::from(i), y: 3.1 * f64::from(i) }).collect();
            assert!(words(&line).contains("on a line"), "{}", words(&line));
            assert!(words(&[Point { x: 1.0, y: 1.0 }; 5]).contains("in one place, (1, 1)"));
            let mut lost = ring(&[0.0; 6]);
            lost[4].x = f64::NAN;
            assert!(words(&lost).contains("point 5 lies at (NaN"));
        }
        let arc: Vec<Point> = ring(&[0.0; 40])[..15].to_vec();
        let refused = maximum_inscribed_circle(&arc).unwrap_err();
        assert!(refused.to_string().contains("do not go round"));
    }

    #[test]
    fn a_true_circle_is_found_and_is_round() {
        for reference in Reference::ALL {
            let (circle, _) = reference_circle(&ring(&[0.0; 36]), reference).unwrap();
            assert!(circle.roundness() < 1e-12);
            assert!((circle.radius - 34.0).abs() < 1e-12);
            assert!((circle.centre.x - 3.0).abs() < 1e-12);
        }
    }

    #[test]
    fn a_long_trace_read_in_steps_is_fitted_and_proven() {
        // 3600 points, two and three lobes, read to 0.1 µm: many points tie.
        let deviation = |i: i32| {
            let a = TAU * f64::from(i) / 3600.0;
            let d = 0.006 * (2.0 * a).cos() + 0.002 * (3.0 * a + 1.0).cos();
            (d * 1e4).round() / 1e4
        };
        let points = ring(&(0..3600).map(deviation).collect::<Vec<f64>>());
        for reference in Reference::ALL {
            let (circle, proof) = reference_circle(&points, reference).unwrap();
            let Some(proof) = proof else { continue };
            assert!(words(reference, &circle, Some(&proof)).starts_with("no "), "{proof:?}");
        }
        let Proven { circle, proof } = minimum_zone_circle(&points).unwrap();
        // About the true centre the lobes add up to 16 µm at most, and the steps to 0.1 µm.
        assert!(circle.roundness() < 0.0161);
        assert!(proof.within.is_infinite());
        assert_eq!(proof.outside.len() + proof.inside.len(), 4);
    }

    #[test]
    fn shapes_far_from_round_are_searched_to_the_end() {
        // A long oval, a square with its middles pushed in, a trace with one deep notch.
        let oval: Vec<f64> = (0..24).map(|i| 12.0 * (TAU * f64::from(i) / 12.0).cos()).collect();
        let square: Vec<f64> = (0..16).map(|i| 9.0 * (TAU * f64::from(i) / 4.0).cos()).collect();
        let mut notch = vec![0.0; 20];
        notch[7] = -15.0;
        for shape in [oval, square, notch] {
            let points = ring(&shape);
            let (found, wanted) = (all_three(&points), by_all_pairs(&points));
            for k in 0..3 {
                assert!((found[k] - wanted[k]).abs() < 1e-9, "{k}: {found:?} {wanted:?}");
            }
        }
    }

    proptest! {
        #[test]
        fn fits_equal_the_search_over_all_pairs(
            deviations in prop::collection::vec(-0.01f64..0.01, 8..14), size in 0.0f64..3.5
        ) {
            // From hundredths of a millimetre to shapes far from round.
            let size = 10f64.powf(size);
            let points = ring(&deviations.iter().map(|d| d * size).collect::<Vec<f64>>());
            prop_assert!(minimum_zone_circle(&points).is_ok());
            // Shapes so far from round that their middle lies outside have no circle within.
            prop_assume!(size < 300.0 || maximum_inscribed_circle(&points).is_ok());
            let (found, wanted) = (all_three(&points), by_all_pairs(&points));
            for reference in [Reference::MinimumZone, Reference::MaximumInscribed] {
                let (circle, proof) = reference_circle(&points, reference).unwrap();
                let said = words(reference, &circle, proof.as_ref());
                prop_assert!(said.starts_with("no "), "{} {}", said, reference.name());
            }
            // The search solves pairs of nearly parallel lines, to about 1e-9.
            for k in 0..3 {
                let apart = (found[k] - wanted[k]).abs();
                prop_assert!(apart < 1e-8, "{}: {:?} {:?}", k, found, wanted);
            }
        }

        #[test]
        fn contacts_take_turns_and_all_points_lie_between(
            deviations in prop::collection::vec(-0.01f64..0.01, 12..200)
        ) {
            let points = ring(&deviations);
            let fit = minimum_zone_circle(&points).unwrap();
            let (c, proof) = (fit.circle, fit.proof);
            let angle = |&i: &usize| {
                (points[i].y - c.centre.y).atan2(points[i].x - c.centre.x)
            };
            let distance =
                |&i: &usize| (points[i].x - c.centre.x).hypot(points[i].y - c.centre.y);
            prop_assert!(proof.outside.iter().all(|i| (distance(i) - c.outer).abs() < 1e-12));
            prop_assert!(proof.inside.iter().all(|i| (distance(i) - c.inner).abs() < 1e-12));
            prop_assert!(proof.within.is_infinite() && proof.is_closed(c.roundness(), c.outer));
            let mut round: Vec<(f64, bool)> = proof.outside.iter().map(|i| (angle(i), true))
                .chain(proof.inside.iter().map(|i| (angle(i), false))).collect();
            round.sort_by(|a, b| a.0.total_cmp(&b.0));
            if proof.outside.len() == 2 && proof.inside.len() == 2 {
                prop_assert!((0..4).all(|k| round[k].1 != round[(k + 1) % 4].1));
            }
        }

        #[test]
        fn no_centre_near_by_has_a_narrower_zone(
            deviations in prop::collection::vec(-0.01f64..0.01, 8..120),
            angle in 0.0f64..TAU, step in 1e-6f64..1e-2
        ) {
            let points = ring(&deviations);
            let circle = zone(&points);
            let least = least_squares_circle(&points).unwrap();
            prop_assert!(circle.roundness() <= least.roundness());
            let moved = Point {
                x: circle.centre.x + step * angle.cos(),
                y: circle.centre.y + step * angle.sin(),
            };
            let (near, far) = reach(moved, &points);
            prop_assert!(far - near >= circle.roundness() - 1e-12);
        }

        #[test]
        fn inscribed_least_squares_and_circumscribed_grow_in_turn(
            deviations in prop::collection::vec(-0.01f64..0.01, 8..60)
        ) {
            let points = ring(&deviations);
            let [_, around, within] = all_three(&points);
            let least = least_squares_circle(&points).unwrap();
            let hair = 1e-12;
            prop_assert!(within >= least.inner - hair && around <= least.outer + hair);
            prop_assert!(within <= around + hair);
        }

        #[test]
        fn moving_and_scaling_the_part_moves_and_scales_the_circles(
            deviations in prop::collection::vec(-0.01f64..0.01, 8..60),
            dx in -50.0f64..50.0, dy in -50.0f64..50.0, scale in 1e-3f64..1e3
        ) {
            let points = ring(&deviations);
            let moved: Vec<Point> = points
                .iter()
                .map(|p| Point { x: scale * (p.x + dx), y: scale * (p.y + dy) })
                .collect();
            let (here, there) = (all_three(&points), all_three(&moved));
            for k in 0..3 {
                let apart = (here[k] * scale - there[k]).abs();
                prop_assert!(apart < 1e-10 * scale, "{}: {:?} {:?} {}", k, here, there, scale);
            }
            let centre = |p: &[Point]| least_squares_circle(p).unwrap().centre;
            prop_assert!((scale * (centre(&points).x + dx) - centre(&moved).x).abs()
                < 1e-11 * scale);
        }

        #[test]
        fn any_points_give_a_circle_or_a_refusal(
            xy in prop::collection::vec((any::<f64>(), any::<f64>()), 0..8)
        ) {
            let points: Vec<Point> = xy.into_iter().map(|(x, y)| Point { x, y }).collect();
            for reference in Reference::ALL {
                let _ = reference_circle(&points, reference);
            }
        }

        #[test]
        fn any_points_in_a_box_give_a_circle_or_a_refusal(
            xy in prop::collection::vec((-2i8..3, -2i8..3), 4..9)
        ) {
            let points: Vec<Point> = xy
                .into_iter()
                .map(|(x, y)| Point { x: f64::from(x), y: f64::from(y) })
                .collect();
            for reference in Reference::ALL {
                if let Ok((circle, Some(proof))) = reference_circle(&points, reference) {
                    prop_assert!(circle.inner <= circle.outer && !proof.bound.is_nan());
                }
            }
        }
    }
}
