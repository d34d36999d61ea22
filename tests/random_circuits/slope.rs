//! A solution that ends where a slope changes sign, and the one that goes on.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::circuit::law::{Flow, Law};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::recorder::Recorder;
use joulestep_engine::run::setup::Setup;

/// i = v³/3 − v (A, V): the falling characteristic of van der Pol, Phil. Mag. 2 (1926) 978.
#[derive(Clone, Debug)]
struct Falling;

impl<L: Lane> Law<L, 1> for Falling {
    type AtTemperature = Self;
    fn at_temperature(&self, _: L) -> Self {
        Self
    }
    fn flow<S: Scalar<L>>(_: &Self, [v]: [S; 1]) -> Flow<S, 1> {
        Flow { i: [v * v * v * L::splat(1.0 / 3.0) - v], q: [S::constant(L::splat(0.0))] }
    }
}

struct Nobody;
impl Recorder<f64> for Nobody {}

/// Behind 2 Ω the voltage of the source is ⅔·v³ − v: it folds at v = −1/√2 and √2/3 V, above which the only solution is
/// another one (closed form). Nothing stores energy, so it is there at once.
#[test]
fn where_a_solution_ends_another_goes_on_and_is_told() {
    let mut circuit = Circuit::<f64>::new();
    let (supply, a) = (circuit.node("supply"), circuit.node("a"));
    let ramp = circuit.wave(Wave::Points(vec![(0.0, -1.0), (10e-6, 1.0)]));
    circuit.voltage_source("V", supply, GROUND, ramp).unwrap();
    circuit.resistor("R", supply, a, 2.0).unwrap();
    circuit.law("X", "falling", &[a, GROUND], Falling, 298.15).unwrap();
    let voltage = Probe::Voltage(a, GROUND);
    let mut run = Setup::new(circuit).lasting(10e-6).ready().unwrap();
    let root = |volts: f64, near: f64| {
        (0..60).fold(near, |v, _| v - (2.0 / 3.0 * v * v * v - v - volts) / (2.0 * v * v - 1.0))
    };
    let folds = 10e-6 * 0.5 * (1.0 + 2f64.sqrt() / 3.0);
    // 2 V in 10 µs: 10 ns before the fold the source is 2 mV below it.
    for (until, volts, near, snapped) in
        [(folds - 10e-9, 2f64.sqrt() / 3.0 - 2e-3, -1.0, 0), (10e-6, 1.0, 1.5, 1)]
    {
        run.advance(until, &mut Nobody).unwrap();
        let (is, should) = (run.read(&voltage), root(volts, near));
        assert!((is - should).abs() < 1e-4, "{is} {should}");
        let counters = run.counters();
        assert_eq!((counters.snapped, counters.stalled > 0), (snapped, snapped > 0), "{counters:?}");
        assert!(run.ledger().relative() < 1e-4, "{}", run.ledger().relative());
    }
}
