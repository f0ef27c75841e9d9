//! Lays the example files anew: `cargo run -p bedplate-demo --example lay`.

use std::path::Path;

fn main() -> std::io::Result<()> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../examples");
    let demo = bedplate_demo::generate(bedplate_demo::SEED);
    for (name, text) in bedplate_demo::examples::files(&demo) {
        std::fs::write(folder.join(name), text)?;
    }
    Ok(())
}
