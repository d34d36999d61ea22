//! L·Lᵀ = K + shift·C, multifrontal (Duff & Reid, ACM Trans. Math. Softw. 9 (1983) 302): the groups of a nested
//! dissection are eliminated one after the other in dense matrices, and what each leaves of its neighbours is added
//! to the group that parted it.
//!
//! Measured beside a general-purpose sparse Cholesky in `benches/field`: as fast, and no further dependency.

use nalgebra::{DMatrixView, DMatrixViewMut, Dyn};

use super::dissect::Order;
use super::system::System;
use super::trouble::FieldTrouble;

/// Columns handled at a time.
const STRIP: usize = 48;

/// A dense matrix of one group: rows of its own cells, then of the neighbours eliminated later.
#[derive(Debug, Clone)]
struct Front {
    /// Its first place in the order, and how many it owns.
    first: usize,
    own: usize,
    /// Places in the order, rising.
    rows: Vec<u32>,
    parts: Vec<usize>,
    /// Where its columns begin in the factor.
    start: usize,
}

/// What depends on the mesh alone.
#[derive(Debug, Clone)]
pub struct Pattern {
    order: Vec<u32>,
    /// Place of each cell in the order.
    place: Vec<u32>,
    fronts: Vec<Front>,
    entries: usize,
}

impl Pattern {
    /// Of the cells of a system.
    pub fn new(system: &System) -> Self {
        Self::of(system, Order::new(&system.at))
    }

    fn of(system: &System, order: Order) -> Self {
        let mut place = vec![0; system.cells()];
        for (k, cell) in order.cells.iter().enumerate() {
            place[*cell as usize] = k as u32;
        }
        let mut fronts: Vec<Front> = Vec::with_capacity(order.groups.len());
        let mut seen = vec![usize::MAX; system.cells()];
        let mut entries = 0;
        for (number, group) in order.groups.iter().enumerate() {
            let mut later = Vec::new();
            let mut meet = |p: u32| {
                if p as usize >= group.last && std::mem::replace(&mut seen[p as usize], number) != number {
                    later.push(p);
                }
            };
            for cell in &order.cells[group.first..group.last] {
                let cell = *cell as usize;
                system
                    .links
                    .above(cell)
                    .chain(system.links.below(cell))
                    .for_each(|(next, _)| meet(place[next]));
            }
            for part in &group.parts {
                let part: &Front = &fronts[*part];
                part.rows[part.own..].iter().for_each(|p| meet(*p));
            }
            later.sort_unstable();
            let own = group.last - group.first;
            let rows: Vec<u32> = (group.first as u32..group.last as u32).chain(later).collect();
            let start = entries;
            entries += rows.len() * own;
            fronts.push(Front { first: group.first, own, rows, parts: group.parts.clone(), start });
        }
        Self { order: order.cells, place, fronts, entries }
    }

    /// Cells in the order of their elimination.
    pub fn order(&self) -> &[u32] {
        &self.order
    }

    /// Entries of the factor that are stored.
    pub fn entries(&self) -> usize {
        self.entries
    }

    /// Multiplications of one factorisation.
    pub fn work(&self) -> f64 {
        let of = |f: &Front| {
            let (o, b) = (f.own as f64, (f.rows.len() - f.own) as f64);
            o * b * b + o * o * b + o * o * o / 3.0
        };
        self.fronts.iter().map(of).sum::<f64>() / 2.0
    }
}

/// The factor of one shift.
#[derive(Debug, Clone)]
pub struct Factor<'a> {
    pattern: &'a Pattern,
    values: Vec<f64>,
}

impl<'a> Factor<'a> {
    /// Factorises K + shift·C; shift in 1/s, not negative. The pattern must be that of the system.
    ///
    /// # Errors
    /// A matrix that is not positive definite.
    pub fn new(pattern: &'a Pattern, system: &System, shift: f64) -> Result<Self, FieldTrouble> {
        let mut new = Self { pattern, values: vec![0.0; pattern.entries] };
        new.refresh(system, shift)?;
        Ok(new)
    }

    /// The same for another shift or other coefficients on the same cells.
    ///
    /// # Errors
    /// A matrix that is not positive definite.
    pub fn refresh(&mut self, system: &System, shift: f64) -> Result<(), FieldTrouble> {
        let pattern = self.pattern;
        let mut row = vec![0_u32; system.cells()];
        let mut left: Vec<Option<Vec<f64>>> = vec![None; pattern.fronts.len()];
        for (number, front) in pattern.fronts.iter().enumerate() {
            let (m, own) = (front.rows.len(), front.own);
            for (k, p) in front.rows.iter().enumerate() {
                row[*p as usize] = k as u32;
            }
            let b = m - own;
            let mut rest = vec![0.0; b * b];
            let columns = &mut self.values[front.start..front.start + m * own];
            columns.fill(0.0);
            for k in 0..own {
                let cell = pattern.order[front.first + k] as usize;
                columns[k * m + k] = system.diagonal[cell] + shift * system.capacity[cell];
                for (next, g) in system.links.above(cell).chain(system.links.below(cell)) {
                    let p = pattern.place[next];
                    // Those eliminated earlier have this entry in their own columns.
                    if p as usize > front.first + k {
                        columns[k * m + row[p as usize] as usize] -= g;
                    }
                }
            }
            for part in &front.parts {
                if let Some(from) = left[*part].take() {
                    let part = &pattern.fronts[*part];
                    let map: Vec<usize> =
                        part.rows[part.own..].iter().map(|p| row[*p as usize] as usize).collect();
                    add(&from, &map, columns, m, own, &mut rest);
                }
            }
            eliminate(columns, m, own)
                .map_err(|k| FieldTrouble::NotDefinite { cell: pattern.order[front.first + k] as usize })?;
            // Where an empty plane parts two pieces, nothing is eliminated: what the pieces left is handed on.
            for c in (0..b).step_by(STRIP).filter(|_| own > 0) {
                let (wide, tall) = (STRIP.min(b - c), b - c);
                subtract([tall, own, wide], &columns[own + c..], m, &mut rest[c * b + c..], b);
            }
            left[number] = Some(rest);
        }
        Ok(())
    }

    /// x ← (K + shift·C)⁻¹·x. Panics when x has not one entry per cell.
    pub fn solve(&self, x: &mut [f64]) {
        let pattern = self.pattern;
        let mut y: Vec<f64> = pattern.order.iter().map(|cell| x[*cell as usize]).collect();
        let mut local = Vec::new();
        for front in &pattern.fronts {
            let m = front.rows.len();
            local.clear();
            local.extend(front.rows.iter().map(|p| y[*p as usize]));
            for (k, column) in self.columns(front).enumerate() {
                let value = local[k] / column[k];
                local[k] = value;
                for (z, l) in local[k + 1..].iter_mut().zip(&column[k + 1..m]) {
                    *z -= l * value;
                }
            }
            for (p, z) in front.rows.iter().zip(&local) {
                y[*p as usize] = *z;
            }
        }
        for front in pattern.fronts.iter().rev() {
            local.clear();
            local.extend(front.rows.iter().map(|p| y[*p as usize]));
            for (k, column) in self.columns(front).enumerate().rev() {
                local[k] = (local[k] - super::iterate::dot(&column[k + 1..], &local[k + 1..])) / column[k];
                y[front.first + k] = local[k];
            }
        }
        for (cell, y) in pattern.order.iter().zip(&y) {
            x[*cell as usize] = *y;
        }
    }

    fn columns(&self, front: &Front) -> std::slice::ChunksExact<'_, f64> {
        let m = front.rows.len();
        self.values[front.start..front.start + m * front.own].chunks_exact(m.max(1))
    }
}

/// Adds the lower half of what a part left to the matrix of the group above it.
fn add(from: &[f64], map: &[usize], columns: &mut [f64], m: usize, own: usize, rest: &mut [f64]) {
    let (n, b) = (map.len(), m - own);
    for (c, to) in map.iter().enumerate() {
        let source = &from[c * n + c..(c + 1) * n];
        let rows = &map[c..];
        if *to < own {
            let target = &mut columns[to * m..(to + 1) * m];
            rows.iter().zip(source).for_each(|(r, s)| target[*r] += s);
        } else {
            let target = &mut rest[(to - own) * b..(to - own + 1) * b];
            rows.iter().zip(source).for_each(|(r, s)| target[*r - own] += s);
        }
    }
}

/// Cholesky of the first `own` columns of length m, in strips. Fails with the column of a pivot not positive.
fn eliminate(columns: &mut [f64], m: usize, own: usize) -> Result<(), usize> {
    for k in (0..own).step_by(STRIP) {
        let wide = STRIP.min(own - k);
        for c in k..k + wide {
            let (done, here) = columns.split_at_mut(c * m);
            let here = &mut here[c..m];
            for earlier in done[k * m..].chunks_exact(m) {
                let factor = earlier[c];
                for (z, l) in here.iter_mut().zip(&earlier[c..]) {
                    *z -= factor * l;
                }
            }
            let pivot = here[0];
            if pivot.is_nan() || pivot <= 0.0 {
                return Err(c);
            }
            let root = pivot.sqrt();
            here.iter_mut().for_each(|z| *z /= root);
        }
        for c in (k + wide..own).step_by(STRIP) {
            let next = STRIP.min(own - c);
            let (done, rest) = columns.split_at_mut(c * m);
            subtract([m - c, wide, next], &done[k * m + c..], m, &mut rest[c..], m);
        }
    }
    Ok(())
}

/// target (tall × wide) −= P·Qᵀ, P the first `tall` rows of `deep` columns of length m, Q its first `wide` rows;
/// columns of the target follow one another by `stride`.
fn subtract([tall, deep, wide]: [usize; 3], panel: &[f64], m: usize, target: &mut [f64], stride: usize) {
    if tall == 0 || deep == 0 || wide == 0 {
        return;
    }
    let p: DMatrixView<'_, f64, Dyn, Dyn> = DMatrixView::from_slice_with_strides(panel, tall, deep, 1, m);
    let q: DMatrixView<'_, f64, Dyn, Dyn> = DMatrixView::from_slice_with_strides(panel, deep, wide, m, 1);
    let mut out: DMatrixViewMut<'_, f64, Dyn, Dyn> =
        DMatrixViewMut::from_slice_with_strides_mut(target, tall, wide, 1, stride);
    out.gemm(-1.0, &p, &q, 1.0);
}

#[cfg(test)]
mod tests {
    use super::super::body::{Block, Body, Face, Film, Port, Substance};
    use super::super::dissect::Group;
    use super::super::mesh::{Mesh, Sizing};
    use super::super::property::Law;
    use super::*;
    use crate::thermal::network::Boundary;

    /// Two towers on a plate, parted by nothing: the group between them owns no cell and hands on what more cells than
    /// a strip left.
    #[test]
    fn a_group_without_cells_hands_on() {
        let law = || Law::Constant(100.0);
        let mut body = Body {
            substances: vec![Substance {
                conductivity: [law(), law(), law()],
                heat_capacity: Law::Constant(2e6),
            }],
            films: vec![Film { block: 0, face: Face::Bottom, coefficient: 1e3, boundary: 0 }],
            boundaries: vec![Boundary { name: "below".into(), temperature: 0.0 }],
            ..Body::default()
        };
        for (x0, x1, y, z0, z1) in
            [(0.0, 0.05, 0.02, 0.0, 0.01), (0.0, 0.02, 0.02, 0.01, 0.02), (0.03, 0.05, 0.02, 0.01, 0.02)]
        {
            let (low, high) = ([x0, 0.0, z0], [x1, y, z1]);
            body.blocks.push(Block { name: "b".into(), low, high, substance: 0, contact: 0.0 });
        }
        let (low, high) = ([0.0, 0.0, 0.015], [0.02, 0.02, 0.02]);
        body.ports.push(Port { name: "p".into(), low, high, heated: true });
        let sizing =
            Sizing { growth: 0.2, across: 6.0, shortest_time: 1.0, division: 1, ..Sizing::default() };
        let mesh = Mesh::new(&body, &sizing, 300.0).unwrap();
        let system = System::new(&body, &mesh, 300.0).unwrap();
        let of = |block: u32| {
            let all = mesh.cells.iter().enumerate();
            all.filter(|c| c.1.block == block).map(|c| c.0 as u32).collect::<Vec<_>>()
        };
        let mut order = Order::default();
        for (cells, parts) in [(of(1), vec![]), (of(2), vec![]), (vec![], vec![0, 1]), (of(0), vec![2])] {
            let first = order.cells.len();
            order.cells.extend(cells);
            order.groups.push(Group { first, last: order.cells.len(), parts });
        }
        let pattern = Pattern::of(&system, order);
        assert!(pattern.fronts[2].own == 0 && pattern.fronts[2].rows.len() > STRIP);
        let mut x = vec![1.0; system.cells()];
        Factor::new(&pattern, &system, 1.0).unwrap().solve(&mut x);
        let mut image = vec![0.0; x.len()];
        system.multiply(1.0, &x, &mut image);
        assert!(image.iter().all(|b| (b - 1.0).abs() < 1e-9));
    }
}
