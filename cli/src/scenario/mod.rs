//! Scenario files: as typed ([`raw`]), checked against the key tables, then as resolved.

pub mod build;
pub mod conform;
pub mod fields;
pub mod include;
pub mod merge;
pub mod raw;
pub mod renamed;
pub mod resolve;
pub mod resolved;
pub mod schema;
pub mod sections;
pub mod shape;
pub mod words;
