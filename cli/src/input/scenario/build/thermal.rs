//! The thermal network.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use joulestep_engine::thermal::column::Column;
use joulestep_engine::thermal::compact::Compact;
use joulestep_engine::thermal::convert::foster_to_cauer;
use joulestep_engine::thermal::field::error::FieldError;
use joulestep_engine::thermal::field::mesh::{Mesh, Sizing};
use joulestep_engine::thermal::field::reduce::{Span, reduce};
use joulestep_engine::thermal::field::system::System;
use joulestep_engine::thermal::modal::Modal;
use joulestep_engine::thermal::network::{CauerCell, FosterTerm, NetworkBuilder};
use joulestep_engine::thermal::run::Thermal;
use joulestep_models::package::{Package, Solid, to_ambient};

use super::Build;
use crate::cache;
use crate::input::scenario::resolved::{Cells, HeatPackageSpec};

/// Compact networks of packages that were solved already: many variants of a scenario share them.
#[derive(Debug, Default)]
pub struct Reductions(Mutex<BTreeMap<String, Compact>>);

impl Reductions {
    fn of(&self, package: &Package, solid: &Solid) -> Result<Compact, FieldError> {
        // All of a package is in this text, its numbers to the last digit.
        let key = format!("{package:?}");
        let known = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(network) = known().get(&key) {
            return Ok(network.clone());
        }
        let what = format!("{}: to couple with a circuit", package.title);
        let network = cache::kept(&what, &format!("coupling {key}"), || {
            Mesh::new(&solid.body, &Sizing::coupling(), solid.kelvin)
                .and_then(|mesh| System::new(&solid.body, &mesh, solid.kelvin))
                .and_then(|system| reduce(&system, &Span::default()))
                .map(|reduced| reduced.network)
        })?;
        known().insert(key, network.clone());
        Ok(network)
    }
}

impl Build<'_> {
    /// The network of chains and nodes, and beside it those of the packages; inputs in the order of
    /// `input_names`.
    pub(super) fn thermal(&mut self) -> Option<Thermal<f64>> {
        let scenario = self.scenario;
        let mut all = self.chains();
        for package in &scenario.thermal.packages {
            let Some(next) = self.package(package) else { continue };
            all = Some(all.map_or(next.clone(), |before| before.beside(&next)));
        }
        let modal = Arc::new(all?);
        let (plates, mut columns) = (scenario.thermal.plates(), Vec::new());
        if modal.inputs().len() != plates.len() {
            // A chain or package could not be made, which is reported: inputs are not those of the plates.
            return None;
        }
        for (input, plate) in plates.into_iter().enumerate() {
            let Some(plate) = plate else { continue };
            match Column::new(input, plate, &modal.foster_terms(input, input)) {
                Ok(column) => columns.push(column),
                Err(error) => {
                    let span = scenario.thermal.boundaries.first().map(|b| &b.name.span);
                    let span = span.or(scenario.thermal.packages.first().map(|p| &p.name.span));
                    if let Some(span) = span {
                        self.report(span, "thermal", error.to_string(), "");
                    }
                }
            }
        }
        Some(Thermal::new(Arc::clone(&modal)).with_columns(columns))
    }

    fn package(&mut self, spec: &HeatPackageSpec) -> Option<Modal<f64>> {
        let key = format!("thermal.package.{}", spec.name.name);
        let solid = match to_ambient(&spec.package) {
            Ok(solid) => solid,
            Err(wrong) => {
                for error in wrong {
                    self.report(&spec.name.span, key.clone(), error.found, error.expected);
                }
                return None;
            }
        };
        match self.reductions.of(&spec.package, &solid) {
            Ok(reduced) => {
                let dies: Vec<usize> = (0..solid.dies).collect();
                let mut network = reduced.select(&dies);
                if let Some(t) = spec.temperature {
                    let count = network.boundaries().len();
                    network = network.at(&vec![t; count]);
                }
                let network = network.renamed(|name| format!("{}-{name}", spec.name.name));
                Some(Modal::of_compact(&network))
            }
            Err(error) => {
                self.report(&spec.name.span, key, error.to_string(), "");
                None
            }
        }
    }

    fn chains(&mut self) -> Option<Modal<f64>> {
        let spec = &self.scenario.thermal;
        let heated = spec.chains.iter().any(|c| c.heated) || !spec.inputs.is_empty();
        if spec.boundaries.is_empty() || !heated {
            return None;
        }
        let mut network = NetworkBuilder::new();
        for b in &spec.boundaries {
            network = network.boundary(&b.name.name, b.temperature);
        }
        for n in &spec.nodes {
            network = network.node(&n.name.name, n.capacitance);
        }
        for l in &spec.links {
            network = network.resistance(&l.from.name, &l.to.name, l.resistance);
        }
        // Chains first.
        for chain in &spec.chains {
            let cells = match &chain.kind {
                Cells::Cauer(c) => {
                    let cells = c.capacitance.iter().zip(&c.resistance);
                    Ok(cells
                        .map(|(&capacitance, &resistance)| CauerCell { capacitance, resistance })
                        .collect())
                }
                Cells::Foster(c) => {
                    let terms = c.resistance.iter().zip(&c.time_constant);
                    let term = |(&resistance, &time_constant)| FosterTerm { resistance, time_constant };
                    foster_to_cauer(&terms.map(term).collect::<Vec<_>>())
                }
            };
            let cells: Vec<CauerCell> = match cells {
                Ok(cells) => cells,
                Err(error) => {
                    let key = format!("thermal.chain.{}", chain.name.name);
                    self.report(&chain.name.span, key, error.to_string(), "");
                    continue;
                }
            };
            let (name, end) = (&chain.name.name, &chain.end.name);
            network = match chain.heated {
                true => network.ladder(name, &cells, end),
                false => network.chain(name, &cells, end),
            };
        }
        for i in &spec.inputs {
            network = network.input(&i.name.name, &i.node.name);
        }
        match network.build().and_then(|n| Modal::<f64>::new(&n)) {
            Ok(modal) => Some(modal),
            Err(error) => {
                let span = spec.boundaries[0].name.span.clone();
                self.report(&span, "thermal", error.to_string(), "");
                None
            }
        }
    }
}
