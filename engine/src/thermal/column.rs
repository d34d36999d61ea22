//! A die whose conductivity and heat capacity follow its temperature, beside a network that is linear.
//!
//! The die is a column of cells, thin at its face, on what the network has beneath it. The column is stepped twice
//! under the same power: with the laws of its material, H' = Σ flux + P with the exact heat content H = ∫c dT of each
//! cell, and as the network has it, with the properties at one temperature. The difference in the heated volume is added to what
//! the network says, so a die within its linear range has the network's own temperature. Both are implicit (backward
//! Euler, L-stable) with the same steps, so that most of the error of stepping cancels; what is left is told by a second
//! pair with steps twice as long, whose difference is the error of a method of order 1 (Richardson; Hairer, Nørsett &
//! Wanner, Solving ODEs I, section II.4).
//!
//! Conductances take the mean conductivity between the temperatures of two cells, ∫k dT/ΔT: exact for a steady flux
//! (Kirchhoff's transform: Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed., section 2.16).

mod cells;

use self::cells::{Cells, Pair};
use super::error::ThermalError;
use super::field::property::Law;
use super::network::FosterTerm;

/// A die as a plate: heat arises evenly in its uppermost `depth` and goes down through `area`.
#[derive(Debug, Clone, PartialEq)]
pub struct Plate {
    /// m².
    pub area: f64,
    /// m.
    pub thickness: f64,
    /// Of the heated volume, m; taken as at least 1 % and at most 90 % of the thickness.
    pub depth: f64,
    /// Through the plate, W/(m·K).
    pub conductivity: Law,
    /// Per volume, J/(m³·K).
    pub heat_capacity: Law,
    /// Temperature at which the network's own numbers hold, °C.
    pub temperature: f64,
}

/// A column at a time.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Number of the heat input whose die it is.
    pub(super) input: usize,
    cells: std::sync::Arc<Cells>,
    fine: Pair,
    coarse: Pair,
    /// What the coarse pair has still to step: s, J.
    waiting: Option<(f64, f64)>,
    /// Whether there is a coarse pair.
    checked: bool,
    /// Heat of the input at the last step, J.
    pub(super) seen: f64,
    /// Power of the input in the steady state from which it started, W: only more than that is followed.
    pub(super) standing: f64,
    /// Largest difference of the two pairs so far, K; infinite where a step did not settle.
    error: f64,
}

impl Column {
    /// The die of heat input `input`, whose own impedance in the network is `terms`: what remains of its ladder beyond the
    /// heat capacity of the die lies beneath.
    ///
    /// # Errors
    /// Terms that make no ladder.
    pub fn new(input: usize, plate: Plate, terms: &[FosterTerm]) -> Result<Self, ThermalError> {
        let cells = std::sync::Arc::new(Cells::new(&plate, terms)?);
        let none = cells.unheated();
        let (fine, coarse) = (none.clone(), none);
        Ok(Self {
            input,
            cells,
            fine,
            coarse,
            waiting: None,
            checked: true,
            seen: 0.0,
            standing: 0.0,
            error: 0.0,
        })
    }

    /// The same that does not tell what its steps have wrong, a third cheaper: for who steps it twice.
    #[must_use]
    pub fn unchecked(self) -> Self {
        Self { checked: false, ..self }
    }

    /// The heat input whose die it is.
    pub fn input(&self) -> usize {
        self.input
    }

    /// With nothing risen.
    pub(super) fn start(&mut self) {
        self.fine = self.cells.unheated();
        self.coarse = self.fine.clone();
        (self.waiting, self.seen, self.standing, self.error) = (None, 0.0, 0.0, 0.0);
    }

    /// By how much the face is hotter than the network says, K.
    pub(super) fn hotter(&self) -> f64 {
        self.cells.hotter(&self.fine)
    }

    /// Heat, J: by how much more is stored, and more was given off, than the network says. Their sum is 0.
    pub(super) fn heat(&self) -> [f64; 2] {
        let Pair { followed, linear, .. } = &self.fine;
        [followed.stored - linear.stored, followed.out - linear.out]
    }

    /// Error of the rise that comes from the steps, K; infinite where one did not settle.
    pub fn error(&self) -> f64 {
        self.error
    }

    /// One step of `dt` s in which the heat `heat` (J) arose; the network says `network` °C at its end.
    pub(super) fn step(&mut self, dt: f64, heat: f64, network: f64) {
        let cells = std::sync::Arc::clone(&self.cells);
        let mut settled = cells.step(&mut self.fine, dt, heat, network);
        match self.waiting.take() {
            None if !self.checked => {}
            None => self.waiting = Some((dt, heat)),
            Some((before, earlier)) => {
                settled &= cells.step(&mut self.coarse, before + dt, earlier + heat, network);
                let apart = (cells.hotter(&self.fine) - cells.hotter(&self.coarse)).abs();
                self.error = self.error.max(apart);
            }
        }
        if !settled {
            self.error = f64::INFINITY;
        }
    }
}
