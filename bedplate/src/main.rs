//! Bedplate: for the production engineer who answers for an engine works.
//!
//! The binary: command line, pages and API over the deeds of the works. It knows arguments, HTTP,
//! HTML and exit codes; it knows no SQL and no formula.

mod clock;
mod exit;
mod open;
mod serve;
mod web;

use std::process::ExitCode;

fn main() -> ExitCode {
    let folder = std::env::args().nth(1).map_or_else(open::demo_folder, std::path::PathBuf::from);
    match serve::serve(&serve::Serving { folder, listen: None, open_browser: false }) {
        Ok(()) => exit::Exit::Done.into(),
        Err(trouble) => {
            anstream::eprintln!("{trouble}");
            trouble.exit.into()
        }
    }
}
