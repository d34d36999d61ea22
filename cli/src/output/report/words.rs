//! What every report says.

use super::{Block, Section};
use crate::diagnostic::Sources;

/// What must be said beside every number.
pub(crate) const CAUTIONS: [(&str, &str); 5] = [
    (
        "No proof of safety",
        "A simulation is no proof of safety. Its numbers are as good as the models and parameters behind them; measure \
         before you rely on them.",
    ),
    (
        "High voltage",
        "Voltages above 60 V DC can kill. Isolate, lock, verify that it is dead, and earth before touching.",
    ),
    (
        "Stored energy",
        "A charged capacitor bank stays dangerous after the source is disconnected: discharge it and verify. An inductor \
         forces its current through whatever opens it; the voltage that this takes appears across the opening.",
    ),
    (
        "Fault current",
        "Fault currents melt conductors, throw arcs and burst parts. A switch that opens by semiconductor alone isolates \
         nothing: leakage and a failed-short part keep the load live.",
    ),
    (
        "Codes and licences",
        "Protection of people needs devices approved for it, installed by licensed people under the codes that hold at the \
         place (on ships also the rules of the classification society). This report replaces neither.",
    ),
];

/// Assumptions behind every report.
pub(crate) const ASSUMED: [&str; 2] = [
    "Parts and packages behave as their data say, every specimen alike unless tolerances are varied. Those that are shipped \
     with the program are invented.",
    "What the inputs and conditions report here leave out, the computation leaves out: the wiring's inductance, couplings and \
     capacitances of a real layout come on top.",
];

pub(crate) fn cautions() -> Section {
    let terms = CAUTIONS.map(|(a, b)| (a.to_string(), b.to_string())).to_vec();
    Section::new("Cautions", vec![Block::Terms(terms)])
}

/// What the file says of itself.
pub(crate) fn record(facts: &[(String, String)]) -> Section {
    let report: Vec<(String, String)> = facts.iter().filter(|f| !f.1.is_empty()).cloned().collect();
    Section::new("Record", super::study::terms(&report))
}

/// The texts that went in.
pub(crate) fn inputs(inputs: &Sources) -> Section {
    let mut blocks = Vec::new();
    let files = inputs.files.iter().cloned();
    blocks.extend(files.filter(|f| !f.1.trim().is_empty()).map(|(path, text)| {
        let name = path.display().to_string();
        Block::Listing { name: if name.is_empty() { "Input".into() } else { name }, text }
    }));
    if blocks.is_empty() {
        return Section::default();
    }
    blocks.insert(
        0,
        Block::Text(
            "Everything that went in, as it was read. Names of shipped parts lead to their data here.".into(),
        ),
    );
    Section::new("Scenario and part data", blocks)
}
