//! Cycles that repeat: the periodic steady state without waiting for it.

pub mod keeper;
pub mod lifetime;
pub mod rainflow;
pub mod segments;
pub mod steady;
pub mod stretch;
