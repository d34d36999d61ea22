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

/// The last values of a quantity, and the extremes with those between steps.
#[derive(Clone, Debug)]
pub(super) struct Vertex<L> {
    /// The latest value first.
    past: [L; 2],
    /// Second derivative at the last three.
    curvature: L,
    /// Least and largest.
    pub least: L,
    pub most: L,
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

impl<L: Lane> Vertex<L> {
    pub fn new() -> Self {
        let zero = L::splat(0.0);
        let (least, most) = (L::splat(f64::INFINITY), L::splat(f64::NEG_INFINITY));
        Self { past: [zero; 2], curvature: zero, least, most }
    }

    /// The value at the end of a step; `steps`: as [`Pace::next`] tells.
    pub fn look(&mut self, value: L, steps: Option<(f64, f64)>) {
        (self.least, self.most) = (self.least.min(value), self.most.max(value));
        let [v1, v0] = self.past;
        self.past = [value, v1];
        let Some((a, b)) = steps else {
            self.curvature = L::splat(0.0);
            return;
        };
        let (rise, fall) = (v1 - v0, value - v1);
        let (before, after) = (rise * L::splat(1.0 / a), fall * L::splat(1.0 / b));
        let curvature = (after - before) * L::splat(2.0 / (a + b));
        let last = std::mem::replace(&mut self.curvature, curvature);
        // Neither largest nor least of the three in any lane: the usual case.
        if !L::any((rise * fall).le(L::splat(0.0))) {
            return;
        }
        let slope = before + curvature * L::splat(0.5 * a);
        let zero = L::splat(0.0);
        let beyond = slope * slope / (curvature + curvature);
        let goes_on = (curvature * last).gt(zero);
        let no_wilder = curvature.abs().le(last.abs() * L::splat(GOES_ON));
        let at = |turns: L::Mask| {
            let vertex = L::select(turns, v1 - beyond, v1);
            L::select(no_wilder, L::select(goes_on, vertex, v1), v1)
        };
        let turns = (rise * fall).le(zero);
        // Where all three are equal, the quotient is not a number; the comparison above has then failed.
        let vertex = at(turns);
        self.least = self.least.min(vertex);
        self.most = self.most.max(vertex);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Extremes of f over steps of h, with and without vertices.
    fn seen(f: impl Fn(f64) -> f64, h: f64, steps: usize) -> [(f64, f64); 2] {
        let (mut pace, mut vertex) = (Pace::default(), Vertex::<f64>::new());
        let (mut least, mut most) = (f64::INFINITY, f64::NEG_INFINITY);
        for k in 0..=steps {
            let (t, value) = (k as f64 * h, f(k as f64 * h));
            let both = pace.next(t);
            vertex.look(value, both);
            (least, most) = (least.min(value), most.max(value));
        }
        [(least, most), (vertex.least, vertex.most)]
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
        let (mut pace, mut vertex) = (Pace::default(), Vertex::<f64>::new());
        for (t, v) in [(0.0, 0.0), (1.0, 3.0), (2.0, 4.0)] {
            let both = pace.next(t);
            vertex.look(v, both);
        }
        pace.anew();
        for (t, v) in [(2.0, 4.0), (3.0, 3.0), (4.0, 0.0)] {
            let both = pace.next(t);
            vertex.look(v, both);
        }
        assert_eq!((vertex.least, vertex.most), (0.0, 4.0));
    }
}
