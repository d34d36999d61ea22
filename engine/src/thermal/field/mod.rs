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

/// The texts of what makes compact networks: who keeps them holds these against those that made them.
pub const SOURCES: [&str; 20] = [
    include_str!("body.rs"),
    include_str!("error.rs"),
    include_str!("iterate.rs"),
    include_str!("mesh.rs"),
    include_str!("mod.rs"),
    include_str!("property.rs"),
    include_str!("reduce.rs"),
    include_str!("reduce/append.rs"),
    include_str!("reduce/compare.rs"),
    include_str!("reduce/near.rs"),
    include_str!("study.rs"),
    include_str!("surge.rs"),
    include_str!("system.rs"),
    include_str!("system/ports.rs"),
    include_str!("../compact.rs"),
    include_str!("../convert.rs"),
    include_str!("../fit.rs"),
    include_str!("../modal.rs"),
    include_str!("../network/foster.rs"),
    include_str!("../../arithmetic/matrix.rs"),
];
