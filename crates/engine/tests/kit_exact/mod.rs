//! An exhaustive solver for tiny kits, by trying everything; it shares no code with the library and
//! takes only whole factors.

#![allow(clippy::unwrap_used, reason = "a store that cannot be laid must fail the test")]

use std::collections::HashMap;

use bedplate_engine::kit::plan::{Plan, Term};
use bedplate_engine::kit::stock::Piece;

/// The most engines, and the least loss with as many.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Best {
    pub(crate) engines: usize,
    pub(crate) loss: f64,
}

/// One legal kit: how many of each piece it takes, and its loss.
type Legal = (HashMap<usize, i64>, f64);

pub(crate) fn best(plan: &Plan, pieces: &[Piece]) -> Best {
    let hosts: Vec<usize> =
        (0..pieces.len()).filter(|&p| pieces[p].role == plan.host().name).collect();
    let kits: Vec<Vec<Legal>> = hosts.iter().map(|&h| legal_kits(plan, pieces, h)).collect();
    let mut stock: Vec<i64> = pieces.iter().map(|p| p.stock).collect();
    let mut best = Best { engines: 0, loss: 0.0 };
    try_hosts(&kits, 0, &mut stock, Best { engines: 0, loss: 0.0 }, &mut best);
    best
}

fn try_hosts(kits: &[Vec<Legal>], at: usize, stock: &mut [i64], so_far: Best, best: &mut Best) {
    if so_far.engines > best.engines || so_far.engines == best.engines && so_far.loss < best.loss {
        *best = so_far;
    }
    if at == kits.len() || so_far.engines + kits.len() - at < best.engines {
        return;
    }
    for (needs, loss) in &kits[at] {
        if needs.iter().all(|(&p, &n)| stock[p] >= n) {
            needs.iter().for_each(|(&p, &n)| stock[p] -= n);
            let next = Best { engines: so_far.engines + 1, loss: so_far.loss + loss };
            try_hosts(kits, at + 1, stock, next, best);
            needs.iter().for_each(|(&p, &n)| stock[p] += n);
        }
    }
    try_hosts(kits, at + 1, stock, so_far, best);
}

/// Every legal kit of a host with the whole store to itself; of those with the same pieces the one
/// with the least loss.
fn legal_kits(plan: &Plan, pieces: &[Piece], host: usize) -> Vec<Legal> {
    let mut places: Vec<&str> = Vec::new();
    for role in plan.roles().iter().filter(|r| r.name != plan.host().name) {
        places.extend(std::iter::repeat_n(role.name.as_str(), role.per_engine));
    }
    let mut found: HashMap<Vec<(usize, i64)>, f64> = HashMap::new();
    let mut chosen = Vec::new();
    extend(plan, pieces, host, &places, &mut chosen, &mut found);
    found.into_iter().map(|(needs, loss)| (needs.into_iter().collect(), loss)).collect()
}

fn extend(
    plan: &Plan,
    pieces: &[Piece],
    host: usize,
    places: &[&str],
    chosen: &mut Vec<usize>,
    found: &mut HashMap<Vec<(usize, i64)>, f64>,
) {
    let Some(loss) = judge(plan, pieces, host, chosen) else { return };
    if chosen.len() == places.len() {
        let mut needs: HashMap<usize, i64> = HashMap::new();
        chosen.iter().for_each(|&p| *needs.entry(p).or_default() += 1);
        let mut needs: Vec<(usize, i64)> = needs.into_iter().collect();
        needs.sort_unstable();
        let least = found.entry(needs).or_insert(loss);
        *least = least.min(loss);
        return;
    }
    for p in 0..pieces.len() {
        let used = chosen.iter().filter(|&&c| c == p).count();
        if pieces[p].role == places[chosen.len()]
            && used < usize::try_from(pieces[p].stock).unwrap()
        {
            chosen.push(p);
            extend(plan, pieces, host, places, chosen, found);
            chosen.pop();
        }
    }
}

/// The loss of a kit, of what is complete of it; none if a complete place breaks a rule.
fn judge(plan: &Plan, pieces: &[Piece], host: usize, chosen: &[usize]) -> Option<f64> {
    let mut loss = 0.0;
    for fit in plan.fits() {
        for place in 0..fit.places {
            let value = value(plan, pieces, host, chosen, &fit.terms, fit.places, place);
            let Some(value) = value.map(|v| v + fit.constant) else { continue };
            let w = fit.window;
            if value < w.min || value > w.max {
                return None;
            }
            let width = (w.max - w.target).max(w.target - w.min);
            if width > 0 {
                loss += ((value - w.target) as f64 / width as f64).powi(2);
            }
        }
    }
    for rule in plan.spreads() {
        let values: Vec<i64> = (0..rule.places)
            .filter_map(|k| value(plan, pieces, host, chosen, &rule.terms, rule.places, k))
            .collect();
        if let (Some(least), Some(most)) = (values.iter().min(), values.iter().max()) {
            if most - least > rule.allowed {
                return None;
            }
            if rule.allowed > 0 {
                loss += (most - least) as f64 / rule.allowed as f64;
            }
        }
    }
    Some(loss)
}

/// The value at a place, if all its pieces are chosen.
fn value(
    plan: &Plan,
    pieces: &[Piece],
    host: usize,
    chosen: &[usize],
    terms: &[Term],
    places: usize,
    place: usize,
) -> Option<i64> {
    let mut sum = 0;
    for term in terms {
        let role = plan.roles().iter().find(|r| r.name == term.role).unwrap();
        let own: Vec<usize> = if role.name == plan.host().name {
            vec![host]
        } else {
            chosen.iter().copied().filter(|&p| pieces[p].role == role.name).collect()
        };
        let positions = role.features.iter().find(|f| f.name == term.feature).unwrap().positions;
        let n = role.per_engine * positions;
        let wanted: Vec<usize> = if n >= places {
            (0..n).filter(|v| v / (n / places) == place).collect()
        } else {
            vec![place / (places / n)]
        };
        for v in wanted {
            let piece = &pieces[*own.get(v / positions)?];
            let m = piece.measured.iter().find(|m| m.feature == term.feature).unwrap();
            sum += term.factor as i64 * m.values[v % positions];
        }
    }
    Some(sum)
}
