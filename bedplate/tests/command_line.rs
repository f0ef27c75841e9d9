//! The command line, run as a person would, on the example files and on a works of its own.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on fails")]

mod served;

use std::path::Path;
use std::process::Output;

use served::{bedplate, examples};

fn run_in(folder: &Path, arguments: &[&str]) -> Output {
    bedplate().current_dir(folder).args(arguments).output().unwrap()
}

fn said(output: &Output) -> String {
    format!(
        "{}{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    )
}

fn code(output: &Output) -> i32 {
    output.status.code().unwrap()
}

#[test]
fn match_on_plain_files_writes_complete_engines_only() {
    let out = tempfile::tempdir().unwrap();
    let fit = out.path().join("fit.csv");
    let arguments = [
        "match",
        "--blocks",
        "blocks.csv",
        "--pistons",
        "pistons.csv",
        "--rules",
        "rules.toml",
        "--json",
        "--out",
        fit.to_str().unwrap(),
    ];
    let output = run_in(&examples(), &arguments);
    // One: blocks are left over, which is a verdict.
    assert_eq!(code(&output), 1, "{}", said(&output));
    let answer: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let found = usize::try_from(answer["found"].as_u64().unwrap()).unwrap();
    assert!(answer["bound"].as_u64().unwrap() as usize >= found);
    let hand = &answer["by_hand"];
    assert!(found > hand["first_in_first_out"].as_u64().unwrap() as usize);
    assert!(found > hand["grade_bins"].as_u64().unwrap() as usize);
    let text = std::fs::read_to_string(&fit).unwrap();
    let mut lines = text.lines();
    assert_eq!(lines.next(), Some("block_id,cylinder,piston_id,clearance_um"));
    let rows: Vec<Vec<&str>> = lines.map(|l| l.split(',').collect()).collect();
    assert_eq!(rows.len(), found * 4);
    let pistons: std::collections::HashSet<_> = rows.iter().map(|r| r[2]).collect();
    assert_eq!(pistons.len(), rows.len(), "a piston is assigned twice");
    for row in &rows {
        let clearance: f64 = row[3].parse().unwrap();
        assert!((30.0..=42.0).contains(&clearance), "{row:?}");
    }
}

#[test]
fn judge_on_plain_files_tells_the_four_doubtful_bores() {
    let output = run_in(&examples(), &["judge", "bores-judge.csv", "--limits", "limits.toml"]);
    assert_eq!(code(&output), 1);
    let text = said(&output);
    assert!(
        text.starts_with("28 accepted, 2 rejected, 2 too close to call, 0 not judged"),
        "{text}"
    );
}

#[test]
fn balance_on_a_plain_file_plans_two_holes_and_shows_the_cautions() {
    let output = run_in(&examples(), &["balance", "crankshaft.toml", "--json"]);
    assert_eq!(code(&output), 0, "{}", said(&output));
    let answer: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(answer["plan"]["outcome"], "inside");
    for plane in answer["plan"]["planes"].as_array().unwrap() {
        let (left, allowed) = (&plane["expected"]["value"], &plane["allowed"]["value"]);
        assert!(left.as_f64().unwrap() <= allowed.as_f64().unwrap(), "{plane}");
    }
    assert!(answer["plan"]["cautions"].as_array().unwrap().len() >= 3);
}

#[test]
fn bed_on_plain_files_finds_the_weak_engine() {
    let output = run_in(&examples(), &["bed", "bed.csv", "--engine", "bed.toml"]);
    assert_eq!(code(&output), 1);
    assert!(said(&output).contains("down at 3600 rev/min, outside the band"), "{}", said(&output));
}

#[test]
fn calc_works_from_words_and_from_json() {
    let here = examples();
    let words =
        run_in(&here, &["calc", "piston-clearance", "bore=68.0087 mm", "piston=67.9702 mm"]);
    assert_eq!(code(&words), 0);
    assert!(said(&words).contains("38.5 µm"), "{}", said(&words));
    let missing = run_in(&here, &["calc", "piston-clearance", "bore=68.0087 mm"]);
    assert_eq!(code(&missing), 3);
    assert!(said(&missing).contains("piston"), "{}", said(&missing));
    let unknown = run_in(&here, &["calc", "piston-clearence", "bore=1 mm"]);
    assert_eq!(code(&unknown), 2);
    assert!(said(&unknown).contains("piston-clearance"), "{}", said(&unknown));
    let list = run_in(&here, &["calc", "--list", "--json"]);
    let all: serde_json::Value = serde_json::from_slice(&list.stdout).unwrap();
    assert!(all.as_array().unwrap().len() > 100);
}

#[test]
fn every_command_has_help_with_an_example() {
    for command in [
        "serve",
        "new",
        "demo",
        "import",
        "judge",
        "match",
        "balance",
        "build",
        "bed",
        "record",
        "trace",
        "verify",
        "calc",
        "completions",
    ] {
        let output = run_in(&examples(), &[command, "--help"]);
        assert_eq!(code(&output), 0, "{command}");
        let text = said(&output);
        assert!(text.contains("Example"), "{command} has no example");
        assert!(text.contains("--json") || command == "completions", "{command} has no --json");
    }
    for shell in ["bash", "zsh", "fish"] {
        let output = run_in(&examples(), &["completions", shell]);
        assert!(said(&output).contains("bedplate"), "{shell}");
    }
}

#[test]
fn each_kind_of_trouble_has_its_exit_code() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let usage = run_in(at, &["match", "--blokcs", "x"]);
    assert_eq!(code(&usage), 2);
    assert!(said(&usage).contains("--blocks"), "{}", said(&usage));
    assert_eq!(code(&run_in(at, &["verify", "--works", "nowhere"])), 2);
    std::fs::write(at.join("b.csv"), "block_id,bore1\nB1,sixty\n").unwrap();
    std::fs::write(at.join("p.csv"), "piston_id,diameter_mm,mass_g\nP1,67.97,400\n").unwrap();
    let rules = examples().join("rules.toml");
    let refused = run_in(
        at,
        &["match", "--blocks", "b.csv", "--pistons", "p.csv", "--rules", rules.to_str().unwrap()],
    );
    assert_eq!(code(&refused), 3);
    assert!(said(&refused).contains("b.csv:2:2"), "{}", said(&refused));
    let outside = run_in(at, &["balance", "no-such.toml"]);
    assert_eq!(code(&outside), 5);
}

#[test]
fn a_works_goes_from_a_file_to_a_record_by_commands_alone() {
    let folder = tempfile::tempdir().unwrap();
    let works = folder.path().join("works");
    let works = works.to_str().unwrap();
    assert_eq!(code(&run_in(folder.path(), &["demo", works])), 0);
    let again = run_in(folder.path(), &["demo", works]);
    assert_eq!(code(&again), 2, "a folder that is not empty is left alone");

    let long = examples().join("readings-long.csv");
    let long = long.to_str().unwrap();
    let first = run_in(folder.path(), &["import", long, "--works", works, "--by", "v-marl"]);
    assert!(said(&first).contains("0 refused"), "{}", said(&first));
    let twice = run_in(folder.path(), &["import", long, "--works", works, "--by", "v-marl"]);
    assert!(said(&twice).contains(": 0 rows taken"), "{}", said(&twice));
    let nobody = run_in(folder.path(), &["import", long, "--works", works, "--by", "v-mral"]);
    assert_eq!(code(&nobody), 2);
    assert!(said(&nobody).contains("v-marl"), "{}", said(&nobody));

    let made =
        run_in(folder.path(), &["match", "--make", "--works", works, "--by", "j-quill", "--json"]);
    assert_eq!(code(&made), 0, "{}", said(&made));
    let made: serde_json::Value = serde_json::from_slice(&made.stdout).unwrap();
    let set = made["sets"][0].as_str().unwrap();
    let begun = run_in(
        folder.path(),
        &["build", "--begin", "--set", set, "--works", works, "--by", "j-quill", "--json"],
    );
    assert_eq!(code(&begun), 0, "{}", said(&begun));
    let begun: serde_json::Value = serde_json::from_slice(&begun.stdout).unwrap();
    let engine = begun["engine"].as_str().unwrap();
    let record = run_in(folder.path(), &["record", engine, "--works", works]);
    assert_eq!(code(&record), 0, "{}", said(&record));
    assert!(said(&record).contains("unbroken"));
    let traced = run_in(folder.path(), &["trace", engine, "--works", works]);
    assert!(said(&traced).contains("13 numbered pieces") || said(&traced).contains("numbered"));
    let whole = run_in(folder.path(), &["verify", "--works", works]);
    assert_eq!(code(&whole), 0, "{}", said(&whole));
}

#[test]
fn a_damaged_record_is_told_with_its_own_exit_code() {
    let folder = tempfile::tempdir().unwrap();
    let works = folder.path().join("works");
    assert_eq!(code(&run_in(folder.path(), &["demo", works.to_str().unwrap()])), 0);
    let ledger = works.join("ledger.db");
    let mut bytes = std::fs::read(&ledger).unwrap();
    // Changes the text of an entry behind the program's back.
    let needle = b"\"what\":\"engine-passed\"";
    let at = bytes.windows(needle.len()).rposition(|w| w == needle).unwrap();
    bytes[at + 10] = b'f';
    std::fs::write(&ledger, bytes).unwrap();
    let output = run_in(folder.path(), &["verify", "--works", works.to_str().unwrap()]);
    assert_eq!(code(&output), 4, "{}", said(&output));
    assert!(said(&output).contains("breaks at number"), "{}", said(&output));
}

#[test]
fn the_books_reference_is_what_the_handbook_says() {
    let folder = tempfile::tempdir().unwrap();
    let written = folder.path().join("handbook");
    let output = run_in(folder.path(), &["reference", written.to_str().unwrap()]);
    assert_eq!(code(&output), 0, "{}", said(&output));
    let book = Path::new(env!("CARGO_MANIFEST_DIR")).join("../book/src/handbook");
    for entry in std::fs::read_dir(&written).unwrap() {
        let name = entry.unwrap().file_name();
        let now = std::fs::read_to_string(written.join(&name)).unwrap();
        let kept = std::fs::read_to_string(book.join(&name)).unwrap_or_default();
        assert!(now == kept, "{name:?} is old: run `bedplate reference book/src/handbook`");
    }
}
