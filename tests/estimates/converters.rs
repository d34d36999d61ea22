//! Shipped switching circuits as the program runs them by default: every number that it gives with ± against the same
//! circuit by the other method (ESDIRK and RODAS share nothing but the device laws) at bounds a hundred times as tight
//! and below. What that truth is known to is its distance from a run at bounds ten times as wide.

use serde_json::Value;

use super::Known;
use crate::common::folder::Folder;
use joulestep::judge::Uncertainty;

/// Scenarios that end within a few thousand steps: peaks of ringing after hard edges, and one break without them.
const SCENARIOS: [(&str, &str); 3] = [
    ("buck", include_str!("../../examples/ferry-buck.toml")),
    ("boost", include_str!("../../examples/ferry-boost.toml")),
    ("break", include_str!("../../examples/ferry-inductive-break.toml")),
];
/// Bounds of the local error, V and A, and halvings of the steps that go with them.
const TIGHT: [(&str, i32); 2] = [("1e-4", 5), ("1e-3", 4)];

/// Answers that tell of the computation, not of the circuit: other steps have others.
const WORK: [&str; 9] = [
    "ledger_residual",
    "ledger_residual_relative",
    "reached",
    "steps",
    "iterations",
    "windows",
    "couplings",
    "stalled",
    "stalled_by",
];

/// A scenario by a method, at other bounds.
fn varied(text: &str, method: &str, tight: Option<(&str, i32)>) -> String {
    let line = |line: &str| match (line.split(" = ").next(), tight) {
        (Some("[steps]"), _) => format!("[steps]\nmethod = \"{method}\""),
        (Some("voltage-error"), Some((bound, _))) => format!("voltage-error = \"{bound} V\""),
        (Some("current-error"), Some((bound, _))) => format!("current-error = \"{bound} A\""),
        (Some(key @ ("base" | "finest")), Some((_, halvings))) => {
            let ns: f64 =
                line.split('"').nth(1).and_then(|q| q.strip_suffix(" ns")?.parse().ok()).expect("ns");
            // The same finest step needs fewer of its halvings where the base is shorter.
            let halvings = if key == "base" { 2 } else { halvings };
            format!("{key} = \"{} ns\"", ns * 0.5f64.powi(halvings))
        }
        _ => line.to_string(),
    };
    text.lines().map(line).collect::<Vec<_>>().join("\n")
}

/// Every number that may have an error: name, value, and the error if there is one.
fn numbers(report: &Value) -> Vec<(String, f64, Option<Uncertainty>)> {
    let error = |plus_minus: &Value, kind: &Value| {
        let kind = kind.as_str().unwrap_or("within");
        plus_minus.as_f64().map(|e| Uncertainty::of_word(kind, Some(e), None))
    };
    let mut all = Vec::new();
    for a in report["answers"].as_array().expect("answers") {
        let name = a["name"].as_str().expect("a name").to_string();
        if WORK.contains(&name.as_str()) {
            continue;
        }
        all.extend(a["value"].as_f64().map(|v| (name, v, error(&a["error"], &a["error_kind"]))));
    }
    for (table, content) in report["tables"].as_object().expect("tables") {
        for (k, row) in content["rows"].as_array().expect("rows").iter().enumerate() {
            for (key, value) in row.as_object().expect("a row") {
                let error = error(&row[format!("{key}_error")], &row[format!("{key}_error_kind")]);
                all.extend(value.as_f64().map(|v| (format!("{table} {} {key}", k + 1), v, error)));
            }
        }
    }
    all
}

/// All numbers by both methods.
pub fn all() -> Vec<Known> {
    let mut all = Vec::new();
    for (name, text) in SCENARIOS {
        for (method, other) in [("esdirk4", "rodas4"), ("rodas4", "esdirk4")] {
            let run = |text: String, more: &[&str]| {
                numbers(&Folder::scenario(&text).json(&[&["run", "@s.toml"], more].concat()).1)
            };
            let fine = run(varied(text, method, None), &[]);
            let [truth, near] = TIGHT.map(|t| run(varied(text, other, Some(t)), &["--no-estimate"]));
            let of = |list: &[(String, f64, Option<Uncertainty>)], name: &str| {
                list.iter().find(|n| n.0 == name).map(|n| n.1)
            };
            for (number, value, error) in fine {
                let (Some(error), Some(truth), Some(near)) = (error, of(&truth, &number), of(&near, &number))
                else {
                    continue;
                };
                // Energies and temperatures are told to about nine places.
                let known = (truth - near).abs() + 1e-10 * truth.abs();
                all.push(Known { name: format!("{name} {method} {number}"), value, truth, known, error });
            }
        }
    }
    all
}
