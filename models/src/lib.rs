//! Device and passive models, and the catalogue that registers them.
//!
//! The modules are layers, lowest first: what a model is; shapes that several laws share; the models; what
//! finds them.

// what a model is
pub mod model;

// shapes that laws share
pub mod channel;
pub mod charge;
pub mod course;
pub mod junction;
pub mod table;

// the models
pub mod devices;

// above the catalogue
pub mod lookup;
pub mod parts;
