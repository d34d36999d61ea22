//! Values that no model can be built from: each is refused with the component's name and what was expected.

use joulestep_engine::circuit::graph::{Circuit, NodeId};
use joulestep_models::lookup::find;
use joulestep_models::model::{Value, Values};

use crate::common::catalogued::part;

fn refusal(kind: &str, pins: usize, given: &[(&'static str, Value)]) -> String {
    let entry = find(kind).unwrap();
    let mut circuit = Circuit::new();
    let pins: Vec<NodeId> = (0..pins).map(|k| circuit.node(&format!("n{k}"))).collect();
    let mut values = Values::with_defaults(entry.params);
    for (key, value) in given {
        values.0.insert(*key, value.clone());
    }
    (entry.build)(&mut circuit, "X1", &pins, &values).unwrap_err().to_string()
}

#[test]
fn refusals_name_the_component_and_the_reason() {
    let n = |key: &'static str, x: f64| (key, Value::Number(x));
    let table = |points: &[(f64, f64)]| Value::Table(points.to_vec());
    let cascode = |pins: usize, key: &'static str, x: f64| {
        let mut given: Vec<_> =
            part("cascode-700v-7m").1.into_iter().map(|(k, x)| (k, Value::Number(x))).collect();
        given.push(n(key, x));
        refusal("cascode", pins, &given)
    };
    for (text, expected) in [
        (refusal("voltage-source", 2, &[]), "nothing says what the source does"),
        (
            refusal("voltage-source", 2, &[n("value", 1.0), n("amplitude", 2.0)]),
            "`value` and `amplitude` exclude",
        ),
        (refusal("current-source", 2, &[n("amplitude", 2.0)]), "`frequency` is missing: a sine needs it"),
        (
            refusal("voltage-source", 2, &[("points", table(&[(0.0, 1.0), (2.0, 1.0), (1.0, 0.0)]))]),
            "1 s comes after 2 s; expected ascending instants",
        ),
        (
            refusal("voltage-source", 2, &[("points", table(&[(0.0, 1.0), (2.0, 1.0)])), n("period", 1.0)]),
            "2 s lies outside one period",
        ),
        (refusal("resistor", 2, &[n("resistance", -1.0)]), "resistance is -1, expected above zero"),
        (refusal("capacitor", 2, &[n("capacitance", f64::NAN)]), "capacitance is NaN"),
        (
            refusal("switch", 2, &[n("initial-state", 0.5)]),
            "`initial-state` is 0.5, expected 0 (off) or 1 (on)",
        ),
        (
            refusal(
                "coupled-inductors",
                4,
                &[("inductances", Value::List(vec![1e-6, 1e-6])), n("coupling", 1.0)],
            ),
            "not symmetric and positive definite",
        ),
        (
            refusal("coupled-inductors", 4, &[("inductances", Value::List(vec![1e-6; 3]))]),
            "3 inductances and 4 nodes",
        ),
        (refusal("nonlinear-capacitor", 2, &[]), "expected `capacitance` or `table`"),
        (
            refusal("nonlinear-capacitor", 2, &[("table", table(&[(0.0, 1e-9), (0.0, 1e-9)]))]),
            "expected ascending voltages",
        ),
        (
            refusal(
                "varistor",
                2,
                &[n("varistor-voltage", 430.0), n("clamping-voltage", 400.0), n("clamping-current", 100.0)],
            ),
            "does not lie above 430 V at 0.001 A",
        ),
        (
            refusal("diode", 2, &[n("saturation-current", 1e-9), n("breakdown-voltage", 0.1)]),
            "forward and reverse conduction of the junction overlap",
        ),
        (cascode(3, "jfet-pinch-off", 2.0), "`jfet-pinch-off` is 2 V, expected below zero"),
        (cascode(3, "mosfet-threshold", 15.0), "`mosfet-on-gate-voltage` is not above `mosfet-threshold`"),
        (cascode(4, "source-inductance", 0.0), "a Kelvin pin needs a `source-inductance` above zero"),
        (cascode(5, "source-inductance", 1e-9), "5 nodes, expected drain, gate, source and perhaps kelvin"),
    ] {
        assert!(text.contains(expected), "`{text}` does not say `{expected}`");
        assert!(text.contains("X1"), "`{text}` does not name the component");
    }
}

/// [`Values`] refuse what a model does not know, what is out of range, and what is missing.
#[test]
fn values_are_checked_against_the_table_of_the_model() {
    let params = find("resistor").unwrap().params;
    let of = |given: &[(&'static str, f64)]| {
        Values::of("R1", params, given.iter().map(|&(key, x)| (key, Value::Number(x))))
            .map(|v| v.number("resistance"))
    };
    assert_eq!(of(&[("resistance", 2.0)]), Ok(2.0));
    for (given, expected) in [
        (&[("resistance", 2.0), ("resistence", 1.0)][..], "`R1`: there is no parameter `resistence`"),
        (&[("resistance", -2.0)], "`R1`: `resistance` is -2, expected above zero"),
        (&[("resistance", f64::NAN)], "`R1`: `resistance` is NaN, expected above zero"),
        (&[], "`R1`: `resistance` is missing"),
    ] {
        assert_eq!(of(given).unwrap_err().to_string(), expected);
    }
    let table = Values::of("R1", params, [("resistance", Value::Table(vec![(0.0, 1.0)]))]);
    assert!(table.unwrap_err().to_string().contains("`resistance`"));
    let mut circuit = Circuit::new();
    let pins = [circuit.node("a")];
    let values = Values::of("R1", params, [("resistance", Value::Number(1.0))]).unwrap();
    let refused = find("resistor").unwrap().place(&mut circuit, "R1", &pins, &values).unwrap_err();
    assert_eq!(refused.to_string(), "`R1`: 1 pins, expected a, b");
}
