//! Windows that the program finds, against equal fine steps.

use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::recorder::InMemory;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::step::method::{ESDIRK4, METHODS};

use crate::common::pulsed::{END, pulsed};
use crate::common::ref1::{Duty, ref1};
use crate::common::reference::{Reference, difference};
use crate::common::rig::{channel, column, fixed, tight, v};

/// REF-1 with every setting at its default, against the reference solution: each step's local error is held below
/// 10 mV; a hundred times that (1 V of 400 V with an edge of 100 V/ns) at the worst instant and ten times on the mean is
/// what a tolerance per step may add up to in this circuit's four edges.
#[test]
fn default_windows_lose_nothing_that_matters_on_ref1() {
    let reference = Reference::load();
    for method in METHODS {
        let r = ref1::<f64>(Duty::DoublePulse).unwrap();
        let mut setup = Setup::new(r.circuit);
        setup.method = method;
        setup.channels = vec![channel("v2", v(r.nodes[1])), channel("i", Probe::Branch(r.inductors[0], 0))];
        let mut run = setup.ready().unwrap();
        let mut memory = InMemory::default();
        run.advance(r.end, &mut memory).unwrap();
        let (worst, mean) = difference(&reference, 1, &memory.time, &column(&memory.samples, 0));
        let (i_worst, _) = difference(&reference, 7, &memory.time, &column(&memory.samples, 1));
        let counters = run.counters();
        println!("{}: {worst:.2e} V worst, {mean:.2e} V rms, {i_worst:.1e} A; {counters:?}", method.name);
        assert!(worst < 1.0 && mean < 0.1 && i_worst < 1e-2, "{worst} {mean} {i_worst}");
        assert!(run.ledger().relative() < 1e-4, "{}", run.ledger().relative());
    }
}

/// A breaker that trips on its current into a varistor: neither the trip, nor the clamp, nor the end of the current is
/// known beforehand. Against equal steps of 0.2 ns of order 4.
#[test]
fn default_windows_find_what_no_schedule_announces() {
    let mut memory = InMemory::default();
    let (mut setup, drain) = pulsed();
    setup.channels = vec![channel("v", v(drain))];
    let mut found = setup.ready().unwrap();
    found.advance(END, &mut memory).unwrap();
    let (mut setup, drain) = pulsed();
    setup.method = &ESDIRK4;
    setup.steps = fixed(0.2e-9);
    setup.tolerance = tight();
    let mut uniform = setup.ready().unwrap();
    let (mut worst, mut at, mut square) = (0.0f64, 0.0, 0.0);
    let mut before = 0.0;
    for (t, sample) in memory.time.iter().zip(&memory.samples) {
        uniform.advance(*t, &mut ()).unwrap();
        let off = (uniform.read(&v(drain)) - sample[0]).abs();
        if off > worst {
            (worst, at) = (off, *t);
        }
        square += off * off * (t - before);
        before = *t;
    }
    let rms = (square / END).sqrt();
    println!("{worst:.3e} V worst at {at:e} s, {rms:.3e} V rms");
    println!("{:?}\n{:?}", found.counters(), uniform.counters());
    let energies = |run: &joulestep_engine::run::time_loop::Run<f64>| {
        let ledger = run.ledger();
        ["D", "L", "M", "V"].map(|n| ledger.entries.iter().find(|e| e.name == n).unwrap().dissipated)
    };
    for (a, b) in energies(&found).into_iter().zip(energies(&uniform)) {
        println!("{a:e} {b:e} {:.1e}", a / b - 1.0);
        assert!((a / b - 1.0).abs() < 1e-4, "{a:e} {b:e}");
    }
    assert!(rms < 0.1 && worst < 1.0, "{rms} {worst}");
    assert!(found.counters().steps * 10 < uniform.counters().steps);
}

#[test]
fn adhoc() {
    for steps in [None, Some(1e-9), Some(0.25e-9)] {
        for bound in [1e-2, 1e-3] {
            let r = ref1::<f64>(Duty::DoublePulse).unwrap();
            let mut setup = Setup::new(r.circuit);
            if let Some(h) = steps {
                setup.steps = fixed(h);
            }
            setup.bounds.voltage = bound;
            setup.bounds.current = bound;
            let mut run = setup.ready().unwrap();
            run.advance(r.end, &mut ()).unwrap();
            for e in run.ledger().entries {
                println!("{:8} {:.5e} {:.5e} {:.5e}", e.name, e.delivered, e.dissipated, e.stored);
            }
            println!("{:?}", run.counters());
        }
    }
}
