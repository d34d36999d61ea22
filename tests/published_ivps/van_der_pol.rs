//! Van der Pol's equation: Test Set 2.4, sec. II-8; as a circuit: two unit capacitors and a law between them.

use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::circuit::law::{Flow, Law};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::run::setup::{Setup, Start};
use joulestep_engine::step::method::{ESDIRK4, RODAS4, TR_BDF2};
use joulestep_engine::step::schedule::Steps;

use super::{Problem, solve};
use crate::common::rig::{scd, v};

/// y1′ = y2, y2′ = μ(1 − y1²)y2 − y1; the second node stands at y2/μ, so that both have the size of one.
#[derive(Clone, Copy, Debug)]
pub(super) struct Oscillator {
    pub(super) mu: f64,
}

impl Law<f64, 2> for Oscillator {
    type AtTemperature = f64;
    fn at_temperature(&self, _kelvin: f64) -> f64 {
        self.mu
    }
    fn flow<S: Scalar<f64>>(mu: &f64, [y, w]: [S; 2]) -> Flow<S, 2> {
        let turn = (-(y * y) + 1.0) * w * *mu - y * (1.0 / mu);
        Flow { i: [-(w * *mu), -turn], q: [S::constant(0.0); 2] }
    }
}

impl Problem for Oscillator {
    fn setup(&self) -> (Setup<f64>, Vec<Probe>) {
        let mut c = Circuit::new();
        let (y, w) = (c.node("y"), c.node("w"));
        c.capacitor("Cy", y, GROUND, 1.0, Some(2.0)).unwrap();
        c.capacitor("Cw", w, GROUND, 1.0, Some(0.0)).unwrap();
        c.law("law", "oscillator", &[y, w, GROUND], *self, 300.0).unwrap();
        let mut setup = Setup::new(c);
        setup.start = Start::Stated;
        (setup, vec![v(y), v(w)])
    }
    fn scale(&self, k: usize) -> f64 {
        [1.0, self.mu][k]
    }
}

/// μ = 1000, t = 2000 (table II.8.1): between two jumps that last a thousandth of a unit of time. The instants of the
/// jumps depend on where the slow branch is left, so that the local error's bound decides: three digits (the check
/// values' own tolerance) are due from bounds of 1e-6 (order 2), and six from 1e-9 (order 4).
#[test]
fn van_der_pol_ends_at_its_published_values() {
    let steps = Steps { base: 1.0, finest: 26, hold_off: 2 };
    for (method, bound, due) in [(&TR_BDF2, 1e-6, 3.0), (&ESDIRK4, 1e-9, 6.0), (&RODAS4, 1e-9, 6.0)] {
        let (y, count) = solve(&Oscillator { mu: 1e3 }, method, steps, bound, 2e3);
        let digits = scd(&y, &[1.706167732170469, -0.8928097010248125e-3]);
        println!("{} bound {bound:e}: {count} steps, scd {digits:.2}", method.name);
        assert!(digits > due, "{digits}");
    }
    // Not stiff: μ = 5, t = 20 (Radau and DOP853 agree to 1e-13): order by halving.
    let end = [-1.60129687954, 0.198326676339];
    let two = super::digits(&Oscillator { mu: 5.0 }, &TR_BDF2, 2e-3, 20.0, &end);
    assert!(two[0] > 3.0 && two[1] - two[0] > 0.55, "{two:?}");
    for method in [&ESDIRK4, &RODAS4] {
        let four = super::digits(&Oscillator { mu: 5.0 }, method, 4e-3, 20.0, &end);
        assert!(four[0] > 6.0 && four[1] - four[0] > 1.1, "{four:?}");
    }
}
