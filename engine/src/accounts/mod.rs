//! Accounts: where energy went, and how much work a run took.

pub mod counters;
pub mod ledger;
