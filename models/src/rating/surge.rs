//! Surges: how hot a pulse makes the junctions, the largest pulse that they stand, the longest one at a current.

use joulestep_engine::thermal::run::Thermal;

use super::pulse::Shape;
use super::{Ahead, Carried, Conducts, HeatPath, MOST_DIES};

/// Steps in which a pulse is resolved, unless told otherwise. Halving them moves the largest current by less than 1e-3
/// (see the tests).
pub const STEPS: usize = 120;
/// The largest current and the longest pulse are found to this fraction, or the hottest junction to `NEAR`.
pub const EXACT: f64 = 1e-9;
/// A junction as near to its highest temperature as this is at it, K.
const NEAR: f64 = 1e-7;
/// By how much a trial may pass the highest temperature and still tell by how much it does, K. A law that is tabulated
/// up to a temperature has a node beyond it.
const PASSES: f64 = 20.0;
/// By which factor a largest current and a longest pulse may differ from what the linear path says, at first.
const NEARBY: f64 = 1.2;
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
}

impl<'a, C: Conducts + ?Sized> Surge<'a, C> {
    /// From the steady state with `before` watts in each die (nothing: at the heatsink's temperature).
    #[inline(never)]
    pub fn new(part: &'a C, path: &'a HeatPath, hottest: f64, before: &[f64]) -> Self {
        let start = path.start(before);
        Self { part, path, hottest, thermal: start.clone(), start, steps: STEPS }
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
        let mut ahead = Ahead::default();
        // The last two instants, and the temperatures there.
        let mut course = [(0.0, peaks.celsius); 2];
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
                let heat: [f64; MOST_DIES] = std::array::from_fn(|k| 0.5 * (before.power[k] + now.power[k]));
                self.thermal.advance(dt, &self.path.powers(&heat[..dies]));
                self.path.foresee(&self.thermal, &ahead, dt, celsius);
                let Some(carried) = self.part.carry(current, celsius) else {
                    return Outcome::Saturated { at: t };
                };
                now = carried;
            }
            if self.path.follow(&mut self.thermal, &mut ahead, dt, celsius) {
                let Some(carried) = self.part.carry(current, celsius) else {
                    return Outcome::Saturated { at: t };
                };
                now = carried;
            }
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

    /// By how much the hottest die passes the highest temperature, K, and which die it is.
    fn excess(&self, peaks: &Peaks) -> (f64, usize) {
        let of = |k: usize| peaks.celsius[k] - self.hottest;
        let hottest = (0..self.part.dies()).max_by(|&a, &b| of(a).total_cmp(&of(b))).unwrap_or(0);
        (of(hottest), hottest)
    }

    /// Between a value that is held and one that is not: the largest that is held, what happens there, and what ends
    /// it. By halves until both ends tell how hot the junctions get, then by straight lines between them (regula falsi
    /// with the Illinois rule; Dowell & Jarratt, BIT 11 (1971) 168, from memory).
    fn between(
        &mut self,
        (mut low, mut held): (f64, Peaks),
        (mut high, mut ends): (f64, Ends),
        at: impl Fn(&mut Self, f64) -> Outcome,
    ) -> (f64, Peaks, Ends) {
        let mut under = self.excess(&held).0;
        let mut over = None;
        let mut last = 0;
        while high - low > EXACT * high && high > 1e-9 * EXACT {
            let line = over.filter(|_| high < 2.5 * low && under < 0.0);
            let next = match line {
                Some(over) => (low * over - high * under) / (over - under),
                // Over many decades the geometric mean, from nothing the arithmetic.
                None if low > 0.0 => (low * high).sqrt(),
                None => 0.5 * high,
            };
            // A straight line may end on an end.
            let next = if next > low && next < high { next } else { 0.5 * (low + high) };
            match at(self, next) {
                Outcome::Held(peaks) => {
                    let (excess, die) = self.excess(&peaks);
                    if excess.abs() <= NEAR {
                        return (next, peaks, Ends::Junction(die));
                    }
                    if excess < 0.0 {
                        (low, held, under) = (next, peaks, excess);
                        if last < 0 {
                            over = over.map(|o| 0.5 * o);
                        }
                        last = -1;
                    } else {
                        (high, ends, over) = (next, Ends::Junction(die), Some(excess));
                        if last > 0 {
                            under *= 0.5;
                        }
                        last = 1;
                    }
                }
                Outcome::TooHot { die, .. } => (high, ends, over) = (next, Ends::Junction(die), None),
                Outcome::Saturated { .. } => (high, ends, over) = (next, Ends::Saturation, None),
            }
        }
        (low, held, ends)
    }

    /// The largest peak current of a shape and width, s: the junctions rise with the current.
    #[inline(never)]
    pub fn largest(&mut self, shape: Shape, width: f64) -> Point {
        let point = |(current, mut peaks, ends): (f64, Peaks, Ends)| {
            if ends == Ends::Saturation {
                (peaks.drop, peaks.energy) = (f64::NAN, f64::NAN);
            }
            let i2t = current * current * width * shape.square_integral();
            Point { width, current, i2t, ends, peaks }
        };
        let cold = self.path.cold().iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let none = (0.0, Peaks { celsius: [cold; MOST_DIES], ..Peaks::default() });
        let (mut low, mut high, more) = match self.linear(|s| s.largest(shape, width).current) {
            None => (none, 1.0, 2.0),
            Some(about) => {
                // Near it, where that much less is held.
                let less = about / NEARBY;
                match self.pulse(shape, less, width) {
                    Outcome::Held(peaks) => ((less, peaks), about, NEARBY),
                    _ => (none, less, 2.0),
                }
            }
        };
        let ends = loop {
            match self.pulse(shape, high, width) {
                Outcome::Held(peaks) if high < MOST => (low, high) = ((high, peaks), more * high),
                Outcome::Held(peaks) => return point((high, peaks, Ends::Nothing)),
                Outcome::TooHot { die, .. } => break Ends::Junction(die),
                Outcome::Saturated { .. } => break Ends::Saturation,
            }
        };
        let most = self.hottest + PASSES;
        point(self.between(low, (high, ends), |s, current| s.follow(shape, current, width, most)))
    }

    /// What the same part says on the same path without dies whose properties follow their temperature, which costs little;
    /// none where there are none.
    fn linear<T>(&self, of: impl FnOnce(&mut Surge<'_, C>) -> T) -> Option<T> {
        if !self.path.follows() {
            return None;
        }
        let path = self.path.linear();
        let start = self.start.without_columns();
        let (part, hottest, steps) = (self.part, self.hottest, self.steps);
        Some(of(&mut Surge { part, path: &path, hottest, thermal: start.clone(), start, steps }))
    }

    /// The same with a peak current of at most `most`, A: what the leads carry.
    #[inline(never)]
    pub fn largest_within(&mut self, shape: Shape, width: f64, most: f64) -> Point {
        let found = self.largest(shape, width);
        if found.current <= most {
            return found;
        }
        match self.pulse(shape, most, width) {
            Outcome::Held(peaks) => {
                let i2t = most * most * width * shape.square_integral();
                Point { width, current: most, i2t, ends: Ends::Leads, peaks }
            }
            // Less current is held where more is.
            _ => found,
        }
    }

    /// The longest square pulse of a current that is held, s: fault ride-through. 0 where the current saturates the
    /// part at once, ∞ where it can flow up to `longest`.
    #[inline(never)]
    pub fn ride_through(&mut self, current: f64, longest: f64) -> (f64, Ends) {
        let why = match self.pulse(Shape::Square, current, longest) {
            Outcome::Held(_) => return (f64::INFINITY, Ends::Nothing),
            Outcome::TooHot { die, .. } => Ends::Junction(die),
            Outcome::Saturated { .. } => Ends::Saturation,
        };
        let least = longest * 1e-12;
        let held = match self.pulse(Shape::Square, current, least) {
            Outcome::Held(peaks) => peaks,
            Outcome::TooHot { die, .. } => return (0.0, Ends::Junction(die)),
            Outcome::Saturated { .. } => return (0.0, Ends::Saturation),
        };
        let most = self.hottest + PASSES;
        let (mut low, mut high) = ((least, held), (longest, why));
        // Near what the linear path says, if that is so.
        let about = self.linear(|s| s.ride_through(current, longest).0).unwrap_or(0.0);
        for width in [about / NEARBY, about * NEARBY].into_iter().filter(|w| *w > least && *w < longest) {
            match self.pulse(Shape::Square, current, width) {
                Outcome::Held(peaks) => low = (width, peaks),
                Outcome::TooHot { die, .. } => high = (width, Ends::Junction(die)),
                Outcome::Saturated { .. } => high = (width, Ends::Saturation),
            }
            if high.0 < longest {
                break;
            }
        }
        let (width, _, ends) =
            self.between(low, high, |s, width| s.follow(Shape::Square, current, width, most));
        (width, ends)
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
