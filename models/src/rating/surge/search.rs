//! What is looked for: the largest pulse that junctions stand, the longest one at a current.
//!
//! Pulses of few steps say where. From there on the secant method takes three or four pulses of all steps; where it does
//! not arrive, and where the part saturates, the value is enclosed.

use super::{Conducts, Ends, MOST_DIES, Outcome, Peaks, Point, Shape, Surge};

/// By how much a trial may pass the highest temperature and still tell by how much it does, K. A law that is tabulated
/// up to a temperature has a node beyond it.
const PASSES: f64 = 20.0;
/// Largest current tried, A.
const MOST: f64 = 1e6;
/// Steps of the pulses that say where to look, and how exactly they are asked: to a fraction, or to kelvins.
const FEW: usize = 12;
const ROUGHLY: (f64, f64) = (1e-3, 0.05);
/// By which share a value is moved to see what that does, and what is tried around it.
const MOVED: f64 = 0.01;
/// The farthest that a secant may lead.
const FARTHEST: f64 = 0.2;
/// Secants tried.
const SECANTS: usize = 8;

/// A value that is held, what happens there, and what ends it.
type Found = (f64, Peaks, Ends);
/// What a value does.
type At<'f, S> = &'f dyn Fn(&mut S, f64) -> Outcome;
/// The largest known value that is held, the smallest that is not.
type Enclosed = (Option<(f64, Peaks)>, Option<(f64, Ends)>);

impl<C: Conducts + ?Sized> Surge<'_, C> {
    /// By how much the hottest die passes the highest temperature, K, and which die it is.
    fn excess(&self, peaks: &Peaks) -> (f64, usize) {
        let of = |k: usize| peaks.celsius[k] - self.hottest;
        let hottest = (0..self.part.dies()).max_by(|&a, &b| of(a).total_cmp(&of(b))).unwrap_or(0);
        (of(hottest), hottest)
    }

    /// The largest value that is held near `about`, by secants; else what encloses it.
    fn near(&mut self, (mut x, mut slope): (f64, f64), at: At<'_, Self>) -> Result<Found, Enclosed> {
        let ((exact, near), mut low, mut high) = (self.exact, None, None);
        let mut last: Option<(f64, f64)> = None;
        for _ in 0..SECANTS {
            let peaks = match at(self, x) {
                Outcome::Held(peaks) => peaks,
                Outcome::TooHot { die, .. } => {
                    high = Some((x, Ends::Junction(die)));
                    break;
                }
                Outcome::Saturated { .. } => {
                    high = Some((x, Ends::Saturation));
                    break;
                }
            };
            let (excess, die) = self.excess(&peaks);
            if let Some((x1, excess1)) = last {
                slope = (excess - excess1) / (x / x1 - 1.0);
            }
            let step = -excess / slope;
            if excess.abs() <= near || step.abs() < exact {
                return Ok((x, peaks, Ends::Junction(die)));
            }
            match excess < 0.0 {
                true if low.is_none_or(|(best, _)| best < x) => low = Some((x, peaks)),
                false if high.is_none_or(|(best, _)| best > x) => high = Some((x, Ends::Junction(die))),
                _ => {}
            }
            // The hotter the more; else secants lead nowhere.
            if !(slope > 0.0 && slope.is_finite()) {
                break;
            }
            last = Some((x, excess));
            x *= 1.0 + step.clamp(-FARTHEST, FARTHEST);
        }
        Err((low, high))
    }

    /// The same by enclosing it: from what is known, or from `about`, outwards by growing shares; nothing where it would
    /// be beyond `least` or `most`.
    fn around(
        &mut self,
        about: f64,
        (mut low, mut high): Enclosed,
        [least, most]: [f64; 2],
        at: At<'_, Self>,
    ) -> Option<Found> {
        let mut share = MOVED;
        let mut next =
            low.map(|l| l.0 * (1.0 + share)).or(high.map(|h| h.0 / (1.0 + share))).unwrap_or(about);
        let (low, high) = loop {
            if let (Some(low), Some(high)) = (low, high) {
                break (low, high);
            }
            if !(next > least && next < most) {
                return None;
            }
            match at(self, next) {
                Outcome::Held(peaks) if self.excess(&peaks).0 <= 0.0 => low = Some((next, peaks)),
                Outcome::Held(peaks) => high = Some((next, Ends::Junction(self.excess(&peaks).1))),
                Outcome::TooHot { die, .. } => high = Some((next, Ends::Junction(die))),
                Outcome::Saturated { .. } => high = Some((next, Ends::Saturation)),
            }
            share *= 2.0;
            next = if high.is_none() { next * (1.0 + share) } else { next / (1.0 + share) };
        };
        Some(self.between(low, high, at))
    }

    /// From where pulses of few steps say that it is, between `least` and `most`; nothing where they say nothing.
    fn guided(
        &mut self,
        ask: &dyn Fn(&mut Self) -> Found,
        bounds: [f64; 2],
        at: At<'_, Self>,
    ) -> Option<Found> {
        if self.steps <= FEW {
            return None;
        }
        let mut few = Surge::from(self.part, self.path, self.hottest, self.start.clone(), FEW);
        few.exact = ROUGHLY;
        let (x, _, ends) = ask(&mut few);
        if !(x > bounds[0] && x < bounds[1]) {
            return None;
        }
        let mut excess = |x: f64| match at(&mut few, x) {
            Outcome::Held(peaks) => few.excess(&peaks).0,
            _ => f64::NAN,
        };
        let enclosed = match ends {
            Ends::Junction(_) => {
                let slope = (excess(x * (1.0 + MOVED)) - excess(x)) / MOVED;
                if slope > 0.0 { self.near((x, slope), at) } else { Err((None, None)) }
            }
            Ends::Saturation => Err((None, None)),
            Ends::Leads | Ends::Nothing => return None,
        };
        enclosed.map_or_else(|enclosed| self.around(x, enclosed, bounds, at), Some)
    }

    /// Between a value that is held and one that is not: the largest that is held, what happens there, and what ends
    /// it. By halves until both ends tell how hot the junctions get, then by straight lines between them (regula falsi
    /// with the Illinois rule; Dowell & Jarratt, BIT 11 (1971) 168, from memory).
    fn between(
        &mut self,
        (mut low, mut held): (f64, Peaks),
        (mut high, mut ends): (f64, Ends),
        at: At<'_, Self>,
    ) -> Found {
        let (exact, near) = self.exact;
        let mut under = self.excess(&held).0;
        let mut over = None;
        let mut last = 0;
        while high - low > exact * high && high > 1e-9 * exact {
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
                    if excess.abs() <= near {
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
        let most = self.hottest + PASSES;
        let at = move |s: &mut Self, current: f64| s.follow(shape, current, width, most);
        let found = self.guided(&|few| few.largest_from_none(shape, width), [0.0, MOST], &at);
        let (current, mut peaks, ends) = found.unwrap_or_else(|| self.largest_from_none(shape, width));
        if ends == Ends::Saturation {
            (peaks.drop, peaks.energy) = (f64::NAN, f64::NAN);
        }
        let i2t = current * current * width * shape.square_integral();
        Point { width, current, i2t, ends, peaks }
    }

    /// The same, enclosed from no current on.
    fn largest_from_none(&mut self, shape: Shape, width: f64) -> Found {
        let cold = self.path.cold().iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let mut low = (0.0, Peaks { celsius: [cold; MOST_DIES], ..Peaks::default() });
        let mut high = 1.0;
        let ends = loop {
            match self.pulse(shape, high, width) {
                Outcome::Held(peaks) if high < MOST => (low, high) = ((high, peaks), 2.0 * high),
                Outcome::Held(peaks) => return (high, peaks, Ends::Nothing),
                Outcome::TooHot { die, .. } => break Ends::Junction(die),
                Outcome::Saturated { .. } => break Ends::Saturation,
            }
        };
        let most = self.hottest + PASSES;
        self.between(low, (high, ends), &|s, current| s.follow(shape, current, width, most))
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
        let most = self.hottest + PASSES;
        let at = move |s: &mut Self, width: f64| s.follow(Shape::Square, current, width, most);
        let bounds = [1e-12 * longest, longest];
        let found = self.guided(&|few| few.longest_between(current, bounds, &at), bounds, &at);
        let (width, _, ends) = found.unwrap_or_else(|| self.longest_between(current, bounds, &at));
        (width, ends)
    }

    /// The same, enclosed from the shortest to the longest.
    fn longest_between(&mut self, current: f64, [least, longest]: [f64; 2], at: At<'_, Self>) -> Found {
        let why = match self.pulse(Shape::Square, current, longest) {
            Outcome::Held(peaks) => return (f64::INFINITY, peaks, Ends::Nothing),
            Outcome::TooHot { die, .. } => Ends::Junction(die),
            Outcome::Saturated { .. } => Ends::Saturation,
        };
        let none = |ends: Ends| (0.0, Peaks::default(), ends);
        match self.pulse(Shape::Square, current, least) {
            Outcome::Held(peaks) => self.between((least, peaks), (longest, why), at),
            Outcome::TooHot { die, .. } => none(Ends::Junction(die)),
            Outcome::Saturated { .. } => none(Ends::Saturation),
        }
    }
}
