//! The office: the tamper-evident record.
//!
//! Append-only. Readings (compact, in bulk) and entries (typed events) are appended in groups; each
//! group closes with a BLAKE3 seal over its content and the seal before it. Nothing is edited or
//! deleted: what was wrong is withdrawn by a later entry with a reason and a name.
//!
//! This crate knows nothing of limits, verdicts, engines or pages. Start reading at [`store`] (the
//! narrow interface), then [`chain`] (what is hashed, in which order), then [`sqlite`].

pub mod chain;
pub mod entry;
pub mod memory;
mod packed;
pub mod reading;
pub mod sqlite;
pub mod store;
