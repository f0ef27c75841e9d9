//! The file of rules: window and spread, how sure sizes are, the drawing's limits, and what is said
//! of single pieces.

use bedplate_engine::set::clearance::sure_window;
use bedplate_engine::set::size::{Milligram, Nanometre};
use bedplate_engine::set::{Block, Rules, Window};
use bedplate_gauge::unit::Dimension;

use super::sheets::millionths;
use crate::plain::wishes::{Said, said};
use crate::plan::table::{Sign, Table};

/// What the file of rules says.
pub(super) struct FileRules {
    pub(super) rules: Rules,
    pub(super) doubt: Option<ClearanceDoubt>,
    pub(super) said: Said,
    pub(super) drawing: Drawing,
}

/// Limits of the drawing, where they are given.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Drawing {
    pub(super) bore_mm: [Option<f64>; 2],
    pub(super) piston_mm: [Option<f64>; 2],
}

/// How sure a clearance is.
#[derive(Clone, Copy)]
pub(super) struct ClearanceDoubt {
    /// The window before it is narrowed.
    pub(super) window: Window,
    /// Standard uncertainty of one clearance, µm.
    pub(super) standard_um: f64,
    /// Least probability that all clearances of an engine lie in the window, if that is a rule.
    sure: Option<f64>,
}

impl FileRules {
    /// The rules with the window narrowed as far as `sure` asks, each cylinder of the largest block
    /// taking its equal share.
    pub(super) fn narrowed(&self, blocks: &[Block]) -> Result<Rules, String> {
        let Some(ClearanceDoubt { window, standard_um, sure: Some(sure) }) = self.doubt else {
            return Ok(self.rules.clone());
        };
        let most = blocks.iter().map(|b| b.bores().len()).max().unwrap_or(1);
        let narrowed = sure_window(window, standard_um, sure, most).ok_or_else(|| {
            format!(
                "no clearance is such that all of {most} cylinders lie in the window with {:.2} % \
                 at a standard uncertainty of {standard_um:.2} µm; widen the window, gauge better, \
                 or ask for less",
                sure * 100.0
            )
        })?;
        Rules::new(narrowed, self.rules.mass_spread_max()).map_err(|e| e.to_string())
    }
}

/// Reads the whole file.
pub(super) fn rules_of(root: &Table<'_>) -> Option<FileRules> {
    let known = ["clearance", "mass", "uncertainty", "drawing", "held", "due", "keep", "apart"];
    root.knows(&known);
    let window = root.table("clearance", "[clearance]").and_then(|t| t.sound(window_of));
    let mass = root.table("mass", "[mass]");
    let spread = mass.as_ref().and_then(|t| t.sound(spread_of));
    for (key, lacking) in [("clearance", "min and max"), ("mass", "spread")] {
        if !root.has(key) {
            let mend = format!("add it, with {lacking}");
            root.fault(&root.span, format!("the rules have no [{key}]"), mend);
        }
    }
    let doubt =
        root.table("uncertainty", "[uncertainty]").map(|t| t.sound(|t| doubt_of(t, window)));
    let said = said(root);
    let drawing = root.table("drawing", "[drawing]").map(|t| t.sound(drawing_of));
    root.finish_of("the rules");
    let doubt = match doubt {
        None => None,
        Some(doubt) => Some(doubt?),
    };
    let rules = Rules::new(window?, spread?);
    let rules = rules.map_err(|e| root.fault(&root.span, e.to_string(), "mend the rules")).ok()?;
    let drawing = match drawing {
        None => Drawing::default(),
        Some(drawing) => drawing?,
    };
    Some(FileRules { rules, doubt, said: said?, drawing })
}

/// Reads `[drawing]`: the limits of bore and piston.
fn drawing_of(table: &Table<'_>) -> Option<Drawing> {
    table.knows(&["bore", "piston"]);
    let limits = |key, example| -> Option<[Option<f64>; 2]> {
        if !table.has(key) {
            return Some([None, None]);
        }
        let words = table.different_words(key, example)?;
        let read = |word| table.quantity_in(key, word, Dimension::Length, Sign::Positive);
        let [lower, upper] = words.as_slice() else {
            let what = format!("{key} names {}, not two", words.len());
            table.fault_at(key, what, format!("write it like {key} = {example}"));
            return None;
        };
        let (lower, upper) = (read(lower)?.si() * 1e3, read(upper)?.si() * 1e3);
        if upper <= lower {
            table.fault_at(key, format!("the limits of {key} cross"), "swap the two");
            return None;
        }
        Some([Some(lower), Some(upper)])
    };
    let bore_mm = limits("bore", "[\"68.000 mm\", \"68.012 mm\"]");
    let piston_mm = limits("piston", "[\"67.960 mm\", \"67.980 mm\"]");
    Some(Drawing { bore_mm: bore_mm?, piston_mm: piston_mm? })
}

/// Reads `[uncertainty]`: expanded uncertainties of bore and piston, and perhaps how sure an
/// engine's clearances must be.
fn doubt_of(table: &Table<'_>, window: Option<Window>) -> Option<ClearanceDoubt> {
    table.knows(&["bore", "piston", "sure"]);
    let um = |key, example| {
        let q = table.quantity(key, Dimension::Length, Sign::NotNegative);
        table.need(q, key, example).map(|q| q.to("µm"))
    };
    let (bore, piston) = (um("bore", "\"1.6 µm\""), um("piston", "\"1.2 µm\""));
    let sure = table.share("sure", 0.5..=0.9999, "\"99 %\"");
    let window = window?;
    // Expanded uncertainties have a coverage factor of 2.
    let standard_um = (bore? / 2.0).hypot(piston? / 2.0);
    let sure = if table.has("sure") { Some(sure?) } else { None };
    Some(ClearanceDoubt { window, standard_um, sure })
}

fn window_of(table: &Table<'_>) -> Option<Window> {
    table.knows(&["min", "max", "target"]);
    let length = |key| {
        let length = table.quantity(key, Dimension::Length, Sign::Any)?;
        let whole = millionths(&length).map(Nanometre).filter(|n| n.within_reach());
        if whole.is_none() {
            let what = format!("{key} = \"{length}\" is out of reach");
            table.fault_at(key, what, "write a clearance, such as \"36 µm\"");
        }
        whole
    };
    let min = table.need(length("min"), "min", "\"30 µm\"");
    let max = table.need(length("max"), "max", "\"42 µm\"");
    let target = length("target");
    let (min, max) = (min?, max?);
    if max < min {
        let what =
            format!("max = {} lies below min = {}", table.written("max"), table.written("min"));
        table.fault_at("max", what, "swap the two, or mend the figure");
        return None;
    }
    let middle = Nanometre(min.0 + (max.0 - min.0) / 2);
    let target = if table.has("target") { target? } else { middle };
    if target < min || max < target {
        let what = format!("target = {} lies outside min and max", table.written("target"));
        table.fault_at("target", what, "write one between them, or leave it out for the middle");
        return None;
    }
    Some(Window { min, target, max })
}

fn spread_of(table: &Table<'_>) -> Option<Milligram> {
    table.knows(&["spread"]);
    let spread = table.quantity("spread", Dimension::Mass, Sign::NotNegative);
    let spread = table.need(spread, "spread", "\"4 g\"")?;
    let whole = millionths(&spread).map(Milligram).filter(|m| m.within_reach());
    if whole.is_none() {
        let what = format!("spread = \"{spread}\" is out of reach");
        table.fault_at("spread", what, "write a mass, such as \"4 g\"");
    }
    whole
}
