//! Decays of a network's modes over the lengths of interval that recur.

use super::modal::{Modal, approach};
use crate::arithmetic::lane::Lane;

/// How many lengths are kept: those of a schedule of steps, and a few more.
const KEPT: usize = 32;

/// What one length of interval does to a network.
#[derive(Debug, Clone)]
pub struct Decay<L> {
    pub(super) dt: f64,
    /// 1 − e^(−λ·dt): the part of the way to the settled value that a mode goes.
    pub(super) gone: Vec<L>,
}

impl<L: Lane> Decay<L> {
    pub(super) fn new(dt: f64, modal: &Modal<L>) -> Self {
        Self { dt, gone: modal.rates.iter().map(|rate| approach(*rate * L::splat(dt))).collect() }
    }
}

/// Decays by length of interval. A length that comes again moves forward by one place; one that is new takes the last
/// place. So lengths that recur stay, and those that come once replace each other.
#[derive(Debug, Clone, Default)]
pub(super) struct Decays<L> {
    list: Vec<Decay<L>>,
}

impl<L: Lane> Decays<L> {
    /// That of an interval of `dt` s. Its numbers depend on nothing but `dt` and the network.
    pub(super) fn over(&mut self, dt: f64, modal: &Modal<L>) -> &Decay<L> {
        if let Some(k) = self.list.iter().position(|d| d.dt == dt) {
            let forward = k.saturating_sub(1);
            self.list.swap(k, forward);
            return &self.list[forward];
        }
        if self.list.len() < KEPT {
            self.list.push(Decay { dt, gone: vec![L::default(); modal.rates.len()] });
        }
        let last = self.list.len() - 1;
        let decay = &mut self.list[last];
        decay.dt = dt;
        let span = L::splat(dt);
        for (gone, rate) in decay.gone.iter_mut().zip(&modal.rates) {
            *gone = approach(*rate * span);
        }
        decay
    }
}
