//! Reference circles of a roundness trace: least squares and minimum zone.
//!
//! Points are where the surface was touched, in one unit. Filters, the other two reference circles
//! and cylinders are not here.

use crate::calculation::{Answer, Calculation, Column, Given, Input, Output, Refused, Stage};
use crate::least_squares::least_squares;

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

    fn about(centre: Point, radius: f64, points: &[Point]) -> Self {
        let distances = || points.iter().map(|p| (p.x - centre.x).hypot(p.y - centre.y));
        let inner = distances().fold(f64::INFINITY, f64::min);
        let outer = distances().fold(0.0, f64::max);
        Self { centre, radius, inner, outer }
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
    /// The points lie on a line or in one place.
    #[error("the points do not go round: they lie on a line, or within too small an arc")]
    NotRound,
}

/// A point as seen from a centre: direction and distance.
struct Seen {
    along: [f64; 3],
    distance: f64,
}

fn seen_from(centre: Point, points: &[Point]) -> Vec<Seen> {
    let see = |p: &Point| {
        let (dx, dy) = (p.x - centre.x, p.y - centre.y);
        let distance = dx.hypot(dy);
        let at = if distance > 0.0 { distance } else { 1.0 };
        Seen { along: [dx / at, dy / at, 1.0], distance }
    };
    points.iter().map(see).collect()
}

fn check(points: &[Point]) -> Result<(), CircleError> {
    if points.len() < 4 {
        return Err(CircleError::TooFew { got: points.len() });
    }
    match points.iter().position(|p| !(p.x.is_finite() && p.y.is_finite())) {
        Some(i) => Err(CircleError::NotFinite { position: i + 1, x: points[i].x, y: points[i].y }),
        None => Ok(()),
    }
}

/// How often a circle is laid anew about its improved centre. Each round squares the error, being
/// exact for a centre that is right.
const ROUNDS: usize = 60;

/// The least-squares circle.
///
/// # Formula
/// Minimises Σ(ρᵢ − R)², ρᵢ the distance of point i from the centre (Gauss and Newton's method).
///
/// # Given
/// Four points or more, all the way round or over a good part of it.
///
/// # Returns
/// [`Circle`], in the unit of the points.
///
/// # Errors
/// [`CircleError`].
///
/// # Validity
/// Points spread over more than a small arc.
///
/// # Source
/// ISO 12181-1 (LSCI), definition; checked against scipy 1.17.1.
///
/// # Example
/// ```
/// use bedplate_gauge::circle::{Point, least_squares_circle};
/// let points = [(11.0, 2.0), (1.0, 12.0), (-9.0, 2.0), (1.0, -8.0)].map(|(x, y)| Point { x, y });
/// let circle = least_squares_circle(&points).unwrap();
/// assert!((circle.radius - 10.0).abs() < 1e-12 && (circle.centre.x - 1.0).abs() < 1e-12);
/// ```
pub fn least_squares_circle(points: &[Point]) -> Result<Circle, CircleError> {
    check(points)?;
    let n = points.len() as f64;
    let mean = |pick: fn(&Point) -> f64| points.iter().map(|p| pick(p) / n).sum::<f64>();
    let mut centre = Point { x: mean(|p| p.x), y: mean(|p| p.y) };
    let mut radius = 0.0;
    for _ in 0..ROUNDS {
        let seen = seen_from(centre, points);
        let column = |k: usize| seen.iter().map(|s| s.along[k]).collect::<Vec<f64>>();
        let distances: Vec<f64> = seen.iter().map(|s| s.distance).collect();
        let fit = least_squares(&[column(0), column(1), column(2)], &distances)
            .map_err(|_| CircleError::NotRound)?;
        let (dx, dy) = (fit.coefficients[0], fit.coefficients[1]);
        radius = fit.coefficients[2];
        centre = Point { x: centre.x + dx, y: centre.y + dy };
        if dx.hypot(dy) <= 4.0 * f64::EPSILON * (centre.x.hypot(centre.y) + radius.abs()) {
            break;
        }
    }
    settled(Circle::about(centre, radius, points))
}

fn settled(circle: Circle) -> Result<Circle, CircleError> {
    let figures = [circle.centre.x, circle.centre.y, circle.radius, circle.outer];
    // A circle much larger than what was touched is a line.
    let sound = figures.iter().all(|f| f.is_finite()) && circle.radius > 0.0;
    if sound && circle.outer > 0.0 { Ok(circle) } else { Err(CircleError::NotRound) }
}

/// The minimum-zone circles: two circles of one centre, as close together as can be, with all
/// points between them.
///
/// # Formula
/// Minimises max ρᵢ − min ρᵢ; about each centre by the exchange method for the best approximation
/// in the largest deviation, with four points touching in turn outside and inside.
///
/// # Given
/// As [`least_squares_circle`].
///
/// # Returns
/// [`Circle`] whose `inner` and `outer` are the two radii; in the unit of the points.
///
/// # Errors
/// [`CircleError`].
///
/// # Validity
/// Nearly round parts, starting from the least-squares centre: there the nearest best is the best.
/// Near-equal answers exist; judge by the zone's width, not by its centre.
///
/// # Source
/// ISO 12181-1 (MZCI), definition; exchange method after Stiefel, textbook, from memory; checked
/// against a search over all pairs and triples of points.
///
/// # Example
/// ```
/// use bedplate_gauge::circle::{Point, minimum_zone_circle};
/// // An oval of half axes 10.1 and 10: touched at the ends of its axes.
/// let ends = [(10.1, 0.0), (0.0, 10.0), (-10.1, 0.0), (0.0, -10.0)];
/// let points = ends.map(|(x, y)| Point { x, y });
/// let circle = minimum_zone_circle(&points).unwrap();
/// assert!((circle.roundness() - 0.1).abs() < 1e-12);
/// ```
pub fn minimum_zone_circle(points: &[Point]) -> Result<Circle, CircleError> {
    let mut best = least_squares_circle(points)?;
    let mut centre = best.centre;
    for _ in 0..ROUNDS {
        let seen = seen_from(centre, points);
        let [dx, dy, _] = nearest_band(&seen).ok_or(CircleError::NotRound)?;
        centre = Point { x: centre.x + dx, y: centre.y + dy };
        let circle = Circle::about(centre, 0.0, points);
        let better = circle.roundness() < best.roundness();
        if better {
            best = circle;
        }
        let still = dx.hypot(dy) <= 4.0 * f64::EPSILON * (centre.x.hypot(centre.y) + best.outer);
        if still || !centre.x.is_finite() || !centre.y.is_finite() {
            break;
        }
    }
    settled(Circle { radius: 0.5 * (best.inner + best.outer), ..best })
}

/// Shift of the centre and radius that make the largest |ρ − a·x| least: exchange of one point of a
/// reference of four at a time.
fn nearest_band(seen: &[Seen]) -> Option<[f64; 3]> {
    let mut reference = first_reference(seen)?;
    // Readings rounded to the same step can tie; then the last answer stands, and the caller keeps
    // the narrowest zone it has seen.
    let mut latest = None;
    for _ in 0..seen.len() + 100 {
        let rows = reference.map(|i| seen[i].along);
        let weights = dependence(&rows);
        let total: f64 = weights.iter().map(|w| w.abs()).sum();
        if total <= 1e-14 {
            return None;
        }
        let level = (0..4).map(|j| weights[j] * seen[reference[j]].distance).sum::<f64>() / total;
        let right = |j: usize| seen[reference[j]].distance - level * weights[j].signum();
        // The row with the largest weight is left out: the other three are farthest from a line.
        let out = (0..4).max_by(|&a, &b| weights[a].abs().total_cmp(&weights[b].abs()))?;
        let kept = [0, 1, 2, 3].map(|j| (j + out) % 4);
        let three = [kept[1], kept[2], kept[3]];
        let x = solve3(three.map(|j| rows[j]), three.map(right))?;
        latest = Some(x);
        let off = |s: &Seen| s.distance - dot(&s.along, &x);
        let worst =
            (0..seen.len()).max_by(|&a, &b| off(&seen[a]).abs().total_cmp(&off(&seen[b]).abs()))?;
        let error = off(&seen[worst]);
        let rounding = 8.0 * f64::EPSILON * seen[worst].distance;
        if error.abs() <= level.abs() + rounding || reference.contains(&worst) {
            return Some(x);
        }
        let agreement = error * level;
        reference[leaving(&rows, &weights, three, &seen[worst].along, agreement)?] = worst;
    }
    latest
}

/// Four points far apart in direction, none opposite or alike.
fn first_reference(seen: &[Seen]) -> Option<[usize; 4]> {
    let nearest = |angle: f64| {
        let towards = [angle.cos(), angle.sin(), 0.0];
        let facing = |i: usize| dot(&seen[i].along, &towards);
        (0..seen.len()).max_by(|&a, &b| facing(a).total_cmp(&facing(b)))
    };
    let chosen = [nearest(0.1)?, nearest(1.7)?, nearest(3.2)?, nearest(4.8)?];
    let mut distinct = chosen.to_vec();
    distinct.sort_unstable();
    distinct.dedup();
    // On a part of the circle the same point may be met twice; then others fill the places.
    let others = (0..seen.len()).filter(|i| !chosen.contains(i));
    distinct.extend(others);
    distinct.get(..4).and_then(|four| four.try_into().ok())
}

/// The weights w with Σ w·row = 0, by the determinants of the other three rows.
fn dependence(rows: &[[f64; 3]; 4]) -> [f64; 4] {
    let minor = |i: usize| {
        let kept = [0, 1, 2, 3].map(|j| (j + i) % 4);
        determinant([rows[kept[1]], rows[kept[2]], rows[kept[3]]])
    };
    // Taken in cyclic order, the determinants of four rows change sign in turn.
    [minor(0), -minor(1), minor(2), -minor(3)]
}

/// The place of the reference that leaves for the newcomer, so that all keep touching in turn.
fn leaving(
    rows: &[[f64; 3]; 4],
    weights: &[f64; 4],
    three: [usize; 3],
    newcomer: &[f64; 3],
    agreement: f64,
) -> Option<usize> {
    // newcomer = Σ share·row over three of the rows.
    let columns = [0, 1, 2].map(|k| three.map(|j| rows[j][k]));
    let part = solve3(columns, *newcomer)?;
    let mut shares = [0.0; 4];
    three.iter().zip(part).for_each(|(&j, s)| shares[j] = s);
    let sign = if agreement >= 0.0 { 1.0 } else { -1.0 };
    let largest = weights.iter().fold(0.0_f64, |m, w| m.max(w.abs()));
    let ratio = |j: usize| sign * shares[j] / weights[j];
    (0..4)
        .filter(|&j| weights[j].abs() > 1e-12 * largest)
        .max_by(|&a, &b| ratio(a).total_cmp(&ratio(b)))
}

fn dot(a: &[f64; 3], b: &[f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn determinant(m: [[f64; 3]; 3]) -> f64 {
    let cross = |a: &[f64; 3], b: &[f64; 3]| {
        [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
    };
    dot(&m[0], &cross(&m[1], &m[2]))
}

/// Solves three equations by Cramer's rule; `None` if they depend on each other.
fn solve3(rows: [[f64; 3]; 3], right: [f64; 3]) -> Option<[f64; 3]> {
    let whole = determinant(rows);
    let part = |k: usize| {
        let mut changed = rows;
        (0..3).for_each(|i| changed[i][k] = right[i]);
        determinant(changed) / whole
    };
    let x = [part(0), part(1), part(2)];
    x.iter().all(|v| v.is_finite()).then_some(x)
}

const POINT_COLUMNS: &[Column] = &[
    Column { name: "x", unit: "mm", meaning: "abscissa of the point" },
    Column { name: "y", unit: "mm", meaning: "ordinate of the point" },
];

/// Roundness of a trace.
pub const ROUNDNESS: Calculation = Calculation {
    name: "roundness",
    title: "Roundness of a trace",
    stage: Stage::Gauge,
    question: "How far out of round is it, and where is its centre?",
    inputs: &[
        Input::table("points", POINT_COLUMNS, "where the surface was touched"),
        Input::choice("circle", &["minimum zone", "least squares"], "reference circle")
            .or("minimum zone"),
    ],
    outputs: &[
        Output::figure("roundness", "µm", "largest less smallest distance from the centre"),
        Output::figure("x", "mm", "abscissa of the centre"),
        Output::figure("y", "mm", "ordinate of the centre"),
        Output::figure("radius", "mm", "radius of the fitted circle, or midway in the zone"),
        Output::figure("inner", "mm", "smallest distance from the centre"),
        Output::figure("outer", "mm", "largest distance from the centre"),
    ],
    formula: "least squares: Σ(ρ − R)² least; minimum zone: max ρ − min ρ least",
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
    let circle = match given.word("circle") {
        "least squares" => least_squares_circle(&points),
        _ => minimum_zone_circle(&points),
    };
    let circle = circle.map_err(|e| Refused::because("points", e.to_string()))?;
    Ok(Answer::new()
        .figure("roundness", circle.roundness() * 1e3)
        .figure("x", circle.centre.x)
        .figure("y", circle.centre.y)
        .figure("radius", circle.radius)
        .figure("inner", circle.inner)
        .figure("outer", circle.outer))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A ring of radius 34 mm with these deviations, about (3, −2).
    fn ring(deviations: &[f64]) -> Vec<Point> {
        let n = deviations.len() as f64;
        let at = |(i, d): (usize, &f64)| {
            let angle = std::f64::consts::TAU * i as f64 / n;
            Point { x: 3.0 + (34.0 + d) * angle.cos(), y: -2.0 + (34.0 + d) * angle.sin() }
        };
        deviations.iter().enumerate().map(at).collect()
    }

    #[test]
    fn what_does_not_go_round_is_refused_in_words() {
        let words = |p: &[Point]| minimum_zone_circle(p).unwrap_err().to_string();
        assert!(words(&ring(&[0.0; 3])).contains("3 points"));
        let line: Vec<Point> = (0..6).map(|i| Point { x: f64::from(i), y: 0.0 }).collect();
        assert!(words(&line).contains("do not go round"));
        assert!(words(&[Point { x: 1.0, y: 1.0 }; 5]).contains("do not go round"));
        let mut lost = ring(&[0.0; 6]);
        lost[4].x = f64::NAN;
        assert!(words(&lost).contains("point 5 lies at (NaN"));
    }

    #[test]
    fn a_true_circle_is_found_and_is_round() {
        let circle = minimum_zone_circle(&ring(&[0.0; 36])).unwrap();
        assert!(circle.roundness() < 1e-12);
        assert!((circle.radius - 34.0).abs() < 1e-12);
        assert!((circle.centre.x - 3.0).abs() < 1e-12);
    }

    #[test]
    fn a_long_trace_read_in_steps_is_fitted() {
        // 3600 points, two and three lobes, read to 0.1 µm: many points tie.
        let deviation = |i: i32| {
            let a = std::f64::consts::TAU * f64::from(i) / 3600.0;
            let d = 0.006 * (2.0 * a).cos() + 0.002 * (3.0 * a + 1.0).cos();
            (d * 1e4).round() / 1e4
        };
        let points = ring(&(0..3600).map(deviation).collect::<Vec<f64>>());
        let (zone, least) = (minimum_zone_circle(&points), least_squares_circle(&points));
        let (zone, least) = (zone.unwrap(), least.unwrap());
        assert!(zone.roundness() <= least.roundness());
        for direction in 0..36 {
            let a = f64::from(direction) * 0.1745;
            let moved =
                Point { x: zone.centre.x + 1e-4 * a.cos(), y: zone.centre.y + 1e-4 * a.sin() };
            assert!(Circle::about(moved, 0.0, &points).roundness() >= zone.roundness() - 1e-9);
        }
    }

    proptest! {
        #[test]
        fn no_centre_near_by_has_a_narrower_zone(
            deviations in prop::collection::vec(-0.01f64..0.01, 8..120),
            angle in 0.0f64..std::f64::consts::TAU, step in 1e-6f64..1e-2
        ) {
            let points = ring(&deviations);
            let circle = minimum_zone_circle(&points).unwrap();
            let least = least_squares_circle(&points).unwrap();
            prop_assert!(circle.roundness() <= least.roundness());
            let moved = Point {
                x: circle.centre.x + step * angle.cos(),
                y: circle.centre.y + step * angle.sin(),
            };
            let there = Circle::about(moved, 0.0, &points).roundness();
            prop_assert!(there >= circle.roundness() - 1e-9);
        }

        #[test]
        fn moving_the_part_moves_the_centre_alone(
            deviations in prop::collection::vec(-0.01f64..0.01, 8..60),
            dx in -50.0f64..50.0, dy in -50.0f64..50.0
        ) {
            let points = ring(&deviations);
            let moved: Vec<Point> =
                points.iter().map(|p| Point { x: p.x + dx, y: p.y + dy }).collect();
            let zone = |p: &[Point]| minimum_zone_circle(p).unwrap().roundness();
            prop_assert!((zone(&points) - zone(&moved)).abs() < 1e-9);
            let centre = |p: &[Point]| least_squares_circle(p).unwrap().centre;
            prop_assert!((centre(&points).x + dx - centre(&moved).x).abs() < 1e-9);
        }

        #[test]
        fn any_points_give_a_circle_or_a_refusal(
            xy in prop::collection::vec((any::<f64>(), any::<f64>()), 0..8)
        ) {
            let points: Vec<Point> = xy.into_iter().map(|(x, y)| Point { x, y }).collect();
            let _ = (least_squares_circle(&points), minimum_zone_circle(&points));
        }
    }
}
