//! What moves at once in a jump, followed at its own pace: an ideal switch that opens the current of an inductor, or
//! closes a capacitor onto another, turns energy into heat within its own time constant, which may be 10⁻⁵ of the
//! finest step.
//!
//! Sources stand still meanwhile. The steps are those of the singly diagonally implicit method of order 4 (five stages,
//! γ = 1/4, L-stable, stiffly accurate: Hairer & Wanner, Solving ODEs II, table IV.6.5); it asks for no derivative at
//! the start, which a jump has not. Their length follows from the energy: what the method's weights count as taken from
//! the sources and dissipated, against ½(x₀ + x₁)·(q₁ − q₀), what charges and fluxes gave along a straight line.
//! Both go to ∫x·dq.

use super::stage::{StageError, StageSolver};
use super::state::State;
use crate::arithmetic::vector::zeros;
use crate::control::board::Board;
use crate::readout::Seat;

/// The lower triangle, row by row; the last row has the weights.
const A: [[f64; 5]; 5] = [
    [0.25, 0.0, 0.0, 0.0, 0.0],
    [0.5, 0.25, 0.0, 0.0, 0.0],
    [17.0 / 50.0, -1.0 / 25.0, 0.25, 0.0, 0.0],
    [371.0 / 1360.0, -137.0 / 2720.0, 15.0 / 544.0, 0.25, 0.0],
    [25.0 / 24.0, -49.0 / 48.0, 125.0 / 16.0, -85.0 / 12.0, 0.25],
];

/// Share of the energy that moves by which a step may be wrong.
const CLOSE: f64 = 1e-6;
/// A step so much better is followed by one of twice the length.
const EASY: f64 = 1.0 / 64.0;
/// Steps at most, refused ones included: a ringing faster than the tiny step would take any number.
const MOST: u32 = 120;
/// The shortest step is this many halvings of the tiny one.
const HALVINGS: i32 = 60;

/// Energy of an unknown that may be lost, as a share of its own (voltage times charge, current times flux), and of all.
const LITTLE: f64 = 1e-6;
const LITTLE_OF_ALL: f64 = 1e-9;
/// Rounding, as a share of all energy: no step is asked to be better.
const ROUNDING: f64 = 1e-14;
/// And in J: four orders below the least that a ledger is held against.
const NOTHING: f64 = 1e-17;

/// An energy that an implicit Euler step lost, and about all that is stored, J.
pub(super) struct Lost {
    moved: f64,
    all: f64,
}

impl Lost {
    /// What may be wrong after it was followed, J.
    pub(super) fn close(&self) -> f64 {
        10.0 * CLOSE * self.bounded()
    }

    fn bounded(&self) -> f64 {
        self.moved.max(NOTHING).max(self.all * (ROUNDING / CLOSE))
    }
}

/// One step's scratch.
struct Stages {
    k: Vec<Vec<f64>>,
    power: Vec<Vec<f64>>,
    q: Vec<f64>,
}

impl StageSolver<f64> {
    /// Whether charge or flux of an unknown is one of energy: those of devices' own unknowns are not.
    fn energetic(&self) -> Vec<bool> {
        let mut all = vec![true; self.system.n];
        for placed in &self.system.devices {
            placed.locals[placed.ports..].iter().for_each(|&k| all[k as usize] = false);
        }
        all
    }

    /// What an implicit Euler step from `state` to `self.x` with charges `q` lost, ½·Δx·Δq, where that counts.
    pub(super) fn loses(&self, state: &State<f64>, q: &[f64]) -> Option<Lost> {
        let energetic = self.energetic();
        let half = 0.5;
        let (mut lost, mut all, mut most) = (0.0, 0.0, 0.0f64);
        for k in (0..self.system.n).filter(|&k| energetic[k]) {
            let (x0, x1, q0, q1) = (state.x[k], self.x[k], state.q[k], q[k]);
            let here = half * (x1 - x0) * (q1 - q0);
            let own = half * x0.abs().max(x1.abs()) * q0.abs().max(q1.abs());
            lost += here;
            all += own;
            most = most.max(here.abs() - own * LITTLE);
        }
        let moved = lost.abs();
        let counts = moved > LITTLE_OF_ALL * all || most > NOTHING + 1e-12 * all;
        (lost < f64::INFINITY && moved > NOTHING && counts).then_some(Lost { moved, all })
    }

    /// Follows what moves at once over `span` s, in which so much energy goes. Instant and sources stay.
    pub(super) fn follow(
        &mut self,
        state: &mut State<f64>,
        span: f64,
        lost: &Lost,
        board: &Board<f64>,
    ) -> Result<(), StageError> {
        let accounts = self.system.accounts();
        let n = self.system.n;
        let energetic = self.energetic();
        let mut stages = Stages {
            k: vec![zeros(n + 1); A.len()],
            power: vec![zeros(state.power.len()); A.len()],
            q: zeros(n + 1),
        };
        let bound = lost.bounded() * CLOSE;
        let (mut passed, mut h) = (0.0, span / 16.0);
        let shortest = span * 0.5f64.powi(HALVINGS);
        let mut tried = 0;
        while passed < span {
            tried += 1;
            let bounded = tried < MOST && h > shortest;
            if !bounded || passed + h > span * (1.0 - 1e-9) {
                h = span - passed;
            }
            if let Err(error) = self.small_step(state, h, &mut stages, board) {
                if !bounded {
                    return Err(error);
                }
                h *= 0.25;
                continue;
            }
            let (mut straight, mut counted) = (0.0, 0.0);
            for k in (0..n).filter(|&k| energetic[k]) {
                straight += 0.5 * (state.x[k] + self.x[k]) * (stages.q[k] - state.q[k]);
            }
            for (w, power) in A[4].iter().zip(&stages.power) {
                let sum = power[..accounts].iter().fold(0.0, |sum, p| sum + *p);
                counted += sum * (w * h);
            }
            let wrong = ((straight + counted) / bound).abs();
            if !bounded && !wrong.is_finite() {
                return Err(StageError::NotFinite(0));
            }
            // Written so that an error that is not a number is refused.
            let close = wrong <= 1.0;
            if bounded && !close {
                h *= 0.25;
                continue;
            }
            for (w, power) in A[4].iter().zip(&stages.power) {
                for (energy, power) in state.energy.iter_mut().zip(&power[..accounts]) {
                    *energy += *power * (w * h);
                }
            }
            state.x.copy_from_slice(&self.x);
            state.q.copy_from_slice(&stages.q);
            state.k.copy_from_slice(&stages.k[A.len() - 1]);
            passed += h;
            if wrong < EASY {
                h *= 2.0;
            }
        }
        Ok(())
    }

    /// One step from a state, whose end is left in `self.x` and the scratch.
    fn small_step(
        &mut self,
        state: &State<f64>,
        h: f64,
        stages: &mut Stages,
        board: &Board<f64>,
    ) -> Result<(), StageError> {
        let alpha = 1.0 / (A[0][0] * h);
        self.prepare(alpha, board);
        let system = self.shared();
        let seat = Seat { t: state.t, board, waves: &system.circuit.waves, choices: board.choices() };
        self.span(0, (state.t, state.t), &seat);
        let ground = self.system.n;
        let mut expected = zeros(ground + 1);
        let mut from = state.x.clone();
        for (i, row) in A.iter().enumerate() {
            expected.copy_from_slice(&state.q);
            for (a, k) in row[..i].iter().zip(&stages.k) {
                let w = a * h;
                expected.iter_mut().zip(k).for_each(|(e, k)| *e += w * *k);
            }
            self.solve_from(&from, &expected, alpha, (seat, 0.0))?;
            self.account(&mut stages.q, &mut stages.power[i], true);
            stages.q[ground] = 0.0;
            for ((k, q), e) in stages.k[i].iter_mut().zip(&stages.q).zip(&expected) {
                *k = (*q - *e) * alpha;
            }
            from.copy_from_slice(&self.x);
        }
        Ok(())
    }
}
