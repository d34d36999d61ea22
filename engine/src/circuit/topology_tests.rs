use nalgebra::DMatrix;
use proptest::prelude::*;

use super::*;
use crate::arithmetic::scalar::Scalar;
use crate::circuit::graph::NodeId;
use crate::circuit::law::{Flow, Law};
use crate::circuit::wave::Wave;

/// A square-law FET: drain, gate, source; the gate is insulated.
#[derive(Clone, Debug)]
struct Fet;
impl<L: Lane> Law<L, 2> for Fet {
    const JOINS: Joins = Joins::Groups(&[&[0, 2]]);
    type AtTemperature = ();
    fn at_temperature(&self, _: L) {}
    fn flow<S: Scalar<L>>(_: &(), u: [S; 2]) -> Flow<S, 2> {
        let zero = S::constant(L::splat(0.0));
        Flow { i: [u[0] * u[1], zero], q: [zero, u[1]] }
    }
}

/// A diode: both pins conduct.
#[derive(Clone, Debug)]
struct Diode;
impl<L: Lane> Law<L, 1> for Diode {
    type AtTemperature = ();
    fn at_temperature(&self, _: L) {}
    fn flow<S: Scalar<L>>(_: &(), u: [S; 1]) -> Flow<S, 1> {
        Flow { i: [u[0].exp()], q: [u[0]] }
    }
}

/// Builds a circuit from lines "kind-and-number nodes…" through the element interface.
fn circuit(lines: &[&str]) -> Circuit<f64> {
    build(lines, &[])
}

fn build(lines: &[&str], first: &[&str]) -> Circuit<f64> {
    let mut c = Circuit::new();
    for name in first {
        c.node(name);
    }
    let wave = c.wave(Wave::Constant(1.0));
    for (k, line) in lines.iter().enumerate() {
        let mut words = line.split_whitespace();
        let name = words.next().unwrap();
        let pins: Vec<NodeId> = words.map(|w| c.node(w)).collect();
        let value = 1.0 + 0.37 * (k as f64).sin();
        let four = || [pins[0], pins[1], pins[2], pins[3]];
        let added = match name.trim_end_matches(|c: char| c.is_ascii_digit()) {
            "R" => c.resistor(name, pins[0], pins[1], value),
            "C" => c.capacitor(name, pins[0], pins[1], value, None),
            "L" => c.inductor(name, pins[0], pins[1], value, 0.0, None),
            // A winding with resistance.
            "W" => c.inductor(name, pins[0], pins[1], value, value, None),
            "T" => c.coupled_inductors(name, &pins, &[2.0, 1.0, 1.0, 2.0], &[0.0, 0.0]),
            "supply" => c.voltage_source(name, pins[0], pins[1], wave),
            "pump" => c.current_source(name, pins[0], pins[1], wave),
            "amplifier" => c.voltage_controlled_voltage(name, four(), value),
            "conductor" => c.voltage_controlled_current(name, four(), value),
            "sensor" => c.current_controlled_voltage(name, four(), value),
            "mirror" => c.current_controlled_current(name, four(), value),
            "S" => {
                let choice = c.choice(vec![1e-9, 1e3], 0);
                c.chosen_resistor(name, "switch", pins[0], pins[1], choice)
            }
            "M" => c.law(name, "fet", &pins, Fet, 300.0),
            "D" => c.law(name, "diode", &pins, Diode, 300.0),
            other => panic!("no kind {other}"),
        };
        added.unwrap();
    }
    c
}

fn floating_of(c: &Circuit<f64>) -> Vec<(String, String)> {
    let pick = |t| match t {
        CircuitError::FloatingNode { node, through } => Some((node, through)),
        _ => None,
    };
    examine(c, true).errors.into_iter().filter_map(pick).collect()
}

#[test]
fn a_node_between_capacitors_floats() {
    let c = circuit(&["supply1 in gnd", "C1 in mid", "C2 mid gnd"]);
    assert_eq!(floating_of(&c), [("mid".to_string(), "C1, C2".to_string())]);
    let text = check(&c, false).unwrap_err().to_string();
    assert!(text.contains("node `mid` floats") && text.contains("C1, C2"), "{text}");
}

#[test]
fn a_current_source_and_a_capacitor_do_not_hold_a_node() {
    assert_eq!(floating_of(&circuit(&["pump1 gnd a", "C1 a gnd"])).len(), 1);
    assert_eq!(floating_of(&circuit(&["pump1 gnd a", "pump2 a gnd"])).len(), 1);
    assert_eq!(floating_of(&circuit(&["pump1 gnd a", "L1 a gnd"])).len(), 0);
    assert_eq!(floating_of(&circuit(&["pump1 gnd a", "S1 a gnd"])).len(), 0);
    assert_eq!(floating_of(&circuit(&["pump1 gnd a", "D1 a gnd"])).len(), 0);
}

#[test]
fn a_mosfet_holds_its_drain_but_not_its_gate() {
    let c = circuit(&["supply1 dd gnd", "R1 dd d", "M1 d g gnd", "C1 g gnd"]);
    assert_eq!(floating_of(&c), [("g".to_string(), "M1, C1".to_string())]);
    let c = circuit(&["supply1 dd gnd", "R1 dd d", "M1 d g gnd", "R2 g gnd"]);
    assert_eq!(floating_of(&c), []);
}

#[test]
fn a_secondary_without_ground_floats_as_a_whole() {
    let c = circuit(&["supply1 p gnd", "T1 p gnd s t", "R1 s t"]);
    let floating = floating_of(&c);
    assert_eq!(floating.iter().map(|f| f.0.as_str()).collect::<Vec<_>>(), ["s", "t"]);
}

#[test]
fn controlled_sources_hold_their_outputs_only_where_they_fix_a_voltage() {
    assert_eq!(floating_of(&circuit(&["supply1 a gnd", "amplifier1 out gnd a gnd"])), []);
    assert_eq!(floating_of(&circuit(&["supply1 a gnd", "amplifier1 a gnd c gnd"])).len(), 1);
    assert_eq!(floating_of(&circuit(&["supply1 a gnd", "conductor1 out gnd a gnd"])).len(), 1);
    // The ammeter of a current-controlled source conducts, its output current source does not.
    assert_eq!(floating_of(&circuit(&["supply1 a gnd", "mirror1 out gnd a b", "R1 b gnd"]))[0].0, "out");
    // A transconductance that looks at its own output is a conductance.
    assert_eq!(floating_of(&circuit(&["conductor1 out gnd out gnd", "pump1 gnd out"])), []);
}

#[test]
fn a_node_that_nothing_touches_floats() {
    let c = build(&["R1 a gnd"], &["lost"]);
    assert_eq!(floating_of(&c), [("lost".to_string(), "no component".to_string())]);
}

fn members(c: &Circuit<f64>, operating_point: bool) -> Vec<(bool, String)> {
    let pick = |t| match t {
        CircuitError::SourceLoop { members } => Some((true, members)),
        CircuitError::ResistanceFreeLoop { members } => Some((false, members)),
        _ => None,
    };
    examine(c, operating_point).errors.into_iter().filter_map(pick).collect()
}

#[test]
fn loops_of_sources_are_named() {
    let c =
        circuit(&["supply1 a gnd", "supply2 a b", "R1 b gnd", "supply3 gnd b", "supply4 c b", "R2 c gnd"]);
    assert_eq!(members(&c, false), [(true, "supply1, supply2, supply3".to_string())]);
    let c = circuit(&["supply1 a a", "R1 a gnd"]);
    assert_eq!(members(&c, false), [(true, "supply1".to_string())]);
    // Controlled voltages and ammeters belong to loops too.
    let c = circuit(&["supply1 a gnd", "amplifier1 a gnd c gnd", "R1 c gnd"]);
    assert_eq!(members(&c, false), [(true, "supply1, amplifier1".to_string())]);
    let c = circuit(&["supply1 a gnd", "mirror1 c gnd a gnd", "R1 c gnd"]);
    assert_eq!(members(&c, false), [(true, "supply1, mirror1".to_string())]);
}

#[test]
fn a_winding_across_a_source_lacks_an_operating_point_only() {
    let c = circuit(&["supply1 a gnd", "L1 a b", "L2 b gnd", "R1 b gnd"]);
    assert_eq!(members(&c, false), []);
    assert_eq!(members(&c, true), [(false, "supply1, L1, L2".to_string())]);
    let c = circuit(&["supply1 a gnd", "W1 a gnd"]);
    assert_eq!(members(&c, true), []);
    // Nothing divides the direct current between two windings in parallel.
    let c = circuit(&["R1 a gnd", "L1 a gnd", "L2 a gnd"]);
    assert_eq!(members(&c, true), [(false, "L1, L2".to_string())]);
    // A lane without resistance is enough.
    let mut c = Circuit::<wide::f64x4>::new();
    let a = c.node("a");
    let one = wide::f64x4::splat(1.0);
    let wave = c.wave(Wave::Constant(one));
    c.voltage_source("supply1", a, GROUND, wave).unwrap();
    c.inductor("L1", a, GROUND, one, wide::f64x4::new([1.0, 1.0, 0.0, 1.0]), None).unwrap();
    assert_eq!(examine(&c, true).errors.len(), 1);
}

#[test]
fn a_pin_alone_at_a_node_is_a_warning() {
    let c = circuit(&["supply1 a gnd", "R1 a b", "R2 a gnd"]);
    let loose = check(&c, true).unwrap();
    assert_eq!(loose, [LooseEnd { node: "b".into(), component: "R1".into() }]);
}

/// Whether the direct-current equations have no unique solution.
fn singular(c: &Circuit<f64>) -> bool {
    let nodes = c.nodes.len();
    let branches = |k: &Component<f64>| match &k.body {
        Body::Linear(l) => l.branches.len(),
        Body::Device(_) => 0,
    };
    let n = nodes - 1 + c.components.iter().map(branches).sum::<usize>();
    if n == 0 {
        return false;
    }
    let mut m = DMatrix::<f64>::zeros(n, n);
    let mut next = nodes - 1;
    for component in &c.components {
        let Body::Linear(linear) = &component.body else { continue };
        let place = |local: usize| match component.pins.get(local) {
            Some(pin) => (pin.0 as usize).checked_sub(1),
            None => Some(next + local - component.pins.len()),
        };
        for &(row, column, g) in &linear.g {
            if let (Some(row), Some(column)) = (place(row), place(column)) {
                m[(row, column)] += g;
            }
        }
        next += linear.branches.len();
    }
    let values = m.svd(false, false).singular_values;
    values.min() <= 1e-9 * values.max()
}

fn some_circuit() -> impl Strategy<Value = Vec<String>> {
    let line = ("[RRRCCLWVVI]", 0..6_u8, 0..6_u8);
    prop::collection::vec(line, 1..12).prop_map(|lines| {
        let name = |n: u8| if n == 0 { "gnd".to_string() } else { format!("n{n}") };
        let write = |(k, (kind, a, b)): (usize, (String, u8, u8))| {
            let kind = match kind.as_str() {
                "V" => "supply",
                "I" => "pump",
                other => other,
            };
            format!("{kind}{k} {} {}", name(a), name(b))
        };
        lines.into_iter().enumerate().map(write).collect()
    })
}

fn sorted(f: Findings) -> (Vec<String>, Vec<LooseEnd>) {
    let mut errors: Vec<String> = f.errors.iter().map(ToString::to_string).collect();
    let mut loose = f.loose_ends;
    errors.sort();
    loose.sort();
    (errors, loose)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2000, failure_persistence: None, ..Default::default() })]

    /// The graph finds an error exactly where a dense singular value decomposition (nalgebra) finds the equations
    /// singular.
    #[test]
    fn an_error_is_found_exactly_where_the_equations_are_singular(lines in some_circuit()) {
        let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
        let c = circuit(&lines);
        prop_assert_eq!(!examine(&c, true).errors.is_empty(), singular(&c), "{:?}", examine(&c, true));
    }

    #[test]
    fn numbering_nodes_otherwise_changes_nothing(
        lines in some_circuit(),
        order in Just(["n1", "n2", "n3", "n4", "n5"]).prop_shuffle(),
    ) {
        let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
        let used = |n: &&&str| lines.iter().any(|l| l.contains(**n));
        let order: Vec<&str> = order.iter().filter(used).copied().collect();
        for operating_point in [false, true] {
            let one = examine(&circuit(&lines), operating_point);
            let other = examine(&build(&lines, &order), operating_point);
            prop_assert_eq!(sorted(one), sorted(other));
        }
    }
}
