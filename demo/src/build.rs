//! The track: an engine number takes its set and its other pieces, step by step with its checks.

use std::collections::VecDeque;
use std::rc::Rc;

use bedplate_gauge::judge::Judgement;
use bedplate_record::entry::{Event, PlaceFilled};
use bedplate_record::reading::Name;

use crate::crankshaft::{MAINS, STROKE};
use crate::daybook::{Bench, Cut};
use crate::drawing::{Characteristic, Drawing};
use crate::kitting::Tray;
use crate::line::{ENGINEERS, Piece, Shop, Spot};
use crate::power::TrueParts;
use crate::stream::{Purpose, Stream};

/// Fitters of the track.
const TRACK: Bench = Bench { name: "track", a: "s-wray", b: "n-hobb" };
/// The first engine of the record is one more than this.
const ENGINES_BEFORE: u32 = 4000;
/// Minutes from the tray to run in and waiting for a bed.
const RUN_IN_MINUTES: f64 = 31.0;
/// Minutes after the start at which each step is done.
const STEPS: [(&str, f64); 6] = [
    ("mains", 12.0),
    ("pistons", 25.0),
    ("head", 37.0),
    ("valves", 49.0),
    ("prime", 58.0),
    ("finish", 68.0),
];

/// Share of engines whose priming check is waived.
const WAIVED: f64 = 0.004;
const WAIVED_BECAUSE: &str =
    "pressure gauge away for proving; primed until oil showed at the rockers";

/// The pieces of one engine beside its set.
#[derive(Debug)]
pub(crate) struct Fitted {
    pub(crate) rods: [Piece; 4],
    pub(crate) crankshaft: Piece,
    pub(crate) camshaft: Piece,
    pub(crate) head: Piece,
    pub(crate) tappet: Piece,
    pub(crate) pin: Piece,
    pub(crate) ring: Piece,
    pub(crate) oil_pump: Piece,
    pub(crate) flywheel: Piece,
    pub(crate) main_shell: Piece,
    pub(crate) rod_shell: Piece,
}

/// An engine that is built and on its way to the bed.
#[derive(Debug)]
pub(crate) struct BuiltEngine {
    pub(crate) number: Name,
    /// When it is run in.
    pub(crate) ready: f64,
    pub(crate) parts: TrueParts,
}

/// What is checked on the track, with where it is set and how it scatters.
#[derive(Debug)]
struct Check {
    step: usize,
    of: Rc<Characteristic>,
    centre: f64,
    deviation: f64,
    one_in: u32,
}

/// The track.
#[derive(Debug)]
pub(crate) struct Track {
    chance: Stream,
    checks: Vec<Check>,
    pub(crate) built: u32,
    pub(crate) done: VecDeque<BuiltEngine>,
}

impl Track {
    pub(crate) fn new(d: &Drawing, seed: u64) -> Self {
        let check = |step, id: &str, centre, deviation| {
            let of = d.of(id);
            let one_in = of.one_in;
            Check { step, of, centre, deviation, one_in }
        };
        let checks = vec![
            check(0, "engine.main_torque", 62.0, 0.7),
            check(0, "engine.end_float", 0.170, 0.020),
            check(1, "engine.big_end_torque", 36.0, 0.45),
            check(1, "engine.turning_torque", 10.5, 0.5),
            check(2, "engine.head_torque", 70.6, 0.8),
            check(3, "engine.valve_clearance", 0.25, 0.014),
            check(3, "engine.timing", 10.0, 0.6),
            check(4, "engine.oil_pressure", 3.2, 0.15),
        ];
        let chance = Stream::new(seed, Purpose::Build);
        Self { chance, checks, built: 0, done: VecDeque::new() }
    }

    /// Builds one engine from a tray, beginning at a working minute.
    pub(crate) fn build(&mut self, shop: &mut Shop, tray: &Tray, fitted: &Fitted, start: f64) {
        self.built += 1;
        let number = Name::from(format!("{:05}", ENGINES_BEFORE + self.built));
        let built = Event::EngineBuilt {
            engine: number.to_string(),
            engine_type: "QB4".to_owned(),
            set: tray.set.clone(),
            places: places(tray, fitted),
        };
        shop.daybook.enter(start, TRACK.person(start), built);
        let parts = true_parts(tray, fitted);
        let mut late = 0.0;
        for (place, (step, after)) in STEPS.iter().enumerate() {
            late += self.chance.between(-0.4, 1.0);
            let minute = start + after + late;
            let (engine, name) = (number.to_string(), (*step).to_owned());
            if *step == "prime" && self.chance.happens(WAIVED) {
                let reason = WAIVED_BECAUSE.to_owned();
                let waived = Event::StepWaived { engine, step: name, reason };
                shop.daybook.enter(minute, ENGINEERS.person(minute), waived);
                continue;
            }
            self.check(shop, &number, &parts, (place, minute));
            let done = Event::StepDone { engine, step: name };
            shop.daybook.enter(minute, TRACK.person(minute), done);
        }
        let ready = start + STEPS[5].1 + late + RUN_IN_MINUTES;
        self.done.push_back(BuiltEngine { number, ready, parts });
    }

    /// Reads the checks of one step; what is not accepted is set right and read again.
    fn check(
        &mut self,
        shop: &mut Shop,
        engine: &Name,
        parts: &TrueParts,
        (step, minute): (usize, f64),
    ) {
        let mut at = minute - 3.0;
        for check in self.checks.iter().filter(|c| c.step == step) {
            if !self.built.is_multiple_of(check.one_in) {
                continue;
            }
            let shift = match &*check.of.id {
                "engine.turning_torque" => 8.0 * parts.friction_share(),
                "engine.oil_pressure" => 0.25 * (parts.pump_flow - 11.8),
                _ => 0.0,
            };
            for position in 0..check.of.positions.len() {
                let of = &check.of;
                let cut = Cut::default();
                let spot = Spot { of, position, piece: engine, bench: TRACK, cut };
                let truth = check.centre + shift + self.chance.normal(0.0, check.deviation);
                let shown = shop.take(at, &spot, truth);
                at += 0.2;
                if shown.judgement != Judgement::Accept {
                    shop.take(at, &spot, check.centre);
                    at += 0.2;
                }
            }
        }
    }
}

fn filled(part: &str, position: &str, piece: &Piece) -> PlaceFilled {
    PlaceFilled {
        part: part.to_owned(),
        position: position.to_owned(),
        piece: piece.name.to_string(),
    }
}

fn places(tray: &Tray, fitted: &Fitted) -> Vec<PlaceFilled> {
    let mut places = tray.places();
    for (rod, position) in fitted.rods.iter().zip(["1", "2", "3", "4"]) {
        places.push(filled("rod", position, rod));
    }
    let others = [
        ("crankshaft", &fitted.crankshaft),
        ("camshaft", &fitted.camshaft),
        ("head", &fitted.head),
        ("tappet", &fitted.tappet),
        ("pin", &fitted.pin),
        ("ring", &fitted.ring),
        ("oil_pump", &fitted.oil_pump),
        ("flywheel", &fitted.flywheel),
        ("main_shell", &fitted.main_shell),
        ("rod_shell", &fitted.rod_shell),
    ];
    places.extend(others.into_iter().map(|(part, piece)| filled(part, "", piece)));
    places
}

fn four(values: &[f64]) -> [f64; 4] {
    [0, 1, 2, 3].map(|place| values[place])
}

fn true_parts(tray: &Tray, fitted: &Fitted) -> TrueParts {
    let block = &tray.block.truth;
    let (mains, walls) = (&fitted.crankshaft.truth[MAINS], &fitted.main_shell.truth);
    // A block keeps four bores, its deck height and three main bores, in this order.
    let clearances = (0..3).map(|m| (block[5 + m] - 2.0 * walls[m] - mains[m]) * 1000.0);
    TrueParts {
        bores: four(block),
        skirts: tray.pistons.each_ref().map(|p| p.truth[0]),
        compression_heights: tray.pistons.each_ref().map(|p| p.truth[2]),
        rod_lengths: fitted.rods.each_ref().map(|r| r.truth[0]),
        chambers: four(&fitted.head.truth),
        stroke: fitted.crankshaft.truth[STROKE],
        deck_height: block[4],
        cam_lifts: fitted.camshaft.truth.clone(),
        tappets_hrc: fitted.tappet.truth.clone(),
        gaps: fitted.ring.truth.clone(),
        main_clearance_um: clearances.sum::<f64>() / 3.0,
        pump_flow: fitted.oil_pump.truth[0],
    }
}
