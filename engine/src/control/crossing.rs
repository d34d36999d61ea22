//! Instants at which a quantity crosses a level between two step boundaries, on the straight line between them.

/// Which side of a level counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sense {
    /// x > level.
    Above,
    /// x < level.
    Below,
    /// |x| > level, level ≥ 0.
    Magnitude,
}

/// The straight line between two boundaries.
#[derive(Clone, Copy, Debug)]
pub struct Stretch {
    /// Instant of the previous boundary, s.
    pub before: f64,
    /// This instant, s.
    pub t: f64,
    /// Value there.
    pub then: f64,
    /// Value here.
    pub now: f64,
}

impl Stretch {
    /// How long the straight line is above a level, s.
    pub(crate) fn above(&self, level: f64) -> f64 {
        let mut at = self.before;
        let mut is = Sense::Above.exceeds(self.then, level);
        let mut sum = 0.0;
        for (instant, exceeds) in self.crossings(Sense::Above, level) {
            sum += if is { instant - at } else { 0.0 };
            (at, is) = (instant, exceeds);
        }
        sum + if is { self.t - at } else { 0.0 }
    }

    /// Value at an instant of the stretch.
    pub fn at(&self, instant: f64) -> f64 {
        if self.t <= self.before {
            return self.now;
        }
        self.then + (self.now - self.then) * ((instant - self.before) / (self.t - self.before))
    }

    fn reaches(&self, level: f64) -> f64 {
        if self.t <= self.before {
            return self.t;
        }
        let share = (level - self.then) / (self.now - self.then);
        (self.before + (self.t - self.before) * share).clamp(self.before, self.t)
    }

    /// Crossings of a level in order of time, each with whether the level is exceeded after it. Two occur when a
    /// magnitude passes through zero from one side to the other.
    pub fn crossings(&self, sense: Sense, level: f64) -> impl Iterator<Item = (f64, bool)> + use<> {
        let (was, is) = (sense.exceeds(self.then, level), sense.exceeds(self.now, level));
        let signed = |x: f64| if sense == Sense::Magnitude { level.copysign(x) } else { level };
        let flips = sense == Sense::Magnitude && (self.then > 0.0) != (self.now > 0.0);
        let down = (was && (!is || flips)).then(|| (self.reaches(signed(self.then)), false));
        let up = (is && (!was || flips)).then(|| (self.reaches(signed(self.now)), true));
        [down, up].into_iter().flatten()
    }

    /// The longest step that may follow, s, where a crossing matters to within `slack` s: half the time that is left at
    /// the present slope, so that steps shrink as the level comes near.
    pub fn approach(&self, sense: Sense, level: f64, slack: f64) -> f64 {
        let fold = |x: f64| if sense == Sense::Magnitude { x.abs() } else { x };
        let (then, now) = (fold(self.then), fold(self.now));
        let left = (level - now) * (self.t - self.before) / (now - then);
        // Backwards, beyond the level, or not moving (NaN): nothing comes near.
        if left > 0.0 && !sense.exceeds(self.now, level) { slack.max(0.5 * left) } else { f64::INFINITY }
    }

    /// ∫ x² dt between two instants of the stretch, exact on the straight line.
    pub fn square_integral(&self, from: f64, to: f64) -> f64 {
        let (a, b) = (self.at(from), self.at(to));
        (to - from) * (a * a + a * b + b * b) / 3.0
    }
}

impl Sense {
    /// Whether a value is beyond the level.
    pub fn exceeds(self, x: f64, level: f64) -> bool {
        match self {
            Self::Above => x > level,
            Self::Below => x < level,
            Self::Magnitude => x.abs() > level,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_shrink_before_a_crossing() {
        let s = Stretch { before: 1.0, t: 2.0, then: 4.0, now: 6.0 };
        assert_eq!(s.approach(Sense::Above, 10.0, 0.1), 1.0);
        assert_eq!(s.approach(Sense::Above, 10.0, 3.0), 3.0);
        assert_eq!(s.approach(Sense::Magnitude, 10.0, 0.1), 1.0);
        assert_eq!(s.approach(Sense::Below, 3.0, 0.1), f64::INFINITY);
        assert_eq!(s.approach(Sense::Above, 5.0, 0.1), f64::INFINITY);
        assert_eq!(Stretch { now: 4.0, ..s }.approach(Sense::Above, 10.0, 0.1), f64::INFINITY);
    }

    #[test]
    fn a_magnitude_that_changes_sign_crosses_twice() {
        let s = Stretch { before: 1.0, t: 2.0, then: 4.0, now: -4.0 };
        let found: Vec<_> = s.crossings(Sense::Magnitude, 2.0).collect();
        assert_eq!(found, [(1.25, false), (1.75, true)]);
        assert_eq!(s.crossings(Sense::Above, 2.0).collect::<Vec<_>>(), [(1.25, false)]);
        assert_eq!(s.crossings(Sense::Below, -2.0).collect::<Vec<_>>(), [(1.75, true)]);
        assert_eq!(s.crossings(Sense::Magnitude, 5.0).count(), 0);
        // From 4 to −4 in 1 s: twice the triangle's I²t/3 (∫ of a straight line squared) with I = 4, t = 0.5.
        assert!((s.square_integral(1.0, 2.0) - 2.0 * 16.0 * 0.5 / 3.0).abs() < 1e-15);
    }

    #[test]
    fn a_straight_line_is_above_a_level_for_a_part_of_it() {
        let s = |then, now| Stretch { before: 1.0, t: 3.0, then, now };
        assert_eq!(s(0.0, 4.0).above(1.0), 1.5);
        assert_eq!(s(4.0, 0.0).above(1.0), 1.5);
        assert_eq!(s(4.0, 4.0).above(1.0), 2.0);
        assert_eq!(s(0.0, 1.0).above(1.0), 0.0);
    }
}
