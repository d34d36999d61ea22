//! What is left when a step has no solution.

use super::time_loop::Run;
use crate::error::SolverError;
use crate::step::schedule::HALVINGS;
use crate::step::stage::StageError;

impl Run<f64> {
    /// Newton's iteration failed: a shorter step; at the shortest one a new elimination order, then dense elimination
    /// with pivoting, each with all step lengths again; then the report.
    pub(super) fn recover(&mut self, error: StageError) -> Result<(), SolverError> {
        self.counters.halved += 1;
        if self.ladder.halve() {
            return Ok(());
        }
        let t = self.state.t;
        let alpha = self.stepper.method.alpha(self.ladder.finest_step());
        let solver = &mut self.stepper.solver;
        if self.reordered_at != Some(t) && solver.reorder(alpha, &self.board) {
            self.reordered_at = Some(t);
        } else if !solver.is_dense() {
            solver.go_dense(true);
        } else {
            return Err(error.located(self.stepper.system(), t, HALVINGS));
        }
        self.counters.reorders += 1;
        self.ladder.open(t);
        Ok(())
    }

    /// Whether more than a shorter step is needed where Newton's iteration fails.
    pub(super) fn is_stuck(&self) -> bool {
        self.ladder.is_shortest()
    }

    /// Chooses the elimination order anew on the present values, for steps with this α (1/s). False when the equations
    /// are singular there.
    #[inline(never)]
    pub fn reorder(&mut self, alpha: f64) -> bool {
        self.stepper.solver.reorder(alpha, &self.board)
    }
}
