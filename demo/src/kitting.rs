//! The kitting bench: blocks in the order they came, each with the first pistons that really fit.

use std::collections::VecDeque;

use bedplate_record::entry::{Event, PlaceFilled};

use crate::daybook::Bench;
use crate::line::{Piece, Shop};

/// Kitters.
pub(crate) const KITTING: Bench = Bench { name: "kitting bench", a: "j-quill", b: "k-tarn" };

/// Clearance allowed, in tenths of a micrometre, as the works file has it.
pub(crate) const CLEARANCE_TENTHS: (i64, i64) = (300, 420);
/// Spread of mass allowed in a set, in tenths of a gram.
pub(crate) const SPREAD_TENTHS: i64 = 40;
/// Trays that the kitter keeps filled.
const TRAYS: usize = 14;
/// Blocks looked at in one go.
const BLOCKS_LOOKED_AT: usize = 24;

/// A set in its tray.
#[derive(Debug, Clone)]
pub(crate) struct Tray {
    /// Its number.
    pub(crate) set: String,
    /// When it was filled.
    pub(crate) ready: f64,
    pub(crate) block: Piece,
    /// By cylinder.
    pub(crate) pistons: [Piece; 4],
}

/// The kitting bench.
#[derive(Debug, Default)]
pub(crate) struct Kitting {
    made: u32,
    pub(crate) trays: VecDeque<Tray>,
}

#[expect(clippy::cast_possible_truncation, reason = "sizes and masses of an engine's parts")]
fn tenths(value: f64, per_unit: f64) -> i64 {
    (value * per_unit).round() as i64
}

/// Clearance of a piston in a bore by their readings, tenths of a micrometre.
pub(crate) fn clearance_tenths(bore_mm: f64, skirt_mm: f64) -> i64 {
    tenths(bore_mm, 1e4) - tenths(skirt_mm, 1e4)
}

fn mass_tenths(piston: &Piece) -> i64 {
    tenths(piston.read[1], 10.0)
}

impl Kitting {
    /// Fills trays from what is ready at a working minute.
    pub(crate) fn run(
        &mut self,
        shop: &mut Shop,
        (blocks, pistons): (&mut VecDeque<Piece>, &mut VecDeque<Piece>),
        minute: f64,
    ) {
        let mut at = minute;
        let mut place = 0;
        while self.trays.len() < TRAYS && place < blocks.len().min(BLOCKS_LOOKED_AT) {
            let block = &blocks[place];
            let found = if block.ready <= at { fill(block, pistons, at) } else { None };
            let Some(chosen) = found else {
                place += 1;
                continue;
            };
            let Some(block) = blocks.remove(place) else { return };
            let mut taken = chosen;
            taken.sort_unstable_by(|a, b| b.cmp(a));
            let mut out: Vec<(usize, Piece)> =
                taken.iter().filter_map(|&p| Some((p, pistons.remove(p)?))).collect();
            let in_place = chosen.map(|p| {
                let at = out.iter().position(|(q, _)| *q == p).expect("taken just above");
                out.swap_remove(at).1
            });
            self.made += 1;
            let set = format!("K{:05}", self.made);
            at += 2.0;
            let tray = Tray { set, ready: at, block, pistons: in_place };
            shop.daybook.enter(at, KITTING.person(at), tray.event());
            self.trays.push_back(tray);
        }
    }
}

impl Tray {
    /// The block and its pistons in their places.
    pub(crate) fn places(&self) -> Vec<PlaceFilled> {
        let piston = |(place, piece): (usize, &Piece)| PlaceFilled {
            part: "piston".to_owned(),
            position: (place + 1).to_string(),
            piece: piece.name.to_string(),
        };
        let block = PlaceFilled {
            part: "block".to_owned(),
            position: String::new(),
            piece: self.block.name.to_string(),
        };
        std::iter::once(block).chain(self.pistons.iter().enumerate().map(piston)).collect()
    }

    fn event(&self) -> Event {
        let fits = self.block.read.iter().zip(&self.pistons);
        let clearances: Vec<i64> =
            fits.map(|(bore, piston)| clearance_tenths(*bore, piston.read[0])).collect();
        let masses = self.pistons.each_ref().map(mass_tenths);
        let ends = |of: &[i64]| {
            let (low, high) = (of.iter().min(), of.iter().max());
            let figure = |x: Option<&i64>| *x.unwrap_or(&0) as f64 / 10.0;
            (figure(low), figure(high))
        };
        let ((least, most), (light, heavy)) = (ends(&clearances), ends(&masses));
        let spread = heavy - light;
        let reason = format!(
            "first pistons that fit: clearance {least:.1} to {most:.1} µm, \
             mass spread {spread:.1} g"
        );
        Event::SetMade {
            set: self.set.clone(),
            engine_type: "QB4".to_owned(),
            places: self.places(),
            reason,
        }
    }
}

/// The oldest pistons that fit the block's bores and each other's mass, by their places in the
/// store; `None` if there are none.
fn fill(block: &Piece, pistons: &VecDeque<Piece>, at: f64) -> Option<[usize; 4]> {
    let fits: Vec<Vec<usize>> = (0..4)
        .map(|cylinder| {
            let fitting = |piston: &Piece| {
                let clearance = clearance_tenths(block.read[cylinder], piston.read[0]);
                let (least, most) = CLEARANCE_TENTHS;
                piston.ready <= at && least <= clearance && clearance <= most
            };
            pistons.iter().enumerate().filter(|(_, p)| fitting(p)).map(|(i, _)| i).collect()
        })
        .collect();
    // The oldest piston of the first cylinder sets the lightest or the heaviest of the four.
    for &anchor in fits[0].iter().take(30) {
        let mass = mass_tenths(&pistons[anchor]);
        for low in [mass - SPREAD_TENTHS / 2, mass, mass - SPREAD_TENTHS] {
            if let Some(found) = fill_within(&fits, pistons, anchor, low) {
                return Some(found);
            }
        }
    }
    None
}

fn fill_within(
    fits: &[Vec<usize>],
    pistons: &VecDeque<Piece>,
    anchor: usize,
    low: i64,
) -> Option<[usize; 4]> {
    let mut chosen = [anchor; 4];
    for cylinder in 1..4 {
        let free = |p: &&usize| {
            let mass = mass_tenths(&pistons[**p]);
            !chosen[..cylinder].contains(p) && low <= mass && mass <= low + SPREAD_TENTHS
        };
        chosen[cylinder] = *fits[cylinder].iter().find(free)?;
    }
    Some(chosen)
}
