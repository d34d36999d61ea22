//! From a network to its modal form (set-up, `f64`).

use nalgebra::{DMatrix, DVector, SymmetricEigen};

use super::super::compact::Compact;
use super::super::eliminate::eliminate;
use super::super::error::ThermalError;
use super::super::network::{Form, FosterMatrixTerm, Network, Nodes, eigen_of_term};
use super::super::spectrum::modes;
use super::Modal;

/// The modal form of one network.
pub(super) fn modal(network: &Network) -> Result<Modal<f64>, ThermalError> {
    match &network.form {
        Form::Nodes(nodes) => of_nodes(network, nodes),
        Form::Foster(terms) => of_foster(network, terms),
    }
}

fn row_major(matrix: &DMatrix<f64>) -> Vec<f64> {
    matrix.transpose().iter().copied().collect()
}

fn of_nodes(network: &Network, nodes: &Nodes) -> Result<Modal<f64>, ThermalError> {
    let (all, b) = (nodes.names.len(), network.boundaries.len());
    let reduced = eliminate(nodes, b, |node| nodes.capacitances[node] > 0.0);
    let (kept, g) = (&reduced.kept, &reduced.conductances);
    let n = kept.len();
    let couplings = DMatrix::from_fn(n, n, |i, j| g[(kept[i], kept[j])]);
    let to_boundary = DMatrix::from_fn(b, n, |k, i| g[(all + k, kept[i])]);
    let drains: Vec<f64> = (0..n).map(|i| to_boundary.column(i).sum()).collect();
    let capacitances: Vec<f64> = kept.iter().map(|k| nodes.capacitances[*k]).collect();
    let (rates, v) = modes(&couplings, &drains, &capacitances)?;

    let per_rate =
        |matrix: &DMatrix<f64>| DMatrix::from_fn(matrix.nrows(), n, |i, k| matrix[(i, k)] / rates[k]);
    let entering = DMatrix::from_fn(nodes.inputs.len(), n, |i, k| reduced.shares[(kept[k], i)]);
    let ports = entering * &v;
    // While a mode changes by Δy, its flow into a boundary, W·y, falls short of the settled one by W·Δy/λ.
    let settled_boundary = per_rate(&(to_boundary * &v));
    // 1ᵀ·C·v = 1ᵀ·G·v/λ, summed over the boundaries as the account sums it, so that it closes to round-off.
    let content = settled_boundary.row_sum().iter().copied().collect();
    // In the steady state the nodes store nothing: with all of them eliminated, the boundaries are left.
    let steady = eliminate(nodes, b, |_| false);
    let exchange = steady.conductances.view((all, all), (b, b)).into_owned();
    let shares = steady.shares.rows(all, b).into_owned();

    // All nodes: those kept are rows of V, the eliminated follow from them in reverse order.
    let mut node_modes = DMatrix::zeros(all, n);
    let mut node_direct = DMatrix::zeros(all, nodes.inputs.len());
    let mut node_follow = DMatrix::zeros(all, b);
    for (i, node) in kept.iter().enumerate() {
        node_modes.row_mut(*node).copy_from(&v.row(i));
    }
    for e in &reduced.eliminated {
        for (place, weight) in e.weights.iter().enumerate().filter(|(_, w)| **w > 0.0) {
            if place >= all {
                node_follow[(e.node, place - all)] += weight;
                continue;
            }
            for rows in [&mut node_modes, &mut node_direct, &mut node_follow] {
                let add = rows.row(place) * *weight;
                let mut row = rows.row_mut(e.node);
                row += add;
            }
        }
        for (input, r) in e.resistances.iter().enumerate() {
            node_direct[(e.node, input)] += r;
        }
    }
    let at_inputs = |rows: &DMatrix<f64>| rows.select_rows(&nodes.inputs);
    let project = DMatrix::from_fn(n, all, |mode, node| match kept.iter().position(|k| *k == node) {
        Some(i) => capacitances[i] * v[(i, mode)],
        None => 0.0,
    });
    let reference = network.boundaries[0].temperature;
    Ok(Modal {
        inputs: network.inputs.clone(),
        boundaries: network.boundaries.iter().map(|b| b.name.clone()).collect(),
        nodes: nodes.names.clone(),
        reference,
        start: network.boundaries.iter().map(|b| b.temperature - reference).collect(),
        settled: row_major(&per_rate(&ports)),
        rates,
        ports: row_major(&ports),
        drain: row_major(&settled_boundary),
        settled_boundary: row_major(&settled_boundary),
        direct: row_major(&at_inputs(&node_direct)),
        follow: row_major(&at_inputs(&node_follow)),
        shares: row_major(&shares),
        exchange: row_major(&exchange),
        content,
        node_modes: row_major(&node_modes),
        node_direct: row_major(&node_direct),
        node_follow: row_major(&node_follow),
        project: row_major(&project),
    })
}

/// Each term R(1 − e^(−t/τ)) with R = Σ r·rᵀ gives one mode per r, with V = r·√λ. Rises are counted from the
/// boundary: a change of its temperature moves all at once (E = 1, W = 0).
///
/// What happens inside is not known, so heat stored and heat given off are defined by what the steady-state
/// resistances R_ss would carry: heat out = 1ᵀ·R_ss⁻¹·(T − θ), stored = 1ᵀ·R_ss⁻¹·Σ τₖ·(rise in term k). For
/// one input: (T − θ)/R_th, and the mean of RₖCₖ·(rise in term k)/R_th. Since τₖ·d(rise)/dt = −rise + Rₖ·P,
/// heat in = out + stored exactly.
fn of_foster(network: &Network, terms: &[FosterMatrixTerm]) -> Result<Modal<f64>, ThermalError> {
    let m = network.inputs.len();
    let mut steady = DMatrix::zeros(m, m);
    let mut direct = DMatrix::zeros(m, m);
    let (mut rates, mut columns) = (Vec::new(), Vec::new());
    for term in terms {
        let matrix = DMatrix::from_row_slice(m, m, &term.resistances);
        steady += &matrix;
        if term.time_constant == 0.0 {
            direct += matrix;
            continue;
        }
        let rate = 1.0 / term.time_constant;
        for (value, vector) in eigen_of_term(term, m) {
            rates.push(rate);
            columns.push(DVector::from_vec(vector) * (value.max(0.0) * rate).sqrt());
        }
    }
    let n = rates.len();
    let ports = DMatrix::from_fn(m, n, |i, k| columns[k][i]);
    let settled = DMatrix::from_fn(m, n, |i, k| ports[(i, k)] / rates[k]);
    // 1ᵀ·R_ss⁺; R_ss may be singular (two inputs on one spot), as long as all heat still counts.
    let ones = DVector::from_element(m, 1.0);
    let eigen = SymmetricEigen::new(steady.clone());
    let largest = eigen.eigenvalues.max();
    let mut carried = DVector::zeros(m);
    for (value, vector) in eigen.eigenvalues.iter().zip(eigen.eigenvectors.column_iter()) {
        if *value > 1e-12 * largest {
            carried += vector * (vector.dot(&ones) / value);
        }
    }
    if (&steady * &carried - &ones).amax() > 1e-9 {
        return Err(ThermalError::SingularFoster);
    }
    let drain: Vec<f64> = (carried.transpose() * &settled).iter().copied().collect();
    Ok(Modal {
        inputs: network.inputs.clone(),
        boundaries: vec![network.boundaries[0].name.clone()],
        nodes: Vec::new(),
        reference: network.boundaries[0].temperature,
        start: vec![0.0],
        content: drain.clone(),
        settled_boundary: vec![0.0; n],
        rates,
        ports: row_major(&ports),
        settled: row_major(&settled),
        shares: vec![1.0; m],
        direct: row_major(&direct),
        follow: vec![1.0; m],
        drain,
        exchange: vec![0.0],
        node_modes: Vec::new(),
        node_direct: Vec::new(),
        node_follow: Vec::new(),
        project: Vec::new(),
    })
}

/// The modes of a compact network as they are, scaled to vᵀ·C·v = 1. What its boundaries get of a mode is exact in the
/// reduced equations (a uniform temperature is among what they can represent), so the account closes.
pub(super) fn of_compact(compact: &Compact) -> Modal<f64> {
    let (m, b, n) = (compact.ports.len(), compact.boundaries.len(), compact.time_constants.len());
    let root: Vec<f64> = compact.time_constants.iter().map(|tau| tau.sqrt()).collect();
    let scaled = |list: &[f64], power: i32| -> Vec<f64> {
        list.iter().enumerate().map(|(k, x)| x * root[k % n.max(1)].powi(power)).collect()
    };
    let settled_boundary = scaled(&compact.follows, 1);
    let content = (0..n).map(|k| (0..b).map(|j| settled_boundary[j * n + k]).sum()).collect();
    let reference = compact.boundaries[0].temperature;
    Modal {
        inputs: compact.ports.clone(),
        boundaries: compact.boundaries.iter().map(|b| b.name.clone()).collect(),
        nodes: Vec::new(),
        reference,
        start: compact.boundaries.iter().map(|b| b.temperature - reference).collect(),
        rates: compact.time_constants.iter().map(|tau| 1.0 / tau).collect(),
        ports: scaled(&compact.rises, -1),
        settled: scaled(&compact.rises, 1),
        drain: settled_boundary.clone(),
        settled_boundary,
        direct: compact.direct.clone(),
        follow: vec![0.0; m * b],
        shares: compact.shares.clone(),
        exchange: compact.exchange.clone(),
        content,
        node_modes: Vec::new(),
        node_direct: Vec::new(),
        node_follow: Vec::new(),
        project: Vec::new(),
    }
}
