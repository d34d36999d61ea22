//! Heat in layered bodies: three-dimensional finite volumes, and compact networks made from them.
//!
//! - [`property`], [`body`]: what there is: boxes of substances whose properties may depend on temperature, cooled
//!   faces, heat inputs.
//! - [`mesh`], [`system`]: cells and equations.
//! - [`iterate`]: their solution by conjugate gradients.
//! - [`reduce`]: a compact network, with a stated error; [`study`]: the error of the mesh. [`surge`]: all cells stepped,
//!   with properties that follow their temperature.

pub mod body;
pub mod error;
pub mod iterate;
pub mod mesh;
pub mod property;
pub mod reduce;
pub mod study;
pub mod surge;
pub mod system;
