//! Newton's iteration of a stage.
//!
//! The unknowns themselves are solved for, not their changes: linear rows then need no residual, and their part of
//! the right-hand side is carried through the outer pivots once per stage.
//!
//! Lanes are done one after the other. One that is done keeps the point at which it was evaluated last until all are:
//! what the further iterations of others evaluate there are the same bits again, its matrix and stamps among them. So
//! does one that found no solution, until the end of the step. A lane therefore ends with what it would have alone.

use std::sync::Arc;

use super::stage::{StageError, StageSolver};
use crate::arithmetic::lane::{Lane, lanes_in};
use crate::arithmetic::vector::copy;
use crate::readout::Seat;

impl<L: Lane> StageSolver<L> {
    /// Solves the stage at the instants of the seats, the fraction `c` of the spans taken, in the lanes `going`.
    /// `stage_b` must hold α·q̂; the matrix must be prepared; `x` holds a prediction of the inner unknowns where
    /// [`StageSolver::remembering`] does not say otherwise. Returns the lanes that have a solution; `took` has the
    /// iterations of each, `failures` what ails the others.
    pub(super) fn solve_lanes(&mut self, c: f64, seats: &[Seat<'_>], going: u32) -> u32 {
        self.take_sources(c, seats);
        self.subtract_sources();
        self.program.replay.forward_outer(&self.prepared[self.current].a, &mut self.stage_b);
        let remembering = self.remembering() & going;
        if remembering != 0 {
            self.extrapolate(remembering);
        }
        lanes_in(going).for_each(|lane| self.factored[lane] = None);
        let most = self.most_iterations();
        let mut left = going;
        for iteration in 1..=most {
            self.iterated += 1;
            self.evaluate();
            self.eliminate();
            let mut moving = self.moving() & left;
            if moving != 0 {
                moving &= !self.resting(iteration);
            }
            lanes_in(left & !moving).for_each(|lane| self.took[lane] = iteration);
            left = moving;
            if left == 0 {
                break;
            }
            if iteration == most {
                lanes_in(left).for_each(|lane| self.failures[lane] = self.largest_change(lane));
            }
            self.damp(iteration);
            if iteration < most {
                self.go_on(left);
            }
        }
        for lane in lanes_in(left) {
            let lost = |k: &usize| !self.fresh[*k].lane(lane).is_finite();
            if let Some(k) = (0..self.system.inner).find(lost) {
                self.failures[lane] = StageError::NotFinite(k);
            }
        }
        let solved = going & !left;
        if solved == 0 {
            return 0;
        }
        self.go_on(solved);
        let done = L::mask(solved);
        for &k in &self.beside {
            self.x[k as usize] = L::select(done, self.fresh[k as usize], self.x[k as usize]);
        }
        self.program.replay.back_outer(&self.prepared[self.current].a, &self.stage_b, &mut self.x);
        if self.full.is_none() {
            lanes_in(solved).for_each(|lane| self.factored[lane] = Some(self.keys[lane]));
        }
        solved
    }

    /// Takes the new values of some lanes.
    #[inline(always)]
    fn go_on(&mut self, lanes: u32) {
        let inner = self.inner;
        if L::WIDTH == 1 {
            copy(&mut self.x[..inner], &self.fresh[..inner]);
            return;
        }
        let mask = L::mask(lanes);
        for (x, fresh) in self.x[..inner].iter_mut().zip(&self.fresh[..inner]) {
            *x = L::select(mask, *fresh, *x);
        }
    }

    /// Predicts the inner unknowns of some lanes: the circuit as it was linearised in the last stage, solved for this
    /// one. Where the devices are nearly linear (a ringing that dies away) one true iteration then is enough.
    fn extrapolate(&mut self, lanes: u32) {
        let alpha = self.prepared[self.current].alpha;
        copy(&mut self.b, &self.stage_b);
        let locations = self.program.locations(&self.system.devices);
        for ((device, location), stamp) in self.devices.iter().zip(locations).zip(&self.stamps) {
            device.restamp(&location, alpha, stamp, &mut self.b);
        }
        self.program.replay.forward_inner(&self.a, &mut self.b);
        if L::WIDTH == 1 {
            self.program.replay.back_inner(&self.a, &self.b, &mut self.x);
        } else {
            self.program.replay.back_inner(&self.a, &self.b, &mut self.fresh);
            self.go_on(lanes);
        }
    }

    /// First half of an iteration: the constant part of the matrix and of the right-hand side, and every device's stamp
    /// at `x`.
    #[inline(always)]
    pub fn evaluate(&mut self) {
        let prepared = &self.prepared[self.current];
        let alpha = prepared.alpha;
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

    /// Lanes in which some inner unknown still changes by more than its limit. NaN counts as moving.
    #[inline(always)]
    fn moving(&self) -> u32 {
        let (fresh, x) = (&self.fresh[..self.inner], &self.x[..self.inner]);
        let rests = |fresh: L, x: L, limit: L| (fresh - x).abs().le(limit + self.relative * fresh.abs());
        if L::WIDTH > 1 {
            let (mut moved, one) = (L::splat(0.0), L::splat(1.0));
            for ((fresh, x), limit) in fresh.iter().zip(x).zip(&self.limits) {
                moved = L::select(rests(*fresh, *x, *limit), moved, one);
            }
            return L::lanes(moved.gt(L::splat(0.0)));
        }
        let mut within = true;
        for ((fresh, x), limit) in
            fresh.as_chunks::<8>().0.iter().zip(x.as_chunks::<8>().0).zip(self.limits.as_chunks::<8>().0)
        {
            for k in 0..8 {
                within &= L::all(rests(fresh[k], x[k], limit[k]));
            }
        }
        u32::from(!within)
    }

    fn largest_change(&self, lane: usize) -> StageError {
        let change = |k: &usize| (self.fresh[*k].lane(lane) - self.x[*k].lane(lane)).abs();
        let worst = (0..self.system.inner).max_by(|a, b| change(a).total_cmp(&change(b)));
        worst.map_or(StageError::Moving(0, f64::NAN), |k| StageError::Moving(k, change(&k)))
    }
}

impl StageSolver<f64> {
    /// Solves the stage at the instant of the seat, which is the fraction `c` of the span taken. `stage_b` must hold
    /// α·q̂; the matrix must be prepared; `x` holds a prediction of the inner unknowns. Returns the number of
    /// iterations.
    ///
    /// # Errors
    /// When the iteration does not converge or leaves the numbers.
    pub(super) fn solve(&mut self, c: f64, seat: Seat<'_>) -> Result<u32, StageError> {
        match self.solve_lanes(c, &[seat], 1) {
            0 => Err(self.failures[0]),
            _ => Ok(self.took[0]),
        }
    }

    /// The system, for a borrow that outlasts changes here.
    pub(super) fn shared(&self) -> Arc<crate::equations::system::System<f64>> {
        Arc::clone(&self.system)
    }
}
