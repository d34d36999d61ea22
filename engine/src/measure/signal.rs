//! Samples, with straight lines between them.

use super::MeasureError;

/// A quantity at instants (s) that do not fall; between them it is straight. At a jump two samples stand at one
/// instant, or at one number and the next: at that instant the quantity has the value after the jump, a stretch that
/// ends there has the value before it.
#[derive(Clone, Copy, Debug)]
pub struct Signal<'a> {
    time: &'a [f64],
    values: &'a [f64],
}

impl<'a> Signal<'a> {
    /// From instants (s) and the values there.
    ///
    /// # Errors
    /// Fewer than two samples, lengths that differ, instants that fall, or a sample that is not finite.
    pub fn new(time: &'a [f64], values: &'a [f64]) -> Result<Self, MeasureError> {
        let wrong = |what: String| Err(MeasureError::Samples(what));
        if time.len() < 2 || time.len() != values.len() {
            return wrong(format!(
                "{} instants and {} values; expected two or more, and as many of the one as of the other",
                time.len(),
                values.len()
            ));
        }
        if let Some(k) = (0..time.len()).find(|&k| !time[k].is_finite() || !values[k].is_finite()) {
            return wrong(format!("sample {k} is {} at {} s; expected finite numbers", values[k], time[k]));
        }
        if let Some(w) = time.windows(2).find(|w| w[1] < w[0]) {
            return wrong(format!(
                "the instant {} s comes after {} s; expected instants in order",
                w[1], w[0]
            ));
        }
        Ok(Self { time, values })
    }

    /// The last instant, s.
    pub fn end(&self) -> f64 {
        self.time[self.time.len() - 1]
    }

    /// The value at t (s), just after a jump there; before the first and after the last sample their values.
    pub fn at(&self, t: f64) -> f64 {
        self.value(self.after(t), t)
    }

    /// The value just before t (s); before the first and after the last sample their values.
    pub fn until(&self, t: f64) -> f64 {
        self.value(self.time.partition_point(|&x| x < t), t)
    }

    /// How many samples there are up to the instant t, with what follows a jump there.
    fn after(&self, t: f64) -> usize {
        self.time.partition_point(|&x| x <= t.next_up())
    }

    /// On the line that ends at sample `k`.
    fn value(&self, k: usize, t: f64) -> f64 {
        if k == 0 || k == self.time.len() {
            return self.values[k.min(self.time.len() - 1)];
        }
        let (a, b) = (self.time[k - 1], self.time[k]);
        let share = ((t - a) / (b - a)).clamp(0.0, 1.0);
        self.values[k - 1] + (self.values[k] - self.values[k - 1]) * share
    }

    /// The first instant from `from` on at which the signal is at or above (`up`) or at or below a level, s.
    fn reaches(&self, level: f64, up: bool, from: f64) -> Option<f64> {
        let beyond = |v: f64| if up { v >= level } else { v <= level };
        if from > self.end() {
            return None;
        }
        if beyond(self.at(from)) {
            return Some(from.max(self.time[0]));
        }
        let first = self.after(from);
        let k = first + self.values[first..].iter().position(|&v| beyond(v))?;
        let (mut a, mut va) = (from, self.at(from));
        if k > first {
            (a, va) = (self.time[k - 1], self.values[k - 1]);
        }
        let (b, vb) = (self.time[k], self.values[k]);
        Some(if vb == va { b } else { a + (level - va) / (vb - va) * (b - a) })
    }

    /// The first instant from `from` (s) on at which the signal is at or above a level, s.
    pub fn rises_to(&self, level: f64, from: f64) -> Option<f64> {
        self.reaches(level, true, from)
    }

    /// The first instant from `from` (s) on at which the signal is at or below a level, s.
    pub fn falls_to(&self, level: f64, from: f64) -> Option<f64> {
        self.reaches(level, false, from)
    }

    /// Largest value between two instants (s) and when it is first there, s.
    pub fn largest(&self, from: f64, to: f64) -> (f64, f64) {
        let mut best = (self.at(from), from);
        for (t, v) in self.between(from, to).chain([(to, self.until(to))]) {
            if v > best.0 {
                best = (v, t);
            }
        }
        best
    }

    /// Smallest value between two instants (s) and when it is first there, s.
    pub fn smallest(&self, from: f64, to: f64) -> (f64, f64) {
        let mut best = (self.at(from), from);
        for (t, v) in self.between(from, to).chain([(to, self.until(to))]) {
            if v < best.0 {
                best = (v, t);
            }
        }
        best
    }

    /// Numbers of the samples between two instants, without a jump at either.
    fn inside(&self, from: f64, to: f64) -> std::ops::Range<usize> {
        let first = self.after(from);
        first..self.time.partition_point(|&x| x < to).max(first)
    }

    /// The samples between two instants.
    fn between(&self, from: f64, to: f64) -> impl Iterator<Item = (f64, f64)> + '_ {
        self.inside(from, to).map(|k| (self.time[k], self.values[k]))
    }

    /// ∫ dt between two instants (s), in the signal's unit times s: exact for straight lines.
    pub fn integral(&self, from: f64, to: f64) -> f64 {
        let (mut t, mut v) = (from, self.at(from));
        let mut sum = 0.0;
        for (b, vb) in self.between(from, to).chain([(to, self.until(to))]) {
            sum += 0.5 * (v + vb) * (b - t);
            (t, v) = (b, vb);
        }
        sum
    }

    /// ∫ self·other dt between two instants (s): the energy (J) of a voltage (V) and a current (A). Exact for straight
    /// lines (Simpson's rule on each piece). The other signal must have the same instants.
    pub fn product(&self, other: &Self, from: f64, to: f64) -> f64 {
        let (mut t, mut a, mut b) = (from, self.at(from), other.at(from));
        let mut sum = 0.0;
        let samples = self.inside(from, to).map(|k| {
            let y = other.values.get(k).copied().unwrap_or(f64::NAN);
            (self.time[k], self.values[k], y)
        });
        for (next, x, y) in samples.chain([(to, self.until(to), other.until(to))]) {
            sum += (next - t) / 6.0 * (a * b + (a + x) * (b + y) + x * y);
            (t, a, b) = (next, x, y);
        }
        sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn levels_extremes_and_integrals_of_straight_lines() {
        let (t, v) = ([0.0, 1.0, 2.0, 4.0], [0.0, 10.0, 0.0, 4.0]);
        let s = Signal::new(&t, &v).unwrap();
        assert_eq!(s.rises_to(5.0, 0.0), Some(0.5));
        assert_eq!(s.falls_to(5.0, 0.6), Some(1.5));
        assert_eq!(s.falls_to(5.0, 0.2), Some(0.2));
        assert_eq!(s.rises_to(2.0, 2.5), Some(3.0));
        assert_eq!(s.rises_to(11.0, 0.0), None);
        assert_eq!(s.rises_to(1.0, 9.0), None);
        assert_eq!((s.largest(0.0, 4.0), s.largest(1.5, 4.0)), ((10.0, 1.0), (5.0, 1.5)));
        assert_eq!(s.smallest(0.5, 4.0), (0.0, 2.0));
        assert_eq!(s.integral(0.0, 2.0), 10.0);
        assert_eq!(s.integral(0.5, 1.0), 3.75);
        // ∫ t² dt of the line with itself.
        assert!((s.product(&s, 0.0, 1.0) - 100.0 / 3.0).abs() < 1e-12);
    }

    /// A pulse of 2 from 1 s to 3 s, its jumps at one instant or at neighbouring numbers.
    #[test]
    fn jumps_belong_to_the_side_from_which_they_are_looked_at() {
        for time in [[0.0, 1.0, 1.0, 3.0, 3.0, 4.0], [0.0, 1.0, 1f64.next_up(), 3.0, 3f64.next_up(), 4.0]] {
            let v = [0.0, 0.0, 2.0, 2.0, 0.0, 0.0];
            let s = Signal::new(&time, &v).unwrap();
            let near = |x: f64, y: f64| assert!((x - y).abs() < 1e-14, "{x}, expected {y}");
            assert_eq!([s.until(1.0), s.at(1.0), s.until(3.0), s.at(3.0)], [0.0, 2.0, 2.0, 0.0]);
            for (from, to, area) in
                [(0.0, 4.0, 4.0), (0.0, 1.0, 0.0), (1.0, 3.0, 4.0), (3.0, 4.0, 0.0), (0.5, 2.0, 2.0)]
            {
                near(s.integral(from, to), area);
                near(s.product(&s, from, to), 2.0 * area);
            }
            assert_eq!(
                (s.largest(3.0, 4.0).0, s.largest(0.0, 1.0).0, s.smallest(1.0, 3.0).0),
                (0.0, 0.0, 2.0)
            );
            assert_eq!((s.rises_to(1.0, 0.0), s.falls_to(1.0, 1.5)), (Some(1.0), Some(3.0)));
        }
    }

    #[test]
    fn wrong_samples_are_refused() {
        assert!(Signal::new(&[0.0], &[1.0]).is_err());
        assert!(Signal::new(&[0.0, 1.0], &[1.0]).is_err());
        assert!(Signal::new(&[1.0, 0.0], &[1.0, 1.0]).is_err());
        assert!(Signal::new(&[0.0, 1.0], &[1.0, f64::NAN]).is_err());
    }
}
