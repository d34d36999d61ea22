//! A graded mesh of boxes fitted to every edge of a body.
//!
//! Along each axis the edges of blocks and ports are planes of the mesh. Between them the size of the cells follows
//! one smooth field, h(x) = min over planes of (size wanted there + growth·distance), so that cells are small where
//! something is small or heated and grow steadily away from there. Finer meshes divide the same field in equal parts
//! of ∫dx/h: they are images of one another, as extrapolation to size zero needs.

use super::body::{Body, SAME};
use super::error::FieldError;

/// Samples of the size field between two planes.
const SAMPLES: usize = 64;
/// A plane's cells are at most this many times the shorter interval beside it.
const SLIVER: f64 = 6.0;
/// No array of the whole box is made larger than this many cells for each cell allowed.
const BOX: usize = 64;

/// How fine a mesh is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sizing {
    /// Shortest time of interest, s: cells at heat inputs resolve how far heat goes in it.
    pub shortest_time: f64,
    /// Growth of the cells' size per distance from what is small.
    pub growth: f64,
    /// Cells across a block along x and y, at its edges, before division.
    pub across: f64,
    /// Cells through a block along z, at its faces, before division.
    pub through: f64,
    /// In how many parts along each axis every cell is divided.
    pub division: usize,
    /// Most cells allowed.
    pub limit: usize,
}

impl Default for Sizing {
    /// From 1 µs on; 200 000 cells at most. Divided once, a package on a board has some 4000 cells and resistances
    /// right within 6 %; divided in three, 110 000 and 1 %.
    fn default() -> Self {
        Self { shortest_time: 1e-6, growth: 1.6, across: 8.0, through: 0.25, division: 3, limit: 200_000 }
    }
}

impl Sizing {
    /// For coupling to a circuit: some 14 000 cells for a package on a board, resistances right within 3 %, solved
    /// in a second.
    pub fn coupling() -> Self {
        Self { growth: 0.8, across: 16.0, through: 0.5, division: 1, ..Self::default() }
    }
}

/// A cell that is filled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cell {
    /// Number along x, y, z.
    pub at: [u32; 3],
    /// Number of the block that fills it.
    pub block: u32,
}

/// A mesh: edges along each axis, and the cells that are filled, numbered along z first, then x, then y.
#[derive(Debug, Clone, PartialEq)]
pub struct Mesh {
    /// Edges along x, y, z, m; rising.
    pub edges: [Vec<f64>; 3],
    /// Filled cells.
    pub cells: Vec<Cell>,
    /// Number of the cell at each place of the box, z first; [`Mesh::NONE`] where nothing is.
    index: Vec<u32>,
}

impl Mesh {
    /// The finest mesh within `sizing.limit`, of at most `sizing.division` and at least `least` parts along each axis;
    /// and that number.
    ///
    /// # Errors
    /// As [`Mesh::new`], of the coarsest tried.
    pub fn finest(
        body: &Body,
        sizing: &Sizing,
        kelvin: f64,
        least: usize,
    ) -> Result<(Self, usize), FieldError> {
        let mut division = sizing.division.max(least);
        loop {
            match Self::new(body, &Sizing { division, ..*sizing }, kelvin) {
                Ok(mesh) => return Ok((mesh, division)),
                Err(_) if division > least => division -= 1,
                Err(error) => return Err(error),
            }
        }
    }

    /// No cell.
    pub const NONE: u32 = u32::MAX;

    /// The mesh of a body that passed [`Body::check`]; conductivities at `kelvin` K decide how far heat goes in the
    /// shortest time.
    ///
    /// # Errors
    /// More cells than allowed; a port outside every block is found later.
    pub fn new(body: &Body, sizing: &Sizing, kelvin: f64) -> Result<Self, FieldError> {
        let edges = [0, 1, 2].map(|axis| graded(body, sizing, kelvin, axis));
        let count = [0, 1, 2].map(|a| edges[a].len() - 1);
        let limit = sizing.limit.min(u32::MAX as usize - 1);
        let all = count.iter().fold(1_usize, |n, c| n.saturating_mul(*c));
        // What is filled must be counted before it is stored; a box of mostly air may be large.
        if all > limit.saturating_mul(BOX) {
            return Err(FieldError::TooManyCells { cells: all, limit });
        }
        let mut index = vec![Self::NONE; all];
        for (number, block) in body.blocks.iter().enumerate() {
            let range =
                |axis: usize| place(&edges[axis], block.low[axis])..place(&edges[axis], block.high[axis]);
            for j in range(1) {
                for i in range(0) {
                    let row = (j * count[0] + i) * count[2];
                    index[row..][range(2)].fill(number as u32);
                }
            }
        }
        let filled = index.iter().filter(|b| **b != Self::NONE).count();
        if filled > limit {
            return Err(FieldError::TooManyCells { cells: filled, limit });
        }
        let mut cells = Vec::with_capacity(filled);
        for (k, slot) in index.iter_mut().enumerate() {
            if *slot != Self::NONE {
                let (row, z) = (k / count[2], k % count[2]);
                let at = [(row % count[0]) as u32, (row / count[0]) as u32, z as u32];
                cells.push(Cell { at, block: *slot });
                *slot = cells.len() as u32 - 1;
            }
        }
        Ok(Self { edges, cells, index })
    }

    /// Number of the cell at a place of the box, or [`Mesh::NONE`].
    pub fn cell(&self, at: [usize; 3]) -> u32 {
        let [nx, ny, nz] = self.counts();
        if at[0] >= nx || at[1] >= ny || at[2] >= nz {
            return Self::NONE;
        }
        self.index[(at[1] * nx + at[0]) * nz + at[2]]
    }

    /// Places of the box along x, y, z.
    pub fn counts(&self) -> [usize; 3] {
        [0, 1, 2].map(|a| self.edges[a].len() - 1)
    }

    /// Extents of a cell, m.
    pub fn extents(&self, cell: &Cell) -> [f64; 3] {
        [0, 1, 2].map(|a| {
            let k = cell.at[a] as usize;
            self.edges[a][k + 1] - self.edges[a][k]
        })
    }

    /// Middle of a cell, m.
    pub fn middle(&self, cell: &Cell) -> [f64; 3] {
        [0, 1, 2].map(|a| {
            let k = cell.at[a] as usize;
            0.5 * (self.edges[a][k + 1] + self.edges[a][k])
        })
    }

    /// Number of the edge nearest to a coordinate along an axis.
    pub(super) fn edge(&self, axis: usize, x: f64) -> usize {
        place(&self.edges[axis], x)
    }
}

/// Number of the edge nearest to x.
fn place(edges: &[f64], x: f64) -> usize {
    let above = edges.partition_point(|e| *e < x);
    match above.checked_sub(1) {
        Some(below) if above == edges.len() || x - edges[below] <= edges[above] - x => below,
        _ => above,
    }
}

/// A coordinate that must be an edge, and the size wanted there.
struct Plane {
    at: f64,
    size: f64,
}

fn graded(body: &Body, sizing: &Sizing, kelvin: f64, axis: usize) -> Vec<f64> {
    let planes = planes(body, sizing, kelvin, axis);
    let size =
        |x: f64| planes.iter().fold(f64::INFINITY, |h, p| h.min(p.size + sizing.growth * (x - p.at).abs()));
    let mut edges = vec![planes[0].at];
    for pair in planes.windows(2) {
        let (a, b) = (pair[0].at, pair[1].at);
        let step = (b - a) / SAMPLES as f64;
        // ∫dx/h up to the end of each sample, by the midpoint rule.
        let mut sums = Vec::with_capacity(SAMPLES + 1);
        sums.push(0.0);
        for k in 0..SAMPLES {
            let last = sums[k];
            sums.push(last + step / size(a + (k as f64 + 0.5) * step));
        }
        let total = sums[SAMPLES];
        // A quarter of a cell more or less than wanted is nothing.
        let parts = ((total - 0.25).ceil().max(1.0) as usize).saturating_mul(sizing.division.max(1));
        if parts > sizing.limit {
            // Refused by the count of cells; the edges need not exist.
            edges.extend(std::iter::repeat_n(b, sizing.limit.min(1 << 20)));
            continue;
        }
        for part in 1..parts {
            let want = total * part as f64 / parts as f64;
            let k = sums.partition_point(|s| *s <= want) - 1;
            let share = (want - sums[k]) / (sums[k + 1] - sums[k]);
            edges.push(a + (k as f64 + share) * step);
        }
        edges.push(b);
    }
    edges
}

/// Every edge of blocks and ports along an axis, sorted, each once, with the least size that anyone wants there.
fn planes(body: &Body, sizing: &Sizing, kelvin: f64, axis: usize) -> Vec<Plane> {
    let count = if axis == 2 { sizing.through } else { sizing.across };
    let mut planes: Vec<Plane> = Vec::new();
    for block in &body.blocks {
        let size = (block.high[axis] - block.low[axis]) / count;
        planes.extend([block.low[axis], block.high[axis]].map(|at| Plane { at, size }));
    }
    for port in &body.ports {
        let extent = port.high[axis] - port.low[axis];
        let mut size = if extent > SAME { extent / count } else { f64::INFINITY };
        if axis == 2 && port.heated {
            size = size.min(reach(body, port.low, port.high, sizing.shortest_time, kelvin));
        }
        planes.extend([port.low[axis], port.high[axis]].map(|at| Plane { at, size }));
    }
    planes.sort_by(|a, b| a.at.total_cmp(&b.at));
    planes.dedup_by(|later, kept| {
        let same = later.at - kept.at <= SAME;
        if same {
            kept.size = kept.size.min(later.size);
        }
        same
    });
    for k in 0..planes.len() {
        let beside = [k.checked_sub(1).map(|j| (j, k)), (k + 1 < planes.len()).then_some((k, k + 1))];
        for (a, b) in beside.into_iter().flatten() {
            planes[k].size = planes[k].size.min(SLIVER * (planes[b].at - planes[a].at));
        }
    }
    planes
}

/// Half of how far heat goes along z from a port in a time, √(a·t), in the best conductor that it touches; infinite for
/// a port outside every block.
fn reach(body: &Body, low: [f64; 3], high: [f64; 3], time: f64, kelvin: f64) -> f64 {
    let touches = |b: &&super::body::Block| {
        (0..3).all(|x| b.low[x] <= high[x] + SAME && low[x] <= b.high[x] + SAME)
            && (0..2).all(|x| b.low[x] < high[x] - SAME && low[x] < b.high[x] - SAME)
    };
    let diffusivity = body.blocks.iter().filter(touches).filter_map(|b| {
        let s = body.substances.get(b.substance)?;
        Some(s.conductivity[2].at(kelvin) / s.heat_capacity.at(kelvin))
    });
    match diffusivity.fold(0.0, f64::max) {
        0.0 => f64::INFINITY,
        a => 0.5 * (a * time).sqrt(),
    }
}
