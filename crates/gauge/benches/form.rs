//! Prints how fast form is fitted, as Markdown: `cargo bench -p bedplate-gauge --bench form`.
//!
//! The trace has two and three lobes, a dozen waves of machining and 0.3 µm of noise from a seed;
//! each fit is run many times and the median taken. The peer is least squares by a general library
//! on a trace of the same kind, with noise of its own: `reference/gauge/form_speed.py` (numpy and
//! scipy).
#![allow(clippy::print_stdout, reason = "the table is the product")]
#![allow(clippy::unwrap_used, reason = "a trace that cannot be fitted must stop the bench")]

use std::f64::consts::TAU;
use std::hint::black_box;
use std::time::Instant;

use bedplate_gauge::form::circle::{Point, Reference, reference_circle};
use bedplate_gauge::form::filter::{Filter, filtered};
use bedplate_gauge::form::harmonic::harmonics;
use bedplate_gauge::form::trace::Trace;

fn main() {
    println!("| points | work | µs, median | µs, slowest of ten | fits a second |");
    println!("|---|---|---|---|---|");
    for n in [360, 3_600, 36_000] {
        let traces: Vec<Trace> = (1..=50).map(|seed| trace(n, seed)).collect();
        let points: Vec<Vec<Point>> = traces.iter().map(Trace::points).collect();
        for reference in Reference::ALL {
            row(n, reference.name(), &points, |p| reference_circle(p, reference).unwrap());
        }
        row(n, "polar to points", &traces, Trace::points);
        row(n, "filter, 50 undulations", &traces, |t| {
            filtered(t.deviations_um(), Filter::Below { cutoff_upr: 50.0 }).unwrap()
        });
        row(n, "harmonics, 50", &traces, |t| harmonics(t.deviations_um(), 50).unwrap());
    }
}

/// Times one kind of work on every trace, a few times each.
fn row<T, R>(n: usize, what: &str, given: &[T], work: impl Fn(&T) -> R) {
    let mut micros: Vec<f64> = Vec::new();
    for _ in 0..4 {
        for item in given {
            let begun = Instant::now();
            black_box(work(black_box(item)));
            micros.push(begun.elapsed().as_secs_f64() * 1e6);
        }
    }
    micros.sort_by(f64::total_cmp);
    let (median, slow) = (micros[micros.len() / 2], micros[micros.len() * 9 / 10]);
    println!("| {n} | {what} | {median:.0} | {slow:.0} | {:.0} |", 1e6 / median);
}

/// A trace of a bore of 34 mm radius, set 5 µm off the axis.
fn trace(n: usize, seed: u64) -> Trace {
    let mut state = seed;
    let mut noise = || {
        // Twelve even draws summed are near enough to a normal one for a bench.
        let draw = |_| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (state >> 11) as f64 / (1_u64 << 53) as f64
        };
        (0..12).map(draw).sum::<f64>() - 6.0
    };
    let deviation = |i: usize| {
        let a = TAU * i as f64 / n as f64 + seed as f64;
        5.0 * (a + 1.0).cos()
            + 4.0 * (2.0 * a).cos()
            + 2.0 * (3.0 * a + 1.0).cos()
            + 0.5 * (12.0 * a).cos()
            + 0.3 * noise()
    };
    Trace::new(34.0, (0..n).map(deviation).collect()).unwrap()
}
