//! From one instant to the next: at once, or attempted first.

use super::super::column::Column;
use super::super::modal::{Modal, add_product};
use super::{Decay, Thermal, ThermalState, accumulate, settle};
use crate::arithmetic::lane::Lane;

impl<L: Lane> Thermal<L> {
    /// Advances by `dt` seconds under constant power per input, W. Exact for any length. Panics when `power` has not
    /// one entry per input, or `dt` is negative or not a number.
    #[inline(never)]
    pub fn advance(&mut self, dt: f64, power: &[L]) {
        self.find(dt, power);
        self.commit();
    }

    /// What [`Thermal::advance`] would do: the largest change of any input's temperature through heat capacitances,
    /// of either sign, K. What an input does at once ([`Thermal::undelayed`]) is not in it. Nothing moves until
    /// [`Thermal::commit`]. Panics as `advance`.
    pub fn attempt(&mut self, dt: f64, power: &[L]) -> L {
        self.find(dt, power);
        let rows = self.modal.ports.chunks_exact(self.change.len().max(1));
        let each = rows.map(|row| row.iter().zip(&self.change).fold(L::default(), |s, (v, y)| s + *v * *y));
        each.fold(L::default(), |most, change| most.max(change.abs()))
    }

    /// What an interval of `dt` s does to the network: for intervals that come again and again, and are many.
    pub fn decay(&self, dt: f64) -> Decay<L> {
        Decay::new(dt, &self.modal)
    }

    /// As [`Thermal::attempt`], over an interval that is known, without telling how far temperatures go:
    /// [`Thermal::attempted`] tells where they arrive. Panics as `advance`.
    pub fn attempt_over(&mut self, decay: &Decay<L>, power: &[L]) {
        self.next.0 = decay.dt;
        self.next.1.copy_from_slice(power);
        go(&self.modal, &self.state, &decay.gone, power, &mut self.change);
    }

    /// What the temperature of an input, °C, would be after the advance attempted last. Panics on an input that does not
    /// exist.
    pub fn attempted(&self, input: usize) -> L {
        let (n, m, b) = (self.change.len(), self.next.1.len(), self.state.boundaries.len());
        let (modal, mut t) = (&*self.modal, [self.modal.reference]);
        for ((v, y), change) in
            modal.ports[input * n..(input + 1) * n].iter().zip(&self.state.modes).zip(&self.change)
        {
            t[0] += *v * (*y + *change);
        }
        add_product(&mut t, &modal.direct[input * m..(input + 1) * m], &self.next.1);
        add_product(&mut t, &modal.follow[input * b..(input + 1) * b], &self.state.boundaries);
        let own = self.state.columns.iter().filter(|c| c.input == input);
        t[0] + L::splat(own.map(Column::hotter).sum())
    }

    /// How far each mode goes.
    fn find(&mut self, dt: f64, power: &[L]) {
        assert!(dt >= 0.0 && dt.is_finite(), "an interval of {dt} s");
        self.next.0 = dt;
        self.next.1.copy_from_slice(power);
        let gone = &self.decays.over(dt, &self.modal).gone;
        go(&self.modal, &self.state, gone, power, &mut self.change);
    }

    /// Takes the advance attempted last as done; once only, and with nothing set in between.
    pub fn commit(&mut self) {
        let (dt, power) = (self.next.0, &self.next.1);
        let (modal, state) = (&*self.modal, &mut self.state);
        state.power.copy_from_slice(power);
        let [mode_carry, in_carry, out_carry] = &mut state.carry;
        for ((y, carry), change) in state.modes.iter_mut().zip(mode_carry).zip(&self.change) {
            accumulate(y, carry, *change);
        }
        // Heat out: as in the steady state, less what stays behind while the modes rise.
        let span = L::splat(dt);
        let (n, m, b) = (state.modes.len(), power.len(), state.boundaries.len());
        for (k, out) in state.heat_out.iter_mut().enumerate() {
            let mut steady = [L::default()];
            add_product(&mut steady, &modal.shares[k * m..(k + 1) * m], power);
            for (other, conductance) in modal.exchange[k * b..(k + 1) * b].iter().enumerate() {
                steady[0] += *conductance * (state.boundaries[other] - state.boundaries[k]);
            }
            let mut behind = [L::default()];
            add_product(&mut behind, &modal.drain[k * n..(k + 1) * n], &self.change);
            accumulate(out, &mut out_carry[k], steady[0] * span - behind[0]);
        }
        for ((sum, carry), p) in state.heat_in.iter_mut().zip(in_carry).zip(power) {
            accumulate(sum, carry, *p * span);
        }
        state.since += dt;
        self.refresh();
    }
}

/// How far each mode goes in an interval.
fn go<L: Lane>(modal: &Modal<L>, state: &ThermalState<L>, gone: &[L], power: &[L], change: &mut [L]) {
    settle(modal, change, power, &state.boundaries);
    for ((change, y), gone) in change.iter_mut().zip(&state.modes).zip(gone) {
        *change = *gone * (*change - *y);
    }
}
