//! The schedule of step lengths: base steps, and windows of fine ones.
//!
//! A step is base / 2ᵏ long, k = 0 ‥ `finest`. Every known edge ends a step and opens a window at the finest level;
//! the window then relaxes one level at a time, as soon as the measured error ratio (the step's estimated local error
//! over its bound) would stay below the bound at the coarser one, and a coarser step begins only where it lines up
//! with the window's grid. Activity that rises without a known edge (a clamp that begins to conduct) opens a window
//! too: the step is taken back and made finer.
//!
//! Step lengths therefore come from a short list that is known before the run: each has one prepared matrix.

/// How many times a step may be halved below the finest level when Newton's iteration does not converge.
pub const HALVINGS: u32 = 16;

/// Lengths and bounds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Steps {
    /// Base step, s.
    pub base: f64,
    /// The finest step is base / 2^finest; 0: every step is a base step.
    pub finest: u32,
    /// Steps of a level that must have been quiet before the next coarser one is taken.
    pub hold_off: u32,
}

impl Steps {
    /// Steps of a level before the next coarser one, where nothing else is asked for.
    pub const HOLD_OFF: u32 = 2;
    /// The finest step is at most this many halvings of the base step away.
    pub const DEEPEST: u32 = 40;

    /// Default steps of a run that lasts until `end`, s: a thousandth of it between edges, and [`Steps::of_base`].
    pub fn over(end: f64) -> Self {
        Self::of_base(1e-3 * end)
    }

    /// Default steps with this base step, s: the finest is at most 0.1 ns and at most base / 2¹⁰. What an edge sets off
    /// in a gate or in a stray inductance takes nanoseconds; what ends at a coarser finest step is wrong and only told.
    pub fn of_base(base: f64) -> Self {
        let fine = |k: &u32| base * 0.5f64.powi(*k as i32) <= FINEST;
        let finest = (LEAST_HALVINGS..Self::DEEPEST).find(fine).unwrap_or(Self::DEEPEST);
        Self { base, finest, hold_off: Self::HOLD_OFF }
    }
}

/// The finest step is at most this long by default, s.
const FINEST: f64 = 0.1e-9;
/// And at least this many halvings of the base step away.
const LEAST_HALVINGS: u32 = 10;

/// From here on the grid begins anew at the next end of a step, so that positions never overflow.
const FAR: u64 = 1 << 62;

/// Activity above which a step is taken back, when a finer level is left.
const REFUSE: f64 = 2.0;
/// Activity to be expected at the coarser level, below which it is taken.
const RELAX: f64 = 0.5;

/// The error, over its bound, of the steps just after an edge: all the energy of a transient may go in a few of them.
const RUSH: f64 = 0.1;
/// Steps so held, refused ones included.
const DEEP: u32 = 120;
/// Steps that may be shorter than the finest one, refused ones included: so many from the start,
const BEFOREHAND: u32 = 16_384;
/// and so many for every step of the finest length, or of a longer one, that kept its bound.
const EARNED: u32 = 4;
/// No step is so made shorter than so many of the last places in which its instant is known.
const PLACES: f64 = 64.0;

/// x / 2ᵏ, exactly.
fn halved(x: f64, k: u32) -> f64 {
    x * f64::from_bits(1023u64.saturating_sub(u64::from(k)) << 52)
}

/// Where the schedule stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Ladder {
    steps: Steps,
    error_order: u32,
    anchor: f64,
    /// Position after the anchor in units of base / 2^(finest + HALVINGS).
    position: u64,
    level: u32,
    quiet: u32,
    /// Steps that may still be shorter than the finest, refused ones included, for the sake of the error. What is over
    /// quickly is so resolved however fast it is; what rings on and on, faster than the finest step, costs no more.
    deep: u32,
    /// Steps that are still held as those just after an edge are.
    edge: u32,
}

impl Ladder {
    /// Starts at t in a window.
    pub fn new(steps: Steps, error_order: u32, t: f64) -> Self {
        // Where all steps are of one length, none is shorter.
        let deep = if steps.finest > 0 { BEFOREHAND } else { 0 };
        let mut ladder =
            Self { steps, error_order, anchor: t, position: 0, level: 0, quiet: 0, deep, edge: 0 };
        ladder.open(t);
        ladder
    }

    fn unit(&self) -> f64 {
        halved(self.steps.base, self.steps.finest + HALVINGS)
    }

    fn stride(&self, level: u32) -> u64 {
        1 << (self.steps.finest + HALVINGS - level)
    }

    /// Length of a step at the present level, s.
    pub fn step(&self) -> f64 {
        halved(self.steps.base, self.level)
    }

    /// Present level: 0 for base steps.
    pub fn level(&self) -> u32 {
        self.level
    }

    /// Whether no finer level is left to an error.
    pub fn at_the_finest(&self) -> bool {
        self.level >= self.steps.finest
    }

    /// How many halvings the present step is below the finest.
    pub fn below_the_finest(&self) -> u32 {
        self.level.saturating_sub(self.steps.finest)
    }

    /// The shortest scheduled step, s.
    pub fn finest_step(&self) -> f64 {
        halved(self.steps.base, self.steps.finest)
    }

    /// End and length of the next step from t, which must not pass `stop`. The length of a step on the grid is the
    /// level's own, to the last bit, so that its prepared matrix is found again.
    pub fn next_end(&self, t: f64, stop: f64) -> (f64, f64) {
        let end = self.anchor + (self.position + self.stride(self.level)) as f64 * self.unit();
        let step = self.step();
        if (end - stop).abs() <= 1e-9 * step {
            (stop, step)
        } else if end > stop - 1e-3 * step {
            // A rest that is shorter than a thousandth of a step joins it.
            (stop, stop - t)
        } else {
            (end, step)
        }
    }

    /// A known edge or a jump at t: a window opens.
    pub fn open(&mut self, t: f64) {
        self.land(t);
        self.level = self.steps.finest;
        self.quiet = 0;
        if self.steps.finest > 0 {
            (self.edge, self.deep) = (DEEP, self.deep.max(DEEP));
        }
    }

    /// A step ended at t off the grid, without an edge.
    pub fn land(&mut self, t: f64) {
        self.anchor = t;
        self.position = 0;
    }

    /// The step to `end` was taken with this error ratio.
    pub fn accepted(&mut self, end: f64, error_ratio: f64) {
        let planned = self.anchor + (self.position + self.stride(self.level)) as f64 * self.unit();
        if end == planned && self.position < FAR {
            self.position += self.stride(self.level);
        } else {
            self.land(end);
        }
        if self.level > self.steps.finest {
            // Below the ladder because Newton failed, or for the error's sake: climb back as soon as it allows.
            let calm = if self.edge > 0 { RUSH } else { RELAX };
            (self.edge, self.deep) = (self.edge.saturating_sub(1), self.deep.saturating_sub(1));
            if self.deep == 0 || error_ratio * f64::from(1u32 << self.error_order) < calm {
                self.climb();
            }
            return;
        }
        if error_ratio <= 1.0 && self.steps.finest > 0 {
            (self.edge, self.deep) = (0, self.deep.saturating_add(EARNED));
        }
        if error_ratio > 1.0 && self.level < self.steps.finest {
            self.level += 1;
            self.quiet = 0;
            return;
        }
        let coarser = error_ratio * f64::from(1u32 << self.error_order);
        self.quiet = if coarser < RELAX { self.quiet + 1 } else { 0 };
        if self.level > 0 && self.quiet >= self.steps.hold_off {
            self.climb();
        }
    }

    fn climb(&mut self) {
        if self.position.is_multiple_of(self.stride(self.level - 1)) {
            self.level -= 1;
            self.quiet = 0;
        }
    }

    /// The next step shall be no longer than this, s, as far as the ladder goes.
    pub fn at_most(&mut self, longest: f64) {
        while self.step() > longest && self.level < self.steps.finest {
            self.level += 1;
            self.quiet = 0;
        }
    }

    /// The next step shall be shorter than this, s, as far as the ladder goes.
    pub fn shorter_than(&mut self, length: f64) {
        self.at_most(length * (1.0 - 1e-9));
    }

    /// Whether a step with this error ratio should be taken back; if so, the next one is finer.
    pub fn refuses(&mut self, error_ratio: f64) -> bool {
        // NaN is refused too.
        let accepted = error_ratio <= REFUSE;
        if accepted || self.level >= self.steps.finest {
            return false;
        }
        self.level += 1;
        self.quiet = 0;
        true
    }

    /// Whether a step of the finest length or a shorter one should be taken back because of its error; if so, the next
    /// one is shorter still. What an edge sets off can be over within a finest step, with all its energy.
    pub fn rushes(&mut self, error: f64) -> bool {
        let bound = match (self.edge > 0, self.level > self.steps.finest) {
            (true, true) => RUSH,
            (true, false) => RELAX,
            (false, _) => 1.0,
        };
        let accepted = error <= bound;
        let t = self.anchor + self.position as f64 * self.unit();
        let known = self.step() > PLACES * (t.abs().next_up() - t.abs());
        if accepted || self.deep == 0 || !self.at_the_finest() || !known {
            return false;
        }
        (self.edge, self.deep) = (self.edge.saturating_sub(1), self.deep - 1);
        self.halve()
    }

    /// Whether no shorter step is left, whatever the reason.
    pub fn is_shortest(&self) -> bool {
        self.level >= self.steps.finest + HALVINGS
    }

    /// Newton's iteration failed: halves the step. False when there is no finer one left.
    pub fn halve(&mut self) -> bool {
        if self.is_shortest() {
            return false;
        }
        self.level += 1;
        self.quiet = 0;
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn walk(ladder: &mut Ladder, until: f64, error_ratio: impl Fn(f64, f64) -> f64) -> Vec<f64> {
        let mut t = 0.0;
        let mut ends = Vec::new();
        while t < until {
            let (end, _) = ladder.next_end(t, until);
            if ladder.refuses(error_ratio(t, end - t)) {
                continue;
            }
            ladder.accepted(end, error_ratio(t, end - t));
            t = end;
            ends.push(end);
        }
        ends
    }

    #[test]
    fn a_calm_window_relaxes_to_the_base_step_and_stays_on_the_grid() {
        let steps = Steps { base: 1.0, finest: 4, hold_off: 2 };
        let mut ladder = Ladder::new(steps, 3, 0.0);
        let ends = walk(&mut ladder, 10.0, |_, _| 0.0);
        assert_eq!(&ends[..4], &[0.0625, 0.125, 0.25, 0.375]);
        assert_eq!(ladder.level(), 0);
        assert_eq!(ends.last(), Some(&10.0));
        let step_before_last = ends[ends.len() - 1] - ends[ends.len() - 2];
        assert_eq!(step_before_last, 1.0);
    }

    /// Lengths against what has passed since an edge: a quarter, a half, one.
    #[test]
    fn fewer_calm_steps_make_the_whole_window_coarser() {
        let count = |hold_off| {
            let mut ladder = Ladder::new(Steps { base: 1.0, finest: 10, hold_off }, 3, 0.0);
            walk(&mut ladder, 1.0, |_, _| 0.0).len()
        };
        let (four, two, one) = (count(4), count(2), count(1));
        assert!(four > 3 * two / 2 && two > 3 * one / 2, "{four} {two} {one}");
    }

    #[test]
    fn an_unannounced_error_opens_a_window() {
        let steps = Steps { base: 1.0, finest: 6, hold_off: 2 };
        let mut ladder = Ladder::new(steps, 3, 0.0);
        // Error of order 3 with a burst between 20 and 21.
        let burst = |t: f64, h: f64| if t + h > 20.0 && t < 21.0 { 3e3 * h * h * h } else { 0.0 };
        let ends = walk(&mut ladder, 40.0, burst);
        let inside = ends.iter().filter(|&&t| t > 20.0 && t < 21.0).count();
        assert!(inside >= 8, "{inside} steps in the burst");
        assert!(ends.len() < 80, "{} steps", ends.len());
    }

    #[test]
    fn default_steps_end_fine_enough() {
        for (end, base, finest) in [
            (5.2e-6, 5.2e-9, 5.2e-9 / 1024.0),
            (15e-3, 15e-6, 15e-6 / 262_144.0),
            (1e-3, 1e-6, 1e-6 / 16_384.0),
            (54e3, 54.0, 54.0 / 549_755_813_888.0),
        ] {
            let ladder = Ladder::new(Steps::over(end), 3, 0.0);
            assert!((ladder.steps.base / base - 1.0).abs() < 1e-12, "{ladder:?}");
            assert!((ladder.finest_step() / finest - 1.0).abs() < 1e-12, "{end}: {}", ladder.finest_step());
        }
        assert_eq!(Steps::of_base(f64::INFINITY).finest, Steps::DEEPEST);
    }

    #[test]
    fn halving_ends_somewhere() {
        let mut ladder = Ladder::new(Steps { base: 1.0, finest: 0, hold_off: 2 }, 3, 0.0);
        assert_eq!((0..100).take_while(|_| ladder.halve()).count() as u32, HALVINGS);
    }
}
