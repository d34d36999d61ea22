//! The time loop and what it needs.

pub mod lockstep;
pub mod coupling;
mod displace;
mod recover;
pub mod saved;
pub mod setup;
mod report;
pub mod time_loop;
mod vertex;
mod walk;
pub mod watch;
