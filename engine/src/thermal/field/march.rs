//! Temperatures of all cells, stepped: the full solution that compact networks are held against.
//!
//! Alexander's two-stage method (SIAM J. Numer. Anal. 14 (1977) 1006): L-stable, order 2, both stages with one
//! matrix, which is factorised once per length of step. Steps double as time goes on, so that nine decades take a
//! few hundred of them.

use super::factor::{Factor, Pattern};
use super::system::System;
use super::trouble::FieldTrouble;

/// γ = 1 − 1/√2.
pub(super) const GAMMA: f64 = 1.0 - std::f64::consts::FRAC_1_SQRT_2;

/// A system at a time; temperatures are rises over its boundaries, which stand at one temperature.
#[derive(Debug)]
pub struct March<'a> {
    system: &'a System,
    factor: Factor<'a>,
    /// Length of the steps that the factor is for, s.
    step: f64,
    time: f64,
    rises: Vec<f64>,
    power: Vec<f64>,
    scratch: [Vec<f64>; 2],
}

impl<'a> March<'a> {
    /// At rest; `step` is the length of the first steps, s. The pattern must be that of the system.
    ///
    /// # Errors
    /// A matrix that is not positive definite.
    pub fn new(system: &'a System, pattern: &'a Pattern, step: f64) -> Result<Self, FieldTrouble> {
        let factor = Factor::new(pattern, system, 1.0 / (GAMMA * step))?;
        let zero = || vec![0.0; system.cells()];
        let power = vec![0.0; system.ports.names.len()];
        Ok(Self { system, factor, step, time: 0.0, rises: zero(), power, scratch: [zero(), zero()] })
    }

    /// Time since the start, s.
    pub fn time(&self) -> f64 {
        self.time
    }

    /// Rises of all cells, K.
    pub fn rises(&self) -> &[f64] {
        &self.rises
    }

    /// Rise of a port, K, under the power of the last step. Panics on a port that does not exist.
    pub fn rise(&self, port: usize) -> f64 {
        let m = self.power.len();
        let direct = &self.system.ports.direct[port * m..(port + 1) * m];
        let at_once: f64 = direct.iter().zip(&self.power).map(|(d, p)| d * p).sum();
        at_once + self.system.ports.read(port, &self.rises)
    }

    /// Heat stored, J.
    pub fn stored(&self) -> f64 {
        self.rises.iter().zip(&self.system.capacity).map(|(x, c)| x * c).sum()
    }

    /// Heat flow to all boundaries now, W.
    pub fn outflow(&self) -> f64 {
        self.system.films.iter().map(|(_, cell, g)| g * self.rises[*cell as usize]).sum()
    }

    /// Steps of another length from now on, s.
    ///
    /// # Errors
    /// A matrix that is not positive definite.
    pub fn set_step(&mut self, step: f64) -> Result<(), FieldTrouble> {
        self.step = step;
        self.factor.refresh(self.system, 1.0 / (GAMMA * step))
    }

    /// One step under constant power per port, W. Panics when `power` has not one entry per port.
    pub fn advance(&mut self, power: &[f64]) {
        self.power.copy_from_slice(power);
        let shift = 1.0 / (GAMMA * self.step);
        let [first, second] = &mut self.scratch;
        for (k, b) in first.iter_mut().enumerate() {
            *b = shift * self.system.capacity[k] * self.rises[k];
        }
        heat(self.system, power, first);
        self.factor.solve(first);
        let onward = (1.0 - GAMMA) / GAMMA;
        for (k, b) in second.iter_mut().enumerate() {
            let from = self.rises[k] + onward * (first[k] - self.rises[k]);
            *b = shift * self.system.capacity[k] * from;
        }
        heat(self.system, power, second);
        self.factor.solve(second);
        self.rises.copy_from_slice(second);
        self.time += self.step;
    }
}

fn heat(system: &System, power: &[f64], b: &mut [f64]) {
    for (weights, p) in system.ports.weights.iter().zip(power) {
        for (cell, share) in weights {
            b[*cell as usize] += p * share;
        }
    }
}

/// Rises of all ports (K/W) under 1 W at one of them from rest, at the end of every step: (time, rises). The first
/// steps are a 64th of the shortest time; after every `per_doubling` steps their length doubles, until the longest
/// time is reached.
///
/// # Errors
/// A matrix that is not positive definite.
pub fn step_response(
    system: &System,
    from: usize,
    shortest: f64,
    longest: f64,
    per_doubling: usize,
) -> Result<Vec<(f64, Vec<f64>)>, FieldTrouble> {
    let pattern = Pattern::new(system);
    let mut march = March::new(system, &pattern, shortest / 64.0)?;
    let ports = system.ports.names.len();
    let mut power = vec![0.0; ports];
    power[from] = 1.0;
    let mut points = Vec::new();
    while march.time < longest {
        for _ in 0..per_doubling {
            march.advance(&power);
            points.push((march.time, (0..ports).map(|p| march.rise(p)).collect()));
        }
        march.set_step(2.0 * march.step)?;
    }
    Ok(points)
}
