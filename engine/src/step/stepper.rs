//! One step of a method: stages, derivatives, energies, and the estimate of the local error. Every lane makes a step of
//! its own length at an instant of its own.

use std::sync::Arc;

pub use super::attempt::Attempt;
pub(crate) use super::attempt::Span;
use super::balance::halves;
use super::bounds::{Bounds, Gauge};
use super::method::Method;
use super::pieces::Pieces;
use super::predict::{Recipes, Weights};
use super::rosenbrock::Stages;
use super::stage::{StageError, StageSolver, Tolerance};
use super::state::State;
use crate::arithmetic::lane::{Lane, MOST_LANES, lanes_in};
use crate::arithmetic::vector::{combine, copy, update, weighted, zeros};
use crate::equations::program::Program;
use crate::equations::system::System;
use crate::readout::{Readout, Seat};

/// A stage that takes so many iterations has met a device in change (a diode that turns off between two stages, say).
/// The estimate of the local error can miss that, because the last stages hardly differ between the method and its
/// companion: REF-1's turn-on energy was wrong by 0.4 % whatever the bound, and is within 1e-5 with this rule.
const HARD: u32 = 3;
/// Most stages of a method.
pub(super) const MOST: usize = 8;
/// Most points that a stage is predicted from.
const PREDICTED: usize = 3;

#[inline(always)]
pub(super) fn block<L: Lane>(v: &[L], n: usize) -> [L; 8] {
    v.as_chunks::<8>().0[n]
}

/// What a stepper knows of the past besides the state: the stamps at its end, the largest values so far, and prediction
/// weights.
#[derive(Clone, Debug)]
pub struct Memory<L> {
    stamps: Vec<Vec<L>>,
    recipes: Recipes,
    largest: Vec<L>,
}

/// Carries a state from step to step. Holds scratch only.
#[derive(Debug)]
pub struct Stepper<L: Lane> {
    /// The stages' solver.
    pub solver: StageSolver<L>,
    /// The method.
    pub method: &'static Method,
    /// Derivative of each stage.
    pub(super) k: Vec<Vec<L>>,
    pub(super) expected: Vec<L>,
    pub(super) q: Vec<L>,
    /// Powers of each stage.
    pub(super) power: Vec<Vec<L>>,
    pub(super) error: Vec<L>,
    pub(super) gauge: Gauge<L>,
    pub(super) h: L,
    /// What accounts and integrals gain over the step, J.
    pub(super) gain: Vec<L>,
    /// A half for every row with energy.
    pub(super) halves: Vec<L>,
    /// Factor of the bounds of the local error.
    pub(crate) coarser: L,
    /// The implicit stages of this step so far: instants (s, where there is one lane) and inner unknowns.
    points: Vec<(f64, Vec<L>)>,
    known: usize,
    pub(super) end: f64,
    pub(crate) recipes: Recipes,
    pub(crate) weights: Weights<L>,
    /// What came of the last attempt in each lane.
    pub(crate) outcomes: [Result<Attempt, StageError>; MOST_LANES],
    /// Products integrated beside the accounts.
    pub(crate) integrals: Vec<(Readout<L>, Readout<L>)>,
    /// Where the circuit is stepped by pieces: these.
    pub(super) pieces: Option<Pieces<L>>,
    /// Where the method is linearly implicit: its stages.
    pub(super) rosenbrock: Option<Box<Stages<L>>>,
    /// A step of this length, s, or a shorter one, at which a linearly implicit method diverges is made by the implicit
    /// one.
    pub(crate) finest: L,
}

impl<L: Lane> Stepper<L> {
    /// For a system under a compiled order.
    pub fn new(
        system: Arc<System<L>>,
        program: Program,
        method: &'static Method,
        tolerance: Tolerance,
        bounds: Bounds,
        integrals: Vec<(Readout<L>, Readout<L>)>,
    ) -> Self {
        let zero = L::splat(0.0);
        let (n, accounts) = (system.n, system.accounts() + integrals.len());
        let solver = StageSolver::new(system, program, tolerance);
        let inner = solver.inner;
        let gauge = Gauge::new(&solver.system, &bounds);
        Self {
            method,
            k: vec![zeros(n + 1); method.stages()],
            expected: zeros(n + 1),
            q: zeros(n + 1),
            power: vec![zeros(accounts); method.stages()],
            error: zeros(n + 1),
            gauge,
            h: zero,
            gain: zeros(accounts),
            halves: halves(&solver.system),
            coarser: L::splat(bounds.coarser),
            points: (1..method.stages()).map(|_| (0.0, vec![zero; inner])).collect(),
            known: 0,
            end: 0.0,
            recipes: Recipes::default(),
            weights: Weights::new(method),
            outcomes: [Err(StageError::NotFinite(0)); MOST_LANES],
            integrals,
            pieces: None,
            rosenbrock: method.rosenbrock.map(|table| Box::new(Stages::new(table, &solver, accounts))),
            finest: zero,
            solver,
        }
    }

    /// The system stepped.
    pub fn system(&self) -> &Arc<System<L>> {
        &self.solver.system
    }

    /// Predicts the inner unknowns of implicit stage `i` in some lanes: by the method's choice of earlier points, or
    /// (where there is no earlier step) by the last known point.
    fn predict(&mut self, history: &[(f64, Vec<L>)], i: usize, lanes: u32) {
        let inner = self.solver.inner;
        let x = &mut self.solver.x[..inner];
        let (weights, from) = (&self.weights.of[i - 1], self.method.predict[i - 1]);
        let (points, stages) = (&self.points, history.len());
        let point = |p: usize| if p < stages { &history[p].1 } else { &points[p - stages].1 };
        let last = point(stages + self.known - 1);
        if L::WIDTH > 1 {
            let (lanes, known) = (L::mask(lanes), L::mask(self.weights.known));
            let mut terms = [(L::splat(0.0), &last[..inner]); PREDICTED];
            let count = weights.len().min(PREDICTED);
            for (term, (w, &p)) in terms.iter_mut().zip(weights.iter().zip(from)) {
                *term = (*w, &point(p as usize)[..inner]);
            }
            for (k, x) in x.iter_mut().enumerate() {
                let sum = terms[..count].iter().fold(L::splat(0.0), |sum, (w, point)| sum + point[k] * *w);
                *x = L::select(lanes, L::select(known, sum, last[k]), *x);
            }
            return;
        }
        if self.weights.known == 0 {
            copy(x, last);
            return;
        }
        x.fill(L::splat(0.0));
        for (w, &p) in weights.iter().zip(from) {
            update(x, point(p as usize), |x, point| x + point * *w);
        }
    }

    fn remember(&mut self, t: f64) {
        let (at, point) = &mut self.points[self.known];
        *at = t;
        copy(point, &self.solver.x[..self.solver.inner]);
        self.known += 1;
    }

    /// Tries the steps `spans` of the lanes `going` from `state`, with prepared matrices and weights. Nothing of the
    /// state changes; [`Stepper::commit_lanes`] takes the result. `outcomes` has what came of it.
    pub(crate) fn attempt_lanes(
        &mut self,
        state: &State<L>,
        spans: &[Span],
        seats: &mut [Seat<'_>],
        going: u32,
    ) {
        for lane in lanes_in(going) {
            self.solver.span(lane, (spans[lane].begin, spans[lane].end), &seats[lane]);
        }
        self.end = spans[0].end;
        self.h = L::from_fn(|lane| spans[lane].h);
        if let Some(mut stages) = self.rosenbrock.take() {
            self.attempt_linearly(&mut stages, state, spans, seats, going);
            self.rosenbrock = Some(stages);
            let balance = self.straight_balance(state);
            for (lane, outcome) in self.outcomes.iter_mut().enumerate().take(L::WIDTH) {
                let Ok(attempt) = outcome else { continue };
                attempt.residual = balance.lane(lane);
            }
            return;
        }
        copy(&mut self.k[0], &state.k);
        copy(&mut self.power[0], &state.power);
        self.attempt_implicitly(state, spans, seats, going);
    }

    /// The stages of the implicit method, from the derivatives and powers of the first one.
    pub(super) fn attempt_implicitly(
        &mut self,
        state: &State<L>,
        spans: &[Span],
        seats: &mut [Seat<'_>],
        mut going: u32,
    ) {
        let method = self.method;
        let (h, alpha) = (self.h, self.solver.prepared[self.solver.current].alpha);
        self.known = 0;
        let (mut iterations, mut most) = ([0; MOST_LANES], [0; MOST_LANES]);
        for i in 1..method.stages() {
            let c = method.c[i];
            self.at(c, spans, seats);
            let scaled: [L; MOST] =
                std::array::from_fn(|j| L::splat(method.a[i].get(j).copied().unwrap_or(0.0)) * h);
            if L::WIDTH > 1 {
                let n = self.expected.len();
                let (expected, b) = (&mut self.expected[..n], &mut self.solver.stage_b[..n]);
                let q = &state.q[..n];
                weighted(
                    &self.k[..i],
                    &scaled,
                    |m| q[m],
                    |m, sum| {
                        expected[m] = sum;
                        b[m] = sum * alpha;
                    },
                );
            } else {
                for n in 0..self.expected.as_chunks::<8>().0.len() {
                    let mut sum = block(&state.q, n);
                    for (w, k) in scaled[..i].iter().zip(&self.k) {
                        let k = block(k, n);
                        sum = std::array::from_fn(|m| sum[m] + *w * k[m]);
                    }
                    self.expected.as_chunks_mut::<8>().0[n] = sum;
                    self.solver.stage_b.as_chunks_mut::<8>().0[n] = sum.map(|s| s * alpha);
                }
            }
            let blank = going & !self.solver.remembering();
            if blank != 0 {
                self.predict(&state.history, i, blank);
            }
            let solved = self.solver.solve_lanes(c, seats, going);
            lanes_in(going & !solved).for_each(|lane| self.outcomes[lane] = Err(self.solver.failures[lane]));
            going = solved;
            if going == 0 {
                return;
            }
            for lane in lanes_in(going) {
                iterations[lane] += self.solver.took[lane];
                most[lane] = self.solver.took[lane].max(most[lane]);
            }
            self.remember(spans[0].instant(c));
            let counts = method.b()[i] != 0.0;
            self.solver.account(&mut self.q, &mut self.power[i], counts);
            if counts {
                self.multiply(i, seats);
            }
            combine(&mut self.k[i], &self.q, &self.expected, |q, e| (q - e) * alpha);
        }
        let errors = self.error_ratio(alpha * h);
        self.take_gain();
        let balance = self.straight_balance(state);
        for lane in lanes_in(going) {
            let error = errors.lane(lane);
            self.outcomes[lane] = if error.is_finite() {
                Ok(Attempt {
                    iterations: iterations[lane],
                    error,
                    hard: most[lane] >= HARD,
                    residual: balance.lane(lane),
                    ..Attempt::default()
                })
            } else {
                // No step to take at any length: what it left would be reported as extremes and energies.
                let lost = |k: &usize| !self.error[*k].lane(lane).is_finite();
                Err(StageError::NotFinite((0..self.solver.system.n).find(lost).unwrap_or(0)))
            };
        }
    }

    /// The seats are at the fraction `c` of the spans, where somebody reads that.
    #[inline(always)]
    pub(super) fn at(&self, c: f64, spans: &[Span], seats: &mut [Seat<'_>]) {
        if self.solver.bent != 0 || !self.integrals.is_empty() {
            seats.iter_mut().zip(spans).for_each(|(seat, span)| seat.t = span.instant(c));
        }
    }

    /// Stamps of the devices at the end of the last committed step.
    pub fn stamps(&self) -> &[Vec<L>] {
        &self.solver.stamps
    }

    /// What has to be kept beside a state, so that steps from it have the same bits.
    pub fn memory(&self) -> Memory<L> {
        Memory {
            stamps: self.solver.stamps.clone(),
            recipes: self.recipes.clone(),
            largest: self.gauge.largest().to_vec(),
        }
    }

    /// Takes up again what was kept. Choices may have changed in any way since.
    pub fn restore(&mut self, memory: Memory<L>) {
        self.solver.stamps = memory.stamps;
        self.recipes = memory.recipes;
        self.gauge.restore(memory.largest);
        self.solver.stamped = false;
        self.solver.look_up_again();
        if let Some(pieces) = &mut self.pieces {
            pieces.look_up_again();
        }
    }

    /// Takes the attempted steps of some lanes as done. Others keep their state; where there is none to be kept, what
    /// free lanes have is nobody's.
    pub(crate) fn commit_lanes(&mut self, state: &mut State<L>, taken: u32, kept: u32) {
        if let Some(mut stages) = self.rosenbrock.take() {
            self.commit_linearly(&mut stages, state, taken, kept);
            self.rosenbrock = Some(stages);
            return;
        }
        if kept == 0 {
            copy(&mut state.x, &self.solver.x);
            self.gauge.see(&state.x, taken);
            std::mem::swap(&mut state.q, &mut self.q);
            let last = self.k.len() - 1;
            std::mem::swap(&mut state.k, &mut self.k[last]);
            update(&mut state.energy, &self.gain, |total, gain| total + gain);
            std::mem::swap(&mut state.power, &mut self.power[last]);
        } else {
            self.commit_masked(state, taken);
        }
        let ground = self.solver.system.n;
        state.q[ground] = L::splat(0.0);
        state.k[ground] = L::splat(0.0);
        // The start of this step and its stages.
        let (history, stages) = (&mut state.history, self.method.stages());
        let last = history.len() - 1;
        if kept == 0 {
            history.swap(0, last);
            history.resize_with(stages, || (0.0, vec![L::splat(0.0); self.solver.inner]));
            history[1..].iter_mut().zip(&mut self.points).for_each(|(old, new)| std::mem::swap(old, new));
            return;
        }
        let mask = L::mask(taken);
        let take = |old: &mut [L], new: &[L]| update(old, new, |old, new| L::select(mask, new, old));
        let (first, rest) = history.split_at_mut(1);
        take(&mut first[0].1, &rest[last - 1].1);
        rest.iter_mut().zip(&self.points).for_each(|(old, new)| take(&mut old.1, &new.1));
    }

    fn commit_masked(&mut self, state: &mut State<L>, taken: u32) {
        let mask = L::mask(taken);
        let take = |old: &mut [L], new: &[L]| update(old, new, |old, new| L::select(mask, new, old));
        take(&mut state.x, &self.solver.x);
        self.gauge.see(&state.x, taken);
        take(&mut state.q, &self.q);
        let last = self.k.len() - 1;
        take(&mut state.k, &self.k[last]);
        update(&mut state.energy, &self.gain, |total, gain| L::select(mask, total + gain, total));
        take(&mut state.power, &self.power[last]);
    }

    /// The past is forgotten: bounds that follow the largest values begin with these.
    pub(crate) fn gauge_from(&mut self, x: &[L]) {
        self.gauge.begin(x);
    }

    /// Bounds that follow the largest values see these, which a jump has reached.
    pub(crate) fn gauge_sees(&mut self, x: &[L]) {
        self.gauge.see(x, u32::MAX);
    }

    /// Begins a new course of predictions: only the present values are known (after a corner, a jump, a new state).
    pub fn forget(&self, state: &mut State<L>) {
        let point = state.x[..self.solver.inner].to_vec();
        state.history.clear();
        state.history.push((state.t, point));
    }
}
