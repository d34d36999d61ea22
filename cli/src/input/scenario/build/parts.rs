//! Components into the circuit, and their dies to heat inputs.

use joulestep_engine::circuit::graph::HeatId;
use joulestep_models::model::Built;
use joulestep_models::part::Ratings;

use super::Build;
use crate::diagnostic::{Diagnostic, nearest};
use crate::input::keys::conform::one_of;

/// A component as it was built.
#[derive(Clone, Debug)]
pub struct Placed {
    /// Its name.
    pub name: String,
    /// Its kind.
    pub kind: &'static str,
    /// What it became.
    pub built: Built,
    /// Heat input of each die, in the order of `built.dies`.
    pub heat: Vec<Option<HeatId>>,
    /// Largest current that the part's curves cover, A; infinite where there are none.
    pub known_current: f64,
    /// Ratings of the part.
    pub ratings: Ratings,
}

impl Placed {
    /// Largest current that the part's leads carry, A; infinite where it states none.
    pub fn lead_current(&self) -> f64 {
        self.ratings.lead_limit(0.0)
    }
}

impl Build<'_> {
    pub(super) fn components(&mut self) {
        let scenario = self.scenario;
        for spec in &scenario.components {
            let nodes: Vec<_> = spec.nodes.iter().map(|n| self.circuit.node(&n.name)).collect();
            match spec.entry.place(&mut self.circuit, &spec.name.name, &nodes, &spec.values) {
                Ok(built) => self.keep(Placed {
                    name: spec.name.name.clone(),
                    kind: spec.entry.kind,
                    heat: vec![None; built.dies.len()],
                    known_current: spec.known_current,
                    ratings: spec.ratings.clone(),
                    built,
                }),
                Err(error) => self.error(&spec.name, "component", &error),
            }
        }
    }

    /// Ties dies to heat inputs.
    pub(super) fn heat(&mut self) {
        let scenario = self.scenario;
        for spec in &scenario.components {
            let Some(&k) = self.numbers.get(&spec.name.name) else { continue };
            let dies: Vec<&str> = self.placed[k].built.dies.iter().map(|d| d.0).collect();
            for (die, input) in &spec.heat {
                let key = format!("component.{}.heat", spec.name.name);
                let at = match die {
                    Some(die) => dies.iter().position(|d| *d == die.name),
                    None if dies.len() == 1 => Some(0),
                    None => None,
                };
                let Some(at) = at else {
                    let (span, found) = match die {
                        Some(die) => {
                            (&die.span, format!("kind `{}` has no die `{}`", spec.entry.kind, die.name))
                        }
                        None => (&input.span, format!("kind `{}` has {} dies", spec.entry.kind, dies.len())),
                    };
                    let expected = match dies.len() {
                        0 => "no `heat`: this kind has no die".to_string(),
                        1 => "a heat input's name".to_string(),
                        _ => format!("a table with {}", one_of(&dies).replace(" or ", " and ")),
                    };
                    let d = Diagnostic::new(span, key, found, expected);
                    let near = die.as_ref().and_then(|d| nearest(&d.name, dies.iter().copied()));
                    self.diagnostics.push(d.suggest(near));
                    continue;
                };
                // An input that does not exist is reported where the scenario is resolved.
                let Some(&input) = self.heat_inputs.get(&input.name) else { continue };
                self.placed[k].heat[at] = Some(input);
                for &component in &self.placed[k].built.dies[at].1 {
                    self.circuit.heats(component, input);
                }
            }
        }
    }
}
