//! Two or more coupled windings.

use joulestep_engine::circuit::graph::{Circuit, NodeId};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::error::CircuitError;

use crate::model::{Built, Entry, Param, Range, Values, bad, params};

const PARAMS: &[Param] = &params! {
    list "inductances", "H", false, Range::Positive, "Self-inductance of each winding";
    optional "coupling", "1", Range::Between(-1.0, 1.0), "One coupling factor k for every pair of windings";
    list "mutual", "H", true, Range::Any, "Mutual inductances of the pairs 1-2, 1-3, ..., 2-3, ...";
    list "series-resistances", "ohm", true, Range::NotNegative, "Resistance of each winding";
};
const CURRENTS: [&str; 8] =
    ["current-1", "current-2", "current-3", "current-4", "current-5", "current-6", "current-7", "current-8"];

fn build(circuit: &mut Circuit<f64>, name: &str, pins: &[NodeId], v: &Values) -> Result<Built, CircuitError> {
    let own = v.list("inductances");
    let n = own.len();
    if n < 2 || pins.len() != 2 * n {
        let what = format!(
            "{n} inductances and {} nodes: expected two or more windings with two nodes each",
            pins.len()
        );
        return Err(bad(name, what));
    }
    let pairs = n * (n - 1) / 2;
    let mutual = match (v.maybe("coupling"), v.list("mutual")) {
        (Some(k), []) => {
            let pair = |i: usize| (i + 1..n).map(move |j| k * (own[i] * own[j]).sqrt());
            (0..n).flat_map(pair).collect::<Vec<f64>>()
        }
        (None, m) if m.len() == pairs => m.to_vec(),
        (None, m) => {
            return Err(bad(
                name,
                format!("{} values in `mutual`, expected {pairs} (or a `coupling`)", m.len()),
            ));
        }
        (Some(_), _) => return Err(bad(name, "`coupling` and `mutual` exclude each other")),
    };
    let resistances = match v.list("series-resistances") {
        [] => vec![0.0; n],
        r if r.len() == n => r.to_vec(),
        r => return Err(bad(name, format!("{} values in `series-resistances`, expected {n}", r.len()))),
    };
    let mut matrix = vec![0.0; n * n];
    let mut next = mutual.into_iter();
    for i in 0..n {
        matrix[i * n + i] = own[i];
        for j in i + 1..n {
            // The list has one value per pair, counted above.
            let m = next.next().unwrap_or_default();
            matrix[i * n + j] = m;
            matrix[j * n + i] = m;
        }
    }
    let id = circuit.coupled_inductors(name, pins, &matrix, &resistances)?;
    let mut quantities = vec![("power", "power dissipated", Probe::Power(id))];
    for (k, key) in CURRENTS.into_iter().enumerate().take(n) {
        quantities.push((
            key,
            "current of a winding, from its first pin to its second",
            Probe::Branch(id, k),
        ));
    }
    Ok(Built { components: vec![id], dies: vec![("windings", vec![id])], quantities, ..Built::default() })
}

/// The line of the catalogue.
pub const fn entry() -> Entry {
    Entry {
        kind: "coupled-inductors",
        pins: &["a1", "b1", "a2", "b2", "*"],
        params: PARAMS,
        help: "Windings with a constant inductance matrix; nodes in pairs, the dotted end first",
        source: "v = L di/dt with a symmetric positive definite matrix L",
        dies: &[],
        build,
    }
}
