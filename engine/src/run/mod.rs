//! The time loop and what it needs.

pub mod abreast;
mod attempted;
mod boundary;
pub mod burst;
pub mod coupling;
mod displace;
pub mod gauge;
mod passing;
mod reading;
mod recover;
mod report;
pub mod saved;
pub mod setup;
pub mod switching;
pub mod time_loop;
mod vertex;
mod walk;
pub mod watch;
