//! Filling one engine: role by role, the slot with the fewest pieces first; where a slot finds
//! nothing, what stands in its way is taken out again.

use super::bench::Idx;
use super::chain;
use super::tray::{NONE, Trays, Which};
use crate::draw::Draw;

/// How a fill goes about it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Manner {
    /// 0: always the piece with the least loss; larger: more often another one.
    pub(super) noise: f64,
    /// How often a slot that finds nothing may clear its surroundings.
    pub(super) retreats: usize,
    /// How many pieces may be looked at to free one by a chain of exchanges; 0 for no chain.
    pub(super) chain: usize,
}

/// Fills a host's empty slots from the pieces that lie free.
///
/// # Errors
/// The slot that found nothing; the host is as it was, save for what was fitted or begun.
pub(super) fn fill(
    trays: &mut Trays<'_, '_>,
    host: usize,
    manner: Manner,
    draw: &mut Draw,
) -> Result<(), usize> {
    if let Some(slot) = trays.beyond_free(host) {
        return Err(slot);
    }
    let begun: Vec<Idx> = trays.pieces_in(host).to_vec();
    let mut first = None;
    let mut retreats = manner.retreats;
    loop {
        match fill_once(trays, host, manner, first, draw) {
            Ok(()) => {
                debug_assert!(trays.broken(host).is_none());
                trays.built[host] = true;
                return Ok(());
            }
            Err(slot) if retreats == 0 => {
                restore(trays, host, &begun);
                return Err(slot);
            }
            Err(slot) => {
                retreats -= 1;
                retreat(trays, host, slot, &begun);
                first = Some(slot);
            }
        }
    }
}

/// Takes out what a fill has put in.
fn restore(trays: &mut Trays<'_, '_>, host: usize, begun: &[Idx]) {
    for (slot, &piece) in begun.iter().enumerate() {
        if piece == NONE && trays.piece_in(host, slot) != NONE {
            trays.take(host, slot);
        }
    }
}

/// Clears the slots of the same role and those that share a row with a slot that found nothing.
fn retreat(trays: &mut Trays<'_, '_>, host: usize, slot: usize, begun: &[Idx]) {
    let bench = trays.bench;
    let mut near: Vec<usize> = bench.tables[bench.slot_role[slot]].slots.clone().collect();
    for touch in &bench.touches[slot] {
        near.extend(&bench.slots_of_row[touch.row]);
    }
    near.sort_unstable();
    near.dedup();
    for other in near {
        if begun[other] == NONE && trays.piece_in(host, other) != NONE {
            trays.take(host, other);
        }
    }
}

fn fill_once(
    trays: &mut Trays<'_, '_>,
    host: usize,
    manner: Manner,
    first: Option<usize>,
    draw: &mut Draw,
) -> Result<(), usize> {
    if trays.broken(host).is_some() {
        return Err(trays.bench.host_slot());
    }
    if let Some(slot) = first.filter(|&slot| trays.piece_in(host, slot) == NONE) {
        fill_slot(trays, host, slot, manner, draw)?;
    }
    for role in 0..trays.bench.tables.len() {
        let slots = trays.bench.tables[role].slots.clone();
        let mut order: Vec<(usize, usize)> = slots
            .filter(|&slot| trays.piece_in(host, slot) == NONE)
            .map(|slot| (trays.choice(host, slot), slot))
            .collect();
        order.sort_unstable();
        for (_, slot) in order {
            fill_slot(trays, host, slot, manner, draw)?;
        }
    }
    Ok(())
}

fn fill_slot(
    trays: &mut Trays<'_, '_>,
    host: usize,
    slot: usize,
    manner: Manner,
    draw: &mut Draw,
) -> Result<(), usize> {
    /// Pieces compared for one slot.
    const COMPARED: usize = 16;
    let mut found = trays.candidates(host, slot, Which::Free, COMPARED);
    if found.is_empty() && trays.beyond_stock {
        found = trays.candidates(host, slot, Which::All, COMPARED);
    }
    if found.is_empty() {
        let filled = manner.chain > 0 && chain::fill_by_chain(trays, host, slot, manner.chain);
        return if filled { Ok(()) } else { Err(slot) };
    }
    // Worth about as much as a fit at its limit.
    let thrift = if trays.thrifty { 2.0 } else { 0.0 };
    for (loss, piece) in &mut found {
        *loss += thrift * trays.bench.useful[*piece as usize];
        // An exponential draw: any piece may win, one much worse seldom.
        *loss -= manner.noise * libm::log(1.0 - draw.unit());
    }
    let free = &trays.free;
    // Among equals the grade of which most is left, then the first by id.
    let better = |a: &&(f64, Idx), b: &&(f64, Idx)| {
        let stock = free[b.1 as usize].cmp(&free[a.1 as usize]);
        a.0.total_cmp(&b.0).then(stock).then(a.1.cmp(&b.1))
    };
    let best = found.iter().min_by(better).map(|f| f.1);
    match best {
        Some(piece) => {
            trays.put(host, slot, piece);
            Ok(())
        }
        None => Err(slot),
    }
}
