//! The thermal network.

use std::sync::Arc;

use joulestep_engine::thermal::convert::foster_to_cauer;
use joulestep_engine::thermal::modal::Modal;
use joulestep_engine::thermal::network::{CauerCell, FosterTerm, NetworkBuilder};
use joulestep_engine::thermal::run::Thermal;

use super::Build;
use crate::scenario::meant::Cells;

impl Build<'_> {
    pub(super) fn thermal(&mut self) -> Option<Thermal<f64>> {
        let spec = &self.scenario.thermal;
        if spec.boundaries.is_empty() || spec.input_names().is_empty() {
            return None;
        }
        let mut network = NetworkBuilder::new();
        for (name, celsius) in &spec.boundaries {
            network = network.boundary(&name.name, *celsius);
        }
        for (name, capacitance) in &spec.nodes {
            network = network.node(&name.name, *capacitance);
        }
        for (from, to, resistance) in &spec.links {
            network = network.resistance(&from.name, &to.name, *resistance);
        }
        // Inputs in the order of `input_names`: chains first.
        for chain in &spec.chains {
            let cells = match &chain.cells {
                Cells::Cauer(cells) => Ok(cells
                    .iter()
                    .map(|&(capacitance, resistance)| CauerCell { capacitance, resistance })
                    .collect::<Vec<_>>()),
                Cells::Foster(terms) => {
                    let terms: Vec<_> = terms
                        .iter()
                        .map(|&(resistance, time_constant)| FosterTerm { resistance, time_constant })
                        .collect();
                    foster_to_cauer(&terms)
                }
            };
            let cells = match cells {
                Ok(cells) => cells,
                Err(trouble) => {
                    let key = format!("thermal.chain.{}", chain.name.name);
                    self.tell(&chain.name.place, key, trouble.to_string(), "");
                    continue;
                }
            };
            let (name, end) = (&chain.name.name, &chain.end.name);
            network = match chain.heated {
                true => network.ladder(name, &cells, end),
                false => network.chain(name, &cells, end),
            };
        }
        for (name, node) in &spec.inputs {
            network = network.input(&name.name, &node.name);
        }
        match network.build().and_then(|n| Modal::<f64>::new(&n)) {
            Ok(modal) => Some(Thermal::new(Arc::new(modal))),
            Err(trouble) => {
                let place = spec.boundaries[0].0.place.clone();
                self.tell(&place, "thermal", trouble.to_string(), "");
                None
            }
        }
    }
}
