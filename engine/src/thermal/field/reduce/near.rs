//! Reductions near one another: systems on the same cells whose properties differ a little.
//!
//! What one found spans nearly what the next one looks for. Its basis is made orthogonal in the product of the next K
//! (by Cholesky's factor of all products) and stands at the beginning; solutions at few shifts then tell by how much
//! that is wrong, and put it right. The statement of the error is the same: the last networks differ by so much.

use nalgebra::{Cholesky, DMatrix};

use super::{Basis, Reduced, Work, finish};
use crate::thermal::field::error::FieldError;
use crate::thermal::field::system::System;

/// What a reduction leaves to those near by.
#[derive(Debug, Clone, PartialEq)]
pub struct Near {
    vectors: Vec<Vec<f64>>,
}

/// Reduces a system, as [`reduce`](super::reduce) does, and keeps what others can begin with.
///
/// # Errors
/// A linear system that does not converge; [`FieldError::Stopped`].
pub fn reduce_for_others<'a>(
    system: &System,
    work: impl Into<Work<'a>>,
) -> Result<(Reduced, Near), FieldError> {
    let work = work.into();
    let (reduced, basis) = finish(Basis::new(system, &work)?, &work.span, None)?;
    Ok((reduced, Near { vectors: basis.vectors }))
}

/// Reduces a system with what one near by left; without it where that is of other cells.
///
/// # Errors
/// A linear system that does not converge; [`FieldError::Stopped`].
pub fn reduce_near<'a>(
    system: &System,
    work: impl Into<Work<'a>>,
    near: &Near,
) -> Result<Reduced, FieldError> {
    let work = work.into();
    let fits = near.vectors.iter().all(|v| v.len() == system.cells());
    let mut basis = Basis::empty(system, &work);
    if !fits || !basis.adopt(&near.vectors) {
        return super::reduce(system, work);
    }
    basis.rest()?;
    let before = basis.network();
    Ok(finish(basis, &work.span, Some(before))?.0)
}

impl Basis<'_> {
    /// Begins with some vectors, brought to this system; whether they are independent here.
    fn adopt(&mut self, vectors: &[Vec<f64>]) -> bool {
        let (cells, n) = (self.system.cells(), vectors.len());
        let before = DMatrix::from_iterator(cells, n, vectors.iter().flatten().copied());
        let mut images = DMatrix::zeros(cells, n);
        for (k, v) in vectors.iter().enumerate() {
            let image = &mut images.as_mut_slice()[k * cells..(k + 1) * cells];
            self.system.multiply(0.0, v, image);
        }
        let Some(factor) = Cholesky::new(before.transpose() * images) else { return false };
        let Some(inverse) = factor.l().try_inverse() else { return false };
        let mut own = before * inverse.transpose();
        let others = own.transpose();
        self.vectors = own.column_iter().map(|v| v.iter().copied().collect()).collect();
        let capacity = self.system.capacity.data();
        for mut column in own.column_iter_mut() {
            column.iter_mut().zip(capacity).for_each(|(x, c)| *x *= c);
        }
        let stored = others * own;
        self.stored = (0..n).map(|i| (0..=i).map(|j| stored[(i, j)]).collect()).collect();
        stored.iter().all(|x| x.is_finite())
    }
}
