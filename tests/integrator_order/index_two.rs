//! Equations of index 2: the current of a voltage source across a capacitor is C·dv/dt of its own course, the voltage
//! across a current source in series with an inductor L·di/dt. The closed forms are these derivatives.

use std::f64::consts::TAU;

use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::run::setup::{Setup, Start};
use joulestep_engine::run::time_loop::Run;
use joulestep_engine::step::method::{METHODS, Method, RODAS4};

use super::ready;
use crate::common::rig::{supply, v};

const END: f64 = 0.9;

fn course() -> Wave<f64> {
    Wave::Sine { offset: 0.5, amplitude: 2.0, frequency: 1.0, phase: 0.7, delay: 0.0 }
}

fn value(t: f64) -> (f64, f64) {
    let angle = TAU * t + 0.7;
    (0.5 + 2.0 * angle.sin(), 2.0 * TAU * angle.cos())
}

/// 3 F and 0.5 Ω across the source; what is read is its current.
fn capacitor() -> (Circuit<f64>, Probe, f64) {
    let mut c = Circuit::new();
    let (plus, source) = supply(&mut c, "plus", course());
    c.capacitor("C", plus, GROUND, 3.0, Some(value(0.0).0)).unwrap();
    c.resistor("R", plus, GROUND, 0.5).unwrap();
    let (volt, slope) = value(END);
    (c, Probe::Branch(source, 0), -(3.0 * slope + volt / 0.5))
}

/// 3 H and 0.5 Ω in series with the source; what is read is the voltage across it.
fn inductor() -> (Circuit<f64>, Probe, f64) {
    let mut c = Circuit::new();
    let [a, b] = ["a", "b"].map(|n| c.node(n));
    let wave = c.wave(course());
    c.current_source("I", GROUND, a, wave).unwrap();
    c.inductor("L", a, b, 3.0, 0.0, Some(value(0.0).0)).unwrap();
    c.resistor("R", b, GROUND, 0.5).unwrap();
    let (ampere, slope) = value(END);
    (c, v(a), 3.0 * slope + 0.5 * ampere)
}

type Case = fn() -> (Circuit<f64>, Probe, f64);

fn solved(case: Case, method: &'static Method, n: u32) -> (Run<f64>, f64) {
    let (circuit, probe, expected) = case();
    let mut run = ready(circuit, method, END / f64::from(n)).ready().unwrap();
    run.advance(END, &mut ()).unwrap();
    let off = (run.read(&probe) - expected).abs();
    (run, off)
}

#[test]
fn every_method_has_order_two_at_index_two() {
    for case in [capacitor as Case, inductor] {
        for method in METHODS {
            let errors: Vec<f64> = (0..4).map(|k| solved(case, method, 40 << k).1).collect();
            let orders: Vec<f64> = errors.windows(2).map(|e| (e[0] / e[1]).log2()).collect();
            println!("{}: {errors:?} orders {orders:.2?}", method.name);
            assert!(orders.iter().all(|order| *order > 1.9), "{}: {orders:?}", method.name);
        }
    }
}

/// With the default steps of a run: within 1e-3 of the closed form's size, and the ledger closes to 1e-6. The linearly
/// implicit method leaves such circuits to its implicit one, and says so.
#[test]
fn the_ledger_closes_at_index_two() {
    for case in [capacitor as Case, inductor] {
        let (circuit, probe, expected) = case();
        let mut setup = Setup::new(circuit).lasting(END);
        setup.start = Start::Stated;
        setup.method = &RODAS4;
        let mut run = setup.ready().unwrap();
        run.advance(END, &mut ()).unwrap();
        let off = (run.read(&probe) / expected - 1.0).abs();
        println!(
            "{} off by {off:.1e}, ledger {:.1e}, {:?}",
            run.method(),
            run.ledger().relative(),
            run.counters()
        );
        assert!(off < 1e-3 && run.ledger().relative() < 1e-6, "{off:e} {:e}", run.ledger().relative());
        assert_eq!(run.method(), "esdirk4");
    }
}
