//! Device and passive models, and the catalogue that registers them.
pub mod model;
