//! The time loop and what it needs.

pub mod abreast;
mod boundary;
pub mod coupling;
mod displace;
mod recover;
mod report;
pub mod saved;
pub mod setup;
pub mod time_loop;
mod vertex;
mod walk;
pub mod watch;
