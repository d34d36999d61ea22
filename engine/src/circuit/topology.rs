//! What the graph shows, before any number is computed: nodes that float, loops of ideal voltage sources.
//!
//! Everything is read off the components' equations, so a new kind of component needs nothing here. A node floats
//! when no path for direct current leads from it to ground; a loop of branches that fix voltages only leaves the
//! current around it open (both from Chua, Desoer & Kuh, *Linear and Nonlinear Circuits*, 1987, from memory: the
//! nodal equations of a network of resistors and sources have one solution if and only if neither exists).

use std::collections::{BTreeMap, BTreeSet};

use crate::arithmetic::lane::Lane;
use crate::circuit::graph::{Body, Circuit, Component, GROUND, Linear};
use crate::circuit::law::Joins;
use crate::error::CircuitError;

/// A node that one pin touches: allowed, but nearly always a slip of the pen.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct LooseEnd {
    /// The node.
    pub node: String,
    /// The one component that touches it.
    pub component: String,
}

/// What the graph shows.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Findings {
    /// What makes the equations unsolvable: floating nodes in the order of the nodes, then loops.
    pub errors: Vec<CircuitError>,
    /// What deserves a warning.
    pub loose_ends: Vec<LooseEnd>,
}

/// Examines the graph. With `operating_point`, windings without resistance count as the short circuits they are for
/// direct current, and a loop of them is [`CircuitError::ResistanceFreeLoop`].
#[inline(never)]
pub fn examine<L: Lane>(circuit: &Circuit<L>, operating_point: bool) -> Findings {
    let touching = touching(circuit);
    let mut errors = floating(circuit, &touching);
    let always = loops(circuit, false);
    let source_loop = |l: &Vec<&str>| CircuitError::SourceLoop { members: l.join(", ") };
    errors.extend(always.iter().map(source_loop));
    if operating_point {
        let known: BTreeSet<&Vec<&str>> = always.iter().collect();
        let more = loops(circuit, true).into_iter().filter(|l| !known.contains(l));
        errors.extend(more.map(|l| CircuitError::ResistanceFreeLoop { members: l.join(", ") }));
    }
    Findings { errors, loose_ends: loose_ends(circuit, &touching) }
}

/// Examines the graph and gives the warnings.
///
/// # Errors
/// The first error found.
pub fn check<L: Lane>(circuit: &Circuit<L>, operating_point: bool) -> Result<Vec<LooseEnd>, CircuitError> {
    let findings = examine(circuit, operating_point);
    match findings.errors.into_iter().next() {
        Some(error) => Err(error),
        None => Ok(findings.loose_ends),
    }
}

/// Sets that grow together (disjoint sets, Tarjan 1975).
pub(super) struct Groups(Vec<usize>);

impl Groups {
    pub(super) fn new(n: usize) -> Self {
        Self((0..n).collect())
    }
    pub(super) fn root(&mut self, mut k: usize) -> usize {
        while self.0[k] != k {
            self.0[k] = self.0[self.0[k]];
            k = self.0[k];
        }
        k
    }
    /// Joins two sets; false when they were one already.
    pub(super) fn join(&mut self, a: usize, b: usize) -> bool {
        let (a, b) = (self.root(a), self.root(b));
        self.0[a] = b;
        a != b
    }
}

/// Different from zero in every lane: a lane in which it is zero has the error.
pub(super) fn present<L: Lane>(x: L) -> bool {
    L::all(x.abs().gt(L::splat(0.0)))
}

pub(super) fn node_of<L: Lane>(component: &Component<L>, pin: usize) -> usize {
    component.pins[pin].0 as usize
}

/// Names of the components at each node.
fn touching<L: Lane>(circuit: &Circuit<L>) -> Vec<Vec<&str>> {
    let mut at = vec![Vec::new(); circuit.nodes.len()];
    for component in &circuit.components {
        for (k, pin) in component.pins.iter().enumerate() {
            if !component.pins[..k].contains(pin) {
                at[pin.0 as usize].push(component.name.as_str());
            }
        }
    }
    at
}

fn floating<L: Lane>(circuit: &Circuit<L>, touching: &[Vec<&str>]) -> Vec<CircuitError> {
    let mut groups = Groups::new(circuit.nodes.len());
    for component in &circuit.components {
        match &component.body {
            Body::Linear(linear) => join_linear(circuit, component, linear, &mut groups),
            Body::Device(device) => match device.joins() {
                Joins::All => join_pins(component, 0..component.pins.len(), &mut groups),
                Joins::Groups(lists) => {
                    for list in lists {
                        join_pins(component, list.iter().copied(), &mut groups);
                    }
                }
            },
        }
    }
    let ground = groups.root(GROUND.0 as usize);
    let mut out = Vec::new();
    for (k, node) in circuit.nodes.iter().enumerate() {
        if groups.root(k) != ground {
            let through = if touching[k].is_empty() { "no component".into() } else { touching[k].join(", ") };
            out.push(CircuitError::FloatingNode { node: node.clone(), through });
        }
    }
    out
}

pub(super) fn join_pins<L: Lane>(
    component: &Component<L>,
    pins: impl Iterator<Item = usize>,
    groups: &mut Groups,
) {
    let mut nodes = pins.map(|p| node_of(component, p));
    if let Some(first) = nodes.next() {
        nodes.for_each(|n| {
            groups.join(first, n);
        });
    }
}

fn join_linear<L: Lane>(
    circuit: &Circuit<L>,
    component: &Component<L>,
    linear: &Linear<L>,
    groups: &mut Groups,
) {
    let pins = component.pins.len();
    // Conductances: a node whose current depends on its own voltage is held to the nodes it is measured against.
    // A voltage-controlled current that looks elsewhere holds nothing.
    let mut entries: Vec<(usize, usize, L)> = Vec::new();
    for &(row, column, g) in linear.g.iter().filter(|e| e.0 < pins && e.1 < pins) {
        let (row, column) = (node_of(component, row), node_of(component, column));
        match entries.iter_mut().find(|e| (e.0, e.1) == (row, column)) {
            Some(entry) => entry.2 += g,
            None => entries.push((row, column, g)),
        }
    }
    entries.retain(|e| present(e.2));
    for &(row, column, _) in &entries {
        if entries.iter().any(|e| (e.0, e.1) == (row, row)) {
            groups.join(row, column);
        }
    }
    // Branches: their current passes between the pins whose voltages they see.
    for b in 0..linear.branches.len() {
        join_pins(component, ends(linear, pins, b).into_iter(), groups);
    }
    // A switch: some option has to conduct.
    if let Some(choice) = linear.choice
        && circuit.choices[choice.0 as usize].options.iter().any(|&g| present(g))
    {
        join_pins(component, 0..2, groups);
    }
}

/// The pins that branch `b` carries its current between: those that get its current and whose voltage it sees.
pub(super) fn ends<L: Lane>(linear: &Linear<L>, pins: usize, b: usize) -> Vec<usize> {
    let has = |row, column| linear.g.iter().any(|e| (e.0, e.1) == (row, column) && present(e.2));
    (0..pins).filter(|&p| has(p, pins + b) && has(pins + b, p)).collect()
}

/// A branch that fixes a voltage: component, the nodes at its ends.
struct Ideal {
    component: usize,
    ends: [usize; 2],
}

/// Branches that say nothing about their own current (or no other current's business): a loop of branches whose
/// currents appear in the nodes' balances only leaves one current open; a loop of branches that set nothing but the
/// voltage between their ends contradicts itself. Both kinds make the equations singular.
fn ideal<L: Lane>(circuit: &Circuit<L>, direct_current: bool, by_current: bool) -> Vec<Ideal> {
    let mut out = Vec::new();
    for (k, component) in circuit.components.iter().enumerate() {
        let Body::Linear(linear) = &component.body else { continue };
        let pins = component.pins.len();
        for b in 0..linear.branches.len() {
            let ends = ends(linear, pins, b);
            let &[from, to] = ends.as_slice() else { continue };
            let own = |e: &&(usize, usize, L)| {
                let ours = if by_current { e.1 == pins + b } else { e.0 == pins + b };
                let other = if by_current { e.0 } else { e.1 };
                ours && other != from && other != to && present(e.2)
            };
            let changing = if direct_current { &[][..] } else { &linear.c[..] };
            if linear.g.iter().chain(changing).any(|e| own(&e)) {
                continue;
            }
            out.push(Ideal { component: k, ends: [node_of(component, from), node_of(component, to)] });
        }
    }
    out
}

/// Loops of ideal branches, each by the names of its members in the order of the components.
fn loops<L: Lane>(circuit: &Circuit<L>, direct_current: bool) -> Vec<Vec<&str>> {
    let mut out: Vec<Vec<&str>> = Vec::new();
    let mut report: BTreeSet<Vec<&str>> = BTreeSet::new();
    for by_current in [true, false] {
        let mut groups = Groups::new(circuit.nodes.len());
        // The branches that close no loop, a forest: the way through it to the other end is the rest of the loop.
        let mut forest = Forest::new();
        for branch in ideal(circuit, direct_current, by_current) {
            let [from, to] = branch.ends;
            if groups.join(from, to) {
                forest.entry(from).or_default().push((branch.component, to));
                forest.entry(to).or_default().push((branch.component, from));
                continue;
            }
            let mut members = way(&forest, from, to);
            members.push(branch.component);
            members.sort_unstable();
            members.dedup();
            let names: Vec<&str> = members.iter().map(|&m| circuit.components[m].name.as_str()).collect();
            if report.insert(names.clone()) {
                out.push(names);
            }
        }
    }
    out
}

/// Branches at each node, with their other ends.
type Forest = BTreeMap<usize, Vec<(usize, usize)>>;

/// Components on the only way through a forest from one node to another, which it connects.
fn way(forest: &Forest, from: usize, to: usize) -> Vec<usize> {
    // Breadth first, each with the branch it came by and its predecessor in the list.
    let mut list: Vec<(usize, Option<(usize, usize)>)> = vec![(from, None)];
    let mut seen = BTreeSet::from([from]);
    let mut k = 0;
    while k < list.len() && list[k].0 != to {
        for &(component, next) in forest.get(&list[k].0).into_iter().flatten() {
            if seen.insert(next) {
                list.push((next, Some((component, k))));
            }
        }
        k += 1;
    }
    let mut out = Vec::new();
    while let Some(&(_, Some((component, before)))) = list.get(k) {
        out.push(component);
        k = before;
    }
    out
}

fn loose_ends<L: Lane>(circuit: &Circuit<L>, touching: &[Vec<&str>]) -> Vec<LooseEnd> {
    let mut pins = vec![0_usize; circuit.nodes.len()];
    for pin in circuit.components.iter().flat_map(|c| &c.pins) {
        pins[pin.0 as usize] += 1;
    }
    let once = pins.iter().enumerate().skip(1).filter(|&(_, &n)| n == 1);
    once.map(|(k, _)| LooseEnd { node: circuit.nodes[k].clone(), component: touching[k].join(", ") })
        .collect()
}

#[cfg(test)]
#[path = "topology_tests.rs"]
mod tests;
