//! Heat in layered bodies: three-dimensional finite volumes, and compact networks made from them.
//!
//! - [`property`], [`body`]: what there is: boxes of substances whose properties may depend on temperature, cooled
//!   faces, heat inputs.
//! - [`mesh`], [`system`]: cells and equations.
//! - [`iterate`], [`factor`]: two ways to solve them: conjugate gradients (a shift is solved once or twice), and a
//!   sparse symmetric factorisation in an order by nested dissection (one shift solved many times).
//! - [`march`]: all cells stepped over time. [`reduce`]: a compact network instead, with a stated error;
//!   [`study`]: the error of the mesh. [`surge`]: all cells stepped with properties that follow their temperature.

pub mod body;
mod dissect;
pub mod factor;
pub mod iterate;
pub mod march;
pub mod mesh;
pub mod property;
pub mod reduce;
pub mod study;
pub mod surge;
pub mod system;
pub mod trouble;
