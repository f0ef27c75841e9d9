//! Points moved about their own middle and scaled to a size near one, so that no fit overflows and
//! none loses digits to a far origin.

use super::circle::{Circle, CircleError, Point};

/// Checked points about their middle, in parts of `unit`.
pub(super) struct Scaled {
    /// Abscissas.
    pub(super) x: Vec<f64>,
    /// Ordinates.
    pub(super) y: Vec<f64>,
    middle: Point,
    unit: f64,
}

/// What a centre sees: the distance of every point and the direction in which it lies.
#[derive(Default)]
pub(super) struct View {
    /// Distances.
    pub(super) distance: Vec<f64>,
    /// Directions, first part.
    pub(super) along_x: Vec<f64>,
    /// Directions, second part.
    pub(super) along_y: Vec<f64>,
}

/// The nearest and the farthest point from a centre.
#[derive(Clone, Copy)]
pub(super) struct Reach {
    /// Place and distance of the nearest.
    pub(super) near: (usize, f64),
    /// Place and distance of the farthest.
    pub(super) far: (usize, f64),
}

impl Scaled {
    pub(super) fn of(points: &[Point]) -> Result<Self, CircleError> {
        if points.len() < 4 {
            return Err(CircleError::TooFew { got: points.len() });
        }
        if let Some(i) = points.iter().position(|p| !(p.x.is_finite() && p.y.is_finite())) {
            let (x, y) = (points[i].x, points[i].y);
            return Err(CircleError::NotFinite { position: i + 1, x, y });
        }
        let ends = |pick: fn(&Point) -> f64| {
            let least = points.iter().map(pick).fold(f64::INFINITY, f64::min);
            let most = points.iter().map(pick).fold(f64::NEG_INFINITY, f64::max);
            (0.5 * least + 0.5 * most, 0.5 * most - 0.5 * least)
        };
        let ((middle_x, half_x), (middle_y, half_y)) = (ends(|p| p.x), ends(|p| p.y));
        // The power of two below the size: a part of it is not rounded.
        let unit = f64::from_bits(half_x.max(half_y).to_bits() & (0x7ff << 52));
        if unit == 0.0 {
            return Err(CircleError::OnePlace { x: points[0].x, y: points[0].y });
        }
        let share = 1.0 / unit;
        let scaled = Self {
            x: points.iter().map(|p| (p.x - middle_x) * share).collect(),
            y: points.iter().map(|p| (p.y - middle_y) * share).collect(),
            middle: Point { x: middle_x, y: middle_y },
            unit,
        };
        if scaled.on_a_line() { Err(CircleError::OnALine) } else { Ok(scaled) }
    }

    /// Whether all points lie within rounding of one line.
    fn on_a_line(&self) -> bool {
        // Three points well apart mostly tell at once.
        let third = self.len() / 3;
        let [a, b] = [third, 2 * third].map(|i| [self.x[i] - self.x[0], self.y[i] - self.y[0]]);
        if (a[0] * b[1] - a[1] * b[0]).abs() > 1e-3 {
            return false;
        }
        // The longest way from the first point, and how far any point lies beside it.
        let away = |i: usize| (self.x[i] - self.x[0], self.y[i] - self.y[0]);
        let length = |i: usize| away(i).0.hypot(away(i).1);
        let far = (0..self.len()).max_by(|&a, &b| length(a).total_cmp(&length(b))).unwrap_or(0);
        let (ax, ay) = away(far);
        let beside = |i: usize| (away(i).0 * ay - away(i).1 * ax).abs() / length(far);
        let off = (0..self.len()).map(beside).fold(0.0, f64::max);
        let origin = self.middle.x.abs().max(self.middle.y.abs()) / self.unit;
        off <= 16.0 * f64::EPSILON * (1.0 + origin)
    }

    pub(super) fn len(&self) -> usize {
        self.x.len()
    }

    /// A length of the points' unit in the scaled one.
    pub(super) fn length_back(&self, scaled: f64) -> f64 {
        scaled * self.unit
    }

    /// Nearest and farthest point from a centre.
    pub(super) fn reach(&self, centre: [f64; 2]) -> Reach {
        let squares = |from: usize, block: &mut [f64]| {
            let to = from + block.len();
            let at = self.x[from..to].iter().zip(&self.y[from..to]);
            for (square, (x, y)) in block.iter_mut().zip(at) {
                let (dx, dy) = (x - centre[0], y - centre[1]);
                *square = dx * dx + dy * dy;
            }
        };
        let (least, most) = extremes(self.len(), squares);
        Reach { near: (least.0, least.1.sqrt()), far: (most.0, most.1.sqrt()) }
    }

    /// Everything seen from a centre, laid into `view`.
    pub(super) fn look(&self, centre: [f64; 2], view: &mut View) {
        let n = self.len();
        view.distance.resize(n, 0.0);
        view.along_x.resize(n, 0.0);
        view.along_y.resize(n, 0.0);
        let seen = view.distance.iter_mut().zip(&mut view.along_x).zip(&mut view.along_y);
        for ((x, y), ((distance, along_x), along_y)) in self.x.iter().zip(&self.y).zip(seen) {
            let (dx, dy) = (x - centre[0], y - centre[1]);
            *distance = (dx * dx + dy * dy).sqrt();
            let share = 1.0 / distance.max(f64::MIN_POSITIVE);
            (*along_x, *along_y) = (dx * share, dy * share);
        }
    }

    /// The circle about a scaled centre in the points' own place and unit; `radius` picks it from
    /// the nearest and the farthest distance.
    pub(super) fn circle(
        &self,
        centre: [f64; 2],
        radius: impl Fn(f64, f64) -> f64,
    ) -> Result<Circle, CircleError> {
        let reach = self.reach(centre);
        let (inner, outer) = (reach.near.1, reach.far.1);
        let circle = Circle {
            centre: Point {
                x: self.middle.x + centre[0] * self.unit,
                y: self.middle.y + centre[1] * self.unit,
            },
            radius: radius(inner, outer) * self.unit,
            inner: inner * self.unit,
            outer: outer * self.unit,
        };
        let figures = [circle.centre.x, circle.centre.y, circle.radius, circle.outer];
        let sound = figures.iter().all(|f| f.is_finite()) && circle.radius > 0.0;
        if sound { Ok(circle) } else { Err(CircleError::NotRound) }
    }
}

/// Values worked on at a time, few enough to stay close at hand.
const BLOCK: usize = 64;

/// Places and values of the least and the greatest of n figures; `fill` computes those from a place
/// on. Goes block by block, so that a place is looked for only where a new extreme was met.
pub(super) fn extremes(n: usize, fill: impl Fn(usize, &mut [f64])) -> ((usize, f64), (usize, f64)) {
    let (mut least, mut most) = ((0, f64::INFINITY), (0, f64::NEG_INFINITY));
    let mut block = [0.0; BLOCK];
    for from in (0..n).step_by(BLOCK) {
        let filled = &mut block[..BLOCK.min(n - from)];
        fill(from, filled);
        let (mut low, mut high) = ([f64::INFINITY; 4], [f64::NEG_INFINITY; 4]);
        let (fours, rest) = filled.as_chunks::<4>();
        for four in fours {
            for k in 0..4 {
                low[k] = if four[k] < low[k] { four[k] } else { low[k] };
                high[k] = if four[k] > high[k] { four[k] } else { high[k] };
            }
        }
        let lowest = low.iter().chain(rest).copied().fold(f64::INFINITY, f64::min);
        let highest = high.iter().chain(rest).copied().fold(f64::NEG_INFINITY, f64::max);
        let place = |wanted: f64| from + filled.iter().position(|v| *v == wanted).unwrap_or(0);
        if lowest < least.1 {
            least = (place(lowest), lowest);
        }
        if highest > most.1 {
            most = (place(highest), highest);
        }
    }
    (least, most)
}

impl View {
    /// Places and values of the least and the greatest distance as it would be after a shift, by
    /// the linear rule.
    pub(super) fn extremes_after(&self, shift: [f64; 2]) -> ((usize, f64), (usize, f64)) {
        let shifted = |from: usize, block: &mut [f64]| {
            let to = from + block.len();
            let along = self.along_x[from..to].iter().zip(&self.along_y[from..to]);
            let seen = along.zip(&self.distance[from..to]);
            for (off, ((u, v), rho)) in block.iter_mut().zip(seen) {
                *off = rho - u * shift[0] - v * shift[1];
            }
        };
        extremes(self.distance.len(), shifted)
    }

    /// The cosine of half the widest angle, as seen from the centre, in which no point lies. Above
    /// 0 where the points go all the way round; never larger than it truly is.
    pub(super) fn cosine_of_half_gap(&self) -> f64 {
        // First and last point of each of many small sectors: inside one the gap is smaller yet.
        let mut sectors = vec![None::<[(f64, usize); 2]>; 4 * SECTORS];
        // Some of the points alone leave no smaller gaps than all of them, and tell as well.
        let every = (self.along_x.len() / (4 * SECTORS)).max(1);
        for (i, (&x, &y)) in self.along_x.iter().zip(&self.along_y).enumerate().step_by(every) {
            let turn = turn(x, y);
            // In range: `turn` is at most 4 and the cast stops at the ends.
            let sector = ((turn * SECTORS as f64) as usize).min(4 * SECTORS - 1);
            match &mut sectors[sector] {
                Some([first, _]) if turn < first.0 => *first = (turn, i),
                Some([_, last]) if turn > last.0 => *last = (turn, i),
                Some(_) => {}
                empty => *empty = Some([(turn, i); 2]),
            }
        }
        let met: Vec<[(f64, usize); 2]> = sectors.into_iter().flatten().collect();
        let mut widest = 2.0 / SECTORS as f64;
        for (k, [_, (_, last)]) in met.iter().enumerate() {
            let (_, first) = met[(k + 1) % met.len()][0];
            widest = f64::max(widest, self.angle(*last, first));
        }
        (0.5 * widest.min(std::f64::consts::TAU)).cos()
    }

    /// Angle from the direction of one point on to that of another, 0 to a full turn.
    fn angle(&self, from: usize, to: usize) -> f64 {
        let (ax, ay) = (self.along_x[from], self.along_y[from]);
        let (bx, by) = (self.along_x[to], self.along_y[to]);
        let angle = (ax * by - ay * bx).atan2(ax * bx + ay * by);
        if angle > 0.0 { angle } else { angle + std::f64::consts::TAU }
    }
}

/// Sectors a quarter turn is cut into; one of them is at most two radians over this number wide.
const SECTORS: usize = 64;

/// A direction as a figure from 0 to 4 that grows with the angle, without its arc tangent; the
/// angle grows by at most two radians while it grows by one.
fn turn(x: f64, y: f64) -> f64 {
    let part = y.abs() / (x.abs() + y.abs()).max(f64::MIN_POSITIVE);
    match (x >= 0.0, y >= 0.0) {
        (true, true) => part,
        (false, true) => 2.0 - part,
        (false, false) => 2.0 + part,
        (true, false) => 4.0 - part,
    }
}
