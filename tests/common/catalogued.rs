//! Models built by kind from plain SI numbers, and from the shipped parts.

use joulestep_engine::circuit::graph::{Circuit, NodeId};
use joulestep_models::lookup::find;
use joulestep_models::model::{Built, Entry, Shape, Value, Values};
use joulestep_models::parts::shipped;

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

/// "4.86 mohm" in SI, where "ohm" is expected.
fn quantity(text: &str, unit: &str) -> f64 {
    let (number, given) = text.split_once(' ').unwrap_or((text, ""));
    let number: f64 = number.parse().unwrap();
    if given.is_empty() {
        return number;
    }
    let prefix = given.strip_suffix(unit).unwrap_or_else(|| panic!("`{text}` is not in {unit}"));
    let at = ["f", "p", "n", "u", "m", "", "k", "M"].iter().position(|p| *p == prefix).unwrap();
    number * 10f64.powi(3 * (at as i32 - 5))
}

/// Kind and parameters (SI) of a shipped part.
pub fn part(name: &str) -> (String, Vec<(&'static str, f64)>) {
    let text = shipped().iter().find(|p| p.0 == name).unwrap_or_else(|| panic!("no part `{name}`")).1;
    let (head, rest) = text.split_once("\n[params]\n").unwrap();
    let lines = |text: &'static str| {
        text.lines()
            .filter(|line| !line.starts_with('#'))
            .filter_map(|line| line.split_once(" = "))
            .map(|(key, value)| (key, value.trim_matches('"')))
    };
    let kind = lines(head).find(|l| l.0 == "kind").unwrap().1.to_string();
    let entry = find(&kind).unwrap();
    let params = rest.split_once("\n[").map_or(rest, |p| p.0);
    let params = lines(params).map(|(key, value)| {
        let param = entry.params.iter().find(|p| p.key == key).unwrap_or_else(|| panic!("no key `{key}`"));
        let Shape::Number(unit) = param.shape else { panic!("`{key}` is no number") };
        (param.key, quantity(value, unit))
    });
    (kind, params.collect())
}
