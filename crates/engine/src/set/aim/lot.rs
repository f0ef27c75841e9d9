//! One lot on paper: what the machines give at an aim, and how many engines it makes.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use super::super::live::simulate::normal;
use super::super::size::{Milligram, Nanometre};
use super::super::{Block, Piston, SetError};
use super::{Aim, AimQuestion};
use crate::draw::Draw;

/// Standard normal draws of one run; every aim is played on the same ones.
#[derive(Debug, Clone)]
pub(super) struct Draws {
    /// For each coming block its common shift, then its cylinders.
    blocks: Vec<Vec<f64>>,
    diameters: Vec<f64>,
    masses: Vec<f64>,
}

/// The draws of every run, in mirrored pairs: sizes that one run has above their mean, the next has
/// below. Masses are the same in both, so that a mirrored question has exactly the mirrored answer.
pub(super) fn draws(asked: &AimQuestion<'_>, seed: u64, runs: usize) -> Vec<Draws> {
    let pairs = runs.div_ceil(2);
    (0..pairs as u64).flat_map(|pair| mirrored(asked, seed, pair)).collect()
}

fn mirrored(asked: &AimQuestion<'_>, seed: u64, pair: u64) -> [Draws; 2] {
    let mut draw = Draw::new(seed, 1_000 + pair);
    let mut normals = |n: usize| (0..n).map(|_| normal(&mut draw)).collect::<Vec<f64>>();
    let coming = asked.coming;
    let one = Draws {
        blocks: (0..coming.blocks).map(|_| normals(1 + coming.cylinders)).collect(),
        diameters: normals(coming.pistons),
        masses: normals(coming.pistons),
    };
    let less = |list: &Vec<f64>| list.iter().map(|z| -z).collect::<Vec<f64>>();
    let other = Draws {
        blocks: one.blocks.iter().map(less).collect(),
        diameters: less(&one.diameters),
        masses: one.masses.clone(),
    };
    [one, other]
}

/// Whether the store is part of the lot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum With {
    Store,
    ComingOnly,
}

/// The sizes of one lot, nm.
pub(super) struct Lot {
    /// Bores of each block, rising.
    blocks: Vec<Vec<i64>>,
    /// Pistons of each class of mass, rising.
    classes: Vec<Class>,
}

/// Pistons of one class of mass, and the bores that they have been promised to.
#[derive(Default)]
struct Class {
    pistons: Vec<i64>,
    bores: Vec<i64>,
}

impl Lot {
    /// What lies there and what comes, `first` pistons at `aim` and the rest at the aim of now.
    pub(super) fn of(
        asked: &AimQuestion<'_>,
        draws: &Draws,
        aim: Aim,
        first: usize,
        with: With,
    ) -> Self {
        let mut blocks = Vec::new();
        let mut classes: BTreeMap<i64, Class> = BTreeMap::new();
        let mut lay = |mass_mg: i64, diameter: i64| {
            classes.entry(mass_class(asked, mass_mg)).or_default().pistons.push(diameter);
        };
        if with == With::Store {
            let rising = |block: &Block| {
                let mut bores: Vec<i64> = block.bores().iter().map(|bore| bore.0).collect();
                bores.sort_unstable();
                bores
            };
            blocks.extend(asked.blocks.iter().map(rising));
            for piston in asked.pistons {
                lay(piston.mass().0, piston.diameter().0);
            }
        }
        for z in &draws.blocks {
            if let Some(mut bores) = bored(asked, z, aim) {
                bores.sort_unstable();
                blocks.push(bores);
            }
        }
        for (i, (&z, &zm)) in draws.diameters.iter().zip(&draws.masses).enumerate() {
            let aim = if i < first { aim } else { asked.now };
            if let Some(diameter) = turned(asked, z, aim) {
                lay(weighed(asked, zm).0, diameter);
            }
        }
        let mut classes: Vec<Class> = classes.into_values().collect();
        classes.iter_mut().for_each(|class| class.pistons.sort_unstable());
        Self { blocks, classes }
    }

    /// Engines if the blocks are served in order, each from the class of mass with the most free
    /// pistons that can still serve it. Every one of them is legal.
    pub(super) fn engines(mut self, asked: &AimQuestion<'_>) -> usize {
        let (min, max) = (asked.rules.clearance_min().0, asked.rules.clearance_max().0);
        let mut engines = 0;
        for bores in &self.blocks {
            // Stable, so that equal classes keep their order.
            self.classes.sort_by_key(|class| Reverse(class.pistons.len() - class.bores.len()));
            for class in &mut self.classes {
                if class.pistons.len() - class.bores.len() < bores.len() {
                    break;
                }
                let with = merged(&class.bores, bores);
                if all_served(&with, &class.pistons, min, max) {
                    class.bores = with;
                    engines += 1;
                    break;
                }
            }
        }
        engines
    }
}

/// Class of a mass: as wide as the allowed spread, one of them about the mean mass of turning.
fn mass_class(asked: &AimQuestion<'_>, mass_mg: i64) -> i64 {
    let width = asked.rules.mass_spread_max().0 + 1;
    let mean = Milligram::from_g(asked.turning.mass_g).map_or(0, |mass| mass.0);
    (mass_mg - mean + width / 2).div_euclid(width)
}

/// The mass of a piston that comes; 0, which no piston has, if it is out of reach.
fn weighed(asked: &AimQuestion<'_>, z: f64) -> Milligram {
    Milligram::from_g(asked.turning.mass_g + z * asked.turning.mass_sd_g).unwrap_or(Milligram(0))
}

/// The bores of a block, nm; `None` if one lies outside the drawing.
fn bored(asked: &AimQuestion<'_>, z: &[f64], aim: Aim) -> Option<Vec<i64>> {
    let shift_um = z[0] * asked.boring.block_sd_um;
    let size = |z: &f64| {
        placed(aim.bore_mm, shift_um + z * asked.boring.within_sd_um, asked.boring.limits_mm)
    };
    z[1..].iter().map(size).collect()
}

/// The diameter of a piston, nm; `None` if it lies outside the drawing.
fn turned(asked: &AimQuestion<'_>, z: f64, aim: Aim) -> Option<i64> {
    placed(aim.piston_mm, z * asked.turning.sd_um, asked.turning.limits_mm)
}

/// A size off its aim. The distance is rounded, not the size, so that mirrored draws give mirrored
/// sizes.
fn placed(aim_mm: f64, off_um: f64, limits_mm: bedplate_gauge::limits::Limits) -> Option<i64> {
    let (aim, off) = (Nanometre::from_mm(aim_mm).ok()?, Nanometre::from_um(off_um).ok()?);
    let size = aim.0 + off.0;
    (0 < size && limits_mm.contains(Nanometre(size).mm())).then_some(size)
}

/// Two rising lists as one.
pub(in super::super) fn merged(a: &[i64], b: &[i64]) -> Vec<i64> {
    let mut all = Vec::with_capacity(a.len() + b.len());
    let (mut i, mut j) = (0, 0);
    while i < a.len() || j < b.len() {
        if j == b.len() || (i < a.len() && a[i] <= b[j]) {
            all.push(a[i]);
            i += 1;
        } else {
            all.push(b[j]);
            j += 1;
        }
    }
    all
}

/// Whether each bore can have a piston of its own: rising bores, each the smallest unused piston
/// that it allows. For windows of one width that serves all if anything does.
pub(in super::super) fn all_served(bores: &[i64], pistons: &[i64], min: i64, max: i64) -> bool {
    let mut next = 0;
    for bore in bores {
        while next < pistons.len() && pistons[next] < bore - max {
            next += 1;
        }
        if next == pistons.len() || bore - min < pistons[next] {
            return false;
        }
        next += 1;
    }
    true
}

/// The pieces of a lot as blocks and pistons with masses, for the real search.
pub(super) fn pieces(
    asked: &AimQuestion<'_>,
    draws: &Draws,
    aim: Aim,
) -> Result<(Vec<Block>, Vec<Piston>), SetError> {
    // Ids of the store may be anything; those of drawn pieces must differ from all of them.
    let mut blocks: Vec<Block> = Vec::new();
    for (i, block) in asked.blocks.iter().enumerate() {
        blocks.push(Block::new(format!("a{i:05}"), block.bores().to_vec())?);
    }
    for (i, z) in draws.blocks.iter().enumerate() {
        if let Some(bores) = bored(asked, z, aim) {
            let bores = bores.into_iter().map(Nanometre).collect();
            blocks.push(Block::new(format!("b{i:05}"), bores)?);
        }
    }
    let mut pistons: Vec<Piston> = Vec::new();
    for (i, piston) in asked.pistons.iter().enumerate() {
        pistons.push(Piston::new(format!("a{i:05}"), piston.diameter(), piston.mass())?);
    }
    for (i, (&z, &zm)) in draws.diameters.iter().zip(&draws.masses).enumerate() {
        let Some(diameter) = turned(asked, z, aim) else { continue };
        let (id, diameter) = (format!("b{i:05}"), Nanometre(diameter));
        pistons.push(Piston::new(id, diameter, weighed(asked, zm))?);
    }
    Ok((blocks, pistons))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn earliest_fit_serves_where_taking_the_best_would_not() {
        // Bores 10 and 12, window 0 to 4: 10 allows 6 to 10, 12 allows 8 to 12. Giving 9 to the
        // first would leave the second with nothing.
        assert!(all_served(&[10, 12], &[6, 9], 0, 4));
        assert!(!all_served(&[10, 12], &[5, 9], 0, 4));
        assert!(!all_served(&[10], &[], 0, 4));
    }
}
