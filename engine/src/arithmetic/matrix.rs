//! Dense decompositions that other crates share: not generic, so that they are compiled here alone.

use nalgebra::{DMatrix, Dyn, SVD};

/// The singular value decomposition, with the left vectors or the right ones where asked for. What is not finite must
/// not be asked: the iteration would not end.
#[inline(never)]
pub fn singular(matrix: DMatrix<f64>, left: bool, right: bool) -> SVD<f64, Dyn, Dyn> {
    matrix.svd(left, right)
}
