//! Models built by kind from plain SI numbers, and from the shipped parts.

use joulestep_engine::circuit::graph::{Circuit, NodeId};
use joulestep_models::lookup::find;
use joulestep_models::model::{Built, Entry, Shape, Value, Values};
use joulestep_models::part::Part;

/// The values of a model: defaults, then the given numbers (SI, °C). Fails on an unknown key.
pub fn values(entry: &Entry, given: &[(&str, f64)]) -> Values {
    let mut values = Values::with_defaults(entry.params);
    for (key, x) in given {
        let param = entry.params.iter().find(|p| p.key == *key).unwrap_or_else(|| panic!("no key `{key}`"));
        values.0.insert(param.key, Value::Number(*x));
    }
    for param in entry.params.iter().filter(|p| !p.optional && matches!(p.shape, Shape::Number(_))) {
        assert!(values.0.contains_key(param.key), "`{}` of {} is missing", param.key, entry.kind);
    }
    values
}

/// Puts a model of this kind into a circuit.
pub fn put(
    circuit: &mut Circuit<f64>,
    kind: &str,
    name: &str,
    pins: &[NodeId],
    given: &[(&str, f64)],
) -> Built {
    let entry = find(kind).unwrap_or_else(|_| panic!("no kind `{kind}`"));
    (entry.build)(circuit, name, pins, &values(entry, given)).unwrap()
}

/// A shipped part as the program reads it.
pub fn shipped(name: &str) -> Part {
    let open = |_: &std::path::Path| Err(std::io::Error::other("no file"));
    joulestep::input::parts::load(name, &open).unwrap_or_else(|_| panic!("{name} is shipped")).part
}

/// Kind and parameters (SI) of a shipped part.
pub fn part(name: &str) -> (String, Vec<(&'static str, f64)>) {
    let part = shipped(name);
    let number = |&key: &&'static str| match &part.values.0[key] {
        Value::Number(x) => (key, *x),
        _ => panic!("`{key}` is no number"),
    };
    (part.kind.to_string(), part.given.iter().map(number).collect())
}

/// Leads, so that pins and dies differ.
pub fn leads(kind: &str) -> Option<[(&'static str, f64); 2]> {
    (kind == "cascode").then_some([("drain-inductance", 5e-9), ("source-inductance", 3e-9)])
}
