//! The files in the folder `examples` are what the demo writes.

use std::path::Path;

use bedplate_demo::{SEED, examples, generate};

#[test]
fn the_committed_examples_are_what_the_demo_writes() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../examples");
    let files = examples::files(&generate(SEED));
    for (name, text) in &files {
        let committed = std::fs::read_to_string(folder.join(name)).unwrap_or_default();
        assert!(
            committed == *text,
            "examples/{name} is not what the demo writes; \
             lay it anew with `cargo run -p bedplate-demo --example lay`"
        );
    }
    for (name, text) in files.iter().filter(|(name, _)| name.ends_with(".toml")) {
        text.parse::<toml::Table>().unwrap_or_else(|e| panic!("{name}: {e}"));
    }
    for entry in std::fs::read_dir(folder).unwrap() {
        let entry = entry.unwrap();
        if entry.path().is_dir() {
            // A small works of its own, not of the demo's floor.
            continue;
        }
        let name = entry.file_name();
        let known = files.iter().any(|(known, _)| name.to_string_lossy() == **known);
        assert!(known, "examples/{} is laid by nobody", name.to_string_lossy());
    }
}
