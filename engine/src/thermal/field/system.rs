//! Finite volumes: C·dT/dt + K·T = B·P + F·θ, one temperature per cell.
//!
//! Between two cells the conductances of their halves (and of a contact) stand in series, area/(d₁/2k₁ + r + d₂/2k₂);
//! a film stands in series with the half of its cell. K is symmetric, positive definite where every cell reaches a
//! film, with no positive entry off its diagonal; C is diagonal. Temperatures are rises over a common level, which
//! [`System::new`] needs only to take the properties.

use sprs::prod::mul_acc_mat_vec_csc;
use sprs::{CsMatI, TriMatI};

use super::body::{Body, Face};
use super::error::FieldError;
use super::mesh::{Cell, Mesh};

mod ports;

pub(super) use ports::Ports;

/// A sparse matrix in compressed rows.
pub type Matrix = CsMatI<f64, u32>;

/// A body on a mesh.
#[derive(Debug, Clone)]
pub struct System {
    /// K, W/K.
    pub(super) conductance: Matrix,
    /// C, J/K: its diagonal.
    pub(super) capacity: Matrix,
    /// F transposed, W/K: a row of films for each boundary.
    pub(super) films: Matrix,
    pub(super) ports: Ports,
    /// Name and temperature of each boundary, °C.
    pub(super) boundaries: Vec<crate::thermal::network::Boundary>,
}

/// Axis and direction of the neighbours of a cell in the order of their numbers, which run along z first, then x, y.
const NEIGHBOURS: [(usize, isize); 6] = [(1, -1), (0, -1), (2, -1), (2, 1), (0, 1), (1, 1)];

impl System {
    /// Assembles a body on its mesh with the properties at `kelvin` K.
    ///
    /// # Errors
    /// As [`Body::check`]; a port outside every block, a film on a covered face, a block without a path to a film.
    pub fn new(body: &Body, mesh: &Mesh, kelvin: f64) -> Result<Self, FieldError> {
        body.check()?;
        let (conductance, films) = conduct(body, mesh, |_| kelvin)?;
        let content = |cell: &Cell| {
            let volume: f64 = mesh.extents(cell).iter().product();
            volume * body.substances[body.blocks[cell.block as usize].substance].heat_capacity.at(kelvin)
        };
        let cells = mesh.cells.len();
        let places = 0..cells as u32;
        let contents = mesh.cells.iter().map(content).collect();
        let indptr = (0..=cells as u32).collect();
        let system = Self {
            conductance,
            capacity: Matrix::new((cells, cells), indptr, places.collect(), contents),
            films,
            ports: Ports::new(body, mesh, |_| kelvin)?,
            boundaries: body.boundaries.clone(),
        };
        if let Some(cell) = system.without_path() {
            let block = body.blocks[mesh.cells[cell].block as usize].name.clone();
            return Err(FieldError::NoPath { block });
        }
        Ok(system)
    }

    /// Number of cells.
    pub fn cells(&self) -> usize {
        self.conductance.rows()
    }

    /// y = (K + shift·C)·x. Panics when x or y has not one entry per cell.
    pub fn multiply(&self, shift: f64, x: &[f64], y: &mut [f64]) {
        self.multiply_together(shift, x.as_chunks::<1>().0, y.as_chunks_mut::<1>().0);
    }

    /// The same for vectors side by side.
    pub(super) fn multiply_together<const W: usize>(&self, shift: f64, x: &[[f64; W]], y: &mut [[f64; W]]) {
        let (columns, values) = (self.conductance.indices(), self.conductance.data());
        let rows = self.conductance.indptr();
        let all = rows.iter_outer_sz().zip(self.capacity.data()).zip(x);
        for (y, ((row, c), own)) in y.iter_mut().zip(all) {
            let mut sum = [0.0; W];
            for (j, g) in columns[row.clone()].iter().zip(&values[row]) {
                let other = &x[*j as usize];
                (0..W).for_each(|k| sum[k] += g * other[k]);
            }
            *y = std::array::from_fn(|k| shift * c * own[k] + sum[k]);
        }
    }

    /// K + shift·C, W/K; shift in 1/s: for other solvers.
    pub fn matrix(&self, shift: f64) -> Matrix {
        &self.conductance + &self.capacity.map(|c| shift * c)
    }

    /// B transposed: the share of each cell in the heat of each port, \[ports × cells\].
    pub fn shares(&self) -> &Matrix {
        &self.ports.weights
    }

    /// A cell from which no chain of neighbours leads to a film.
    fn without_path(&self) -> Option<usize> {
        let mut reached = vec![false; self.cells()];
        let mut open = self.films.indices().to_vec();
        open.iter().for_each(|cell| reached[*cell as usize] = true);
        while let Some(row) = open.pop().and_then(|cell| self.conductance.outer_view(cell as usize)) {
            for next in row.indices() {
                if !std::mem::replace(&mut reached[*next as usize], true) {
                    open.push(*next);
                }
            }
        }
        reached.iter().position(|r| !r)
    }
}

/// K and the films, with the conductivities at the temperature (K) of each cell.
///
/// # Errors
/// A film on a covered face.
pub(super) fn conduct(
    body: &Body,
    mesh: &Mesh,
    kelvin: impl Fn(usize) -> f64,
) -> Result<(Matrix, Matrix), FieldError> {
    let cells = mesh.cells.len();
    let halves: Vec<[f64; 3]> = mesh
        .cells
        .iter()
        .enumerate()
        .map(|(number, cell)| [0, 1, 2].map(|axis| half(body, mesh, cell, axis, kelvin(number))))
        .collect();
    let mut films = TriMatI::new((body.boundaries.len(), cells));
    let mut to_films = vec![0.0; cells];
    for film in &body.films {
        let before = films.nnz();
        let block = &body.blocks[film.block];
        let edge = |axis: usize, x: f64| mesh.edge(axis, x);
        let (here, beyond) = match film.face {
            Face::Top => (edge(2, block.high[2]).saturating_sub(1), Some(edge(2, block.high[2]))),
            Face::Bottom => (edge(2, block.low[2]), edge(2, block.low[2]).checked_sub(1)),
        };
        for j in edge(1, block.low[1])..edge(1, block.high[1]) {
            for i in edge(0, block.low[0])..edge(0, block.high[0]) {
                let covered = beyond.is_some_and(|k| mesh.cell([i, j, k]) != Mesh::NONE);
                let number = mesh.cell([i, j, here]) as usize;
                if covered || number == Mesh::NONE as usize {
                    continue;
                }
                let resistance = halves[number][2] + 1.0 / film.coefficient;
                let g = area(mesh, &mesh.cells[number], 2) / resistance;
                films.add_triplet(film.boundary, number, g);
                to_films[number] += g;
            }
        }
        if films.nnz() == before {
            let (block, face) = (block.name.clone(), film.face.word());
            return Err(FieldError::CoveredFilm { block, face });
        }
    }
    // Row by row in the order of the columns: nothing is left to sort.
    let mut all = TriMatI::with_capacity((cells, cells), 7 * cells);
    for (number, cell) in mesh.cells.iter().enumerate() {
        let links = NEIGHBOURS.map(|(axis, step)| {
            let mut at = cell.at.map(|k| k as usize);
            at[axis] = at[axis].wrapping_add_signed(step);
            let next = mesh.cell(at);
            let other = mesh.cells.get(next as usize)?;
            let mut resistance = halves[number][axis] + halves[next as usize][axis];
            if axis == 2 && other.block != cell.block {
                let above = if step > 0 { other } else { cell };
                resistance += body.blocks[above.block as usize].contact;
            }
            Some((next as usize, area(mesh, cell, axis) / resistance))
        });
        let sum: f64 = links.iter().flatten().map(|link| link.1).sum();
        let [before, after] =
            [&links[..3], &links[3..]].map(|side| side.iter().flatten().map(|(next, g)| (*next, -g)));
        for (column, g) in before.chain([(number, to_films[number] + sum)]).chain(after) {
            all.add_triplet(number, column, g);
        }
    }
    Ok((all.to_csr(), films.to_csr()))
}

/// b += Mᵀ·x.
pub(super) fn add_transposed(matrix: &Matrix, x: &[f64], b: &mut [f64]) {
    mul_acc_mat_vec_csc(matrix.transpose_view(), x, b);
}

/// A row of a matrix times a vector; NaN for a row that does not exist.
pub(super) fn along(matrix: &Matrix, row: usize, x: &[f64]) -> f64 {
    matrix.outer_view(row).map_or(f64::NAN, |row| row.dot_dense(x))
}

/// Resistance times area of half a cell along an axis, K·m²/W.
pub(super) fn half(body: &Body, mesh: &Mesh, cell: &Cell, axis: usize, kelvin: f64) -> f64 {
    let substance = &body.substances[body.blocks[cell.block as usize].substance];
    0.5 * mesh.extents(cell)[axis] / substance.conductivity[axis].at(kelvin)
}

/// Area of a cell's face across an axis, m².
pub(super) fn area(mesh: &Mesh, cell: &Cell, axis: usize) -> f64 {
    let d = mesh.extents(cell);
    d[(axis + 1) % 3] * d[(axis + 2) % 3]
}
