//! Newton's iteration of one implicit stage: α(q(x) − q̂) + f(x, t) = 0 with α = 1/(γh).
//!
//! The unknowns themselves are solved for, not their changes: linear rows then need no residual, and their part of
//! the right-hand side is carried through the outer pivots once per stage.

use std::sync::Arc;

use super::fallback::Full;
pub use super::tolerance::{StageError, Tolerance};
use crate::arithmetic::lane::Lane;
use crate::arithmetic::vector::{copy, padded, zeros};
use crate::circuit::law::{Device, stamp_len};
use crate::control::board::Board;
use crate::equations::order::GROWTH_LIMIT;
use crate::equations::program::Program;
use crate::equations::system::{Dissipator, System};

/// The constant part of the matrix for one α and one set of choices.
#[derive(Debug)]
struct Prepared<L> {
    alpha: f64,
    choices: Vec<usize>,
    a: Vec<L>,
    growth: f64,
}

/// How many prepared matrices are kept: the step lengths of a schedule times the states of the switches in use.
const KEPT: usize = 96;

/// Unknowns from number `inner` on that an order's inner pivots give.
fn beside(program: &Program, inner: usize) -> Vec<u32> {
    program.replay.order().inner_columns().filter(|&k| k as usize >= inner).collect()
}

/// Largest change at convergence of each inner unknown: the tolerance's, or a device's own; none for the padding.
fn limits<L: Lane>(system: &System<L>, voltage: f64) -> Vec<L> {
    let mut limits = vec![L::splat(f64::INFINITY); padded::<L>(system.inner)];
    limits[..system.inner].fill(L::splat(voltage));
    for (device, placed) in system.devices().iter().zip(&system.devices) {
        let least = L::splat(device.absolute_tolerance());
        placed.locals[placed.ports..].iter().for_each(|&k| limits[k as usize] = least);
    }
    limits
}

/// Scratch for solving stages; may be thrown away at any time.
#[derive(Debug)]
pub struct StageSolver<L: Lane> {
    pub(super) system: Arc<System<L>>,
    pub(super) program: Program,
    pub(super) devices: Vec<Box<dyn Device<L>>>,
    /// How many entries of a vector the inner unknowns take, padded.
    pub(super) inner: usize,
    /// Unknowns beyond them that the iteration solves for, too.
    beside: Vec<u32>,
    /// Largest change at convergence of each inner unknown, absolute; without bound in the padding.
    pub(super) limits: Vec<L>,
    pub(super) relative: L,
    pub(super) iterations: u32,
    prepared: Vec<Prepared<L>>,
    current: usize,
    current_version: u64,
    next_victim: usize,
    pub(super) a: Vec<L>,
    pub(super) b: Vec<L>,
    pub(super) stage_b: Vec<L>,
    pub(super) fresh: Vec<L>,
    /// One stamp per device.
    pub(super) stamps: Vec<Vec<L>>,
    /// Value of each source term at the start of the step, and its change over it.
    courses: Vec<(L, L)>,
    /// Whether some course is not straight.
    bent: bool,
    /// Value of each source term at the stage.
    pub(super) source_values: Vec<L>,
    /// The dense inner block, where the fixed order was given up.
    pub(super) full: Option<Full<L>>,
    /// Lanes that had no solution when an iteration failed last.
    pub(crate) unsettled: Vec<usize>,
    /// α and choices for which `a` holds the factors of the last iteration, whose stamps are still kept.
    factored: Option<(f64, u64)>,
    /// The solution; on entry of [`StageSolver::solve`] the prediction.
    pub x: Vec<L>,
}

impl<L: Lane> StageSolver<L> {
    /// For a system under a compiled order; devices at their circuit's temperature.
    pub fn new(system: Arc<System<L>>, program: Program, tolerance: Tolerance) -> Self {
        let n = system.n;
        let zero = L::splat(0.0);
        let limits = limits(&system, tolerance.voltage);
        Self {
            beside: beside(&program, padded::<L>(system.inner)),
            devices: system.devices(),
            inner: padded::<L>(system.inner),
            limits,
            relative: L::splat(tolerance.relative),
            iterations: tolerance.iterations,
            prepared: Vec::new(),
            current: 0,
            current_version: u64::MAX,
            factored: None,
            full: None,
            unsettled: Vec::new(),
            courses: vec![(zero, zero); system.sources.len()],
            bent: false,
            source_values: vec![zero; system.sources.len()],
            next_victim: 0,
            a: zeros(program.replay.order().inner_slots + 1),
            b: zeros(n + 1),
            stage_b: zeros(n + 1),
            fresh: zeros(n + 1),
            stamps: system.devices.iter().map(|d| vec![zero; stamp_len(d.locals.len())]).collect(),
            x: zeros(n + 1),
            program,
            system,
        }
    }

    /// Newton's iteration ends by this from now on.
    pub(crate) fn tolerate(&mut self, tolerance: Tolerance) {
        self.limits = limits(&self.system, tolerance.voltage);
        (self.relative, self.iterations) = (L::splat(tolerance.relative), tolerance.iterations);
    }

    /// The elimination order in use.
    pub fn order(&self) -> &crate::equations::order::Order {
        self.program.replay.order()
    }

    /// Takes another elimination order.
    pub(super) fn take_program(&mut self, program: Program) {
        self.a = zeros(program.replay.order().inner_slots + 1);
        self.beside = beside(&program, self.inner);
        self.program = program;
        self.prepared.clear();
        self.current_version = u64::MAX;
        self.forget_factors();
        if self.is_dense() {
            self.go_dense(true);
        }
    }

    /// The factors and stamps kept serve for no prediction.
    pub(super) fn forget_factors(&mut self) {
        self.factored = None;
    }

    /// Makes the matrix for this α and these choices the current one; returns its element growth.
    pub fn prepare(&mut self, alpha: f64, board: &Board<L>) -> f64 {
        if let Some(p) = self.prepared.get(self.current)
            && p.alpha == alpha
            && self.current_version == board.version()
        {
            return p.growth;
        }
        self.current_version = board.version();
        let choices = board.choices();
        let fits = |p: &Prepared<L>| p.alpha == alpha && p.choices == choices;
        if let Some(k) = self.prepared.iter().position(fits) {
            self.current = k;
            return self.prepared[k].growth;
        }
        let (mut a, mut growth) = self.program.prepare(&self.system, L::splat(alpha), choices);
        let bad = |growth: f64| growth.is_nan() || growth > GROWTH_LIMIT;
        if bad(growth) && self.reorder(alpha, board) {
            // The order was chosen on other values; on these it loses digits.
            self.current_version = board.version();
            (a, growth) = self.program.prepare(&self.system, L::splat(alpha), choices);
        }
        let made = Prepared { alpha, choices: choices.to_vec(), a, growth };
        if self.prepared.len() < KEPT {
            self.prepared.push(made);
            self.current = self.prepared.len() - 1;
        } else {
            self.current = self.next_victim;
            self.prepared[self.current] = made;
            self.next_victim = (self.next_victim + 1) % KEPT;
        }
        growth
    }

    /// Looks the prepared matrix up anew before the next step: the board may be another one.
    pub(super) fn look_up_again(&mut self) {
        self.current_version = u64::MAX;
    }

    /// Takes the courses of the sources over a step from `begin` to `end`, s. Steps end at corners, so that a course
    /// is straight within, or a sine.
    pub(super) fn span(&mut self, begin: f64, end: f64, board: &Board<L>) {
        self.bent = false;
        for (ends, &(_, wave, gain)) in self.courses.iter_mut().zip(&self.system.sources) {
            let course = &self.system.circuit.waves[wave.0 as usize];
            self.bent |= !course.is_straight();
            let first = gain * board.course_after(course, wave, begin);
            *ends = (first, gain * board.course(course, wave, end) - first);
        }
    }

    /// Value of each source term at t, the fraction `c` of the span.
    #[inline(always)]
    pub(super) fn take_sources(&mut self, t: f64, c: f64) {
        for (value, (begin, change)) in self.source_values.iter_mut().zip(&self.courses) {
            *value = *begin + *change * L::splat(c);
        }
        if self.bent {
            for (value, &(_, wave, gain)) in self.source_values.iter_mut().zip(&self.system.sources) {
                let course = &self.system.circuit.waves[wave.0 as usize];
                if !course.is_straight() {
                    *value = gain * if c == 0.0 { course.at(t) } else { course.until(t) };
                }
            }
        }
    }

    /// Solves the stage at t, s, which is the fraction `c` of the span taken. `stage_b` must hold α·q̂; the matrix must
    /// be prepared; `x` holds a prediction of the inner unknowns. Returns the number of iterations.
    ///
    /// # Errors
    /// When the iteration does not converge or leaves the numbers.
    pub fn solve(&mut self, t: f64, c: f64) -> Result<u32, StageError> {
        self.take_sources(t, c);
        for (value, &(row, _, _)) in self.source_values.iter().zip(&self.system.sources) {
            self.stage_b[row as usize] -= *value;
        }
        let ground = self.system.n;
        self.stage_b[ground] = L::splat(0.0);
        self.program.replay.forward_outer(&self.prepared[self.current].a, &mut self.stage_b);
        if self.remembers() {
            self.extrapolate();
        }
        self.factored = None;
        let mut worst = (0usize, f64::NAN);
        let most = self.most_iterations();
        for iteration in 1..=most {
            self.evaluate();
            self.eliminate();
            let moves = self.moves() && !self.rests(iteration);
            if moves && iteration == most {
                worst = self.largest_change();
                self.unsettled = (0..L::WIDTH).filter(|&lane| self.lane_moves(lane)).collect();
            }
            self.damp(moves, iteration);
            copy(&mut self.x[..self.inner], &self.fresh[..self.inner]);
            if !moves {
                for &k in &self.beside {
                    self.x[k as usize] = self.fresh[k as usize];
                }
                let prepared = &self.prepared[self.current];
                self.program.replay.back_outer(&prepared.a, &self.stage_b, &mut self.x);
                self.factored = self.full.is_none().then_some((prepared.alpha, self.current_version));
                return Ok(iteration);
            }
        }
        let not_finite = (0..self.system.inner).find(|&k| !self.x[k].is_finite());
        Err(not_finite.map_or(StageError::Moving(worst.0, worst.1), StageError::NotFinite))
    }

    /// Whether the factors and stamps of the last stage serve for predicting the next.
    #[inline(always)]
    pub(super) fn remembers(&self) -> bool {
        self.factored == Some((self.prepared[self.current].alpha, self.current_version))
    }

    /// Predicts the inner unknowns: the circuit as it was linearised in the last stage, solved for this one. Where the
    /// devices are nearly linear (a ringing that dies away) one true iteration then is enough.
    fn extrapolate(&mut self) {
        let alpha = L::splat(self.prepared[self.current].alpha);
        copy(&mut self.b, &self.stage_b);
        let locations = self.program.locations(&self.system.devices);
        for ((device, location), stamp) in self.devices.iter().zip(locations).zip(&self.stamps) {
            device.restamp(&location, alpha, stamp, &mut self.b);
        }
        self.program.replay.forward_inner(&self.a, &mut self.b);
        self.program.replay.back_inner(&self.a, &self.b, &mut self.x);
    }

    /// First half of an iteration: the constant part of the matrix and of the right-hand side, and every device's stamp
    /// at `x`.
    #[inline(always)]
    pub fn evaluate(&mut self) {
        let prepared = &self.prepared[self.current];
        let alpha = L::splat(prepared.alpha);
        // What follows the inner slots in the prepared values comes along and is nobody's: ground's spare slot.
        let inner = self.a.len();
        copy(&mut self.a, &prepared.a[..inner]);
        copy(&mut self.b, &self.stage_b);
        let locations = self.program.locations(&self.system.devices);
        for ((device, location), stamp) in self.devices.iter().zip(locations).zip(&mut self.stamps) {
            device.stamp(&location, alpha, &self.x, stamp, &mut self.a, &mut self.b);
        }
    }

    /// Second half: factor and solve.
    #[inline(always)]
    pub fn eliminate(&mut self) {
        if self.full.is_some() {
            self.eliminate_full();
            return;
        }
        self.program.replay.factor_and_solve_inner(&mut self.a, &mut self.b, &mut self.fresh);
    }

    /// Whether some inner unknown of some lane still changes by more than its limit. NaN counts as moving.
    #[inline(always)]
    fn moves(&self) -> bool {
        let (fresh, x) = (&self.fresh[..self.inner], &self.x[..self.inner]);
        let rests = |fresh: L, x: L, limit: L| (fresh - x).abs().le(limit + self.relative * fresh.abs());
        if L::WIDTH > 1 {
            return !fresh.iter().zip(x).zip(&self.limits).all(|((f, x), l)| L::all(rests(*f, *x, *l)));
        }
        let mut within = true;
        for ((fresh, x), limit) in
            fresh.as_chunks::<8>().0.iter().zip(x.as_chunks::<8>().0).zip(self.limits.as_chunks::<8>().0)
        {
            for k in 0..8 {
                within &= L::all(rests(fresh[k], x[k], limit[k]));
            }
        }
        !within
    }

    fn lane_moves(&self, lane: usize) -> bool {
        (0..self.system.inner).any(|k| {
            let fresh = self.fresh[k].lane(lane);
            let limit = self.limits[k].lane(lane) + self.relative.lane(lane) * fresh.abs();
            let change = (fresh - self.x[k].lane(lane)).abs();
            change > limit || change.is_nan()
        })
    }

    fn largest_change(&self) -> (usize, f64) {
        let change = |k: &usize| (self.fresh[*k] - self.x[*k]).abs().widest();
        let worst = (0..self.system.inner).max_by(|a, b| change(a).total_cmp(&change(b)));
        worst.map_or((0, f64::NAN), |k| (k, change(&k)))
    }

    /// After [`StageSolver::solve`]: the charges of every row into `q`, and the power of every account into `power`,
    /// where it `counts`.
    pub(super) fn account(&mut self, q: &mut [L], power: &mut [L], counts: bool) {
        let system = &self.system;
        let zero = L::splat(0.0);
        q.fill(zero);
        for &(r, c, x) in &system.c {
            q[r as usize] += x * self.x[c as usize];
        }
        let (devices, rest) = power.split_at_mut(system.devices.len());
        let locations = self.program.locations(&system.devices);
        for (((device, location), stamp), power) in
            self.devices.iter().zip(locations).zip(&mut self.stamps).zip(devices)
        {
            *power = device.commit(&location, &self.x, stamp, q);
        }
        if !counts {
            return;
        }
        let (heat, sources) = rest.split_at_mut(system.dissipators.len());
        let choices = &self.prepared[self.current].choices;
        for (p, (_, dissipator)) in heat.iter_mut().zip(&system.dissipators) {
            *p = match *dissipator {
                Dissipator::Across(a, b, g) => {
                    let v = self.x[a as usize] - self.x[b as usize];
                    g * v * v
                }
                Dissipator::Chosen(a, b, choice) => {
                    let v = self.x[a as usize] - self.x[b as usize];
                    let k = choice.0 as usize;
                    system.circuit.choices[k].options[choices[k]] * v * v
                }
                Dissipator::Product(a, b, w) => w * self.x[a as usize] * self.x[b as usize],
            };
        }
        for ((p, &(row, _, _)), value) in sources.iter_mut().zip(&system.sources).zip(&self.source_values) {
            *p = self.x[row as usize] * *value;
        }
    }

    /// Solves for a change of the unknowns with the last factored matrix: `stage_b` in, `x`-like vector out.
    pub(super) fn resolve(&mut self, out: &mut [L]) {
        let prepared = &self.prepared[self.current];
        self.program.replay.forward_outer(&prepared.a, &mut self.stage_b);
        if self.full.is_some() {
            self.resolve_full(out);
        } else {
            self.program.replay.forward_inner(&self.a, &mut self.stage_b);
            self.program.replay.back_inner(&self.a, &self.stage_b, out);
        }
        let prepared = &self.prepared[self.current];
        self.program.replay.back_outer(&prepared.a, &self.stage_b, out);
    }

    /// Moves the devices that have a heat input to their temperature, K (one per device).
    pub fn set_temperatures(&mut self, kelvin: &[L]) {
        for ((device, placed), t) in self.devices.iter_mut().zip(&self.system.devices).zip(kelvin) {
            if self.system.heat_of(placed).is_some() {
                device.set_temperature(*t);
            }
        }
    }
}
