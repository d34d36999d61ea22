//! The time loop and what it needs.

pub mod setup;
pub mod time_loop;
pub mod watch;
