//! Extremes between the ends of steps: the vertex of the parabola through three of them in a row.
//!
//! What is watched is read at the ends of steps, so a rounded peak between two of them is missed, by up to an eighth of
//! its change over a step. Through values v₀, v₁, v₂ with v₁ the largest (or the least), the parabola has slope m and
//! second derivative c at v₁, and its vertex lies m²/2c from it (any textbook of numerical analysis). A kink has no
//! vertex: the parabola counts only where its second derivative goes on from that of the three values before, and no
//! three values reach over an instant at which a course begins anew.

/// How much larger the second derivative may be than that of the three values before.
const GOES_ON: f64 = 4.0;

/// Lengths of two steps in a row, s.
pub(super) type Steps = (f64, f64);

/// Lengths of the last two steps, s, and how many values are known; shared by all quantities.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Pace {
    last: f64,
    t: f64,
    known: u32,
    both: Option<Steps>,
}

impl Pace {
    /// A course begins anew: nothing before counts.
    pub fn anew(&mut self) {
        self.known = 0;
    }

    /// A value at t comes next; what it needs: the last two steps, if there are two, and the two before at the value
    /// before.
    pub fn next(&mut self, t: f64) -> [Option<Steps>; 2] {
        let step = t - self.t;
        let both = (self.known >= 2 && step > 0.0 && self.last > 0.0).then_some((self.last, step));
        // The same instant again: only the newest value counts.
        self.known = if self.known > 0 && step <= 0.0 { 1 } else { (self.known + 1).min(2) };
        (self.t, self.last) = (t, step);
        [both, std::mem::replace(&mut self.both, both)]
    }
}

/// How far beyond the second of three values a vertex lies at most, over the change to it and from it: with p and −q the
/// slopes before and after, the vertex lies (bp − aq)²/4(a + b)(p + q) beyond, of which either product alone is more. At
/// least one, so that the third value is within.
pub(super) fn reach((a, b): Steps) -> (f64, f64) {
    let share = |r: f64| (1.001 * r * r / (4.0 * (1.0 + r))).max(1.0);
    (share(b / a), share(a / b))
}

/// Second derivative, and slope at the end of the first step.
fn bend(v0: f64, v1: f64, v2: f64, (a, b): Steps) -> (f64, f64) {
    let (before, after) = ((v1 - v0) * (1.0 / a), (v2 - v1) * (1.0 / b));
    ((after - before) * (2.0 / (a + b)), before)
}

/// The vertex near v1 of the parabola through the last three of `[v2, v1, v0, v]` (the latest first), else v1; the steps
/// as [`Pace::next`] tells.
pub(super) fn vertex([v2, v1, v0, v]: [f64; 4], [both, before]: [Option<Steps>; 2]) -> f64 {
    let Some(steps) = both else { return v2 };
    let (curvature, slope) = bend(v0, v1, v2, steps);
    let last = before.map_or(0.0, |before| bend(v, v0, v1, before).0);
    let slope = slope + curvature * (0.5 * steps.0);
    let turns = (v1 - v0) * (v2 - v1) <= 0.0 && curvature * last > 0.0;
    // Where all three are equal, the quotient is not a number; the comparisons have then failed.
    let goes_on = turns && curvature.abs() <= last.abs() * GOES_ON;
    if goes_on { v1 - slope * slope / (curvature + curvature) } else { v1 }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Extremes of f over steps of h, with and without vertices.
    fn seen(f: impl Fn(f64) -> f64, h: f64, steps: usize) -> [(f64, f64); 2] {
        let (mut pace, mut past) = (Pace::default(), [0.0; 4]);
        let mut seen = [(f64::INFINITY, f64::NEG_INFINITY); 2];
        for k in 0..=steps {
            let (t, value) = (k as f64 * h, f(k as f64 * h));
            past.rotate_right(1);
            past[0] = value;
            let vertex = vertex(past, pace.next(t));
            seen[0] = (seen[0].0.min(value), seen[0].1.max(value));
            seen[1] = (seen[1].0.min(vertex).min(value), seen[1].1.max(vertex).max(value));
        }
        seen
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
        let (mut pace, mut past) = (Pace::default(), [0.0; 4]);
        for (k, (t, v)) in
            [(0.0, 0.0), (1.0, 3.0), (2.0, 4.0), (2.0, 4.0), (3.0, 3.0), (4.0, 0.0)].into_iter().enumerate()
        {
            if k == 3 {
                pace.anew();
            }
            past.rotate_right(1);
            past[0] = v;
            let vertex = vertex(past, pace.next(t));
            assert!((0.0..=4.0).contains(&vertex), "{vertex}");
        }
    }

    /// Random triples of values and steps: no vertex lies further beyond the middle one than told.
    #[test]
    fn no_vertex_is_out_of_reach() {
        let mut noise = 1u64;
        let mut random = || {
            noise = noise.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
            (noise >> 11) as f64 / (1u64 << 53) as f64
        };
        let mut furthest = 0.0f64;
        for _ in 0..20_000 {
            let steps = (10f64.powf(6.0 * random() - 3.0), 10f64.powf(6.0 * random() - 3.0));
            let (v0, v2) = (-random(), -random());
            // It bends as much before.
            let (curvature, slope) = bend(v0, 0.0, v2, steps);
            let v = v0 - (slope - 0.5 * curvature * steps.0) + 0.5 * curvature;
            let found = vertex([v2, 0.0, v0, v], [Some(steps), Some((1.0, steps.0))]);
            let (rise, fall) = reach(steps);
            let bound = (rise * v0.abs()).max(fall * v2.abs());
            assert!(found <= bound, "{found} and {bound}: {v0}, {v2}, {steps:?}");
            furthest = furthest.max(found / bound);
        }
        assert!(furthest > 0.5, "{furthest}");
    }
}
