//! What is read off a run.

use std::ops::Range;

use super::time_loop::Run;
use crate::circuit::probe::Probe;
use crate::equations::system::System;
use crate::readout::{Raw, Readout, Readouts, Seat, Sources};
use crate::step::state::State;
use crate::step::stepper::Stepper;

/// Where the values of probes come from.
pub(super) fn sources<'a>(
    state: &'a State<f64>,
    stepper: &'a Stepper<f64>,
    celsius: &'a [f64],
    seats: &'a [Seat<'a>],
) -> Sources<'a, f64> {
    Sources {
        seats,
        x: &state.x,
        power: &state.power,
        stamps: stepper.stamps(),
        celsius,
        energy: &state.energy,
        integrals: &state.energy[stepper.system().accounts()..],
    }
}

impl Run<f64> {
    /// Reads a probe at the present state.
    #[inline(never)]
    pub fn read(&self, probe: &Probe) -> f64 {
        Readout::new(probe, self.system()).read(self.system(), &self.sources(&[self.seat()]))
    }

    /// Raw values that a run in a lane reads itself at the ends of steps.
    pub(super) fn raw(&self) -> Vec<Raw> {
        let mut all: Vec<_> = self.heating.iter().flatten().map(|&account| Raw::Energy(account)).collect();
        self.reads.raw_of_others(self.system.accounts(), &mut all);
        all.sort_unstable();
        all.dedup();
        all
    }

    /// Reads all that the circuit's state tells; what control and heat tell is left to [`Run::read_others`].
    pub(super) fn gather(&mut self) {
        self.take(|reads, _, from, values| reads.weigh(from, values));
    }

    /// Reads what control and heat tell now, of some values.
    pub(super) fn read_others(&mut self, range: Range<usize>) {
        self.take(|reads, system, from, values| reads.read_others(&range, system, from, values));
    }

    fn take(&mut self, read: impl FnOnce(&mut Readouts<f64>, &System<f64>, &Sources<'_, f64>, &mut [f64])) {
        let (board, choices, waves) = (&self.board, &self.choices, &self.system.circuit.waves);
        let seat = [Seat { t: self.seen_at, board, waves, choices }];
        let from = sources(&self.state, &self.stepper, &self.celsius, &seat);
        read(&mut self.reads, &self.system, &from, &mut self.values);
    }

    /// Where probes are read.
    pub(super) fn seat(&self) -> Seat<'_> {
        Seat {
            t: self.seen_at,
            board: &self.board,
            waves: &self.system.circuit.waves,
            choices: &self.choices,
        }
    }

    pub(super) fn sources<'a>(&'a self, seats: &'a [Seat<'a>]) -> Sources<'a, f64> {
        sources(&self.state, &self.stepper, &self.celsius, seats)
    }
}
