//! The crankshaft line: a grinder that drifts and is no longer reset, then the balancing machine,
//! before which crankshafts wait.

use std::collections::VecDeque;

use bedplate_gauge::limits::Side;
use bedplate_record::entry::Event;

use crate::block::SETTERS;
use crate::calendar::{day_of, minute_at};
use crate::daybook::Bench;
use crate::drawing::Drawing;
use crate::line::{Fate, Feature, Line, Marks, Piece, Setting, Shape, Shop};

/// The bench at which crankshafts are gauged.
pub(crate) const BENCH_5: Bench = Bench { name: "bench 5", a: "p-lorn", b: "c-yarrow" };

/// Growth of the journals from crankshaft to crankshaft while the wheel is dressed in time.
const WEAR_UM: f64 = 0.006;
/// Growth from Thursday, 19 November, on: the dresser's diamond is worn, and nobody resets.
pub(crate) const DRIFT_UM: f64 = 0.0125;
const DRIFT_DAY: usize = 26;

/// From when the grinder drifts, in working minutes.
pub(crate) fn drifts_from() -> f64 {
    minute_at(DRIFT_DAY, 6, 0)
}

/// The crankshaft line up to the grinder; its stock waits for the balancing machine.
#[derive(Debug)]
pub(crate) struct CrankLine {
    pub(crate) line: Line,
    /// Crankshafts that are balanced.
    pub(crate) balanced: VecDeque<Piece>,
    offset_um: f64,
    day_set: Option<usize>,
}

/// Place of the kept values of a crankshaft.
pub(crate) const MAINS: std::ops::Range<usize> = 0..3;
/// The stroke.
pub(crate) const STROKE: usize = 3;

impl CrankLine {
    pub(crate) fn new(d: &Drawing) -> Self {
        let marks = Marks { part: "crankshaft", prefix: "C", heat: "D-", pieces_a_heat: 150 };
        let journal = |apart| Shape::Size { together: 0.0005, apart };
        let features = vec![
            Feature::new(d, "crankshaft.main", 49.984, journal(0.0010))
                .kept()
                .reworked(Side::Upper),
            Feature::new(d, "crankshaft.pin", 44.984, journal(0.0010)).reworked(Side::Upper),
            Feature::size(d, "crankshaft.stroke", 76.002, 0.009).kept(),
            Feature::form(d, "crankshaft.main_roundness", 1.6),
            Feature::size(d, "crankshaft.thrust_width", 30.020, 0.004),
            Feature::form(d, "crankshaft.run_out", 11.0),
            Feature::size(d, "crankshaft.hardness", 52.0, 0.7),
        ];
        let line = Line::new(marks, BENCH_5, features);
        Self { line, balanced: VecDeque::new(), offset_um: -0.4, day_set: None }
    }

    /// Grinds and gauges one crankshaft.
    pub(crate) fn make(&mut self, shop: &mut Shop, minute: f64) {
        let day = day_of(minute);
        if self.day_set != Some(day) && day < DRIFT_DAY {
            self.day_set = Some(day);
            self.set(shop, minute);
        }
        self.offset_um += if minute < drifts_from() { WEAR_UM } else { DRIFT_UM };
        let shift = self.offset_um / 1000.0;
        // Mains and pins are ground by the same wheel.
        let setting = |feature: usize, _: usize| match feature {
            0 | 1 => Setting { shift, ..Setting::default() },
            _ => Setting::default(),
        };
        let (piece, fate) = self.line.make(shop, minute, &setting);
        if fate == Fate::Good {
            self.line.stock.push_back(piece);
        }
    }

    fn set(&mut self, shop: &mut Shop, minute: f64) {
        let halves = ((self.offset_um + 0.4) * 2.0).round();
        if halves == 0.0 {
            return;
        }
        self.offset_um += shop.people.normal(0.0, 0.1) - halves / 2.0;
        let event = Event::OffsetMade {
            machine: "crank grinder 1".to_owned(),
            spindle: String::new(),
            characteristic: "crankshaft.main".to_owned(),
            moved: format!("{:+.1} µm", -halves / 2.0),
            note: "wheel dressed".to_owned(),
        };
        shop.daybook.enter(minute, SETTERS.person(minute), event);
    }
}
