//! Ideal diodes and switches against closed forms, exact to rounding whatever the step.

use joulestep_engine::circuit::graph::{Circuit, ComponentId, GROUND, NodeId};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::control::sequence::Deed;
use joulestep_engine::run::setup::{Piecewise, Setup, Start};
use joulestep_engine::run::time_loop::Run;
use joulestep_models::lookup;
use joulestep_models::model::{Value, Values};

use crate::common::rig::{channel, column, falls_to, near, peak, sequence, supply, v};

/// A diode of 1 µΩ and 1 GΩ.
pub fn diode(c: &mut Circuit<f64>, name: &str, pins: [NodeId; 2], threshold: f64) -> ComponentId {
    let entry = lookup::find("ideal-diode").unwrap();
    let mut values = Values::with_defaults(entry.params);
    for (key, x) in [("forward-voltage", threshold), ("on-resistance", 1e-6), ("off-resistance", 1e9)] {
        values.0.insert(key, Value::Number(x));
    }
    (entry.build)(c, name, &pins, &values).unwrap().components[0]
}

fn setup(c: Circuit<f64>, base: f64, probes: &[Probe]) -> Setup<f64> {
    let mut setup = Setup::new(c);
    setup.start = Start::Stated;
    setup.steps.base = base;
    setup.channels = probes.iter().map(|p| channel("probe", p.clone())).collect();
    setup
}

fn by_pieces(setup: Setup<f64>) -> Run<f64> {
    let mut run = setup.ready().unwrap();
    assert!(run.stepper().pieces().is_some());
    run
}

/// Half a sine charges the capacitor to 2V − v₀; i_pk = (V − v₀)√(C/L), π√(LC), I²t (derived).
#[test]
fn resonant_charging_through_a_diode() {
    let cases = [
        [48.0, 1e-5, 1e-4, 0.0, 96.0, 151.789327688082, 9.9345882657961e-05, 1.14446456821971],
        [320.0, 5e-5, 1e-5, -40.0, 680.0, 160.996894379985, 7.02481473104073e-05, 0.910415989142878],
    ];
    for [volt, henry, farad, v0, v_final, i_peak, t_off, i2t] in cases {
        let mut c = Circuit::new();
        let (plus, _) = supply(&mut c, "plus", Wave::Constant(volt));
        let (x, out) = (c.node("x"), c.node("out"));
        let l = c.inductor("L", plus, x, henry, 0.0, Some(0.0)).unwrap();
        diode(&mut c, "D", [x, out], 0.0);
        c.capacitor("C", out, GROUND, farad, Some(v0)).unwrap();
        let i = Probe::Branch(l, 0);
        let mut setup = setup(c, t_off / 100.0, std::slice::from_ref(&i));
        setup.integrals = vec![(i.clone(), i)];
        let mut run = by_pieces(setup);
        let mut memory = joulestep_engine::recorder::InMemory::default();
        run.advance(1.3 * t_off, &mut memory).unwrap();
        let current = column(&memory.samples, 0);
        // 1 µΩ damps by 2.5e-6 here: π/2·R√(C/L).
        near("final voltage", run.read(&v(out)), v_final, 5e-6);
        near("I2t", run.integral(0), i2t, 1e-5);
        near("peak current", peak(&memory.time, &current).1, i_peak, 1e-5);
        let off = memory.time.iter().zip(&current).skip(10).find(|(_, i)| i.abs() < 1e-4 * i_peak).unwrap();
        near("turn-off", *off.0, t_off, 1e-6);
        near("closure", 1.0 + run.ledger().relative(), 1.0, 1e-9);
        assert_eq!(run.counters().iterations, 0);
    }
}

/// The current of an inductor through a diode into a stiff voltage against the bus, with and without resistance:
/// t = (L/R)ln(1 + IR/V_x), E = V_c(L/R)(I − (V_x/R)ln(1 + IR/V_x)), V_x = V_c − V_b (derived). The diode's threshold
/// is the clamp.
#[test]
fn turn_off_into_a_threshold() {
    let cases = [
        [2e-5, 100.0, 400.0, 700.0, 0.0, 6.66666666666667e-06, 0.233333333333333],
        [2e-5, 100.0, 400.0, 700.0, 0.5, 6.16602719309033e-06, 0.21026857890206],
        [1e-4, 40.0, 48.0, 85.0, 0.0, 0.000108108108108108, 0.183783783783784],
    ];
    for [henry, i0, vb, vc, r, t_off, energy] in cases {
        let mut c = Circuit::new();
        let (plus, _) = supply(&mut c, "bus", Wave::Constant(vb));
        let x = c.node("x");
        let l = c.inductor("L", plus, x, henry, r, Some(i0)).unwrap();
        diode(&mut c, "clamp", [x, GROUND], vc);
        let mut run = by_pieces(setup(c, t_off / 20.0, &[Probe::Branch(l, 0)]));
        let mut memory = joulestep_engine::recorder::InMemory::default();
        run.advance(1.3 * t_off, &mut memory).unwrap();
        let ledger = run.ledger();
        let of = |name: &str| ledger.entries.iter().find(|e| e.name == name).unwrap().clone();
        near("time", falls_to(&memory.time, &column(&memory.samples, 0), 0.0, 1e-3 * i0), t_off, 1e-2);
        near("energy", of("clamp").dissipated, energy, 1e-5);
        near("closure", 1.0 + ledger.relative(), 1.0, 1e-8);
    }
}

/// Half-wave rectifier with R-L load: extinction angle, mean and peak current (Mohan, Undeland & Robbins, ch. 5;
/// from memory).
#[test]
fn half_wave_rectifier() {
    let cases = [
        [230.0, 50.0, 10.0, 0.0318309886, 225.78737684425, 8.78673381494234, 24.5969416380397],
        [230.0, 50.0, 25.0, 0.2, 257.258803326949, 2.52742145960097, 6.33718629957452],
    ];
    for [volt, f, ohm, henry, beta, mean, top] in cases {
        let mut c = Circuit::new();
        let sine = Wave::Sine {
            offset: 0.0,
            amplitude: volt * std::f64::consts::SQRT_2,
            frequency: f,
            phase: 0.0,
            delay: 0.0,
        };
        let (line, _) = supply(&mut c, "line", sine);
        let (x, y) = (c.node("x"), c.node("y"));
        diode(&mut c, "D", [line, x], 0.0);
        let l = c.inductor("L", x, y, henry, 0.0, Some(0.0)).unwrap();
        c.resistor("R", y, GROUND, ohm).unwrap();
        let i = Probe::Branch(l, 0);
        let one = Probe::Wave(c.wave(Wave::Constant(1.0)));
        let mut setup = setup(c, 1e-4 / 3.0, std::slice::from_ref(&i));
        setup.integrals = vec![(i, one)];
        let mut run = by_pieces(setup);
        let mut memory = joulestep_engine::recorder::InMemory::default();
        run.advance(1.0 / f, &mut memory).unwrap();
        let current = column(&memory.samples, 0);
        near("mean", run.integral(0) * f, mean, 1e-6);
        near("peak", peak(&memory.time, &current).1, top, 1e-6);
        let k = current.iter().skip(10).position(|i| i.abs() < 1e-4).unwrap() + 10;
        near("extinction", memory.time[k] * f * 360.0, beta, 1e-6);
        near("closure", 1.0 + run.ledger().relative(), 1.0, 1e-9);
    }
}

/// Two capacitors joined by a switch share their charge; what is lost does not depend on its resistance (derived).
#[test]
fn two_capacitors_share_their_charge() {
    for [c1, v1, c2, v2, shared, lost] in [
        [1e-5, 100.0, 5e-6, 20.0, 73.3333333333333, 0.0106666666666667],
        [1e-3, 400.0, 1e-3, 0.0, 200.0, 40.0],
    ] {
        for ohm in [1e-6, 1e-2] {
            let mut c = Circuit::new();
            let (a, b) = (c.node("a"), c.node("b"));
            c.capacitor("C1", a, GROUND, c1, Some(v1)).unwrap();
            c.capacitor("C2", b, GROUND, c2, Some(v2)).unwrap();
            // Something that bleeds nothing worth speaking of.
            c.resistor("R1", a, GROUND, 1e9).unwrap();
            c.resistor("R2", b, GROUND, 1e9).unwrap();
            let choice = c.choice(vec![1e-9, 1.0 / ohm], 0);
            c.chosen_resistor("S", "switch", a, b, choice).unwrap();
            let mut setup = setup(c, 1e-5, &[v(a)]);
            setup.piecewise = Piecewise::Always;
            sequence(&mut setup, &[(2.5e-5, Deed::Choose(choice, 1))]);
            let mut run = by_pieces(setup);
            run.advance(1e-3, &mut ()).unwrap();
            near("shared", run.read(&v(a)), shared, 1e-6);
            let ledger = run.ledger();
            let s = ledger.entries.iter().find(|e| e.name == "S").unwrap();
            near("lost", s.dissipated, lost, 1e-6);
            // A hundred steps of two million time constants each, where the switch has 1 µΩ.
            near("closure", 1.0 + ledger.relative(), 1.0, 1e-6);
        }
    }
}
