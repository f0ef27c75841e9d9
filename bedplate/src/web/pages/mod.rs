//! One file a sheet: the figures of a view drawn as an engineering drawing.

pub(super) mod balance;
pub(super) mod bed;
pub(super) mod bench;
pub(super) mod build;
pub(super) mod characteristic;
pub(super) mod code;
pub(super) mod handbook;
pub(super) mod import;
pub(super) mod ledger;
pub(super) mod line;
pub(super) mod matching;
pub(super) mod people;
pub(super) mod reading;
pub(super) mod record;
pub(super) mod ticket;
pub(super) mod trace;
pub(super) mod typed;
pub(super) mod works;
