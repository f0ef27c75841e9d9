//! The piston line: a lathe that is set at the start of each shift, and on the last two days set a
//! grade too small.

use bedplate_gauge::limits::Side;
use bedplate_record::entry::Event;

use crate::block::SETTERS;
use crate::calendar::{DAY_MINUTES, DAYS, minute_at};
use crate::daybook::Bench;
use crate::drawing::Drawing;
use crate::line::{Fate, Feature, Line, Marks, Setting, Shape, Shop};

/// The bench at which pistons and rods are gauged.
pub(crate) const BENCH_3: Bench = Bench { name: "bench 3", a: "r-fenn", b: "d-orme" };

/// How much too small, in micrometres: about a grade, four of which make up the tolerance.
pub(crate) const SMALL_BY_UM: f64 = 5.8;

/// From when, in working minutes: Monday, 23 November, 06:20, after an insert was changed.
pub(crate) fn small_from() -> f64 {
    minute_at(DAYS - 2, 6, 20)
}

/// The piston line.
#[derive(Debug)]
pub(crate) struct PistonLine {
    pub(crate) line: Line,
    offset_um: f64,
    /// The half days that the setter has begun.
    shifts_set: u32,
    /// The first piston cut too small.
    pub(crate) first_small: Option<String>,
}

impl PistonLine {
    pub(crate) fn new(d: &Drawing) -> Self {
        let marks = Marks { part: "piston", prefix: "P", heat: "A-", pieces_a_heat: 380 };
        let features = vec![
            Feature::size(d, "piston.skirt", 67.970, 0.0018).kept().reworked(Side::Upper),
            Feature::size(d, "piston.mass", 418.0, 1.5).kept().reworked(Side::Upper),
            Feature::size(d, "piston.compression_height", 40.001, 0.006).kept(),
            Feature::size(d, "piston.pin_bore", 18.0042, 0.0007),
            Feature::size(d, "piston.ring_groove", 2.040, 0.0016),
            Feature::new(d, "piston.ovality", 150.0, Shape::Size { together: 8.0, apart: 0.0 }),
        ];
        let mut line = Line::new(marks, BENCH_3, features);
        line.gauged_after = 18.0;
        Self { line, offset_um: 0.0, shifts_set: 0, first_small: None }
    }

    /// Sets the lathe at the start of a shift, then makes and gauges one piston.
    pub(crate) fn make(&mut self, shop: &mut Shop, minute: f64) {
        self.set(shop, minute);
        let shift = self.offset_um / 1000.0;
        let setting = |feature: usize, _: usize| match feature {
            0 => Setting { shift, ..Setting::default() },
            _ => Setting::default(),
        };
        let (piece, fate) = self.line.make(shop, minute, &setting);
        if minute >= small_from() && self.first_small.is_none() {
            self.first_small = Some(piece.name.to_string());
        }
        if fate == Fate::Good {
            self.line.stock.push_back(piece);
        }
    }

    fn set(&mut self, shop: &mut Shop, minute: f64) {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "below 61")]
        let shift = (minute / (DAY_MINUTES / 2.0)) as u32 + 1;
        let spoilt = minute >= small_from() && self.first_small.is_none();
        if shift <= self.shifts_set && !spoilt {
            return;
        }
        self.shifts_set = shift;
        let low = if minute >= small_from() { SMALL_BY_UM } else { 0.0 };
        let next_um = shop.people.normal(0.2 - low, 0.45);
        let moved = (next_um - self.offset_um).round();
        self.offset_um = next_um;
        if moved == 0.0 {
            return;
        }
        let by = SETTERS.person(minute);
        let note = if spoilt { "after new insert" } else { "" };
        if spoilt {
            let event = Event::ToolChanged {
                machine: "piston lathe 2".to_owned(),
                spindle: String::new(),
                tool: "insert 318".to_owned(),
                note: String::new(),
            };
            shop.daybook.enter(minute - 0.5, by, event);
        }
        let event = Event::OffsetMade {
            machine: "piston lathe 2".to_owned(),
            spindle: String::new(),
            characteristic: "piston.skirt".to_owned(),
            moved: format!("{moved:+.1} µm"),
            note: note.to_owned(),
        };
        shop.daybook.enter(minute - 0.2, by, event);
    }
}
