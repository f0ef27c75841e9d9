//! The block line: four boring spindles that wear and are brought in by the setter, who goes by
//! what the air gauge shows.

use bedplate_gauge::limits::Side;
use bedplate_record::entry::Event;

use crate::calendar::{DAYS, minute_at};
use crate::daybook::{Bench, Cut};
use crate::drawing::Drawing;
use crate::line::{Fate, Feature, Line, Marks, Setting, Shape, Shop};

/// The bench at which blocks are gauged.
pub(crate) const BENCH_4: Bench = Bench { name: "bench 4", a: "t-askew", b: "v-marl" };
/// Setters of the machine shop.
pub(crate) const SETTERS: Bench = Bench { name: "machine shop", a: "f-tull", b: "b-ryle" };

/// Growth of the bore from block to block, by spindle, in micrometres: built-up bearings of the
/// third spindle grow fastest.
pub(crate) const WEAR_UM: [f64; 4] = [0.05, 0.04, 0.16, 0.06];
/// The setter brings a spindle in when its last five readings average more than this above
/// nominal, in micrometres.
const BRING_IN_UM: f64 = 8.3;
/// The setter moves a spindle out below this.
const MOVE_OUT_UM: f64 = 2.4;
/// What the setter aims at.
const AIM_UM: f64 = 4.4;
/// Blocks that one tip bores before it is changed at the next reset.
const TIP_BLOCKS: u32 = 240;
/// The last reset of the third spindle: on the last day nobody comes to it again.
const LAST_RESET: (u32, u32) = (8, 20);

#[derive(Debug)]
struct Spindle {
    name: &'static str,
    wear_um: f64,
    offset_um: f64,
    tip: u32,
    tool: String,
    tip_blocks: u32,
    recent_um: Vec<f64>,
    /// When the setter comes, and how far the spindle is moved then.
    reset: Option<(f64, f64)>,
    left_alone: bool,
}

/// The block line.
#[derive(Debug)]
pub(crate) struct BlockLine {
    pub(crate) line: Line,
    spindles: Vec<Spindle>,
    bore: usize,
}

impl BlockLine {
    pub(crate) fn new(d: &Drawing) -> Self {
        let marks = Marks { part: "block", prefix: "B", heat: "F-2", pieces_a_heat: 45 };
        let both = |together, apart| Shape::Size { together, apart };
        let features = vec![
            Feature::new(d, "block.bore", 68.0, both(0.00030, 0.00070))
                .kept()
                .reworked(Side::Lower),
            Feature::form(d, "block.bore_roundness", 2.2),
            Feature::form(d, "block.bore_taper", 1.9),
            Feature::size(d, "block.deck_height", 208.203, 0.010).kept().reworked(Side::Upper),
            Feature::form(d, "block.deck_flatness", 17.0),
            Feature::new(d, "block.main_bore", 54.0095, both(0.0009, 0.0012)).kept(),
            Feature::size(d, "block.cam_bore", 42.013, 0.0024),
            Feature::size(d, "block.tappet_bore", 20.011, 0.0020),
            Feature::new(d, "block.hardness", 222.0, both(4.0, 0.0)),
            Feature::new(d, "block.leak", 0.996, Shape::Attribute),
        ];
        let line = Line::new(marks, BENCH_4, features);
        let spindles = ["1", "2", "3", "4"].into_iter().zip(WEAR_UM).zip(1..);
        let spindles = spindles
            .map(|((name, wear_um), n)| Spindle {
                name,
                wear_um,
                offset_um: 3.0 + 0.7 * f64::from(n),
                tip: 100 + n,
                tool: format!("tip {}", 100 + n),
                tip_blocks: 40 * n,
                recent_um: vec![],
                reset: None,
                left_alone: false,
            })
            .collect();
        Self { line, spindles, bore: 0 }
    }

    /// Bores and gauges one block; then the setter looks at what the gauge showed.
    pub(crate) fn make(&mut self, shop: &mut Shop, minute: f64) {
        for spindle in &mut self.spindles {
            if let Some((at, moved_um)) = spindle.reset
                && at <= minute
            {
                spindle.offset_um += moved_um;
                spindle.recent_um.clear();
                spindle.reset = None;
            }
        }
        let (spindles, bore) = (&self.spindles, self.bore);
        let setting = |feature: usize, position: usize| {
            if feature != bore {
                return Setting::default();
            }
            let spindle = &spindles[position];
            let cut = Cut { machine: "", spindle: spindle.name, tool: &spindle.tool };
            Setting { shift: spindle.offset_um / 1000.0, cut }
        };
        let (piece, fate) = self.line.make(shop, minute, &setting);
        for (spindle, read) in self.spindles.iter_mut().zip(&piece.read) {
            spindle.offset_um += spindle.wear_um;
            spindle.tip_blocks += 1;
            if read.is_finite() {
                spindle.recent_um.push((read - 68.0) * 1000.0);
                spindle.look(shop, piece.ready);
            }
        }
        if fate == Fate::Good {
            self.line.stock.push_back(piece);
        }
    }
}

impl Spindle {
    /// The setter looks at the last five readings and comes a few minutes later, if need be.
    fn look(&mut self, shop: &mut Shop, minute: f64) {
        let Some(last) = self.recent_um.last_chunk::<5>() else { return };
        if self.reset.is_some() || self.left_alone {
            return;
        }
        let average = last.iter().sum::<f64>() / 5.0;
        let last_call = self.name == "3" && {
            let (hour, at) = LAST_RESET;
            minute >= minute_at(DAYS - 1, hour, at)
        };
        if !last_call && (MOVE_OUT_UM..=BRING_IN_UM).contains(&average) {
            return;
        }
        self.left_alone = last_call;
        let divisions = (average - AIM_UM).round();
        if divisions == 0.0 {
            return;
        }
        let at = minute + 4.0;
        let by = SETTERS.person(at);
        let way = if divisions > 0.0 { "in" } else { "out" };
        let mut note = format!("{way} {}", divisions.abs());
        let mut slip_um = shop.people.normal(0.0, 0.35);
        if self.tip_blocks > TIP_BLOCKS {
            self.tip += 10;
            self.tool = format!("tip {}", self.tip);
            self.tip_blocks = 0;
            note.push_str(", new tip");
            slip_um += shop.people.normal(0.0, 0.8);
            let event = Event::ToolChanged {
                machine: "fine bore 1".to_owned(),
                spindle: self.name.to_owned(),
                tool: self.tool.clone(),
                note: String::new(),
            };
            shop.daybook.enter(at - 1.0, by, event);
        }
        let event = Event::OffsetMade {
            machine: "fine bore 1".to_owned(),
            spindle: self.name.to_owned(),
            characteristic: "block.bore".to_owned(),
            moved: format!("{:+.1} µm", -divisions),
            note,
        };
        shop.daybook.enter(at, by, event);
        self.reset = Some((at, slip_um - divisions));
    }
}
