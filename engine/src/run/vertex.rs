//! Extremes between the ends of steps: the vertex of the parabola through three of them in a row.
//!
//! What is watched is read at the ends of steps, so a rounded peak between two of them is missed, by up to an eighth of
//! its change over a step. Through values v₀, v₁, v₂ with v₁ the largest (or the least), the parabola has slope m and
//! second derivative c at v₁, and its vertex lies m²/2c from it (any textbook of numerical analysis). A kink has no
//! vertex: the parabola counts only where its second derivative goes on from that of the three values before, and no
//! three values reach over an instant at which a course begins anew.

use crate::arithmetic::lane::Lane;

/// How much larger the second derivative may be than that of the three values before.
const GOES_ON: f64 = 4.0;

/// The last values of some quantities, and the extremes with those between steps. One entry per quantity in every list.
#[derive(Clone, Debug)]
pub(super) struct Vertices {
    /// The latest value first.
    past: [Vec<f64>; 2],
    /// Second derivative at the last three.
    curvature: Vec<f64>,
    /// Least and largest.
    pub least: Vec<f64>,
    pub most: Vec<f64>,
}

/// Lengths of the last two steps, s, and how many values are known; shared by all quantities.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Pace {
    last: f64,
    t: f64,
    known: u32,
}

impl Pace {
    /// A course begins anew: nothing before counts.
    pub fn anew(&mut self) {
        self.known = 0;
    }

    /// A value at t comes next; what it needs: the last two steps, if there are two.
    pub fn next(&mut self, t: f64) -> Option<(f64, f64)> {
        let step = t - self.t;
        let both = (self.known >= 2 && step > 0.0 && self.last > 0.0).then_some((self.last, step));
        // The same instant again: only the newest value counts.
        self.known = if self.known > 0 && step <= 0.0 { 1 } else { (self.known + 1).min(2) };
        (self.t, self.last) = (t, step);
        both
    }
}

impl Vertices {
    pub fn new(count: usize) -> Self {
        let all = |x: f64| vec![x; count];
        Self {
            past: [all(0.0), all(0.0)],
            curvature: all(0.0),
            least: all(f64::INFINITY),
            most: all(f64::NEG_INFINITY),
        }
    }

    /// The values at the end of a step; `steps`: as [`Pace::next`] tells. Without branches, so that it is done for
    /// several quantities at once.
    pub fn look(&mut self, values: &[f64], steps: Option<(f64, f64)>) {
        let n = values.len();
        let [v1, v0] = &mut self.past;
        let (v1, v0, values) = (&mut v1[..n], &mut v0[..n], &values[..n]);
        let (least, most, curvatures) = (&mut self.least[..n], &mut self.most[..n], &mut self.curvature[..n]);
        for k in 0..n {
            least[k] = Lane::min(least[k], values[k]);
            most[k] = Lane::max(most[k], values[k]);
        }
        if let Some((a, b)) = steps {
            let (per_a, per_b, per_both) = (1.0 / a, 1.0 / b, 2.0 / (a + b));
            for k in 0..n {
                let (rise, fall) = (v1[k] - v0[k], values[k] - v1[k]);
                let (before, after) = (rise * per_a, fall * per_b);
                let curvature = (after - before) * per_both;
                let last = curvatures[k];
                curvatures[k] = curvature;
                let slope = before + curvature * (0.5 * a);
                let beyond = slope * slope / (curvature + curvature);
                // Where all three are equal, the quotient is not a number; the comparisons have then failed.
                let turns = (rise * fall <= 0.0) & (curvature * last > 0.0);
                let goes_on = turns & (curvature.abs() <= last.abs() * GOES_ON);
                let vertex = if goes_on { v1[k] - beyond } else { v1[k] };
                least[k] = Lane::min(least[k], vertex);
                most[k] = Lane::max(most[k], vertex);
            }
        } else {
            curvatures.fill(0.0);
        }
        v0.copy_from_slice(v1);
        v1.copy_from_slice(values);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Extremes of f over steps of h, with and without vertices.
    fn seen(f: impl Fn(f64) -> f64, h: f64, steps: usize) -> [(f64, f64); 2] {
        let (mut pace, mut vertex) = (Pace::default(), Vertices::new(1));
        let (mut least, mut most) = (f64::INFINITY, f64::NEG_INFINITY);
        for k in 0..=steps {
            let (t, value) = (k as f64 * h, f(k as f64 * h));
            let both = pace.next(t);
            vertex.look(&[value], both);
            (least, most) = (least.min(value), most.max(value));
        }
        [(least, most), (vertex.least[0], vertex.most[0])]
    }

    /// A sine has extremes of −1 and 1.
    #[test]
    fn a_rounded_peak_between_steps_is_found() {
        for shift in [0.05, 0.1, 0.15] {
            let [(least, most), (low, high)] = seen(|t| (t + shift).sin(), 0.2, 40);
            let (missed, left) = ((1.0 - most).max(1.0 + least), (1.0 - high).abs().max((1.0 + low).abs()));
            assert!(left < 0.1 * missed, "shift {shift}: {missed} missed, {left} left");
        }
    }

    #[test]
    fn kinks_and_jumps_have_no_vertex() {
        for f in [
            |t: f64| if t < 2.1 { t } else { 2.1 - 10.0 * (t - 2.1) },
            |t: f64| if t < 2.1 { 1.0 } else { 0.0 },
            |t: f64| if t < 2.1 { 0.0 } else { 1.0 },
            |_: f64| 3.0,
        ] {
            let [(least, most), (low, high)] = seen(f, 0.2, 40);
            assert_eq!((least, most), (low, high));
        }
    }

    #[test]
    fn nothing_reaches_over_a_beginning() {
        let (mut pace, mut vertex) = (Pace::default(), Vertices::new(1));
        for (t, v) in [(0.0, 0.0), (1.0, 3.0), (2.0, 4.0)] {
            let both = pace.next(t);
            vertex.look(&[v], both);
        }
        pace.anew();
        for (t, v) in [(2.0, 4.0), (3.0, 3.0), (4.0, 0.0)] {
            let both = pace.next(t);
            vertex.look(&[v], both);
        }
        assert_eq!((vertex.least[0], vertex.most[0]), (0.0, 4.0));
    }
}
