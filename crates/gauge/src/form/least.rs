//! The least-squares circle.

use super::circle::{Circle, CircleError, Point};
use super::scaled::Scaled;

/// Steps taken at most. Near the answer each squares the error, but for shapes far from round.
const STEPS_MAX: usize = 200;

/// The least-squares circle.
///
/// # Formula
/// Minimises Σ(ρᵢ − R)², ρᵢ the distance of point i from the centre: Gauss and Newton's steps from
/// the circle that minimises Σ(ρᵢ² − R²)² (Kåsa), halved where one goes too far.
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
/// Points spread over more than a small arc; of shapes far from round a circle that no small shift
/// betters.
///
/// # Source
/// ISO 12181-1 (LSCI), definition; first circle after Kåsa, IEEE Trans. Instrum. Meas. 25 (1976) 8,
/// from memory; checked against scipy 1.17.1.
///
/// # Example
/// ```
/// use bedplate_gauge::form::{circle::Point, least::least_squares_circle};
/// let points = [(11.0, 2.0), (1.0, 12.0), (-9.0, 2.0), (1.0, -8.0)].map(|(x, y)| Point { x, y });
/// let circle = least_squares_circle(&points).unwrap();
/// assert!((circle.radius - 10.0).abs() < 1e-12 && (circle.centre.x - 1.0).abs() < 1e-12);
/// ```
pub fn least_squares_circle(points: &[Point]) -> Result<Circle, CircleError> {
    let scaled = Scaled::of(points)?;
    let (centre, radius) = least_centre(&scaled)?;
    let circle = scaled.circle(centre, |_, _| radius)?;
    // A circle much larger than what was touched is a line.
    if radius > 1e7 { Err(CircleError::NotRound) } else { Ok(circle) }
}

/// Sums over all points about a centre, distances counted from a radius near theirs.
struct Sums {
    shift: f64,
    squares: f64,
    along: [f64; 2],
    crossed: [f64; 3],
    leaning: [f64; 2],
}

impl Sums {
    fn about(points: &Scaled, centre: [f64; 2], radius: f64) -> Self {
        let mut s = Self {
            shift: 0.0,
            squares: 0.0,
            along: [0.0; 2],
            crossed: [0.0; 3],
            leaning: [0.0; 2],
        };
        for (x, y) in points.x.iter().zip(&points.y) {
            let (dx, dy) = (x - centre[0], y - centre[1]);
            let distance = (dx * dx + dy * dy).sqrt();
            let share = 1.0 / distance.max(f64::MIN_POSITIVE);
            let (u, v, d) = (dx * share, dy * share, distance - radius);
            s.shift += d;
            s.squares += d * d;
            s.along = [s.along[0] + u, s.along[1] + v];
            s.crossed = [s.crossed[0] + u * u, s.crossed[1] + u * v, s.crossed[2] + v * v];
            s.leaning = [s.leaning[0] + u * d, s.leaning[1] + v * d];
        }
        s
    }

    /// Σ(ρ − R)² with the best R.
    fn left_over(&self, n: f64) -> f64 {
        self.squares - self.shift * self.shift / n
    }

    /// How the centre is to move.
    fn step(&self, n: f64) -> Option<[f64; 2]> {
        let [a, b] = self.along;
        let matrix =
            [self.crossed[0] - a * a / n, self.crossed[1] - a * b / n, self.crossed[2] - b * b / n];
        let right = [self.leaning[0] - a * self.shift / n, self.leaning[1] - b * self.shift / n];
        solve(matrix, right)
    }
}

/// Solves two equations with a symmetric matrix (first, mixed, second).
fn solve([a, b, c]: [f64; 3], [p, q]: [f64; 2]) -> Option<[f64; 2]> {
    let whole = a * c - b * b;
    let x = [(p * c - q * b) / whole, (a * q - b * p) / whole];
    (whole > 0.0 && x.iter().all(|x| x.is_finite())).then_some(x)
}

/// A centre to start other fits from: that of the first circle, or where there is none the mean of
/// the points.
pub(super) fn start_centre(points: &Scaled) -> [f64; 2] {
    let mean = |of: &[f64]| of.iter().sum::<f64>() / points.len() as f64;
    first_centre(points).unwrap_or_else(|| [mean(&points.x), mean(&points.y)])
}

/// Centre and radius of the least-squares circle of scaled points.
fn least_centre(points: &Scaled) -> Result<([f64; 2], f64), CircleError> {
    let n = points.len() as f64;
    let mut centre = first_centre(points).ok_or(CircleError::NotRound)?;
    let near = points.reach(centre).near.1;
    let mut sums = Sums::about(points, centre, near);
    let mut step = [0.0, 0.0];
    for _ in 0..STEPS_MAX {
        step = sums.step(n).ok_or(CircleError::NotRound)?;
        let rounding = 8.0 * f64::EPSILON * (1.0 + centre[0].abs() + centre[1].abs());
        if step[0].hypot(step[1]) <= rounding {
            break;
        }
        let mut further = [centre[0] + step[0], centre[1] + step[1]];
        let mut there = Sums::about(points, further, near);
        let mut halvings = 0;
        // Below rounding the sums no longer tell which way is better; then the step is taken.
        while there.left_over(n) > sums.left_over(n) * (1.0 + 1e-9) + 1e-30 && halvings < 40 {
            step = [0.5 * step[0], 0.5 * step[1]];
            further = [centre[0] + step[0], centre[1] + step[1]];
            there = Sums::about(points, further, near);
            halvings += 1;
        }
        (centre, sums) = (further, there);
    }
    let radius = near + sums.shift / n;
    // What still moves after so many steps is an arc too small, or not a circle at all.
    let settled = step[0].hypot(step[1]) <= 1e-9 * (1.0 + radius);
    if settled && radius.is_finite() { Ok((centre, radius)) } else { Err(CircleError::NotRound) }
}

/// The centre that minimises Σ(ρ² − R²)².
fn first_centre(points: &Scaled) -> Option<[f64; 2]> {
    let n = points.len() as f64;
    let mean = [points.x.iter().sum::<f64>() / n, points.y.iter().sum::<f64>() / n];
    let mut crossed = [0.0; 3];
    let mut cubes = [0.0; 2];
    for (x, y) in points.x.iter().zip(&points.y) {
        let (u, v) = (x - mean[0], y - mean[1]);
        let square = u * u + v * v;
        crossed = [crossed[0] + u * u, crossed[1] + u * v, crossed[2] + v * v];
        cubes = [cubes[0] + u * square, cubes[1] + v * square];
    }
    let [x, y] = solve(crossed, [0.5 * cubes[0], 0.5 * cubes[1]])?;
    Some([mean[0] + x, mean[1] + y])
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn arc(centre: (f64, f64), radius: f64, degrees: f64, n: u32) -> Vec<Point> {
        let at = |i: u32| {
            let (sine, cosine) = (degrees * f64::from(i) / f64::from(n)).to_radians().sin_cos();
            Point { x: centre.0 + radius * cosine, y: centre.1 + radius * sine }
        };
        (0..n).map(at).collect()
    }

    #[test]
    fn a_scattered_arc_is_fitted_as_by_a_general_library() {
        // Seven points over 73°. Computed with scipy 1.17.1, least_squares.
        let points = [
            (30.02, 0.05),
            (29.41, 6.22),
            (27.63, 11.94),
            (24.11, 17.60),
            (20.37, 22.05),
            (15.11, 25.93),
            (8.81, 28.71),
        ];
        let circle = least_squares_circle(&points.map(|(x, y)| Point { x, y })).unwrap();
        assert!((circle.centre.x - -0.215180835).abs() < 1e-7, "{circle:?}");
        assert!((circle.centre.y - -0.193503174).abs() < 1e-7);
        assert!((circle.radius - 30.276262720).abs() < 1e-7);
    }

    #[test]
    fn a_rough_line_is_no_circle() {
        let at = |i: u32| Point { x: f64::from(i), y: 1e-9 * f64::from(i * i % 7) };
        let line: Vec<Point> = (0..30).map(at).collect();
        assert_eq!(least_squares_circle(&line), Err(CircleError::NotRound));
        // Within rounding of a line it is told as one.
        let flat = least_squares_circle(&arc((0.0, 0.0), 1e9, 1e-7, 30));
        assert_eq!(flat, Err(CircleError::OnALine));
    }

    proptest! {
        #[test]
        fn an_arc_gives_its_circle(
            x in -100.0f64..100.0, y in -100.0f64..100.0, radius in 1.0f64..100.0,
            degrees in 30.0f64..360.0, n in 5_u32..60
        ) {
            let circle = least_squares_circle(&arc((x, y), radius, degrees, n)).unwrap();
            // Coordinates are rounded to 3e-14; an arc of 30° makes two hundred times that of it.
            prop_assert!((circle.radius - radius).abs() < 1e-10);
            prop_assert!((circle.centre.x - x).hypot(circle.centre.y - y) < 1e-10);
        }
    }
}
