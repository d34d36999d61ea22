//! What is read off a run.

use super::time_loop::Run;
use crate::circuit::probe::Probe;
use crate::readout::{Raw, Readout, Seat, Sources};
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

    /// Raw values that are read at the ends of steps.
    pub(super) fn raw(&self) -> Vec<Raw> {
        let accounts = self.system.accounts();
        let mut all: Vec<_> = self.heating.iter().flatten().map(|&account| Raw::Energy(account)).collect();
        self.observers.iter().flat_map(|o| &o.readouts).for_each(|r| r.raw(accounts, &mut all));
        self.channels.iter().for_each(|(_, r)| r.raw(accounts, &mut all));
        self.watcher.raw(accounts, &mut all);
        self.gauges.raw(accounts, &mut all);
        self.switches.raw(accounts, &mut all);
        all.sort_unstable();
        all.dedup();
        all
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
