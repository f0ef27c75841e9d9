//! House rules: who may import whom, where SQL and HTML may stand, line length, words without
//! meaning.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Longest line of source.
const LINE_MAX: usize = 100;
/// Module names that say nothing.
const EMPTY_NAMES: [&str; 6] = ["utils", "helpers", "common", "manager", "service", "misc"];

/// Which of the workspace's crates each may depend on.
const MAY_IMPORT: [(&str, &[&str]); 6] = [
    ("crates/gauge", &[]),
    ("crates/shop", &["gauge"]),
    ("crates/engine", &["gauge"]),
    ("crates/record", &["gauge"]),
    ("crates/handbook", &["gauge", "shop", "engine"]),
    ("demo", &["gauge", "engine", "record"]),
];

/// Checks the tree this program was built in.
pub(crate) fn run() -> ExitCode {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let mut faults = vec![];
    let sources = sources(&root);
    for path in &sources {
        let Ok(text) = std::fs::read_to_string(path) else {
            faults.push(format!("{}: cannot be read", path.display()));
            continue;
        };
        check_source(&root, path, &text, &mut faults);
    }
    check_imports(&root, &mut faults);
    for name in ["README.md", "ARCHITECTURE.md", "CHANGELOG.md"] {
        if !root.join(name).is_file() {
            faults.push(format!("{name} is missing"));
        }
    }
    for fault in &faults {
        eprintln!("{fault}");
    }
    eprintln!("tidy: {} files, {} faults", sources.len(), faults.len());
    if faults.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn sources(root: &Path) -> Vec<PathBuf> {
    let mut found = vec![];
    let mut open: Vec<PathBuf> =
        ["crates", "demo", "works", "bedplate", "tools"].iter().map(|d| root.join(d)).collect();
    while let Some(folder) = open.pop() {
        let Ok(entries) = std::fs::read_dir(&folder) else { continue };
        for entry in entries.flatten() {
            let path = entry.path();
            if path.is_dir() && !path.ends_with("target") {
                open.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

fn check_source(root: &Path, path: &Path, text: &str, faults: &mut Vec<String>) {
    let shown = path.strip_prefix(root).unwrap_or(path).display().to_string();
    let stem = path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
    if EMPTY_NAMES.contains(&stem.as_str()) {
        faults.push(format!("{shown}: a module is named for the trade's word, not {stem}"));
    }
    for (i, line) in text.lines().enumerate() {
        let is_text = line.contains('"') || line.trim_start().starts_with("//");
        if line.chars().count() > LINE_MAX && !is_text {
            faults.push(format!("{shown}:{}: longer than {LINE_MAX} characters", i + 1));
        }
        if line.trim_start().starts_with("#[ignore") {
            faults.push(format!("{shown}:{}: no test is left out", i + 1));
        }
    }
    let is_pure =
        ["crates/gauge", "crates/shop", "crates/engine"].iter().any(|c| shown.starts_with(c));
    if is_pure && shown.contains("/src/") {
        for word in ["std::fs", "std::env", "SystemTime", "Instant::now"] {
            if text.contains(word) {
                faults.push(format!("{shown}: a calculation knows nothing of {word}"));
            }
        }
    }
    let may_hold_html = shown.starts_with("bedplate/src/web") || shown.starts_with("tools");
    if !may_hold_html && text.contains("maud::") {
        faults.push(format!("{shown}: HTML stands only in bedplate/src/web"));
    }
    let may_hold_sql = shown.starts_with("crates/record") || shown.starts_with("tools");
    if !may_hold_sql && text.contains("rusqlite::") && !shown.contains("/tests/") {
        faults.push(format!("{shown}: SQL stands only in crates/record"));
    }
}

fn check_imports(root: &Path, faults: &mut Vec<String>) {
    for (folder, allowed) in MAY_IMPORT {
        let manifest = root.join(folder).join("Cargo.toml");
        let Ok(text) = std::fs::read_to_string(&manifest) else {
            faults.push(format!("{folder}/Cargo.toml cannot be read"));
            continue;
        };
        let dependencies = text.split("[dev-dependencies]").next().unwrap_or_default();
        for line in dependencies.lines() {
            let Some(rest) = line.trim().strip_prefix("bedplate-") else { continue };
            let name: String = rest.chars().take_while(char::is_ascii_alphanumeric).collect();
            if !allowed.contains(&name.as_str()) {
                faults.push(format!("{folder} must not depend on {name}"));
            }
        }
    }
}
