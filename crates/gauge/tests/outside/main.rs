//! The calculations against figures from outside the project.
//!
//! `tests/reference/*.json` holds the cases: inputs, expected figures with their tolerance, the
//! source, and how far the source is to be trusted ("verified": read in a published text;
//! "computed": with the general library named; "memory"; "practice"). Every case of every file is
//! run: one that no test knows is a failure.

#![allow(clippy::unwrap_used, reason = "a case that cannot be read must fail the test")]

mod cases;
mod charts;
mod examples;
mod fits;
mod form;
mod gauging;
mod hardness;
mod rings;
