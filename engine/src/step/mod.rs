//! One step: the method, the state, Newton's iteration of a stage, the start, and the schedule of step lengths.

mod alone;
mod attempt;
pub(crate) mod balance;
pub mod bounds;
mod fallback;
mod follow;
mod jump;
mod lanes;
mod local_error;
pub mod method;
pub mod near;
mod newton;
pub mod pieces;
mod predict;
pub mod robust;
pub mod rosenbrock;
pub mod schedule;
pub mod stage;
pub mod start;
pub mod state;
pub mod stepper;
pub mod tolerance;
mod warming;
