//! Ring modulator (stiff, n = 15): Test Set 2.4, sec. II-3; Horneber 1976; Kampowski, Rentrop & Schmidt 1992.
//! Two transformers with halves of their secondaries around four diodes: ideal transformers (voltage-controlled
//! voltage and current-controlled current) with the windings' inductances outside.

use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::graph::{Circuit, ComponentId, GROUND, NodeId};
use joulestep_engine::circuit::law::{Flow, Law};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::run::setup::{Setup, Start};
use joulestep_engine::step::method::{ESDIRK4, RODAS4, TR_BDF2};
use joulestep_engine::step::schedule::Steps;

use super::{Problem, solve};
use crate::common::rig::{scd, supply, v};

#[derive(Clone, Debug)]
struct Diode;

impl Law<f64, 1> for Diode {
    type AtTemperature = ();
    fn at_temperature(&self, _kelvin: f64) {}
    fn flow<S: Scalar<f64>>(_: &(), [u]: [S; 1]) -> Flow<S, 1> {
        let i = ((u * 17.7493332).exp() - 1.0) * 40.67286402e-9;
        Flow { i: [i], q: [S::constant(0.0)] }
    }
}

pub(super) struct Ring;

/// Half a secondary: `gain` times the primary's voltage between `end` and `tap`, its current given back to the
/// primary.
fn half(c: &mut Circuit<f64>, name: &str, primary: NodeId, tap: NodeId, gain: f64) -> NodeId {
    let (end, sense) = (c.node(&format!("{name}.end")), c.node(&format!("{name}.sense")));
    c.voltage_controlled_voltage(&format!("{name}.e"), [end, sense, primary, GROUND], gain).unwrap();
    // The current out of `end` comes from `tap` through the ammeter; it leaves the primary as gain times itself.
    c.current_controlled_current(&format!("{name}.f"), [primary, GROUND, tap, sense], gain).unwrap();
    end
}

impl Problem for Ring {
    fn setup(&self) -> (Setup<f64>, Vec<Probe>) {
        let mut c = Circuit::new();
        let sine =
            |amplitude, frequency| Wave::Sine { offset: 0.0, amplitude, frequency, phase: 0.0, delay: 0.0 };
        let [one, two, a, b, m, p, d] = ["1", "2", "a", "b", "middle", "p", "d"].map(|n| c.node(n));
        let (signal, _) = supply(&mut c, "signal", sine(0.5, 1e3));
        let (carrier, _) = supply(&mut c, "carrier", sine(2.0, 1e4));
        for (k, n) in [one, two].into_iter().enumerate() {
            c.capacitor(&format!("C{k}"), n, GROUND, 1.6e-8, None).unwrap();
            c.resistor(&format!("R{k}"), n, GROUND, 25e3).unwrap();
        }
        c.capacitor("Cp", m, carrier, 1e-8, None).unwrap();
        c.resistor("Rp", m, carrier, 50.0).unwrap();
        for (name, plus, minus) in [("Cs3", a, GROUND), ("Cs4", GROUND, b), ("Cs5", p, m), ("Cs6", m, d)] {
            c.capacitor(name, plus, minus, 2e-12, None).unwrap();
        }
        let l = |c: &mut Circuit<f64>, name: &str, from, to, henry, ohm| -> ComponentId {
            c.inductor(name, from, to, henry, ohm, None).unwrap()
        };
        let ends = [
            half(&mut c, "t1+", one, GROUND, 0.5),
            half(&mut c, "t1-", one, GROUND, -0.5),
            half(&mut c, "t2+", two, m, 0.5),
            half(&mut c, "t2-", two, m, -0.5),
        ];
        let coils = [
            l(&mut c, "L8", GROUND, one, 4.45, 0.0),
            l(&mut c, "L9", GROUND, two, 4.45, 0.0),
            l(&mut c, "L10", ends[0], a, 5e-4, 17.3),
            l(&mut c, "L11", ends[1], b, 5e-4, 17.3),
            l(&mut c, "L12", ends[2], p, 5e-4, 17.3),
            l(&mut c, "L13", ends[3], d, 5e-4, 17.3),
            l(&mut c, "L14", signal, one, 2e-3, 36.3 + 50.0),
            l(&mut c, "L15", GROUND, two, 2e-3, 36.3 + 600.0),
        ];
        for (name, from, to) in [("D1", a, p), ("D2", b, d), ("D3", p, b), ("D4", d, a)] {
            c.law(name, "diode", &[from, to], Diode, 300.0).unwrap();
        }
        let mut setup = Setup::new(c);
        setup.start = Start::Stated;
        let mut probes = vec![
            v(one),
            v(two),
            v(a),
            Probe::Voltage(GROUND, b),
            Probe::Voltage(p, m),
            Probe::Voltage(m, d),
            Probe::Voltage(m, carrier),
        ];
        probes.extend(coils.map(|l| Probe::Branch(l, 0)));
        (setup, probes)
    }
}

/// Table II.3.2, t = 1e-3 s.
pub(super) const END: [f64; 15] = [
    -0.2339057358486745e-1,
    -0.7367485485540825e-2,
    0.2582956709291169,
    -0.406446572128345,
    -0.4039455665149794,
    0.2607966765422943,
    0.1106761861269975,
    0.2939904342435596e-6,
    -0.2840029933642329e-7,
    0.7267198267264553e-3,
    0.792948719696084e-3,
    -0.7255283495698965e-3,
    -0.7941401968526521e-3,
    0.7088495416976114e-4,
    0.239005907523657e-4,
];

/// The ringing of the windings with the 2 pF (5 MHz) is excited anew at every change of the diodes, so that published
/// solvers end with 0.5 to 6.3 digits. What rings at the end (quality 900) has collected the phase error of some
/// 1800 rad; order two (0.04·(ωh)² of it) needs steps of 0.7 ns for 1 % of the ringing, so two digits are due where
/// its windows hold the local error below 0.2 µV and µA; order four has room for three and a half below 0.1 µV.
#[test]
fn the_ring_modulator_ends_at_its_published_values() {
    let steps = Steps { base: 1e-6, finest: 14, hold_off: 2 };
    for (method, bound, due) in [(&TR_BDF2, 2e-7, 2.0), (&ESDIRK4, 1e-7, 3.5), (&RODAS4, 1e-7, 3.5)] {
        let (y, count) = solve(&Ring, method, steps, bound, 1e-3);
        let digits = scd(&y, &END);
        println!("{} bound {bound:e}: {count} steps, scd {digits:.2}\n{y:?}", method.name);
        assert!(digits > due, "{digits}");
    }
}
