//! Observed orders on a smooth nonlinear circuit, against a solution that shares nothing with the engine.

use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::step::bounds::Bounds;
use joulestep_engine::step::method::{ESDIRK4, Method, RODAS4, TR_BDF2};

use super::ready;
use crate::common::laws::Cubic;
use crate::common::rig::{supply, v};

const R: f64 = 0.4;
const L: f64 = 0.7;
const PART: Cubic = Cubic { g: 0.3, a: 0.5, c: 0.6, e: 0.2 };
const END: f64 = 6.0;

/// The circuit's own equations, L·i′ = sin t − R·i − v, (dq/dv)·v′ = i − g(v), by the classical Runge–Kutta method of
/// order 4 in 60 000 steps (error below 1e-14).
fn reference() -> (f64, f64) {
    let slope = |t: f64, i: f64, v: f64| {
        let capacitance = PART.c * (1.0 + 3.0 * PART.e * v * v);
        ((t.sin() - R * i - v) / L, (i - PART.g * (v + PART.a * v * v * v)) / capacitance)
    };
    let n = 60_000;
    let h = END / f64::from(n);
    let (mut i, mut v) = (0.0, 0.0);
    for k in 0..n {
        let t = h * f64::from(k);
        let a = slope(t, i, v);
        let b = slope(t + 0.5 * h, i + 0.5 * h * a.0, v + 0.5 * h * a.1);
        let c = slope(t + 0.5 * h, i + 0.5 * h * b.0, v + 0.5 * h * b.1);
        let d = slope(t + h, i + h * c.0, v + h * c.1);
        i += h / 6.0 * (a.0 + 2.0 * b.0 + 2.0 * c.0 + d.0);
        v += h / 6.0 * (a.1 + 2.0 * b.1 + 2.0 * c.1 + d.1);
    }
    (i, v)
}

fn errors(method: &'static Method, n: u32, exact: (f64, f64)) -> f64 {
    let mut c = Circuit::new();
    let sine = Wave::Sine {
        offset: 0.0,
        amplitude: 1.0,
        frequency: 0.5 / std::f64::consts::PI,
        phase: 0.0,
        delay: 0.0,
    };
    let (plus, _) = supply(&mut c, "plus", sine);
    let node = c.node("out");
    let coil = c.inductor("L", plus, node, L, R, Some(0.0)).unwrap();
    c.law("N", "cubic", &[node, GROUND], PART, 300.0).unwrap();
    let mut setup = ready(c, method, END / f64::from(n));
    // A linearly implicit method leaves no step to another one for its error's sake.
    setup.bounds = Bounds::stated(1.0, 1.0);
    let mut run = setup.ready().unwrap();
    run.advance(END, &mut ()).unwrap();
    let (i, volt) = (run.read(&Probe::Branch(coil, 0)), run.read(&v(node)));
    (i - exact.0).abs().max((volt - exact.1).abs())
}

/// Errors fall by 2^order at every halving (within 0.1 and 0.2 of the order, all the way to where rounding shows).
#[test]
fn methods_have_their_order_on_a_smooth_nonlinear_circuit() {
    let exact = reference();
    for (method, first, slack) in [(&TR_BDF2, 60, 0.1), (&ESDIRK4, 30, 0.2), (&RODAS4, 30, 0.2)] {
        let found: Vec<f64> = (0..5).map(|k| errors(method, first << k, exact)).collect();
        let orders: Vec<f64> = found.windows(2).map(|e| (e[0] / e[1]).log2()).collect();
        println!("{}: {found:?} orders {orders:.3?}", method.name);
        for order in &orders[1..] {
            assert!((order - f64::from(method.order)).abs() < slack, "{orders:?}");
        }
    }
}
