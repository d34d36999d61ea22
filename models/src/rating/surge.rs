//! Surges: how hot a pulse makes the junctions, the largest pulse that they stand, the longest one at a current.

use joulestep_engine::thermal::run::Thermal;

use super::pulse::Shape;
use super::{Carried, Conducts, HeatPath, MOST_DIES};

/// Steps in which a pulse is resolved. Halving them moves the largest current by less than 1e-3 (see the tests).
const STEPS: usize = 120;
/// The largest current is found to this fraction.
const EXACT: f64 = 1e-5;
/// Largest current tried, A.
const MOST: f64 = 1e6;

/// What a pulse did.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Outcome {
    /// All junctions stayed within the limit.
    Held(Peaks),
    /// A junction passed it.
    TooHot {
        /// The die.
        die: usize,
        /// When, s.
        at: f64,
    },
    /// The current was more than the part carries at its temperatures.
    Saturated {
        /// When, s.
        at: f64,
    },
}

/// Extremes of a pulse.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Peaks {
    /// Hottest of each die, °C.
    pub celsius: [f64; MOST_DIES],
    /// Largest drop, V.
    pub drop: f64,
    /// Energy turned into heat, J.
    pub energy: f64,
}

/// What ends a rating.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ends {
    /// A die's junction temperature, by the number of the die.
    Junction(usize),
    /// Saturation: the part does not carry more, however short the pulse.
    Saturation,
    /// Nothing up to the largest value tried.
    Nothing,
}

/// A point of a rating curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Width of the pulse, s (what that means depends on the shape).
    pub width: f64,
    /// Largest peak current, A.
    pub current: f64,
    /// Let-through I²t of the whole pulse, A²s.
    pub i2t: f64,
    /// What ends it.
    pub ends: Ends,
    /// At that current.
    pub peaks: Peaks,
}

/// A part on its heat path under a pulse.
#[derive(Debug)]
pub struct Surge<'a, C: Conducts + ?Sized> {
    part: &'a C,
    path: &'a HeatPath,
    /// Junction temperature that no die may pass, °C.
    hottest: f64,
    /// Network at the start of each pulse.
    start: Thermal<f64>,
    thermal: Thermal<f64>,
    steps: usize,
}

impl<'a, C: Conducts + ?Sized> Surge<'a, C> {
    /// From the steady state with `before` watts in each die (nothing: at the heatsink's temperature).
    #[inline(never)]
    pub fn new(part: &'a C, path: &'a HeatPath, hottest: f64, before: &[f64]) -> Self {
        let start = path.start(before);
        Self { part, path, hottest, thermal: start.clone(), start, steps: STEPS }
    }

    /// The same with another number of steps per pulse.
    pub fn with_steps(mut self, steps: usize) -> Self {
        self.steps = steps.max(4);
        self
    }

    /// A pulse of a peak current, A, and width, s. Over each step the heat is the mean of those at its ends, and the
    /// network is advanced exactly.
    #[inline(never)]
    pub fn pulse(&mut self, shape: Shape, peak: f64, width: f64) -> Outcome {
        let dies = self.part.dies();
        self.thermal.restore(self.start.state());
        let mut celsius = [0.0; MOST_DIES];
        let celsius = &mut celsius[..dies];
        self.path.read(&self.thermal, celsius);
        let mut peaks = Peaks { celsius: [f64::NEG_INFINITY; MOST_DIES], ..Peaks::default() };
        let mut then = 0.0;
        let Some(mut before) = self.part.carry(peak * shape.at(0.0), celsius) else {
            return Outcome::Saturated { at: 0.0 };
        };
        peaks.celsius[..dies].copy_from_slice(celsius);
        peaks.drop = before.drop;
        let mut saved = self.thermal.state().clone();
        for x in shape.grid(self.steps) {
            let (t, dt) = (x * width, (x - then) * width);
            let current = peak * shape.at(x);
            saved.clone_from(self.thermal.state());
            let mut now = before;
            // The heat at the end depends on the temperature there: two rounds leave an error of third order.
            for round in 0..3 {
                if round > 0 {
                    self.thermal.restore(&saved);
                }
                let heat: [f64; MOST_DIES] = std::array::from_fn(|k| 0.5 * (before.heat[k] + now.heat[k]));
                self.thermal.advance(dt, &self.path.powers(&heat[..dies]));
                self.path.read(&self.thermal, celsius);
                let Some(carried) = self.part.carry(current, celsius) else {
                    return Outcome::Saturated { at: t };
                };
                now = carried;
            }
            let power = |c: &Carried| c.heat.iter().sum::<f64>();
            peaks.energy += 0.5 * dt * (power(&before) + power(&now));
            peaks.drop = peaks.drop.max(now.drop);
            for (k, &t_j) in celsius.iter().enumerate() {
                peaks.celsius[k] = peaks.celsius[k].max(t_j);
                // Written so that a temperature that is no number ends it too.
                let held = t_j <= self.hottest;
                if !held {
                    return Outcome::TooHot { die: k, at: t };
                }
            }
            (before, then) = (now, x);
        }
        Outcome::Held(peaks)
    }

    /// The largest peak current of a shape and width, s, by bisection: the junctions rise with the current.
    #[inline(never)]
    pub fn largest(&mut self, shape: Shape, width: f64) -> Point {
        let point = |current: f64, ends, peaks| Point {
            width,
            current,
            i2t: current * current * width * shape.square_integral(),
            ends,
            peaks,
        };
        let (mut low, mut high) = (0.0, 1.0);
        let mut held = Peaks::default();
        let mut ends = loop {
            match self.pulse(shape, high, width) {
                Outcome::Held(peaks) if high < MOST => (low, high, held) = (high, 2.0 * high, peaks),
                Outcome::Held(peaks) => return point(high, Ends::Nothing, peaks),
                Outcome::TooHot { die, .. } => break Ends::Junction(die),
                Outcome::Saturated { .. } => break Ends::Saturation,
            }
        };
        while high - low > EXACT * high {
            let middle = 0.5 * (low + high);
            match self.pulse(shape, middle, width) {
                Outcome::Held(peaks) => (low, held) = (middle, peaks),
                Outcome::TooHot { die, .. } => (high, ends) = (middle, Ends::Junction(die)),
                Outcome::Saturated { .. } => (high, ends) = (middle, Ends::Saturation),
            }
            if high < 1e-9 {
                break;
            }
        }
        point(low, ends, held)
    }

    /// The longest square pulse of a current that is held, s: fault ride-through. 0 where the current saturates the
    /// part at once, ∞ where it can flow up to `longest`.
    #[inline(never)]
    pub fn ride_through(&mut self, current: f64, longest: f64) -> (f64, Ends) {
        let ends = |outcome| match outcome {
            Outcome::Held(_) => None,
            Outcome::TooHot { die, .. } => Some(Ends::Junction(die)),
            Outcome::Saturated { .. } => Some(Ends::Saturation),
        };
        let Some(mut why) = ends(self.pulse(Shape::Square, current, longest)) else {
            return (f64::INFINITY, Ends::Nothing);
        };
        let (mut low, mut high) = (longest * 1e-12, longest);
        if let Some(why) = ends(self.pulse(Shape::Square, current, low)) {
            return (0.0, why);
        }
        while high / low > 1.0 + EXACT {
            let middle = (low * high).sqrt();
            match ends(self.pulse(Shape::Square, current, middle)) {
                None => low = middle,
                Some(w) => (high, why) = (middle, w),
            }
        }
        (low, why)
    }
}
