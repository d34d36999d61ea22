//! Cycles that repeat: the periodic steady state without waiting for it.

pub mod rainflow;
pub mod steady;
