//! What a stepper of one lane does: a step by itself, jumps, walks by pieces.

use std::sync::Arc;

use super::bounds::Bounds;
use super::pieces::{Pieces, Walked};
use super::stage::{StageError, Tolerance};
use super::state::State;
use super::stepper::{Attempt, Span, Stepper};
use crate::arithmetic::vector::copy;
use crate::control::board::Board;
use crate::readout::Seat;

impl Stepper<f64> {
    /// Another one on the same equations, which goes on from the same state with the same bits. None where steps are
    /// made by pieces.
    pub(crate) fn twin(&self, state: &State<f64>) -> Option<Self> {
        if self.pieces.is_some() {
            return None;
        }
        let own = &self.solver;
        let bounds = Bounds { coarser: self.coarser, ..Bounds::default() };
        let (system, program) = (Arc::clone(&own.system), own.program().clone());
        let mut twin =
            Self::new(system, program, self.method, Tolerance::default(), bounds, self.integrals.clone());
        twin.gauge = self.gauge.clone();
        twin.finest = self.finest;
        twin.solver.limits.clone_from(&own.limits);
        (twin.solver.relative, twin.solver.iterations) = (own.relative, own.iterations);
        twin.solver.set_temperatures(&state.kelvin);
        twin.restore(self.memory());
        Some(twin)
    }

    /// The largest value of each unknown so far.
    pub(crate) fn largest(&self) -> &[f64] {
        self.gauge.largest()
    }

    /// Tries the step of length `h` from `state` to `end`, s (which differ by rounding only). Nothing of the state
    /// changes; [`Stepper::commit`] takes the result.
    ///
    /// # Errors
    /// When a stage does not converge.
    pub fn attempt(
        &mut self,
        state: &State<f64>,
        end: f64,
        h: f64,
        seat: Seat<'_>,
    ) -> Result<Attempt, StageError> {
        self.solver.prepare(self.method.alpha(h), seat.board);
        let recipe = self.recipes.fitting(self.method, &state.history, h);
        self.weights.take(0, recipe);
        self.attempt_lanes(state, &[Span { begin: state.t, end, h }], &mut [seat], 1);
        self.outcomes[0]
    }

    /// Takes the attempted step as done.
    pub fn commit(&mut self, state: &mut State<f64>) {
        state.t = self.end;
        self.commit_lanes(state, 1, 0);
    }

    /// Makes a state consistent just after a jump ([`StageSolver::jump`](super::stage::StageSolver::jump)), the
    /// products under the integrals too.
    ///
    /// # Errors
    /// When no consistent state is found.
    pub fn jump(
        &mut self,
        state: &mut State<f64>,
        tiny: f64,
        counts: bool,
        board: &Board<f64>,
    ) -> Result<(), StageError> {
        if let Some(pieces) = &mut self.pieces {
            return pieces.settle(&self.solver.system, state, board, &mut self.solver.stamps);
        }
        self.solver.stamped = false;
        self.solver.jump(state, tiny, counts, board)?;
        copy(&mut self.power[0], &state.power);
        // Courses are read just after the jump.
        let system = self.solver.shared();
        let seat =
            Seat { t: state.t.next_up(), board, waves: &system.circuit.waves, choices: board.choices() };
        self.multiply(0, &[seat]);
        copy(&mut state.power, &self.power[0]);
        Ok(())
    }

    /// Steps by pieces from now on, with this base step, s.
    ///
    /// # Errors
    /// Why the circuit cannot be stepped so.
    pub fn by_pieces(&mut self, base: f64, board: &Board<f64>) -> Result<(), String> {
        self.pieces = Some(Pieces::new(&self.solver.system, &self.integrals, base, board)?);
        Ok(())
    }

    /// The pieces, where the circuit is stepped so.
    pub fn pieces(&self) -> Option<&Pieces<f64>> {
        self.pieces.as_ref()
    }

    /// Brings the energies of a state up to date after walks.
    pub fn account(&mut self, state: &mut State<f64>) {
        if let Some(pieces) = &mut self.pieces {
            pieces.account(&mut state.energy);
        }
    }

    /// Walks by pieces ([`Pieces::walk`]): until `stop`, or the first step's end from `pause` on, or `most` steps, none
    /// longer than `longest`. The energies wait for [`Stepper::account`]. Without pieces nothing happens.
    ///
    /// # Errors
    /// When there is no way on.
    pub fn walk(
        &mut self,
        state: &mut State<f64>,
        until: (f64, f64, f64),
        most: u64,
        board: &Board<f64>,
    ) -> Result<Walked, StageError> {
        let Some(pieces) = &mut self.pieces else { return Ok(Walked::default()) };
        pieces.walk(&self.solver.system, state, until, most, board, &mut self.solver.stamps)
    }
}
