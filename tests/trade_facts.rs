//! Facts of the trade that a practitioner expects of a cascode (common practice, no source), on the invented
//! parts.

use joulestep_engine::circuit::graph::{Body, Circuit, ComponentId, GROUND, HeatId};
use joulestep_engine::circuit::wave::Wave;
use joulestep_models::model::{Built, heat};

use crate::common::catalogued::{part, put};
use crate::common::statics::{Static, solve};

/// Cascodes with the current they are meant to carry and their stated on-resistance at 25 °C.
const CASCODES: [(&str, f64, f64); 2] = [("cascode-700v-7m", 90.0, 7e-3), ("cascode-700v-22m", 28.0, 22e-3)];

/// A cascode between node `d` and ground with its gate at `vgs`, both dies at `celsius`.
struct Bench {
    circuit: Circuit<f64>,
    built: Built,
}

impl Bench {
    fn new(name: &str, vgs: f64, celsius: f64) -> Self {
        let mut circuit = Circuit::new();
        let (d, g) = (circuit.node("d"), circuit.node("g"));
        let wave = circuit.wave(Wave::Constant(vgs));
        circuit.voltage_source("Vg", g, GROUND, wave).unwrap();
        let (kind, given) = part(name);
        let built = put(&mut circuit, &kind, "Q", &[d, g, GROUND], &given);
        heat(&mut circuit, &built, &[HeatId(0), HeatId(1)]);
        for (_, die) in &built.dies {
            for ComponentId(id) in die {
                assert!(circuit.components[*id as usize].heat.is_some());
                // The gate strips heat the die too, but follow no temperature.
                if let Body::Device(device) = &mut circuit.components[*id as usize].body {
                    device.set_temperature(celsius + 273.15);
                }
            }
        }
        Self { circuit, built }
    }
    fn at_voltage(mut self, volts: f64) -> (Self, Static) {
        let d = self.circuit.node("d");
        let wave = self.circuit.wave(Wave::Constant(volts));
        self.circuit.voltage_source("V", d, GROUND, wave).unwrap();
        let s = solve(&self.circuit);
        (self, s)
    }
    /// Positive into the drain.
    fn at_current(mut self, amperes: f64) -> (Self, Static) {
        let d = self.circuit.node("d");
        let wave = self.circuit.wave(Wave::Constant(amperes));
        self.circuit.current_source("I", GROUND, d, wave).unwrap();
        let s = solve(&self.circuit);
        (self, s)
    }
    fn v(&self, s: &Static, node: &str) -> f64 {
        s.v(self.circuit.find_node(node).unwrap())
    }
    fn drain_current(&self, s: &Static) -> f64 {
        s.conduction(&self.circuit, self.built.dies[0].1[0], 0)
    }
}

/// The middle node of a blocking cascode settles somewhat above the JFET's pinch-off voltage, and nearly all the
/// blocking voltage stands on the JFET.
#[test]
fn blocking_cascode() {
    for (name, _, _) in CASCODES {
        for celsius in [-25.0, 25.0, 150.0] {
            for volts in [100.0, 400.0, 650.0] {
                let (bench, s) = Bench::new(name, 0.0, celsius).at_voltage(volts);
                let middle = bench.v(&s, "Q.middle");
                assert!(
                    (7.0..12.0).contains(&middle),
                    "{name}, {volts} V, {celsius} °C: middle node {middle} V"
                );
                assert!((volts - middle) / volts > 0.88);
                let leakage = bench.drain_current(&s);
                assert!(
                    (1e-9..5e-3).contains(&leakage),
                    "{name}, {volts} V, {celsius} °C: leakage {leakage:e} A"
                );
            }
        }
    }
}

/// Breakdown of neither die is near: the cascode blocks its rating with the MOSFET below its own.
#[test]
fn middle_node_is_below_the_mosfet_rating() {
    for (name, _, _) in CASCODES {
        let (bench, s) = Bench::new(name, 0.0, 175.0).at_voltage(700.0);
        let limit = bench.built.limits.iter().find(|l| l.0 == "middle").unwrap().3;
        assert!(bench.v(&s, "Q.middle") < limit);
    }
}

/// The MOSFET holds about a tenth of the on-resistance; the whole is as stated, and 1.7 times as much at 125 °C.
#[test]
fn on_resistance_and_its_share() {
    for (name, amperes, stated) in CASCODES {
        let mut whole = Vec::new();
        for celsius in [25.0, 125.0] {
            let (bench, s) = Bench::new(name, 10.0, celsius).at_current(amperes / 4.0);
            let share = bench.v(&s, "Q.middle") / bench.v(&s, "d");
            assert!((0.07..0.13).contains(&share), "{name}: the MOSFET holds {share} of the on-resistance");
            whole.push(bench.v(&s, "d") / (amperes / 4.0));
        }
        assert!((whole[0] / stated - 1.0).abs() < 0.02, "{name}: {} ohm", whole[0]);
        assert!((whole[1] / stated - 1.7).abs() < 0.05, "{name}: {} ohm at 125 °C", whole[1]);
    }
}

/// With the gate off the integral diode drops 1 V to 1.5 V at rated current; with the gate on the drop is that of the
/// resistance.
#[test]
fn third_quadrant() {
    for (name, amperes, stated) in CASCODES {
        let (bench, s) = Bench::new(name, 0.0, 25.0).at_current(-amperes);
        let off = -bench.v(&s, "d");
        assert!((1.0..1.5).contains(&off), "{name}: {off} V");
        let (bench, s) = Bench::new(name, 10.0, 25.0).at_current(-amperes);
        let on = -bench.v(&s, "d");
        assert!((on / (amperes * stated) - 1.0).abs() < 0.15, "{name}: {on} V");
    }
}

/// The JFET limits a fault current, less when hot, and less than it would without the MOSFET below it.
#[test]
fn saturation_current_falls_with_temperature() {
    for (name, _, _) in CASCODES {
        let current = |celsius: f64| {
            let (bench, s) = Bench::new(name, 12.0, celsius).at_voltage(300.0);
            bench.drain_current(&s)
        };
        let [cold, warm, hot] = [25.0, 100.0, 175.0].map(current);
        assert!(cold > 1.2 * warm && warm > 1.2 * hot, "{name}: {cold}, {warm}, {hot} A");
    }
}

/// A cascode with a threshold of 3.4 V is driven from 0 V to 10 V or 12 V, and its gate tolerates ±18 V.
#[test]
fn gate_levels() {
    for (name, amperes, _) in CASCODES {
        let (bench, s) = Bench::new(name, 0.0, 150.0).at_voltage(400.0);
        assert!(bench.drain_current(&s) < 5e-3);
        let gate = bench.built.limits.iter().find(|l| l.0 == "gate").unwrap();
        assert_eq!((gate.2, gate.3), (-18.0, 18.0));
        let drop = |vgs: f64| {
            let (bench, s) = Bench::new(name, vgs, 25.0).at_current(amperes);
            bench.v(&s, "d")
        };
        let (ten, twelve) = (drop(10.0), drop(12.0));
        assert!(twelve < ten && twelve > 0.9 * ten, "{name}: {ten} V and {twelve} V");
    }
}

/// The varistor of the 400 V bus leaks less than a milliampere there and clamps a fault below the cascode's rating.
#[test]
fn varistor_keeps_the_cascode_safe() {
    let (kind, given) = part("varistor-400v-rail");
    let drop = |amperes: f64| {
        let mut circuit = Circuit::<f64>::new();
        let a = circuit.node("a");
        put(&mut circuit, &kind, "Z", &[a, GROUND], &given);
        let wave = circuit.wave(Wave::Constant(amperes));
        circuit.current_source("I", GROUND, a, wave).unwrap();
        solve(&circuit).v(a)
    };
    assert!(drop(1e-3) > 414.0);
    assert!((drop(250.0) - 625.0).abs() < 5.0);
    assert!(drop(600.0) < 700.0);
}
