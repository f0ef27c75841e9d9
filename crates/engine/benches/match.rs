//! Prints how matching compares, as Markdown: `cargo bench -p bedplate-engine --bench match --
//! [family…] [blocks…] [peers]`, with families such as `drifted-6um-1g`. Without arguments all
//! families, sizes and peers, in less than four minutes.
//!
//! The fair baseline is first-in-first-out among pistons that really fit; every gain is against
//! that. The exact peer is a plain model solved by a general library, on lots small enough for it.
#![allow(clippy::print_stdout, reason = "the table is the product")]
#![allow(clippy::unwrap_used, reason = "a lot that cannot be laid must stop the bench")]

use std::collections::BTreeMap;
use std::time::Instant;

use bedplate_engine::set::check::check_matching;
use bedplate_engine::set::practice::{best_fit_now, first_in_first_out, grade_bins};
use bedplate_engine::set::wishes::Wishes;
use bedplate_engine::set::{Matching, Search, match_sets_while};
use good_lp::solvers::{SolutionStatus, WithTimeLimit};
use good_lp::{Expression, ProblemVariables, Solution, SolverModel, Variable, variable};

#[path = "../tests/set_lots/mod.rs"]
mod set_lots;

use set_lots::{Family, Lot, Width, lot};

const FAMILIES: [(&str, Family, Width); 6] = [
    ("planted-6um-1g", Family::Planted, Width::Narrow),
    ("planted-10um-2g", Family::Planted, Width::Wide),
    ("centred-6um-1g", Family::Centred, Width::Narrow),
    ("centred-10um-2g", Family::Centred, Width::Wide),
    ("drifted-6um-1g", Family::Drifted, Width::Narrow),
    ("drifted-10um-2g", Family::Drifted, Width::Wide),
];
const SIZES: [usize; 4] = [30, 100, 1_000, 10_000];
/// Lots above this are too slow for best-fit-now.
const BEST_FIT_MAX: usize = 1_000;
/// Seconds given to one matching; the number of rounds follows.
const SECONDS: f64 = 5.0;
/// Seconds given to the exact peer on one lot.
const PEER_SECONDS: f64 = 3.0;

fn main() {
    let given: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with("--")).collect();
    let sizes: Vec<usize> = given.iter().filter_map(|a| a.parse().ok()).collect();
    let sizes = if sizes.is_empty() { SIZES.to_vec() } else { sizes };
    let named = |name: &str| given.iter().any(|a| a == name);
    let any_named = FAMILIES.iter().any(|(name, ..)| named(name));
    println!(
        "| lot | blocks | grade bins | first in, first out | best fit now | first filling | after \
         1.5 s | found | bound | gap % | s | gain % | loss | loss bound | ratio |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|");
    let only_peers = named("peers") && !any_named;
    let wanted = |name: &str| if any_named { named(name) } else { !only_peers };
    for (name, family, width) in FAMILIES.into_iter().filter(|f| wanted(f.0)) {
        for &blocks in &sizes {
            row(name, &lot(family, width, blocks, 4, 1));
        }
    }
    if !any_named || named("peers") {
        peers();
    }
}

fn row(name: &str, lot: &Lot) {
    let Lot { blocks, pistons, rules } = lot;
    let bins = grade_bins(blocks, pistons, rules).unwrap().len();
    let fifo = first_in_first_out(blocks, pistons, rules).unwrap().len();
    let best_fit = if blocks.len() <= BEST_FIT_MAX {
        best_fit_now(blocks, pistons, rules).unwrap().len().to_string()
    } else {
        "–".to_owned()
    };
    let begun = Instant::now();
    let (mut first, mut soon) = (String::new(), 0);
    let search = Search::default();
    let wishes = Wishes::default();
    let found = match_sets_while(blocks, pistons, rules, &wishes, search, &mut |progress| {
        let seconds = begun.elapsed().as_secs_f64();
        if progress.round == 0 {
            first = format!("{} in {seconds:.2} s", progress.engines);
        }
        if progress.round == 0 || seconds <= 1.5 {
            soon = progress.engines;
        }
        seconds < SECONDS
    });
    let seconds = begun.elapsed().as_secs_f64();
    let found: Matching = found.unwrap();
    check_matching(blocks, pistons, rules, &found).unwrap();
    let engines = found.engines.len();
    let gap = 100.0 * (found.bound - engines) as f64 / found.bound.max(1) as f64;
    let gain = 100.0 * (engines as f64 / fifo.max(1) as f64 - 1.0);
    println!(
        "| {name} | {} | {bins} | {fifo} | {best_fit} | {first} | {soon} | {engines} | {} | \
         {gap:.2} | {seconds:.2} | {gain:.1} | {:.1} | {:.1} | {:.2} |",
        blocks.len(),
        found.bound,
        found.loss,
        found.loss_bound,
        found.loss / found.loss_bound.max(1e-9),
    );
}

/// Small lots against a general solver of integer programmes.
fn peers() {
    println!("\n| lot | blocks | seed | found | bound | s | exact | s |");
    println!("|---|---|---|---|---|---|---|---|");
    for (name, family, width) in FAMILIES {
        for seed in 1..=2 {
            let lot = lot(family, width, 6, 4, seed);
            let begun = Instant::now();
            let search = Search::default();
            let wishes = Wishes::default();
            let found = match_sets_while(
                &lot.blocks,
                &lot.pistons,
                &lot.rules,
                &wishes,
                search,
                &mut |_| true,
            );
            let (found, ours_s) = (found.unwrap(), begun.elapsed().as_secs_f64());
            let begun = Instant::now();
            let exact = exact(&lot);
            println!(
                "| {name} | 6 | {seed} | {} | {} | {ours_s:.2} | {exact} | {:.2} |",
                found.engines.len(),
                found.bound,
                begun.elapsed().as_secs_f64()
            );
        }
    }
}

/// The most engines, or how far it came in its time, by a plain integer model: each built block chooses the lightest piston of its
/// set, and its cylinders take pistons from the window of mass that begins there.
fn exact(lot: &Lot) -> String {
    let mut variables = ProblemVariables::new();
    let mut used: BTreeMap<usize, Vec<Variable>> = BTreeMap::new();
    let mut rows = Vec::new();
    let mut all = Expression::from(0.0);
    let (min, max) = (lot.rules.clearance_min(), lot.rules.clearance_max());
    for block in &lot.blocks {
        let begins: Vec<Variable> =
            lot.pistons.iter().map(|_| variables.add(variable().binary())).collect();
        let built: Expression = begins.iter().sum();
        rows.push(built.clone().leq(1.0));
        all += built.clone();
        for bore in block.bores() {
            let mut here = Expression::from(0.0);
            for (p, piston) in lot.pistons.iter().enumerate() {
                let clearance = *bore - piston.diameter();
                if clearance < min || max < clearance {
                    continue;
                }
                let x = variables.add(variable().binary());
                used.entry(p).or_default().push(x);
                here += x;
                let within = lot.pistons.iter().zip(&begins).filter(|(lightest, _)| {
                    let above = piston.mass() - lightest.mass();
                    0 <= above.0 && above <= lot.rules.mass_spread_max()
                });
                let windows: Expression = within.map(|(_, begin)| *begin).sum();
                rows.push((Expression::from(x) - windows).leq(0.0));
            }
            rows.push((here - built.clone()).eq(0.0));
        }
    }
    for own in used.values() {
        rows.push(own.iter().sum::<Expression>().leq(1.0));
    }
    let mut model = variables.maximise(&all).using(good_lp::microlp).with_time_limit(PEER_SECONDS);
    for row in rows {
        model = model.with(row);
    }
    match model.solve() {
        Ok(solved) => {
            let engines = solved.eval(&all).round();
            let proven = matches!(solved.status(), SolutionStatus::Optimal);
            if proven { engines.to_string() } else { format!("{engines} so far") }
        }
        Err(why) => why.to_string(),
    }
}
