//! The truth behind the demo is really in its readings.

use std::sync::LazyLock;

use bedplate_demo::{Demo, SEED, generate};
use bedplate_record::entry::Event;
use bedplate_record::reading::Reading;

static DEMO: LazyLock<Demo> = LazyLock::new(|| generate(SEED));

fn of(characteristic: &str) -> impl Iterator<Item = &'static Reading> {
    let wanted = characteristic.to_owned();
    DEMO.groups
        .iter()
        .flat_map(|group| &group.readings)
        .filter(move |reading| *reading.characteristic == *wanted)
}

fn truth_of(reading: &Reading) -> f64 {
    DEMO.truth
        .value(&reading.piece, &reading.characteristic, &reading.position)
        .unwrap_or_else(|| panic!("{reading:?} has no truth"))
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Mean with its standard error.
fn estimate(values: &[f64]) -> (f64, f64) {
    let m = mean(values);
    let squares = values.iter().map(|v| (v - m).powi(2)).sum::<f64>();
    (m, (squares / (values.len() - 1) as f64 / values.len() as f64).sqrt())
}

#[test]
fn the_air_gauge_shows_too_much_while_it_is_out_and_not_otherwise() {
    let out = &DEMO.truth.gauge_out;
    let reworked: std::collections::HashSet<&str> = DEMO
        .groups
        .iter()
        .flat_map(|group| &group.entries)
        .filter_map(|e| match &e.event {
            Event::PieceReworked { piece, .. } => Some(piece.as_str()),
            _ => None,
        })
        .collect();
    let (mut while_out, mut else_when) = (vec![], vec![]);
    for reading in of("block.bore").filter(|r| !reworked.contains(&*r.piece)) {
        let error_um = (reading.value.number() - truth_of(reading)) * 1000.0;
        let is_out = out.from <= reading.at && reading.at < out.until;
        if is_out { while_out.push(error_um) } else { else_when.push(error_um) }
    }
    let ((out_mean, out_error), (mean, error)) = (estimate(&while_out), estimate(&else_when));
    assert!(while_out.len() > 1_000, "{} readings while out", while_out.len());
    assert!((out_mean - out.error_um).abs() < 4.0 * out_error, "{out_mean} ± {out_error}");
    assert!(mean.abs() < 4.0 * error, "{mean} ± {error}");
    let found = DEMO.groups.iter().flat_map(|g| &g.entries).find_map(|e| match &e.event {
        Event::GaugeCalibrated { gauge, error, in_order: false, .. } => Some((e.at, gauge, error)),
        _ => None,
    });
    assert_eq!(found, Some((out.until, &out.gauge, &"2.4 µm".to_owned())));
}

#[test]
fn each_spindle_wears_as_the_truth_says() {
    for spindle in &DEMO.truth.spindles {
        // Steps between neighbouring blocks, without the steps of resets.
        let mut sizes: Vec<(String, f64)> = of("block.bore")
            .filter(|r| *r.context.spindle == *spindle.spindle)
            .map(|r| (r.piece.to_string(), truth_of(r) * 1000.0))
            .collect();
        sizes.dedup_by(|a, b| a.0 == b.0);
        let resets = DEMO.groups.iter().flat_map(|g| &g.entries).filter(|e| {
            matches!(&e.event, Event::OffsetMade { spindle: s, characteristic, .. }
                if *s == spindle.spindle && characteristic == "block.bore")
        });
        let moved: f64 = resets
            .map(|e| match &e.event {
                Event::OffsetMade { moved, .. } => {
                    moved.trim_end_matches(" µm").parse::<f64>().unwrap()
                }
                _ => 0.0,
            })
            .sum();
        // What the spindle grew over all blocks is the change of size less what it was moved.
        let n = sizes.len();
        let ends = |from: &[(String, f64)]| mean(&from.iter().map(|s| s.1).collect::<Vec<_>>());
        let grew = ends(&sizes[n - 5..]) - ends(&sizes[..5]) - moved;
        let per_block = grew / (n - 5) as f64;
        // Slips of some hundred resets, 0.35 µm each, and of some tips, over 2,600 blocks.
        assert!(
            (per_block - spindle.per_block_um).abs() < 0.008,
            "spindle {}: {per_block}",
            spindle.spindle
        );
    }
}

#[test]
fn the_soft_heat_is_soft_and_its_engines_are_weak() {
    let soft = &DEMO.truth.soft_heat;
    let is_soft = |r: &&Reading| soft.boxes.iter().any(|b| **b == *r.piece);
    let (hard, softs): (Vec<_>, Vec<_>) = of("tappet.hardness").partition(|r| !is_soft(r));
    let numbers = |r: Vec<&Reading>| r.iter().map(|r| r.value.number()).collect::<Vec<_>>();
    let (soft_mean, soft_error) = estimate(&numbers(softs));
    let (hard_mean, _) = estimate(&numbers(hard));
    // The boxes that were sampled scatter among themselves by 0.35 HRC.
    assert!((soft_mean - soft.mean_hrc).abs() < 4.0 * soft_error + 0.4, "{soft_mean}");
    assert!((hard_mean - soft.sound_hrc).abs() < 0.2, "{hard_mean}");
    let entries = DEMO.groups.iter().flat_map(|g| &g.entries);
    let of_heat = entries.filter(|e| match &e.event {
        Event::PieceMade { heat, part, .. } => *heat == soft.heat && part == "tappet",
        _ => false,
    });
    assert_eq!(of_heat.count(), soft.boxes.len());
    let held = |engine: &str| DEMO.truth.engines[engine].lift_loss > 0.025;
    let soft_engines = DEMO.truth.engines.keys().filter(|e| held(e)).count();
    assert!((80..=118).contains(&soft_engines), "{soft_engines}");
    let weak = &DEMO.truth.engines[&DEMO.truth.weak_engine];
    assert!(weak.lift_loss > 0.05 && weak.torque_nm[2] < 0.955 * 58.4, "{weak:?}");
}

#[test]
fn pistons_of_the_last_two_days_are_a_grade_small() {
    let small = &DEMO.truth.small_pistons;
    let (mut before, mut after) = (vec![], vec![]);
    for reading in of("piston.skirt") {
        let size_um = (reading.value.number() - 67.970) * 1000.0;
        if *reading.piece < *small.first { before.push(size_um) } else { after.push(size_um) }
    }
    let step = mean(&after) - mean(&before);
    assert!(after.len() > 400 && (step + small.by_um).abs() < 0.6, "{step}");
}

#[test]
fn the_crank_grinder_drifts_at_the_end_and_is_not_reset() {
    let drift = &DEMO.truth.grinder_drift;
    let number = |r: &Reading| r.piece[1..].parse::<f64>().unwrap();
    let points: Vec<(f64, f64)> = of("crankshaft.main")
        .filter(|r| r.at >= drift.from + 7_200_000)
        .map(|r| (number(r), (r.value.number() - 49.984) * 1000.0))
        .collect();
    let (mx, my) = (
        mean(&points.iter().map(|p| p.0).collect::<Vec<_>>()),
        mean(&points.iter().map(|p| p.1).collect::<Vec<_>>()),
    );
    let slope = points.iter().map(|p| (p.0 - mx) * (p.1 - my)).sum::<f64>()
        / points.iter().map(|p| (p.0 - mx).powi(2)).sum::<f64>();
    assert!((slope - drift.per_crankshaft_um).abs() < 0.002, "{slope}");
    let resets = DEMO.groups.iter().flat_map(|g| &g.entries).filter(|e| {
        e.at > drift.from
            && matches!(&e.event, Event::OffsetMade { machine, .. } if machine == "crank grinder 1")
    });
    assert_eq!(resets.count(), 0);
}

#[test]
fn every_reading_of_a_piece_has_its_truth() {
    let mut seen = 0;
    for reading in DEMO.groups.iter().flat_map(|group| &group.readings) {
        // Angles and what is read on engines have no true size of a piece behind them.
        if reading.characteristic.starts_with("engine.")
            || &*reading.characteristic == "crankshaft.unbalance_angle"
        {
            continue;
        }
        seen += 1;
        assert!(truth_of(reading).is_finite());
    }
    assert!(seen > 60_000, "{seen}");
}
