//! An invented engine of the Quarrybeck Engine Works and a store for it, drawn from a seed.

#![allow(clippy::unwrap_used, reason = "a store that cannot be laid must fail the test")]

use bedplate_engine::kit::plan::{
    Certainty, Feature, Fit, Measure, Plan, Role, Spread, Supply, Term, Window,
};
use bedplate_engine::kit::stock::{Measured, Piece};

/// A stream of draws; nothing of the library is used, so that a fault there cannot hide here.
pub(crate) struct Dice(u64);

impl Dice {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0x1234_5678_9ABC_DEF0)
    }

    pub(crate) fn bits(&mut self) -> u64 {
        // SplitMix64, public domain (Vigna).
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    pub(crate) fn below(&mut self, n: u64) -> u64 {
        self.bits() % n
    }

    pub(crate) fn between(&mut self, low: i64, high: i64) -> i64 {
        low + i64::try_from(self.below(high.abs_diff(low) + 1)).unwrap()
    }

    /// Nearly normal with mean 0: the sum of twelve even draws less 6.
    pub(crate) fn normal(&mut self, sd: f64) -> i64 {
        let sum: f64 = (0..12).map(|_| self.bits() as f64 / u64::MAX as f64).sum();
        ((sum - 6.0) * sd).round() as i64
    }
}

pub(crate) fn length(name: &str, positions: usize) -> Feature {
    Feature { name: name.to_owned(), measure: Measure::Length, positions }
}

pub(crate) fn mass(name: &str) -> Feature {
    Feature { name: name.to_owned(), measure: Measure::Mass, positions: 1 }
}

pub(crate) fn role(name: &str, per_engine: usize, supply: Supply, features: Vec<Feature>) -> Role {
    Role { name: name.to_owned(), per_engine, supply, features }
}

pub(crate) fn fit(
    name: &str,
    places: usize,
    terms: &[(&str, &str, f64)],
    constant: i64,
    window: [i64; 3],
) -> Fit {
    let [min, target, max] = window;
    let terms = terms.iter().map(|t| Term::new(t.0, t.1, t.2)).collect();
    Fit { name: name.to_owned(), places, terms, constant, window: Window { min, target, max } }
}

pub(crate) fn spread(
    name: &str,
    places: usize,
    terms: &[(&str, &str, f64)],
    allowed: i64,
) -> Spread {
    let terms = terms.iter().map(|t| Term::new(t.0, t.1, t.2)).collect();
    Spread { name: name.to_owned(), places, terms, allowed }
}

pub(crate) fn piece(role: &str, id: &str, measured: &[(&str, &[i64])], stock: i64) -> Piece {
    let measured = measured.iter().map(|m| Measured::sure(m.0, m.1.to_vec())).collect();
    Piece { role: role.to_owned(), id: id.to_owned(), measured, stock }
}

/// Cylinders, crank pins and main bearings of an engine.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Shape {
    pub(crate) cylinders: usize,
    pub(crate) crank_pins: usize,
    pub(crate) mains: usize,
}

pub(crate) const QB4: Shape = Shape { cylinders: 4, crank_pins: 4, mains: 5 };

/// What goes into one engine.
fn roles(shape: Shape) -> Vec<Role> {
    use Supply::{Graded, Numbered};
    let Shape { cylinders: c, crank_pins, mains } = shape;
    vec![
        role(
            "block",
            1,
            Numbered,
            vec![length("bore", c), length("main housing", mains), length("tappet bore", 2 * c)],
        ),
        role("piston", c, Numbered, vec![length("skirt", 1), length("pin bore", 1), mass("mass")]),
        role("pin", c, Numbered, vec![length("diameter", 1), mass("mass")]),
        role(
            "rod",
            c,
            Numbered,
            vec![
                length("bush", 1),
                length("big end", 1),
                mass("big end mass"),
                mass("small end mass"),
            ],
        ),
        role("ring", c, Graded, vec![length("gap", 1)]),
        role("crankshaft", 1, Numbered, vec![length("main", mains), length("pin", crank_pins)]),
        role("main shell", 2 * mains, Graded, vec![length("wall", 1)]),
        role("rod shell", 2 * c, Graded, vec![length("wall", 1)]),
        role("tappet", 2 * c, Numbered, vec![length("diameter", 1)]),
    ]
}

/// The clearances and the ring gap.
fn fits(shape: Shape) -> Vec<Fit> {
    let Shape { cylinders: c, mains, .. } = shape;
    let pi = std::f64::consts::PI;
    let gap_offset = -(pi * 81e6).round() as i64;
    vec![
        fit(
            "piston clearance",
            c,
            &[("block", "bore", 1.0), ("piston", "skirt", -1.0)],
            0,
            [30_000, 38_000, 46_000],
        ),
        fit(
            "pin in piston",
            c,
            &[("piston", "pin bore", 1.0), ("pin", "diameter", -1.0)],
            0,
            [2_000, 6_000, 10_000],
        ),
        fit(
            "pin in rod",
            c,
            &[("rod", "bush", 1.0), ("pin", "diameter", -1.0)],
            0,
            [8_000, 14_000, 20_000],
        ),
        fit(
            "ring gap",
            c,
            &[("ring", "gap", 1.0), ("block", "bore", pi)],
            gap_offset,
            [250_000, 300_000, 400_000],
        ),
        fit(
            "main clearance",
            mains,
            &[
                ("block", "main housing", 1.0),
                ("crankshaft", "main", -1.0),
                ("main shell", "wall", -1.0),
            ],
            0,
            [20_000, 30_000, 42_000],
        ),
        fit(
            "rod clearance",
            c,
            &[("rod", "big end", 1.0), ("crankshaft", "pin", -1.0), ("rod shell", "wall", -1.0)],
            0,
            [20_000, 30_000, 42_000],
        ),
        fit(
            "tappet clearance",
            2 * c,
            &[("block", "tappet bore", 1.0), ("tappet", "diameter", -1.0)],
            0,
            [15_000, 25_000, 40_000],
        ),
    ]
}

/// The engine of the Quarrybeck works: nominal bore 81 mm, lengths in nm, masses in mg.
pub(crate) fn plan(shape: Shape, certainty: Option<Certainty>) -> Plan {
    let c = shape.cylinders;
    let together = [("piston", "mass", 1.0), ("pin", "mass", 1.0), ("rod", "small end mass", 1.0)];
    let spreads = vec![
        spread("piston mass", c, &together[..1], 4_000),
        spread("pin mass", c, &together[1..2], 2_000),
        spread("rod big end mass", c, &[("rod", "big end mass", 1.0)], 4_000),
        spread("rod small end mass", c, &together[2..], 4_000),
        spread("reciprocating mass", c, &together, 5_000),
    ];
    Plan::new("block", roles(shape), fits(shape), spreads, certainty).unwrap()
}

/// What a store holds and how it scatters.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Lot {
    pub(crate) engines: usize,
    /// Numbered pieces beyond what the engines need, in hundredths.
    pub(crate) surplus: usize,
    pub(crate) seed: u64,
}

/// Pieces of the engine.
pub(crate) fn store(shape: Shape, lot: Lot) -> Vec<Piece> {
    let mut dice = Dice::new(lot.seed);
    let mut all = Vec::new();
    lay_blocks(&mut all, shape, lot, &mut dice);
    lay_pistons(&mut all, lot.beyond(shape.cylinders), &mut dice);
    lay_cranks(&mut all, shape, lot, &mut dice);
    lay_graded(&mut all, shape, lot);
    all
}

impl Lot {
    /// Numbered pieces of which each engine takes `n`.
    fn beyond(self, n: usize) -> usize {
        n * self.engines * (100 + self.surplus) / 100
    }
}

fn drawn(dice: &mut Dice, n: usize, nominal: i64, sd: f64) -> Vec<i64> {
    (0..n).map(|_| nominal + dice.normal(sd)).collect()
}

fn lay_blocks(all: &mut Vec<Piece>, shape: Shape, lot: Lot, dice: &mut Dice) {
    let Shape { cylinders: c, mains, .. } = shape;
    for i in 0..lot.engines {
        let bore = drawn(dice, c, 81_010_000, 4_000.0);
        let housing = drawn(dice, mains, 54_010_000, 3_000.0);
        let tappet = drawn(dice, 2 * c, 30_025_000, 4_000.0);
        let own = [("bore", bore), ("main housing", housing), ("tappet bore", tappet)];
        let own: Vec<(&str, &[i64])> = own.iter().map(|m| (m.0, m.1.as_slice())).collect();
        all.push(piece("block", &format!("B{i:04}"), &own, 1));
    }
}

/// Pistons, pins and rods.
fn lay_pistons(all: &mut Vec<Piece>, count: usize, dice: &mut Dice) {
    for i in 0..count {
        let skirt = 80_972_000 + dice.normal(4_000.0);
        let hole = 20_006_000 + dice.normal(1_200.0);
        let grams = 310_000 + dice.normal(1_500.0);
        let own: [(&str, &[i64]); 3] =
            [("skirt", &[skirt]), ("pin bore", &[hole]), ("mass", &[grams])];
        all.push(piece("piston", &format!("P{i:05}"), &own, 1));
        let own: [(&str, &[i64]); 2] = [
            ("diameter", &[20_000_000 + dice.normal(1_200.0)]),
            ("mass", &[90_000 + dice.normal(400.0)]),
        ];
        all.push(piece("pin", &format!("G{i:05}"), &own, 1));
        let own: [(&str, &[i64]); 4] = [
            ("bush", &[20_014_000 + dice.normal(1_500.0)]),
            ("big end", &[50_610_000 + dice.normal(2_500.0)]),
            ("big end mass", &[420_000 + dice.normal(1_500.0)]),
            ("small end mass", &[160_000 + dice.normal(1_200.0)]),
        ];
        all.push(piece("rod", &format!("R{i:05}"), &own, 1));
    }
}

/// Crankshafts and tappets.
fn lay_cranks(all: &mut Vec<Piece>, shape: Shape, lot: Lot, dice: &mut Dice) {
    let Shape { cylinders: c, crank_pins, mains } = shape;
    for i in 0..lot.beyond(1) {
        let main = drawn(dice, mains, 50_000_000, 2_500.0);
        let pin = drawn(dice, crank_pins, 47_600_000, 2_500.0);
        let own: [(&str, &[i64]); 2] = [("main", &main), ("pin", &pin)];
        all.push(piece("crankshaft", &format!("C{i:04}"), &own, 1));
    }
    for i in 0..lot.beyond(2 * c) {
        let own: [(&str, &[i64]); 1] = [("diameter", &[30_000_000 + dice.normal(4_000.0)])];
        all.push(piece("tappet", &format!("T{i:05}"), &own, 1));
    }
}

/// What the store keeps by grade.
fn lay_graded(all: &mut Vec<Piece>, shape: Shape, lot: Lot) {
    let Shape { cylinders: c, mains, .. } = shape;
    let n = i64::try_from(lot.engines).unwrap();
    let per = |slots: usize, grades: i64| n * i64::try_from(slots).unwrap() / grades + 4 * n;
    for (i, wall) in (-2..=2).map(|k| 1_990_000 + k * 3_000).enumerate() {
        all.push(piece("main shell", &format!("{i}"), &[("wall", &[wall])], per(2 * mains, 3)));
    }
    for (i, wall) in (-2..=2).map(|k| 1_490_000 + k * 3_000).enumerate() {
        all.push(piece("rod shell", &format!("{i}"), &[("wall", &[wall])], per(2 * c, 3)));
    }
    for (i, gap) in [270_000, 300_000, 330_000].into_iter().enumerate() {
        all.push(piece("ring", &format!("{i}"), &[("gap", &[gap - 31_416])], per(c, 2)));
    }
}
