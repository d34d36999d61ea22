//! A compact network: what a reduction keeps of a large one, as modes.
//!
//! With one time constant τ per mode, dy/dt = (Rᵀ·P + Wᵀ·θ − y)/τ and temperatures of the ports = R·y + D·P: every
//! entry of R·Rᵀ on its diagonal and every time constant is positive, so each rise under constant power is monotone
//! and the whole is passive, whatever the reduction left out. A mode is one column, shared by all ports: self and
//! mutual rises have common time constants.

use super::modal::approach;
use super::network::{Boundary, FosterTerm};
use crate::arithmetic::packed::Packed;

/// A compact network of m ports, n modes, b boundaries. Lists are flat, row-major.
#[derive(Debug, Clone, PartialEq)]
pub struct Compact {
    /// Names of the ports.
    pub(super) ports: Vec<String>,
    /// Fixed temperatures.
    pub(super) boundaries: Vec<Boundary>,
    /// τ, s, fastest first; \[n\].
    pub(super) time_constants: Vec<f64>,
    /// R, (K/W)^½; \[m × n\].
    pub(super) rises: Vec<f64>,
    /// D: undelayed rise, K/W; \[m × m\].
    pub(super) direct: Vec<f64>,
    /// W, (W/K)^½; \[b × n\].
    pub(super) follows: Vec<f64>,
    /// Share of a port's heat that a boundary gets in the steady state; \[b × m\].
    pub(super) shares: Vec<f64>,
    /// Steady-state conductance between two boundaries, W/K; \[b × b\], diagonal zero.
    pub(super) exchange: Vec<f64>,
}

crate::packed!(Boundary: name, temperature);

impl Packed for Compact {
    fn pack(&self, to: &mut Vec<u8>) {
        let Self { ports, boundaries, time_constants, rises, direct, follows, shares, exchange } = self;
        ports.pack(to);
        boundaries.pack(to);
        [time_constants, rises, direct, follows, shares, exchange].iter().for_each(|list| list.pack(to));
    }
    fn unpack(from: &mut &[u8]) -> Option<Self> {
        let (ports, boundaries) = (Vec::<String>::unpack(from)?, Vec::<Boundary>::unpack(from)?);
        let mut list = || Vec::<f64>::unpack(from);
        let [time_constants, rises, direct] = [list()?, list()?, list()?];
        let [follows, shares, exchange] = [list()?, list()?, list()?];
        let (m, b, n) = (ports.len(), boundaries.len(), time_constants.len());
        let sizes = [rises.len(), direct.len(), follows.len(), shares.len(), exchange.len()];
        let new = Self { ports, boundaries, time_constants, rises, direct, follows, shares, exchange };
        Some(new).filter(|_| sizes == [m * n, m * m, b * n, b * m, b * b])
    }
}

impl Compact {
    /// Names of the ports, in the order of powers and temperatures.
    pub fn ports(&self) -> &[String] {
        &self.ports
    }

    /// Number of a port by name.
    pub fn port(&self, name: &str) -> Option<usize> {
        self.ports.iter().position(|p| p == name)
    }

    /// The fixed temperatures.
    pub fn boundaries(&self) -> &[Boundary] {
        &self.boundaries
    }

    /// Time constants, s, fastest first.
    pub fn time_constants(&self) -> &[f64] {
        &self.time_constants
    }

    /// The same with other temperatures of the boundaries, °C, in their order. Panics on a list of another length.
    pub fn at(mut self, temperatures: &[f64]) -> Self {
        assert_eq!(temperatures.len(), self.boundaries.len(), "one temperature per boundary");
        for (boundary, t) in self.boundaries.iter_mut().zip(temperatures) {
            boundary.temperature = *t;
        }
        self
    }

    /// The same seen from some of its ports only, by number, in the order given. Panics on one that does not exist.
    pub fn select(&self, ports: &[usize]) -> Self {
        let (m, n) = (self.ports.len(), self.time_constants.len());
        let columns = |list: &[f64]| {
            list.chunks_exact(m).flat_map(|row| ports.iter().map(move |p| row[*p])).collect::<Vec<f64>>()
        };
        Self {
            ports: ports.iter().map(|p| self.ports[*p].clone()).collect(),
            boundaries: self.boundaries.clone(),
            time_constants: self.time_constants.clone(),
            rises: ports.iter().flat_map(|p| self.rises[p * n..(p + 1) * n].iter().copied()).collect(),
            direct: ports.iter().flat_map(|p| columns(&self.direct[p * m..(p + 1) * m])).collect(),
            follows: self.follows.clone(),
            shares: columns(&self.shares),
            exchange: self.exchange.clone(),
        }
    }

    /// The same under other names of ports and boundaries: `rename` of each.
    pub fn renamed(mut self, rename: impl Fn(&str) -> String) -> Self {
        self.ports.iter_mut().for_each(|p| *p = rename(p));
        self.boundaries.iter_mut().for_each(|b| b.name = rename(&b.name));
        self
    }

    /// Transient thermal impedance Z_th(t), K/W: rise of port `at` after `t` seconds of 1 W at port `from`. Zero for
    /// t < 0. Panics on a port that does not exist.
    pub fn step_response(&self, t: f64, at: usize, from: usize) -> f64 {
        if t < 0.0 {
            return 0.0;
        }
        let direct = self.direct[at * self.ports.len() + from];
        let term = |((a, b), tau): ((&f64, &f64), &f64)| a * b * approach(t / tau);
        direct + self.row(at).iter().zip(self.row(from)).zip(&self.time_constants).map(term).sum::<f64>()
    }

    /// Steady-state resistance, K/W: rise of port `at` per watt at port `from`. Panics on a port that does not exist.
    pub fn steady_resistance(&self, at: usize, from: usize) -> f64 {
        let direct = self.direct[at * self.ports.len() + from];
        direct + self.row(at).iter().zip(self.row(from)).map(|(a, b)| a * b).sum::<f64>()
    }

    /// The Foster terms of the rise of port `at` from heat at port `from`, fastest first; terms of zero resistance
    /// left out. Self terms are positive; a mutual term may be negative. Panics on a port that does not exist.
    pub fn foster_terms(&self, at: usize, from: usize) -> Vec<FosterTerm> {
        let direct = FosterTerm { resistance: self.direct[at * self.ports.len() + from], time_constant: 0.0 };
        let modes = self.row(at).iter().zip(self.row(from)).zip(&self.time_constants);
        let modes = modes.map(|((a, b), tau)| FosterTerm { resistance: a * b, time_constant: *tau });
        std::iter::once(direct).chain(modes).filter(|t| t.resistance != 0.0).collect()
    }

    fn row(&self, port: usize) -> &[f64] {
        let n = self.time_constants.len();
        &self.rises[port * n..(port + 1) * n]
    }
}
