//! The stepping methods as the theory of one-step methods has them, on circuits (TR-BDF2: Bank et
//! al., IEEE Trans. CAD 4 (1985) 436; Hosea & Shampine, Appl. Numer. Math. 20 (1996) 21; algebra derived), observed
//! orders, and what windows cost in accuracy.

mod index_two;
mod orders;
mod windows;

use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::circuit::law::{Flow, Law};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::run::setup::{Setup, Start};
use joulestep_engine::step::method::{METHODS, Method, TR_BDF2};

use crate::common::rig::{fixed, near, supply, tight, v};

fn ready(circuit: Circuit<f64>, method: &'static Method, h: f64) -> Setup<f64> {
    let mut setup = Setup::new(circuit);
    setup.start = Start::Stated;
    setup.method = method;
    setup.steps = fixed(h);
    setup.tolerance = Some(tight());
    setup
}

/// Ratio of two successive values of a capacitor of 1 F behind 1 Ω, over steps of `h`. The second step: the first one
/// starts from a state that was made consistent, which is exact to the third power of a thousandth of a step only.
fn decay(method: &'static Method, h: f64) -> f64 {
    let mut c = Circuit::new();
    let node = c.node("a");
    c.resistor("R", node, GROUND, 1.0).unwrap();
    c.capacitor("C", node, GROUND, 1.0, Some(1.0)).unwrap();
    let mut run = ready(c, method, h).ready().unwrap();
    let mut at = |t: f64| {
        run.advance(t, &mut ()).unwrap();
        run.read(&v(node))
    };
    let first = at(h);
    at(2.0 * h) / first
}

/// A lossless tank of `l` and `c`: v and √(L/C)·i after one step and after `n + 1`, as one complex ratio.
fn tank(method: &'static Method, l: f64, c: f64, h: f64, n: u32) -> (f64, f64) {
    let mut circuit = Circuit::new();
    let node = circuit.node("a");
    circuit.capacitor("C", node, GROUND, c, Some(1.0)).unwrap();
    let coil = circuit.inductor("L", node, GROUND, l, 0.0, Some(0.0)).unwrap();
    let mut run = ready(circuit, method, h).ready().unwrap();
    let mut at = |t: f64| {
        run.advance(t, &mut ()).unwrap();
        (run.read(&v(node)), run.read(&Probe::Branch(coil, 0)) * (l / c).sqrt())
    };
    let (a, b) = at(h);
    let (x, y) = at(h * f64::from(n + 1));
    let size = a * a + b * b;
    ((x * a + y * b) / size, (y * a - x * b) / size)
}

/// The stability function at real and imaginary arguments, its limit, and the error constant.
#[test]
fn stability_function_of_tr_bdf2() {
    near("R(-1)", decay(&TR_BDF2, 1.0), 0.350440262760282, 1e-12);
    near("R(-0.1)", decay(&TR_BDF2, 0.1), 0.904800463641338, 1e-12);
    near("R(-1e6)", decay(&TR_BDF2, 1e6), -4.82838249757764e-06, 1e-6);
    for (y, size, angle) in
        [(1.0, 0.99687393651561, 0.962547334942849), (0.1, 0.999999632664806, 0.099959592858943)]
    {
        let (re, im) = tank(&TR_BDF2, 1.0, 1.0, y, 1);
        near("|R(iy)|", re.hypot(im), size, 1e-12);
        near("arg R(iy)", im.atan2(re), angle, 1e-12);
    }
    // R(z) − eᶻ = C₃z³ + O(z⁴): at a hundredth the next term is a hundredth.
    let z = -1e-2;
    near("C3", (decay(&TR_BDF2, -z) - f64::exp(z)) / (z * z * z), 0.0404401145199176, 2e-2);
    for method in METHODS {
        assert!(decay(method, 1e6).abs() < 1e-5, "{} is L-stable", method.name);
    }
}

/// Prothero & Robinson (Math. Comp. 28 (1974) 145, from memory): y′ = λ(y − sin t) + cos t; the values are the
/// method's own discrete solution, so the engine must reproduce them to round-off.
#[test]
fn prothero_and_robinson() {
    let cases = [
        (-1e6, 10, 0.841470984414682, -3.93214683036547e-10),
        (-100.0, 40, 0.841470828387993, -1.56419903363236e-07),
    ];
    for (lambda, n, y, error) in cases {
        let mut c = Circuit::<f64>::new();
        let sine = |phase| Wave::Sine {
            offset: 0.0,
            amplitude: 1.0,
            frequency: 0.5 / std::f64::consts::PI,
            phase,
            delay: 0.0,
        };
        let (target, _) = supply(&mut c, "target", sine(0.0));
        let node = c.node("y");
        c.capacitor("C", node, GROUND, 1.0, Some(0.0)).unwrap();
        c.resistor("R", target, node, -1.0 / lambda).unwrap();
        let cosine = c.wave(sine(0.5 * std::f64::consts::PI));
        c.current_source("I", GROUND, node, cosine).unwrap();
        let mut run = ready(c, &TR_BDF2, 1.0 / f64::from(n)).ready().unwrap();
        run.advance(1.0, &mut ()).unwrap();
        near("y", run.read(&v(node)), y, 1e-10);
        near("error", run.read(&v(node)) - 0.841470984807897, error, 1e-4);
    }
}

/// Kaps' problem: y1′ = −(1/ε + 2)y1 + y2²/ε, y2′ = y1 − y2 − y2²; solution e^{−2t}, e^{−t}.
#[derive(Clone, Debug)]
struct Kaps(f64);

impl Law<f64, 2> for Kaps {
    type AtTemperature = f64;
    fn at_temperature(&self, _kelvin: f64) -> f64 {
        self.0
    }
    fn flow<S: Scalar<f64>>(e: &f64, [a, b]: [S; 2]) -> Flow<S, 2> {
        let fast = a * (1.0 / e + 2.0) - b * b * (1.0 / e);
        Flow { i: [fast, b + b * b - a], q: [S::constant(0.0); 2] }
    }
}

/// Kaps' problem (Dekker & Verwer 1984, Hairer & Wanner; from memory): the discrete solution after n steps, and the
/// order.
#[test]
fn kaps() {
    let solve = |e: f64, n: u32| {
        let mut c = Circuit::new();
        let [a, b] = ["a", "b"].map(|n| c.node(n));
        c.capacitor("Ca", a, GROUND, 1.0, Some(1.0)).unwrap();
        c.capacitor("Cb", b, GROUND, 1.0, Some(1.0)).unwrap();
        c.law("law", "kaps", &[a, b, GROUND], Kaps(e), 300.0).unwrap();
        let mut run = ready(c, &TR_BDF2, 1.0 / f64::from(n)).ready().unwrap();
        run.advance(1.0, &mut ()).unwrap();
        (run.read(&v(a)), run.read(&v(b)))
    };
    let cases = [
        (0.01, 64, 0.135332421834466, 0.367875669790082, 2.00105377921157),
        (1.0, 20, 0.135246987712881, 0.367808758307172, 2.00378091930192),
    ];
    for (e, n, y1, y2, order) in cases {
        let (a, b) = solve(e, n);
        near("y1", a, y1, 1e-9);
        near("y2", b, y2, 1e-9);
        let error = |n: u32| (solve(e, n).1 - f64::exp(-1.0)).abs();
        near("order", (error(n) / error(2 * n)).log2(), order, 0.05);
    }
}

/// Damping and phase of a lossless tank after N steps are those of R(iωh)ᴺ.
#[test]
fn numerical_damping_of_a_lossless_tank() {
    let cases = [
        (1e-6, 1e-9, 5e-9, 200, 0.984285317807179, 0.999084436327065, -0.0319056519681796),
        (1e-5, 1e-7, 1e-7, 1000, 0.840850846684384, 0.999265599281913, -0.0404071410570434),
    ];
    for (l, c, h, n, volt, energy, phase) in cases {
        let (re, im) = tank(&TR_BDF2, l, c, h, n);
        near("v", re, volt, 1e-9);
        near("energy", re * re + im * im, energy, 1e-9);
        let turned = h * f64::from(n) / (l * c).sqrt();
        let off = (im.atan2(re) - turned).rem_euclid(std::f64::consts::TAU);
        near("phase", off - std::f64::consts::TAU, phase, 1e-9);
    }
}
