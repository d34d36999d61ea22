//! cli

pub mod result;
