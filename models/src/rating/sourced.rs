//! A part with a voltage over it and one at its gate, where ratings read its operating points.

use joulestep_engine::circuit::graph::{HeatId, WaveId};
use joulestep_engine::step::near::OperatingPoints;

use super::MOST_DIES;
use crate::model::CELSIUS;
use crate::operating::{Between, Feed, OperatingError, between};
use crate::part::Part;

/// A part between its sources, its dies at these temperatures, °C; the sources' levels.
pub(super) struct Sourced {
    pub(super) points: OperatingPoints,
    pub(super) feed: WaveId,
    pub(super) gate: Option<WaveId>,
}

impl Sourced {
    pub(super) fn new(part: &Part, gate: f64, volts: f64, celsius: &[f64]) -> Result<Self, OperatingError> {
        let placed = between(part.entry(), &part.values, gate, Feed::Voltage(volts))?;
        let Between { mut circuit, built, feed: (_, feed), gate, .. } = placed;
        for (k, (_, components)) in built.dies.iter().enumerate() {
            components.iter().for_each(|&c| circuit.heats(c, HeatId(k as u32)));
        }
        let kelvin: Vec<f64> = celsius.iter().map(|t| t + CELSIUS).collect();
        let points = OperatingPoints::new(circuit, &kelvin);
        Ok(Self { points, feed, gate: gate.map(|g| g.1) })
    }

    /// Σ u·i of each die at the solution x, W.
    pub(super) fn heat(&self, x: &[f64]) -> [f64; MOST_DIES] {
        let mut heat = [0.0; MOST_DIES];
        let system = self.points.system();
        for (device, placed) in self.points.devices().iter().zip(&system.devices) {
            let Some(die) = system.heat_of(placed) else { continue };
            let u = placed.locals_at(x);
            let mut out = vec![0.0; 2 * u.len()];
            device.values(&u, &mut out);
            heat[die.0 as usize] += (0..placed.ports).map(|k| u[k] * out[k]).sum::<f64>();
        }
        heat
    }
}
