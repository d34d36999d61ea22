//! The modal form of a heat network, immutable: for modes y and heat inputs P,
//! dy/dt = −λ·y + Vᵀ·P + Wᵀ·θ, temperatures of the inputs = V·y + D·P + E·θ, θ the boundary temperatures.
//!
//! All temperatures inside are differences to a reference, the first boundary's temperature at the start, so that
//! a network at rest there holds exact zeros.

mod beside;
mod build;
mod query;

pub(super) use query::approach;

use super::compact::Compact;
use super::error::ThermalError;
use super::network::Network;
use crate::arithmetic::lane::Lane;

/// Modal form of a network. Lists are flat, row-major; n modes, m heat inputs,
/// b boundaries, N physical nodes.
#[derive(Debug, Clone, PartialEq)]
pub struct Modal<L> {
    pub(super) inputs: Vec<String>,
    pub(super) boundaries: Vec<String>,
    /// Physical nodes: none for Foster terms.
    pub(super) nodes: Vec<String>,
    /// °C.
    pub(super) reference: L,
    /// Boundary temperatures at the start, less the reference, K; \[b\].
    pub(super) start: Vec<L>,
    /// λ, 1/s, fastest first; \[n\].
    pub(super) rates: Vec<L>,
    /// V: heat input to mode and mode to temperature alike (reciprocity); \[m × n\].
    pub(super) ports: Vec<L>,
    /// AtTemperature mode per watt, V/λ; \[m × n\].
    pub(super) settled: Vec<L>,
    /// AtTemperature mode per kelvin of a boundary, W/λ; \[b × n\].
    pub(super) settled_boundary: Vec<L>,
    /// D: undelayed rise of an input per watt, K/W; \[m × m\].
    pub(super) direct: Vec<L>,
    /// E: undelayed rise of an input per kelvin of a boundary; \[m × b\].
    pub(super) follow: Vec<L>,
    /// Heat that a boundary gets less than in the steady state while a mode rises by one unit, J; \[b × n\].
    pub(super) drain: Vec<L>,
    /// Share of an input's heat that a boundary gets in the steady state; \[b × m\].
    pub(super) shares: Vec<L>,
    /// Steady-state conductance between two boundaries, W/K; \[b × b\], diagonal zero.
    pub(super) exchange: Vec<L>,
    /// Heat stored per unit of a mode, J; \[n\].
    pub(super) content: Vec<L>,
    /// Temperatures of the nodes from modes \[N × n\], heat inputs \[N × m\], boundaries \[N × b\].
    pub(super) node_modes: Vec<L>,
    pub(super) node_direct: Vec<L>,
    pub(super) node_follow: Vec<L>,
    /// Modes from temperatures of the nodes; \[n × N\].
    pub(super) project: Vec<L>,
}

impl Modal<f64> {
    /// The modal form of a network.
    ///
    /// # Errors
    /// The eigenproblem does not converge; Foster terms whose steady-state resistance matrix is singular.
    #[inline(never)]
    pub fn new(network: &Network) -> Result<Self, ThermalError> {
        build::modal(network)
    }

    /// A compact network.
    #[inline(never)]
    pub fn of_compact(compact: &Compact) -> Self {
        build::of_compact(compact)
    }
}

impl<L: Lane> Modal<L> {
    /// Names of the heat inputs, in the order of powers and temperatures.
    pub fn inputs(&self) -> &[String] {
        &self.inputs
    }

    /// Names of the boundaries.
    pub fn boundaries(&self) -> &[String] {
        &self.boundaries
    }

    /// Names of the physical nodes; none for Foster terms.
    pub fn nodes(&self) -> &[String] {
        &self.nodes
    }

    /// The temperature from which all others are counted inside, °C: the first boundary's at the start.
    pub fn reference(&self) -> L {
        self.reference
    }

    /// Number of a physical node by name.
    ///
    /// # Errors
    /// No such node; a Foster network, which has none.
    pub fn node(&self, name: &str) -> Result<usize, ThermalError> {
        if self.nodes.is_empty() {
            return Err(ThermalError::NoPhysicalNodes { requested: format!("the temperature of `{name}`") });
        }
        self.nodes.iter().position(|n| n == name).ok_or_else(|| ThermalError::Unknown {
            wanted_by: "a request for a temperature".into(),
            name: name.into(),
            known: self.nodes.iter().map(|n| format!("`{n}`")).collect::<Vec<_>>().join(", "),
        })
    }

    /// The time constants, s, slowest last; as many as there are modes.
    pub fn time_constants(&self) -> Vec<L> {
        self.rates.iter().map(|rate| L::splat(1.0) / *rate).collect()
    }
}

/// y + Σ rows·x, row-major `rows` with one row per entry of `y`.
pub(super) fn add_product<L: Lane>(y: &mut [L], rows: &[L], x: &[L]) {
    if x.is_empty() {
        return;
    }
    for (y, row) in y.iter_mut().zip(rows.chunks_exact(x.len())) {
        for (a, b) in row.iter().zip(x) {
            *y += *a * *b;
        }
    }
}

/// y + Σ x·rows, row-major `rows` with one row per entry of `x`.
pub(super) fn add_transposed<L: Lane>(y: &mut [L], rows: &[L], x: &[L]) {
    if y.is_empty() {
        return;
    }
    for (x, row) in x.iter().zip(rows.chunks_exact(y.len())) {
        for (y, a) in y.iter_mut().zip(row) {
            *y += *a * *x;
        }
    }
}
