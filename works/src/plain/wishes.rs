//! What a file of rules says of single pieces: held, due, kept for a block, parted.

use bedplate_engine::set::wishes::{Apart, Pin, Rank, Reserved, Wishes};
use bedplate_engine::set::{Block, CYLINDERS_MAX, Piston};

use crate::plan::table::Table;

/// The wishes of a file, and the pistons that are held.
#[derive(Debug, Default)]
pub(super) struct Said {
    /// Pieces left out of everything.
    pub(super) held: Vec<String>,
    pub(super) wishes: Wishes,
    /// Pairs kept apart, to be told blocks from pistons once these are known.
    apart: Vec<(String, String)>,
}

const CYLINDERS: u32 = CYLINDERS_MAX as u32;

/// Reads `held`, `[[due]]`, `[[keep]]` and `[[apart]]`.
pub(super) fn said(root: &Table<'_>) -> Option<Said> {
    let mut said = Said::default();
    if root.has("held") {
        let words = root.different_words("held", "[\"P0012\"]")?;
        said.held = words.iter().map(|w| w.text.to_owned()).collect();
    }
    let mut all_sound = true;
    for table in root.tables("due", "[[due]]") {
        let rank = table.sound(|t| {
            t.knows(&["block", "rank"]);
            let block = t.need(t.text("block", "\"B0002\""), "block", "\"B0002\"")?;
            let rank = t.whole("rank", 1..=255, 1);
            let rank = if t.has("rank") { rank? } else { 1 };
            Some(Rank { block: block.to_owned(), rank: i32::try_from(rank).unwrap_or(i32::MAX) })
        });
        all_sound &= rank.is_some();
        said.wishes.ranks.extend(rank);
    }
    for table in root.tables("keep", "[[keep]]") {
        all_sound &= table.sound(|t| keep(t, &mut said)).is_some();
    }
    for table in root.tables("apart", "[[apart]]") {
        let pair = table.sound(|t| {
            t.knows(&["pieces"]);
            let example = "[\"P0012\", \"B0002\"]";
            let words = t.need(t.different_words("pieces", example), "pieces", example)?;
            let [one, other] = words.as_slice() else {
                let what = format!("pieces names {}, not two", words.len());
                t.fault_at("pieces", what, format!("write it like pieces = {example}"));
                return None;
            };
            Some((one.text.to_owned(), other.text.to_owned()))
        });
        all_sound &= pair.is_some();
        said.apart.extend(pair);
    }
    all_sound.then_some(said)
}

fn keep(t: &Table<'_>, said: &mut Said) -> Option<()> {
    t.knows(&["piston", "block", "cylinder"]);
    let name = |key, example| Some(t.need(t.text(key, example), key, example)?.to_owned());
    let (piston, block) = (name("piston", "\"P0012\""), name("block", "\"B0002\""));
    let cylinder = t.whole("cylinder", 1..=CYLINDERS, 1);
    let (piston, block) = (piston?, block?);
    if t.has("cylinder") {
        let cylinder = usize::try_from(cylinder?).ok()?;
        said.wishes.pins.push(Pin { piston, block, cylinder });
    } else {
        said.wishes.reserved.push(Reserved { piston, block });
    }
    Some(())
}

impl Said {
    /// Leaves out what is held, and tells of each parted pair which is a block.
    pub(super) fn settle(
        self,
        blocks: Vec<Block>,
        pistons: Vec<Piston>,
    ) -> (Vec<Block>, Vec<Piston>, Wishes) {
        let mut wishes = self.wishes;
        let is_block = |id: &str| blocks.iter().any(|b| b.id() == id);
        for (one, other) in self.apart {
            wishes.apart.push(match (is_block(&one), is_block(&other)) {
                (true, _) => Apart::PistonAndBlock { piston: other, block: one },
                (_, true) => Apart::PistonAndBlock { piston: one, block: other },
                _ => Apart::Pistons { one, other },
            });
        }
        let free = |id: &str| !self.held.iter().any(|h| h == id);
        let blocks = blocks.into_iter().filter(|b| free(b.id())).collect();
        let pistons = pistons.into_iter().filter(|p| free(p.id())).collect();
        (blocks, pistons, wishes)
    }
}
