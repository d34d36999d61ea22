//! The thermal network.

use super::Resolve;
use crate::scenario::fields::{Fields, Named};
use crate::scenario::meant::{Cells, ChainSpec, ThermalSpec};

impl ThermalSpec {
    /// Names of the heat inputs: chains that are heated, then further inputs.
    pub fn input_names(&self) -> Vec<&str> {
        let chains = self.chains.iter().filter(|c| c.heated).map(|c| c.name.name.as_str());
        chains.chain(self.inputs.iter().map(|i| i.0.name.as_str())).collect()
    }
}

impl Resolve<'_> {
    pub(super) fn thermal(&mut self, f: &Fields) -> ThermalSpec {
        // A value that was refused (and told) leaves the name, which others may ask for.
        let two = |t: &Fields, key: &str| Some((t.named("name")?, t.number(key).unwrap_or(f64::NAN)));
        let spec = ThermalSpec {
            boundaries: f.tables("boundary").iter().filter_map(|t| two(t, "temperature")).collect(),
            nodes: f.tables("node").iter().filter_map(|t| two(t, "capacitance")).collect(),
            chains: f.tables("chain").iter().filter_map(|t| self.chain(t)).collect(),
            links: f
                .tables("link")
                .iter()
                .filter_map(|t| Some((t.named("from")?, t.named("to")?, t.number("resistance")?)))
                .collect(),
            inputs: f
                .tables("input")
                .iter()
                .filter_map(|t| Some((t.named("name")?, t.named("node")?)))
                .collect(),
        };
        let places: Vec<&Named> = spec
            .boundaries
            .iter()
            .chain(&spec.nodes)
            .map(|b| &b.0)
            .chain(spec.chains.iter().map(|c| &c.name))
            .collect();
        self.unique("thermal nodes, chains or boundaries", places.iter().copied());
        let chains = spec.chains.iter().filter(|c| c.heated).map(|c| &c.name);
        self.unique("heat inputs", chains.chain(spec.inputs.iter().map(|i| &i.0)));
        let names: Vec<&str> = places.iter().map(|n| n.name.as_str()).collect();
        let ends = spec.chains.iter().map(|c| (&c.end, format!("thermal.chain.{}.end", c.name.name)));
        let links = spec.links.iter().flat_map(|l| [(&l.0, "thermal.link.from"), (&l.1, "thermal.link.to")]);
        let links = links.map(|(n, k)| (n, k.to_string()));
        let inputs = spec.inputs.iter().map(|i| (&i.1, format!("thermal.input.{}.node", i.0.name)));
        let asked: Vec<(&Named, String)> = ends.chain(links).chain(inputs).collect();
        for (named, key) in asked {
            if !names.contains(&named.name.as_str()) {
                self.unknown(named, key, "thermal node, chain or boundary", names.iter().copied());
            }
        }
        for (name, celsius) in &spec.boundaries {
            if *celsius <= -273.15 {
                let found = format!("{celsius} °C is not above absolute zero");
                self.tell(
                    &name.place,
                    format!("thermal.boundary.{}", name.name),
                    found,
                    "above -273.15 degC",
                );
            }
        }
        if f.has("boundary") && spec.boundaries.is_empty() && f.tables("boundary").is_empty() {
            self.tell(
                f.place_of("boundary"),
                "thermal.boundary",
                "no fixed temperature",
                "one [[thermal.boundary]]",
            );
        }
        spec
    }

    fn chain(&mut self, f: &Fields) -> Option<ChainSpec> {
        let resistance = f.numbers("resistance");
        let (key, other) = match f.kind.as_str() {
            "cauer" => ("capacitance", f.numbers("capacitance")),
            _ => ("time-constant", f.numbers("time-constant")),
        };
        // A chain with wrong cells still has its name and end, which others may ask for.
        let both = f.has(key) && f.has("resistance");
        if both && (resistance.len() != other.len() || resistance.is_empty()) {
            let found = format!("{} resistances and {} under `{key}`", resistance.len(), other.len());
            self.tell(f.place_of(key), f.key(key), found, "one of each per cell, at least one cell");
        }
        let pairs = |a: &[f64], b: &[f64]| a.iter().copied().zip(b.iter().copied()).collect();
        let cells = match f.kind.as_str() {
            "cauer" => Cells::Cauer(pairs(other, resistance)),
            _ => Cells::Foster(pairs(resistance, other)),
        };
        let heated = f.flag("heated").unwrap_or(true);
        Some(ChainSpec { name: f.named("name")?, end: f.named("end")?, heated, cells })
    }
}
