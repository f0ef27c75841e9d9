//! Bedplate: for the production engineer who answers for an engine works.
//!
//! The binary: command line, pages and API over the deeds of the works. It knows arguments, HTTP,
//! HTML and exit codes; it knows no SQL and no formula.

mod cli;
mod clock;
mod exit;
mod open;
mod serve;
mod web;

use std::process::ExitCode;

fn main() -> ExitCode {
    cli::run()
}
