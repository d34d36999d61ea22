//! Finite volumes: C·dT/dt + K·T = B·P + F·θ, one temperature per cell.
//!
//! Between two cells the conductances of their halves (and of a contact) stand in series, area/(d₁/2k₁ + r + d₂/2k₂);
//! a film stands in series with the half of its cell. K is symmetric, positive definite where every cell reaches a
//! film, with no positive entry off its diagonal; C is diagonal. Temperatures are rises over a common level, which
//! [`System::new`] needs only to take the properties.

use super::body::{Body, Face};
use super::mesh::{Cell, Mesh};
use super::trouble::FieldTrouble;

mod links;
mod ports;

pub(super) use links::Links;
pub(super) use ports::Ports;

/// A body on a mesh.
#[derive(Debug, Clone)]
pub struct System {
    pub(super) at: Vec<[u32; 3]>,
    pub(super) links: Links,
    /// Films: boundary, cell, conductance, W/K.
    pub(super) films: Vec<(usize, u32, f64)>,
    /// Diagonal of K, W/K.
    pub(super) diagonal: Vec<f64>,
    /// Diagonal of C, J/K.
    pub(super) capacity: Vec<f64>,
    pub(super) ports: Ports,
    /// Name and temperature of each boundary, °C.
    pub(super) boundaries: Vec<crate::thermal::network::Boundary>,
}

/// Axes in the order of the neighbours: along z first, in which cells are numbered.
const AXES: [usize; 3] = [2, 0, 1];

impl System {
    /// Assembles a body on its mesh with the properties at `kelvin` K.
    ///
    /// # Errors
    /// As [`Body::check`]; a port outside every block, a film on a covered face, a block without a path to a film.
    pub fn new(body: &Body, mesh: &Mesh, kelvin: f64) -> Result<Self, FieldTrouble> {
        body.check()?;
        let cells = mesh.cells.len();
        let mut system = Self {
            at: mesh.cells.iter().map(|c| c.at).collect(),
            links: Links::new(cells),
            films: Vec::new(),
            diagonal: vec![0.0; cells],
            capacity: vec![0.0; cells],
            ports: Ports::default(),
            boundaries: body.boundaries.clone(),
        };
        system.conduct(body, mesh, |_| kelvin)?;
        for (cell, capacity) in mesh.cells.iter().zip(&mut system.capacity) {
            let volume: f64 = mesh.extents(cell).iter().product();
            *capacity =
                volume * body.substances[body.blocks[cell.block as usize].substance].heat_capacity.at(kelvin);
        }
        system.ports = Ports::new(body, mesh, |_| kelvin)?;
        if let Some(cell) = system.without_path() {
            let block = body.blocks[mesh.cells[cell].block as usize].name.clone();
            return Err(FieldTrouble::NoPath { block });
        }
        Ok(system)
    }

    /// Number of cells.
    pub fn cells(&self) -> usize {
        self.at.len()
    }

    /// Takes the conductivities at the temperature (K) of each cell.
    ///
    /// # Errors
    /// A film on a covered face.
    pub(super) fn conduct(
        &mut self,
        body: &Body,
        mesh: &Mesh,
        kelvin: impl Fn(usize) -> f64,
    ) -> Result<(), FieldTrouble> {
        self.diagonal.fill(0.0);
        for (number, cell) in mesh.cells.iter().enumerate() {
            for (slot, axis) in AXES.into_iter().enumerate() {
                let mut at = cell.at.map(|k| k as usize);
                at[axis] += 1;
                let next = mesh.cell(at);
                if next == Mesh::NONE {
                    continue;
                }
                let other = &mesh.cells[next as usize];
                let mut resistance = half(body, mesh, cell, axis, kelvin(number))
                    + half(body, mesh, other, axis, kelvin(next as usize));
                if axis == 2 && other.block != cell.block {
                    resistance += body.blocks[other.block as usize].contact;
                }
                let g = area(mesh, cell, axis) / resistance;
                self.links.set(slot, number, next as usize, g);
                self.diagonal[number] += g;
                self.diagonal[next as usize] += g;
            }
        }
        self.films.clear();
        for film in &body.films {
            let before = self.films.len();
            let block = &body.blocks[film.block];
            let edge = |axis: usize, x: f64| mesh.edge(axis, x);
            let (here, beyond) = match film.face {
                Face::Top => (edge(2, block.high[2]).saturating_sub(1), Some(edge(2, block.high[2]))),
                Face::Bottom => (edge(2, block.low[2]), edge(2, block.low[2]).checked_sub(1)),
            };
            for j in edge(1, block.low[1])..edge(1, block.high[1]) {
                for i in edge(0, block.low[0])..edge(0, block.high[0]) {
                    let covered = beyond.is_some_and(|k| mesh.cell([i, j, k]) != Mesh::NONE);
                    let number = mesh.cell([i, j, here]);
                    if covered || number == Mesh::NONE {
                        continue;
                    }
                    let cell = &mesh.cells[number as usize];
                    let resistance =
                        half(body, mesh, cell, 2, kelvin(number as usize)) + 1.0 / film.coefficient;
                    let g = area(mesh, cell, 2) / resistance;
                    self.films.push((film.boundary, number, g));
                    self.diagonal[number as usize] += g;
                }
            }
            if self.films.len() == before {
                let (block, face) = (block.name.clone(), film.face.word());
                return Err(FieldTrouble::CoveredFilm { block, face });
            }
        }
        Ok(())
    }

    /// y = (K + shift·C)·x.
    pub fn multiply(&self, shift: f64, x: &[f64], y: &mut [f64]) {
        for (i, y) in y.iter_mut().enumerate() {
            let own = (self.diagonal[i] + shift * self.capacity[i]) * x[i];
            *y = own - self.links.sum_below(i, x) - self.links.sum_above(i, x);
        }
    }

    /// Lower triangle of K + shift·C with its diagonal, as row, column, value: for other solvers.
    pub fn entries(&self, shift: f64) -> Vec<(usize, usize, f64)> {
        let mut entries = Vec::with_capacity(4 * self.cells());
        for i in 0..self.cells() {
            entries.push((i, i, self.diagonal[i] + shift * self.capacity[i]));
            entries.extend(self.links.above(i).map(|(j, g)| (j, i, -g)));
        }
        entries
    }

    /// Conductances from a boundary to the cells, W/K; F·θ for θ = 1 there.
    pub(super) fn boundary_vector(&self, boundary: usize) -> Vec<f64> {
        let mut f = vec![0.0; self.cells()];
        for (b, cell, g) in &self.films {
            if *b == boundary {
                f[*cell as usize] += g;
            }
        }
        f
    }

    /// A cell from which no chain of neighbours leads to a film.
    fn without_path(&self) -> Option<usize> {
        let mut reached = vec![false; self.cells()];
        let mut open: Vec<u32> = Vec::new();
        for (_, cell, _) in &self.films {
            if !std::mem::replace(&mut reached[*cell as usize], true) {
                open.push(*cell);
            }
        }
        while let Some(cell) = open.pop() {
            let cell = cell as usize;
            for (next, _) in self.links.above(cell).chain(self.links.below(cell)) {
                if !std::mem::replace(&mut reached[next], true) {
                    open.push(next as u32);
                }
            }
        }
        reached.iter().position(|r| !r)
    }
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
