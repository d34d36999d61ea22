//! Newton's iteration where robustness counts and time does not: operating points, and states after a jump.
//!
//! Small circuits are eliminated densely with pivoting in every iteration. From `SPARSE_FROM` unknowns on an order is
//! compiled on the values at hand, and chosen anew where it loses digits on others.

mod places;

use std::sync::atomic::{AtomicBool, Ordering};

use sprs::{CsMatI, TriMatI};

use super::fallback::Leaps;
use crate::arithmetic::lane::Lane;
use crate::arithmetic::vector::zeros;
use crate::circuit::law::{Device, StampLocation, stamp_len};
use crate::control::board::Board;
use crate::equations::dense;
use crate::equations::order::Order;
use crate::equations::replay::Replay;
use crate::equations::system::System;
use crate::error::Cause;
use places::Places;

/// A flag that ends a search: somebody wants to stop.
pub type Halt = Option<&'static AtomicBool>;

/// Unknowns from which the elimination is sparse.
const SPARSE_FROM: usize = 200;
/// Componentwise backward error up to which a sparse solution serves an iteration; a fresh order may leave more.
const SERVES: f64 = 1e-9;
const SERVES_AT_LAST: f64 = 1e-5;
/// Iterations after which a residual at rounding counts as a solution: where conductances differ by more than doubles
/// resolve, changes of x never become small.
const PATIENCE: u32 = 12;
/// A change so small, V or A and relative, is none.
const STILL: f64 = 1e-9;
/// A change of a device's voltage, V, of which its slopes tell the change of its currents; and a change of a current that
/// is none, A: 10 nV of 100 Mohm.
const TOLD: f64 = 1e-3;
const NOTHING: f64 = 1e-16;
/// Iterations after which only half of every change is made, of the many that limited changes are given, and half of
/// that after some more: what goes to and fro between two states of a device comes to rest between them.
const UNDAMPED: u32 = 300;
const LESS: u32 = 60;
/// The first conductance that ties a node to where it stands, S; what a step makes of it; below which there is none;
/// and steps at most, those that fail included.
const TIE: f64 = 1e4;
const FADES: f64 = 0.25;
const FREE: f64 = 1e-12;
const CREEPS: u32 = 200;
/// The largest componentwise backward error that is rounding, in units of its last place: rows sum some ten terms, and
/// elimination with pivoting is as good as this by norms, not entry by entry.
const LAST_PLACES: f64 = 64.0;
/// The largest one that serves where rounding leaves no rest after so many iterations.
const NEARLY: f64 = 1e-11;

/// What the iteration works with beside the equations. It serves again for the same circuit at the same temperatures.
#[derive(Debug)]
pub(super) struct Tools<L: Lane> {
    pub(super) devices: Vec<Box<dyn Device<L>>>,
    choices: Vec<usize>,
    places: Places,
    replay: Option<Replay>,
    scratch: Scratch<L>,
}

/// Stamps, values of the matrix, right-hand side, its solution, and the whole matrix of small circuits.
#[derive(Debug, Default)]
struct Scratch<L> {
    stamps: Vec<Vec<L>>,
    a: Vec<L>,
    b: Vec<L>,
    fresh: Vec<L>,
    square: Vec<L>,
}

impl<L: Lane> Tools<L> {
    pub(super) fn new(system: &System<L>, kelvin: &[L], board: &Board<L>) -> Self {
        Self {
            devices: system.devices_at(kelvin),
            choices: board.choices().to_vec(),
            places: Places::new(system, &[]),
            replay: None,
            scratch: Scratch::default(),
        }
    }
}

/// Newton's iteration on f(x) + α(q(x) − q̂) = 0.
pub(super) struct Robust<'a, L: Lane> {
    pub(super) system: &'a System<L>,
    tools: &'a mut Tools<L>,
    /// Held quantities: (row, column, conductance, value).
    holds: Vec<(usize, usize, L, L)>,
    /// The first lane alone is solved for, and all lanes get its solution.
    pub(super) first_only: bool,
    halt: Halt,
    pub(super) x: Vec<L>,
}

impl<'a, L: Lane> Robust<'a, L> {
    pub(super) fn new(system: &'a System<L>, tools: &'a mut Tools<L>, halt: Halt) -> Self {
        Self { system, tools, holds: Vec::new(), first_only: false, halt, x: zeros(system.n + 1) }
    }

    /// Holds quantities from now on: (row, column, conductance, value).
    pub(super) fn hold(&mut self, holds: Vec<(usize, usize, L, L)>) {
        self.tools.places = Places::new(self.system, &holds);
        self.holds = holds;
    }

    /// Whether somebody wants to stop.
    pub(super) fn halted(&self) -> bool {
        self.halt.is_some_and(|halt| halt.load(Ordering::Relaxed))
    }

    fn lanes(&self) -> usize {
        if self.first_only { 1 } else { L::WIDTH }
    }

    /// Iterates from the present x. `sources(row)` is added to f. Returns the last change when it does not converge.
    pub(super) fn newton(
        &mut self,
        alpha: f64,
        expected: &[L],
        sources: &[L],
        leak: f64,
        limit: f64,
    ) -> Result<(), (usize, f64)> {
        let mut scratch = std::mem::take(&mut self.tools.scratch);
        let ended = self.iterate(&mut scratch, L::splat(alpha), expected, sources, (leak, limit));
        self.tools.scratch = scratch;
        ended
    }

    fn iterate(
        &mut self,
        Scratch { stamps, a, b, fresh, square }: &mut Scratch<L>,
        alpha: L,
        expected: &[L],
        sources: &[L],
        (leak, limit): (f64, f64),
    ) -> Result<(), (usize, f64)> {
        let s = self.system;
        let n = s.n;
        let zero = L::splat(0.0);
        stamps.resize_with(s.devices.len(), Vec::new);
        for (stamp, device) in stamps.iter_mut().zip(&s.devices) {
            stamp.resize(stamp_len(device.locals.len()), zero);
        }
        a.resize(self.tools.places.entries.len() + 1, zero);
        fresh.resize(self.x.len(), zero);
        let mut worst = (0, f64::NAN);
        let mut leaps = Leaps::default();
        leaps.restart(n, limit);
        for iteration in 0..if limit.is_finite() { 600 } else { 60 } {
            if self.halted() {
                break;
            }
            b.clear();
            b.extend((0..=n).map(|k| expected[k] * alpha - sources[k]));
            a.fill(zero);
            s.g.iter().zip(&self.tools.places.g).for_each(|(e, &at)| a[at as usize] += e.2);
            s.c.iter().zip(&self.tools.places.c).for_each(|(e, &at)| a[at as usize] += alpha * e.2);
            for (&(choice, ..), slots) in s.chosen.iter().zip(&self.tools.places.chosen) {
                let g = s.circuit.choices[choice.0 as usize].options[self.tools.choices[choice.0 as usize]];
                slots.iter().zip([g, -g, -g, g]).for_each(|(&at, x)| a[at as usize] += x);
            }
            self.tools.places.leak.iter().for_each(|&at| a[at as usize] += L::splat(leak));
            for (&(row, _, g, value), &at) in self.holds.iter().zip(&self.tools.places.holds) {
                a[at as usize] += g;
                b[row] += g * value;
            }
            for (((device, placed), slots), stamp) in
                self.tools.devices.iter().zip(&s.devices).zip(&self.tools.places.devices).zip(&mut *stamps)
            {
                let location = StampLocation { locals: &placed.locals, reference: placed.reference, slots };
                device.stamp(&location, alpha, &self.x, stamp, a, b);
            }
            let enough = if iteration < UNDAMPED { LAST_PLACES * f64::EPSILON } else { NEARLY };
            if iteration >= PATIENCE && self.backward_error(a, b, &self.x) <= enough {
                return Ok(());
            }
            self.solve(a, b, square, fresh).map_err(|k| (k, f64::INFINITY))?;
            if self.first_only {
                fresh.iter_mut().for_each(|x| *x = L::splat(x.lane(0)));
            }
            if iteration >= PATIENCE && self.devices_rest(fresh, stamps, alpha) {
                self.x.copy_from_slice(fresh);
                return Ok(());
            }
            worst = (0, 0.0);
            let mut moving = false;
            let damped = if iteration < UNDAMPED { 0 } else { 1 + (iteration - UNDAMPED) / LESS };
            let share = 0.5f64.powi(damped as i32);
            for (k, &fresh) in fresh.iter().enumerate().take(n) {
                let change = fresh - self.x[k];
                let size = change.abs().widest();
                if size > worst.1 {
                    worst = (k, size);
                }
                let still = size <= STILL + STILL * fresh.abs().widest();
                moving |= !still;
                let change = if limit.is_finite() && s.is_voltage[k] {
                    leaps.limited(iteration, k, change, limit)
                } else {
                    change
                };
                self.x[k] += change * L::splat(share);
            }
            if !moving {
                return Ok(());
            }
            if !self.x.iter().all(|x| x.is_finite()) {
                return Err((worst.0, f64::INFINITY));
            }
        }
        Err(worst)
    }

    /// Pseudo-transient continuation from the present x (Kelley & Keyes, SIAM J. Numer. Anal. 35 (1998) 508): every node
    /// is tied to where it stands by a conductance that fades, as by a capacitor to ground over ever longer implicit
    /// steps. So it leaves a point that is a solution no more for one that a real circuit would come to, over voltages
    /// at which the slope of a device changes sign. Returns the last change when it comes to none.
    pub(super) fn creep(&mut self, alpha: f64, expected: &[L], sources: &[L]) -> Result<(), (usize, f64)> {
        let mut tie = TIE;
        for _ in 0..CREEPS {
            let from = self.x.clone();
            let mut held = sources.to_vec();
            for k in (0..self.system.n).filter(|&k| self.system.is_voltage[k]) {
                held[k] -= from[k] * L::splat(tie);
            }
            match self.newton(alpha, expected, &held, tie, f64::INFINITY) {
                Ok(()) if tie < FREE => return self.newton(alpha, expected, sources, 0.0, f64::INFINITY),
                Ok(()) => tie *= FADES,
                Err(worst) => {
                    self.x = from;
                    tie *= 16.0;
                    if tie > TIE * TIE || self.halted() {
                        return Err(worst);
                    }
                }
            }
        }
        Err((0, f64::NAN))
    }

    /// Whether no device moves from x to these values, or so little that no current of it does. The equations are linear
    /// but for the devices: another iteration would solve the same ones, and what moves is rounding, of nodes that hang
    /// on the rest by almost nothing. `stamps` are those at x.
    fn devices_rest(&self, fresh: &[L], stamps: &[Vec<L>], alpha: L) -> bool {
        let finite = fresh.iter().all(|x| x.is_finite());
        finite
            && self.system.devices.iter().zip(stamps).all(|(placed, stamp)| {
                let (base, p) = (placed.reference as usize, placed.locals.len());
                let change = |port: usize| {
                    let k = placed.locals[port] as usize;
                    let of = |x: &[L]| if port < placed.ports { x[k] - x[base] } else { x[k] };
                    (of(fresh) - of(&self.x), of(fresh))
                };
                let still = (0..p).all(|port| {
                    let (change, fresh) = change(port);
                    change.abs().widest() <= STILL + STILL * fresh.abs().widest()
                });
                let slope = |row: usize, k: usize| {
                    (stamp[2 * p + row * p + k] + alpha * stamp[2 * p + p * p + row * p + k]).abs()
                };
                let moves = |row: usize| {
                    let terms = (0..p).map(|k| slope(row, k) * change(k).0.abs());
                    terms.fold(L::splat(0.0), |sum, term| sum + term).widest()
                };
                let told = || (0..p).all(|port| change(port).0.abs().widest() <= TOLD);
                still || p == placed.ports && told() && (0..p).all(|row| moves(row) <= NOTHING)
            })
    }

    /// How well x solves a·x = b: the largest componentwise backward error (Oettli & Prager, Numer. Math. 6 (1964)
    /// 405). Where a and b are linearised at x, it is that of the circuit's equations.
    fn backward_error(&self, a: &[L], b: &[L], x: &[L]) -> f64 {
        let mut largest = 0.0;
        for (r, range) in self.tools.places.rows.windows(2).enumerate() {
            for lane in 0..self.lanes() {
                let (mut residual, mut size) = (-b[r].lane(lane), b[r].lane(lane).abs());
                for k in range[0]..range[1] {
                    let term = a[k].lane(lane) * x[self.tools.places.entries[k].1 as usize].lane(lane);
                    residual += term;
                    size += term.abs();
                }
                // A row of zeros holds by itself; NaN is the largest of all.
                let error = if residual == 0.0 { 0.0 } else { residual.abs() / size };
                largest = if error <= largest { largest } else { error };
            }
        }
        largest
    }

    fn solve(&mut self, a: &[L], b: &[L], square: &mut Vec<L>, x: &mut [L]) -> Result<(), usize> {
        let n = self.system.n;
        if n >= SPARSE_FROM {
            return self.solve_sparse(a, b, x);
        }
        square.clear();
        square.resize(n * n, L::splat(0.0));
        for (&(r, c), value) in self.tools.places.entries.iter().zip(a) {
            square[r as usize * n + c as usize] = *value;
        }
        dense::solve_first(self.lanes(), n, square, b, x)
    }

    fn solve_sparse(&mut self, a: &[L], b: &[L], x: &mut [L]) -> Result<(), usize> {
        let kept = self.tools.replay.is_some();
        for serves in [SERVES, SERVES_AT_LAST] {
            let replay = match self.tools.replay.take() {
                Some(replay) => replay,
                None => Replay::new(self.order(a)?),
            };
            let mut values = zeros(replay.order().slots + 9);
            for (&(r, c), value) in self.tools.places.entries.iter().zip(a) {
                if let Some(slot) = replay.order().slot(r as usize, c as usize) {
                    values[slot as usize] = *value;
                }
            }
            let mut right = b.to_vec();
            replay.solve(&mut values, &mut right, x);
            let error = self.backward_error(a, b, x);
            if error <= serves || (!kept && error <= SERVES_AT_LAST) {
                self.tools.replay = Some(replay);
                return Ok(());
            }
        }
        Err((0..self.system.n).find(|&k| !x[k].is_finite()).unwrap_or(0))
    }

    /// An order for these values (of the first lane).
    fn order(&self, a: &[L]) -> Result<Order, usize> {
        let n = self.system.n;
        let mut matrix: TriMatI<f64, u32> = TriMatI::new((n, n));
        for (&(r, c), value) in self.tools.places.entries.iter().zip(a) {
            matrix.add_triplet(r as usize, c as usize, value.lane(0));
        }
        let matrix: CsMatI<f64, u32> = matrix.to_csr();
        Order::choose(matrix, |_| false).map_err(|no| no.columns.first().copied().unwrap_or(0))
    }

    /// From a solution of the first lane to those of all; a lane that is there keeps its bits. False where a lane gets
    /// nowhere.
    pub(super) fn follow(&mut self, zeros: &[L], sources: &[L]) -> bool {
        let led = self.x.clone();
        if self.newton(0.0, zeros, sources, 0.0, f64::INFINITY).is_err() {
            return false;
        }
        for lane in 0..L::WIDTH {
            let near = |(x, led): (&L, &L)| {
                let (x, led) = (x.lane(lane), led.lane(lane));
                (x - led).abs() <= 1e-9 + 1e-9 * x.abs()
            };
            if self.x.iter().zip(&led).all(near) {
                self.x.iter_mut().zip(&led).for_each(|(x, led)| x.set_lane(lane, led.lane(lane)));
            }
        }
        true
    }

    /// Why unknown k still moves by this much.
    pub(super) fn cause_at(&self, k: usize, update: f64) -> Cause {
        match self.system.cause_at(&self.tools.devices, &self.x, k, update) {
            Cause::Unknown if update <= TOLD => Cause::Last,
            cause => cause,
        }
    }

    /// q(x).
    pub(super) fn charges(&self) -> Vec<L> {
        super::start::charges(self.system, &self.tools.devices, &self.x)
    }
}
