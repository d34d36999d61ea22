//! One step of a method: stages, derivatives, energies, and the estimate of the local error.

use std::sync::Arc;

use super::bounds::{Bounds, Gauge};
use super::method::Method;
use super::pieces::Pieces;
use super::stage::{StageError, StageSolver, Tolerance};
use super::state::State;
use crate::arithmetic::lane::Lane;
use crate::arithmetic::vector::{combine, copy, update, zeros};
use crate::control::board::Board;
use crate::equations::program::Program;
use crate::equations::system::System;
use crate::readout::{Readout, Sources};

/// What one attempted step cost and how smooth it was.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Attempt {
    /// Newton iterations of all stages.
    pub iterations: u32,
    /// Estimated local error over its bound; the largest of all unknowns and lanes.
    pub error: f64,
    /// Whether some stage met a device in change.
    pub hard: bool,
}

impl Attempt {
    /// The error over its bound, but for a device in change at least what takes the step back.
    pub fn error_ratio(&self) -> f64 {
        if self.hard { self.error.max(EVENT) } else { self.error }
    }
}

/// Prediction weights of every implicit stage, for one ratio of the step to the last one.
#[derive(Clone, Debug)]
struct Recipe {
    /// Length of the last step in steps.
    last: f64,
    weights: Vec<Vec<f64>>,
}

/// A stage that takes so many iterations has met a device in change (a diode that turns off between two stages, say).
/// The estimate of the local error can miss that, because the last stages hardly differ between the method and its
/// companion: REF-1's turn-on energy was wrong by 0.4 % whatever the bound, and is within 1e-5 with this rule.
const HARD: u32 = 3;
/// The error ratio it is given: enough for the step to be taken back and made finer.
const EVENT: f64 = 3.0;

/// Most stages of a method.
pub(super) const MOST: usize = 8;

#[inline(always)]
pub(super) fn block<L: Lane>(v: &[L], n: usize) -> [L; 8] {
    v.as_chunks::<8>().0[n]
}

/// What a stepper knows of the past besides the state: the stamps at its end, the largest values so far, and prediction
/// weights (a step takes those of a ratio that is equal but for rounding, so their bits depend on what came before).
#[derive(Clone, Debug)]
pub struct Memory<L> {
    stamps: Vec<Vec<L>>,
    recipes: Vec<Recipe>,
    largest: Vec<L>,
}

/// How many recipes are kept.
const RECIPES: usize = 24;

/// Weights of the polynomial through values at some instants, at t (Lagrange).
fn lagrange(times: &[f64], t: f64) -> Vec<f64> {
    let weight = |(j, tj): (usize, &f64)| {
        let others = times.iter().enumerate().filter(|(i, _)| *i != j);
        others.map(|(_, ti)| (t - ti) / (tj - ti)).product()
    };
    times.iter().enumerate().map(weight).collect()
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
    pub(super) h: f64,
    /// Earlier points of the state, then the stages of this step: instants and inner unknowns.
    points: Vec<(f64, Vec<L>)>,
    known: usize,
    end: f64,
    recipes: Vec<Recipe>,
    recipe: Option<usize>,
    /// Products integrated beside the accounts.
    pub(super) integrals: Vec<(Readout<L>, Readout<L>)>,
    /// Where the circuit is stepped by pieces: these.
    pub(super) pieces: Option<Pieces<L>>,
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
            h: 0.0,
            points: (0..2 * method.stages()).map(|_| (0.0, vec![zero; inner])).collect(),
            known: 0,
            end: 0.0,
            recipes: Vec::with_capacity(RECIPES),
            recipe: None,
            integrals,
            pieces: None,
            solver,
        }
    }

    /// The system stepped.
    pub fn system(&self) -> &Arc<System<L>> {
        &self.solver.system
    }

    /// Finds the prediction weights that fit the ratio of the last step to this one; few ratios recur (the same, the
    /// doubled, the halved step).
    fn choose_weights(&mut self, history: &[(f64, Vec<L>)], h: f64) {
        self.recipe = None;
        let stages = self.method.stages();
        if history.len() < stages {
            return;
        }
        let last = (history[stages - 1].0 - history[0].0) / h;
        let known = self.recipes.iter().position(|r| (r.last - last).abs() <= 1e-7 * last);
        self.recipe = known.or_else(|| {
            if self.recipes.len() == RECIPES {
                self.recipes.clear();
            }
            let c = self.method.c;
            let instant = |k: &u8| {
                let k = usize::from(*k);
                if k < stages { (c[k] - 1.0) * last } else { c[k - stages + 1] }
            };
            let weights = self.method.predict.iter().zip(&c[1..]).map(|(from, &t)| {
                let times: Vec<f64> = from.iter().map(instant).collect();
                lagrange(&times, t)
            });
            self.recipes.push(Recipe { last, weights: weights.collect() });
            Some(self.recipes.len() - 1)
        });
    }

    /// Predicts the inner unknowns of implicit stage `i`: by the method's choice of earlier points, or (when there is
    /// no earlier step) by the last known point.
    fn predict(&mut self, i: usize) {
        let inner = self.solver.inner;
        let x = &mut self.solver.x[..inner];
        let Some(recipe) = self.recipe else {
            copy(x, &self.points[self.known - 1].1);
            return;
        };
        let weights = &self.recipes[recipe].weights[i - 1];
        x.fill(L::splat(0.0));
        for (w, &p) in weights.iter().zip(self.method.predict[i - 1]) {
            let w = L::splat(*w);
            update(x, &self.points[p as usize].1, |x, point| x + point * w);
        }
    }

    fn remember(&mut self, t: f64) {
        let (at, point) = &mut self.points[self.known];
        *at = t;
        copy(point, &self.solver.x[..self.solver.inner]);
        self.known += 1;
    }

    /// Tries the step of length `h` from `state` to `end`, s (which differ by rounding only). Nothing of the state
    /// changes; [`Stepper::commit`] takes the result.
    ///
    /// # Errors
    /// When a stage does not converge.
    pub fn attempt(
        &mut self,
        state: &State<L>,
        end: f64,
        h: f64,
        board: &Board<L>,
    ) -> Result<Attempt, StageError> {
        let method = self.method;
        let alpha = 1.0 / (method.gamma * h);
        self.solver.prepare(alpha, board);
        self.solver.span(state.t, end, board);
        self.choose_weights(&state.history, h);
        self.end = end;
        self.h = h;
        self.known = 0;
        for (t, point) in &state.history {
            self.points[self.known].0 = *t;
            copy(&mut self.points[self.known].1, point);
            self.known += 1;
        }
        copy(&mut self.k[0], &state.k);
        copy(&mut self.power[0], &state.power);
        let (mut iterations, mut most) = (0, 0);
        for i in 1..method.stages() {
            let t = if method.c[i] == 1.0 { end } else { state.t + method.c[i] * h };
            let alpha = L::splat(alpha);
            let scaled: [L; MOST] =
                std::array::from_fn(|j| L::splat(method.a[i].get(j).copied().unwrap_or(0.0) * h));
            if L::WIDTH > 1 {
                copy(&mut self.expected, &state.q);
                for (w, k) in scaled[..i].iter().zip(&self.k) {
                    update(&mut self.expected, k, |sum, k| sum + *w * k);
                }
                copy(&mut self.solver.stage_b, &self.expected);
                self.solver.stage_b.iter_mut().for_each(|b| *b *= alpha);
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
            if !self.solver.remembers() {
                self.predict(i);
            }
            let took = self.solver.solve(t, method.c[i])?;
            iterations += took;
            most = most.max(took);
            self.remember(t);
            let counts = method.b()[i] != 0.0;
            self.solver.account(&mut self.q, &mut self.power[i], counts);
            if counts {
                self.multiply(i, t, board);
            }
            combine(&mut self.k[i], &self.q, &self.expected, |q, e| (q - e) * alpha);
        }
        let error = self.error_ratio(L::splat(alpha * h));
        if !error.is_finite() {
            // No step to take at any length: what it left would be reported as extremes and energies.
            let lost = |k: &usize| !self.error[*k].is_finite();
            let k = (0..self.solver.system.n).find(lost).unwrap_or(0);
            let lane_lost = |lane: &usize| !self.error[k].lane(*lane).is_finite();
            self.solver.unsettled = (0..L::WIDTH).filter(lane_lost).collect();
            return Err(StageError::NotFinite(k));
        }
        Ok(Attempt { iterations, error, hard: most >= HARD })
    }

    /// The products under the integrals, at the present stage.
    pub(super) fn multiply(&mut self, i: usize, t: f64, board: &Board<L>) {
        if self.integrals.is_empty() {
            return;
        }
        let accounts = self.solver.system.accounts();
        let (power, products) = self.power[i].split_at_mut(accounts);
        let from = Sources {
            t,
            x: &self.solver.x,
            power,
            stamps: &self.solver.stamps,
            board,
            choices: board.choices(),
            celsius: &[],
            energy: &[],
            integrals: &[],
        };
        for (product, (a, b)) in products.iter_mut().zip(&self.integrals) {
            *product = a.read(&self.solver.system, &from) * b.read(&self.solver.system, &from);
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
        self.solver.look_up_again();
        if let Some(pieces) = &mut self.pieces {
            pieces.look_up_again();
        }
    }

    /// Takes the attempted step as done.
    pub fn commit(&mut self, state: &mut State<L>) {
        state.t = self.end;
        copy(&mut state.x, &self.solver.x);
        self.gauge.see(&state.x);
        std::mem::swap(&mut state.q, &mut self.q);
        let last = self.k.len() - 1;
        std::mem::swap(&mut state.k, &mut self.k[last]);
        for (w, p) in self.method.b().iter().zip(&self.power) {
            let w = L::splat(*w * self.h);
            update(&mut state.energy, p, |total, p| total + p * w);
        }
        std::mem::swap(&mut state.power, &mut self.power[last]);
        let ground = self.solver.system.n;
        state.q[ground] = L::splat(0.0);
        state.k[ground] = L::splat(0.0);
        // The start of this step and its stages.
        let from = self.known - self.method.stages();
        state.history.resize_with(self.method.stages(), || (0.0, vec![L::splat(0.0); self.solver.inner]));
        for (old, new) in state.history.iter_mut().zip(&self.points[from..self.known]) {
            old.0 = new.0;
            copy(&mut old.1, &new.1);
        }
    }

    /// The past is forgotten: bounds that follow the largest values begin with these.
    pub(crate) fn gauge_from(&mut self, x: &[L]) {
        self.gauge.begin(x);
    }

    /// Bounds that follow the largest values see these, which a jump has reached.
    pub(crate) fn gauge_sees(&mut self, x: &[L]) {
        self.gauge.see(x);
    }

    /// Begins a new course of predictions: only the present values are known (after a corner, a jump, a new state).
    pub fn forget(&self, state: &mut State<L>) {
        let point = state.x[..self.solver.inner].to_vec();
        state.history.clear();
        state.history.push((state.t, point));
    }
}
