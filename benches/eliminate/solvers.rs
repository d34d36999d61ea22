//! The contenders: each holds all sets of values of a mesh in the layout it works from, factors and solves.

use nalgebra::{DMatrix, DVector, SMatrix, SVector};

use crate::meshes::Mesh;

/// Factors and solves, one matrix or several in lanes at a time.
pub trait Solver {
    /// For the table.
    fn name(&self) -> &'static str;
    /// How many sets of values one call handles (lanes); times are given per one.
    fn lanes(&self) -> usize {
        1
    }
    /// Factors the sets of values `batch * lanes ..` and solves each for the mesh's right-hand side: all that is
    /// timed. False where a matrix is found singular.
    fn solve(&mut self, batch: usize) -> bool;
    /// Solution of the last call for one lane.
    fn solution(&self, lane: usize) -> Vec<f64>;
}

/// Where each entry of the pattern lies in a column-major square.
fn slots(mesh: &Mesh) -> Vec<usize> {
    mesh.entries.iter().map(|&(row, column)| column * mesh.n + row).collect()
}

/// Dense LU with partial pivoting of nalgebra, size known at run time. Filling the square from the entries belongs to
/// the time.
pub struct Dense {
    slots: Vec<usize>,
    values: Vec<Vec<f64>>,
    right: DVector<f64>,
    square: Option<DMatrix<f64>>,
    x: DVector<f64>,
}

impl Dense {
    /// For one mesh.
    pub fn new(mesh: &Mesh) -> Self {
        Dense {
            slots: slots(mesh),
            values: mesh.values.clone(),
            right: DVector::from_column_slice(&mesh.right),
            square: Some(DMatrix::zeros(mesh.n, mesh.n)),
            x: DVector::zeros(mesh.n),
        }
    }
}

impl Solver for Dense {
    fn name(&self) -> &'static str {
        "nalgebra dense LU"
    }

    fn solve(&mut self, batch: usize) -> bool {
        // the decomposition takes the square; its storage comes back for the next call, so that nothing is allocated
        let Some(mut square) = self.square.take() else { return false };
        square.fill(0.0);
        let data = square.as_mut_slice();
        self.slots.iter().zip(&self.values[batch]).for_each(|(&slot, &v)| data[slot] = v);
        let lu = square.lu();
        self.x.copy_from(&self.right);
        let good = lu.solve_mut(&mut self.x);
        self.square = Some(lu.l_unpack());
        good
    }

    fn solution(&self, _lane: usize) -> Vec<f64> {
        self.x.as_slice().to_vec()
    }
}

/// Size of the one matrix that nalgebra also gets at compile time.
const N: usize = 10;

/// The same with the size known to the compiler.
pub struct Static {
    slots: Vec<usize>,
    values: Vec<Vec<f64>>,
    right: SVector<f64, N>,
    x: SVector<f64, N>,
}

impl Static {
    /// For one mesh of ten unknowns.
    pub fn new(mesh: &Mesh) -> Self {
        assert_eq!(mesh.n, N, "size of the pattern");
        Static {
            slots: slots(mesh),
            values: mesh.values.clone(),
            right: SVector::from_column_slice(&mesh.right),
            x: SVector::zeros(),
        }
    }
}

impl Solver for Static {
    fn name(&self) -> &'static str {
        "nalgebra static LU"
    }

    fn solve(&mut self, batch: usize) -> bool {
        let mut square = SMatrix::<f64, N, N>::zeros();
        let data = square.as_mut_slice();
        self.slots.iter().zip(&self.values[batch]).for_each(|(&slot, &v)| data[slot] = v);
        self.x = self.right;
        square.lu().solve_mut(&mut self.x)
    }

    fn solution(&self, _lane: usize) -> Vec<f64> {
        self.x.as_slice().to_vec()
    }
}
