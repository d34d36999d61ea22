//! Charge and energy.

use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::run::setup::{Setup, Start};
use joulestep_engine::step::method::METHODS;
use joulestep_models::charge::Depletion;
use joulestep_models::devices::diode::Diode;
use joulestep_models::model::STATED_AT;

use crate::common::laws::Knee;
use crate::common::ref1::{Duty, ref1};
use crate::common::rig::{fixed, supply, v};

fn junction(c0: f64) -> Diode<f64> {
    Diode {
        saturation: 1e-14,
        ideality: 1.0,
        gap: 1.12,
        power: 3.0,
        breakdown: None,
        linear_above: 10.0,
        leakage: 0.0,
        depletion: Depletion::new(c0, 0.7, 0.4),
    }
}

/// A node between a linear and a nonlinear capacitance, shaken by a source for a hundred thousand steps: its charge,
/// from the voltages by the law's own formula, stays what it was to round-off: no more than half a unit in the last
/// place per stage that was solved.
#[test]
fn an_isolated_node_keeps_its_charge() {
    for method in METHODS {
        let mut c = Circuit::new();
        let sine = Wave::Sine { offset: 20.0, amplitude: 15.0, frequency: 1e5, phase: 0.0, delay: 0.0 };
        let (plus, _) = supply(&mut c, "plus", sine);
        let node = c.node("isolated");
        c.capacitor("C", plus, node, 1e-9, None).unwrap();
        c.capacitor("Cg", node, GROUND, 1e-10, Some(7.0)).unwrap();
        // A reverse junction without its leakage: only the charge is left of it.
        let mut diode = junction(2e-9);
        diode.saturation = 1e-40;
        c.law("D", "diode", &[GROUND, node], diode, STATED_AT).unwrap();
        let mut setup = Setup::new(c);
        setup.method = method;
        setup.steps = fixed(1e-8);
        let mut run = setup.ready().unwrap();
        let charge = |run: &joulestep_engine::run::time_loop::Run<f64>| {
            let (a, b) = (run.read(&v(plus)), run.read(&v(node)));
            1e-9 * (b - a) + 1e-10 * b + Depletion::new(2e-9, 0.7, 0.4).charge(b)
        };
        let before = charge(&run);
        let (mut worst, mut top) = (0.0f64, 0.0f64);
        for k in 1..=100 {
            // At another phase of the source every time.
            run.advance(1e-5 * f64::from(k) - 1.3e-6 * f64::from(k % 7), &mut ()).unwrap();
            worst = worst.max((charge(&run) - before).abs());
            top = top.max(run.read(&v(node)));
        }
        let size = 1e-9 * top;
        println!("{}: {} steps, {worst:.1e} C of {size:.1e} C", method.name, run.counters().steps);
        assert!(run.counters().steps >= 99_000 && top > 7.0);
        let stages = run.counters().steps as f64 * (method.stages() - 1) as f64;
        assert!(worst < 0.5 * f64::EPSILON * stages * size, "{worst:e} of {size:e}");
    }
}

/// Two capacitors that a diode and a switch join lose no charge together while it moves between them.
#[test]
fn charge_moves_without_loss_through_a_diode() {
    for method in METHODS {
        let mut c = Circuit::new();
        let [a, b] = ["a", "b"].map(|n| c.node(n));
        c.capacitor("Ca", a, GROUND, 1e-6, Some(10.0)).unwrap();
        c.capacitor("Cb", b, GROUND, 3e-6, Some(-2.0)).unwrap();
        c.resistor("bleed", a, GROUND, 1e18).unwrap();
        let inner = c.node("inner");
        c.resistor("R", a, inner, 2.0).unwrap();
        c.law("D", "diode", &[inner, b], junction(1e-9), STATED_AT).unwrap();
        let mut setup = Setup::new(c);
        setup.start = Start::Stated;
        setup.method = method;
        let mut run = setup.ready().unwrap();
        run.advance(1e-3, &mut ()).unwrap();
        let d = Depletion::new(1e-9, 0.7, 0.4);
        let (va, vb, vi) = (run.read(&v(a)), run.read(&v(b)), run.read(&v(inner)));
        let qd = d.charge(vb - vi);
        // The junction's charge sits between the two: it adds nothing to their sum.
        let sum = 1e-6 * va + (3e-6 * vb + qd) - qd;
        println!("{}: a {va} V, b {vb} V, charge {sum:.17e} C, {:?}", method.name, run.counters());
        assert!(va < 3.0 && vb > 0.2, "{va} {vb}");
        assert!((sum - 4e-6).abs() < 1e-11 * 1e-5, "{sum:e}");
    }
}

/// The ledger closes: REF-1 with default windows and with equal steps, both methods (the bound is the main job's, 1e-4
/// of the energy delivered), and each step halved closes better by the order.
#[test]
fn the_ledger_closes() {
    for method in METHODS {
        let solve = |h: Option<f64>| {
            let r = ref1::<f64>(Duty::DoublePulse).unwrap();
            let mut setup = Setup::new(r.circuit);
            setup.method = method;
            if let Some(h) = h {
                setup.steps = fixed(h);
            }
            let mut run = setup.ready().unwrap();
            run.advance(r.end, &mut ()).unwrap();
            let ledger = run.ledger();
            println!("{} {h:?}: {:.1e} of {:.3e} J", method.name, ledger.relative(), ledger.turnover);
            ledger.relative()
        };
        assert!(solve(None) < 1e-4);
        let (coarse, fine) = (solve(Some(0.5e-9)), solve(Some(0.25e-9)));
        assert!(coarse < 1e-4 && fine < 0.5 * coarse, "{coarse:e} {fine:e}");
    }
}

/// Sources that stand straight at devices' pins: their currents are what the devices take, and the ledger knows them.
/// Nine devices, so that the sources' currents lie beyond the devices' own unknowns.
#[test]
fn sources_straight_at_devices_know_their_currents() {
    let mut c = Circuit::new();
    let mut pairs = Vec::new();
    for k in 0..9 {
        let level = 1.0 + f64::from(k);
        let ramp = Wave::Points(vec![(0.0, level), (1e-6, 2.0 * level)]);
        let (node, source) = supply(&mut c, &format!("n{k}"), ramp);
        let knee = Knee { at: 0.5, g_on: 2.0, g_off: 0.1 };
        c.law(&format!("D{k}"), "knee", &[node, GROUND], knee, 300.0).unwrap();
        pairs.push((source, level));
    }
    let mut run = Setup::new(c).ready().unwrap();
    for t in [0.0, 0.5e-6, 1e-6] {
        run.advance(t, &mut ()).unwrap();
        for (source, level) in &pairs {
            let volt = level * (1.0 + t / 1e-6);
            let expected = 0.1 * volt + 2.0 * (volt - 0.5);
            let i = -run.read(&Probe::Branch(*source, 0));
            assert!((i / expected - 1.0).abs() < 1e-9, "at {t:e}: {i} {expected}");
        }
    }
    assert!(run.ledger().relative() < 1e-12, "{:?}", run.ledger());
    assert!(run.ledger().turnover > 1e-4, "{:?}", run.ledger());
}
