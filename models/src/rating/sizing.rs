//! How many devices in parallel carry a current continuously and pulses from hot, one of them deviating: it has less
//! resistance than the others and carries more.

use joulestep_engine::thermal::run::Thermal;

use super::pulse::Shape;
use super::sharing::Share;
use super::{Carried, Conducts, HeatPath, MOST_DIES};
use crate::part::Ratings;

/// A pulse of all devices together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pulse {
    /// Its shape.
    pub shape: Shape,
    /// Its peak, A.
    pub current: f64,
    /// Its width, s.
    pub width: f64,
}

/// Devices in parallel, each on its own copy of a heat path.
#[derive(Clone, Copy, Debug)]
pub struct Fleet<'a, C: Conducts> {
    /// The law of the one that carries more; of a single device, the one that gets hotter.
    pub deviating: &'a C,
    /// The law of the others.
    pub other: &'a C,
    /// How many there are.
    pub number: usize,
    /// The path of each.
    pub path: &'a HeatPath,
    /// Thermal resistance that all share, K/W.
    pub shared: f64,
    /// Highest junction temperature, °C.
    pub hottest: f64,
    /// What leads carry.
    pub ratings: &'a Ratings,
    /// Steps in which a pulse is resolved.
    pub steps: usize,
}

/// Why a number of devices does not do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fails {
    /// There is no steady state, within the temperatures for which the law is known.
    NoSteadyState,
    /// A junction of the deviating one passes its highest temperature in steady state.
    Steady(usize),
    /// Leads carry less than the direct current.
    Leads,
    /// A pulse makes a junction too hot: number of the pulse, of the die.
    Pulse(usize, usize),
    /// A pulse is more than all of them carry.
    Saturation(usize),
    /// Leads carry less than a pulse.
    LeadsInPulse(usize),
}

/// What a number of devices does: one that deviates, and one of the others (the same where there are none).
#[derive(Clone, Debug, PartialEq)]
pub struct Held {
    /// In steady state; without one nothing else is known.
    pub steady: Option<[Share; 2]>,
    /// Drop in steady state, V.
    pub drop: f64,
    /// In each pulse: the largest current and the hottest junctions of both; `None`: saturation.
    pub pulses: Vec<Option<[Share; 2]>>,
    /// The first thing that fails.
    pub fails: Option<Fails>,
}

/// Drops and currents agree to this share.
const EXACT: f64 = 1e-12;
/// Rounds of the temperatures, and how near they come, K.
const ROUNDS: usize = 2000;
const NEAR: f64 = 1e-9;

type Pair = [[f64; MOST_DIES]; 2];

impl<C: Conducts> Fleet<'_, C> {
    fn dies(&self) -> usize {
        self.other.dies()
    }

    /// Current and heat of the deviating one, and of one of the others, with one drop for all.
    fn split(&self, total: f64, celsius: &Pair) -> Option<[(f64, Carried); 2]> {
        let dies = self.dies();
        let carry = |law: &C, k: usize, i: f64| law.carry(i, &celsius[k][..dies]);
        if self.number == 1 {
            let carried = (total, carry(self.deviating, 0, total)?);
            return Some([carried; 2]);
        }
        let others = (self.number - 1) as f64;
        // What one cannot carry needs an endless drop.
        let drop = |law: &C, k: usize, i: f64| carry(law, k, i).map_or(f64::INFINITY, |c| c.drop);
        let excess = |i: f64| drop(self.deviating, 0, i) - drop(self.other, 1, (total - i) / others);
        let (mut low, mut high) = ((0.0, excess(0.0)), (total, excess(total)));
        let mut last = 0;
        for _ in 0..200 {
            if high.0 - low.0 <= EXACT * total {
                break;
            }
            let line = (low.0 * high.1 - high.0 * low.1) / (high.1 - low.1);
            let inside = line > low.0 && line < high.0;
            let next = if inside { line } else { 0.5 * (low.0 + high.0) };
            let f = excess(next);
            if f == 0.0 {
                (low.0, high.0) = (next, next);
                break;
            }
            // Both saturate: there is no such current.
            if f.is_nan() {
                return None;
            }
            if f < 0.0 {
                low = (next, f);
                high.1 *= if last < 0 { 0.5 } else { 1.0 };
                last = -1;
            } else {
                high = (next, f);
                low.1 *= if last > 0 { 0.5 } else { 1.0 };
                last = 1;
            }
        }
        let i = 0.5 * (low.0 + high.0);
        let rest = (total - i) / others;
        Some([(i, carry(self.deviating, 0, i)?), (rest, carry(self.other, 1, rest)?)])
    }

    /// Heat of all of them, W.
    fn heat(&self, shares: &[(f64, Carried); 2]) -> f64 {
        let of = |k: usize| shares[k].1.power.iter().sum::<f64>();
        of(0) + (self.number - 1) as f64 * of(1)
    }

    fn steady(&self, total: f64) -> Option<([Share; 2], f64)> {
        let dies = self.dies();
        let mut celsius: Pair = [[0.0; MOST_DIES]; 2];
        celsius.iter_mut().for_each(|c| c[..dies].copy_from_slice(&self.path.cold()[..dies]));
        for _ in 0..ROUNDS {
            let shares = self.split(total, &celsius)?;
            let common = self.shared * self.heat(&shares);
            let mut moved: f64 = 0.0;
            for (k, (_, carried)) in shares.iter().enumerate() {
                for (a, t) in celsius[k][..dies].iter_mut().enumerate() {
                    let own: f64 = (0..dies).map(|b| self.path.resistance(a, b) * carried.power[b]).sum();
                    let next = self.path.cold()[a] + common + own;
                    let known = next <= self.other.hottest_known();
                    if !known {
                        return None;
                    }
                    moved = moved.max((next - *t).abs());
                    *t = next;
                }
            }
            if moved < NEAR {
                let share = |k: usize| {
                    let (current, carried) = shares[k];
                    Share { current, celsius: celsius[k], power: carried.power }
                };
                return Some(([share(0), share(1)], shares[0].1.drop));
            }
        }
        None
    }

    /// A pulse from the steady state; its largest current and the hottest junctions of both, or when all saturate
    /// nothing. Over each step the heat is the mean of those at its ends. What they share does not warm during it.
    fn pulse(&self, pulse: &Pulse, before: &[Share; 2]) -> Option<[Share; 2]> {
        let dies = self.dies();
        let all: f64 = self.heat(&before.map(|s| (s.current, Carried { drop: 0.0, power: s.power })));
        let common = self.shared * all;
        let mut thermal: [Thermal<f64>; 2] = before.map(|s| self.path.start(&s.power[..dies]));
        let mut celsius: Pair = [[0.0; MOST_DIES]; 2];
        let read = |thermal: &[Thermal<f64>; 2], celsius: &mut Pair| {
            for (thermal, celsius) in thermal.iter().zip(celsius.iter_mut()) {
                self.path.read(thermal, &mut celsius[..dies]);
                celsius[..dies].iter_mut().for_each(|t| *t += common);
            }
        };
        read(&thermal, &mut celsius);
        let mut now = self.split(pulse.current * pulse.shape.at(0.0), &celsius)?;
        let mut top: [Share; 2] =
            std::array::from_fn(|k| Share { current: now[k].0, celsius: celsius[k], power: now[k].1.power });
        let mut then = 0.0;
        for x in pulse.shape.grid(self.steps) {
            let dt = (x - then) * pulse.width;
            let begin = now;
            let saved = [thermal[0].state().clone(), thermal[1].state().clone()];
            // The heat at the end depends on the temperature there: two rounds leave an error of third order.
            for round in 0..3 {
                for k in 0..2 {
                    if round > 0 {
                        thermal[k].restore(&saved[k]);
                    }
                    let mean: [f64; MOST_DIES] =
                        std::array::from_fn(|d| 0.5 * (begin[k].1.power[d] + now[k].1.power[d]));
                    thermal[k].advance(dt, &self.path.powers(&mean[..dies]));
                }
                read(&thermal, &mut celsius);
                now = self.split(pulse.current * pulse.shape.at(x), &celsius)?;
            }
            for (k, top) in top.iter_mut().enumerate() {
                top.current = top.current.max(now[k].0);
                for (d, t) in celsius[k][..dies].iter().enumerate() {
                    top.celsius[d] = top.celsius[d].max(*t);
                    top.power[d] = top.power[d].max(now[k].1.power[d]);
                }
            }
            // Far beyond the law nothing is learnt any more.
            if !top.iter().all(|s| s.celsius[..dies].iter().all(|&t| t <= self.other.hottest_known())) {
                break;
            }
            then = x;
        }
        Some(top)
    }

    /// What they do under a direct current, A, and pulses from the steady state of that.
    #[inline(never)]
    pub fn carry(&self, total: f64, pulses: &[Pulse]) -> Held {
        let dies = self.dies();
        let Some((steady, drop)) = self.steady(total) else {
            let fails = Some(Fails::NoSteadyState);
            return Held { steady: None, drop: f64::NAN, pulses: Vec::new(), fails };
        };
        let too_hot = |s: &[Share; 2]| {
            let of = |d: usize| s[0].celsius[d].max(s[1].celsius[d]);
            let die = (0..dies).max_by(|&a, &b| of(a).total_cmp(&of(b)))?;
            let held = of(die) <= self.hottest;
            (!held).then_some(die)
        };
        let mut fails = too_hot(&steady).map(Fails::Steady);
        if fails.is_none() && steady[0].current > self.ratings.lead_limit(f64::INFINITY) {
            fails = Some(Fails::Leads);
        }
        let mut found = Vec::new();
        for (k, pulse) in pulses.iter().enumerate() {
            let top = self.pulse(pulse, &steady);
            let leads = self.ratings.lead_peak(pulse.shape.square_integral(), pulse.width);
            let why = match &top {
                None => Some(Fails::Saturation(k)),
                Some(top) => match too_hot(top) {
                    Some(die) => Some(Fails::Pulse(k, die)),
                    None => (top[0].current > leads).then_some(Fails::LeadsInPulse(k)),
                },
            };
            fails = fails.or(why);
            found.push(top);
        }
        Held { steady: Some(steady), drop, pulses: found, fails }
    }
}
