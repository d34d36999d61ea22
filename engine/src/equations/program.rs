//! The elimination order of a system with the slot of every entry: what the time loop writes into.

use sprs::{CsMatI, TriMatI};

use super::order::{NoPivot, Order};
use super::replay::Replay;
use super::system::{Placed, System};
use crate::arithmetic::lane::Lane;
use crate::arithmetic::vector::padded;
use crate::circuit::law::StampLocation;

/// Slots of one system under one elimination order.
#[derive(Clone, Debug)]
pub struct Program {
    /// Factor and solve.
    pub replay: Replay,
    /// Slot of each entry of `System::g`.
    g: Vec<u32>,
    /// Slot of each entry of `System::c`.
    c: Vec<u32>,
    /// Slots (a,a), (a,b), (b,a), (b,b) of each chosen conductance.
    chosen: Vec<[u32; 4]>,
    /// Slots of each device: (locals + reference)² row by row.
    devices: Vec<Vec<u32>>,
    /// The spare slot that takes what belongs to ground.
    spare: u32,
}

/// (row, column) of every entry a device may write, the reference last.
fn device_entries(device: &Placed) -> impl Iterator<Item = (u32, u32)> + '_ {
    let all = || device.locals.iter().copied().chain([device.reference]);
    all().flat_map(move |r| all().map(move |c| (r, c)))
}

impl Program {
    /// Chooses an order on representative values: the matrix αC + G with the devices' stamps (lane 0),
    /// and the given conductances of the choices.
    ///
    /// # Errors
    /// When the matrix is singular there.
    pub fn compile<L: Lane>(
        system: &System<L>,
        alpha: f64,
        choices: &[usize],
        stamps: &[Vec<L>],
    ) -> Result<Self, NoPivot> {
        let n = system.n;
        let mut entries: TriMatI<f64, u32> = TriMatI::new((n, n));
        let mut add = |r: u32, c: u32, x: f64| {
            if (r as usize) < n && (c as usize) < n {
                entries.add_triplet(r as usize, c as usize, x);
            }
        };
        for &(r, c, x) in &system.g {
            add(r, c, x.lane(0));
        }
        for &(r, c, x) in &system.c {
            add(r, c, alpha * x.lane(0));
        }
        for &(choice, a, b) in &system.chosen {
            let g = system.circuit.choices[choice.0 as usize].options[choices[choice.0 as usize]].lane(0);
            for (r, c, x) in [(a, a, g), (a, b, -g), (b, a, -g), (b, b, g)] {
                add(r, c, x);
            }
        }
        for (device, stamp) in system.devices.iter().zip(stamps) {
            let p = device.locals.len();
            let mut block = vec![0.0; (p + 1) * (p + 1)];
            spread(device, stamp, L::splat(alpha), |k, x| block[k] += x.lane(0));
            for ((r, c), x) in device_entries(device).zip(block) {
                add(r, c, x);
            }
        }
        let mut matrix: CsMatI<f64, u32> = entries.to_csr();
        // The crate sums what falls on one place in the order of its sorting; pivots must not depend on that.
        matrix.data_mut().fill(0.0);
        for (x, (r, c)) in &entries {
            matrix[[r as usize, c as usize]] += x;
        }
        let order = Order::choose(matrix, |k| k >= system.inner)?;
        let spare = order.slots as u32;
        let slot = |r: u32, c: u32| order.slot(r as usize, c as usize).unwrap_or(spare);
        // An iteration's matrix holds the inner slots only, with its spare for ground right behind them.
        let inner = order.inner_slots as u32;
        let slots = |d: &Placed| device_entries(d).map(|(r, c)| slot(r, c).min(inner)).collect();
        Ok(Self {
            g: system.g.iter().map(|&(r, c, _)| slot(r, c)).collect(),
            c: system.c.iter().map(|&(r, c, _)| slot(r, c)).collect(),
            chosen: system
                .chosen
                .iter()
                .map(|&(_, a, b)| [slot(a, a), slot(a, b), slot(b, a), slot(b, b)])
                .collect(),
            devices: system.devices.iter().map(slots).collect(),
            spare,
            replay: Replay::new(order),
        })
    }

    /// The constant part αC + G, with its outer pivots factored, into `a`; `chosen` is the conductance of each choice.
    /// Returns the element growth of each lane.
    pub fn prepare<L: Lane>(&self, system: &System<L>, alpha: L, chosen: &[L], a: &mut Vec<L>) -> L {
        a.clear();
        // Room for the block-wise copy of the inner slots.
        a.resize(padded::<L>(self.spare as usize + 1) + 8, L::splat(0.0));
        for (&slot, &(_, _, x)) in self.g.iter().zip(&system.g) {
            a[slot as usize] += x;
        }
        for (&slot, &(_, _, x)) in self.c.iter().zip(&system.c) {
            a[slot as usize] += alpha * x;
        }
        for (slots, &(choice, _, _)) in self.chosen.iter().zip(&system.chosen) {
            let g = chosen[choice.0 as usize];
            for (slot, x) in slots.iter().zip([g, -g, -g, g]) {
                a[*slot as usize] += x;
            }
        }
        // What was written for ground must not leak into the growth measure.
        a[self.spare as usize] = L::splat(0.0);
        self.replay.factor_outer(a)
    }

    /// Where the devices sit, in their order.
    #[inline(always)]
    pub fn locations<'a>(&'a self, placed: &'a [Placed]) -> impl Iterator<Item = StampLocation<'a>> {
        let location = |(d, slots): (&'a Placed, &'a Vec<u32>)| StampLocation {
            locals: &d.locals,
            reference: d.reference,
            slots,
        };
        placed.iter().zip(&self.devices).map(location)
    }
}

/// Calls `add(entry, value)` for each of the (P+1)² entries of g + αc, the reference being minus the sum of the ports.
#[inline(always)]
fn spread<L: Lane>(device: &Placed, stamp: &[L], alpha: L, mut add: impl FnMut(usize, L)) {
    let p = device.locals.len();
    let (g, c) = (&stamp[2 * p..2 * p + p * p], &stamp[2 * p + p * p..2 * p + 2 * p * p]);
    let width = p + 1;
    let mut corner = L::splat(0.0);
    for k in 0..p {
        let mut row = L::splat(0.0);
        for j in 0..p {
            let x = g[k * p + j] + alpha * c[k * p + j];
            add(k * width + j, x);
            if j < device.ports {
                row += x;
            }
            if k < device.ports {
                add(p * width + j, -x);
            }
        }
        add(k * width + p, -row);
        if k < device.ports {
            corner += row;
        }
    }
    add(p * width + p, corner);
}
