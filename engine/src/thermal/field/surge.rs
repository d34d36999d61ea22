//! Temperatures with properties that follow them, stepped: surges, where conductivity falls as the die heats.
//!
//! The heat content of each cell is exact for its law (∫c dT), conductances take the conductivity at both cells'
//! temperatures, and each stage of Alexander's two-stage method (SIAM J. Numer. Anal. 14 (1977) 1006: L-stable, order
//! 2) is iterated until the temperatures settle: what is stored, added and given off then agrees.

use super::body::Body;
use super::error::FieldError;
use super::iterate::Conjugate;
use super::mesh::Mesh;
use super::system::{Ports, System, add_transposed, conduct};

/// γ = 1 − 1/√2.
const GAMMA: f64 = 1.0 - std::f64::consts::FRAC_1_SQRT_2;
/// 0 °C in K.
const ZERO: f64 = 273.15;
/// Change of temperature, K, below which a stage has settled.
const SETTLED: f64 = 1e-7;
/// Iterations of a stage allowed.
const MOST: usize = 60;
/// Relative residual of each linear system.
const RESIDUAL: f64 = 1e-10;

/// A body on a mesh at a time, with temperatures of all cells.
#[derive(Debug, Clone)]
pub struct Surge<'a> {
    body: &'a Body,
    mesh: &'a Mesh,
    system: System,
    conjugate: Conjugate,
    volumes: Vec<f64>,
    kelvin: Vec<f64>,
    power: Vec<f64>,
    time: f64,
}

impl<'a> Surge<'a> {
    /// With every cell at one temperature, °C.
    ///
    /// # Errors
    /// As [`System::new`].
    pub fn new(body: &'a Body, mesh: &'a Mesh, start: f64) -> Result<Self, FieldError> {
        let system = System::new(body, mesh, start + ZERO)?;
        let conjugate = Conjugate::new(&system, 1.0);
        let volumes = mesh.cells.iter().map(|c| mesh.extents(c).iter().product()).collect();
        let kelvin = vec![start + ZERO; mesh.cells.len()];
        let power = vec![0.0; body.ports.len()];
        Ok(Self { body, mesh, system, conjugate, volumes, kelvin, power, time: 0.0 })
    }

    /// Time since the start, s.
    pub fn time(&self) -> f64 {
        self.time
    }

    /// Temperatures of all cells, °C.
    pub fn temperatures(&self) -> impl Iterator<Item = f64> + '_ {
        self.kelvin.iter().map(|t| t - ZERO)
    }

    /// Temperature of a port, °C, under the power of the last step. Panics on a port that does not exist.
    pub fn temperature(&self, port: usize) -> f64 {
        let (m, ports) = (self.power.len(), &self.system.ports);
        let direct = &ports.direct[port * m..(port + 1) * m];
        let at_once: f64 = direct.iter().zip(&self.power).map(|(d, p)| d * p).sum();
        at_once + ports.read(port, &self.kelvin) - ZERO
    }

    /// Heat stored over a uniform temperature, °C, in J.
    pub fn stored(&self, over: f64) -> f64 {
        (0..self.kelvin.len()).map(|k| self.content(k, over + ZERO, self.kelvin[k])).sum()
    }

    /// Heat flow to all boundaries now, W.
    pub fn outflow(&self) -> f64 {
        let film = |(g, (b, cell)): (&f64, (u32, u32))| {
            g * (self.kelvin[cell as usize] - self.body.boundaries[b as usize].temperature - ZERO)
        };
        self.system.films.iter().map(film).sum()
    }

    /// One step of `dt` seconds under constant power per port, W. Panics when `power` has not one entry per port.
    ///
    /// # Errors
    /// Temperatures that do not settle; a linear system that does not converge.
    pub fn advance(&mut self, dt: f64, power: &[f64]) -> Result<(), FieldError> {
        self.power.copy_from_slice(power);
        let stage = GAMMA * dt;
        let start = self.kelvin.clone();
        // Heat content of each cell over the start of the step: none.
        let mut from = vec![0.0; start.len()];
        self.stage(stage, &start, &from)?;
        let onward = (1.0 - GAMMA) / GAMMA;
        for (k, h) in from.iter_mut().enumerate() {
            *h = onward * self.content(k, start[k], self.kelvin[k]);
        }
        self.stage(stage, &start, &from)?;
        self.time += dt;
        Ok(())
    }

    /// Straight to the steady state of constant power per port, W. Panics when `power` has not one entry per port.
    ///
    /// # Errors
    /// Temperatures that do not settle, as with more power than conductivities that fall let through; a linear
    /// system that does not converge.
    pub fn settle(&mut self, power: &[f64]) -> Result<(), FieldError> {
        self.power.copy_from_slice(power);
        let start = self.kelvin.clone();
        let none = vec![0.0; start.len()];
        self.stage(f64::INFINITY, &start, &none)
    }

    /// Heat content of a cell between two temperatures, J.
    fn content(&self, cell: usize, from: f64, to: f64) -> f64 {
        let block = self.mesh.cells[cell].block as usize;
        self.volumes[cell]
            * self.body.substances[self.body.blocks[block].substance].heat_capacity.integral(from, to)
    }

    /// Solves H(T) − H(start) − `offset` = `stage`·(P + F·θ − K(T)·T) for T, from what is in `kelvin`.
    fn stage(&mut self, stage: f64, start: &[f64], offset: &[f64]) -> Result<(), FieldError> {
        // A stage without end is the steady state: no capacity.
        let shift = if stage.is_finite() { 1.0 / stage } else { 0.0 };
        let mut b = vec![0.0; start.len()];
        let fixed: Vec<f64> = self.body.boundaries.iter().map(|b| b.temperature + ZERO).collect();
        for _ in 0..MOST {
            let (body, mesh, kelvin) = (self.body, self.mesh, &self.kelvin);
            (self.system.conductance, self.system.films) = conduct(body, mesh, |cell| kelvin[cell])?;
            // The undelayed part of a rectangle follows the conductivity too.
            self.system.ports = Ports::new(body, mesh, |cell| kelvin[cell])?;
            for (k, b) in b.iter_mut().enumerate() {
                let block = mesh.cells[k].block as usize;
                let law = &body.substances[body.blocks[block].substance].heat_capacity;
                let capacity = self.volumes[k] * law.at(kelvin[k]);
                self.system.capacity.data_mut()[k] = capacity;
                let risen = self.volumes[k] * law.integral(start[k], kelvin[k]);
                *b = shift * (capacity * kelvin[k] - risen + offset[k]);
            }
            add_transposed(&self.system.films, &fixed, &mut b);
            add_transposed(self.system.shares(), &self.power, &mut b);
            self.conjugate.refresh(&self.system, shift);
            let before = self.kelvin.clone();
            self.conjugate.solve(&self.system, &b, &mut self.kelvin, RESIDUAL)?;
            let moved = self.kelvin.iter().zip(&before).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
            if !moved.is_finite() {
                break;
            }
            if moved < SETTLED {
                return Ok(());
            }
        }
        Err(FieldError::NotSettled { step: stage / GAMMA, iterations: MOST })
    }
}
