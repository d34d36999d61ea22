//! The circuit graph: named nodes, components, and the laws that components obey.

pub mod builder;
pub mod graph;
pub mod index;
pub mod law;
pub mod lawful;
pub mod lockstep;
pub mod probe;
pub mod topology;
pub mod wave;
