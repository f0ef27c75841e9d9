//! The minimum circumscribed circle.

use super::circle::{CircleError, Point};
use super::proof::{Proof, Proven, inner_reach};
use super::scaled::Scaled;

/// The minimum circumscribed circle: the smallest around all points. The size of the smallest ring
/// that goes over a shaft.
///
/// # Formula
/// Minimises max ρᵢ: the farthest point enters, of those held so far the fewest stay that hold it,
/// and the radius grows each time until no point lies outside.
///
/// # Given
/// Four points or more, anywhere but in one place or on a line.
///
/// # Returns
/// [`Proven`] with `radius` the smallest; the two or three contacts are outside.
///
/// # Errors
/// [`CircleError`].
///
/// # Validity
/// Any points: the farthest distance is a convex function of the centre, so contacts that surround
/// it prove the circle the best of all. Exact up to rounding.
///
/// # Source
/// ISO 12181-1 (MCCI), definition; after Welzl, LNCS 555 (1991) 359, with the farthest point first,
/// from memory; checked against a search over all pairs and triples of points.
///
/// # Example
/// ```
/// use bedplate_gauge::form::{circle::Point, circumscribed::minimum_circumscribed_circle};
/// let points = [(3.0, 4.0), (-3.0, -4.0), (1.0, 0.0), (0.0, 2.0)].map(|(x, y)| Point { x, y });
/// let ring = minimum_circumscribed_circle(&points).unwrap();
/// assert!((ring.circle.radius - 5.0).abs() < 1e-14);
/// assert_eq!(ring.proof.outside, [0, 1]);
/// ```
pub fn minimum_circumscribed_circle(points: &[Point]) -> Result<Proven, CircleError> {
    let scaled = Scaled::of(points)?;
    let at = |i: usize| [scaled.x[i], scaled.y[i]];
    let first = scaled.reach([0.0, 0.0]).far.0;
    let second = scaled.reach(at(first)).far.0;
    let mut held = vec![first, second];
    let (mut centre, mut radius) = around(&held, &at).ok_or(CircleError::NotRound)?;
    for _ in 0..points.len().max(100) {
        let (entering, distance) = scaled.reach(centre).far;
        if distance <= radius * (1.0 + 4.0 * f64::EPSILON) || held.contains(&entering) {
            break;
        }
        let Some((next, found)) = smallest_with(entering, &held, &at) else { break };
        // Growth stops at rounding.
        if found.1 <= radius {
            break;
        }
        held = next;
        (centre, radius) = found;
    }
    held.sort_unstable();
    let towards = |&i: &usize| {
        let [x, y] = at(i);
        [(x - centre[0]) / radius, (y - centre[1]) / radius]
    };
    let slopes: Vec<[f64; 2]> = held.iter().map(towards).collect();
    let circle = scaled.circle(centre, |_, outer| outer)?;
    let proof = Proof {
        bound: scaled.length_back(radius),
        within: f64::INFINITY,
        sharpness: inner_reach(&slopes),
        outside: held,
        inside: vec![],
    };
    Ok(Proven { circle, proof })
}

/// Centre and radius.
type Around = ([f64; 2], f64);

/// The smallest circle through `entering` and one or two of the held points that has all of them
/// within.
fn smallest_with(
    entering: usize,
    held: &[usize],
    at: &impl Fn(usize) -> [f64; 2],
) -> Option<(Vec<usize>, Around)> {
    let alone = held.iter().map(|&a| vec![a, entering]);
    let pairs = held
        .iter()
        .enumerate()
        .flat_map(|(k, &a)| held[k + 1..].iter().map(move |&b| vec![a, b, entering]));
    // Those it goes through are on it but for rounding, which may be more than a hair.
    let holds_all = |set: &[usize], (centre, radius): Around| {
        let distance = |i: usize| (at(i)[0] - centre[0]).hypot(at(i)[1] - centre[1]);
        let others = held.iter().filter(|i| !set.contains(i));
        others.into_iter().all(|&i| distance(i) <= radius * (1.0 + 8.0 * f64::EPSILON))
    };
    alone
        .chain(pairs)
        .filter_map(|set| around(&set, at).map(|circle| (set, circle)))
        .filter(|(set, circle)| holds_all(set, *circle))
        .min_by(|a, b| a.1.1.total_cmp(&b.1.1))
}

/// The circle with two points on its diameter, or through three.
fn around(set: &[usize], at: &impl Fn(usize) -> [f64; 2]) -> Option<Around> {
    let origin = at(*set.first()?);
    let away = |i: usize| [at(i)[0] - origin[0], at(i)[1] - origin[1]];
    let a = away(*set.get(1)?);
    let middle = match set.get(2) {
        None => [0.5 * a[0], 0.5 * a[1]],
        Some(&third) => {
            let b = away(third);
            let area = 2.0 * (a[0] * b[1] - a[1] * b[0]);
            let (aa, bb) = (a[0] * a[0] + a[1] * a[1], b[0] * b[0] + b[1] * b[1]);
            [(b[1] * aa - a[1] * bb) / area, (a[0] * bb - b[0] * aa) / area]
        }
    };
    let radius = middle[0].hypot(middle[1]);
    radius.is_finite().then_some(([origin[0] + middle[0], origin[1] + middle[1]], radius))
}
