//! Live kitting: blocks one at a time, a finite store, every way of choosing on the same arrivals.
//!
//! `cargo bench -p bedplate-engine --bench live -- [blocks] [seed,seed,…]` prints a table as
//! Markdown. The figures of the way called balanced were chosen on seeds 1 to 4; the table is made
//! on others.
#![allow(clippy::print_stdout, reason = "the table is what this program is for")]
#![allow(missing_docs, reason = "a program without a library")]

use std::time::Instant;

use bedplate_engine::set::live::Policy;
use bedplate_engine::set::live::simulate::{Run, Track, simulate};
use bedplate_engine::set::size::{Milligram, Nanometre};
use bedplate_engine::set::{Rules, Window};
use rayon::prelude::*;

/// Name, half the window in µm, allowed spread of mass in g, drift of the bores in µm.
const CASES: [(&str, i64, i64, f64); 4] = [
    ("centred, 10 µm / 2 g", 5, 2, 0.0),
    ("centred, 6 µm / 1 g", 3, 1, 0.0),
    ("drift 2 µm, 10 µm / 2 g", 5, 2, 2.0),
    ("drift 4 µm, 10 µm / 2 g", 5, 2, 4.0),
];
const STORES: [usize; 4] = [200, 500, 1_000, 2_000];

fn main() {
    let told: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with("--")).collect();
    let blocks: usize = told.first().and_then(|a| a.parse().ok()).unwrap_or(4_000);
    let seeds: Vec<u64> = told
        .get(1)
        .map_or_else(|| vec![6, 7, 8], |a| a.split(',').filter_map(|s| s.parse().ok()).collect());
    println!("{blocks} blocks of 4 cylinders, at most 20 parked, seeds {seeds:?}; per cell:");
    println!(
        "engines completed % / mean |clearance − target| µm / mean mass spread g / ms a block"
    );
    println!();
    println!("| case | store | {} | difference in engines a seed |", names());
    println!("|---|---|{}---|", "---|".repeat(Policy::ALL.len()));
    let start = Instant::now();
    for case in CASES {
        for store in STORES {
            row(case, store, blocks, &seeds);
        }
    }
    println!();
    println!("The difference is balanced less first-in-first-out on the same arrivals.");
    println!("Whole run {:.0} s.", start.elapsed().as_secs_f64());
}

fn names() -> String {
    Policy::ALL.map(Policy::name).join(" | ")
}

fn row(
    (name, half_um, spread_g, drift_um): (&str, i64, i64, f64),
    store: usize,
    blocks: usize,
    seeds: &[u64],
) {
    let track = Track {
        bore_mm: 68.0 + drift_um / 1e3,
        bore_sd_um: 4.0,
        piston_mm: 67.962,
        piston_sd_um: 5.0,
        mass_g: 415.0,
        mass_sd_g: 2.5,
        cylinders: 4,
        store,
        parked_max: 20,
        blocks,
    };
    let nm = |um: i64| Nanometre(um * 1_000);
    let window = Window { min: nm(38 - half_um), target: nm(38), max: nm(38 + half_um) };
    let rules = Rules::new(window, Milligram(spread_g * 1_000)).expect("rules that agree");
    let jobs: Vec<(Policy, u64)> =
        Policy::ALL.iter().flat_map(|&p| seeds.iter().map(move |&s| (p, s))).collect();
    let runs: Vec<(Run, f64)> = jobs
        .par_iter()
        .map(|&(policy, seed)| {
            let start = Instant::now();
            let run = simulate(&track, &rules, policy, seed).expect("a track that can be laid");
            (run, start.elapsed().as_secs_f64() * 1e3 / run.decisions.max(1) as f64)
        })
        .collect();
    let of = |p: usize| &runs[p * seeds.len()..(p + 1) * seeds.len()];
    let cells: Vec<String> = (0..Policy::ALL.len()).map(|p| cell(of(p))).collect();
    let apart: Vec<String> = (0..seeds.len())
        .map(|s| {
            let engines = |p: usize| i64::try_from(of(p)[s].0.engines).unwrap_or(i64::MAX);
            format!("{:+}", engines(3) - engines(1))
        })
        .collect();
    println!("| {name} | {store} | {} | {} |", cells.join(" | "), apart.join(" "));
}

fn cell(runs: &[(Run, f64)]) -> String {
    let mean = |f: &dyn Fn(&(Run, f64)) -> f64| runs.iter().map(f).sum::<f64>() / runs.len() as f64;
    format!(
        "{:.2} / {:.2} / {:.2} / {:.2}",
        mean(&|r| 100.0 * r.0.engines as f64 / r.0.blocks.max(1) as f64),
        mean(&|r| r.0.clearance_error_um),
        mean(&|r| r.0.mass_spread_g),
        mean(&|r| r.1),
    )
}
