//! The thermal network.

use std::collections::BTreeSet;

use joulestep_engine::thermal::column::Plate;
use joulestep_models::package::Package;

use super::Resolve;
use super::own_heat::Owners;
use super::parts::{NamedFiles, tables};
use crate::diagnostic::{Diagnostic, Sources};
use crate::input::keys::fields::{Fields, Named};
use crate::input::keys::include::Open;
use crate::input::keys::raw::RawTable;
use crate::input::package::load;
use crate::input::scenario::resolved::{Cells, ChainSpec, HeatPackageSpec, ThermalSpec};

/// The packages that a scenario asks for.
pub(super) type Packages = NamedFiles<Package>;

impl Packages {
    /// Reads every package that is named.
    pub(super) fn of_root(
        root: &RawTable,
        sources: &mut Sources,
        open: Open<'_>,
        diagnostics: &mut Vec<Diagnostic>,
    ) -> Self {
        let named = tables(root, &["thermal", "package"]).into_iter().filter_map(|t| t.get("package"));
        let named = named.map(|node| (node, "thermal.package.package".to_string())).collect();
        Self::load(named, |name, at| load(name, at, sources, open, diagnostics))
    }
}

impl ThermalSpec {
    /// Names of the heat inputs: chains that are heated, then further inputs, then the dies of packages.
    pub fn input_names(&self) -> Vec<&str> {
        let chains = self.chains.iter().filter(|c| c.heated).map(|c| c.name.name.as_str());
        let inputs = self.inputs.iter().map(|i| i.0.name.as_str());
        let dies = self.packages.iter().flat_map(|s| s.inputs.iter().map(String::as_str));
        chains.chain(inputs).chain(dies).collect()
    }

    /// The dies whose properties follow their temperature, in the order of the heat inputs.
    pub fn plates(&self) -> Vec<Option<Plate>> {
        let chains = self.chains.iter().filter(|c| c.heated).map(|c| c.plate.clone());
        let inputs = self.inputs.iter().map(|_| None);
        chains.chain(inputs).chain(self.packages.iter().flat_map(|p| p.package.plates())).collect()
    }
}

impl Resolve<'_> {
    pub(super) fn thermal(&mut self, f: &Fields, packages: &Packages, owners: &Owners<'_>) -> ThermalSpec {
        // A value that was refused (and reported) leaves the name, which others may ask for.
        let two = |t: &Fields, key: &str| Some((t.named("name")?, t.number(key).unwrap_or(f64::NAN)));
        let mut spec = ThermalSpec {
            packages: f.tables("package").iter().filter_map(|t| self.package(t, packages)).collect(),
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
        self.impedances(f, owners, &mut spec);
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
        self.unique("packages", spec.packages.iter().map(|s| &s.name));
        self.packages(&spec);
        let names: Vec<&str> = places.iter().map(|n| n.name.as_str()).collect();
        let known: BTreeSet<&str> = names.iter().copied().collect();
        let ends = spec.chains.iter().map(|c| (&c.end, format!("thermal.chain.{}.end", c.name.name)));
        let links = spec.links.iter().flat_map(|l| [(&l.0, "thermal.link.from"), (&l.1, "thermal.link.to")]);
        let links = links.map(|(n, k)| (n, k.to_string()));
        let inputs = spec.inputs.iter().map(|i| (&i.1, format!("thermal.input.{}.node", i.0.name)));
        let requested: Vec<(&Named, String)> = ends.chain(links).chain(inputs).collect();
        for (named, key) in requested {
            if !known.contains(named.name.as_str()) {
                self.unknown(named, key, "thermal node, chain or boundary", names.iter().copied());
            }
        }
        for (name, celsius) in &spec.boundaries {
            if *celsius <= -273.15 {
                let found = format!("{celsius} °C is not above absolute zero");
                self.report(
                    &name.span,
                    format!("thermal.boundary.{}", name.name),
                    found,
                    "above -273.15 degC",
                );
            }
        }
        if f.tables("boundary").is_empty() && f.tables("package").is_empty() {
            self.report(
                f.span_of("boundary"),
                "thermal.boundary",
                "no fixed temperature",
                "one [[thermal.boundary]], or a [[thermal.package]]",
            );
        }
        spec
    }

    fn package(&mut self, f: &Fields, packages: &Packages) -> Option<HeatPackageSpec> {
        let name = f.named("name")?;
        let temperature = f.number("temperature");
        if temperature.is_some_and(|t| t <= -273.15) {
            let found = format!("{} °C is not above absolute zero", temperature.unwrap_or_default());
            self.diagnostics.push(f.wrong("temperature", found, "above -273.15 degC"));
        }
        let requested = f.named("package")?;
        // One that could not be read was reported where it was opened.
        let package = packages.of(requested.span.file, &requested.name)?.clone();
        let dies = package.dies();
        let inputs = dies.iter().map(|die| format!("{}-{}", name.name, package.layers[*die].name)).collect();
        Some(HeatPackageSpec { name, package, inputs, temperature })
    }

    /// Names that packages give to inputs and boundaries are nobody else's.
    fn packages(&mut self, spec: &ThermalSpec) {
        for package in &spec.packages {
            let places =
                package.package.cooling.iter().map(|c| format!("{}-{}", package.name.name, c.boundary));
            let mut given: Vec<String> = package.inputs.iter().cloned().chain(places).collect();
            given.sort();
            given.dedup();
            let others = spec.boundaries.iter().chain(&spec.nodes).map(|n| n.0.name.as_str());
            let others = others.chain(spec.chains.iter().map(|c| c.name.name.as_str()));
            let others = others.chain(spec.inputs.iter().map(|i| i.0.name.as_str()));
            if let Some(name) = others.into_iter().find(|o| given.iter().any(|g| g == o)) {
                let found = format!("`{name}` is already a name of package `{}`", package.name.name);
                let key = format!("thermal.package.{}.name", package.name.name);
                self.report(&package.name.span, key, found, "names that differ");
            }
        }
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
            self.diagnostics.push(f.wrong(key, found, "one of each per cell, at least one cell"));
        }
        let pairs = |a: &[f64], b: &[f64]| a.iter().copied().zip(b.iter().copied()).collect();
        let cells = match f.kind.as_str() {
            "cauer" => Cells::Cauer(pairs(other, resistance)),
            _ => Cells::Foster(pairs(resistance, other)),
        };
        let heated = f.flag("heated").unwrap_or(true);
        Some(ChainSpec { name: f.named("name")?, end: f.named("end")?, heated, cells, plate: None })
    }
}
