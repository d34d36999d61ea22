//! The time loop and what it needs.

mod displace;
pub mod saved;
pub mod setup;
mod telling;
pub mod time_loop;
pub mod watch;
mod ways;
