//! The house rules that a machine can check: `cargo run -p bedplate-tools -- tidy`.

mod tidy;

use std::process::ExitCode;

fn main() -> ExitCode {
    match std::env::args().nth(1).as_deref() {
        Some("tidy") => tidy::run(),
        _ => {
            eprintln!("usage: bedplate-tools tidy");
            ExitCode::from(2)
        }
    }
}
