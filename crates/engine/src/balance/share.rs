//! The moments of holes at given angles that make the worse of the two planes' shares of its limit
//! as small as it can be.
//!
//! The worse of two shares is the greatest of their weighted means, so the least worst share is
//! found by trying weights: for each, a least-squares problem with a range for every moment. Each
//! weighted mean is also a bound that no choice of moments can go below.

use super::rotor::HOLES_MOST;
use super::vector::Phasor;

/// One hole as it pulls at the two planes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pull {
    /// Direction of its angle, of size 1.
    pub(super) along: Phasor,
    /// Share of the limits of planes A and B that one g·mm of it makes.
    pub(super) lever: [f64; 2],
    /// Least and greatest moment, g·mm.
    pub(super) range: [f64; 2],
}

/// Moments and what they leave.
#[derive(Debug, Clone, Copy)]
pub(super) struct Balance {
    /// Moment of each hole, g·mm.
    pub(super) moments: [f64; HOLES_MOST],
    /// Worse of the two shares left.
    pub(super) share: f64,
    /// Direction of the residual, by which [`super::layout`] bounds other angles.
    pub(super) pressed: [Phasor; 2],
}

/// What holes of these moments leave, in shares of the limits.
pub(super) fn left(target: &[Phasor; 2], pulls: &[Pull], moments: &[f64]) -> [Phasor; 2] {
    pulls.iter().zip(moments).fold(*target, |[a, b], (pull, moment)| {
        [a - pull.along * (pull.lever[0] * moment), b - pull.along * (pull.lever[1] * moment)]
    })
}

/// The worse of two residuals given in shares of their limits.
pub(super) fn worst(residual: &[Phasor; 2]) -> f64 {
    libm::sqrt(square(residual[0]).max(square(residual[1])))
}

fn square(phasor: Phasor) -> f64 {
    phasor.re * phasor.re + phasor.im * phasor.im
}

fn dot(a: Phasor, b: Phasor) -> f64 {
    a.re * b.re + a.im * b.im
}

/// Component of the residuals of both planes along a direction over both.
pub(super) fn component(residual: &[Phasor; 2], along: &[Phasor; 2]) -> f64 {
    dot(residual[0], along[0]) + dot(residual[1], along[1])
}

/// The moments that leave the least worst share, or `None` once it is sure that they leave no less
/// than `give_up`. At most [`HOLES_MOST`] pulls.
pub(super) fn least_share(target: &[Phasor; 2], pulls: &[Pull], give_up: f64) -> Option<Balance> {
    // The solver is compiled for each number of holes: known sizes are several times faster.
    match pulls.len() {
        0 | 1 => least_share_of::<1>(target, pulls, give_up),
        2 => least_share_of::<2>(target, pulls, give_up),
        3 => least_share_of::<3>(target, pulls, give_up),
        4 => least_share_of::<4>(target, pulls, give_up),
        _ => least_share_of::<HOLES_MOST>(target, pulls, give_up),
    }
}

fn least_share_of<const N: usize>(
    target: &[Phasor; 2],
    pulls: &[Pull],
    give_up: f64,
) -> Option<Balance> {
    let planes = [Normal::<N>::of(target, pulls, 0), Normal::<N>::of(target, pulls, 1)];
    let mut walk = Walk::<N>::from_middle(pulls);
    let mut best: Option<Balance> = None;
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..16 {
        let weight = 0.5 * (low + high);
        walk.go_to_optimum(&planes[0].with(&planes[1], weight), pulls);
        let residual = left(target, pulls, &walk.moments);
        let [square_a, square_b] = residual.map(square);
        let bound = libm::sqrt(weight * square_a + (1.0 - weight) * square_b);
        if bound > give_up * (1.0 + 1e-6) {
            return None;
        }
        let share = libm::sqrt(square_a.max(square_b));
        if best.is_none_or(|b| share < b.share) {
            let pressed = [residual[0] * weight, residual[1] * (1.0 - weight)];
            let mut moments = [0.0; HOLES_MOST];
            moments[..pulls.len()].copy_from_slice(&walk.moments[..pulls.len()]);
            best = Some(Balance { moments, share, pressed });
        }
        if share - bound <= 2e-4 * share + 1e-6 {
            break;
        }
        if square_a > square_b { low = weight } else { high = weight }
    }
    best
}

/// Which end of its range a moment is held at.
#[derive(Clone, Copy, PartialEq)]
enum Held {
    Free,
    Least,
    Most,
}

/// The normal equations of the squares at one plane, or of both weighted.
#[derive(Clone, Copy)]
struct Normal<const N: usize> {
    n: usize,
    matrix: [[f64; N]; N],
    right: [f64; N],
}

/// Moments on their way to the least weighted sum of squares within their ranges, by the active-set
/// method: go towards the free optimum, hold what hits its range, free what is pulled back inside.
struct Walk<const N: usize> {
    moments: [f64; N],
    held: [Held; N],
}

impl<const N: usize> Walk<N> {
    fn from_middle(pulls: &[Pull]) -> Self {
        let mut moments = [0.0; N];
        for (moment, pull) in moments.iter_mut().zip(pulls) {
            *moment = 0.5 * (pull.range[0] + pull.range[1]);
        }
        Self { moments, held: [Held::Free; N] }
    }

    fn go_to_optimum(&mut self, normal: &Normal<N>, pulls: &[Pull]) {
        for _ in 0..8 * N + 8 {
            let goal = normal.free_optimum(&self.held, &self.moments);
            let mut step = 1.0;
            let mut stop = None;
            for (i, pull) in pulls.iter().enumerate() {
                let (end, at) = if self.held[i] != Held::Free {
                    continue;
                } else if goal[i] < pull.range[0] {
                    (Held::Least, pull.range[0])
                } else if goal[i] > pull.range[1] {
                    (Held::Most, pull.range[1])
                } else {
                    continue;
                };
                let part = (at - self.moments[i]) / (goal[i] - self.moments[i]);
                if part <= step {
                    (step, stop) = (part.max(0.0), Some((i, end, at)));
                }
            }
            for (moment, goal) in self.moments.iter_mut().zip(goal) {
                *moment += step * (goal - *moment);
            }
            if let Some((i, end, at)) = stop {
                self.moments[i] = at;
                self.held[i] = end;
            } else if let Some(i) = normal.wants_free(&self.held, &self.moments) {
                self.held[i] = Held::Free;
            } else {
                return;
            }
        }
    }
}

impl<const N: usize> Normal<N> {
    fn of(target: &[Phasor; 2], pulls: &[Pull], plane: usize) -> Self {
        let mut normal = Self { n: pulls.len(), matrix: [[0.0; N]; N], right: [0.0; N] };
        for (i, pull) in pulls.iter().enumerate() {
            for (j, other) in pulls.iter().enumerate().take(i + 1) {
                let both = dot(pull.along, other.along) * pull.lever[plane] * other.lever[plane];
                normal.matrix[i][j] = both;
                normal.matrix[j][i] = both;
            }
            normal.right[i] = pull.lever[plane] * dot(pull.along, target[plane]);
        }
        normal
    }

    /// This weighted by `weight` and `other` by the rest.
    fn with(&self, other: &Self, weight: f64) -> Self {
        let mut both = *self;
        let mean = |a: f64, b: f64| weight * a + (1.0 - weight) * b;
        for i in 0..self.n {
            for j in 0..self.n {
                both.matrix[i][j] = mean(self.matrix[i][j], other.matrix[i][j]);
            }
            both.right[i] = mean(self.right[i], other.right[i]);
        }
        // Three holes in one web span a plane only: a trace of stiffness picks one of the many
        // equal answers, and is far below the rounding of a depth.
        let trace: f64 = (0..self.n).map(|i| both.matrix[i][i]).sum();
        for i in 0..self.n {
            both.matrix[i][i] += 1e-10 * trace + f64::MIN_POSITIVE;
        }
        both
    }

    /// Free moments that solve their equations with the held ones where they are, by Cholesky's
    /// factors. A held moment gets an equation of its own that says so.
    fn free_optimum(&self, held: &[Held; N], moments: &[f64; N]) -> [f64; N] {
        let mut factor = [[0.0; N]; N];
        let mut goal = *moments;
        for i in 0..self.n {
            if held[i] != Held::Free {
                factor[i][i] = 1.0;
                continue;
            }
            let mut value = self.right[i];
            for j in 0..self.n {
                if held[j] != Held::Free {
                    value -= self.matrix[i][j] * moments[j];
                }
            }
            let mut rest = self.matrix[i][i];
            for j in 0..i {
                if held[j] != Held::Free {
                    continue;
                }
                let inner: f64 = (0..j).map(|k| factor[i][k] * factor[j][k]).sum();
                factor[i][j] = (self.matrix[i][j] - inner) / factor[j][j];
                value -= factor[i][j] * goal[j];
                rest -= factor[i][j] * factor[i][j];
            }
            factor[i][i] = libm::sqrt(rest.max(1e-12 * self.matrix[i][i]));
            goal[i] = value / factor[i][i];
        }
        for i in (0..self.n).rev() {
            if held[i] == Held::Free {
                let after: f64 = (i + 1..self.n).map(|k| factor[k][i] * goal[k]).sum();
                goal[i] = (goal[i] - after) / factor[i][i];
            }
        }
        goal
    }

    /// The held moment that is pulled hardest back into its range.
    fn wants_free(&self, held: &[Held; N], moments: &[f64; N]) -> Option<usize> {
        let mut hardest = (1e-12, None);
        for (i, held) in held.iter().enumerate().take(self.n) {
            if *held == Held::Free {
                continue;
            }
            let pulled: f64 = (0..self.n).map(|j| self.matrix[i][j] * moments[j]).sum();
            let slope = pulled - self.right[i];
            let back = if *held == Held::Least { -slope } else { slope };
            let relative = back / libm::sqrt(self.matrix[i][i]).max(f64::MIN_POSITIVE);
            if relative > hardest.0 {
                hardest = (relative, Some(i));
            }
        }
        hardest.1
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn pull(angle_deg: f64, lever: [f64; 2], range: [f64; 2]) -> Pull {
        Pull { along: Phasor::polar(1.0, angle_deg), lever, range }
    }

    #[test]
    fn two_holes_square_to_each_other_take_all() {
        let target = [Phasor { re: 3.0, im: 4.0 }, Phasor::ZERO];
        let pulls = [pull(0.0, [0.01, 0.0], [10.0, 900.0]), pull(90.0, [0.01, 0.0], [10.0, 900.0])];
        let balance = least_share(&target, &pulls, f64::INFINITY).unwrap();
        assert!((balance.moments[0] - 300.0).abs() < 1e-4);
        assert!((balance.moments[1] - 400.0).abs() < 1e-4);
        assert!(balance.share < 1e-6);
    }

    #[test]
    fn it_gives_up_only_when_nothing_less_is_left() {
        let target = [Phasor { re: 3.0, im: 4.0 }, Phasor::ZERO];
        let pulls = [pull(0.0, [0.01, 0.0], [10.0, 900.0])];
        assert!((least_share(&target, &pulls, 4.01).unwrap().share - 4.0).abs() < 1e-3);
        assert!(least_share(&target, &pulls, 2.0).is_none());
    }

    proptest! {
        // A fine grid of moments finds nothing better.
        #[test]
        fn no_grid_of_moments_beats_it(
            target in prop::array::uniform4(-4.0..4.0f64),
            angles in prop::array::uniform2(0.0..360.0f64),
            levers in prop::array::uniform4(-0.005..0.015f64),
            least in prop::array::uniform2(0.0..100.0f64),
            width in prop::array::uniform2(10.0..500.0f64),
        ) {
            let target = [
                Phasor { re: target[0], im: target[1] },
                Phasor { re: target[2], im: target[3] },
            ];
            let pulls = [0, 1].map(|i| pull(
                angles[i], [levers[2 * i], levers[2 * i + 1]], [least[i], least[i] + width[i]],
            ));
            let balance = least_share(&target, &pulls, f64::INFINITY).unwrap();
            for (moment, pull) in balance.moments.iter().zip(&pulls) {
                prop_assert!(pull.range[0] - 1e-9 <= *moment && *moment <= pull.range[1] + 1e-9);
            }
            let there = worst(&left(&target, &pulls, &balance.moments));
            prop_assert!((there - balance.share).abs() < 1e-9);
            for i in 0..=40 {
                for j in 0..=40 {
                    let at = |k: usize, part: i32| least[k] + width[k] * f64::from(part) / 40.0;
                    let share = worst(&left(&target, &pulls, &[at(0, i), at(1, j)]));
                    prop_assert!(balance.share <= share * 1.002 + 1e-6, "{balance:?} {share}");
                }
            }
        }
    }
}
