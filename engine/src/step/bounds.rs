//! How large the local error of a step may be: bounds, and the gauge that holds errors against them.
//!
//! What is stated is absolute. By default a bound is a floor plus a fraction of the largest value that the unknown has
//! had so far, in each lane by itself: a current of milliamperes beside one of hundreds of amperes is then as right as
//! that, and rounding stays far below.

use super::tolerance::Tolerance;
use crate::arithmetic::lane::Lane;
use crate::arithmetic::vector::zeros;
use crate::equations::system::System;

/// A bound of the local error: absolute + relative · largest value so far.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bound {
    /// V or A.
    pub absolute: f64,
    /// Fraction.
    pub relative: f64,
}

impl Bound {
    /// Where none is stated: 1 µV or 1 µA, and 2e-5 of the largest value so far. The ring modulator among the published
    /// initial-value problems decides: its ringing (quality 900) collects the errors of a thousand steps, and ends 5.7
    /// % off at 1e-4, 1.9 % at 3e-5, 0.14 % at 2e-5, 0.03 % at 1e-5; the steps are a quarter more than at 1e-4.
    pub const DEFAULT: Self = Self { absolute: 1e-6, relative: 2e-5 };

    /// As stated, V or A.
    pub const fn stated(absolute: f64) -> Self {
        Self { absolute, relative: 0.0 }
    }

    /// The bound of an unknown that has been as large as this.
    fn at(&self, largest: f64) -> f64 {
        self.absolute + self.relative * largest
    }

    /// The change that Newton's iteration may end with: see [`Bounds::tolerance`].
    fn for_largest(&self, largest: f64) -> f64 {
        (10.0 * self.at(largest)).min(10e-3).max(self.absolute / 3.0)
    }
}

/// Bounds against which the local error of a step is measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// Of voltages.
    pub voltage: Bound,
    /// Of currents.
    pub current: Bound,
    /// Factor of both, and of the tolerance that fits them: 1, but for the coarser and finer runs of an estimate.
    pub coarser: f64,
}

impl Default for Bounds {
    fn default() -> Self {
        Self { voltage: Bound::DEFAULT, current: Bound::DEFAULT, coarser: 1.0 }
    }
}

/// The least that the largest voltage and current count as where a tolerance is made to fit, V and A: circuits that
/// start from nothing.
const LEAST: f64 = 1e-3;

impl Bounds {
    /// Absolute bounds, V and A.
    pub const fn stated(volt: f64, ampere: f64) -> Self {
        Self { voltage: Bound::stated(volt), current: Bound::stated(ampere), coarser: 1.0 }
    }

    /// The tolerance of Newton's iteration that goes with them, in a circuit whose largest voltage and current at the
    /// start are these. What it leaves is of the order of its square, so ten bounds would do; but a loose one hides a
    /// device in change from the rule of three iterations: with a tolerance of 0.1 V REF-1's turn-on energy is wrong by
    /// 0.6 %, with 10 mV by 1e-5.
    pub fn tolerance(&self, volt: f64, ampere: f64) -> Tolerance {
        let (voltage, current) =
            (self.voltage.for_largest(volt.max(LEAST)), self.current.for_largest(ampere.max(LEAST)));
        Tolerance { voltage, current, ..Tolerance::default() }.loosened(self.coarser)
    }
}

/// Holds the local error of every unknown against its bound.
#[derive(Clone, Debug)]
pub(super) struct Gauge<L> {
    /// One over the bound of each unknown's local error; zero where it does not count.
    pub(super) scale: Vec<L>,
    /// Largest value of each unknown so far.
    largest: Vec<L>,
    absolute: Vec<L>,
    relative: Vec<L>,
    /// Whether some bound grows with its unknown.
    follows: bool,
}

impl<L: Lane> Gauge<L> {
    pub(super) fn new(system: &System<L>, bounds: &Bounds) -> Self {
        let [mut absolute, mut relative, largest, scale] = std::array::from_fn(|_| zeros(system.n + 1));
        absolute.fill(L::splat(f64::INFINITY));
        for k in (0..system.n).filter(|&k| system.judged[k]) {
            let bound = if system.is_voltage[k] { bounds.voltage } else { bounds.current };
            absolute[k] = L::splat(bound.absolute * bounds.coarser);
            relative[k] = L::splat(bound.relative * bounds.coarser);
        }
        let follows = [bounds.voltage, bounds.current].iter().any(|b| b.relative > 0.0);
        let mut gauge = Self { scale, largest, absolute, relative, follows };
        gauge.rescale();
        gauge
    }

    /// The past is forgotten: these are the first values.
    pub(super) fn begin(&mut self, x: &[L]) {
        self.largest.fill(L::splat(0.0));
        self.see(x, u32::MAX);
        self.rescale();
    }

    /// These values have been reached in some lanes.
    #[inline(always)]
    pub(super) fn see(&mut self, x: &[L], lanes: u32) {
        if !self.follows {
            return;
        }
        let mut grew = false;
        if L::WIDTH > 1 {
            let mask = L::mask(lanes);
            for (largest, x) in self.largest.iter_mut().zip(x) {
                let size = L::select(mask, x.abs(), *largest);
                grew |= L::any(size.gt(*largest));
                *largest = L::select(size.gt(*largest), size, *largest);
            }
        } else {
            for (largest, x) in self.largest.as_chunks_mut::<8>().0.iter_mut().zip(x.as_chunks::<8>().0) {
                let (old, size) = (*largest, x.map(L::abs));
                for k in 0..8 {
                    grew |= L::all(size[k].gt(old[k]));
                }
                *largest = std::array::from_fn(|k| L::select(size[k].gt(old[k]), size[k], old[k]));
            }
        }
        if grew {
            self.rescale();
        }
    }

    /// The bound of an unknown that is now as large as this.
    pub(super) fn bound(&self, k: usize, now: L) -> L {
        self.absolute[k] + self.relative[k] * self.largest[k].max(now.abs())
    }

    fn rescale(&mut self) {
        let one = L::splat(1.0);
        if L::WIDTH > 1 {
            let bounds = self.absolute.iter().zip(&self.relative).zip(&self.largest);
            self.scale.iter_mut().zip(bounds).for_each(|(s, ((a, r), m))| *s = one / (*a + *r * *m));
            return;
        }
        let bounds = self.absolute.as_chunks::<8>().0.iter().zip(self.relative.as_chunks::<8>().0);
        let rest = bounds.zip(self.largest.as_chunks::<8>().0);
        for (scale, ((a, r), m)) in self.scale.as_chunks_mut::<8>().0.iter_mut().zip(rest) {
            *scale = std::array::from_fn(|k| one / (a[k] + r[k] * m[k]));
        }
    }

    /// The largest values of each unknown so far, to be taken up again by [`Gauge::restore`].
    pub(super) fn largest(&self) -> &[L] {
        &self.largest
    }

    pub(super) fn restore(&mut self, largest: Vec<L>) {
        self.largest = largest;
        self.rescale();
    }

    /// Takes the gauge of a run into a lane.
    pub(super) fn load(&mut self, lane: usize, own: &Gauge<f64>) {
        self.follows |= own.follows;
        let pairs = [
            (&mut self.scale, &own.scale),
            (&mut self.largest, &own.largest),
            (&mut self.absolute, &own.absolute),
            (&mut self.relative, &own.relative),
        ];
        for (mine, theirs) in pairs {
            mine.iter_mut().zip(theirs).for_each(|(mine, theirs)| mine.set_lane(lane, *theirs));
        }
    }
}

impl Gauge<f64> {
    /// Takes what a lane has seen.
    pub(super) fn store<K: Lane>(&mut self, all: &Gauge<K>, lane: usize) {
        self.largest.iter_mut().zip(&all.largest).for_each(|(mine, theirs)| *mine = theirs.lane(lane));
        self.rescale();
    }
}
