//! A leap of the thermal state over many cycles: power extrapolated from solved cycles, the network advanced exactly.

use joulestep_engine::thermal::run::Thermal;

use super::profile::{Profile, Side};

/// Pieces into which a leap is divided while the network follows the extrapolated power; the first is the shortest.
const PIECES: usize = 40;
/// Equal steps in which the power of a piece follows the temperatures.
const STEPS: u32 = 4;
/// Longest piece over the shortest (fewer where a leap spans few cycles).
const SPREAD: f64 = 300.0;
/// Temperatures must have moved by this much before a slope is read from them, K.
const TELLING: f64 = 0.2;

/// Mean power of a cycle, extrapolated: P + G·(T − T₀) + s·(t − t₀).
#[derive(Clone, Debug, PartialEq)]
pub struct Extrapolated {
    /// When the cycle was solved, s.
    pub at: f64,
    /// Its power, W.
    pub power: Vec<f64>,
    /// Its temperatures, °C.
    pub celsius: Vec<f64>,
    /// G: power over temperature, W/K, row-major.
    pub per_kelvin: Vec<f64>,
    /// s: power over time, W/s.
    pub per_second: Vec<f64>,
}

impl Extrapolated {
    /// Constant.
    pub fn constant(at: f64, power: &[f64], celsius: &[f64]) -> Self {
        let m = power.len();
        Self {
            at,
            power: power.to_vec(),
            celsius: celsius.to_vec(),
            per_kelvin: vec![0.0; m * m],
            per_second: vec![0.0; m],
        }
    }

    /// Power at an instant (s) and temperatures (°C), W.
    pub fn power(&self, t: f64, celsius: &[f64]) -> Vec<f64> {
        let m = self.power.len();
        let one = |k: usize| {
            let row = &self.per_kelvin[k * m..(k + 1) * m];
            let warmer = row.iter().zip(celsius).zip(&self.celsius).map(|((g, t), t0)| g * (t - t0));
            self.power[k] + warmer.sum::<f64>() + self.per_second[k] * (t - self.at)
        };
        (0..m).map(one).collect()
    }

    /// Learns from what a cycle's power missed (W) at other temperatures: the least change of G that explains it
    /// (Broyden 1965, Math. Comp. 19, 577).
    pub fn learn(&mut self, celsius: &[f64], missed: &[f64]) {
        let moved: Vec<f64> = celsius.iter().zip(&self.celsius).map(|(a, b)| a - b).collect();
        let norm: f64 = moved.iter().map(|d| d * d).sum();
        if norm.sqrt() < TELLING {
            return;
        }
        let m = missed.len();
        for (k, miss) in missed.iter().enumerate() {
            for (j, d) in moved.iter().enumerate() {
                self.per_kelvin[k * m + j] += miss * d / norm;
            }
        }
    }

    /// Learns from what a cycle's power missed (W) at a later instant (s) while parameters move.
    pub fn learn_in_time(&mut self, t: f64, missed: &[f64]) {
        let span = t - self.at;
        if span > 0.0 {
            self.per_second.iter_mut().zip(missed).for_each(|(s, miss)| *s += miss / span);
        }
    }

    /// Moves to a newly solved cycle.
    pub fn rebase(&mut self, at: f64, power: Vec<f64>, celsius: Vec<f64>) {
        (self.at, self.power, self.celsius) = (at, power, celsius);
    }
}

/// A point on the way.
#[derive(Clone, Debug, PartialEq)]
pub struct Reached {
    /// When, s.
    pub time: f64,
    /// Temperatures, °C.
    pub celsius: Vec<f64>,
    /// Mean power since the point before, W.
    pub power: Vec<f64>,
}

/// Instants that divide a leap: lengths grow geometrically, the first at least a period.
fn instants(from: f64, to: f64, period: f64) -> Vec<f64> {
    let span = to - from;
    let cycles = (span / period).max(1.0);
    let n = PIECES.min(cycles as usize).max(1);
    let spread = SPREAD.min(cycles / n as f64).max(1.0);
    let a = spread.ln();
    let share = |k: usize| {
        let x = k as f64 / n as f64;
        if a < 1e-6 { x } else { (a * x).exp_m1() / a.exp_m1() }
    };
    (1..=n).map(|k| if k == n { to } else { from + span * share(k) }).collect()
}

/// Sets the boundaries as a round of the profile has them at an instant of that round, s.
pub fn set_boundaries(network: &mut Thermal<f64>, profile: &Profile, t: f64, side: Side) {
    for (k, celsius) in profile.boundaries(t, side) {
        if network.boundary(k) != celsius {
            network.set_boundary(k, celsius);
        }
    }
}

/// Advances the network from `from` to `to` (s, counted from the round's begin at `round`) under a power that depends
/// on time and temperature: Heun's rule for the power of each step of a piece, the network exact; boundaries at the
/// middle of each piece.
pub fn glide(
    network: &mut Thermal<f64>,
    profile: &Profile,
    (round, from, to): (f64, f64, f64),
    period: f64,
    power: &dyn Fn(f64, &[f64]) -> Vec<f64>,
) -> Vec<Reached> {
    let mut out = Vec::new();
    let mut t = from;
    for next in instants(from, to, period) {
        let dt = next - t;
        // What lies in one stretch is straight, whichever side it is looked at from.
        set_boundaries(network, profile, 0.5 * (t + next) - round, Side::After);
        let step = dt / f64::from(STEPS);
        let mut mean = vec![0.0; network.temperatures().len()];
        for k in 0..STEPS {
            let [now, then] = [k, k + 1].map(|k| t + f64::from(k) * step);
            let first = power(now, network.temperatures());
            let state = network.state().clone();
            network.advance(step, &first);
            let second = power(then, network.temperatures());
            network.restore(&state);
            let both: Vec<f64> = first.iter().zip(&second).map(|(a, b)| 0.5 * (a + b)).collect();
            network.advance(step, &both);
            mean.iter_mut().zip(&both).for_each(|(m, p)| *m += p / f64::from(STEPS));
        }
        out.push(Reached { time: next, celsius: network.temperatures().to_vec(), power: mean });
        t = next;
    }
    set_boundaries(network, profile, to - round, Side::Before);
    if let Some(last) = out.last_mut() {
        last.celsius = network.temperatures().to_vec();
    }
    out
}

/// Advances a network by `span` seconds under a power that grows in a straight line from nothing to `power`, W.
pub fn ramp(network: &mut Thermal<f64>, span: f64, power: &[f64]) {
    const PARTS: u32 = 16;
    let dt = span / f64::from(PARTS);
    for k in 0..PARTS {
        let share = (f64::from(k) + 0.5) / f64::from(PARTS);
        let now: Vec<f64> = power.iter().map(|p| share * p).collect();
        network.advance(dt, &now);
    }
}
