//! Accounts: what can be read off a state, where energy went, how much work a run took.

pub mod counters;
pub mod ledger;
pub mod readout;
