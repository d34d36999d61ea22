//! How mean powers depend on temperature, and what the laws' lag does by that.

use joulestep_engine::thermal::run::Thermal;

use super::Ripple;

/// Smallest change of temperatures that shows how powers depend on them, K.
const TELLING: f64 = 0.05;
/// The steepest that losses depend on temperature, 1/K: a leakage that doubles every 10 K.
pub(in crate::arrangement) const STEEPEST: f64 = 0.07;

/// How the mean powers depend on the temperatures that the laws were held at, read from the rounds.
pub(super) struct Slopes {
    celsius: Vec<f64>,
    power: Vec<f64>,
    /// W/K; `None` until a round was warm enough.
    pub(super) of_power: Option<Vec<f64>>,
}

impl Slopes {
    /// `of_power`: as a search near by found it.
    pub(super) fn new(celsius: &[f64], power: Vec<f64>, of_power: Option<Vec<f64>>) -> Self {
        Self { celsius: celsius.to_vec(), power, of_power }
    }

    /// Another round, at these temperatures (°C) and with these powers (W), against the first one.
    pub(super) fn look(&mut self, celsius: &[f64], power: &[f64]) {
        let moved = celsius.iter().zip(&self.celsius).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        if moved >= TELLING {
            let slope = |(now, then): (&f64, &f64)| (now - then).abs() / moved;
            self.of_power = Some(power.iter().zip(&self.power).map(slope).collect());
        }
    }

    /// The powers are wrong by slope times lag; what they do to the mean temperatures, and (with the half range for
    /// the lag) to the ripple.
    /// `change`: by how much the temperatures moved in the last round, K. Gives by how much they would in one more.
    pub(super) fn estimate(&self, network: &Thermal<f64>, ripple: &mut [Ripple], change: f64) -> f64 {
        let steepest = || ripple.iter().map(|r| STEEPEST * r.power.abs()).collect();
        let slopes: Vec<f64> = self.of_power.clone().unwrap_or_else(steepest);
        let resistances = network.modal().steady_resistances();
        let m = ripple.len();
        let wrong: Vec<f64> =
            slopes.iter().zip(ripple.iter()).map(|(s, r)| s * (r.lag.abs() + change)).collect();
        let mut next = 0.0_f64;
        for (k, r) in ripple.iter_mut().enumerate() {
            let row = &resistances[k * m..(k + 1) * m];
            next = next.max(row.iter().zip(&slopes).map(|(z, s)| z.abs() * s * change).sum());
            let mean: f64 = row.iter().zip(&wrong).map(|(z, w)| z.abs() * w).sum();
            let half = 0.5 * (r.extremes.1 - r.extremes.0);
            let share = if r.power > 0.0 { slopes[k] / r.power } else { 0.0 };
            r.coupling_error = mean + share * half * half;
            r.power_error = slopes[k] * (r.lag.abs() + change);
        }
        next
    }
}
