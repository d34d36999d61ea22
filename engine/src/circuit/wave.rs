//! What independent sources do over time.

use crate::arithmetic::lane::Lane;

/// The course of an independent source. Values may differ from lane to lane, instants may not: they make the
/// step schedule, which all lanes share.
#[derive(Clone, Debug, PartialEq)]
pub enum Wave<L> {
    /// Always the same.
    Constant(L),
    /// Straight lines between points (time in s, value); constant before the first and after the last point.
    /// Two points at one instant make a jump.
    Points(Vec<(f64, L)>),
    /// offset + amplitude · sin(2π·frequency·(t − delay) + phase); offset alone before `delay`, where it jumps unless
    /// the phase is a multiple of π.
    Sine {
        /// Mean value.
        offset: L,
        /// Amplitude.
        amplitude: L,
        /// Hz.
        frequency: f64,
        /// rad.
        phase: f64,
        /// s.
        delay: f64,
    },
    /// A course that repeats: the points of one period, from 0 to `period`; constant before the first and after the
    /// last of them, so that it jumps at the period's end where these two differ.
    Periodic {
        /// s.
        period: f64,
        /// Points of one period, times in [0, period].
        points: Vec<(f64, L)>,
    },
    /// Driven during the run by a controller (a gate drive): the value held until it gives the first order.
    Driven(L),
}

/// On straight lines between points, each at its instant; at a jump the value before it or after it.
fn on_lines<L: Lane>(points: &[(f64, L)], instant: impl Fn(f64) -> f64, t: f64, after: bool) -> L {
    let k = points.partition_point(|p| if after { instant(p.0) <= t } else { instant(p.0) < t });
    on_line(points, k, instant, t)
}

/// The same where the number of points passed is known.
#[inline]
fn on_line<L: Lane>(points: &[(f64, L)], k: usize, instant: impl Fn(f64) -> f64, t: f64) -> L {
    if k == 0 {
        return points.first().map_or(L::splat(0.0), |p| p.1);
    }
    if k == points.len() {
        return points[k - 1].1;
    }
    let ((t0, a), (t1, b)) = (points[k - 1], points[k]);
    let (t0, t1) = (instant(t0), instant(t1));
    // To the bit at the corner itself, where the line may round.
    if t == t1 { b } else { a + (b - a) * L::splat((t - t0) / (t1 - t0)) }
}

/// The instant of a point of period number `turn`, s: n·period + p, rounded once. Everything that is asked of a
/// periodic course is answered from these instants, so that a step that ends at a corner is at that corner, whatever
/// the number of the period and whether or not the period has an end in binary. They never fall, and the end of a
/// period is the beginning of the next to the last bit.
fn instant(period: f64, turn: f64, p: f64) -> f64 {
    turn.mul_add(period, p)
}

/// The number of the period in which the instant t lies: it begins at or before t and ends after it; seen from
/// `before` t it begins before and ends at t at the latest.
fn turn(period: f64, t: f64, after: bool) -> f64 {
    let begun = |n: f64| if after { instant(period, n, 0.0) <= t } else { instant(period, n, 0.0) < t };
    // The quotient is rounded: it may be one off.
    let mut n = (t / period).floor();
    if !begun(n) {
        n -= 1.0;
    }
    if begun(n + 1.0) {
        n += 1.0;
    }
    n
}

impl<L: Lane> Wave<L> {
    /// The value just after the instant t, s.
    pub fn at(&self, t: f64) -> L {
        self.value(t, true)
    }

    /// The value just before the instant t, s: a step that ends at a jump must not see it.
    pub fn until(&self, t: f64) -> L {
        self.value(t, false)
    }

    /// The value just after an instant and just before a later one, s. `passed` has how many points had been passed when
    /// this was asked last: hardly ever another number.
    #[inline]
    pub fn ends(&self, (begin, end): (f64, f64), passed: &mut usize) -> (L, L) {
        match self {
            Self::Constant(x) | Self::Driven(x) => (*x, *x),
            Self::Points(points) => {
                let is = |k: usize, of: fn(f64, f64) -> bool| points.get(k).is_none_or(|p| of(p.0, begin));
                let still = *passed <= points.len()
                    && is(passed.wrapping_sub(1), |p, t| p <= t)
                    && is(*passed, |p, t| p > t);
                if !still {
                    *passed = points.partition_point(|p| p.0 <= begin);
                }
                // A step hardly ever reaches over a corner.
                let more = points[*passed..].iter().take_while(|p| p.0 < end).count();
                let value = |k: usize, t: f64| on_line(points, k, |p| p, t);
                (value(*passed, begin), value(*passed + more, end))
            }
            _ => (self.at(begin), self.until(end)),
        }
    }

    fn value(&self, t: f64, after: bool) -> L {
        match self {
            Self::Constant(x) | Self::Driven(x) => *x,
            Self::Points(points) => on_lines(points, |p| p, t, after),
            Self::Sine { offset, amplitude, frequency, phase, delay } => {
                if t < *delay || (t == *delay && !after) {
                    return *offset;
                }
                let turn = (t - delay) * frequency;
                // Whole turns are taken off first, so that the sine keeps its digits after many of them.
                let angle = std::f64::consts::TAU * (turn - turn.floor()) + phase;
                *offset + *amplitude * L::splat(angle.sin())
            }
            Self::Periodic { period, points } => {
                let n = turn(*period, t, after);
                on_lines(points, |p| instant(*period, n, p), t, after)
            }
        }
    }

    /// By how much a course that is not straight changes per second just after t.
    pub(crate) fn slope(&self, t: f64) -> L {
        match self {
            Self::Sine { amplitude, frequency, phase, delay, .. } if t >= *delay => {
                let turn = (t - delay) * frequency;
                let angle = std::f64::consts::TAU * (turn - turn.floor() + 0.25) + phase;
                *amplitude * L::splat(std::f64::consts::TAU * frequency * angle.sin())
            }
            _ => L::splat(0.0),
        }
    }

    /// Whether the course is straight between its corners.
    pub fn is_straight(&self) -> bool {
        !matches!(self, Self::Sine { .. })
    }

    /// The first corner strictly after t, where steps must end.
    pub fn next_corner(&self, t: f64) -> Option<f64> {
        match self {
            Self::Constant(_) | Self::Driven(_) => None,
            Self::Points(points) => points.get(points.partition_point(|p| p.0 <= t)).map(|p| p.0),
            Self::Sine { delay, .. } => (*delay > t).then_some(*delay),
            Self::Periodic { period, points } => {
                let n = turn(*period, t, true);
                let corner = |n: f64, p: f64| instant(*period, n, p);
                let k = points.partition_point(|p| corner(n, p.0) <= t);
                let (first, last) = (points.first()?, points.last()?);
                // The course need not come back to where it began: it then jumps where the period ends, point or not.
                let next = if first.1 == last.1 { first.0 } else { 0.0 };
                let next = points.get(k).map_or_else(|| corner(n + 1.0, next), |p| corner(n, p.0));
                // Beyond 2⁵³ periods instants no longer distinguish them.
                (next > t).then_some(next)
            }
        }
    }

    /// Whether the value jumps at the instant t.
    pub fn jumps_at(&self, t: f64) -> bool {
        match self {
            Self::Points(points) => {
                let first = points.partition_point(|p| p.0 < t);
                points[first..].iter().take_while(|p| p.0 == t).count() > 1
            }
            Self::Periodic { .. } | Self::Sine { .. } => self.at(t) != self.until(t),
            _ => false,
        }
    }
}

#[cfg(test)]
#[path = "wave_tests.rs"]
mod tests;
