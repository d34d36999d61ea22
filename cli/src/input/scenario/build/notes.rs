//! What deserves a word before a run: `check` and `run` say the same.

use std::collections::BTreeMap;

use joulestep_engine::circuit::index::of_index_two;
use joulestep_engine::circuit::topology::LooseEnd;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::step::method::Method;
use joulestep_engine::units::{people, people_digits};
use joulestep_models::package::contradictions;
use serde::Serialize;

use super::Build;
use crate::input::scenario::resolved::{ComponentSpec, Task};

/// Steps from which on a run is noted as long. At about a million steps a second: a quarter of an hour and more.
const MANY: f64 = 1e9;
/// Edges per second that no drive of a power switch makes: one every nanosecond.
const RAPID: f64 = 1e9;
/// Steps of a period of a sine under the default bounds, at least (an RC low-pass takes 26).
const STEPS_OF_A_SINE: f64 = 16.0;
/// Corners of a course that are looked at to tell how many there will be.
const CORNERS: usize = 64;

/// Something of note.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Note {
    /// Its name, for a waiver: `node.gat`.
    pub name: String,
    /// In words.
    pub text: String,
    /// Whether it makes the numbers doubtful, so that the verdict cannot be "passes".
    pub doubt: bool,
    /// Why the user waived it.
    pub waived: Option<String>,
}

fn note(name: String, text: String, doubt: bool) -> Note {
    Note { name, text, doubt, waived: None }
}

impl Build<'_> {
    /// Everything of note but what the graph shows.
    pub(super) fn notes(&self, loose_ends: &[LooseEnd], heated: bool) -> Vec<Note> {
        let loose = |l: &LooseEnd| {
            let text = format!("only one pin touches node `{}` (component `{}`)", l.node, l.component);
            note(format!("node.{}", l.node), text, true)
        };
        let mut all: Vec<Note> = loose_ends.iter().map(loose).collect();
        self.gate_levels(&mut all);
        self.dies(&mut all);
        self.work(heated, &mut all);
        self.method(&mut all);
        all
    }

    /// A stated method that leaves the circuit to another one.
    fn method(&self, all: &mut Vec<Note>) {
        let stated = self.scenario.steps.method.as_deref().and_then(Method::named);
        let Some(method) = stated.filter(|method| method.rosenbrock.is_some()) else { return };
        if let Some(source) = of_index_two(&self.circuit) {
            let text = format!(
                "`{source}` has a capacitance across it or an inductance in series with it: its course has to be derived in time, which {} does badly; {} makes the steps",
                method.name,
                method.implicit().name
            );
            all.push(note("method".into(), text, false));
        }
    }

    /// Drives that go beyond what the gate allows.
    fn gate_levels(&self, all: &mut Vec<Note>) {
        let mut gated: BTreeMap<&str, Vec<&ComponentSpec>> = BTreeMap::new();
        for spec in &self.scenario.components {
            let pin = spec.entry.pins.iter().position(|p| *p == "gate");
            if let Some(node) = pin.and_then(|k| spec.nodes.get(k)) {
                gated.entry(&node.name).or_default().push(spec);
            }
        }
        for drive in &self.scenario.drives {
            let gates = [&drive.gate].into_iter().chain(&drive.complement_gate);
            for spec in gates.flat_map(|gate| gated.get(gate.name.as_str()).into_iter().flatten()) {
                let Some(placed) = self.find_placed(&spec.name.name) else { continue };
                let limit = placed.built.limits.iter().find(|l| l.0 == "gate");
                let Some((_, _, lower, upper)) = limit else { continue };
                let beyond = |level: f64| level > *upper || level < *lower;
                if let Some(level) = [drive.on, drive.off].into_iter().find(|l| beyond(*l)) {
                    let text = format!(
                        "drive `{}` drives the gate of `{}` to {}, which allows {} to {}",
                        drive.name.name,
                        spec.name.name,
                        people(level, "V"),
                        people(*lower, "V"),
                        people(*upper, "V")
                    );
                    all.push(note(format!("drive.{}", drive.name.name), text, false));
                }
            }
        }
    }

    /// Dies that a part and the package it heats describe differently: temperatures are then those of another die.
    fn dies(&self, all: &mut Vec<Note>) {
        let inputs = self.scenario.thermal.input_names();
        let none = Vec::new();
        let specs: BTreeMap<&str, &ComponentSpec> =
            self.scenario.components.iter().map(|c| (c.name.name.as_str(), c)).collect();
        for placed in &self.placed {
            let component = specs.get(placed.name.as_str());
            let arranged = || {
                let parts = &self.scenario.arrangement.as_ref()?.parts;
                parts.get(&placed.name).or_else(|| parts.get("")).map(|p| &p.dies)
            };
            let dies = component.map(|c| &c.dies).or_else(arranged).unwrap_or(&none);
            for ((die, _), heat) in placed.built.dies.iter().zip(&placed.heat) {
                let Some(die) = dies.iter().find(|d| d.name == *die) else { continue };
                let Some(input) = heat.and_then(|h| inputs.get(h.0 as usize)) else { continue };
                for package in &self.scenario.thermal.packages {
                    let Some(at) = package.inputs.iter().position(|i| i == input) else { continue };
                    let layer = &package.package.layers[package.package.dies()[at]];
                    let report = contradictions(die, layer);
                    if !report.is_empty() {
                        let text = format!(
                            "`{}` and its package `{}` mean different dies: {}",
                            placed.name,
                            package.name.name,
                            report.join("; ")
                        );
                        all.push(note(format!("die.{}.{}", placed.name, die.name), text, true));
                    }
                }
            }
        }
    }

    /// How much work the run will be, where it is implausible.
    fn work(&self, heated: bool, all: &mut Vec<Note>) {
        let steps = &self.scenario.steps;
        let (end, base, coupling) = (steps.end, steps.lengths.base, steps.coupling);
        let finest = base * 0.5f64.powi(steps.lengths.finest as i32);
        // A window of fine steps relaxes over two steps of each length, until the next edge.
        let rate = self.edges_per_second(end);
        let room = if rate > 0.0 { (1.0 / (rate * finest)).log2() } else { 0.0 };
        let window = 2.0 * (room.clamp(0.0, f64::from(steps.lengths.finest)) + 1.0);
        let edges = end * rate;
        let expected = end * (1.0 / base).max(STEPS_OF_A_SINE * self.sines_per_second()) + edges * window;
        let fastest = rate.max(self.sines_per_second());
        if expected > MANY || fastest > RAPID {
            let text = format!(
                "about {expected:.1e} steps are to be expected ({} of simulated time at base steps of {}, {edges:.1e} edges, {:.1e} periods of sources): is this meant?",
                people_digits(end, "s", 4),
                people_digits(base, "s", 4),
                end * self.sines_per_second()
            );
            all.push(note("work".into(), text, false));
        }
        if heated && coupling < finest {
            let text = format!(
                "heat is to be coupled every {}, which is less than the finest step of {}: about {:.1e} intervals would be that short, and it is coupled at the end of every step",
                people_digits(coupling, "s", 4),
                people_digits(finest, "s", 4),
                end / coupling
            );
            all.push(note("coupling".into(), text, false));
        }
    }

    /// Periods of the fastest sine, 1/s.
    fn sines_per_second(&self) -> f64 {
        let frequency =
            |wave: &Wave<f64>| if let Wave::Sine { frequency, .. } = wave { *frequency } else { 0.0 };
        self.circuit.waves.iter().map(frequency).fold(0.0, f64::max)
    }

    /// Edges of modulators and corners of courses, 1/s.
    fn edges_per_second(&self, end: f64) -> f64 {
        let modulated = self.scenario.controllers.iter().map(|c| match &c.kind {
            Task::Pwm(pwm) => 2.0 * pwm.frequency,
            Task::Hysteretic(_) => 0.0,
        });
        let arrangement = self.scenario.arrangement.iter().map(|a| {
            let of = |key: &str| a.values.maybe(key).unwrap_or(0.0);
            2.0 * of("frequency").max(of("switching-frequency"))
        });
        let courses = self.circuit.waves.iter().map(|wave| {
            let (mut t, mut count) = (0.0, 0);
            while count < CORNERS {
                match wave.next_corner(t).filter(|next| *next > t && *next <= end) {
                    Some(next) => t = next,
                    None => return f64::from(count as u32) / end,
                }
                count += 1;
            }
            f64::from(count as u32) / t
        });
        modulated.chain(arrangement).chain(courses).sum()
    }
}
