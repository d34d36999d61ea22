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
    /// offset + amplitude · sin(2π·frequency·(t − delay) + phase); offset alone before `delay`.
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
    /// A course that repeats: the points of one period, from 0 to `period`.
    Periodic {
        /// s.
        period: f64,
        /// Points of one period, times in [0, period].
        points: Vec<(f64, L)>,
    },
    /// Driven during the run by a controller (a gate drive): the value held until it gives the first order.
    Driven(L),
}

/// On straight lines between points; at a jump the value before it or after it.
fn on_lines<L: Lane>(points: &[(f64, L)], t: f64, after: bool) -> L {
    let k = points.partition_point(|p| if after { p.0 <= t } else { p.0 < t });
    if k == 0 {
        return points.first().map_or(L::splat(0.0), |p| p.1);
    }
    if k == points.len() {
        return points[k - 1].1;
    }
    let ((t0, a), (t1, b)) = (points[k - 1], points[k]);
    a + (b - a) * L::splat((t - t0) / (t1 - t0))
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

    fn value(&self, t: f64, after: bool) -> L {
        match self {
            Self::Constant(x) | Self::Driven(x) => *x,
            Self::Points(points) => on_lines(points, t, after),
            Self::Sine { offset, amplitude, frequency, phase, delay } => {
                if t < *delay {
                    return *offset;
                }
                let turn = (t - delay) * frequency;
                // Whole turns are taken off first, so that the sine keeps its digits after many of them.
                let angle = std::f64::consts::TAU * (turn - turn.floor()) + phase;
                *offset + *amplitude * L::splat(angle.sin())
            }
            Self::Periodic { period, points } => {
                let into = t - (t / period).floor() * period;
                // The end of a period belongs to it when asked for the value before.
                let into = if !after && into == 0.0 && t > 0.0 { *period } else { into };
                on_lines(points, into, after)
            }
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
                let turns = (t / period).floor();
                (0..2)
                    .flat_map(|k| points.iter().map(move |p| (turns + k as f64) * period + p.0))
                    .find(|&c| c > t)
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
            Self::Periodic { .. } => self.at(t) != self.until(t),
            _ => false,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_corners_and_jumps() {
        let w = Wave::Points(vec![(1.0, 0.0), (2.0, 10.0), (3.0, 10.0), (3.0, 4.0)]);
        assert_eq!(w.at(0.0), 0.0);
        assert_eq!(w.at(1.5), 5.0);
        assert_eq!((w.until(3.0), w.at(3.0)), (10.0, 4.0));
        assert_eq!(w.next_corner(2.0), Some(3.0));
        assert!(w.jumps_at(3.0) && !w.jumps_at(2.0));
        let p = Wave::Periodic { period: 2.0, points: vec![(0.0, 0.0), (1.0, 1.0), (2.0, 0.0)] };
        assert_eq!(p.at(5.0), 1.0);
        assert_eq!(p.next_corner(4.0), Some(5.0));
    }
}
