//! The handbook: one list of every public calculation of the program, and everything that is made
//! from that list.
//!
//! It knows nothing of files, terminals or the web: files are read by a closure that the caller
//! hands in, texts and JSON come back for the caller to print or send. The formulas stand in the
//! crates that own them, each with its declaration.
//!
//! - [`list`]: all calculations, and one by its name.
//! - [`given`]: inputs out of command-line texts, forms and JSON; everything wrong at once.
//! - [`answer`]: running one, and the answer as JSON and as text.
//! - [`describe`]: a calculation as JSON for `/api/calc`, and as help on a terminal.
//! - [`schema`]: JSON Schema of request and response, for the OpenAPI description.
//! - [`mod@reference`]: the book's reference in Markdown.
//!
//! # Example
//! ```
//! use bedplate_handbook::{answer::run, given, list::find};
//!
//! let calculation = find("judge")?;
//! let given = given::from_texts(calculation, calculation.example, &given::no_files)?;
//! let outcome = run(calculation, &given)?;
//! assert_eq!(outcome.outputs.len(), calculation.outputs.len());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

pub mod answer;
pub mod describe;
pub mod given;
pub mod list;
pub mod problem;
pub mod range;
pub mod reference;
pub mod schema;

mod figure;
mod grid;
mod number;
mod series;
mod table;
