//! Nodes taken out of a network (set-up, `f64`): those without heat capacitance before the eigenproblem, and all
//! of them for the steady flow between boundaries.
//!
//! The Schur complement of a conductance network is made here by star-mesh replacement: conductances gₐ from a node
//! to its neighbours become gₐ·g_b/Σg between each pair of them, and heat put into the node divides as gₐ/Σg. Only
//! sums, products and quotients of positive numbers: no digit is lost, however far the coefficients are apart.

use nalgebra::DMatrix;

use super::network::Nodes;

/// What is left of a network.
#[derive(Debug)]
pub(super) struct Reduced {
    /// The nodes that stay, as numbers in the network.
    pub kept: Vec<usize>,
    /// Conductances, W/K, between all places (nodes, then boundaries); those of eliminated nodes are zero.
    pub conductances: DMatrix<f64>,
    /// Share of each heat input (column) that enters each place.
    pub shares: DMatrix<f64>,
    /// For each eliminated node, last eliminated first: how its temperature follows from the others'.
    pub eliminated: Vec<Eliminated>,
}

/// T(node) = Σ weights·T(place) + Σ resistances·P(input).
#[derive(Debug)]
pub(super) struct Eliminated {
    pub node: usize,
    pub weights: Vec<f64>,
    pub resistances: Vec<f64>,
}

/// Removes all nodes but those to keep.
pub(super) fn eliminate(nodes: &Nodes, boundaries: usize, keep: impl Fn(usize) -> bool) -> Reduced {
    let places = nodes.names.len() + boundaries;
    let mut g = DMatrix::zeros(places, places);
    for &(a, b, resistance) in &nodes.links {
        g[(a, b)] += 1.0 / resistance;
        g[(b, a)] += 1.0 / resistance;
    }
    let mut shares = DMatrix::zeros(places, nodes.inputs.len());
    for (input, node) in nodes.inputs.iter().enumerate() {
        shares[(*node, input)] = 1.0;
    }
    let mut eliminated = Vec::new();
    let mut kept = Vec::new();
    for node in 0..nodes.names.len() {
        if keep(node) {
            kept.push(node);
            continue;
        }
        let star: Vec<f64> = g.row(node).iter().copied().collect();
        let sum: f64 = star.iter().sum();
        let weights: Vec<f64> = star.iter().map(|x| x / sum).collect();
        let heat: Vec<f64> = shares.row(node).iter().copied().collect();
        for a in (0..places).filter(|a| star[*a] > 0.0) {
            for b in (0..places).filter(|b| *b != a && star[*b] > 0.0) {
                // The same product in both directions, so that the matrix stays exactly symmetric.
                g[(a, b)] += star[a.min(b)] * weights[a.max(b)];
            }
            g[(a, node)] = 0.0;
            g[(node, a)] = 0.0;
            heat.iter().enumerate().for_each(|(input, h)| shares[(a, input)] += weights[a] * h);
        }
        shares.row_mut(node).fill(0.0);
        eliminated.push(Eliminated { node, weights, resistances: heat.iter().map(|h| h / sum).collect() });
    }
    eliminated.reverse();
    Reduced { kept, conductances: g, shares, eliminated }
}
