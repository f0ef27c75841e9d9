//! A line: pieces of one part, made one after another, gauged, and put to stock or out of use.

use std::collections::VecDeque;
use std::rc::Rc;
use std::sync::Arc;

use bedplate_gauge::judge::Judgement;
use bedplate_gauge::limits::Side;
use bedplate_record::entry::Event;
use bedplate_record::reading::Name;

use crate::calendar::END;
use crate::daybook::{Bench, Cut, Daybook, Noted};
use crate::drawing::{Characteristic, Drawing};
use crate::gauging::{Gauging, Shown};
use crate::stream::{Purpose, Stream};
use crate::truth::TrueValue;

/// In the last minutes before the end nobody has yet looked again at what could not be told.
const UNDECIDED_MINUTES: f64 = 100.0;
/// Minutes a gauge takes for one reading.
const READING_MINUTES: f64 = 0.15;
/// Engineers who grant concessions.
pub(crate) const ENGINEERS: Bench = Bench { name: "office", a: "e-stroud", b: "h-pell" };

/// What all lines share: the daybook, the gauges, chance, and the truth as it comes to be.
#[derive(Debug)]
pub(crate) struct Shop {
    pub(crate) daybook: Daybook,
    pub(crate) gauging: Gauging,
    pub(crate) making: Stream,
    pub(crate) pace: Stream,
    pub(crate) people: Stream,
    pub(crate) pieces: std::collections::HashMap<Name, Vec<TrueValue>>,
}

impl Shop {
    pub(crate) fn new(seed: u64, edition: &str) -> Self {
        Self {
            daybook: Daybook::new(edition),
            gauging: Gauging::new(seed),
            making: Stream::new(seed, Purpose::Making),
            pace: Stream::new(seed, Purpose::Pace),
            people: Stream::new(seed, Purpose::People),
            pieces: std::collections::HashMap::with_capacity(60_000),
        }
    }

    /// Reads one position of a piece or engine and writes the reading down.
    pub(crate) fn take(&mut self, minute: f64, at: &Spot<'_>, truth: f64) -> Shown {
        let shown = self.gauging.show(at.of, truth, minute);
        self.note(minute, at, shown);
        shown
    }

    /// Writes down what a gauge showed.
    pub(crate) fn note(&mut self, minute: f64, at: &Spot<'_>, shown: Shown) {
        let Spot { of, position, piece, bench, cut } = *at;
        let noted = Noted { of, position, piece, value: shown.value, bench, cut };
        self.daybook.read(minute, &noted);
    }
}

/// What is read, on what, where.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Spot<'a> {
    /// The characteristic.
    pub(crate) of: &'a Characteristic,
    /// The position's place in its list.
    pub(crate) position: usize,
    /// The piece or engine.
    pub(crate) piece: &'a Name,
    /// The bench.
    pub(crate) bench: Bench,
    /// What made the feature.
    pub(crate) cut: Cut<'a>,
}

/// How a true value comes about.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Shape {
    /// Normal about the centre: a scatter common to a piece's positions, and one of each.
    Size {
        /// Standard deviation common to the positions.
        together: f64,
        /// Standard deviation of each position.
        apart: f64,
    },
    /// Never negative, skew: the centre is the median, the figure the deviation of the logarithm.
    Form(f64),
    /// 1 with a chance equal to the centre, else 0.
    Attribute,
}

/// One characteristic as the line makes it.
#[derive(Debug)]
pub(crate) struct Feature {
    pub(crate) of: Rc<Characteristic>,
    centre: f64,
    shape: Shape,
    /// Whether every piece's true value is needed later, read or not.
    kept: bool,
    /// The side on which metal is left to take off.
    rework: Option<Side>,
}

impl Feature {
    pub(crate) fn new(drawing: &Drawing, id: &str, centre: f64, shape: Shape) -> Self {
        Self { of: drawing.of(id), centre, shape, kept: false, rework: None }
    }

    /// A plain size with scatter from piece to piece alone.
    pub(crate) fn size(drawing: &Drawing, id: &str, centre: f64, apart: f64) -> Self {
        Self::new(drawing, id, centre, Shape::Size { together: 0.0, apart })
    }

    /// A deviation of form with this median.
    pub(crate) fn form(drawing: &Drawing, id: &str, median: f64) -> Self {
        Self::new(drawing, id, median, Shape::Form(0.28))
    }

    pub(crate) fn kept(mut self) -> Self {
        self.kept = true;
        self
    }

    pub(crate) fn reworked(mut self, side: Side) -> Self {
        self.rework = Some(side);
        self
    }

    fn draw(&self, making: &mut Stream, common: f64, shift: f64) -> f64 {
        let centre = self.centre + shift;
        match self.shape {
            Shape::Size { apart, .. } => centre + common + making.normal(0.0, apart),
            Shape::Form(deviation) => centre * libm::exp(making.normal(0.0, deviation)),
            Shape::Attribute => f64::from(u8::from(making.happens(centre))),
        }
    }

    fn common(&self, making: &mut Stream) -> f64 {
        match self.shape {
            Shape::Size { together, .. } if together > 0.0 => making.normal(0.0, together),
            _ => 0.0,
        }
    }
}

/// Where the machine stands when it makes one position of one feature.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Setting<'a> {
    /// How far off the feature's centre it is set.
    pub(crate) shift: f64,
    /// What makes it.
    pub(crate) cut: Cut<'a>,
}

/// A piece in stock. Values stand in the order of the line's kept features and their positions;
/// a reading that was not taken is NaN.
#[derive(Debug, Clone)]
pub(crate) struct Piece {
    pub(crate) name: Name,
    /// From when it may be used.
    pub(crate) ready: f64,
    pub(crate) truth: Vec<f64>,
    pub(crate) read: Vec<f64>,
}

/// What became of a piece on its gauging bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Fate {
    /// May be used.
    Good,
    /// Set aside: nobody has decided yet.
    Aside,
    /// Scrapped.
    Scrapped,
}

/// How pieces are called and where their metal comes from.
#[derive(Debug)]
pub(crate) struct Marks {
    pub(crate) part: &'static str,
    pub(crate) prefix: &'static str,
    /// What heats or lots begin with.
    pub(crate) heat: &'static str,
    /// Pieces from one heat.
    pub(crate) pieces_a_heat: u32,
}

/// A line of one part.
#[derive(Debug)]
pub(crate) struct Line {
    pub(crate) marks: Marks,
    pub(crate) bench: Bench,
    pub(crate) features: Vec<Feature>,
    /// Minutes from made to gauged.
    pub(crate) gauged_after: f64,
    pub(crate) made: u32,
    pub(crate) stock: VecDeque<Piece>,
}

impl Line {
    pub(crate) fn new(marks: Marks, bench: Bench, features: Vec<Feature>) -> Self {
        let stock = VecDeque::new();
        Self { marks, bench, features, gauged_after: 24.0, made: 0, stock }
    }

    /// The heat of the piece with this count.
    pub(crate) fn heat(&self, count: u32) -> String {
        let heat = 201 + count.saturating_sub(1) / self.marks.pieces_a_heat;
        format!("{}{heat}", self.marks.heat)
    }

    /// Makes one piece at a working minute and gauges it. `setting` says where the machine stands
    /// for each feature and position. Gives the piece with what became of it.
    pub(crate) fn make<'a>(
        &mut self,
        shop: &mut Shop,
        minute: f64,
        setting: &dyn Fn(usize, usize) -> Setting<'a>,
    ) -> (Piece, Fate) {
        self.made += 1;
        let name = Name::from(format!("{}{:05}", self.marks.prefix, self.made));
        let made = Event::PieceMade {
            piece: name.to_string(),
            part: self.marks.part.to_owned(),
            heat: self.heat(self.made),
        };
        shop.daybook.enter(minute, self.bench.person(minute), made);
        let gauged = minute + self.gauged_after * shop.pace.between(0.8, 1.3);
        let mut bench = AtBench { bench: self.bench, name, minute: gauged, fate: Fate::Good };
        let mut piece =
            Piece { name: Arc::clone(&bench.name), ready: 0.0, truth: vec![], read: vec![] };
        let mut values = Vec::new();
        for (place, feature) in self.features.iter().enumerate() {
            let due = self.made.is_multiple_of(feature.of.one_in) && bench.fate == Fate::Good;
            if !due && !feature.kept {
                continue;
            }
            let common = feature.common(&mut shop.making);
            for position in 0..feature.of.positions.len() {
                let set = setting(place, position);
                let mut truth = feature.draw(&mut shop.making, common, set.shift);
                let mut read = f64::NAN;
                if due && bench.fate == Fate::Good {
                    read = bench.gauge(shop, (feature, position), &mut truth, set.cut);
                }
                values.push(TrueValue {
                    characteristic: Arc::clone(&feature.of.id),
                    position: Arc::clone(&feature.of.positions[position]),
                    value: truth,
                });
                if feature.kept {
                    piece.truth.push(truth);
                    piece.read.push(read);
                }
            }
        }
        shop.pieces.insert(bench.name, values);
        piece.ready = bench.minute + 1.0;
        (piece, bench.fate)
    }
}

/// A piece on its bench.
struct AtBench {
    bench: Bench,
    name: Name,
    minute: f64,
    fate: Fate,
}

impl AtBench {
    /// Reads one position and settles what is to be done; gives the last reading.
    fn gauge(
        &mut self,
        shop: &mut Shop,
        of: (&Feature, usize),
        truth: &mut f64,
        cut: Cut<'_>,
    ) -> f64 {
        let mut shown = self.read(shop, of, *truth, cut);
        if shown.judgement == Judgement::CannotTell {
            if self.minute > END - UNDECIDED_MINUTES && of.0.of.one_in == 1 {
                self.fate = Fate::Aside;
                return shown.number;
            }
            self.minute += 3.0;
            shown = self.read(shop, of, *truth, cut);
        }
        match shown.judgement {
            Judgement::Accept => {}
            // A sample that cannot be told does not stop its piece.
            Judgement::CannotTell if of.0.of.one_in > 1 => {}
            _ => shown = self.settle(shop, of, (truth, shown), cut),
        }
        shown.number
    }

    fn read(&mut self, shop: &mut Shop, of: (&Feature, usize), truth: f64, cut: Cut<'_>) -> Shown {
        let (feature, position) = of;
        let spot = Spot { of: &feature.of, position, piece: &self.name, bench: self.bench, cut };
        let shown = shop.take(self.minute, &spot, truth);
        self.minute += READING_MINUTES;
        shown
    }

    /// Metal left to take off: reworked and read again. Else, too close to call: now and then let
    /// through by concession. Else scrapped.
    fn settle(
        &mut self,
        shop: &mut Shop,
        (feature, position): (&Feature, usize),
        (truth, shown): (&mut f64, Shown),
        cut: Cut<'_>,
    ) -> Shown {
        let title = &*feature.of.id;
        let place = &*feature.of.positions[position];
        let side = feature.of.limits.map(|limits| limits.nearest(shown.number).0);
        let middle = feature.of.limits.and_then(|limits| limits.middle());
        if let (Some(middle), true) = (middle, side.is_some() && side == feature.rework) {
            let reason = format!("{title} {place}: metal left, {} read", shown.value);
            let event = Event::PieceReworked { piece: self.name.to_string(), reason };
            shop.daybook.enter(self.minute + 8.0, self.bench.person(self.minute), event);
            self.minute += 40.0;
            *truth = middle + shop.making.normal(0.0, feature.of.uncertainty / 2.0);
            let again = self.read(shop, (feature, position), *truth, cut);
            if again.judgement == Judgement::Accept {
                return again;
            }
        } else if shown.judgement == Judgement::CannotTell && shop.people.happens(0.35) {
            let event = Event::ConcessionGranted {
                piece: self.name.to_string(),
                characteristic: title.to_owned(),
                position: place.to_owned(),
                reason: format!("{} read twice; too close to call, used as it is", shown.value),
            };
            self.minute += 15.0;
            shop.daybook.enter(self.minute, ENGINEERS.person(self.minute), event);
            return shown;
        }
        let reason = format!("{title} {place}: {} read", shown.value);
        let event = Event::PieceScrapped { piece: self.name.to_string(), reason };
        self.minute += 4.0;
        shop.daybook.enter(self.minute, self.bench.person(self.minute), event);
        self.fate = Fate::Scrapped;
        shown
    }
}
