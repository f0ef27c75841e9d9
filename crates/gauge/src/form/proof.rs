//! The proof that no better circle exists.
//!
//! Near its centre a fitted circle is held by a few contact points: whichever way the centre moves,
//! one of them makes it worse, and how fast is its *sharpness* κ. That outweighs the curvature of
//! the distances up to a shift E₁ = 2κr/(1 + 2κ). Far off, the points on the near and on the far
//! side of the shifted centre make every circle worse, from a shift E₂ on. Where E₁ reaches E₂ the
//! circle is the best of the whole plane. Where it does not, the ring between is searched square by
//! square, each left only once no centre in it can be better.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use super::circle::Circle;
use super::scaled::{Scaled, View};

/// A fitted circle with the proof that it is the best.
#[derive(Debug, Clone, PartialEq)]
pub struct Proven {
    /// The circle.
    pub circle: Circle,
    /// Why there is no better one.
    pub proof: Proof,
}

/// Why there is no better circle.
#[derive(Debug, Clone, PartialEq)]
pub struct Proof {
    /// Contact points on the outer circle, by their place among the points given, from 0.
    pub outside: Vec<usize>,
    /// Contact points on the inner circle, likewise.
    pub inside: Vec<usize>,
    /// What no circle betters, in the unit of the points: the least width of a zone, the least
    /// radius around, the greatest radius within. Equal to the fitted one up to rounding, unless
    /// the search was broken off.
    pub bound: f64,
    /// Centres this near are covered by the proof, in the unit of the points: infinite for all of
    /// the plane.
    pub within: f64,
    /// By how much the figure gets worse at least for a small shift of the centre by one.
    pub sharpness: f64,
}

impl Proof {
    /// Whether the fitted figure equals the bound up to rounding: nothing better exists at all,
    /// within [`Proof::within`].
    #[must_use]
    pub fn is_closed(&self, fitted: f64, outer: f64) -> bool {
        (fitted - self.bound).abs() <= 4.0 * ROUNDING * outer
    }
}

/// Which figure is made best.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Aim {
    /// Farthest less nearest distance is least.
    Width,
    /// The nearest distance is greatest.
    Inscribed,
}

/// What came of a proof.
pub(super) enum Outcome {
    /// It holds.
    Holds(Proof),
    /// Another centre is better.
    Better([f64; 2]),
}

/// A centre with the contact points said to hold it, in scaled points.
pub(super) struct Claim<'a> {
    pub(super) aim: Aim,
    pub(super) points: &'a Scaled,
    pub(super) centre: [f64; 2],
    pub(super) view: &'a View,
    pub(super) outside: Vec<usize>,
    pub(super) inside: Vec<usize>,
}

/// What rounding makes of distances near one.
const ROUNDING: f64 = 64.0 * f64::EPSILON;

/// Distances looked at in all searches of a fit before they are broken off: some milliseconds.
const LOOKS_MAX: usize = 4_000_000;
/// Squares that are looked at however many points there are.
const SQUARES_MIN: usize = 2_000;

/// What one round of a fit says about a centre.
pub(super) struct Step {
    /// How the centre is to move.
    pub(super) shift: [f64; 2],
    /// The rows that hold it, to start the next round from.
    pub(super) rows: Vec<usize>,
    pub(super) outside: Vec<usize>,
    pub(super) inside: Vec<usize>,
}

/// One round of a fit: from what a centre sees, and the rows of the round before, a step.
pub(super) type Round = fn(&View, &[usize]) -> Option<Step>;

/// Rounds from one start; each squares the error.
const ROUNDS_MAX: usize = 40;
/// Times the search may find a better start.
const STARTS_MAX: usize = 200;

/// Fits from a start, proves, and starts anew wherever the proof finds a better centre.
pub(super) fn prove_best(
    points: &Scaled,
    start: [f64; 2],
    aim: Aim,
    round: Round,
) -> Option<([f64; 2], Proof)> {
    let mut view = View::default();
    let mut from = start;
    let mut starts = STARTS_MAX;
    let mut looks = LOOKS_MAX.max(SQUARES_MIN * points.len());
    loop {
        let (centre, held) = settle(points, from, aim, round, &mut view);
        let (outside, inside) =
            held.map_or_else(Default::default, |step| (step.outside, step.inside));
        let claim = Claim { aim, points, centre, view: &view, outside, inside };
        starts -= 1;
        match claim.prove(&mut looks) {
            Outcome::Holds(proof) => return Some((centre, proof)),
            Outcome::Better(_) if starts == 0 => return None,
            Outcome::Better(centre) => from = centre,
        }
    }
}

/// Moves a centre until no round betters it; leaves `view` as seen from there.
fn settle(
    points: &Scaled,
    start: [f64; 2],
    aim: Aim,
    round: Round,
    view: &mut View,
) -> ([f64; 2], Option<Step>) {
    let measure = |centre: [f64; 2]| {
        let reach = points.reach(centre);
        figure(aim, reach.near.1, reach.far.1)
    };
    let (mut centre, mut best) = (start, measure(start));
    let mut held: Option<Step> = None;
    for _ in 0..ROUNDS_MAX {
        points.look(centre, view);
        let rows = held.as_ref().map_or(&[][..], |step| &step.rows);
        let Some(mut step) = round(view, rows).or_else(|| round(view, &[])) else { break };
        let same = held.as_ref().is_some_and(|before| before.rows == step.rows);
        let mut halvings = 0;
        let (next, there) = loop {
            let next = [centre[0] + step.shift[0], centre[1] + step.shift[1]];
            let there = measure(next);
            if there <= best + 4.0 * f64::EPSILON || halvings == 30 {
                break (next, there);
            }
            step.shift = step.shift.map(|s| 0.5 * s);
            halvings += 1;
        };
        let gain = best - there;
        held = Some(step);
        if gain > 0.0 {
            (centre, best) = (next, there);
        }
        if gain <= 2.0 * f64::EPSILON && (same || gain <= 0.0) {
            break;
        }
    }
    points.look(centre, view);
    (centre, held)
}

impl Claim<'_> {
    /// Proves the claim, or finds a better centre; `looks` is what the search may still take.
    pub(super) fn prove(self, looks: &mut usize) -> Outcome {
        let reach = self.points.reach(self.centre);
        let (near, far) = (reach.near.1, reach.far.1);
        let sharpness = self.sharpness();
        // Contacts that do not touch hold nothing.
        let touching = figure(self.aim, near, far) - self.contact_figure() <= ROUNDING;
        let sharp = if touching { sharpness } else { 0.0 };
        let held_to = 2.0 * sharp * near / (1.0 + 2.0 * sharp);
        let (lost_from, within) = match self.aim {
            Aim::Width => self.far_centres_lose(near, far),
            Aim::Inscribed => self.far_centres_lose_within(near, far),
        };
        let mut proof = Proof {
            bound: self.points.length_back(self.contact_bound()),
            within: self.points.length_back(within),
            sharpness,
            outside: self.outside.clone(),
            inside: self.inside.clone(),
        };
        if held_to < lost_from {
            let figure = figure(self.aim, near, far);
            let ring = Ring { centre: self.centre, held_to, lost_from, figure };
            match ring.search(self.aim, self.points, looks) {
                Searched::Better(centre) => return Outcome::Better(centre),
                Searched::Bound(least) => {
                    // Where no contact holds the centre, the search alone speaks.
                    let held = if held_to > 0.0 { self.contact_figure() } else { figure };
                    let bound = match self.aim {
                        Aim::Width => held.min(least),
                        Aim::Inscribed => -held.min(least),
                    };
                    proof.bound = self.points.length_back(bound);
                }
            }
        }
        Outcome::Holds(proof)
    }

    /// What the contact points alone allow, as a figure to be made least.
    fn contact_figure(&self) -> f64 {
        let of = |places: &[usize]| places.iter().map(|&i| self.view.distance[i]).collect();
        let (outer, inner): (Vec<f64>, Vec<f64>) = (of(&self.outside), of(&self.inside));
        let least_outer = outer.iter().copied().fold(f64::INFINITY, f64::min);
        let most_inner = inner.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        figure(self.aim, most_inner, least_outer)
    }

    fn contact_bound(&self) -> f64 {
        match self.aim {
            Aim::Width => self.contact_figure(),
            Aim::Inscribed => -self.contact_figure(),
        }
    }

    /// How fast the figure worsens at least: the distance of 0 from the rim of the polygon of its
    /// slopes; 0 if it does not lie inside.
    fn sharpness(&self) -> f64 {
        let along = |&i: &usize| [self.view.along_x[i], self.view.along_y[i]];
        let slopes: Vec<[f64; 2]> = match self.aim {
            Aim::Inscribed => self.inside.iter().map(along).collect(),
            Aim::Width => {
                let pairs =
                    self.inside.iter().flat_map(|i| self.outside.iter().map(move |o| (i, o)));
                pairs.map(|(i, o)| [along(i)[0] - along(o)[0], along(i)[1] - along(o)[1]]).collect()
            }
        };
        inner_reach(&slopes)
    }

    /// From which shift on every zone is wider, and how far that covers: the point ahead of the
    /// shifted centre comes near, the one behind goes far, and their difference grows with the
    /// shift.
    fn far_centres_lose(&self, near: f64, far: f64) -> (f64, f64) {
        let cosine = self.view.cosine_of_half_gap();
        let width = far - near;
        let ahead = |rho: f64, e: f64| (rho * rho - 2.0 * rho * e * cosine + e * e).max(0.0).sqrt();
        let behind = |e: f64| (near * near + 2.0 * near * e * cosine + e * e).sqrt();
        let wider = |e: f64| behind(e) - ahead(near, e).max(ahead(far, e)) >= width;
        // Grows towards 2·near·cosine, which it does not reach.
        if !(cosine > 0.0 && wider(64.0 * far)) {
            return (far, far);
        }
        let (mut low, mut high) = (0.0, 64.0 * far);
        while high - low > 1e-3 * high {
            let middle = 0.5 * (low + high);
            if wider(middle) { high = middle } else { low = middle }
        }
        (high, f64::INFINITY)
    }

    /// From which shift on every circle within is smaller: the point ahead comes nearer than the
    /// radius. Holds to the other side of the trace.
    fn far_centres_lose_within(&self, near: f64, far: f64) -> (f64, f64) {
        let cosine = self.view.cosine_of_half_gap();
        let root = far * far * cosine * cosine - (far * far - near * near);
        let to = (2.0 * near * cosine).min(far * cosine + root.max(0.0).sqrt());
        let from = far * cosine - root.max(0.0).sqrt();
        if cosine > 0.0 && root > 0.0 && to >= 0.5 * near {
            (from, to)
        } else {
            (0.5 * near, 0.5 * near)
        }
    }
}

/// The figure that is made least.
fn figure(aim: Aim, near: f64, far: f64) -> f64 {
    match aim {
        Aim::Width => far - near,
        Aim::Inscribed => -near,
    }
}

/// Distance from 0 to the rim of the hull of a few vectors, if 0 lies inside; otherwise 0.
pub(super) fn inner_reach(vectors: &[[f64; 2]]) -> f64 {
    let mut least = f64::INFINITY;
    for (i, a) in vectors.iter().enumerate() {
        for (j, b) in vectors.iter().enumerate() {
            let side = [b[0] - a[0], b[1] - a[1]];
            let length = side[0].hypot(side[1]);
            if i == j || length == 0.0 {
                continue;
            }
            let left_of =
                |p: [f64; 2]| (side[0] * (p[1] - a[1]) - side[1] * (p[0] - a[0])) / length;
            // A side of the hull has all others to its left.
            if vectors.iter().all(|&p| left_of(p) >= -1e-12) {
                least = least.min(left_of([0.0, 0.0]));
            }
        }
    }
    if least.is_finite() { least.max(0.0) } else { 0.0 }
}

/// Shifts that neither the contacts nor the far points decide.
struct Ring {
    centre: [f64; 2],
    held_to: f64,
    lost_from: f64,
    figure: f64,
}

enum Searched {
    Better([f64; 2]),
    Bound(f64),
}

/// A square of centres with what none of them can better.
struct Square {
    centre: [f64; 2],
    half: f64,
    bound: f64,
}

impl PartialEq for Square {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}
impl Eq for Square {}
impl PartialOrd for Square {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Square {
    fn cmp(&self, other: &Self) -> Ordering {
        // The square that promises most comes out of the heap first.
        other.bound.total_cmp(&self.bound).then(other.half.total_cmp(&self.half))
    }
}

impl Ring {
    fn search(&self, aim: Aim, points: &Scaled, looks: &mut usize) -> Searched {
        let rounding = 16.0 * f64::EPSILON;
        let whole = Square { centre: self.centre, half: self.lost_from, bound: f64::NEG_INFINITY };
        let mut open = BinaryHeap::from([whole]);
        while let Some(square) = open.pop() {
            if square.bound >= self.figure - rounding {
                break;
            }
            if *looks == 0 {
                return Searched::Bound(square.bound);
            }
            let half = 0.5 * square.half;
            for (sx, sy) in [(-1.0, -1.0), (-1.0, 1.0), (1.0, -1.0), (1.0, 1.0)] {
                let centre = [square.centre[0] + sx * half, square.centre[1] + sy * half];
                if self.is_decided(centre, half) {
                    continue;
                }
                *looks = looks.saturating_sub(points.len());
                let (there, bound) = least_in(aim, points, centre, half);
                let off = (centre[0] - self.centre[0]).hypot(centre[1] - self.centre[1]);
                if there < self.figure - rounding && off <= self.lost_from {
                    return Searched::Better(centre);
                }
                open.push(Square { centre, half, bound: bound.max(square.bound) });
            }
        }
        Searched::Bound(self.figure)
    }

    /// Whether the contacts or the far points decide all of a square.
    fn is_decided(&self, centre: [f64; 2], half: f64) -> bool {
        let off = [(centre[0] - self.centre[0]).abs(), (centre[1] - self.centre[1]).abs()];
        let nearest = (off[0] - half).max(0.0).hypot((off[1] - half).max(0.0));
        let farthest = (off[0] + half).hypot(off[1] + half);
        farthest <= self.held_to || nearest >= self.lost_from
    }
}

/// The figure at the middle of a square, and what no centre in it can better.
fn least_in(aim: Aim, points: &Scaled, centre: [f64; 2], half: f64) -> (f64, f64) {
    let reach = points.reach(centre);
    let ((i, near), (o, far)) = (reach.near, reach.far);
    let there = figure(aim, near, far);
    let away = half * std::f64::consts::SQRT_2;
    if aim == Aim::Inscribed {
        return (there, there - away);
    }
    // A distance changes by no more than the shift; the difference of two by no more than their
    // directions differ, and the curvature of the nearer.
    let mut bound = there - 2.0 * away;
    if near > away {
        let part =
            |p: usize, rho: f64| [(points.x[p] - centre[0]) / rho, (points.y[p] - centre[1]) / rho];
        let (a, b) = (part(i, near), part(o, far));
        let slope = (a[0] - b[0]).hypot(a[1] - b[1]);
        bound = bound.max(there - away * slope - away * away / (2.0 * (near - away)));
    }
    (there, bound)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reach_inside_a_hull() {
        let square = [[1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0], [1.0, -1.0]];
        assert!((inner_reach(&square) - 1.0).abs() < 1e-15);
        assert_eq!(inner_reach(&[[1.0, 1.0], [2.0, 1.0], [1.0, 2.0]]), 0.0);
        assert_eq!(inner_reach(&[[1.0, 0.0], [-1.0, 0.0]]), 0.0);
        assert_eq!(inner_reach(&[]), 0.0);
    }
}
