//! Aims compared on the same draws.

use bedplate_gauge::distribution::{normal_probability, t_quantile};
use bedplate_gauge::limits::Limits;
use rayon::prelude::*;

use super::super::size::Nanometre;
use super::super::{Search, match_sets};
use super::lot::{self, Draws, Lot, With};
use super::{Aim, AimError, AimPoint, AimQuestion, Campaign, Effort, Gain, Kept, MayMove};

/// Windows on either side of the aim of now that are tried.
const WINDOWS: i64 = 2;

/// Every aim that is tried: that of now, and steps from it within the drawing.
pub(super) fn field(asked: &AimQuestion<'_>) -> Vec<Aim> {
    let window = (asked.rules.clearance_max() - asked.rules.clearance_min()).0;
    let (parts, bore_steps) = match asked.may_move {
        MayMove::Pistons => (10, 0..=0),
        MayMove::PistonsAndBores => (5, -4..=4),
    };
    let step = (window / parts).max(1);
    let mut aims = Vec::new();
    for b in bore_steps {
        let Some(bore_mm) = moved(asked.now.bore_mm, b * window / 4, asked.boring.limits_mm) else {
            continue;
        };
        for p in -WINDOWS * parts..=WINDOWS * parts {
            if let Some(piston_mm) = moved(asked.now.piston_mm, p * step, asked.turning.limits_mm) {
                aims.push(Aim { bore_mm, piston_mm });
            }
        }
    }
    aims
}

/// An aim moved by whole nanometres, if it is still on the drawing.
fn moved(aim_mm: f64, by_nm: i64, limits_mm: Limits) -> Option<f64> {
    if by_nm == 0 {
        return Some(aim_mm);
    }
    let aim = Nanometre::from_mm(aim_mm).ok()?;
    let mm = Nanometre(aim.0.checked_add(by_nm)?).mm();
    (0.0 < mm && limits_mm.contains(mm)).then_some(mm)
}

/// Whether an aim leaves boring as it is.
pub(super) fn bores_as_now(asked: &AimQuestion<'_>, aim: Aim) -> bool {
    aim.bore_mm.total_cmp(&asked.now.bore_mm).is_eq()
}

/// Engines of every run of the coming pistons at an aim, `first` of them.
fn engines(
    asked: &AimQuestion<'_>,
    draws: &[Draws],
    aim: Aim,
    first: usize,
    with: With,
) -> Vec<usize> {
    draws.par_iter().map(|d| Lot::of(asked, d, aim, first, with).engines(asked)).collect()
}

/// What every aim comes to.
pub(super) fn gains(asked: &AimQuestion<'_>, draws: &[Draws], field: &[Aim]) -> Vec<AimPoint> {
    let now = engines(asked, draws, asked.now, usize::MAX, With::Store);
    field.iter().map(|&aim| against(asked, draws, aim, &now)).collect()
}

/// What one aim comes to.
pub(super) fn point(asked: &AimQuestion<'_>, draws: &[Draws], aim: Aim) -> AimPoint {
    let now = engines(asked, draws, asked.now, usize::MAX, With::Store);
    against(asked, draws, aim, &now)
}

fn against(asked: &AimQuestion<'_>, draws: &[Draws], aim: Aim, now: &[usize]) -> AimPoint {
    let counts = engines(asked, draws, aim, usize::MAX, With::Store);
    let bore_sd_um = asked.boring.block_sd_um.hypot(asked.boring.within_sd_um);
    AimPoint {
        aim,
        engines: counts.iter().sum::<usize>() as f64 / counts.len() as f64,
        gain: gain(&counts, now),
        pistons_outside: outside(aim.piston_mm, asked.turning.sd_um, asked.turning.limits_mm),
        bores_outside: outside(aim.bore_mm, bore_sd_um, asked.boring.limits_mm),
    }
}

/// Share of a normal production outside its limits.
fn outside(aim_mm: f64, sd_um: f64, limits_mm: Limits) -> f64 {
    let beyond = |distance_mm: f64| {
        if sd_um == 0.0 {
            f64::from(u8::from(0.0 < distance_mm))
        } else {
            normal_probability(distance_mm * 1e3 / sd_um)
        }
    };
    limits_mm.lower().map_or(0.0, |lower| beyond(lower - aim_mm))
        + limits_mm.upper().map_or(0.0, |upper| beyond(aim_mm - upper))
}

/// The mean of paired differences, from means of mirrored pairs of runs.
fn gain(at: &[usize], now: &[usize]) -> Gain {
    let differences: Vec<f64> = at.iter().zip(now).map(|(&a, &b)| a as f64 - b as f64).collect();
    let pairs: Vec<f64> =
        differences.chunks(2).map(|pair| pair.iter().sum::<f64>() / pair.len() as f64).collect();
    let n = pairs.len() as f64;
    let engines = pairs.iter().sum::<f64>() / n;
    let squares: f64 = pairs.iter().map(|d| (d - engines) * (d - engines)).sum();
    // One pair alone has no spread to judge by, and its interval is the whole line.
    let (standard_error, t) = if pairs.len() < 2 {
        (f64::INFINITY, 1.0)
    } else {
        ((squares / (n - 1.0) / n).sqrt(), t_quantile(0.975, n - 1.0).unwrap_or(f64::INFINITY))
    };
    let margin = if standard_error == 0.0 { 0.0 } else { t * standard_error };
    let (lower, upper) = (engines - margin, engines + margin);
    Gain { engines, standard_error, lower, upper, runs: at.len() }
}

/// Of the aims whose gain comes within one standard error of the most, which the runs cannot tell
/// apart: the aim of now if it is one of them, else the one at which bore less piston is nearest to
/// the target. That one serves best for longest, and on a plateau it stands farthest from the edge
/// that a wrong setting would fall over. Among equals the one nearest to now.
pub(super) fn best(asked: &AimQuestion<'_>, found: &[AimPoint]) -> Aim {
    let moved = |aim: Aim| {
        (aim.piston_mm - asked.now.piston_mm).abs() + (aim.bore_mm - asked.now.bore_mm).abs()
    };
    let target_mm = asked.rules.clearance_target().mm();
    let off = |aim: Aim| (aim.bore_mm - aim.piston_mm - target_mm).abs();
    let most = found.iter().max_by(|a, b| a.gain.engines.total_cmp(&b.gain.engines));
    let Some(most) = most else { return asked.now };
    let enough = most.gain.engines - most.gain.standard_error;
    let good = found.iter().filter(|point| enough <= point.gain.engines);
    let stays = |aim: Aim| moved(aim) < 1e-9;
    // A tenth of a nanometre: what subtracting binary figures can leave.
    let nearer = |a: Aim, b: Aim| {
        let by_off = off(a).total_cmp(&off(b));
        let alike = (off(a) - off(b)).abs() < 1e-10;
        if alike { moved(a).total_cmp(&moved(b)) } else { by_off }
    };
    let key = |a: &&AimPoint, b: &&AimPoint| {
        stays(b.aim).cmp(&stays(a.aim)).then_with(|| nearer(a.aim, b.aim))
    };
    good.min_by(key).map_or(asked.now, |point| point.aim)
}

/// Quarter, half, three quarters and all of the coming pistons at an aim. Boring, if it is moved,
/// is moved for the whole lot.
pub(super) fn campaigns(asked: &AimQuestion<'_>, draws: &[Draws], aim: Aim) -> Vec<Campaign> {
    let now = engines(asked, draws, asked.now, usize::MAX, With::Store);
    (1..=4)
        .map(|quarters| {
            let pistons = asked.coming.pistons * quarters / 4;
            let counts = engines(asked, draws, aim, pistons, With::Store);
            Campaign { pistons, gain: gain(&counts, &now) }
        })
        .collect()
}

/// What an aim comes to without the store.
pub(super) fn kept(asked: &AimQuestion<'_>, draws: &[Draws], aim: Aim) -> Kept {
    let now = engines(asked, draws, asked.now, usize::MAX, With::ComingOnly);
    let counts = engines(asked, draws, aim, usize::MAX, With::ComingOnly);
    let target_mm = asked.rules.clearance_target().mm();
    let clearance_off_um = (aim.bore_mm - aim.piston_mm - target_mm) * 1e3;
    Kept { clearance_off_um, gain: gain(&counts, &now) }
}

/// The gain of an aim on the first runs, matched by the real search.
pub(super) fn searched(
    asked: &AimQuestion<'_>,
    draws: &[Draws],
    aim: Aim,
    effort: Effort,
) -> Result<Option<Gain>, AimError> {
    let runs = &draws[..effort.searched_runs.min(draws.len())];
    if runs.is_empty() {
        return Ok(None);
    }
    let count = |draws: &Draws, aim: Aim| -> Result<usize, AimError> {
        let (blocks, pistons) = lot::pieces(asked, draws, aim)?;
        // A lot of which all is scrap makes no engine.
        if blocks.is_empty() || pistons.is_empty() {
            return Ok(0);
        }
        let search = Search { seed: effort.seed, moves: effort.moves };
        Ok(match_sets(&blocks, &pistons, asked.rules, search)?.engines.len())
    };
    let counts = |aim: Aim| runs.par_iter().map(|d| count(d, aim)).collect::<Result<Vec<_>, _>>();
    Ok(Some(gain(&counts(aim)?, &counts(asked.now)?)))
}
