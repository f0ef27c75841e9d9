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

const LOT: [&str; 7] =
    ["match", "--blocks", "blocks.csv", "--pistons", "pistons.csv", "--rules", "rules.toml"];

#[test]
fn bounds_alone_and_a_time_limit_of_nothing_still_answer() {
    let bound = run_in(&examples(), &[&LOT[..], &["--bound-only", "--json"]].concat());
    assert_eq!(code(&bound), 0, "{}", said(&bound));
    let bound: serde_json::Value = serde_json::from_slice(&bound.stdout).unwrap();
    let short = run_in(&examples(), &[&LOT[..], &["--time-limit", "0", "--json"]].concat());
    let short: serde_json::Value = serde_json::from_slice(&short.stdout).unwrap();
    assert_eq!(bound["bound"], short["bound"]);
    assert_eq!(short["rounds"], 0);
    for key in ["engines", "loss", "loss_bound", "seconds", "moves", "seed", "missing"] {
        assert!(!short[key].is_null(), "no {key}");
    }
    assert!(short["loss_bound"].as_f64().unwrap() <= short["loss"].as_f64().unwrap());
}

#[test]
fn the_same_seed_gives_the_same_answer() {
    let run = || {
        let output = run_in(&examples(), &[&LOT[..], &["--seed", "7", "--json"]].concat());
        let mut answer: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
        answer["seconds"] = serde_json::Value::Null;
        answer.to_string()
    };
    assert_eq!(run(), run());
}

#[test]
fn wishes_in_the_rules_are_kept_and_contradictions_refused() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
    write("blocks.csv", "block_id,bore1\nB1,68.006\nB2,68.006\n");
    write("pistons.csv", "piston_id,diameter_mm,mass_g\nP1,67.970,418\nP2,67.970,418\n");
    let rules = "[clearance]\nmin = \"30 µm\"\nmax = \"42 µm\"\n[mass]\nspread = \"4 g\"\n";
    write("rules.toml", &format!("held = [\"P2\"]\n{rules}[[due]]\nblock = \"B2\"\n"));
    let output = run_in(folder.path(), &[&LOT[..], &["--json"]].concat());
    let answer: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(answer["found"], 1);
    assert_eq!(answer["engines"][0]["block"], "B2");
    assert_eq!(answer["engines"][0]["places"][0]["piston"], "P1");
    let keep = "[[keep]]\npiston = \"P1\"\nblock = \"B1\"\ncylinder = 1\n";
    let apart = "[[apart]]\npieces = [\"P1\", \"B1\"]\n";
    write("rules.toml", &format!("{rules}{keep}{apart}"));
    let output = run_in(folder.path(), &LOT);
    assert_eq!(code(&output), 3, "{}", said(&output));
    assert!(said(&output).contains("together and apart"), "{}", said(&output));
}

/// A works of pins, rods, rings and shells, its readings brought in.
fn kit_works() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for name in ["works.toml", "readings.csv"] {
        std::fs::copy(examples().join("kit").join(name), folder.path().join(name)).unwrap();
    }
    let output = run_in(folder.path(), &["import", "readings.csv", "--by", "j-quill"]);
    assert_eq!(code(&output), 0, "{}", said(&output));
    for (part, grade) in [
        ("main_shell", "M1"),
        ("main_shell", "M2"),
        ("rod_shell", "E1"),
        ("rod_shell", "E2"),
        ("shim", "S1"),
        ("shim", "S2"),
        ("shim", "S3"),
    ] {
        let count = ["store", "--count", part, grade, "40", "--by", "j-quill"];
        let output = run_in(folder.path(), &count);
        assert_eq!(code(&output), 0, "{}", said(&output));
    }
    folder
}

#[test]
fn sets_of_a_whole_engine_are_matched_made_changed_and_drawn_from_stock() {
    let works = kit_works();
    let here = works.path();
    let sheet = run_in(here, &["match", "--json"]);
    let sheet: serde_json::Value = serde_json::from_slice(&sheet.stdout).unwrap();
    let found = sheet["found"].as_u64().unwrap();
    assert!((6..=12).contains(&found), "{found}");
    assert!(found <= sheet["bound"].as_u64().unwrap());
    for set in sheet["proposed"].as_array().unwrap() {
        for fit in set["fits"].as_array().unwrap() {
            let at = |value: &serde_json::Value| value["value"].as_f64().unwrap();
            let (value, limits) = (at(&fit["clearance"]), fit["limits"].as_array().unwrap());
            assert!(at(&limits[0]) <= value && value <= at(&limits[2]), "{fit}");
        }
    }
    let block = sheet["proposed"][0]["block"].as_str().unwrap();
    let made = run_in(here, &["match", "--make", "--block", block, "--by", "j-quill"]);
    assert_eq!(code(&made), 0, "{}", said(&made));
    let tried = run_in(here, &["match", "--set", "00001", "--replace", "2", "--try-only"]);
    assert!(said(&tried).contains("as it would be"), "{}", said(&tried));
    let reason = ["--reason", "mark", "--by", "j-quill"];
    let change = [&["match", "--set", "00001", "--replace", "2", "--scrap"][..], &reason].concat();
    let changed = run_in(here, &change);
    assert_eq!(code(&changed), 0, "{}", said(&changed));
    let store = run_in(here, &["store", "--json"]);
    let store: serde_json::Value = serde_json::from_slice(&store.stdout).unwrap();
    let left: i64 =
        store["stock"].as_array().unwrap().iter().map(|s| s["left"].as_i64().unwrap()).sum();
    assert_eq!(left, 7 * 40 - 14);
    let built = run_in(here, &["build", "--begin", "--set", "00001", "--by", "j-quill"]);
    assert_eq!(code(&built), 0, "{}", said(&built));
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
        "store",
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
