//! Circuits whose solutions are known in closed form, through the engine. Every group names its source; numbers and
//! tolerances are those of the collected check values (`derived` there: elementary, cross-checked by an independent
//! numerical evaluation).

mod diodes_and_clamps;
mod linear;
mod periodic;
mod sources;
mod statics;
mod switched;

use joulestep_engine::circuit::graph::Circuit;
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::recorder::InMemory;
use joulestep_engine::run::setup::{Setup, Start};
use joulestep_engine::run::time_loop::Run;

use crate::common::rig::{channel, fixed, tight};

/// A setup from stated voltages and currents, with `n` equal steps until `end`, and one channel per probe.
fn stated(circuit: Circuit<f64>, end: f64, n: u32, probes: &[Probe]) -> Setup<f64> {
    let mut setup = Setup::new(circuit);
    setup.start = Start::Stated;
    setup.steps = fixed(end / f64::from(n));
    setup.tolerance = Some(tight());
    setup.channels = probes.iter().map(|p| channel("probe", p.clone())).collect();
    setup
}

/// Runs to the end and keeps everything.
fn run(setup: Setup<f64>, end: f64) -> (Run<f64>, InMemory<f64>) {
    let mut run = setup.ready().unwrap();
    let mut memory = InMemory::default();
    run.advance(end, &mut memory).unwrap();
    (run, memory)
}

/// Heat, delivered and stored energy of a component so far, J.
fn energies(run: &Run<f64>, name: &str) -> (f64, f64, f64) {
    let ledger = run.ledger();
    let e = ledger.entries.iter().find(|e| e.name == name).unwrap();
    (e.dissipated, e.delivered, e.stored)
}
