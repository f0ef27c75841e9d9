//! The demo works: Quarrybeck Engine Works and its engine QB4, all invented.
//!
//! [`WORKS_TOML`] is its works file.

/// The works file of the demo works, fully commented.
pub const WORKS_TOML: &str = include_str!("../works.toml");
