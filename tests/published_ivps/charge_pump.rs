//! Charge pump (index-2 DAE): Test Set release 2.1 (CWI 1999), sec. 10; Günther, Denk & Feldmann 1995. A MOS
//! transistor by its charges alone, between a gate source and two capacitors whose nodes nothing else touches.

use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::graph::{Circuit, GROUND, NodeId};
use joulestep_engine::circuit::law::{Flow, Law};
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::run::setup::{Setup, Start};
use joulestep_engine::run::time_loop::Run;
use joulestep_engine::step::method::{ESDIRK4, METHODS, Method};
use joulestep_engine::step::schedule::Steps;

use crate::common::rig::{near, supply, tight, v};

const COX: f64 = 4e-12;
const UT0: f64 = 0.2;
const GAMMA: f64 = 0.035;
const PHI: f64 = 1.01;

/// Pins gate, source, drain, bulk. Carries charge only; the topology check gets a conductance, since the two nodes of
/// the problem float for direct current and are fixed by their conserved charge.
#[derive(Clone, Debug)]
struct Charges;

impl Law<f64, 3> for Charges {
    type AtTemperature = ();
    fn at_temperature(&self, _kelvin: f64) {}
    fn flow<S: Scalar<f64>>(_: &(), [u1, u2, u3]: [S; 3]) -> Flow<S, 3> {
        let zero = S::constant(0.0);
        let (gate_source, gate_drain) = (u1 - u2, u1 - u3);
        let flat = UT0 - GAMMA * PHI.sqrt() - PHI;
        // Φ − U_BS with U_BS = v2 − v1 = −U2.
        let depleted = (u2 + PHI).at_least(1e-3).sqrt();
        let threshold = (depleted - PHI.sqrt()) * GAMMA + UT0;
        let (gate, other) = if u1.value() <= flat {
            ((u1 - flat) * COX, zero)
        } else if gate_source.value() <= threshold.value() {
            (((u1 - flat + GAMMA * GAMMA / 4.0).sqrt() - GAMMA / 2.0) * (COX * GAMMA), zero)
        } else {
            let s = gate_source - threshold;
            let d = (gate_drain - threshold).at_least(0.0);
            let inverted = (d + s - d * s / (d + s)) * (2.0 / 3.0 * COX);
            (inverted + depleted * (COX * GAMMA), inverted * -0.5)
        };
        Flow { i: [zero; 3], q: [gate, other, other] }
    }
}

struct Pump {
    run: Run<f64>,
    nodes: [NodeId; 3],
}

impl Pump {
    fn new(method: &'static Method) -> Self {
        let mut c = Circuit::new();
        // Slope 2 V/ns, the value that fits the 20 V plateau (the scanned text prints 20).
        let points = [(0.0, 0.0), (50e-9, 0.0), (60e-9, 20.0), (110e-9, 20.0), (120e-9, 0.0)];
        let (gate, _) = supply(&mut c, "gate", Wave::Periodic { period: 120e-9, points: points.to_vec() });
        let (source, drain) = (c.node("source"), c.node("drain"));
        c.capacitor("CS", source, GROUND, 1.6e-12, None).unwrap();
        c.capacitor("CD", drain, GROUND, 0.4e-12, None).unwrap();
        c.law("M", "charges", &[gate, source, drain, GROUND], Charges, 300.0).unwrap();
        let mut setup = Setup::new(c);
        setup.start = Start::Stated;
        setup.method = method;
        setup.tolerance = Some(tight());
        setup.steps = Steps { base: 5e-9, finest: 6, hold_off: 2 };
        Self { run: setup.ready().unwrap(), nodes: [gate, source, drain] }
    }

    fn at(&mut self, t: f64) -> [f64; 3] {
        self.run.advance(t, &mut ()).unwrap();
        self.nodes.map(|n| self.run.read(&v(n)))
    }

    /// Y_T1, the charge of the gate at the state's voltages.
    fn gate_charge(&self) -> f64 {
        let u = self.nodes.map(|n| self.run.read(&v(n)));
        Charges::flow(&(), u).q[0]
    }
}

/// Y_T1 = 0.1262800429876759e-12 C at the end, all other unknowns 0; on the plateau of 20 V, and at 3 V on the way up,
/// the voltages follow from the conserved charge alone (solved independently).
#[test]
fn the_charge_pump_returns_all_its_charge() {
    for method in METHODS {
        let mut pump = Pump::new(method);
        near("gate charge at 0 V", pump.gate_charge(), 1.26280042987676e-13, 1e-12);
        // 3 V on the first rising edge, then the plateau of each of the ten periods.
        let [u1, u2, u3] = pump.at(51.5e-9);
        assert!((u1 - 3.0).abs() < 1e-9, "{u1}");
        assert!((u2 - 1.26472133500028).abs() < 1e-9 && (u3 - 5.05888534000113).abs() < 1e-9, "{u2} {u3}");
        near("gate charge at 3 V", pump.gate_charge(), 4.25825878269412e-12, 1e-9);
        for period in 0..10 {
            let [_, u2, u3] = pump.at(1e-9 * (120.0 * f64::from(period) + 90.0));
            assert!((u2 - 8.96574053619068).abs() < 1e-9, "period {period}: {u2}");
            assert!((u3 - 35.8629621447627).abs() < 1e-9, "period {period}: {u3}");
            near("gate charge at 20 V", pump.gate_charge(), 2.91325512560279e-11, 1e-9);
        }
        let [u1, u2, u3] = pump.at(1.2e-6);
        assert!(u1.abs() < 1e-9 && u2.abs() < 1e-9 && u3.abs() < 1e-9, "{u1} {u2} {u3}");
        near("gate charge at the end", pump.gate_charge(), 0.1262800429876759e-12, 1e-9);
        println!("{}: {:?}", method.name, pump.run.counters());
    }
}

/// The index-2 unknown is the source's current, −dQ_G/dt: on the straight part of the first edge it is the slope of
/// the charge, here from a difference of the statics' own values.
#[test]
fn the_current_of_the_pump_is_the_slope_of_its_charge() {
    let mut pump = Pump::new(&ESDIRK4);
    pump.at(54.9e-9);
    let before = pump.gate_charge();
    pump.at(55.1e-9);
    let after = pump.gate_charge();
    let mut pump = Pump::new(&ESDIRK4);
    pump.at(55e-9);
    let source = pump.run.system().circuit.find("source-gate").unwrap();
    let i = pump.run.read(&joulestep_engine::circuit::probe::Probe::Branch(source, 0));
    near("current on the edge", -i, (after - before) / 0.2e-9, 1e-4);
}
