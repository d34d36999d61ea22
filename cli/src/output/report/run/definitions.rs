//! Definitions and assumptions of a run.

use std::collections::BTreeSet;

use toml::{Table, Value};

use joulestep_engine::control::let_through::DEFINITION;

use super::Read;
use crate::judge::Bounded;
use crate::output::report::words::ASSUMED;
use crate::output::result::Summary;

const DEFINITIONS: [(&str, &str); 11] = [
    ("Least, largest", "extremes of a quantity at the end of any step, recorded or not"),
    (
        "Error",
        "how far the number may be from what its equations say, from two coarser runs of the same (grid convergence index, \
         Roache 1994). It says nothing about models and inputs",
    ),
    (
        "Spread of input",
        "three standard deviations of the number, from runs with each input moved by its own to either side (law of \
         propagation, JCGM 100:2008, 5.1.2 and 5.2.2)",
    ),
    ("Margin", "distance between a limit and the extreme that it bounds; below zero it is exceeded"),
    (
        "Virtual junction temperature",
        "temperature of the die's node of the thermal network, which takes the heat of every step",
    ),
    ("Energy delivered, dissipated", "integrals of v·i over the record, by component of the circuit"),
    ("Energy stored", "in capacitances and inductances, at the end less at the start"),
    (
        "Ledger residual",
        "energy delivered less dissipated less stored; relative: over the energy turned over. It measures the error of the \
         computation, not of the models",
    ),
    (
        "Heat",
        "what a die handed to the thermal network: its dissipated energy, exactly as the ledger counts it",
    ),
    ("Let-through I²t", DEFINITION),
    (
        "Middle node",
        "of a cascode: drain of the MOSFET and source of the JFET; its voltage against the MOSFET's source, \
         reversed, is the JFET's gate-source voltage but for the gate loop",
    ),
];

/// Definitions of what the file holds.
pub(super) fn definitions(read: &Read<'_>) -> Vec<(String, String)> {
    let holds = |term: &str| match term {
        "Margin" => read.summary.iter().flat_map(|s| &s.scalars).any(|s| s.limited.is_some()),
        "Error" => !read.summary.as_ref().is_none_or(Summary::bare),
        "Energy delivered, dissipated" | "Energy stored" | "Ledger residual" => {
            read.scalar("ledger_residual_relative").is_some()
        }
        "Spread of input" => read.summary.iter().flat_map(|s| &s.scalars).any(|s| s.spread.is_some()),
        "Virtual junction temperature" | "Heat" => !read.steps.heat_inputs.is_empty(),
        "Let-through I²t" => read.events.iter().any(|e| e.kind == "cleared"),
        "Middle node" => read.file.channels().iter().any(|c| c.name.ends_with(".middle")),
        _ => true,
    };
    let shown = DEFINITIONS.into_iter().filter(|d| holds(d.0));
    let limited: BTreeSet<Bounded> = read
        .summary
        .iter()
        .flat_map(|s| &s.scalars)
        .filter_map(|s| s.limited.as_ref().map(|l| l.limit.of))
        .filter(|of| *of != Bounded::Signal)
        .collect();
    let of_limits =
        limited.into_iter().map(|of| (format!("Limit on {}", of.word()), of.definition().to_string()));
    shown.map(|(a, b)| (a.to_string(), b.to_string())).chain(of_limits).collect()
}

fn text(table: &Table, key: &str) -> Option<String> {
    match table.get(key)? {
        Value::String(text) => Some(text.clone()),
        other => Some(other.to_string()),
    }
}

/// Assumptions: those of every run, and what the scenario says of steps and heat.
pub(super) fn assumptions(read: &Read<'_>) -> Vec<String> {
    let mut out: Vec<String> = ASSUMED.map(String::from).to_vec();
    out.push(
        "The circuit is solved with steps from a short list: a base step, finer steps after every edge and where the error asks."
            .into(),
    );
    if !read.steps.heat_inputs.is_empty() {
        out.push(
            "Temperatures of device laws follow the thermal network; a lag of half the error allowed ends a coupling interval."
                .into(),
        );
    }
    let files = &read.file.about().inputs.files;
    let typed = files.first().and_then(|f| f.1.parse::<Table>().ok()).unwrap_or_default();
    if let Some(steps) = typed.get("steps").and_then(Value::as_table) {
        let each = [
            ("base", "base step"),
            ("finest", "finest step"),
            ("heat-error", "lag of temperatures"),
            ("coupling", "longest coupling interval"),
        ];
        let each: Vec<String> =
            each.iter().filter_map(|(key, words)| Some(format!("{words} {}", text(steps, key)?))).collect();
        if !each.is_empty() {
            out.push(format!("Steps: {}.", each.join(", ")));
        }
    }
    let boundaries = typed.get("thermal").and_then(|t| t.get("boundary")).and_then(Value::as_array);
    for b in boundaries.into_iter().flatten().filter_map(Value::as_table) {
        if let (Some(name), Some(at)) = (text(b, "name"), text(b, "temperature")) {
            out.push(format!("The thermal boundary {name} is held at {at}, whatever heat flows into it."));
        }
    }
    if read.steps.heat_inputs.is_empty() {
        out.push("No die has a heat path: junction temperatures are held.".into());
    }
    out
}
