//! Whether a step that was tried is good enough.

use super::time_loop::{Planned, Run};
use crate::arithmetic::lane::Lane;
use crate::step::stepper::{Attempt, Stepper};

/// Rounding of the voltages, over the largest of them, from which no shorter step is taken for the error's sake. It grows
/// with the square of 1/h where an inductor meets a capacitor; above one it feeds on itself, and voltages grow without
/// bound.
const FEEDS_BACK: f64 = 1.0 / 64.0;

impl Run<f64> {
    /// Looks closer at what an attempt left, where that decides.
    pub(super) fn look_closer(&mut self, attempt: &mut Attempt) {
        if self.may_be_rounding(*attempt) {
            [attempt.error, attempt.noise] = self.stepper.beyond_rounding();
        }
        if self.may_be_unbalanced(*attempt) {
            let balance = self.stepper.unbalanced(&self.state);
            self.weigh(attempt, balance);
        }
    }

    /// The same in a lane, with what was found in the lanes that asked for it.
    pub(super) fn consider<K: Lane>(
        &mut self,
        attempt: &mut Attempt,
        lane: usize,
        (blurred, beyond): (u32, [K; 2]),
        (unsure, balance): (u32, [K; 3]),
    ) {
        if blurred >> lane & 1 == 1 {
            [attempt.error, attempt.noise] = beyond.map(|all| all.lane(lane));
        }
        if unsure >> lane & 1 == 1 {
            self.weigh(attempt, balance.map(|all| all.lane(lane)));
        }
    }

    /// Whether no shorter step may improve what an attempt has left: its error is then to be told from what rounding
    /// makes ([`Stepper::beyond_rounding`]).
    pub(super) fn may_be_rounding(&self, attempt: Attempt) -> bool {
        self.ladder.at_the_finest() && attempt.error > 1.0
    }

    /// Whether what an attempt's energies are wrong by is to be worked out ([`Stepper::unbalanced`]).
    pub(super) fn may_be_unbalanced(&self, attempt: Attempt) -> bool {
        self.balance.doubts(attempt.residual)
    }

    /// Takes what an attempt's energies are wrong by, and what that is held against, J ([`Stepper::unbalanced`]).
    fn weigh(&mut self, attempt: &mut Attempt, balance: [f64; 3]) {
        attempt.residual = balance[0];
        attempt.unbalanced = self.balance.weigh(balance, self.ladder.at_the_finest());
    }

    /// Whether the attempted step is good enough; else the next one is finer. `mean` tells the mean power of an account
    /// over it, W.
    pub(super) fn accepts(
        &mut self,
        attempt: Attempt,
        step: Planned,
        mean: &dyn Fn(&Stepper<f64>, usize) -> f64,
    ) -> bool {
        self.counters.iterations += u64::from(attempt.iterations);
        let finest = self.ladder.at_the_finest();
        let refused = self.ladder.refuses(attempt.error_ratio())
            || attempt.noise <= FEEDS_BACK && self.ladder.rushes(attempt.error.max(attempt.unbalanced))
            || self.too_warm(step.h, mean);
        if refused {
            self.counters.refused += 1;
            // One that ended early, at an edge, is not tried again.
            self.ladder.shorter_than(step.h);
            if attempt.unbalanced > 1.0 {
                self.balance.refused(attempt.residual);
            }
            return false;
        }
        if finest {
            self.counters.at_the_finest(attempt.error, attempt.noise > FEEDS_BACK);
            self.stepper.solver.stepped();
        } else {
            self.stepper.solver.go_dense(false);
        }
        true
    }
}
