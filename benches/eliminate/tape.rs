//! The engine's elimination tape. Not wired in yet: no contender, and the table says so.

use crate::meshes::Mesh;
use crate::solvers::Solver;

/// The tape for one mesh, alone and in lanes.
pub fn solvers(_mesh: &Mesh) -> Vec<Box<dyn Solver>> {
    Vec::new()
}
