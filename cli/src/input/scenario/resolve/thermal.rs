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
use crate::input::scenario::resolved::{ComponentSpec, HeatPackageSpec, ThermalSpec};
use crate::input::scenario::sections::Root;
use crate::input::scenario::sections::heat::{
    Boundary, Cauer, Cells, Chain, Foster, HeatNode, HeatPackage, Input, Link, Thermal,
};

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
        let all = tables(root, &[Root::thermal, Thermal::package]);
        let named = all.into_iter().filter_map(|t| t.get(HeatPackage::package.name));
        let named = named.map(|node| (node, "thermal.package.package".to_string())).collect();
        Self::load(named, |name, at| load(name, at, sources, open, diagnostics))
    }
}

impl ThermalSpec {
    /// Names of the heat inputs: chains that are heated, then further inputs, then the dies of packages.
    pub fn input_names(&self) -> Vec<&str> {
        let chains = self.chains.iter().filter(|c| c.heated).map(|c| c.name.name.as_str());
        let inputs = self.inputs.iter().map(|i| i.name.name.as_str());
        let dies = self.packages.iter().flat_map(|s| s.inputs.iter().map(String::as_str));
        chains.chain(inputs).chain(dies).collect()
    }

    /// The dies whose properties follow their temperature, in the order of the heat inputs.
    pub fn plates(&self) -> Vec<Option<Plate>> {
        let plate = |chain: &Chain| self.plates.iter().find(|p| p.0 == chain.name.name).map(|p| p.1.clone());
        let chains = self.chains.iter().filter(|c| c.heated).map(plate);
        let inputs = self.inputs.iter().map(|_| None);
        chains.chain(inputs).chain(self.packages.iter().flat_map(|p| p.package.plates())).collect()
    }
}

impl Resolve<'_> {
    pub(super) fn thermal(
        &mut self,
        f: &Fields,
        packages: &Packages,
        owners: &Owners<'_>,
        components: &mut [Option<ComponentSpec>],
    ) -> Option<ThermalSpec> {
        let tables = Thermal::read(f)?;
        let mut spec = ThermalSpec {
            packages: tables.package.iter().filter_map(|t| self.package(t, packages)).collect(),
            boundaries: tables.boundary.iter().filter_map(Boundary::read).collect(),
            nodes: tables.node.iter().filter_map(HeatNode::read).collect(),
            chains: tables.chain.iter().filter_map(|t| self.chain(t)).collect(),
            links: tables.link.iter().filter_map(Link::read).collect(),
            inputs: tables.input.iter().filter_map(Input::read).collect(),
            plates: Vec::new(),
        };
        self.impedances(&tables.part, owners, &mut spec);
        let boundaries = spec.boundaries.iter().map(|b| &b.name);
        let places = boundaries.chain(spec.nodes.iter().map(|n| &n.name));
        let places: Vec<&Named> = places.chain(spec.chains.iter().map(|c| &c.name)).collect();
        self.unique("thermal nodes, chains or boundaries", places.iter().copied());
        let chains = spec.chains.iter().filter(|c| c.heated).map(|c| &c.name);
        self.unique("heat inputs", chains.chain(spec.inputs.iter().map(|i| &i.name)));
        self.unique("packages", spec.packages.iter().map(|s| &s.name));
        self.packages(&spec);
        let names: Vec<&str> = places.iter().map(|n| n.name.as_str()).collect();
        let known: BTreeSet<&str> = names.iter().copied().collect();
        let ends = spec.chains.iter().map(|c| (&c.end, format!("thermal.chain.{}.end", c.name.name)));
        let links =
            spec.links.iter().flat_map(|l| [(&l.from, "thermal.link.from"), (&l.to, "thermal.link.to")]);
        let links = links.map(|(n, k)| (n, k.to_string()));
        let inputs = spec.inputs.iter().map(|i| (&i.node, format!("thermal.input.{}.node", i.name.name)));
        let requested: Vec<(&Named, String)> = ends.chain(links).chain(inputs).collect();
        for (named, key) in requested {
            if !known.contains(named.name.as_str()) {
                self.unknown(named, key, "thermal node, chain or boundary", names.iter().copied());
            }
        }
        for Boundary { name, temperature: celsius } in &spec.boundaries {
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
        if tables.boundary.is_empty() && tables.package.is_empty() {
            self.report(
                f.span_of(Thermal::boundary),
                "thermal.boundary",
                "no fixed temperature",
                "one [[thermal.boundary]], or a [[thermal.package]]",
            );
        }
        self.own_heat(&tables, &spec, components);
        Some(spec)
    }

    fn package(&mut self, f: &Fields, packages: &Packages) -> Option<HeatPackageSpec> {
        let HeatPackage { name, package: requested, temperature, .. } = HeatPackage::read(f)?;
        if let Some(celsius) = temperature.filter(|t| *t <= -273.15) {
            let found = format!("{celsius} °C is not above absolute zero");
            self.wrong(f, HeatPackage::temperature, found, "above -273.15 degC");
        }
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
            let others = spec.boundaries.iter().map(|b| &b.name).chain(spec.nodes.iter().map(|n| &n.name));
            let others = others.chain(spec.chains.iter().map(|c| &c.name));
            let mut others = others.chain(spec.inputs.iter().map(|i| &i.name));
            if let Some(Named { name, .. }) = others.find(|o| given.contains(&o.name)) {
                let found = format!("`{name}` is already a name of package `{}`", package.name.name);
                let key = format!("thermal.package.{}.name", package.name.name);
                self.report(&package.name.span, key, found, "names that differ");
            }
        }
    }

    fn chain(&mut self, f: &Fields) -> Option<Chain> {
        let chain = Chain::read(f)?;
        let (key, of, resistance, other) = match &chain.kind {
            Cells::Cauer(c) => {
                (Cauer::capacitance, Cauer::resistance, c.resistance.len(), c.capacitance.len())
            }
            Cells::Foster(c) => {
                (Foster::time_constant, Foster::resistance, c.resistance.len(), c.time_constant.len())
            }
        };
        if f.has(key) && f.has(of) && (resistance != other || resistance == 0) {
            let found = format!("{resistance} resistances and {other} under `{}`", key.name);
            self.wrong(f, key, found, "one of each per cell, at least one cell");
        }
        Some(chain)
    }
}
