//! Scenario files, HDF5 results and the commands of Joulestep.

pub mod diagnostic;
pub mod scenario;
