//! A static elimination order, compiled to a flat list of operations.
//!
//! The order is Markowitz's with a preference for the diagonal: among the acceptable pivots (at least
//! [`THRESHOLD`] of the largest entry of their column) the one that makes least fill, off-diagonal only where no
//! diagonal one is acceptable (Markowitz 1957; Duff, Erisman & Reid 1986, ch. 7). It is chosen once, on
//! representative values. Unknowns that only linear components touch ("outer") are eliminated first: for a given step
//! and a given choice of conductances their part of the factorisation is the same in every iteration, so it is
//! computed once and kept (see [`replay`](super::replay)).

use std::collections::BTreeSet;

use sprs::{CsMatI, TriMatI};

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

/// What decides between two pivots, the cheaper one first: off the diagonal, products of the elimination, depth (among
/// equals the one whose chain of divisions is shortest: a processor runs the others beside it), row, column.
type Cost = (bool, usize, usize, usize, usize);

/// The matrix while pivots are chosen: the open part of each row and column, kept as pivots are eliminated. Only the
/// rows and columns that a pivot touches are looked at again, so that the work is that of the elimination itself.
struct Choosing {
    /// Open entries of each open row, by column.
    rows: Vec<Vec<(usize, f64)>>,
    /// Open rows of each open column.
    columns: Vec<Vec<usize>>,
    /// Length of the longest chain of divisions on which an entry of this row depends.
    depth: Vec<usize>,
    /// Acceptable pivots on the diagonal, by their cost.
    diagonal: BTreeSet<Cost>,
    /// Each unknown's cost in `diagonal`.
    listed: Vec<Option<Cost>>,
}

impl Choosing {
    fn new(matrix: &CsMatI<f64, u32>) -> Self {
        let n = matrix.rows();
        let mut columns = vec![Vec::new(); n];
        let rows = matrix.outer_iterator().enumerate().map(|(r, row)| {
            row.iter().for_each(|(c, _)| columns[c].push(r));
            row.iter().map(|(c, x)| (c, *x)).collect()
        });
        let rows = rows.collect();
        Self { rows, columns, depth: vec![0; n], diagonal: BTreeSet::new(), listed: vec![None; n] }
    }

    /// Lists the pivots on the diagonal that `allowed` admits, all depths at zero.
    fn list(&mut self, allowed: impl Fn(usize) -> bool) {
        self.depth.fill(0);
        (0..self.depth.len()).filter(|&k| allowed(k)).for_each(|k| self.list_anew(k));
    }

    fn value(&self, r: usize, c: usize) -> Option<f64> {
        let row = &self.rows[r];
        row.binary_search_by_key(&c, |e| e.0).ok().map(|at| row[at].1)
    }

    fn largest(&self, c: usize) -> f64 {
        self.columns[c].iter().filter_map(|&r| self.value(r, c)).fold(0.0, |most, x| most.max(x.abs()))
    }

    fn cost(&self, r: usize, c: usize) -> Cost {
        let products = (self.rows[r].len() - 1) * (self.columns[c].len() - 1);
        (r != c, products, self.depth[r], r, c)
    }

    fn list_anew(&mut self, k: usize) {
        if let Some(old) = self.listed[k].take() {
            self.diagonal.remove(&old);
        }
        let Some(m) = self.value(k, k).map(f64::abs) else { return };
        if m == 0.0 || m < THRESHOLD * self.largest(k) {
            return;
        }
        let cost = self.cost(k, k);
        self.listed[k] = Some(cost);
        self.diagonal.insert(cost);
    }

    /// The cheapest acceptable pivot among the open rows and columns that `allowed` admits.
    fn next(&self, allowed: impl Fn(usize) -> bool, threshold: f64) -> Option<(usize, usize)> {
        if let Some(&(.., r, c)) = self.diagonal.first() {
            return Some((r, c));
        }
        // Nothing on the diagonal: rare enough to look at everything.
        let mut largest = vec![None; self.depth.len()];
        let mut best: Option<Cost> = None;
        for r in (0..self.rows.len()).filter(|&r| allowed(r)) {
            for &(c, x) in self.rows[r].iter().filter(|e| allowed(e.0)) {
                let m = x.abs();
                let most = *largest[c].get_or_insert_with(|| self.largest(c));
                if m == 0.0 || m < threshold * most {
                    continue;
                }
                let candidate = self.cost(r, c);
                if best.is_none_or(|b| candidate < b) {
                    best = Some(candidate);
                }
            }
        }
        best.map(|(.., r, c)| (r, c))
    }

    /// Eliminates with this pivot; returns the rows below it and the columns beside it.
    fn eliminate(&mut self, (r, c): (usize, usize), allowed: impl Fn(usize) -> bool) -> Eliminated {
        let mut upper = std::mem::take(&mut self.rows[r]);
        let mut lower = std::mem::take(&mut self.columns[c]);
        let pivot = upper.binary_search_by_key(&c, |e| e.0).map_or(f64::NAN, |at| upper.remove(at).1);
        lower.retain(|&i| i != r);
        for &(k, _) in &upper {
            self.columns[k].retain(|&i| i != r);
        }
        for &i in &lower {
            self.depth[i] = self.depth[i].max(self.depth[r] + 1);
            let row = std::mem::take(&mut self.rows[i]);
            let multiplier = row.binary_search_by_key(&c, |e| e.0).map_or(f64::NAN, |at| row[at].1) / pivot;
            let mut merged = Vec::with_capacity(row.len() + upper.len());
            let mut beside = upper.iter().copied().peekable();
            for (k, x) in row.into_iter().filter(|e| e.0 != c) {
                while let Some((new, u)) = beside.next_if(|u| u.0 < k) {
                    merged.push((new, 0.0 - multiplier * u));
                    self.fill(i, new);
                }
                let change = beside.next_if(|u| u.0 == k).map_or(0.0, |u| multiplier * u.1);
                merged.push((k, x - change));
            }
            for (new, u) in beside {
                merged.push((new, 0.0 - multiplier * u));
                self.fill(i, new);
            }
            self.rows[i] = merged;
        }
        let upper: Vec<usize> = upper.into_iter().map(|u| u.0).collect();
        for &k in [r, c].iter().chain(&lower).chain(&upper).filter(|&&k| allowed(k)) {
            self.list_anew(k);
        }
        Eliminated { row: r, column: c, lower, upper }
    }

    fn fill(&mut self, r: usize, c: usize) {
        if let Err(at) = self.columns[c].binary_search(&r) {
            self.columns[c].insert(at, r);
        }
    }
}

/// A pivot, the rows below it and the columns beside it.
struct Eliminated {
    row: usize,
    column: usize,
    lower: Vec<usize>,
    upper: Vec<usize>,
}

impl Order {
    /// Chooses the order for a square matrix of the given structural entries, with representative values, and compiles
    /// it. `outer(k)` says that only linear components touch unknown k.
    ///
    /// # Errors
    /// When the matrix is singular at the representative values.
    pub fn choose(matrix: CsMatI<f64, u32>, outer: impl Fn(usize) -> bool) -> Result<Self, NoPivot> {
        let n = matrix.rows();
        let mut choosing = Choosing::new(&matrix);
        let mut sequence = Vec::with_capacity(n);
        choosing.list(&outer);
        while let Some(pivot) = choosing.next(&outer, THRESHOLD) {
            sequence.push(choosing.eliminate(pivot, &outer));
        }
        let outer_count = sequence.len();
        let all = |_: usize| true;
        choosing.list(all);
        while sequence.len() < n {
            let Some(pivot) = choosing.next(all, THRESHOLD).or_else(|| choosing.next(all, 0.0)) else {
                let columns = (0..n).filter(|&c| sequence.iter().all(|p| p.column != c)).collect();
                return Err(NoPivot { columns });
            };
            sequence.push(choosing.eliminate(pivot, all));
        }
        Ok(Self::compile(n, outer_count, sequence))
    }

    fn compile(n: usize, outer: usize, sequence: Vec<Eliminated>) -> Self {
        // The inner block is what is left after the outer pivots.
        let mut inner_row = vec![true; n];
        let mut inner_col = vec![true; n];
        for pivot in &sequence[..outer] {
            inner_row[pivot.row] = false;
            inner_col[pivot.column] = false;
        }
        let is_inner = |r: u32, c: u32| inner_row[r as usize] && inner_col[c as usize];
        let mut filled: TriMatI<u32, u32> = TriMatI::new((n, n));
        for Eliminated { row, column, lower, upper } in &sequence {
            filled.add_triplet(*row, *column, 0);
            lower.iter().for_each(|&i| filled.add_triplet(i, *column, 0));
            upper.iter().for_each(|&k| filled.add_triplet(*row, k, 0));
        }
        let filled: CsMatI<u32, u32> = filled.to_csr();
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
        for Eliminated { row: r, column: c, lower, upper } in sequence {
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
