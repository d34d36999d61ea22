//! A step that is to be made, and what came of the attempt.

use super::stepper::Stepper;
use crate::arithmetic::lane::Lane;
use crate::circuit::graph::WaveId;
use crate::readout::{Readout, Seat, Sources};

/// The step that a lane is to make.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Span {
    /// Its start, s.
    pub begin: f64,
    /// Its end, s: differs from `begin + h` by rounding only.
    pub end: f64,
    /// Its length, s.
    pub h: f64,
}

impl Span {
    /// The instant of a stage, s.
    pub(crate) fn instant(&self, c: f64) -> f64 {
        if c == 1.0 { self.end } else { self.begin + c * self.h }
    }
}

/// What one attempted step cost and how smooth it was.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Attempt {
    /// Newton iterations of all stages.
    pub iterations: u32,
    /// Estimated local error over its bound; the largest of all unknowns.
    pub error: f64,
    /// Whether some stage met a device in change.
    pub hard: bool,
    /// What its energies are wrong by, J: about, or as worked out.
    pub residual: f64,
    /// That over what it may be, where it was worked out.
    pub unbalanced: f64,
    /// What rounding makes of the voltages, over the largest of them, where it was worked out.
    pub noise: f64,
}

impl Attempt {
    /// The error over its bound, that of the energies too, but for a device in change at least what takes the step back.
    pub fn error_ratio(&self) -> f64 {
        let error = self.error.max(self.unbalanced);
        if self.hard { error.max(EVENT) } else { error }
    }
}

/// The error ratio that a device in change is given: enough for the step to be taken back and made finer.
const EVENT: f64 = 3.0;

impl<L: Lane> Stepper<L> {
    /// The products under the integrals, at the present stage.
    pub(super) fn multiply(&mut self, i: usize, seats: &[Seat<'_>]) {
        let accounts = self.solver.system.accounts();
        let (power, products) = self.power[i].split_at_mut(accounts);
        let (x, stamps) = (&self.solver.x, &self.solver.stamps);
        let from = Sources { seats, x, power, stamps, celsius: &[], energy: &[], integrals: &[] };
        // Many have the same course as a factor: it is read once.
        let mut last: Option<(WaveId, L)> = None;
        let mut read = |readout: &Readout<L>| match (readout, last) {
            (Readout::Wave(wave), Some((known, value))) if known == *wave => value,
            (Readout::Wave(wave), _) => last.insert((*wave, readout.read(&self.solver.system, &from))).1,
            _ => readout.read(&self.solver.system, &from),
        };
        for (product, (a, b)) in products.iter_mut().zip(&self.integrals) {
            *product = read(a) * read(b);
        }
    }
}
