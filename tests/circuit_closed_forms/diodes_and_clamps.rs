//! Almost ideal diodes, clamps and varistors: closed forms (Mohan, Undeland & Robbins, Power
//! Electronics, ch. 5 and 9, from memory; derived). The instants at which a diode stops are not known to the program:
//! the windows find them.

use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::control::sequence::Deed;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::step::bounds::Bounds;
use joulestep_engine::step::schedule::Steps;

use super::{energies, run, stated};
use crate::common::laws::{Knee, PowerLaw};
use crate::common::rig::{channel, column, falls_to, near, peak, sequence, supply, tight, v};

/// Windows with a bound that is a small part of the circuit's own size.
fn windows(setup: &mut Setup<f64>, base: f64, volt: f64, ampere: f64) {
    setup.steps = Steps { base, finest: 12, hold_off: 2 };
    setup.bounds = Bounds::stated(volt, ampere);
}

const IDEAL: Knee = Knee { at: 0.0, g_on: 1e6, g_off: 1e-9 };

/// Half a sine charges the capacitor to 2V − v₀; i_pk = (V − v₀)√(C/L), π√(LC), I²t.
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
        c.law("D", "diode", &[x, out], IDEAL, 300.0).unwrap();
        c.capacitor("C", out, GROUND, farad, Some(v0)).unwrap();
        let i = Probe::Branch(l, 0);
        let mut setup = stated(c, 1.0, 1, std::slice::from_ref(&i));
        windows(&mut setup, t_off / 500.0, 1e-4, 1e-4);
        setup.integrals = vec![(i.clone(), i)];
        let (run, memory) = run(setup, 1.3 * t_off);
        let current = column(&memory.samples, 0);
        near("final voltage", run.read(&v(out)), v_final, 1e-4);
        near("peak current", peak(&memory.time, &current).1, i_peak, 1e-4);
        near("turn-off", falls_to(&memory.time, &current, 0.0, 1e-3 * i_peak), t_off, 1e-4);
        near("I2t", run.integral(0), i2t, 1e-4);
        println!("{:?}", run.counters());
    }
}

/// The current of an inductor into a clamp of constant voltage against the bus:
/// t = (L/R)ln(1 + IR/V_x), E = V_c(L/R)(I − (V_x/R)ln(1 + IR/V_x)), V_x = V_c − V_b; their limits for R = 0.
#[test]
fn turn_off_into_a_clamp() {
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
        c.law("clamp", "clamp", &[x, GROUND], Knee { at: vc, g_on: 1e6, g_off: 1e-9 }, 300.0).unwrap();
        let mut setup = stated(c, 1.0, 1, &[Probe::Branch(l, 0)]);
        windows(&mut setup, t_off / 200.0, 1e-3, 1e-4);
        let (run, memory) = run(setup, 1.3 * t_off);
        near("time", falls_to(&memory.time, &column(&memory.samples, 0), 0.0, 1e-3 * i0), t_off, 1e-4);
        near("energy", energies(&run, "clamp").0, energy, 1e-4);
        near("of the inductor", -energies(&run, "L").2, 0.5 * henry * i0 * i0, 1e-4);
        near("closure", 1.0 + run.ledger().relative(), 1.0, 1e-4);
    }
}

/// The same into V = K·iᵇ, until the current has fallen to I₁ (closed integrals over the current).
#[test]
fn turn_off_into_a_varistor() {
    let cases = [
        [2e-5, 100.0, 1.0, 400.0, 560.0, 0.04, 673.268083385751, 8.04431161465661e-06, 0.254196595480904],
        [5e-5, 60.0, 0.5, 48.0, 75.0, 0.05, 92.0383503340262, 7.55396436505904e-05, 0.193665675138182],
    ];
    for [henry, i0, i1, vb, k, b, v_start, t, energy] in cases {
        let mut c = Circuit::new();
        let (plus, _) = supply(&mut c, "bus", Wave::Constant(vb));
        let x = c.node("x");
        let l = c.inductor("L", plus, x, henry, 0.0, Some(i0)).unwrap();
        c.law("varistor", "varistor", &[x, GROUND], PowerLaw { k, b }, 300.0).unwrap();
        let i = Probe::Branch(l, 0);
        let mut run = stated(c, t, 1000, &[]).ready().unwrap();
        near("voltage at the start", run.read(&v(x)), v_start, 1e-4);
        run.advance(t, &mut ()).unwrap();
        // The slope there, (V_b − K·I₁ᵇ)/L, turns what the current is off by into time.
        let slope = (k * i1.powf(b) - vb) / henry;
        near("time", t + (run.read(&i) - i1) / slope, t, 1e-4);
        near("energy", energies(&run, "varistor").0, energy, 1e-4);
    }
}

/// Half-wave rectifier with R-L load; extinction angle from sin(β − θ) + sin θ·e^{−β/tan θ} = 0.
#[test]
fn a_rectifier_with_an_inductive_load_stops_at_the_extinction_angle() {
    let cases = [
        [10.0, 0.0318309886, 225.78737684425, 8.78673381494234, 24.5969416380397],
        [25.0, 0.2, 257.258803326949, 2.52742145960097, 6.33718629957452],
    ];
    for [r, henry, beta, i_avg, i_peak] in cases {
        let mut c = Circuit::new();
        let amplitude = 230.0 * std::f64::consts::SQRT_2;
        let sine = Wave::Sine { offset: 0.0, amplitude, frequency: 50.0, phase: 0.0, delay: 0.0 };
        let (plus, _) = supply(&mut c, "mains", sine);
        let one = c.wave(Wave::Constant(1.0));
        let (x, y) = (c.node("x"), c.node("y"));
        c.law("D", "diode", &[plus, x], IDEAL, 300.0).unwrap();
        c.resistor("R", x, y, r).unwrap();
        let l = c.inductor("L", y, GROUND, henry, 0.0, Some(0.0)).unwrap();
        let i = Probe::Branch(l, 0);
        let mut setup = stated(c, 1.0, 1, std::slice::from_ref(&i));
        windows(&mut setup, 1e-5, 1e-3, 1e-5);
        setup.integrals = vec![(i, Probe::Wave(one))];
        let (run, memory) = run(setup, 0.02);
        let current = column(&memory.samples, 0);
        let stops = falls_to(&memory.time, &current, 0.0, 1e-4 * i_peak);
        near("extinction", stops * 50.0 * 360.0, beta, 1e-6);
        near("average", run.integral(0) / 0.02, i_avg, 1e-6);
        near("peak", peak(&memory.time, &current).1, i_peak, 1e-6);
    }
}

/// First pulse of a double-pulse test to the wanted current, then the droop while a diode freewheels.
#[test]
fn a_double_pulse_test_reaches_its_currents() {
    let cases = [
        [400.0, 1e-4, 0.05, 20.0, 1.5, 5e-6, 5.00626043623706e-06, 19.875156119873],
        [600.0, 5e-5, 0.02, 100.0, 1.8, 3e-6, 8.34725316378658e-06, 99.7721367452964],
    ];
    for [volt, henry, r, i, vf, off, t1, i2] in cases {
        let mut c = Circuit::new();
        let (plus, _) = supply(&mut c, "bus", Wave::Constant(volt));
        let x = c.node("x");
        let choice = c.choice(vec![1e-9, 1e8], 1);
        c.chosen_resistor("switch", "switch", plus, x, choice).unwrap();
        let l = c.inductor("L", x, GROUND, henry, r, Some(0.0)).unwrap();
        c.law("D", "diode", &[GROUND, x], Knee { at: vf, g_on: 1e8, g_off: 1e-9 }, 300.0).unwrap();
        let mut setup = stated(c, t1, 200, &[]);
        sequence(&mut setup, &[(t1, Deed::Choose(choice, 0))]);
        setup.channels = vec![channel("i", Probe::Branch(l, 0))];
        setup.tolerance = Some(tight());
        let mut run = setup.ready().unwrap();
        run.advance(t1, &mut ()).unwrap();
        near("first pulse", run.read(&Probe::Branch(l, 0)), i, 1e-6);
        run.advance(t1 + off, &mut ()).unwrap();
        near("after freewheeling", run.read(&Probe::Branch(l, 0)), i2, 1e-6);
    }
}
