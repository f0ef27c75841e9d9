//! The maximum inscribed circle.

use super::circle::{CircleError, Point};
use super::exchange::{Row, exchange};
use super::least::start_centre;
use super::proof::{Aim, Proven, Step, prove_best};
use super::scaled::{Scaled, View};

/// The maximum inscribed circle: the largest with no point within it, of those about the middle of
/// the trace. The size of the largest plug that enters a bore.
///
/// # Formula
/// Maximises min ρᵢ. From the centre that minimises Σ(ρ² − R²)², the linear problem about each
/// centre is solved by exchange until three contacts hold it.
///
/// # Given
/// As [`super::least::least_squares_circle`]; points all the way round.
///
/// # Returns
/// [`Proven`] with `radius` the largest; the contacts are inside, the proof's `bound` is the
/// largest radius that any circle can have.
///
/// # Errors
/// [`CircleError`]; `NotRound` where half of the turn or more is without a point.
///
/// # Validity
/// Proven for every centre within [`super::proof::Proof::within`], which for a round part is most
/// of the inside. A circle in a wide gap between points, or outside them, is not meant. Exact up to
/// rounding.
///
/// # Source
/// ISO 12181-1 (MICI), definition; dual simplex method, textbook; the proof is derived in
/// [`super::proof`]; checked against a search over all triples of points.
///
/// # Example
/// ```
/// use bedplate_gauge::form::{circle::Point, inscribed::maximum_inscribed_circle};
/// // Touched on a circle of 10 about the origin, and once farther out.
/// let points = [(10.0, 0.0), (-6.0, 8.0), (-6.0, -8.0), (0.0, 10.5), (0.0, -10.5)];
/// let plug = maximum_inscribed_circle(&points.map(|(x, y)| Point { x, y })).unwrap();
/// assert!((plug.circle.radius - 10.0).abs() < 1e-12);
/// assert_eq!(plug.proof.inside, [0, 1, 2]);
/// ```
pub fn maximum_inscribed_circle(points: &[Point]) -> Result<Proven, CircleError> {
    let scaled = Scaled::of(points)?;
    let start = start_centre(&scaled);
    let mut view = View::default();
    scaled.look(start, &mut view);
    surrounding(&view).ok_or(CircleError::NotRound)?;
    let best = prove_best(&scaled, start, Aim::Inscribed, round);
    let (centre, proof) = best.ok_or(CircleError::NotRound)?;
    let circle = scaled.circle(centre, |inner, _| inner)?;
    Ok(Proven { circle, proof })
}

/// One round: z is the shift and the radius with its sign turned; a key is a point's place.
fn round(view: &View, rows: &[usize]) -> Option<Step> {
    let row =
        |i: usize| -> Row<3> { ([-view.along_x[i], -view.along_y[i], 1.0], -view.distance[i]) };
    let worst = |z: &[f64; 3]| {
        let (least, _) = view.extremes_after([z[0], z[1]]);
        (least.0, -z[2] - least.1)
    };
    let start = rows.try_into().ok().or_else(|| surrounding(view))?;
    let held = exchange(start, row, worst)?;
    let touching = held.rows.iter().zip(held.shares).filter(|(_, share)| *share > 1e-9);
    let mut inside: Vec<usize> = touching.map(|(i, _)| *i).collect();
    inside.sort_unstable();
    let shift = [held.z[0], held.z[1]];
    Some(Step { shift, rows: held.rows.to_vec(), outside: vec![], inside })
}

/// The nearest point, and on either side the one most nearly opposite: together they surround the
/// centre, if any do.
fn surrounding(view: &View) -> Option<[usize; 3]> {
    let n = view.distance.len();
    // Some of the points mostly surround it already; they need only start the exchange.
    let few = (n / 256).max(1);
    surrounding_of(view, few).or_else(|| if few > 1 { surrounding_of(view, 1) } else { None })
}

fn surrounding_of(view: &View, every: usize) -> Option<[usize; 3]> {
    let n = view.distance.len();
    let along = |i: usize| (view.along_x[i], view.along_y[i]);
    let some = || (0..n).step_by(every);
    let first = some().min_by(|&a, &b| view.distance[a].total_cmp(&view.distance[b]))?;
    let (x, y) = along(first);
    let facing = |i: usize| x * along(i).0 + y * along(i).1;
    let left = |i: usize| x * along(i).1 - y * along(i).0;
    let most_opposite = |side: &dyn Fn(f64) -> bool| {
        let of_side = some().filter(|&i| i != first && side(left(i)));
        of_side.min_by(|&a, &b| facing(a).total_cmp(&facing(b)))
    };
    let (second, third) = (most_opposite(&|s| s >= 0.0)?, most_opposite(&|s| s < 0.0)?);
    // The two leave less than half a turn between them, seen from the side away from the first.
    let (a, b) = (along(second), along(third));
    (a.0 * b.1 - a.1 * b.0 > 0.0).then_some([first, second, third])
}
