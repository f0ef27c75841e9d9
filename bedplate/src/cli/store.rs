//! `bedplate store`

use bedplate_works::sets::wishes::{Saying, StockLine, WishLine};
use bedplate_works::sets::{PileLine, first_type};
use bedplate_works::works::Works;
use clap::Args;
use serde_json::json;

use super::{Answer, By, InWorks, say};
use crate::exit::{Exit, Trouble};

#[derive(Debug, Args)]
pub(super) struct Store {
    #[command(flatten)]
    works: InWorks,
    /// Engine type; the first with a set rule if left out.
    #[arg(long)]
    engine_type: Option<String>,
    /// Keeps a piece out of every set.
    #[arg(long, value_name = "PIECE", group = "saying")]
    hold: Option<String>,
    /// Keeps a piece for the block named with --for, at the place named with --at.
    #[arg(long, value_name = "PIECE", group = "saying", requires = "block")]
    keep: Option<String>,
    /// The block a piece is kept for.
    #[arg(long = "for", value_name = "BLOCK", requires = "keep", id = "block")]
    block: Option<String>,
    /// The place it is kept for.
    #[arg(long = "at", value_name = "PLACE", requires = "keep")]
    position: Option<String>,
    /// Two pieces that may not go into one engine.
    #[arg(long, value_names = ["PIECE", "OTHER"], num_args = 2, group = "saying")]
    part: Option<Vec<String>>,
    /// A block whose engine is due.
    #[arg(long, value_name = "BLOCK", group = "saying")]
    due: Option<String>,
    /// How due: 2 comes before 1.
    #[arg(long, default_value_t = 1, requires = "due")]
    rank: u8,
    /// A piece of which nothing said holds any longer.
    #[arg(long, value_name = "PIECE", group = "saying")]
    free: Option<String>,
    /// Counts pieces of a grade.
    #[arg(long, value_names = ["PART", "GRADE", "PIECES"], num_args = 3, group = "saying")]
    count: Option<Vec<String>>,
    /// Why.
    #[arg(long)]
    reason: Option<String>,
    #[command(flatten)]
    by: By,
}

impl Store {
    pub(super) fn run(&self) -> Result<Answer, Trouble> {
        if let Some(count) = &self.count {
            return self.count(count);
        }
        match self.saying() {
            Some((piece, saying, said)) => {
                let works = self.works.open()?;
                let reason = self.reason.as_deref().unwrap_or_default();
                works.say_of_piece(&self.by.deed()?, piece, &saying, reason)?;
                let text = format!("{piece} {said}.");
                Answer::new(text, &json!({ "piece": piece, "said": said }), Exit::Done)
            }
            None => self.show(),
        }
    }

    fn saying(&self) -> Option<(&str, Saying, String)> {
        if let Some(piece) = &self.hold {
            return Some((piece, Saying::Hold, "is held".to_owned()));
        }
        if let (Some(piece), Some(block)) = (&self.keep, &self.block) {
            let position = self.position.clone().unwrap_or_default();
            let saying = Saying::Keep { block: block.clone(), position };
            return Some((piece, saying, format!("is kept for {block}")));
        }
        if let Some([piece, other]) = self.part.as_deref() {
            let saying = Saying::Part { other: other.clone() };
            return Some((piece, saying, format!("will not go with {other}")));
        }
        if let Some(block) = &self.due {
            return Some((block, Saying::Due { rank: self.rank }, "is due".to_owned()));
        }
        self.free.as_ref().map(|p| (p.as_str(), Saying::Free, "is free again".to_owned()))
    }

    fn count(&self, count: &[String]) -> Result<Answer, Trouble> {
        let [part, grade, pieces] = count else {
            return Err(Trouble::usage("--count takes a part, a grade and a number", ""));
        };
        let number = pieces.parse::<u64>().map_err(|_| {
            let hint = "write it like --count main_shell M2 40";
            Trouble::usage(format!("\"{pieces}\" is not a number of pieces"), hint)
        })?;
        let works = self.works.open()?;
        works.count_stock(&self.by.deed()?, part, grade, number)?;
        let figures = json!({ "part": part, "grade": grade, "pieces": number });
        Answer::new(format!("{number} {part} of grade {grade} counted."), &figures, Exit::Done)
    }

    fn show(&self) -> Result<Answer, Trouble> {
        let works = self.works.look()?;
        let piles = self.piles(&works)?;
        let (stock, wishes) = (works.stock(), works.wishes());
        let figures = json!({ "store": piles, "stock": stock, "wishes": wishes });
        Answer::new(text(&piles, &stock, &wishes), &figures, Exit::Done)
    }

    fn piles(&self, works: &Works) -> Result<Vec<PileLine>, Trouble> {
        let engine_type = self.engine_type.clone().or_else(|| first_type(&works.plan()));
        let Some(engine_type) = engine_type else {
            let hint = "add [set.ENGINE] with a fit to the works file";
            return Err(Trouble::usage("the works has no rule for sets", hint));
        };
        Ok(works.piles(&engine_type)?)
    }
}

fn text(piles: &[PileLine], stock: &[StockLine], wishes: &[WishLine]) -> String {
    let number = |n: usize| n.to_string();
    let piles: Vec<Vec<String>> = piles
        .iter()
        .map(|p| {
            let counts = [number(p.undecided), number(p.not_gauged), number(p.held)];
            [vec![p.title.clone(), p.ready.to_string()], counts.to_vec()].concat()
        })
        .collect();
    let mut lines =
        vec![say::table(&["part", "ready", "cannot tell", "not gauged", "held"], &piles)];
    if !stock.is_empty() {
        let rows: Vec<Vec<String>> = stock
            .iter()
            .map(|s| {
                let left = s.left.map_or_else(|| "not counted".to_owned(), |n| n.to_string());
                vec![s.title.clone(), s.grade.clone(), s.sizes.clone(), left]
            })
            .collect();
        lines.push(say::table(&["part", "grade", "size", "left"], &rows));
    }
    lines.extend(wishes.iter().map(|w| format!("{}: {} ({}).", w.piece, w.said, w.reason)));
    lines.join("\n")
}
