//! Conditions and definitions of a run.

use std::collections::BTreeSet;

use joulestep_engine::control::let_through::DEFINITION;
use joulestep_engine::units::{people, people_digits};

use crate::input::scenario::resolved::Scenario;
use crate::judge::Bounded;
use crate::output::account::{Account, Facts, switching};
use crate::output::answer::Outcome;

const DEFINITIONS: [(&str, &str); 11] = [
    ("least, largest", "extremes of a quantity at the end of any step, recorded or not"),
    (
        "\u{b1}",
        "how far the number may be from what its equations say, from two coarser runs of the same (grid convergence index, \
         Roache 1994). It says nothing about models and inputs",
    ),
    ("margin", "distance between a limit and the extreme that it bounds; below zero it is exceeded"),
    (
        "virtual junction temperature",
        "temperature of the die's node of the thermal network, which takes the heat of every step",
    ),
    ("coupling", "the part of \u{b1} that the coupling of heat leaves in the temperature of a die"),
    ("energy delivered, dissipated", "integrals of v\u{b7}i over the record, by component of the circuit"),
    (
        "ledger residual",
        "energy delivered less dissipated less stored; relative: over the energy turned over or stored. It measures the error of the \
         computation, not of the models",
    ),
    (
        "energy of a die",
        "what a die handed to the thermal network: its dissipated energy, exactly as the ledger counts it",
    ),
    ("let-through I\u{b2}t", DEFINITION),
    ("switching energies", switching::DEFINITION),
    (
        "middle node",
        "of a cascode: drain of the MOSFET and source of the JFET; its voltage against the MOSFET's source, reversed, is \
         the JFET's gate-source voltage but for the gate loop",
    ),
];

/// Definitions of what the run has.
pub(super) fn definitions(a: &Account) -> Vec<(String, String)> {
    let holds = |term: &str| match term {
        "margin" => !a.judged.is_empty(),
        "virtual junction temperature" | "energy of a die" | "coupling" => !a.junctions.is_empty(),
        "let-through I\u{b2}t" => !a.let_through.is_empty(),
        "switching energies" => !a.switching.all.is_empty(),
        "middle node" => a.peaks.iter().any(|p| p.name.ends_with(".middle")),
        _ => true,
    };
    let limited: BTreeSet<Bounded> =
        a.judged.iter().map(|j| j.limit.of).filter(|of| *of != Bounded::Signal).collect();
    let of_limits =
        limited.into_iter().map(|of| (format!("limit on {}", of.word()), of.definition().to_string()));
    let shown = DEFINITIONS.into_iter().filter(|d| holds(d.0));
    shown.map(|(a, b)| (a.to_string(), b.to_string())).chain(of_limits).collect()
}

/// What the scenario says of steps and heat.
pub(super) fn of_scenario(scenario: &Scenario) -> Vec<String> {
    let lengths = &scenario.steps.lengths;
    let steps = [
        format!("base step {}", people(lengths.base, "s")),
        format!("finest step {}", people(lengths.base * 0.5f64.powi(lengths.finest as i32), "s")),
        format!("lag of temperatures {}", people(scenario.steps.heat_error, "K")),
    ];
    let coupling = scenario.steps.coupling;
    let coupling =
        coupling.is_finite().then(|| format!("longest coupling interval {}", people(coupling, "s")));
    let steps: Vec<String> = steps.into_iter().chain(coupling).collect();
    let held = scenario.thermal.boundaries.iter().map(|b| {
        let at = people(b.temperature, "degC");
        format!("The thermal boundary {} is held at {at}, whatever heat flows into it.", b.name.name)
    });
    let names = scenario.thermal.input_names().into_iter().zip(scenario.thermal.plates());
    let followed: Vec<&str> = names.filter_map(|(name, plate)| plate.map(|_| name)).collect();
    let followed = (!followed.is_empty()).then(|| {
        let dies = followed.join(", ");
        format!("Conductivity and heat capacity follow the temperature of the die: {dies}. Beneath it heat flows linearly.")
    });
    std::iter::once(format!("Steps: {}.", steps.join(", "))).chain(held).chain(followed).collect()
}

/// How far it came, by which method, and what is assumed of steps and heat.
pub(super) fn conditions(a: &Account, facts: &Facts) -> Vec<String> {
    let end = people_digits(facts.end, "s", 4);
    let ended = match a.outcome {
        Outcome::Done => end,
        Outcome::Interrupted | Outcome::Failed(_) => {
            format!("{} of {end}", people_digits(a.reached, "s", 4))
        }
    };
    let mut all = vec![
        format!("Simulated time: {ended}; method: {}.", a.method),
        "The circuit is solved with steps from a short list: a base step, finer steps after every edge and where the error \
         asks."
            .into(),
    ];
    all.push(match a.junctions.is_empty() {
        true => "No die has a heat path: junction temperatures are held.".into(),
        false => "Temperatures of device laws follow the thermal network; a lag of half the error allowed ends a coupling \
                  interval."
            .into(),
    });
    all
}
