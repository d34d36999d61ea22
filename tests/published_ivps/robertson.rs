//! Robertson's chemical reaction: Test Set 2.4, sec. II-10; as a law with an unknown of its own, over fifteen decades
//! of time.

use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::circuit::law::{Flow, Law};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::run::setup::{Setup, Start};
use joulestep_engine::step::method::{ESDIRK4, RODAS4, TR_BDF2};
use joulestep_engine::step::schedule::Steps;

use super::{Problem, solve};
use crate::common::rig::{scd, v};

/// y1′ = −0.04y1 + 1e4 y2y3, y2′ = 0.04y1 − 1e4 y2y3 − 3e7 y2², y3′ = 3e7 y2²; y3 is the law's own, the second node
/// stands at 1e4·y2.
#[derive(Clone, Debug)]
pub(super) struct Reaction;

impl Law<f64, 3> for Reaction {
    const INTERNAL: usize = 1;
    type AtTemperature = ();
    fn at_temperature(&self, _kelvin: f64) {}
    fn flow<S: Scalar<f64>>(_: &(), [y1, w2, y3]: [S; 3]) -> Flow<S, 3> {
        let y2 = w2 * 1e-4;
        let (first, second, third) = (y1 * 0.04, y2 * y3 * 1e4, y2 * y2 * 3e7);
        let zero = S::constant(0.0);
        Flow { i: [first - second, second + third - first, -third], q: [zero, zero, y3] }
    }
}

impl Problem for Reaction {
    fn setup(&self) -> (Setup<f64>, Vec<Probe>) {
        let mut c = Circuit::new();
        let (y1, w2) = (c.node("y1"), c.node("w2"));
        c.capacitor("C1", y1, GROUND, 1.0, Some(1.0)).unwrap();
        c.capacitor("C2", w2, GROUND, 1e-4, Some(0.0)).unwrap();
        let law = c.law("law", "reaction", &[y1, w2, GROUND], Reaction, 300.0).unwrap();
        let mut setup = Setup::new(c);
        setup.start = Start::Stated;
        (setup, vec![v(y1), v(w2), Probe::Branch(law, 0)])
    }
    fn scale(&self, k: usize) -> f64 {
        [1.0, 1e-4, 1.0][k]
    }
}

/// End values: t = 40 and 4e4 (same equations, two tolerances agree to 1e-15), 1e11 (table II.10.3). The sum of the
/// three is one at all times. The end asks for relative digits of 2e-8 and 8e-14: the bound of the local error, 1e-9
/// (order 2) and 1e-10 (order 4) of y1, is a bound of a few per cent of the last y1, and errors decay with it; two
/// digits are the check values' own tolerance there, four and three at the earlier instants.
#[test]
fn robertson_ends_at_its_published_values() {
    let cases = [
        (40.0, 1.0, 16, 4.0, [0.715827068719, 9.18553476456e-06, 0.284163745746]),
        (4e4, 1e2, 24, 3.0, [0.0389833770855, 1.62176831591e-07, 0.961016460738]),
        (1e11, 1e6, 30, 2.0, [0.2083340149701255e-7, 0.8333360770334713e-13, 0.999999979166505]),
    ];
    for (method, bound) in [(&TR_BDF2, 1e-9), (&ESDIRK4, 1e-10), (&RODAS4, 1e-10)] {
        for (end, base, finest, due, reference) in cases {
            let (y, count) = solve(&Reaction, method, Steps { base, finest, hold_off: 2 }, bound, end);
            let digits = scd(&y, &reference);
            println!("{} to {end:e}: {count} steps, scd {digits:.2} {y:?}", method.name);
            assert!(digits > due && y[1] >= 0.0, "{digits} {y:?}");
            assert!((y.iter().sum::<f64>() - 1.0).abs() < 1e-12, "{y:?}");
        }
    }
}
