//! Temperatures over time: exact over any interval of constant power, with the account of the heat.

mod advance;
mod columns;
mod course;

use std::sync::Arc;

use nalgebra::{DMatrix, DVector};

use super::column::Column;
pub use super::decay::Decay;
use super::decay::Decays;
use super::error::ThermalError;
use super::modal::{Modal, add_product, add_transposed, approach};
use crate::arithmetic::lane::Lane;

/// What a run must remember of a heat network: save it by cloning, come back with [`Thermal::restore`].
#[derive(Debug, Clone, PartialEq)]
pub struct ThermalState<L> {
    /// Modes, K·(J/K)^½; \[n\].
    modes: Vec<L>,
    /// Boundary temperatures less the reference, K; \[b\].
    boundaries: Vec<L>,
    /// Power of the last interval, W; \[m\].
    power: Vec<L>,
    /// Heat handed in at each input since the start, J; \[m\].
    heat_in: Vec<L>,
    /// Heat given to each boundary since the start, J; \[b\].
    heat_out: Vec<L>,
    /// Heat stored at the start, J.
    stored_at_start: L,
    /// What the last additions to modes, heat in and heat out were too large by.
    carry: [Vec<L>; 3],
    /// Dies whose properties follow the temperature.
    columns: Vec<Column>,
    /// Time since they were stepped, s.
    since: f64,
}

/// A heat network at a time: immutable modal form, state, and scratch.
///
/// Intervals of a length that recurs cost no exponentials: the decay factors of some lengths are kept.
#[derive(Debug, Clone)]
pub struct Thermal<L: Lane> {
    modal: Arc<Modal<L>>,
    state: ThermalState<L>,
    decays: Decays<L>,
    /// Scratch: settled values, then changes, of the modes.
    change: Vec<L>,
    /// The advance attempted: length, s, and powers, W.
    next: (f64, Vec<L>),
    temperatures: Vec<L>,
}

impl<L: Lane> Thermal<L> {
    /// At rest: the steady state without power (with one boundary, everything at its temperature).
    #[inline(never)]
    pub fn new(modal: Arc<Modal<L>>) -> Self {
        let (n, m, b) = (modal.rates.len(), modal.inputs.len(), modal.boundaries.len());
        let zero = |count: usize| vec![L::default(); count];
        let state = ThermalState {
            modes: zero(n),
            boundaries: modal.start.clone(),
            power: zero(m),
            heat_in: zero(m),
            heat_out: zero(b),
            stored_at_start: L::default(),
            carry: [zero(n), zero(m), zero(b)],
            columns: Vec::new(),
            since: 0.0,
        };
        let decays = Decays::default();
        let next = (0.0, zero(m));
        let mut new = Self { modal, state, decays, change: zero(n), next, temperatures: zero(m) };
        new.start_steady(&zero(m));
        new
    }

    /// The immutable modal form.
    pub fn modal(&self) -> &Modal<L> {
        &self.modal
    }

    /// Temperatures of the heat inputs now, °C. Where an input has no heat capacitance of its own, its temperature
    /// is that under the power of the interval just ended.
    pub fn temperatures(&self) -> &[L] {
        &self.temperatures
    }

    /// Temperature of a physical node now, °C. The number is from [`Modal::node`]; panics on one that does not exist.
    #[inline(never)]
    pub fn node_temperature(&self, node: usize) -> L {
        let (n, m, b) = (self.state.modes.len(), self.state.power.len(), self.state.boundaries.len());
        let mut t = [L::default()];
        add_product(&mut t, &self.modal.node_modes[node * n..(node + 1) * n], &self.state.modes);
        add_product(&mut t, &self.modal.node_direct[node * m..(node + 1) * m], &self.state.power);
        add_product(&mut t, &self.modal.node_follow[node * b..(node + 1) * b], &self.state.boundaries);
        t[0] + self.modal.reference
    }

    /// Temperature of a boundary now, °C. Panics on one that does not exist.
    pub fn boundary(&self, boundary: usize) -> L {
        self.state.boundaries[boundary] + self.modal.reference
    }

    /// Sets the temperature of a boundary, °C, from this instant on. A Foster network moves with its boundary at
    /// once (its rises are counted from there); a network of nodes follows through its resistances. Panics on a
    /// boundary that does not exist.
    #[inline(never)]
    pub fn set_boundary(&mut self, boundary: usize, temperature: L) {
        self.state.boundaries[boundary] = temperature - self.modal.reference;
        self.refresh();
    }

    /// The part of an input's temperature that follows the present power at once, K. Panics on an input that does not
    /// exist.
    pub fn undelayed(&self, input: usize) -> L {
        let m = self.state.power.len();
        let mut rise = [L::default()];
        add_product(&mut rise, &self.modal.direct[input * m..(input + 1) * m], &self.state.power);
        rise[0]
    }

    /// The same network at rest with all boundaries at the reference: its temperatures are rises over
    /// [`Modal::reference`].
    pub fn unheated(&self) -> Self {
        let mut new = Self::new(Arc::clone(&self.modal));
        for k in 0..new.state.boundaries.len() {
            new.set_boundary(k, self.modal.reference);
        }
        new.start_steady(&vec![L::default(); self.state.power.len()]);
        new
    }

    /// Starts anew in the steady state of constant power per input, W, as the network has it: dies whose properties follow
    /// their temperature follow what is more than this power. Panics when `power` has not one entry per input.
    #[inline(never)]
    pub fn start_steady(&mut self, power: &[L]) {
        self.state.power.copy_from_slice(power);
        settle(&self.modal, &mut self.state.modes, power, &self.state.boundaries);
        self.start_account();
        for column in &mut self.state.columns {
            column.standing = power[column.input].lane(0);
        }
    }

    /// Starts anew in the periodic steady state of a power that repeats: intervals (s) with the power of each input
    /// (W). Exact: a mode that goes the share 1 − e^(−λT) of its way in a period began where it returns to. Panics on
    /// an interval or a list of powers that [`Thermal::advance`] would not take.
    #[inline(never)]
    pub fn start_periodic(&mut self, cycle: &[(f64, Vec<L>)]) {
        let period: f64 = cycle.iter().map(|c| c.0).sum();
        let mut mean = vec![L::default(); self.state.power.len()];
        for (dt, power) in cycle {
            mean.iter_mut().zip(power).for_each(|(m, p)| *m += *p * L::splat(dt / period));
        }
        self.start_steady(&mean);
        let begin = self.state.modes.clone();
        for (dt, power) in cycle {
            self.advance(*dt, power);
        }
        for ((y, began), rate) in self.state.modes.iter_mut().zip(&begin).zip(&self.modal.rates) {
            *y = *began + (*y - *began) / approach(*rate * L::splat(period));
        }
        self.start_account();
    }

    /// Starts anew with every node at one temperature, °C.
    ///
    /// # Errors
    /// A Foster network, unless it is the temperature of its boundary in every lane.
    #[inline(never)]
    pub fn start_uniform(&mut self, temperature: L) -> Result<(), ThermalError> {
        let rise = temperature - self.modal.reference;
        if self.modal.nodes.is_empty() {
            if rise != self.state.boundaries[0] {
                let requested = "a uniform start off the boundary's temperature".into();
                return Err(ThermalError::NoPhysicalNodes { requested });
            }
            self.state.modes.fill(L::default());
        } else {
            for (y, content) in self.state.modes.iter_mut().zip(&self.modal.content) {
                *y = *content * rise;
            }
        }
        self.state.power.fill(L::default());
        self.start_account();
        Ok(())
    }

    /// Starts anew with stated temperatures of all nodes, °C, in the order of [`Modal::nodes`]; those of nodes without
    /// heat capacitance are ignored.
    ///
    /// # Errors
    /// A list of another length; a Foster network.
    #[inline(never)]
    pub fn start_nodes(&mut self, temperatures: &[L]) -> Result<(), ThermalError> {
        if self.modal.nodes.is_empty() {
            return Err(ThermalError::NoPhysicalNodes {
                requested: "a start with stated node temperatures".into(),
            });
        }
        let expected = self.modal.nodes.len();
        if temperatures.len() != expected {
            let what = "the list of node temperatures".into();
            return Err(ThermalError::WrongSize { what, expected, found: temperatures.len() });
        }
        let rises: Vec<L> = temperatures.iter().map(|t| *t - self.modal.reference).collect();
        self.state.modes.fill(L::default());
        add_product(&mut self.state.modes, &self.modal.project, &rises);
        self.state.power.fill(L::default());
        self.start_account();
        Ok(())
    }

    /// Starts anew with stated temperatures of the heat inputs, °C, in the steady state of the power that would hold
    /// them. The only stated start that a Foster network knows. Returns that power, W.
    ///
    /// # Errors
    /// A list of another length; inputs whose temperatures cannot differ (a singular steady-state matrix).
    #[inline(never)]
    pub fn start_holding(&mut self, temperatures: &[L]) -> Result<Vec<L>, ThermalError> {
        let m = self.modal.inputs.len();
        if temperatures.len() != m {
            let what = "the list of temperatures of the heat inputs".into();
            return Err(ThermalError::WrongSize { what, expected: m, found: temperatures.len() });
        }
        self.start_steady(&vec![L::default(); m]);
        let resistances = self.modal.steady_resistances();
        let mut power = vec![L::default(); m];
        for lane in 0..L::WIDTH {
            let r = DMatrix::from_fn(m, m, |i, j| resistances[i * m + j].lane(lane));
            let rise = DVector::from_fn(m, |i, _| (temperatures[i] - self.temperatures[i]).lane(lane));
            let solution = r.lu().solve(&rise).ok_or(ThermalError::SingularFoster)?;
            power.iter_mut().zip(solution.iter()).for_each(|(p, x)| p.set_lane(lane, *x));
        }
        self.start_steady(&power);
        Ok(power)
    }

    /// Heat handed in at each input since the start, J.
    pub fn heat_in(&self) -> &[L] {
        &self.state.heat_in
    }

    /// Heat given to each boundary since the start, J.
    pub fn heat_out(&self) -> &[L] {
        &self.state.heat_out
    }

    /// Heat stored, J, more than with everything at the first boundary's initial temperature: Σ C·(T − reference).
    ///
    /// A Foster network does not tell what happens inside it. There *stored* is 1ᵀ·R_ss⁻¹·Σ τₖ·(rise in term k)
    /// and heat out 1ᵀ·R_ss⁻¹·(T − boundary), R_ss the steady-state resistances: for one input
    /// Σ RₖCₖ·(rise in term k)/R_th. The account closes exactly and is right in the steady state and over whole
    /// cycles; within a transient the split is this convention, not a fact about the part.
    pub fn stored(&self) -> L {
        let pairs = self.modal.content.iter().zip(&self.state.modes);
        let more: f64 = self.state.columns.iter().map(|c| c.heat()[0]).sum();
        pairs.fold(L::splat(more), |sum, (c, y)| sum + *c * *y)
    }

    /// Heat in − heat out − change of heat stored since the start, J: round-off, however many intervals.
    pub fn residual(&self) -> L {
        let sum = |list: &[L]| list.iter().fold(L::default(), |a, b| a + *b);
        sum(&self.state.heat_in) - sum(&self.state.heat_out) - (self.stored() - self.state.stored_at_start)
    }

    /// The state, to be saved.
    pub fn state(&self) -> &ThermalState<L> {
        &self.state
    }

    /// Comes back to a saved state. Panics on a state of a network of another size.
    #[inline(never)]
    pub fn restore(&mut self, state: &ThermalState<L>) {
        let sizes = |s: &ThermalState<L>| (s.modes.len(), s.boundaries.len(), s.power.len());
        assert_eq!(sizes(state), sizes(&self.state), "a thermal state of another network");
        self.state.clone_from(state);
        self.refresh();
    }

    fn start_account(&mut self) {
        self.state.heat_in.fill(L::default());
        self.state.heat_out.fill(L::default());
        self.state.carry.iter_mut().for_each(|carry| carry.fill(L::default()));
        self.state.columns.iter_mut().for_each(Column::start);
        self.state.since = 0.0;
        self.state.stored_at_start = self.stored();
        self.refresh();
    }

    fn refresh(&mut self) {
        self.temperatures.fill(self.modal.reference);
        add_product(&mut self.temperatures, &self.modal.ports, &self.state.modes);
        add_product(&mut self.temperatures, &self.modal.direct, &self.state.power);
        add_product(&mut self.temperatures, &self.modal.follow, &self.state.boundaries);
        for column in &self.state.columns {
            self.temperatures[column.input] += L::splat(column.hotter());
        }
    }
}

/// Adds with the rounding of the last addition made good (Kahan 1965): millions of equal small intervals would
/// round to one side.
#[inline(always)]
fn accumulate<L: Lane>(sum: &mut L, carry: &mut L, x: L) {
    let add = x - *carry;
    let new = *sum + add;
    *carry = (new - *sum) - add;
    *sum = new;
}

/// The values that the modes approach.
fn settle<L: Lane>(modal: &Modal<L>, modes: &mut [L], power: &[L], boundaries: &[L]) {
    modes.fill(L::default());
    add_transposed(modes, &modal.settled, power);
    add_transposed(modes, &modal.settled_boundary, boundaries);
}
