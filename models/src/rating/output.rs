//! Output characteristics of a part, point by point from its model: what it conducts with its gate on, and which die
//! takes the heat while its gate holds a current at a voltage.

use joulestep_engine::circuit::graph::WaveId;

use super::sourced::Sourced;
use super::{MOST_DIES, RatingError};
use crate::operating::{Feed, between};
use crate::part::Part;

/// A current, and the shares of its heat V·I that the dies take.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Point {
    /// Drain current, A.
    pub current: f64,
    /// Share of each die; they sum to one.
    pub share: [f64; MOST_DIES],
}

/// A switch between on-state and blocking.
pub trait Output {
    /// How many dies it has, 1 or 2.
    fn dies(&self) -> usize;
    /// What it conducts at a drain-source voltage, V, with its gate on, junctions at `celsius`, °C. `None`: there is no
    /// operating point.
    fn on(&self, volts: f64, celsius: &[f64]) -> Option<Point>;
    /// The same while its gate holds a current, A, at the voltage; where that is more than it conducts, as with its gate
    /// on.
    fn held(&self, volts: f64, amperes: f64, celsius: &[f64]) -> Option<Point>;
    /// By how much the current rises with the temperature of each die at the gate voltage that holds it, A/K.
    fn drift(&self, volts: f64, amperes: f64, celsius: &[f64]) -> Option<[f64; MOST_DIES]>;
}

/// The lowest gate-source voltage that is looked at, V: what does not close by then counts as on.
const LOWEST: f64 = -40.0;
/// A held current is met to this share.
const MET: f64 = 1e-9;
/// Step of the derivative with respect to temperature, K.
const STEP: f64 = 0.5;

/// The characteristics of a part with its gate at a voltage while it is on. Each point is computed anew: none depends on
/// the points before it.
#[derive(Clone, Debug)]
pub struct Characteristics {
    part: Part,
    dies: Vec<&'static str>,
    gate: f64,
}

/// The part between its sources.
struct Bench {
    sourced: Sourced,
    /// Drain-source voltage, V.
    volts: f64,
    gate: WaveId,
    near: Vec<f64>,
}

impl Characteristics {
    /// Of a part with a gate, on at `gate` volts.
    ///
    /// # Errors
    /// [`RatingError::Part`]: it has no gate, or no die with a temperature; the model refuses its values.
    pub fn new(part: &Part, gate: Option<f64>) -> Result<Self, RatingError> {
        let error = |what: String| RatingError::Part { part: part.name.clone(), what };
        let has_gate = part.entry().pins.contains(&"gate");
        let Some(gate) = gate.filter(|_| has_gate) else {
            return Err(error("it has no gate; expected a switch that a gate turns on".into()));
        };
        let placed = between(part.entry(), &part.values, gate, Feed::Voltage(0.0));
        let built = placed.map_err(|e| error(e.to_string()))?.built;
        let dies: Vec<&'static str> = built.dies.iter().map(|d| d.0).collect();
        if dies.is_empty() || dies.len() > MOST_DIES {
            return Err(error(format!("a {} has no die with a temperature", part.kind)));
        }
        Ok(Self { part: part.clone(), dies, gate })
    }

    /// Names of the dies, in the order of temperatures and shares.
    pub fn names(&self) -> &[&'static str] {
        &self.dies
    }

    /// The voltage at which the part carries a current, A, with its gate off (at its source; a gate that is on there,
    /// 15 V below): its breakdown, V. `None` where it carries that already at half of `rated`, V, or not up to three
    /// times that: a law without breakdown.
    #[inline(never)]
    pub fn breakdown(&self, amperes: f64, rated: f64, celsius: &[f64]) -> Option<f64> {
        let off = if self.gate > 0.0 { 0.0 } else { self.gate - 15.0 };
        let current = |volts: f64| Some(self.bench(volts, celsius)?.at(off)?.current);
        let (mut low, mut high) = (0.5 * rated, 0.55 * rated);
        if current(low)? >= amperes {
            return None;
        }
        while current(high)? < amperes {
            (low, high) = (high, 1.1 * high);
            if high > 3.0 * rated {
                return None;
            }
        }
        while high - low > MET * high {
            let middle = 0.5 * (low + high);
            if current(middle)? < amperes { low = middle } else { high = middle }
        }
        Some(low)
    }

    fn bench(&self, volts: f64, celsius: &[f64]) -> Option<Bench> {
        let sourced = Sourced::new(&self.part, self.gate, volts, celsius).ok()?;
        Some(Bench { gate: sourced.gate?, sourced, volts, near: Vec::new() })
    }
}

impl Bench {
    /// At a gate voltage.
    fn at(&mut self, gate: f64) -> Option<Point> {
        self.sourced.points.set(self.gate, gate);
        self.near = self.sourced.points.at(&self.near).ok()?;
        let heat = self.sourced.heat(&self.near);
        let total: f64 = heat.iter().sum();
        Some(Point { current: total / self.volts, share: heat.map(|h| h / total) })
    }

    /// The gate voltage at which it carries a current, at most `on`, and the point there; by halves and straight lines
    /// (regula falsi with the Illinois rule; Dowell & Jarratt, BIT 11 (1971) 168, from memory) on the logarithm of the
    /// current.
    fn holding(&mut self, amperes: f64, on: f64) -> Option<(f64, Point)> {
        let mut high = (on, self.at(on)?);
        if high.1.current <= amperes {
            return Some(high);
        }
        let mut low = (on.min(0.0), 1.0);
        let mut below = loop {
            let point = self.at(low.0)?;
            if point.current < amperes {
                break point.current;
            }
            high = (low.0, point);
            if low.0 < LOWEST {
                return Some(high);
            }
            low = (low.0 - low.1, 2.0 * low.1);
        };
        // Off, the current may be anything down to none.
        below = below.max(1e-6 * amperes);
        let excess = |current: f64| (current.max(1e-6 * amperes) / amperes).ln();
        let (mut under, mut over, mut last) = (excess(below), excess(high.1.current), 0);
        for _ in 0..100 {
            let line = (low.0 * over - high.0 * under) / (over - under);
            let inside = line > low.0 && line < high.0;
            let next = if inside { line } else { 0.5 * (low.0 + high.0) };
            let point = self.at(next)?;
            let f = excess(point.current);
            if f.abs() < MET || high.0 - low.0 < 1e-12 {
                return Some((next, point));
            }
            if f > 0.0 {
                (high, over) = ((next, point), f);
                under *= if last > 0 { 0.5 } else { 1.0 };
                last = 1;
            } else {
                (low.0, under) = (next, f);
                over *= if last < 0 { 0.5 } else { 1.0 };
                last = -1;
            }
        }
        Some(high)
    }
}

impl Output for Characteristics {
    fn dies(&self) -> usize {
        self.dies.len()
    }

    fn on(&self, volts: f64, celsius: &[f64]) -> Option<Point> {
        self.bench(volts, celsius)?.at(self.gate)
    }

    fn held(&self, volts: f64, amperes: f64, celsius: &[f64]) -> Option<Point> {
        Some(self.bench(volts, celsius)?.holding(amperes, self.gate)?.1)
    }

    fn drift(&self, volts: f64, amperes: f64, celsius: &[f64]) -> Option<[f64; MOST_DIES]> {
        let (gate, _) = self.bench(volts, celsius)?.holding(amperes, self.gate)?;
        let mut out = [0.0; MOST_DIES];
        for (die, out) in out.iter_mut().enumerate().take(self.dies()) {
            let at = |shift: f64| {
                let mut moved = celsius.to_vec();
                moved[die] += shift;
                Some(self.bench(volts, &moved)?.at(gate)?.current)
            };
            *out = (at(STEP)? - at(-STEP)?) / (2.0 * STEP);
        }
        Some(out)
    }
}
