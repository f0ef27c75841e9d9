//! The works: one file a deed, no printing, no sockets.
//!
//! This crate knows the order of steps, who does them and when; one deed is one group of the
//! record. It knows nothing of the terminal, HTTP, HTML, the environment, or which database keeps
//! the record. The command line, the pages and the API all call the same deeds here; none can do
//! what another cannot.

pub mod balance;
pub mod bed;
pub mod bench;
pub mod build;
pub mod compression;
pub mod control;
pub mod deeds;
pub mod engine_record;
pub mod floor;
pub mod instant;
pub mod judge;
pub mod ledger;
pub mod line;
pub mod overview;
pub mod plain;
pub mod plan;
pub mod receive;
pub mod sets;
pub mod tell;
pub mod trace;
pub mod who;
pub mod wire;
pub mod works;
pub mod worksheet;
