//! What is connected: nodes with heat capacitance, thermal resistances, heat inputs, fixed temperatures.
//!
//! Resistances in K/W, heat capacitances in J/K, temperatures in °C, heat in W.

use std::collections::BTreeMap;

use super::error::ThermalError;

mod foster;

pub use foster::{FosterMatrixTerm, FosterTerm};
pub(super) use foster::{check_term, eigen_of_term};

/// One cell of a Cauer ladder: heat capacitance from this place to the reference, then the resistance to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CauerCell {
    /// Heat capacitance at the hot end, J/K; may be 0.
    pub capacitance: f64,
    /// Resistance towards the next cell, K/W.
    pub resistance: f64,
}

/// A fixed temperature: heatsink, ambient.
#[derive(Debug, Clone, PartialEq)]
pub struct Boundary {
    /// Its name.
    pub name: String,
    /// Its temperature at the start, °C.
    pub temperature: f64,
}

/// A heat network, checked: several heat inputs, one or more fixed temperatures, and what lies between.
///
/// Two forms. *Nodes* (general, and Cauer ladders) are physical: each node has a temperature that can be asked for,
/// and networks may be joined at nodes. *Foster terms* describe what is seen at the heat inputs and nothing else:
/// they have no nodes inside and cannot be continued by further parts; convert to a ladder first
/// ([`super::convert::foster_to_cauer`]).
#[derive(Debug, Clone, PartialEq)]
pub struct Network {
    pub(super) inputs: Vec<String>,
    pub(super) boundaries: Vec<Boundary>,
    pub(super) form: Form,
}

#[derive(Debug, Clone, PartialEq)]
pub(super) enum Form {
    Nodes(Nodes),
    /// Of one boundary; matrices checked, merged by time constant, fastest first.
    Foster(Vec<FosterMatrixTerm>),
}

/// Nodes, resistances between nodes and boundaries, and where heat enters.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Nodes {
    pub names: Vec<String>,
    pub capacitances: Vec<f64>,
    /// Ends (node k, or boundary b as `names.len() + b`) and resistance, K/W.
    pub links: Vec<(usize, usize, f64)>,
    /// Node of each heat input.
    pub inputs: Vec<usize>,
}

impl Network {
    /// One Cauer ladder from one heat input to one boundary, named `boundary`. Cells from the heated end outwards.
    ///
    /// # Errors
    /// As [`NetworkBuilder::build`].
    pub fn cauer(input: &str, cells: &[CauerCell], temperature: f64) -> Result<Self, ThermalError> {
        NetworkBuilder::new().boundary("boundary", temperature).ladder(input, cells, "boundary").build()
    }

    /// Names of the heat inputs, in the order of powers and temperatures.
    pub fn inputs(&self) -> &[String] {
        &self.inputs
    }

    /// The fixed temperatures.
    pub fn boundaries(&self) -> &[Boundary] {
        &self.boundaries
    }

    /// Names of the physical nodes; none for Foster terms.
    pub fn nodes(&self) -> &[String] {
        match &self.form {
            Form::Nodes(nodes) => &nodes.names,
            Form::Foster(_) => &[],
        }
    }
}

/// Collects the parts of a network of nodes; [`NetworkBuilder::build`] checks them. Order does not matter: names
/// may be used before they are given.
#[derive(Debug, Clone, Default)]
pub struct NetworkBuilder {
    boundaries: Vec<Boundary>,
    nodes: Vec<(String, f64)>,
    links: Vec<(String, String, f64)>,
    inputs: Vec<(String, String)>,
    empty_ladders: Vec<String>,
}

impl NetworkBuilder {
    /// Nothing yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// A fixed temperature, °C.
    pub fn boundary(mut self, name: &str, temperature: f64) -> Self {
        self.boundaries.push(Boundary { name: name.into(), temperature });
        self
    }

    /// A node with its heat capacitance, J/K (0: a mere junction of resistances).
    pub fn node(mut self, name: &str, capacitance: f64) -> Self {
        self.nodes.push((name.into(), capacitance));
        self
    }

    /// A thermal resistance, K/W, between two nodes, or a node and a boundary.
    pub fn resistance(mut self, from: &str, to: &str, resistance: f64) -> Self {
        self.links.push((from.into(), to.into(), resistance));
        self
    }

    /// A heat input at a node. Several inputs may share a node.
    pub fn input(mut self, name: &str, node: &str) -> Self {
        self.inputs.push((name.into(), node.into()));
        self
    }

    /// A Cauer chain without heat input that ends at `end` (a node or a boundary). Its nodes are `name`, `name.2`,
    /// `name.3`, …
    pub fn chain(mut self, name: &str, cells: &[CauerCell], end: &str) -> Self {
        let at = |k: usize| if k == 0 { name.to_string() } else { format!("{name}.{}", k + 1) };
        if cells.is_empty() {
            self.empty_ladders.push(name.into());
        }
        for (k, cell) in cells.iter().enumerate() {
            let next = if k + 1 < cells.len() { at(k + 1) } else { end.to_string() };
            self.nodes.push((at(k), cell.capacitance));
            self.links.push((at(k), next, cell.resistance));
        }
        self
    }

    /// A Cauer ladder: as [`Self::chain`], with a heat input of the same name at its first node.
    pub fn ladder(self, name: &str, cells: &[CauerCell], end: &str) -> Self {
        self.chain(name, cells, end).input(name, name)
    }

    /// Checks everything and makes the network.
    ///
    /// # Errors
    /// A resistance not positive, a capacitance negative, a temperature below absolute zero; a name given twice or
    /// not at all; heat put into a boundary; a ladder without cells; no boundary, no heat input; a node without a
    /// path to a boundary.
    pub fn build(self) -> Result<Network, ThermalError> {
        if let Some(name) = self.empty_ladders.first() {
            return Err(ThermalError::Missing { place: format!("ladder `{name}`"), what: "cells" });
        }
        for (what, missing) in
            [("boundary", self.boundaries.is_empty()), ("heat input", self.inputs.is_empty())]
        {
            if missing {
                return Err(ThermalError::Missing { place: "the heat network".into(), what });
            }
        }
        for (name, value) in &self.nodes {
            check_capacitance(*value, || format!("node `{name}`"))?;
        }
        self.boundaries.iter().try_for_each(check_boundary)?;
        let places = self.places()?;
        let inputs = self.resolve_inputs(&places)?;
        let links = self.resolve_links(&places)?;
        let nodes = Nodes {
            capacitances: self.nodes.iter().map(|n| n.1).collect(),
            names: self.nodes.into_iter().map(|n| n.0).collect(),
            links,
            inputs,
        };
        if let Some(node) = nodes.without_path() {
            return Err(ThermalError::NoPath { node });
        }
        Ok(Network {
            inputs: self.inputs.into_iter().map(|i| i.0).collect(),
            boundaries: self.boundaries,
            form: Form::Nodes(nodes),
        })
    }

    /// Number of each node and boundary by name.
    fn places(&self) -> Result<BTreeMap<&str, usize>, ThermalError> {
        let mut places = BTreeMap::new();
        let names = self.nodes.iter().map(|n| &n.0).chain(self.boundaries.iter().map(|b| &b.name));
        for (k, name) in names.enumerate() {
            if places.insert(name.as_str(), k).is_some() {
                return Err(ThermalError::DuplicateName { what: "nodes or boundaries", name: name.clone() });
            }
        }
        Ok(places)
    }

    fn resolve_inputs(&self, places: &BTreeMap<&str, usize>) -> Result<Vec<usize>, ThermalError> {
        check_distinct(self.inputs.iter().map(|i| &i.0))?;
        let find = |(input, node): &(String, String)| {
            let place = find(places, node, || format!("heat input `{input}`"))?;
            if place >= self.nodes.len() {
                return Err(ThermalError::InputAtBoundary { input: input.clone(), boundary: node.clone() });
            }
            Ok(place)
        };
        self.inputs.iter().map(find).collect()
    }

    fn resolve_links(
        &self,
        places: &BTreeMap<&str, usize>,
    ) -> Result<Vec<(usize, usize, f64)>, ThermalError> {
        let resolve = |(from, to, resistance): &(String, String, f64)| {
            let place = || format!("`{from}` to `{to}`");
            check_resistance(*resistance, place)?;
            if from == to {
                return Err(ThermalError::SelfLink { name: from.clone() });
            }
            let wanted_by = || format!("the resistance from {}", place());
            Ok((find(places, from, wanted_by)?, find(places, to, wanted_by)?, *resistance))
        };
        self.links.iter().map(resolve).collect()
    }
}

impl Nodes {
    /// A node from which no chain of resistances leads to a boundary.
    fn without_path(&self) -> Option<String> {
        let mut reached = vec![false; self.names.len()];
        let is_reached = |reached: &[bool], place: usize| reached.get(place).copied().unwrap_or(true);
        loop {
            let before = reached.iter().filter(|r| **r).count();
            for &(a, b, _) in &self.links {
                for (a, b) in [(a, b), (b, a)] {
                    if b < reached.len() && is_reached(&reached, a) {
                        reached[b] = true;
                    }
                }
            }
            if reached.iter().filter(|r| **r).count() == before {
                return reached.iter().position(|r| !r).map(|k| self.names[k].clone());
            }
        }
    }
}

fn find(
    places: &BTreeMap<&str, usize>,
    name: &str,
    wanted_by: impl Fn() -> String,
) -> Result<usize, ThermalError> {
    places.get(name).copied().ok_or_else(|| ThermalError::Unknown {
        wanted_by: wanted_by(),
        name: name.into(),
        known: places.keys().map(|k| format!("`{k}`")).collect::<Vec<_>>().join(", "),
    })
}

fn check_distinct<'a>(inputs: impl Iterator<Item = &'a String>) -> Result<(), ThermalError> {
    let mut seen = std::collections::BTreeSet::new();
    for name in inputs {
        if !seen.insert(name) {
            return Err(ThermalError::DuplicateName { what: "heat inputs", name: name.clone() });
        }
    }
    Ok(())
}

fn check_resistance(value: f64, place: impl Fn() -> String) -> Result<(), ThermalError> {
    if value > 0.0 && value.is_finite() {
        return Ok(());
    }
    Err(ThermalError::BadResistance { place: place(), value })
}

fn check_capacitance(value: f64, place: impl Fn() -> String) -> Result<(), ThermalError> {
    if value >= 0.0 && value.is_finite() {
        return Ok(());
    }
    Err(ThermalError::BadCapacitance { place: place(), value })
}

fn check_boundary(boundary: &Boundary) -> Result<(), ThermalError> {
    if boundary.temperature > -273.15 && boundary.temperature.is_finite() {
        return Ok(());
    }
    Err(ThermalError::BadTemperature {
        place: format!("boundary `{}`", boundary.name),
        value: boundary.temperature,
    })
}
