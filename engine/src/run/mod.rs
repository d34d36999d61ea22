//! The time loop and what it needs.

pub mod coupling;
mod displace;
pub mod gauge;
pub mod lockstep;
mod recover;
mod report;
pub mod saved;
pub mod setup;
pub mod switching;
pub mod time_loop;
mod vertex;
mod walk;
pub mod watch;
