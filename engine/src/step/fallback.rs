//! What is left when Newton's iteration fails at the shortest step: another elimination order, chosen on the values at
//! hand, and then dense elimination with partial pivoting instead of any fixed order, and many more iterations.

use super::stage::StageSolver;
use crate::arithmetic::lane::Lane;
use crate::control::board::Board;
use crate::equations::dense;
use crate::equations::order::Order;
use crate::equations::program::Program;

/// Iterations with dense elimination: a junction far above its voltage comes down by the thermal voltage in each.
const PATIENT: u32 = 1000;
/// From here on only half of every change is made: what goes to and fro between two points comes to rest between them.
const UNDAMPED: u32 = 600;
/// No voltage changes by more than this in the first of them, V: a device that is off lets the first iterations run to
/// many kilovolts, from where a junction comes down by its thermal voltage only. Where a voltage goes on the same way it
/// may change by more each time, so that what a transistor turns off in an inductor gets to its kilovolts.
const LEAP: f64 = 5.0;
const PLAIN: u32 = 100;
const GROWS: f64 = 1.25;
/// Steps so solved until the ordinary way is tried again.
const STEPS: u32 = 32;

/// Iterations from which on it is enough that the devices rest.
const LONG: u32 = 12;

/// How far each unknown may change in an iteration.
#[derive(Debug, Default)]
pub(super) struct Leaps<L> {
    /// V; negative where the last change was downwards.
    each: Vec<L>,
}

impl<L: Lane> Leaps<L> {
    /// All of them `least` again, of so many unknowns.
    pub(super) fn restart(&mut self, unknowns: usize, least: f64) {
        self.each.clear();
        self.each.resize(unknowns, L::splat(least));
    }

    /// As much of a change of unknown k as it may make in an iteration. In later ones it may make more the next time,
    /// where that is not all and goes the same way as before; and half as much, but no less than `least`, where it
    /// turns back.
    #[inline(always)]
    pub(super) fn limited(&mut self, iteration: u32, k: usize, change: L, least: f64) -> L {
        let (zero, half) = (L::splat(0.0), L::splat(0.5));
        let before = self.each[k];
        let leap = before.abs();
        let turns = (change * before).lt(zero);
        let leap = L::select(turns, (leap * half).max(L::splat(least)), leap);
        let grows = if iteration > PLAIN { GROWS } else { 1.0 };
        let more = L::select(turns, leap, leap * L::splat(grows));
        let next = L::select(change.abs().le(leap), leap, more);
        self.each[k] = L::select(change.lt(zero), -next, next);
        change.min(leap).max(-leap)
    }
}
/// The inner block as a dense matrix.
#[derive(Debug)]
pub(super) struct Full<L> {
    rows: Vec<u32>,
    columns: Vec<u32>,
    /// (slot, place in the matrix).
    entries: Vec<(u32, usize)>,
    matrix: Vec<L>,
    right: Vec<L>,
    found: Vec<L>,
    leaps: Leaps<L>,
    /// Steps that were taken with it.
    steps: u32,
}

impl<L: Lane> Full<L> {
    fn new(order: &Order) -> Self {
        let (rows, columns) = order.inner_block();
        let n = rows.len();
        let place =
            |r: usize, c: usize| order.slot(rows[r] as usize, columns[c] as usize).map(|s| (s, r * n + c));
        let entries = (0..n).flat_map(|r| (0..n).filter_map(move |c| place(r, c))).collect();
        let zero = L::splat(0.0);
        Self {
            entries,
            matrix: vec![zero; n * n],
            right: vec![zero; n],
            found: vec![zero; n],
            leaps: Leaps { each: Vec::new() },
            steps: 0,
            rows,
            columns,
        }
    }

    fn load(&mut self, a: &[L]) {
        self.matrix.fill(L::splat(0.0));
        for &(slot, place) in &self.entries {
            self.matrix[place] = a[slot as usize];
        }
    }

    /// Solves with the loaded matrix; NaN where there is no solution.
    fn solve(&mut self, b: &[L], x: &mut [L]) {
        if self.rows.is_empty() {
            return;
        }
        for (right, &row) in self.right.iter_mut().zip(&self.rows) {
            *right = b[row as usize];
        }
        if dense::solve_nearly(self.rows.len(), &self.matrix, &self.right, &mut self.found).is_err() {
            self.found.fill(L::splat(f64::NAN));
        }
        for (found, &column) in self.found.iter().zip(&self.columns) {
            x[column as usize] = *found;
        }
    }
}

impl<L: Lane> StageSolver<L> {
    /// Chooses a new elimination order on the present values: α, the choices, the devices' last stamps. False when the
    /// matrix is singular there; the old order then stays.
    pub fn reorder(&mut self, alpha: f64, board: &Board<L>) -> bool {
        match Program::compile(&self.system, alpha, board.choices(), &self.stamps) {
            Ok(program) => {
                self.take_program(program);
                true
            }
            Err(_) => false,
        }
    }

    /// Solves the inner block densely from now on, or by the fixed order again.
    pub fn go_dense(&mut self, dense: bool) {
        if !dense && !self.is_dense() {
            return;
        }
        self.full = dense.then(|| Full::new(self.program.replay.order()));
        self.forget_factors();
    }

    /// A step was taken: the ordinary way again where enough of them were solved densely.
    pub(crate) fn stepped(&mut self) {
        let Some(full) = self.full.as_mut() else { return };
        full.steps += 1;
        if full.steps >= STEPS {
            self.go_dense(false);
        }
    }

    /// How many iterations a stage may take: as stated, or as many as may help where nothing else did.
    pub(super) fn most_iterations(&self) -> u32 {
        if self.is_dense() { PATIENT.max(self.iterations) } else { self.iterations }
    }

    /// Lanes in which every device rests, although some unknown still moves by more than its limit. The equations are
    /// linear but for the devices: another iteration would solve the same ones, and what moves is rounding, of nodes that
    /// hang on the rest by almost nothing.
    pub(super) fn resting(&self, iteration: u32) -> u32 {
        let last = iteration == self.most_iterations();
        if !(last || self.is_dense() && iteration >= LONG) {
            return 0;
        }
        let limit = |k: usize, value: L| self.limits[k] + self.relative * value.abs();
        let (zero, mut rest) = (L::splat(0.0), L::splat(1.0));
        for placed in &self.system.devices {
            let base = placed.reference as usize;
            for (port, &k) in placed.locals.iter().enumerate() {
                let k = k as usize;
                let of = |x: &[L]| if port < placed.ports { x[k] - x[base] } else { x[k] };
                let (fresh, old) = (of(&self.fresh), of(&self.x));
                // Ground has no limit of its own, nor has it a port.
                let at = if k < self.system.inner { k } else { base };
                if at < self.system.inner {
                    rest = L::select((fresh - old).abs().le(limit(at, fresh)), rest, zero);
                }
            }
        }
        L::lanes(rest.gt(zero))
    }

    /// Where Newton's iteration is patient: changes from x to the new values no larger than a leap; and half of them
    /// where so many iterations found no end.
    #[inline(always)]
    pub(super) fn damp(&mut self, iteration: u32) {
        let Some(full) = self.full.as_mut() else { return };
        if iteration == 1 {
            full.leaps.restart(self.system.inner, LEAP);
        }
        for k in (0..self.system.inner).filter(|&k| self.system.is_voltage[k]) {
            self.fresh[k] = self.x[k] + full.leaps.limited(iteration, k, self.fresh[k] - self.x[k], LEAP);
        }
        if iteration <= UNDAMPED {
            return;
        }
        for (fresh, x) in self.fresh.iter_mut().zip(&self.x) {
            *fresh = L::splat(0.5) * (*fresh + *x);
        }
    }

    /// Whether the inner block is solved densely.
    pub fn is_dense(&self) -> bool {
        self.full.is_some()
    }

    /// The dense counterpart of an iteration's elimination.
    pub(super) fn eliminate_full(&mut self) {
        let Some(full) = self.full.as_mut() else { return };
        full.load(&self.a);
        full.solve(&self.b, &mut self.fresh);
    }

    /// Solves once more with the matrix of the last dense elimination.
    pub(super) fn resolve_full(&mut self, out: &mut [L]) {
        let Some(full) = self.full.as_mut() else { return };
        full.solve(&self.stage_b, out);
    }
}
