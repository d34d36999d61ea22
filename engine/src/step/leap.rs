//! What a stepper does beside single steps: jumps, and walks by pieces.

use super::pieces::{Pieces, Walked};
use super::stage::StageError;
use super::state::State;
use super::stepper::Stepper;
use crate::arithmetic::lane::Lane;
use crate::arithmetic::vector::copy;
use crate::control::board::Board;

impl<L: Lane> Stepper<L> {
    /// Makes a state consistent just after a jump ([`StageSolver::jump`](super::stage::StageSolver::jump)), the
    /// products under the integrals too.
    ///
    /// # Errors
    /// When no consistent state is found.
    pub fn jump(&mut self, state: &mut State<L>, tiny: f64, board: &Board<L>) -> Result<(), StageError> {
        if let Some(pieces) = &mut self.pieces {
            return pieces.settle(&self.solver.system, state, board, &mut self.solver.stamps);
        }
        self.solver.jump(state, tiny, board)?;
        copy(&mut self.power[0], &state.power);
        // Courses are read just after the jump.
        self.multiply(0, state.t.next_up(), board);
        copy(&mut state.power, &self.power[0]);
        Ok(())
    }

    /// Steps by pieces from now on, with this base step, s.
    ///
    /// # Errors
    /// Why the circuit cannot be stepped so.
    pub fn by_pieces(&mut self, base: f64, board: &Board<L>) -> Result<(), String> {
        self.pieces = Some(Pieces::new(&self.solver.system, &self.integrals, base, board)?);
        Ok(())
    }

    /// The pieces, where the circuit is stepped so.
    pub fn pieces(&self) -> Option<&Pieces<L>> {
        self.pieces.as_ref()
    }

    /// Brings the energies of a state up to date after walks.
    pub fn account(&mut self, state: &mut State<L>) {
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
        state: &mut State<L>,
        until: (f64, f64, f64),
        most: u64,
        board: &Board<L>,
    ) -> Result<Walked, StageError> {
        let Some(pieces) = &mut self.pieces else { return Ok(Walked::default()) };
        pieces.walk(&self.solver.system, state, until, most, board, &mut self.solver.stamps)
    }
}
