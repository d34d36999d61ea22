//! Surges: how hot a pulse makes the junctions, the largest pulse that they stand, the longest one at a current.

mod search;

use joulestep_engine::thermal::run::{Decay, Thermal};

use super::pulse::Shape;
use super::{Ahead, Carried, Conducts, HeatPath, MOST_DIES};

/// Steps in which a pulse is resolved, unless told otherwise. Halving them moves the largest current by less than 1e-3
/// (see the tests).
pub const STEPS: usize = 120;
/// The largest current and the longest pulse are found to this fraction, or the hottest junction to `NEAR`.
pub const EXACT: f64 = 1e-9;
/// A junction as near to its highest temperature as this is at it, K.
const NEAR: f64 = 1e-7;

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
    /// Hottest of each die, °C; between the ends of steps by a parabola.
    pub celsius: [f64; MOST_DIES],
    /// Largest drop, V.
    pub drop: f64,
    /// Energy dissipated, J.
    pub energy: f64,
}

/// What ends a rating.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ends {
    /// A die's junction temperature, by the number of the die.
    Junction(usize),
    /// Saturation: the part does not carry more, however short the pulse.
    Saturation,
    /// What the leads carry.
    Leads,
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
    /// At that current. Drop and energy are no numbers where saturation ends it: there the drop runs away with the
    /// current, and the search ends anywhere on its way.
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
    /// How exactly is looked for: to a fraction, or to kelvins.
    exact: (f64, f64),
    grid: Grid,
}

/// Steps of a shape over a width: when each ends, in widths, and what it does to the network.
#[derive(Debug, Default)]
struct Grid {
    of: Option<(Shape, f64, usize)>,
    steps: Vec<(f64, Decay<f64>)>,
}

impl Grid {
    fn of(mut self, (shape, width, steps): (Shape, f64, usize), thermal: &Thermal<f64>) -> Self {
        let asked = Some((shape, width, steps));
        if self.of != asked {
            let mut then = 0.0;
            let step = |x: f64| (x, thermal.decay((x - std::mem::replace(&mut then, x)) * width));
            self.steps = shape.grid(steps).map(step).collect();
            self.of = asked;
        }
        self
    }
}

impl<'a, C: Conducts + ?Sized> Surge<'a, C> {
    /// From the steady state with `before` watts in each die (nothing: at the heatsink's temperature).
    #[inline(never)]
    pub fn new(part: &'a C, path: &'a HeatPath, hottest: f64, before: &[f64]) -> Self {
        Self::from(part, path, hottest, path.start(before), STEPS)
    }

    fn from(part: &'a C, path: &'a HeatPath, hottest: f64, start: Thermal<f64>, steps: usize) -> Self {
        let (exact, grid) = ((EXACT, NEAR), Grid::default());
        Self { part, path, hottest, thermal: start.clone(), start, steps, exact, grid }
    }

    /// The same with another number of steps per pulse.
    #[inline(never)]
    pub fn with_steps(mut self, steps: usize) -> Self {
        self.steps = steps.max(4);
        self
    }

    /// A pulse of a peak current, A, and width, s. Over each step the heat is the mean of those at its ends, and the
    /// network is advanced exactly; dies whose properties follow their temperature are followed at its end.
    #[inline(never)]
    pub fn pulse(&mut self, shape: Shape, peak: f64, width: f64) -> Outcome {
        self.follow(shape, peak, width, self.hottest)
    }

    /// A pulse until a junction passes `most`, °C.
    fn follow(&mut self, shape: Shape, peak: f64, width: f64, most: f64) -> Outcome {
        let grid = std::mem::take(&mut self.grid).of((shape, width, self.steps), &self.thermal);
        let outcome = self.along(&grid, shape, peak, width, most);
        self.grid = grid;
        outcome
    }

    fn along(&mut self, grid: &Grid, shape: Shape, peak: f64, width: f64, most: f64) -> Outcome {
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
        let mut powers = self.path.powers(&[]);
        let mut ahead = Ahead::default();
        // The last two instants, and the temperatures there.
        let mut course = [(0.0, peaks.celsius); 2];
        for (x, decay) in &grid.steps {
            let (x, t, dt) = (*x, x * width, (x - then) * width);
            let current = peak * shape.at(x);
            let mut now = before;
            // The heat at the end depends on the temperature there: two rounds more leave an error of third order.
            for round in 0..3 {
                let heat: [f64; MOST_DIES] = std::array::from_fn(|k| 0.5 * (before.power[k] + now.power[k]));
                self.path.set_powers(&heat[..dies], &mut powers);
                self.thermal.attempt_over(decay, &powers);
                if round < 2 {
                    self.path.foresee(&self.thermal, &ahead, dt, celsius);
                    let Some(carried) = self.part.carry(current, celsius) else {
                        return Outcome::Saturated { at: t };
                    };
                    now = carried;
                }
            }
            self.thermal.commit();
            if !self.path.follow(&mut self.thermal, &mut ahead, dt, celsius) {
                self.path.read(&self.thermal, celsius);
            }
            let Some(carried) = self.part.carry(current, celsius) else {
                return Outcome::Saturated { at: t };
            };
            now = carried;
            let power = |c: &Carried| c.power.iter().sum::<f64>();
            peaks.energy += 0.5 * dt * (power(&before) + power(&now));
            peaks.drop = peaks.drop.max(now.drop);
            let mut at_end = [f64::NEG_INFINITY; MOST_DIES];
            at_end[..dies].copy_from_slice(celsius);
            for (k, &t_j) in celsius.iter().enumerate() {
                let [first, middle] = course.map(|(t, all)| (t, all[k]));
                let top = t_j.max(crest([first, middle, (t, t_j)]));
                peaks.celsius[k] = peaks.celsius[k].max(top);
                // Written so that a temperature that is no number ends it too.
                let held = top <= most;
                if !held {
                    return Outcome::TooHot { die: k, at: t };
                }
            }
            course = [course[1], (t, at_end)];
            (before, then) = (now, x);
        }
        Outcome::Held(peaks)
    }
}

/// The largest value of the parabola through three points whose middle one is the highest; else none.
fn crest([(t0, y0), (t1, y1), (t2, y2)]: [(f64, f64); 3]) -> f64 {
    let (rise, fall) = ((y1 - y0) / (t1 - t0), (y2 - y1) / (t2 - t1));
    let curve = (fall - rise) / (t2 - t0);
    if !(y1 >= y0 && y1 >= y2 && curve < 0.0) {
        return f64::NEG_INFINITY;
    }
    let slope = (rise * (t2 - t1) + fall * (t1 - t0)) / (t2 - t0);
    y1 - slope * slope / (4.0 * curve)
}
