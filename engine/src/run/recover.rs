//! What is left when a step has no solution.

use super::time_loop::Run;
use crate::error::{Cause, SolverError};
use crate::step::schedule::HALVINGS;
use crate::step::stage::StageError;

/// Halvings below the finest step before limited changes are tried.
const IMPATIENT: u32 = 4;

impl Run<f64> {
    /// Newton's iteration failed: a shorter step; some levels below the finest, the finest again with dense elimination
    /// and limited changes; at the shortest one a new elimination order, each with all step lengths again; then another
    /// solution, as after a jump; then the report.
    pub(super) fn recover(&mut self, error: StageError) -> Result<(), SolverError> {
        self.counters.halved += 1;
        let t = self.state.t;
        if self.wants_patience() {
            self.patient_at = Some(t);
            self.stepper.solver.go_dense(true);
            self.counters.reorders += 1;
            self.ladder.open(t);
            return Ok(());
        }
        if self.ladder.halve() {
            return Ok(());
        }
        let alpha = self.stepper.method.alpha(self.ladder.finest_step());
        let solver = &mut self.stepper.solver;
        if self.reordered_at != Some(t) && solver.reorder(alpha, &self.board) {
            self.reordered_at = Some(t);
        } else if !solver.is_dense() {
            solver.go_dense(true);
        } else if self.snapped_at != Some(t) {
            // The solution may end here, and another one go on.
            self.snapped_at = Some(t);
            solver.go_dense(false);
            if self.jump(true).is_err() {
                return Err(self.given_up(error));
            }
            self.stepper.forget(&mut self.state);
            self.watcher.anew();
            self.counters.stalled += 1;
            self.counters.snapped += 1;
        } else {
            return Err(self.given_up(error));
        }
        self.counters.reorders += 1;
        self.ladder.open(t);
        Ok(())
    }

    /// The report, with the cause where it can be told.
    fn given_up(&self, error: StageError) -> SolverError {
        let system = self.stepper.system();
        let mut report = error.located(system, self.state.t, HALVINGS);
        let (k, update) = match error {
            StageError::Moving(k, update) => (k, update),
            StageError::NotFinite(k) => (k, f64::INFINITY),
        };
        if let SolverError::NotConverged { cause, .. } | SolverError::NotFinite { cause, .. } = &mut report {
            *cause = match self.counters.blurred {
                0 => system.cause_at(&system.devices_at(&self.state.kelvin), &self.state.x, k, update),
                _ => Cause::Rounding,
            };
        }
        report
    }

    /// Whether more than a shorter step is needed where Newton's iteration fails.
    pub(super) fn is_stuck(&self) -> bool {
        self.ladder.is_shortest() || self.wants_patience()
    }

    /// Whether the finest steps are to be tried with limited changes and many iterations, once at every instant, before
    /// still shorter ones, of which rounding makes motion.
    fn wants_patience(&self) -> bool {
        self.ladder.below_the_finest() >= IMPATIENT
            && self.patient_at != Some(self.state.t)
            && !self.stepper.solver.is_dense()
    }

    /// Chooses the elimination order anew on the present values, for steps with this α (1/s). False when the equations
    /// are singular there.
    #[inline(never)]
    pub fn reorder(&mut self, alpha: f64) -> bool {
        self.stepper.solver.reorder(alpha, &self.board)
    }
}
