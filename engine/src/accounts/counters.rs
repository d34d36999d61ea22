//! How much work a run took: deterministic, so a change in cost shows as a difference in review.

/// Counts since the start of a run.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Counters {
    /// Steps taken.
    pub steps: u64,
    /// Newton iterations of all stages, those of refused steps included.
    pub iterations: u64,
    /// Steps taken back because the error ratio was above its bound.
    pub refused: u64,
    /// Steps taken back because Newton's iteration failed.
    pub halved: u64,
    /// Windows opened by known edges.
    pub windows: u64,
    /// Jumps made consistent.
    pub jumps: u64,
    /// Coupling intervals.
    pub couplings: u64,
    /// Changes of ideal diodes in a run by pieces.
    pub changes: u64,
    /// Steps of the finest length, or of shorter ones, whose estimated local error was above its bound.
    pub stalled: u64,
    /// The largest such error over its bound; 0 where there was none.
    pub stalled_by: f64,
    /// Of them, those in which rounding alone moves voltages by more than a small part of the largest.
    pub blurred: u64,
    /// How often no solution followed the last one, and another was taken; each counts as a stalled step.
    pub snapped: u64,
    /// New elimination orders after growth or failure.
    pub reorders: u64,
}

impl Counters {
    /// A step of the finest length was taken with this error over its bound; whether rounding `blurs` its voltages.
    pub fn at_the_finest(&mut self, error: f64, blurs: bool) {
        // Written so that an error that is not a number counts.
        let kept = error <= 1.0 && !blurs;
        if !kept {
            self.stalled += 1;
            self.blurred += u64::from(blurs);
            if error.is_finite() {
                self.stalled_by = self.stalled_by.max(error);
            }
        }
    }

    /// Adds what was counted from `before` to `after`.
    pub fn gather(&mut self, before: &Self, after: &Self) {
        let counts = |c: &Self| {
            [
                c.steps,
                c.iterations,
                c.refused,
                c.halved,
                c.windows,
                c.jumps,
                c.couplings,
                c.changes,
                c.stalled,
                c.blurred,
                c.snapped,
                c.reorders,
            ]
        };
        let (then, now) = (counts(before), counts(after));
        let mine = [
            &mut self.steps,
            &mut self.iterations,
            &mut self.refused,
            &mut self.halved,
            &mut self.windows,
            &mut self.jumps,
            &mut self.couplings,
            &mut self.changes,
            &mut self.stalled,
            &mut self.blurred,
            &mut self.snapped,
            &mut self.reorders,
        ];
        mine.into_iter().zip(now.iter().zip(&then)).for_each(|(sum, (now, then))| *sum += now - then);
        self.stalled_by = self.stalled_by.max(after.stalled_by);
    }
}
