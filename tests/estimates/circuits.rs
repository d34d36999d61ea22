//! Circuits whose answers are closed forms (any textbook of circuits, from memory).

use std::f64::consts::PI;

use joulestep::judge::Number;
use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::run::setup::{Setup, Start};
use joulestep_engine::run::time_loop::Run;

use super::{Case, Known, run, watch};
use crate::common::laws::Knee;
use crate::common::rig::{supply, v};

/// The program's own, and a tight one.
const BOUNDS: [f64; 2] = [0.1, 1e-4];
/// Closed forms are known to rounding.
const KNOWN: f64 = 1e-11;

/// Every base step with every bound.
fn cases(bases: &[f64], finest: u32) -> impl Iterator<Item = Case> {
    bases.iter().flat_map(move |&base| BOUNDS.map(|bound| Case { base, finest, bound }))
}

/// Largest value of watch k.
fn largest(run: &Run<f64>, k: usize) -> Number {
    let watcher = run.watcher();
    Number {
        name: format!("largest {}", watcher.watches()[k].name),
        value: watcher.seen()[k].largest,
        missed: watcher.missed(k).1,
        ..Number::default()
    }
}

fn dissipated(run: &Run<f64>, name: &str) -> Number {
    let ledger = run.ledger();
    let entry = ledger.entries.iter().find(|e| e.name == name).expect("a component");
    Number::plain(format!("heat of {name}"), entry.dissipated)
}

fn known(values: &[f64]) -> Vec<(f64, f64)> {
    values.iter().map(|y| (*y, KNOWN * y.abs())).collect()
}

/// 10 V onto R = 1 kΩ and C = 1 µF from zero: v = V(1 − e^(−t/τ)); R turns ½CV²(1 − e^(−2t/τ)) into heat.
fn rc() -> Vec<Known> {
    let setup = || {
        let mut c = Circuit::new();
        let (input, _) = supply(&mut c, "in", Wave::Constant(10.0));
        let out = c.node("out");
        c.resistor("R", input, out, 1e3).unwrap();
        c.capacitor("C", out, GROUND, 1e-6, Some(0.0)).unwrap();
        let mut s = Setup::new(c);
        s.start = Start::Stated;
        s
    };
    let end = 2e-3;
    let rest = (-end / 1e-3f64).exp();
    let truth = [10.0 * (1.0 - rest), 0.5e-6 * 100.0 * (1.0 - rest * rest)];
    let read = |run: &Run<f64>| {
        let out = run.system().circuit.find_node("out").expect("a node");
        vec![Number::plain("v at the end", run.read(&v(out))), dissipated(run, "R")]
    };
    let cases = cases(&[2e-4, 1e-4, 5e-5], 10);
    cases.flat_map(|case| run("RC", case, end, setup, read, &known(&truth))).collect()
}

/// 10 V onto R, L, C in series from rest, underdamped: v_C = V(1 − e^(−at)(cos ωt + (a/ω) sin ωt)), with its peak
/// V(1 + e^(−aπ/ω)) and the current's V/(ωL)·e^(−at)·sin ωt at tan ωt = ω/a.
fn rlc() -> Vec<Known> {
    let (r, l, c) = (2.0, 10e-6, 1e-6);
    let setup = || {
        let mut circuit = Circuit::new();
        let (input, _) = supply(&mut circuit, "in", Wave::Constant(10.0));
        let (mid, out) = (circuit.node("mid"), circuit.node("out"));
        circuit.resistor("R", input, mid, r).unwrap();
        let coil = circuit.inductor("L", mid, out, l, 0.0, Some(0.0)).unwrap();
        circuit.capacitor("C", out, GROUND, c, Some(0.0)).unwrap();
        let mut s = Setup::new(circuit);
        s.start = Start::Stated;
        s.watches = vec![watch("v", v(out)), watch("i", Probe::Branch(coil, 0))];
        s
    };
    let a = r / (2.0 * l);
    let w = (1.0 / (l * c) - a * a).sqrt();
    let end = 25e-6;
    let v_end = 10.0 * (1.0 - (-a * end).exp() * ((w * end).cos() + a / w * (w * end).sin()));
    let at = (w / a).atan() / w;
    let i_peak = 10.0 / (w * l) * (-a * at).exp() * (w * at).sin();
    let truth = [v_end, 10.0 * (1.0 + (-a * PI / w).exp()), i_peak];
    let read = |run: &Run<f64>| {
        let out = run.system().circuit.find_node("out").expect("a node");
        vec![Number::plain("v at the end", run.read(&v(out))), largest(run, 0), largest(run, 1)]
    };
    let cases = cases(&[2e-6, 1e-6, 5e-7], 10);
    cases.flat_map(|case| run("RLC", case, end, setup, read, &known(&truth))).collect()
}

/// A sine onto R and C: v_C = V/√(1 + (ωτ)²)·(sin(ωt − φ) + sin φ·e^(−t/τ)), tan φ = ωτ, from zero.
fn sine() -> Vec<Known> {
    let (tau, w) = (1e-3, 2.0 * PI * 500.0);
    let setup = || {
        let mut c = Circuit::new();
        let wave = Wave::Sine { offset: 0.0, amplitude: 20.0, frequency: 500.0, phase: 0.0, delay: 0.0 };
        let (input, _) = supply(&mut c, "in", wave);
        let out = c.node("out");
        c.resistor("R", input, out, 1e3).unwrap();
        c.capacitor("C", out, GROUND, 1e-6, Some(0.0)).unwrap();
        let mut s = Setup::new(c);
        s.start = Start::Stated;
        s.watches = vec![watch("v", v(out))];
        s
    };
    let end = 4.3e-3;
    let (phi, size) = ((w * tau).atan(), 20.0 / (1.0 + (w * tau) * (w * tau)).sqrt());
    let value = |t: f64| size * ((w * t - phi).sin() + phi.sin() * (-t / tau).exp());
    let peak = (1..430_000).map(|k| value(f64::from(k) * 1e-8)).fold(f64::MIN, f64::max);
    let read = |run: &Run<f64>| {
        let out = run.system().circuit.find_node("out").expect("a node");
        vec![Number::plain("v at the end", run.read(&v(out))), largest(run, 0)]
    };
    let truth = [value(end), peak];
    let cases = cases(&[1e-4, 5e-5, 2.5e-5], 10);
    cases.flat_map(|case| run("sine RC", case, end, setup, read, &known(&truth))).collect()
}

/// A half-wave rectifier (a diode that conducts as 1 mΩ) into R and L: while it conducts,
/// i = V/|Z|·(sin(ωt − φ) + sin φ·e^(−t/τ)), until the current is back at zero; then nothing (10 TΩ) until the next
/// period.
fn rectifier() -> Vec<Known> {
    let (r, l, w, on) = (10.0, 20e-3, 2.0 * PI * 50.0, 1e-3);
    let setup = || {
        let mut c = Circuit::new();
        let wave = Wave::Sine { offset: 0.0, amplitude: 100.0, frequency: 50.0, phase: 0.0, delay: 0.0 };
        let (input, _) = supply(&mut c, "in", wave);
        let (k, out) = (c.node("k"), c.node("out"));
        c.law("D", "knee", &[input, k], Knee { at: 0.0, g_on: 1.0 / on, g_off: 1e-13 }, 300.0).unwrap();
        let coil = c.inductor("L", k, out, l, 0.0, Some(0.0)).unwrap();
        c.resistor("R", out, GROUND, r).unwrap();
        let mut s = Setup::new(c);
        s.start = Start::Stated;
        s.watches = vec![watch("i", Probe::Branch(coil, 0))];
        s
    };
    let all_r = r + on;
    let (z, phi, tau) = (all_r.hypot(w * l), (w * l / all_r).atan(), l / all_r);
    let current = |t: f64| 100.0 / z * ((w * t - phi).sin() + phi.sin() * (-t / tau).exp());
    // Where it ends: bisection; its heat: Simpson on a fine grid.
    let (mut low, mut high) = (0.01, 0.02);
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        if current(middle) > 0.0 { low = middle } else { high = middle }
    }
    let n = 200_000;
    let h = low / f64::from(n);
    let weight = |k: i32| {
        if k == 0 || k == n {
            1.0
        } else if k % 2 == 1 {
            4.0
        } else {
            2.0
        }
    };
    let square = |k: i32| current(f64::from(k) * h).powi(2);
    let heat = r * h / 3.0 * (0..=n).map(|k| weight(k) * square(k)).sum::<f64>();
    let peak = (0..=n).map(|k| current(f64::from(k) * h)).fold(f64::MIN, f64::max);
    let truth = [peak, heat];
    let read = |run: &Run<f64>| vec![largest(run, 0), dissipated(run, "R")];
    let cases = cases(&[4e-4, 1e-4], 12);
    cases.flat_map(|case| run("half-wave rectifier", case, 0.019, setup, read, &known(&truth))).collect()
}

/// Pulses of 12 V, 30 µs of every 100 µs with edges of 10 ns, onto R and C of 50 µs: pieces of exponentials and ramps.
fn pulses() -> Vec<Known> {
    let (tau, period, edge, on) = (50e-6, 100e-6, 10e-9, 30e-6);
    let points = vec![(0.0, 0.0), (edge, 12.0), (on, 12.0), (on + edge, 0.0), (period, 0.0)];
    let setup = || {
        let mut c = Circuit::new();
        let wave = Wave::Periodic { period, points: points.clone() };
        let (input, _) = supply(&mut c, "in", wave);
        let out = c.node("out");
        c.resistor("R", input, out, 50.0).unwrap();
        c.capacitor("C", out, GROUND, 1e-6, Some(0.0)).unwrap();
        let mut s = Setup::new(c);
        s.start = Start::Stated;
        s.watches = vec![watch("v", v(out))];
        s
    };
    // v' = (u − v)/τ with u = a + b·s over a piece: v = a + b(s − τ) + (v₀ − a + bτ)·e^(−s/τ).
    let piece = |v0: f64, from: f64, to: f64, span: f64| {
        let b = (to - from) / span;
        from + b * (span - tau) + (v0 - from + b * tau) * (-span / tau).exp()
    };
    let mut value = 0.0;
    for _ in 0..3 {
        value = piece(value, 0.0, 12.0, edge);
        value = piece(value, 12.0, 12.0, on - edge);
        value = piece(value, 12.0, 0.0, edge);
        value = piece(value, 0.0, 0.0, period - on - edge);
    }
    let read = |run: &Run<f64>| {
        let out = run.system().circuit.find_node("out").expect("a node");
        vec![Number::plain("v at the end", run.read(&v(out)))]
    };
    let cases = cases(&[2e-5, 1e-5, 2.5e-6], 10);
    cases.flat_map(|case| run("pulsed RC", case, 3.0 * period, setup, read, &known(&[value]))).collect()
}

/// All circuits.
pub fn all() -> Vec<Known> {
    [rc(), rlc(), sine(), rectifier(), pulses()].into_iter().flatten().collect()
}
