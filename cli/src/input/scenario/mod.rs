//! Scenario files: their tables of keys, the scenario as resolved, and what the engine is given.

pub mod build;
pub mod resolve;
pub mod resolved;
pub mod schema;
pub mod sections;
