//! The lines without a story of their own, and the boxes that are bought; among these the heat of
//! soft tappets.

use crate::block::BENCH_4;
use crate::crankshaft::BENCH_5;
use crate::daybook::Bench;
use crate::drawing::Drawing;
use crate::line::{Fate, Feature, Line, Marks, Piece, Setting, Shape, Shop};
use crate::piston::BENCH_3;

/// The bench at which camshafts and what is bought are gauged.
const BENCH_6: Bench = Bench { name: "bench 6", a: "p-lorn", b: "c-yarrow" };

const fn marks(
    part: &'static str,
    prefix: &'static str,
    heat: &'static str,
    pieces_a_heat: u32,
) -> Marks {
    Marks { part, prefix, heat, pieces_a_heat }
}

const fn both(together: f64, apart: f64) -> Shape {
    Shape::Size { together, apart }
}

/// Connecting rods.
pub(crate) fn rods(d: &Drawing) -> Line {
    let features = vec![
        Feature::size(d, "rod.length", 130.0, 0.006).kept(),
        Feature::size(d, "rod.mass", 586.0, 2.2),
        Feature::size(d, "rod.big_end_bore", 48.008, 0.0018),
        Feature::size(d, "rod.small_end_bore", 18.015, 0.0010),
        Feature::form(d, "rod.bend", 13.0),
        Feature::form(d, "rod.twist", 19.0),
        Feature::size(d, "rod.width", 25.925, 0.004),
    ];
    Line::new(marks("rod", "R", "D-", 800), Bench { name: "bench 2", ..BENCH_3 }, features)
}

/// Camshafts.
pub(crate) fn camshafts(d: &Drawing) -> Line {
    let features = vec![
        Feature::new(d, "camshaft.lift", 6.200, both(0.003, 0.007)).kept(),
        Feature::size(d, "camshaft.journal", 41.960, 0.0018),
        Feature::form(d, "camshaft.base_run_out", 8.0),
        Feature::size(d, "camshaft.hardness", 53.0, 0.8),
    ];
    Line::new(marks("camshaft", "S", "K-1", 120), BENCH_6, features)
}

/// Cylinder heads.
pub(crate) fn heads(d: &Drawing) -> Line {
    let features = vec![
        Feature::new(d, "head.chamber_volume", 32.40, both(0.05, 0.09)).kept(),
        Feature::form(d, "head.flatness", 19.0),
        Feature::size(d, "head.guide_bore", 8.0075, 0.0013),
        Feature::form(d, "head.seat_run_out", 13.0),
        Feature::new(d, "head.leak", 0.995, Shape::Attribute),
    ];
    Line::new(marks("head", "H", "F-4", 60), BENCH_4, features)
}

/// Oil pumps.
pub(crate) fn oil_pumps(d: &Drawing) -> Line {
    let bench = Bench { name: "pump bench 1", ..BENCH_5 };
    let features = vec![
        Feature::size(d, "oil_pump.flow", 11.8, 0.32).kept(),
        Feature::size(d, "oil_pump.relief_pressure", 4.0, 0.07),
        Feature::size(d, "oil_pump.gear_end_float", 60.0, 6.0),
    ];
    Line::new(marks("oil_pump", "U", "F-6", 200), bench, features)
}

/// Flywheels.
pub(crate) fn flywheels(d: &Drawing) -> Line {
    let bench = Bench { name: "balancing 2", ..BENCH_5 };
    let features = vec![
        Feature::form(d, "flywheel.unbalance", 55.0),
        Feature::form(d, "flywheel.face_run_out", 21.0),
        Feature::size(d, "flywheel.spigot", 59.9905, 0.0020),
    ];
    Line::new(marks("flywheel", "W", "F-8", 100), bench, features)
}

/// Hardness of sound tappets, in HRC.
pub(crate) const SOUND_HRC: f64 = 60.4;
/// Hardness of the soft heat.
pub(crate) const SOFT_HRC: f64 = 56.8;
/// Which delivery of tappets is the soft heat, from 0.
const SOFT_DELIVERY: u32 = 7;

/// Boxes of one bought part; one delivery is one heat or lot.
#[derive(Debug)]
pub(crate) struct Boxes {
    pub(crate) line: Line,
    /// Deliver when fewer than this are left.
    low: usize,
    pub(crate) soft: SoftBoxes,
}

/// What is remembered of the soft heat.
#[derive(Debug, Default)]
pub(crate) struct SoftBoxes {
    /// Its name.
    pub(crate) heat: String,
    /// Its boxes.
    pub(crate) boxes: Vec<String>,
    /// One box that was put behind the others and comes out on the last day.
    pub(crate) behind: Option<Piece>,
}

impl Boxes {
    fn new(marks: Marks, features: Vec<Feature>) -> Self {
        let mut line = Line::new(marks, BENCH_6, features);
        line.gauged_after = 45.0;
        Self { line, low: 34, soft: SoftBoxes::default() }
    }

    /// Tappets, eight a box.
    pub(crate) fn tappets(d: &Drawing) -> Self {
        let features = vec![
            Feature::new(d, "tappet.hardness", SOUND_HRC, both(0.35, 0.45)).kept(),
            Feature::size(d, "tappet.diameter", 19.9825, 0.0013),
            Feature::size(d, "tappet.length", 50.0, 0.012),
        ];
        Self::new(marks("tappet", "T", "K-2", 118), features)
    }

    /// Piston pins, four a box.
    pub(crate) fn pins(d: &Drawing) -> Self {
        let features = vec![
            Feature::size(d, "pin.diameter", 17.997, 0.0006),
            Feature::size(d, "pin.hardness", 61.0, 0.6),
        ];
        Self::new(marks("pin", "G", "lot G-", 200), features)
    }

    /// Top rings, four a box.
    pub(crate) fn rings(d: &Drawing) -> Self {
        let features = vec![
            Feature::new(d, "ring.gap", 0.36, both(0.012, 0.018)).kept(),
            Feature::size(d, "ring.width", 1.984, 0.0010),
            Feature::new(d, "ring.light", 0.999, Shape::Attribute),
        ];
        Self::new(marks("ring", "N", "lot N-", 160), features)
    }

    /// Main bearing shells, one engine's a box.
    pub(crate) fn main_shells(d: &Drawing) -> Self {
        let features = vec![Feature::new(d, "main_shell.wall", 1.997, both(0.0006, 0.0005)).kept()];
        Self::new(marks("main_shell", "M", "lot M-", 150), features)
    }

    /// Big-end shells, one engine's a box.
    pub(crate) fn rod_shells(d: &Drawing) -> Self {
        let features = vec![Feature::new(d, "rod_shell.wall", 1.497, both(0.0006, 0.0005))];
        Self::new(marks("rod_shell", "L", "lot L-", 150), features)
    }

    /// Takes a delivery in, if the shelf is low.
    pub(crate) fn deliver(&mut self, shop: &mut Shop, minute: f64) {
        if self.line.stock.len() >= self.low {
            return;
        }
        let lot = self.line.marks.pieces_a_heat;
        let soft = self.line.marks.part == "tappet" && self.line.made / lot == SOFT_DELIVERY;
        let heat = self.line.heat(self.line.made + 1);
        let shift = if soft { SOFT_HRC - SOUND_HRC } else { 0.0 };
        let setting = |feature: usize, _: usize| match feature {
            0 => Setting { shift, ..Setting::default() },
            _ => Setting::default(),
        };
        for _ in 0..lot {
            let (piece, fate) = self.line.make(shop, minute, &setting);
            if soft {
                self.soft.boxes.push(piece.name.to_string());
            }
            if fate == Fate::Good {
                self.line.stock.push_back(piece);
            }
        }
        if soft {
            self.soft.heat = heat;
            self.put_softest_behind();
        }
    }

    /// The softest box that nobody sampled is put behind the others.
    fn put_softest_behind(&mut self) {
        let from = self.line.stock.len().saturating_sub(100);
        let mean = |piece: &Piece| piece.truth.iter().sum::<f64>();
        let unsampled = self.line.stock.iter().enumerate().skip(from);
        let softest = unsampled
            .filter(|(_, piece)| piece.read.iter().all(|r| r.is_nan()))
            .min_by(|(_, a), (_, b)| mean(a).total_cmp(&mean(b)))
            .map(|(place, _)| place);
        self.soft.behind = softest.and_then(|place| self.line.stock.remove(place));
    }
}
