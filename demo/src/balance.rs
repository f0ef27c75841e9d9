//! The balancing machine: measure, drill, measure again.
//!
//! Angles count from crank pin 1 against the clock, as the works file says; a hole takes metal off
//! the heavy side. The operator's own way is followed here, one hole where one will do; the tool
//! under demonstration has a better one.

use std::f64::consts::PI;
use std::rc::Rc;
use std::sync::Arc;

use bedplate_record::entry::{Event, HoleDrilled};
use bedplate_record::reading::Name;

use crate::calendar::END;
use crate::crankshaft::CrankLine;
use crate::daybook::{Bench, Cut};
use crate::drawing::{Characteristic, Drawing};
use crate::line::{Piece, Shop, Spot};
use crate::stream::{Purpose, Stream};
use crate::truth::TrueValue;

/// The balancing machine's people.
const BALANCING: Bench = Bench { name: "balancing 1", a: "l-garth", b: "w-crane" };

/// Radius of the counterweights' rims, mm, and density, g/mm³, as in the works file.
const RIM_MM: f64 = 70.0;
const DENSITY_G_MM3: f64 = 7.85e-3;
/// Half the point angle of the drills.
const HALF_POINT: f64 = 59.0 * PI / 180.0;
/// Least and greatest depth of full diameter, mm.
const DEPTH_MM: (f64, f64) = (2.0, 14.0);
/// Windows on either side of the rib, degrees.
const WINDOWS: [(f64, f64); 2] = [(118.0, 174.0), (186.0, 242.0)];
/// A hole this near the rib's side serves alone, degrees.
const BESIDE: f64 = 3.0;
/// Where two holes share what lies before the rib, degrees: 7 mm apart at their deepest.
const SHARED_AT: (f64, f64) = (170.0, 190.0);
/// What a site takes at the plane near it and at the other: webs at 74 and 346 mm, planes at 40
/// and 380 mm.
const LEVERS: (f64, f64) = (0.9, 0.1);
/// What is left open of each plane's limit, g·mm: G 6.3, 11.4 kg, 3600 rev/min, mass centre at
/// 212 mm, less 12 g·mm of guard.
const ALLOWED_GMM: [f64; 2] = [82.1, 84.4];
/// The last crankshaft waits, so that it is measured and not yet drilled when the record ends.
const LAST_AT: f64 = END - 2.2;
const LAST_WAITS_FROM: f64 = END - 13.5;
/// Less than this is not drilled.
const NOT_WORTH_GMM: f64 = 40.0;

/// Unbalance as a vector, g·mm.
type Vector = (f64, f64);

fn vector(amount: f64, degrees: f64) -> Vector {
    let angle = degrees * PI / 180.0;
    (amount * libm::cos(angle), amount * libm::sin(angle))
}

fn polar((x, y): Vector) -> (f64, f64) {
    let degrees = libm::atan2(y, x) * 180.0 / PI;
    (libm::hypot(x, y), degrees.rem_euclid(360.0))
}

fn mixed(near: Vector, far: Vector, (a, b): (f64, f64)) -> Vector {
    (a * near.0 + b * far.0, a * near.1 + b * far.1)
}

/// One hole as planned.
#[derive(Debug, Clone, Copy)]
struct Hole {
    drill_mm: f64,
    depth_mm: f64,
    degrees: f64,
}

/// The factors of a drill: metal a millimetre, height of its point, share lost at the round mouth.
fn drill(diameter_mm: f64) -> (f64, f64, f64) {
    let k = DENSITY_G_MM3 * PI * diameter_mm * diameter_mm / 4.0;
    let point = diameter_mm / 2.0 / libm::tan(HALF_POINT);
    (k, point, diameter_mm * diameter_mm / (32.0 * RIM_MM))
}

/// What a radial hole takes off, g·mm: a cylinder from the tangent plane, a cone, less the mouth.
fn moment(diameter_mm: f64, depth_mm: f64) -> f64 {
    let (k, h, q) = drill(diameter_mm);
    k * (RIM_MM * depth_mm - depth_mm * depth_mm / 2.0)
        + k * h / 3.0 * (RIM_MM - depth_mm - h / 4.0)
        - k * q * RIM_MM
}

/// The depth at which a hole takes off `wanted`, to the machine's step, inside what is allowed.
fn depth(diameter_mm: f64, wanted: f64) -> f64 {
    let (k, h, q) = drill(diameter_mm);
    let b = k * (RIM_MM - h / 3.0);
    let c = k * h / 3.0 * (RIM_MM - h / 4.0) - k * q * RIM_MM - wanted;
    let root = (b * b + 2.0 * k * c).max(0.0).sqrt();
    let depth = (b - root) / k;
    (depth.clamp(DEPTH_MM.0, DEPTH_MM.1) * 10.0).round() / 10.0
}

/// The holes at one web for what it must lose.
fn holes(wanted: Vector) -> Vec<Hole> {
    let (amount, degrees) = polar(wanted);
    if amount < NOT_WORTH_GMM {
        return vec![];
    }
    let one = |drill_mm: f64, amount: f64, degrees: f64| Hole {
        drill_mm,
        depth_mm: depth(drill_mm, amount),
        degrees,
    };
    let [first, second] = WINDOWS;
    let drill_for = |amount: f64| if amount < 200.0 { 8.0 } else { 12.0 };
    if first.1 + BESIDE < degrees && degrees < second.0 - BESIDE {
        // Two holes on either side of the rib share it by the sine rule.
        let (left, right) = SHARED_AT;
        let sine = |from: f64, to: f64| libm::sin((to - from) * PI / 180.0);
        let a = amount * sine(degrees, right) / sine(left, right);
        let b = amount * sine(left, degrees) / sine(left, right);
        return [(a, left), (b, right)]
            .into_iter()
            .filter(|(amount, _)| *amount >= NOT_WORTH_GMM)
            .map(|(amount, degrees)| one(drill_for(amount), amount, degrees))
            .collect();
    }
    let reached = if degrees < (first.1 + second.0) / 2.0 {
        degrees.clamp(first.0, first.1)
    } else {
        degrees.clamp(second.0, second.1)
    };
    let reach = amount * libm::cos((degrees - reached) * PI / 180.0);
    vec![one(drill_for(reach), reach, reached.round())]
}

/// The balancing machine.
#[derive(Debug)]
pub(crate) struct Balancing {
    chance: Stream,
    amount: Rc<Characteristic>,
    angle: Rc<Characteristic>,
    /// When the machine is free.
    next_at: f64,
}

impl Balancing {
    pub(crate) fn new(d: &Drawing, seed: u64) -> Self {
        let chance = Stream::new(seed, Purpose::Balance);
        let (amount, angle) = (d.of("crankshaft.unbalance"), d.of("crankshaft.unbalance_angle"));
        Self { chance, amount, angle, next_at: 0.0 }
    }

    /// Balances what waits, as far as the machine comes until `until`; `every` minutes a piece.
    pub(crate) fn run(&mut self, shop: &mut Shop, cranks: &mut CrankLine, until: f64, every: f64) {
        while self.next_at < until {
            let waits = cranks.line.stock.front().is_some_and(|c| c.ready <= self.next_at);
            let Some(crank) = cranks.line.stock.pop_front_if(|_| waits) else {
                self.next_at = until;
                return;
            };
            let mut start = self.next_at;
            if LAST_WAITS_FROM < start && start < END {
                start = LAST_AT;
            }
            if let Some(balanced) = self.balance(shop, crank, start) {
                cranks.balanced.push_back(balanced);
            }
            self.next_at = start + every * shop.pace.between(0.88, 1.12);
        }
    }

    fn balance(&mut self, shop: &mut Shop, mut crank: Piece, start: f64) -> Option<Piece> {
        let chance = &mut self.chance;
        // Counterweights are left heavy, so that what must go lies where it may be drilled.
        let mut webs: [Vector; 2] =
            [(); 2].map(|()| (chance.normal(-410.0, 90.0), chance.normal(0.0, 68.0)));
        let read = self.measure(shop, &crank.name, webs, start + 1.4);
        let det = LEVERS.0 * LEVERS.0 - LEVERS.1 * LEVERS.1;
        let back = (LEVERS.0 / det, -LEVERS.1 / det);
        let plans = [holes(mixed(read[0], read[1], back)), holes(mixed(read[1], read[0], back))];
        let mut drilled = Vec::new();
        for ((web, plan), site) in webs.iter_mut().zip(plans).zip(["web 1", "web 8"]) {
            for hole in plan {
                let depth = hole.depth_mm + self.chance.normal(0.0, 0.05);
                let degrees = hole.degrees + self.chance.normal(0.0, 0.5);
                let taken = vector(moment(hole.drill_mm, depth), degrees);
                *web = (web.0 - taken.0, web.1 - taken.1);
                drilled.push(HoleDrilled {
                    site: site.to_owned(),
                    angle: format!("{}°", hole.degrees),
                    drill: format!("{} mm", hole.drill_mm),
                    depth: format!("{:.1} mm", hole.depth_mm),
                });
            }
        }
        let by = BALANCING.person(start + 5.0);
        let piece = crank.name.to_string();
        let event = Event::HolesDrilled { piece: piece.clone(), holes: drilled };
        shop.daybook.enter(start + 5.0, by, event);
        let left = self.measure(shop, &crank.name, webs, start + 7.2);
        let over = (0..2).find(|&p| polar(left[p]).0 > ALLOWED_GMM[p]);
        if let Some(plane) = over {
            let (amount, plane) = (polar(left[plane]).0.round(), ["A", "B"][plane]);
            let reason = format!("{amount} g·mm left at {plane}, no window to drill in");
            shop.daybook.enter(start + 9.0, by, Event::PieceScrapped { piece, reason });
            return None;
        }
        crank.ready = start + 9.0;
        Some(crank)
    }

    /// Reads both planes; gives the vectors as written down.
    fn measure(
        &mut self,
        shop: &mut Shop,
        piece: &Name,
        webs: [Vector; 2],
        minute: f64,
    ) -> [Vector; 2] {
        let planes = [mixed(webs[0], webs[1], LEVERS), mixed(webs[1], webs[0], LEVERS)];
        let mut read = [(0.0, 0.0); 2];
        for (position, plane) in planes.into_iter().enumerate() {
            let scatter = self.amount.uncertainty / 4.0;
            let seen = polar((
                plane.0 + self.chance.normal(0.0, scatter),
                plane.1 + self.chance.normal(0.0, scatter),
            ));
            let minute = minute + 0.2 * position as f64;
            let mut written = |of: &Characteristic, seen: f64| {
                let bench = BALANCING;
                let spot = Spot { of, position, piece, bench, cut: Cut::default() };
                let shown = shop.gauging.shown(of, seen);
                shop.note(minute, &spot, shown);
                shown.number
            };
            let amount = written(&self.amount, seen.0);
            // 359.6° is written as 0°.
            let degrees = written(&self.angle, seen.1.round().rem_euclid(360.0));
            read[position] = vector(amount, degrees);
        }
        let values = shop.pieces.entry(Arc::clone(piece)).or_default();
        values.retain(|v| v.characteristic != self.amount.id);
        values.extend(planes.into_iter().enumerate().map(|(position, plane)| TrueValue {
            characteristic: Arc::clone(&self.amount.id),
            position: Arc::clone(&self.amount.positions[position]),
            value: polar(plane).0,
        }));
        read
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn depth_and_moment_are_inverse() {
        for (drill_mm, wanted) in [(8.0, 120.0), (8.0, 300.0), (12.0, 250.0), (12.0, 700.0)] {
            let got = moment(drill_mm, depth(drill_mm, wanted));
            // Half a step of depth, 0.05 mm, is worth at most 3.2 g·mm.
            assert!((got - wanted).abs() < 3.2, "{drill_mm} {wanted} {got}");
        }
    }

    #[test]
    fn holes_lie_in_the_windows_and_take_what_is_wanted() {
        for (degrees, amount) in (118..=242).flat_map(|d| [(d, 200.0), (d, 420.0), (d, 700.0)]) {
            let wanted = vector(amount, f64::from(degrees));
            let mut left = wanted;
            for hole in holes(wanted) {
                assert!(WINDOWS.iter().any(|w| w.0 <= hole.degrees && hole.degrees <= w.1));
                let taken = vector(moment(hole.drill_mm, hole.depth_mm), hole.degrees);
                left = (left.0 - taken.0, left.1 - taken.1);
            }
            assert!(polar(left).0 < ALLOWED_GMM[0] / 2.0, "{degrees} {amount}: {left:?}");
        }
    }
}
