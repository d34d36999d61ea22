//! The state just after a jump.

use super::follow::Lost;
use super::robust::{Robust, Tools};
use super::stage::{StageError, StageSolver};
use super::start::source_rows;
use super::state::State;
use crate::arithmetic::vector::{update, zeros};
use crate::circuit::law::stamp_len;
use crate::control::board::Board;
use crate::readout::Seat;

/// Weights of the parabola through values at 2, 3 and 4 at 0: back to the instant of the jump.
const BACK: [f64; 3] = [6.0, -8.0, 3.0];

/// Steps of these lengths, in tiny ones, are tried where that one has no solution.
const OTHER_LENGTHS: [f64; 3] = [16.0, 1.0 / 16.0, 256.0];

/// What moves at once is followed over so many tiny steps: a few time constants of what the shortest steps of a run,
/// about as long as the tiny one, cannot see. What lasts longer is theirs.
const FOLLOWED: f64 = 8.0;
/// And what still moves then asks for a way back over shorter steps than the tiny one.
const AFTERWARDS: f64 = 1.0 / 16.0;

/// A change of a voltage that no rounding makes, V.
const ABOVE_ROUNDING: f64 = 1e-3;

impl StageSolver<f64> {
    /// Makes a state consistent just after a jump, by four implicit Euler steps so short that charges and fluxes keep
    /// their values. The first lets through what must move at once (two capacitors closed on each other) and what
    /// decays at once; from the others, state, charges and derivatives are extrapolated back to the instant of the
    /// jump, so that the start is wrong by the third power of the tiny step only.
    ///
    /// Where that first step loses energy, because much moves at once, the transient is followed instead
    /// (`StageSolver::follow`), unless nobody `counts` energies.
    ///
    /// # Errors
    /// When no consistent state is found and nobody counts energies.
    pub fn jump(
        &mut self,
        state: &mut State<f64>,
        tiny: f64,
        counts: bool,
        board: &Board<f64>,
    ) -> Result<(), StageError> {
        // Shorter than the instants' own rounding there is no step.
        let tiny = tiny.max(state.t.next_up() - state.t);
        let before = state.clone();
        // A step that finds no solution says nothing about one of another length.
        let mut first = self.settle_down(state, tiny, board);
        for factor in OTHER_LENGTHS {
            let Err(error) = first else { break };
            *state = before.clone();
            first = self.settle_down(state, factor * tiny, board).map_err(|_| error);
        }
        let lost = match first {
            Ok(lost) => lost,
            // The steps that follow begin where it was: so short that nothing has moved, and with all that is tried
            // when one of them has no solution.
            Err(_) if counts => {
                *state = before;
                self.stand(state, board);
                return Ok(());
            }
            Err(error) => return Err(error),
        };
        if let Some(lost) = lost.filter(|_| counts) {
            let settled = std::mem::replace(state, before.clone());
            if self.follow(state, FOLLOWED * tiny, &lost, board).is_err() {
                state.clone_from(&settled);
            }
            let followed = state.clone();
            if self.settle_down(state, AFTERWARDS * tiny, board).is_err() {
                state.clone_from(&followed);
            }
            // The way back over still shorter steps may lose what moves on, and where rounding makes motion of such steps
            // all that was followed is worth nothing: the energies tell.
            let wrong = |solver: &Self, after: &State<f64>| solver.wrong_by(&before, after).abs();
            let mut least = wrong(self, state);
            let close = least <= lost.close();
            for other in [followed, settled].iter().filter(|_| !close) {
                let open = wrong(self, other);
                if least.is_nan() || open < least {
                    least = open;
                    state.clone_from(other);
                }
            }
            self.stand(state, board);
        }
        Ok(())
    }

    /// Four implicit Euler steps and back again. What the first step lost of the energy that it let through, J, where
    /// that is too much.
    fn settle_down(
        &mut self,
        state: &mut State<f64>,
        tiny: f64,
        board: &Board<f64>,
    ) -> Result<Option<Lost>, StageError> {
        let alpha = 1.0 / tiny;
        let mut lost = None;
        self.prepare(alpha, board);
        let began = state.t;
        let system = self.shared();
        let at = |t: f64| Seat { t, board, waves: &system.circuit.waves, choices: board.choices() };
        self.span(0, (began, began + 4.0 * tiny), &at(began));
        let ground = self.system.n;
        let [mut q, mut x0, mut q0, mut k0] = std::array::from_fn(|_| zeros(ground + 1));
        for step in 0..4u32 {
            let t = began + f64::from(step + 1) * tiny;
            let c = f64::from(step + 1) / 4.0;
            if self.solve_from(&state.x, &state.q, alpha, (at(t), c)).is_err() {
                self.rescue((&state.x, &state.q), &state.kelvin, alpha, (at(t), c))?;
            }
            if let Some(k) = (0..ground).find(|&k| !self.x[k].is_finite()) {
                return Err(StageError::NotFinite(k));
            }
            self.account(&mut q, &mut state.power, true);
            q[ground] = 0.0;
            for ((k, new), old) in state.k.iter_mut().zip(&q).zip(&state.q) {
                *k = (*new - *old) * alpha;
            }
            // The same parabola for the running sum of the energies leaves what the first step let through.
            let share = [1.0, 1.0, -5.0, 3.0][step as usize] * tiny;
            for (energy, power) in state.energy.iter_mut().zip(&state.power) {
                *energy += *power * share;
            }
            if step == 0 {
                lost = self.loses(state, &q);
            }
            state.q.copy_from_slice(&q);
            state.x.copy_from_slice(&self.x);
            if step > 0 {
                let w = BACK[step as usize - 1];
                for (sum, new) in [(&mut x0, &state.x), (&mut q0, &state.q), (&mut k0, &state.k)] {
                    update(sum, new, |s, v| s + v * w);
                }
            }
        }
        (state.x, state.q, state.k) = (x0, q0, k0);
        self.read(state, at(began));
        Ok(lost)
    }

    /// What the energies between two states are wrong by, J.
    fn wrong_by(&self, before: &State<f64>, after: &State<f64>) -> f64 {
        let accounts = self.system.accounts();
        let taken = after.energy[..accounts].iter().zip(&before.energy).map(|(now, then)| now - then);
        taken.sum::<f64>() + self.charged(&before.x, &after.x).0
    }

    /// What is read off the state belongs to it.
    fn read(&mut self, state: &mut State<f64>, seat: Seat<'_>) {
        self.x.copy_from_slice(&state.x);
        self.stamp();
        self.take_sources(0.0, &[seat]);
        let mut q = zeros(self.system.n + 1);
        self.account(&mut q, &mut state.power, true);
    }

    /// The same after attempts that led elsewhere.
    fn stand(&mut self, state: &mut State<f64>, board: &Board<f64>) {
        let system = self.shared();
        let seat = Seat { t: state.t, board, waves: &system.circuit.waves, choices: board.choices() };
        self.span(0, (state.t, state.t), &seat);
        self.read(state, seat);
    }

    /// Computes the devices' stamps at `x`.
    fn stamp(&mut self) {
        for ((device, placed), out) in self.devices.iter().zip(&self.system.devices).zip(&mut self.stamps) {
            let u = placed.locals_at(&self.x);
            let p = u.len();
            device.evaluate(&u, out);
            out[stamp_len(p) - p..].copy_from_slice(&u);
        }
    }

    /// Newton with limited changes on the dense matrix, then once more the ordinary way from its answer; in the end
    /// with a criterion that no rounding passes. Over a step so short, charges and fluxes are divided by almost
    /// nothing: what is left of their last digits can be more than a tight criterion. Newton's iteration converges by
    /// squares, so that what it leaves of [`ABOVE_ROUNDING`] is far less.
    fn rescue(
        &mut self,
        (x, q): (&[f64], &[f64]),
        kelvin: &[f64],
        alpha: f64,
        (seat, c): (Seat<'_>, f64),
    ) -> Result<(), StageError> {
        let system = self.shared();
        let (t, board) = (seat.t, seat.board);
        let mut tools = Tools::new(&system, kelvin, board);
        let mut dense = Robust::new(&system, &mut tools, None);
        dense.x.copy_from_slice(x);
        let rows = source_rows(&system, t, 1.0, board);
        let mut found = dense.newton(alpha, q, &rows, 0.0, 5.0);
        let mut near = found.is_ok() || found.is_err_and(|(_, update)| update <= ABOVE_ROUNDING);
        if !near {
            // To and fro, perhaps around a voltage where the slope of a device changes sign.
            dense.x.copy_from_slice(x);
            found = dense.creep(alpha, q, &rows).or(found);
            near = found.is_ok();
        }
        let from = if near { &dense.x } else { x };
        if self.solve_from(from, q, alpha, (seat, c)).is_ok() {
            return Ok(());
        }
        let was_dense = self.is_dense();
        self.go_dense(true);
        let solved = self.solve_from(from, q, alpha, (seat, c));
        self.go_dense(was_dense);
        if solved.is_ok() {
            return Ok(());
        }
        let kept = self.limits.clone();
        self.limits.iter_mut().for_each(|limit| *limit = limit.max(ABOVE_ROUNDING));
        let solved = self.solve_from(from, q, alpha, (seat, c));
        self.limits = kept;
        solved.map_err(|error| match found {
            Err((k, update)) if !near && update.is_finite() => StageError::Moving(k, update),
            Err((k, _)) if !near => StageError::NotFinite(k),
            _ => error,
        })
    }

    pub(super) fn solve_from(
        &mut self,
        x: &[f64],
        q: &[f64],
        alpha: f64,
        (seat, c): (Seat<'_>, f64),
    ) -> Result<(), StageError> {
        for (b, q) in self.stage_b.iter_mut().zip(q) {
            *b = *q * alpha;
        }
        self.x.copy_from_slice(x);
        self.solve(c, seat).map(|_| ())
    }
}
