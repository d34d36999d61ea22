//! Conductances between cells, stored as the iterations read them.

/// Conductances of every cell to the next along z, x, y. Cells are numbered along z first, so the next along z is the
/// next in number; where there is none, the conductance is 0 and a number is the cell's own.
#[derive(Debug, Clone, Default)]
pub(in super::super) struct Links {
    /// To the next along z, x, y, W/K.
    pub g: [Vec<f64>; 3],
    /// The next along x, y.
    pub next: [Vec<u32>; 2],
    /// The one before along x, y.
    pub before: [Vec<u32>; 2],
}

impl Links {
    /// None yet, of so many cells.
    pub fn new(cells: usize) -> Self {
        let own = || (0..cells as u32).collect::<Vec<u32>>();
        Self { g: [0, 1, 2].map(|_| vec![0.0; cells]), next: [own(), own()], before: [own(), own()] }
    }

    /// Links a cell with the next along an axis (0: z, 1: x, 2: y).
    pub fn set(&mut self, slot: usize, cell: usize, next: usize, conductance: f64) {
        self.g[slot][cell] = conductance;
        if let Some(axis) = slot.checked_sub(1) {
            self.next[axis][cell] = next as u32;
            self.before[axis][next] = cell as u32;
        }
    }

    /// Neighbours of higher number and conductances.
    pub fn above(&self, cell: usize) -> impl Iterator<Item = (usize, f64)> + '_ {
        let all = [
            (cell + 1, self.g[0][cell]),
            (self.next[0][cell] as usize, self.g[1][cell]),
            (self.next[1][cell] as usize, self.g[2][cell]),
        ];
        all.into_iter().filter(|n| n.1 > 0.0)
    }

    /// Neighbours of lower number and conductances.
    pub fn below(&self, cell: usize) -> impl Iterator<Item = (usize, f64)> + '_ {
        let [x, y] = [0, 1].map(|axis| self.before[axis][cell] as usize);
        let z = cell.checked_sub(1).map_or((cell, 0.0), |z| (z, self.g[0][z]));
        let all = [
            z,
            (x, if x < cell { self.g[1][x] } else { 0.0 }),
            (y, if y < cell { self.g[2][y] } else { 0.0 }),
        ];
        all.into_iter().filter(|n| n.1 > 0.0)
    }

    /// Σ conductance·x over the neighbours of higher number.
    #[inline(always)]
    pub fn sum_above(&self, cell: usize, x: &[f64]) -> f64 {
        let z = self.g[0][cell];
        // The last cell has nothing above it, and no next in number.
        let z = if z > 0.0 { z * x[cell + 1] } else { 0.0 };
        z + self.g[1][cell] * x[self.next[0][cell] as usize]
            + self.g[2][cell] * x[self.next[1][cell] as usize]
    }

    /// Σ conductance·x over the neighbours of lower number.
    #[inline(always)]
    pub fn sum_below(&self, cell: usize, x: &[f64]) -> f64 {
        let z = if cell > 0 { self.g[0][cell - 1] * x[cell - 1] } else { 0.0 };
        let [a, b] = [self.before[0][cell] as usize, self.before[1][cell] as usize];
        let along_x = if a < cell { self.g[1][a] * x[a] } else { 0.0 };
        let along_y = if b < cell { self.g[2][b] * x[b] } else { 0.0 };
        z + along_x + along_y
    }
}
