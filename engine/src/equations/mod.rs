//! The compiled equations: numbering, sparsity, elimination order, and the flat lists the time loop replays.

pub mod dense;
pub mod order;
pub mod program;
pub mod replay;
pub mod system;
