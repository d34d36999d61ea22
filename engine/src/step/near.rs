//! Operating points of one circuit, one after the other, each from one that is near: characteristics, tables, fits.

use super::robust::{Robust, Tools};
use super::start::{operating_point, source_rows};
use crate::arithmetic::vector::zeros;
use crate::circuit::graph::{Circuit, HeatId, WaveId};
use crate::circuit::law::Device;
use crate::circuit::wave::Wave;
use crate::control::board::Board;
use crate::equations::system::System;
use crate::error::SolverError;

/// Temperature of what has no other, K.
const ROOM: f64 = 298.15;

/// A circuit whose sources are set to one level after the other.
#[derive(Debug)]
pub struct OperatingPoints {
    system: System<f64>,
    board: Board<f64>,
    kelvin: Vec<f64>,
    tools: Tools<f64>,
}

impl OperatingPoints {
    /// Of a circuit whose heat inputs have these temperatures, K; what has none is at 25 °C.
    pub fn new(circuit: Circuit<f64>, temperatures: &[f64]) -> Self {
        let board = Board::new(&circuit);
        let system = System::new(circuit);
        let of = |id: HeatId| temperatures.get(id.0 as usize).copied();
        let kelvin = system.devices.iter().map(|placed| system.heat_of(placed).and_then(of).unwrap_or(ROOM));
        let kelvin: Vec<f64> = kelvin.collect();
        let tools = Tools::new(&system, &kelvin, &board);
        Self { system, board, kelvin, tools }
    }

    /// The equations.
    pub fn system(&self) -> &System<f64> {
        &self.system
    }

    /// The devices at their temperatures.
    pub fn devices(&self) -> &[Box<dyn Device<f64>>] {
        &self.tools.devices
    }

    /// Sets a source, V or A.
    pub fn set(&mut self, wave: WaveId, level: f64) {
        self.system.circuit.waves[wave.0 as usize] = Wave::Constant(level);
    }

    /// The operating point: Newton's iteration from `near`, such as that of slightly different sources, and the whole
    /// search of [`operating_point`] where that fails or nothing near is known (an empty slice).
    ///
    /// # Errors
    /// [`SolverError::NoOperatingPoint`].
    pub fn at(&mut self, near: &[f64]) -> Result<Vec<f64>, SolverError> {
        let Self { system, board, kelvin, tools } = self;
        let mut point = Robust::new(system, tools, None);
        if near.len() == point.x.len() && system.circuit.components.iter().all(|c| c.stated.is_none()) {
            point.x.copy_from_slice(near);
            let rows = source_rows(system, 0.0, 1.0, board);
            if point.newton(0.0, &zeros(system.n + 1), &rows, 0.0, f64::INFINITY).is_ok() {
                return Ok(point.x);
            }
        }
        operating_point(system, 0.0, kelvin, board, None)
    }
}
