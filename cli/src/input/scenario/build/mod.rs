//! From the scenario as resolved to what the engine runs: circuit, controllers, thermal network, channels and watches.

mod arrangement;
mod avalanche;
mod control;
mod judge;
mod limit;
mod measured;
mod notes;
mod parts;
mod regulate;
mod repeats;
mod signal;
mod switching;
mod thermal;

use std::collections::{BTreeMap, BTreeSet};

use joulestep_engine::circuit::graph::{Circuit, HeatId, WaveId};
use joulestep_engine::circuit::probe::Channel;
use joulestep_engine::circuit::topology;
use joulestep_engine::control::board::Board;
use joulestep_engine::error::CircuitError;
use joulestep_engine::run::gauge::Gauge;
use joulestep_engine::run::setup::{Piecewise, Setup, Start};
use joulestep_engine::run::switching::SwitchMeter;
use joulestep_engine::step::method::Method;
use joulestep_models::arrangement::builder::CircuitLayout;

use crate::diagnostic::{Diagnostic, Refusal, Span, worded};
use crate::input::keys::fields::Named;
use crate::input::scenario::resolve::set_lines;
use crate::input::scenario::resolved::Scenario;

pub use avalanche::{Absorber, Avalanched, repeating};
pub(crate) use judge::BEYOND;
pub use judge::{Judged, Judging, KnownRange, Origin, Unheated, of_parts, rating};
pub use measured::Measured;
pub use notes::Note;
pub use parts::Placed;
pub use switching::measure;
pub use thermal::Reductions;

/// A scenario ready to run.
#[derive(Debug)]
pub struct Ready {
    /// What the engine needs.
    pub setup: Setup<f64>,
    /// Each component as it was built, in the order of the scenario.
    pub placed: Vec<Placed>,
    /// The arrangement as it was built; its logic has gone into the setup.
    pub layout: CircuitLayout,
    /// What the verdict judges and rests on, with its places among the setup's watches.
    pub judging: Judging,
    /// How many of the watches are recorded signals; they come first.
    pub signals: usize,
    /// Protections that measure what faults let through, in the order of the scenario.
    pub metered: Vec<String>,
    /// Names of the heat inputs, in the order of their numbers.
    pub inputs: Vec<String>,
    /// What was measured, beside the channels.
    pub measured: Vec<Measured>,
    /// Devices of which a run may measure the switching energies ([`measure`]).
    pub switches: Vec<SwitchMeter>,
}

/// Collects what is wrong while the scenario is built.
struct Build<'a> {
    scenario: &'a Scenario,
    reductions: &'a Reductions,
    circuit: Circuit<f64>,
    placed: Vec<Placed>,
    /// Their numbers by name.
    numbers: BTreeMap<String, usize>,
    /// Lines that something sets, and names of the heat inputs: looked up for every signal.
    lines: BTreeSet<String>,
    heat_inputs: BTreeMap<String, HeatId>,
    layout: CircuitLayout,
    /// Protections that measure what faults let through.
    metered: Vec<String>,
    /// Protections among the logic.
    protections: Vec<limit::KnownProtection>,
    /// What limits on events need.
    gauges: Vec<Gauge>,
    /// Courses of the set-points, by controller, with their units.
    set_points: BTreeMap<String, (WaveId, &'static str)>,
    diagnostics: Vec<Diagnostic>,
}

impl Build<'_> {
    fn report(
        &mut self,
        span: &Span,
        key: impl Into<String>,
        found: impl Into<String>,
        expected: impl Into<String>,
    ) {
        self.diagnostics.push(Diagnostic::new(span, key, found, expected));
    }

    /// Keeps a component that was built.
    fn keep(&mut self, placed: Placed) {
        self.numbers.entry(placed.name.clone()).or_insert(self.placed.len());
        self.placed.push(placed);
    }

    /// The component of a name.
    fn find_placed(&self, name: &str) -> Option<&Placed> {
        self.numbers.get(name).map(|&k| &self.placed[k])
    }

    /// An error of a named piece.
    fn error(&mut self, named: &Named, section: &str, error: &CircuitError) {
        let (key, found) = match error {
            CircuitError::BadValue { what, .. } => (format!("{section}.{}", named.name), what.clone()),
            other => (format!("{section}.{}", named.name), other.to_string()),
        };
        self.report(&named.span, key, found, "");
    }
}

/// Builds a scenario.
///
/// # Errors
/// Everything that is wrong: signals that do not exist, nodes that float, loops of ideal sources, values that a
/// model refuses.
pub fn build(scenario: &Scenario) -> Result<Ready, Refusal> {
    build_with(scenario, &Reductions::default())
}

/// Builds a scenario with packages that may have been solved before.
///
/// # Errors
/// As [`build`].
pub fn build_with(scenario: &Scenario, reductions: &Reductions) -> Result<Ready, Refusal> {
    let (circuit, layout) = (Circuit::new(), CircuitLayout::default());
    let mut build = Build {
        scenario,
        reductions,
        circuit,
        placed: Vec::new(),
        numbers: BTreeMap::new(),
        lines: set_lines(scenario),
        heat_inputs: heat_inputs(scenario),
        layout,
        metered: Vec::new(),
        protections: Vec::new(),
        gauges: Vec::new(),
        set_points: BTreeMap::new(),
        diagnostics: Vec::new(),
    };
    build.arrangement();
    build.components();
    let gates = build.gates();
    build.repeats();
    let thermal = build.thermal();
    build.heat();
    // A circuit that lacks pieces would float where it does not.
    if !build.diagnostics.is_empty() {
        return Err(refuse(build));
    }
    let operating_point = scenario.steps.operating_point;
    let findings = topology::examine(&build.circuit, operating_point);
    for error in &findings.errors {
        build.topology(error);
    }
    build.set_points();
    let mut board = Board::new(&build.circuit);
    build.begin_set_points(&mut board);
    let controllers = build.controllers(gates, &mut board);
    build.protections = limit::protections(&controllers);
    let mut channels = build.channels(&mut board);
    let measured = build.measured(&mut channels, &mut board);
    let (watches, mut judging, signals) = build.watches(&channels, &mut board);
    judging.notes = build.notes(&findings.loose_ends, thermal.is_some());
    build.waive(&mut judging);
    if !build.diagnostics.is_empty() {
        return Err(refuse(build));
    }
    let switches = build.switches();
    let steps = &scenario.steps;
    let mut setup = Setup::new(build.circuit);
    setup.board = board;
    setup.controllers = controllers;
    setup.thermal = thermal;
    (setup.heat_error, setup.coupling) = (steps.heat_error, steps.coupling);
    setup.start = if operating_point { Start::OperatingPoint } else { Start::Stated };
    setup.examined = Some(setup.start);
    // The key table offers these words only.
    match scenario.steps.method.as_deref() {
        None => {}
        Some("piecewise") => setup.piecewise = Piecewise::Always,
        Some(name) => {
            setup.piecewise = Piecewise::Never;
            setup.method = Method::named(name).unwrap_or(setup.method);
        }
    }
    setup.steps = steps.lengths;
    setup.bounds = steps.bounds;
    setup.channels = channels;
    setup.sample_every = scenario.record.interval;
    setup.watches = watches;
    setup.gauges = build.gauges;
    let inputs = scenario.thermal.input_names().iter().map(ToString::to_string).collect();
    Ok(Ready {
        setup,
        placed: build.placed,
        layout: build.layout,
        judging,
        signals,
        metered: build.metered,
        inputs,
        measured,
        switches,
    })
}

/// Numbers of the heat inputs by name.
fn heat_inputs(scenario: &Scenario) -> BTreeMap<String, HeatId> {
    let names = scenario.thermal.input_names().into_iter().map(str::to_string);
    // The first of a name, were there two.
    names.enumerate().map(|(k, name)| (name, HeatId(k as u32))).rev().collect()
}

fn refuse(build: Build<'_>) -> Refusal {
    Refusal::sorted(build.scenario.sources.clone(), build.diagnostics)
}

impl Build<'_> {
    /// What the graph shows, at the component it names first.
    fn topology(&mut self, error: &CircuitError) {
        let scenario = self.scenario;
        if !worded(&self.diagnostics) {
            let found = error.to_string();
            let (key, expected) = (String::new(), String::new());
            return self.diagnostics.push(Diagnostic { span: None, key, found, expected, suggestion: None });
        }
        let of_node = |node: &str| {
            let mut nodes = scenario.components.iter().flat_map(|c| &c.nodes);
            nodes.find(|n| n.name == node).or_else(|| {
                // A node inside a component: `Q1.middle`.
                let owner = node.split('.').next()?;
                scenario.components.iter().map(|c| &c.name).find(|n| n.name == owner)
            })
        };
        let of_members = |members: &str| {
            let first = members.split([',', '.']).next().unwrap_or(members).trim().to_string();
            scenario.components.iter().map(|c| &c.name).find(|n| n.name == first)
        };
        let (named, expected) = match error {
            CircuitError::FloatingNode { node, .. } => {
                (of_node(node), "a path for direct current to gnd, such as a resistor")
            }
            CircuitError::SourceLoop { members } => {
                (of_members(members), "a resistance or inductance in the loop")
            }
            CircuitError::ResistanceFreeLoop { members } => (of_members(members), ""),
            _ => (None, ""),
        };
        let span = named.map(|n| n.span.clone());
        self.diagnostics.push(Diagnostic {
            span,
            key: String::new(),
            found: error.to_string(),
            expected: expected.into(),
            suggestion: None,
        });
    }

    fn channels(&mut self, board: &mut Board<f64>) -> Vec<Channel> {
        let scenario = self.scenario;
        let mut channels: Vec<Channel> = Vec::new();
        let mut names = BTreeSet::new();
        for signal in &scenario.record.signals {
            let Some(found) = self.signal(signal, board) else { continue };
            if !names.insert(found.name.clone()) {
                self.report(
                    &signal.span,
                    &signal.key,
                    format!("`{}` is recorded twice", found.name),
                    "each once",
                );
                continue;
            }
            channels.push(Channel { name: found.name, long_name: found.long_name, probe: found.probe });
        }
        channels
    }
}
