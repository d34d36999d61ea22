//! Energies of a step of a linearly implicit method, and what else is integrated.

use super::stages::{Stages, weigh};
use crate::arithmetic::lane::Lane;
use crate::arithmetic::vector::{copy, update};
use crate::equations::system::Dissipator;
use crate::readout::{Seat, Sources};
use crate::step::state::State;
use crate::step::stepper::{Span, Stepper};

impl<L: Lane> Stepper<L> {
    /// What the accounts and integrals gain over the step.
    pub(super) fn gain(
        &mut self,
        s: &mut Stages<L>,
        state: &State<L>,
        spans: &[Span],
        seats: &mut [Seat<'_>],
    ) {
        s.mean();
        let along = &s.along;
        let system = &self.solver.system;
        let (stamps, x) = (&self.solver.stamps, &state.x);
        // The powers' change along the mean of U.
        let (devices, rest) = s.gain.split_at_mut(system.devices.len());
        let placed = system.devices.iter().zip(&self.solver.devices);
        for (((placed, device), stamp), change) in placed.zip(stamps).zip(devices) {
            let p = placed.locals.len();
            let base = along[placed.reference as usize];
            let moved = |j: usize| {
                let u = along[placed.locals[j] as usize];
                if j < placed.ports { u - base } else { u }
            };
            *change = (0..device.energetic()).fold(L::splat(0.0), |sum, k| {
                let slope = (0..p).fold(L::splat(0.0), |i, j| i + stamp[2 * p + k * p + j] * moved(j));
                sum + stamp[k] * moved(k) + stamp[2 * p + 2 * p * p + k] * slope
            });
        }
        let (heat, rest) = rest.split_at_mut(system.dissipators.len());
        let (chosen, two) = (&self.solver.prepared[self.solver.current].chosen, L::splat(2.0));
        for (change, (_, dissipator)) in heat.iter_mut().zip(&system.dissipators) {
            let across = |a: u32, b: u32| {
                let (a, b) = (a as usize, b as usize);
                two * (x[a] - x[b]) * (along[a] - along[b])
            };
            *change = match *dissipator {
                Dissipator::Across(a, b, g) => g * across(a, b),
                Dissipator::Chosen(a, b, choice) => chosen[choice.0 as usize] * across(a, b),
                Dissipator::Product(a, b, w) => {
                    let (a, b) = (a as usize, b as usize);
                    w * (x[a] * along[b] + along[a] * x[b])
                }
            };
        }
        let (sources, products) = rest.split_at_mut(system.sources.len());
        for ((change, &(row, _, _)), (value, slope)) in
            sources.iter_mut().zip(&system.sources).zip(&s.courses)
        {
            let row = row as usize;
            *change = along[row] * *value + x[row] * *slope * L::splat(s.later);
        }
        if !self.integrals.is_empty() {
            products.fill(L::splat(0.0));
            self.products_along(s, state, spans, seats);
        }
        weigh(&mut s.gain, &s.weights, &self.power);
        let h = self.h;
        s.gain.iter_mut().for_each(|gain| *gain *= h);
    }

    /// The same change of the products under the integrals.
    fn products_along(
        &mut self,
        s: &mut Stages<L>,
        state: &State<L>,
        spans: &[Span],
        seats: &mut [Seat<'_>],
    ) {
        let system = &self.solver.system;
        let along = &s.along;
        for ((placed, stamp), flow) in system.devices.iter().zip(&self.solver.stamps).zip(&mut s.flows) {
            let p = placed.locals.len();
            let base = along[placed.reference as usize];
            for (k, flow) in flow.iter_mut().enumerate().take(2 * p) {
                *flow = placed.locals.iter().enumerate().fold(stamp[k], |sum, (j, &local)| {
                    let u = along[local as usize];
                    sum + stamp[2 * p + k * p + j] * if j < placed.ports { u - base } else { u }
                });
            }
        }
        copy(&mut s.x, &state.x);
        update(&mut s.x, along, |x, u| x + u);
        let accounts = system.accounts();
        let mut moved = self.power[0].clone();
        update(&mut moved, &s.gain, |p, change| p + change);
        let stamps = &self.solver.stamps;
        let none = Sources {
            seats: &[],
            x: &[],
            power: &[],
            stamps: &[],
            celsius: &[],
            energy: &[],
            integrals: &[],
        };
        let read = |seats: &[Seat<'_>], x: &[L], power: &[L], stamps: &[Vec<L>]| -> Vec<[L; 2]> {
            let from = Sources { seats, x, power, stamps, ..none };
            self.integrals.iter().map(|(a, b)| [a.read(system, &from), b.read(system, &from)]).collect()
        };
        seats.iter_mut().zip(spans).for_each(|(seat, span)| seat.t = span.begin.next_up());
        let before = read(seats, &state.x, &self.power[0], stamps);
        seats.iter_mut().zip(spans).for_each(|(seat, span)| seat.t += s.later * span.h);
        let after = read(seats, &s.x, &moved, &s.flows);
        for ((change, [a, b]), [c, d]) in s.gain[accounts..].iter_mut().zip(before).zip(after) {
            *change = (c - a) * b + a * (d - b);
        }
    }

    /// The products under the integrals at a stage: `flows` are its devices' (the stamps at the first).
    pub(super) fn multiply_at(&mut self, i: usize, x: &[L], flows: Option<&[Vec<L>]>, seats: &[Seat<'_>]) {
        let accounts = self.solver.system.accounts();
        let (power, products) = self.power[i].split_at_mut(accounts);
        let stamps = flows.unwrap_or(&self.solver.stamps);
        let from = Sources { seats, x, power, stamps, celsius: &[], energy: &[], integrals: &[] };
        for (product, (a, b)) in products.iter_mut().zip(&self.integrals) {
            *product = a.read(&self.solver.system, &from) * b.read(&self.solver.system, &from);
        }
    }
}
