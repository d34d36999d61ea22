//! A static elimination order, compiled to a flat list of operations.
//!
//! The order is Markowitz's with a preference for the diagonal: among the acceptable pivots (at least
//! [`THRESHOLD`] of the largest entry of their column) the one that makes least fill, off-diagonal only where no
//! diagonal one is acceptable (Markowitz 1957; Duff, Erisman & Reid 1986, ch. 7). It is chosen once, on
//! representative values. Unknowns that only linear components touch ("outer") are eliminated first: for a given step
//! and a given choice of conductances their part of the factorisation is the same in every iteration, so it is
//! computed once and kept (see [`replay`](super::replay)).

use sprs::CsMatI;

/// Smallest acceptable pivot relative to the largest entry of its column.
pub const THRESHOLD: f64 = 1e-3;
/// Element growth above which an order is not trusted (good ones stay below 5e2, failures passed 1e10).
pub const GROWTH_LIMIT: f64 = 1e8;

/// A stretch of pairs in the lists of an order.
type Pairs<'a> = &'a [(u32, u32)];

/// One pivot and what it eliminates. Ranges point into the lists of [`Order`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Pivot {
    /// Slot of the pivot itself.
    pub slot: u32,
    /// Its row (index of the right-hand side).
    pub row: u32,
    /// Its column (the unknown it gives).
    pub col: u32,
    /// First entry in `lower`, and one past the last.
    pub lower: (u32, u32),
    /// First entry in `upper`, and one past the last.
    pub upper: (u32, u32),
    /// First entry in `targets`: (lower count) × (upper count) slots, row by row.
    pub targets: u32,
}

/// The order with its operations. Slots of the inner block come first, so that an iteration copies a short prefix.
#[derive(Clone, Debug, PartialEq)]
pub struct Order {
    /// Number of unknowns.
    pub n: usize,
    /// Number of value slots (without the spare one for ground).
    pub slots: usize,
    /// Number of slots of the inner block; they are 0‥inner_slots.
    pub inner_slots: usize,
    /// How many pivots come before the iteration.
    pub outer: usize,
    /// All pivots, outer ones first.
    pub(super) pivots: Vec<Pivot>,
    /// (slot of the multiplier, row it belongs to).
    pub(super) lower: Vec<(u32, u32)>,
    /// (slot in the pivot's row, column it belongs to).
    pub(super) upper: Vec<(u32, u32)>,
    /// Slots that receive −multiplier × upper.
    pub(super) targets: Vec<u32>,
    /// The pattern with all fill: the slot of each entry.
    pattern: CsMatI<u32, u32>,
}

/// No acceptable pivot is left: the matrix is singular. Holds the rows and columns that remain.
#[derive(Clone, Debug, PartialEq)]
pub struct NoPivot {
    /// Columns (unknowns) that nothing determines.
    pub columns: Vec<usize>,
}

struct Choosing {
    matrix: CsMatI<f64, u32>,
    row_open: Vec<bool>,
    col_open: Vec<bool>,
    /// Length of the longest chain of divisions on which an entry of this row depends.
    depth: Vec<usize>,
}

impl Choosing {
    /// The cheapest acceptable pivot among the open rows and columns that `allowed` admits.
    fn next(&self, allowed: impl Fn(usize) -> bool, threshold: f64) -> Option<(usize, usize)> {
        let n = self.depth.len();
        let (mut largest, mut counts) = (vec![0.0_f64; n], vec![0; n]);
        for (c, x) in (0..n).filter(|&r| self.row_open[r]).flat_map(|r| self.open_in(r)) {
            largest[c] = largest[c].max(x.abs());
            counts[c] += 1;
        }
        let mut best: Option<(bool, usize, usize, usize, usize)> = None;
        for r in (0..n).filter(|&r| self.row_open[r] && allowed(r)) {
            let row_count = self.open_in(r).count();
            for (c, x) in self.open_in(r).filter(|e| allowed(e.0)) {
                let m = x.abs();
                if m == 0.0 || m < threshold * largest[c] {
                    continue;
                }
                let cost = (row_count - 1) * (counts[c] - 1);
                // Among equals the one whose chain of divisions is shortest: a processor runs the others beside it.
                let candidate = (r != c, cost, self.depth[r], r, c);
                if best.is_none_or(|b| candidate < b) {
                    best = Some(candidate);
                }
            }
        }
        best.map(|(.., r, c)| (r, c))
    }

    /// Columns and values of a row where the column is open.
    fn open_in(&self, row: usize) -> impl Iterator<Item = (usize, f64)> {
        let range = self.matrix.indptr().outer_inds_sz(row);
        let columns = self.matrix.indices()[range.clone()].iter().map(|c| *c as usize);
        columns.zip(self.matrix.data()[range].iter().copied()).filter(|e| self.col_open[e.0])
    }

    fn eliminate(&mut self, r: usize, c: usize) -> (Vec<usize>, Vec<usize>) {
        self.row_open[r] = false;
        self.col_open[c] = false;
        let pivot = self.matrix[[r, c]];
        let upper: Vec<(usize, f64)> = self.open_in(r).collect();
        let below = |i: &usize| self.row_open[*i] && self.matrix.get(*i, c).is_some();
        let lower: Vec<usize> = (0..self.depth.len()).filter(below).collect();
        for &i in &lower {
            self.depth[i] = self.depth[i].max(self.depth[r] + 1);
            let multiplier = self.matrix[[i, c]] / pivot;
            for &(k, x) in &upper {
                match self.matrix.get_mut(i, k) {
                    Some(entry) => *entry -= multiplier * x,
                    None => self.matrix.insert(i, k, 0.0 - multiplier * x),
                }
            }
        }
        (lower, upper.into_iter().map(|u| u.0).collect())
    }
}

impl Order {
    /// Chooses the order for a square matrix of the given structural entries, with representative values, and compiles
    /// it. `outer(k)` says that only linear components touch unknown k.
    ///
    /// # Errors
    /// When the matrix is singular at the representative values.
    pub fn choose(matrix: CsMatI<f64, u32>, outer: impl Fn(usize) -> bool) -> Result<Self, NoPivot> {
        let n = matrix.rows();
        let mut choosing =
            Choosing { matrix, row_open: vec![true; n], col_open: vec![true; n], depth: vec![0; n] };
        let mut sequence = Vec::with_capacity(n);
        while let Some((r, c)) = choosing.next(&outer, THRESHOLD) {
            let (lower, upper) = choosing.eliminate(r, c);
            sequence.push((r, c, lower, upper));
        }
        let outer_count = sequence.len();
        choosing.depth.fill(0);
        while sequence.len() < n {
            let next = choosing.next(|_| true, THRESHOLD).or_else(|| choosing.next(|_| true, 0.0));
            let Some((r, c)) = next else {
                let columns = (0..n).filter(|&c| choosing.col_open[c]).collect();
                return Err(NoPivot { columns });
            };
            let (lower, upper) = choosing.eliminate(r, c);
            sequence.push((r, c, lower, upper));
        }
        Ok(Self::compile(n, outer_count, &choosing.matrix, sequence))
    }

    fn compile(
        n: usize,
        outer: usize,
        filled: &CsMatI<f64, u32>,
        sequence: Vec<(usize, usize, Vec<usize>, Vec<usize>)>,
    ) -> Self {
        // The inner block is what is left after the outer pivots.
        let mut inner_row = vec![true; n];
        let mut inner_col = vec![true; n];
        for (r, c, ..) in &sequence[..outer] {
            inner_row[*r] = false;
            inner_col[*c] = false;
        }
        let is_inner = |r: u32, c: u32| inner_row[r as usize] && inner_col[c as usize];
        let inner_slots = filled.iter().filter(|(_, (r, c))| is_inner(*r, *c)).count();
        let mut next = [inner_slots as u32, 0];
        let mut slots = filled.iter().map(|(_, (r, c))| {
            let next = &mut next[usize::from(is_inner(r, c))];
            *next += 1;
            *next - 1
        });
        let pattern = filled.map(|_| slots.next().unwrap_or_default());
        let slot = |r: usize, c: usize| pattern[[r, c]];
        let mut order = Self {
            n,
            slots: filled.nnz(),
            inner_slots,
            outer,
            pivots: Vec::with_capacity(n),
            lower: Vec::new(),
            upper: Vec::new(),
            targets: Vec::new(),
            pattern: CsMatI::zero((n, n)),
        };
        for (r, c, lower, upper) in sequence {
            let (l0, u0, t0) =
                (order.lower.len() as u32, order.upper.len() as u32, order.targets.len() as u32);
            order.lower.extend(lower.iter().map(|&i| (slot(i, c), i as u32)));
            order.upper.extend(upper.iter().map(|&k| (slot(r, k), k as u32)));
            order.targets.extend(
                lower.iter().flat_map(|&i| upper.iter().map(move |&k| (i, k))).map(|(i, k)| slot(i, k)),
            );
            order.pivots.push(Pivot {
                slot: slot(r, c),
                row: r as u32,
                col: c as u32,
                lower: (l0, order.lower.len() as u32),
                upper: (u0, order.upper.len() as u32),
                targets: t0,
            });
        }
        order.pattern = pattern;
        order
    }

    /// What a pivot eliminates: (slot, row) below it and (slot, column) beside it.
    pub(super) fn lists(&self, p: &Pivot) -> (Pairs<'_>, Pairs<'_>) {
        (
            &self.lower[p.lower.0 as usize..p.lower.1 as usize],
            &self.upper[p.upper.0 as usize..p.upper.1 as usize],
        )
    }

    /// Rows and columns of the inner block, in the order of their pivots.
    pub fn inner_block(&self) -> (Vec<u32>, Vec<u32>) {
        self.pivots[self.outer..].iter().map(|p| (p.row, p.col)).unzip()
    }

    /// Slot of an entry, if the pattern has it.
    pub fn slot(&self, row: usize, col: usize) -> Option<u32> {
        self.pattern.get(row, col).copied()
    }

    /// Unknowns that the iteration solves for: those that devices touch, and linear ones that no outer pivot gives (the
    /// current of a source that stands directly at a device's pin).
    pub fn inner_columns(&self) -> impl Iterator<Item = u32> + '_ {
        self.pivots[self.outer..].iter().map(|p| p.col)
    }
}
