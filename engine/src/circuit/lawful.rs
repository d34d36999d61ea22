//! Between laws and the assembler: the only place where derivatives are taken.

use std::any::Any;

use wide::{f64x4, f64x8};

use crate::arithmetic::dual::Dual;
use crate::arithmetic::lane::Lane;
use crate::circuit::law::{Device, Flow, Joins, Law, StampLocation, Valve, stamp_len};

/// Any law is a device.
#[derive(Clone, Debug)]
pub struct Lawful<L: Lane, M: Law<L, P>, const P: usize> {
    law: M,
    kelvin: L,
    at: M::AtTemperature,
}

impl<L: Lane, M: Law<L, P>, const P: usize> Lawful<L, M, P> {
    /// The law at a junction temperature, K.
    pub fn new(law: M, kelvin: L) -> Self {
        let at = law.at_temperature(kelvin);
        Self { law, kelvin, at }
    }

    fn in_lanes<K: Lane>(each: &[&dyn Device<L>]) -> Option<Box<dyn Device<K>>> {
        let (mut laws, mut kelvin) = (Vec::with_capacity(each.len()), K::default());
        for (k, &device) in each.iter().enumerate() {
            let any: &dyn Any = device;
            let one = any.downcast_ref::<Self>()?;
            laws.push(&one.law);
            kelvin.set_lane(k, one.kelvin.lane(0));
        }
        M::in_lanes(&laws, kelvin)
    }

    /// How many of the local unknowns are port voltages.
    const PORTS: usize = P - M::INTERNAL;
    /// How many of the rows count as power.
    const ENERGETIC: usize = if M::CURRENTS { P } else { Self::PORTS };

    #[inline(always)]
    fn take(locals: &[u32; P], reference: u32, x: &[L]) -> [L; P] {
        let base = x[reference as usize];
        std::array::from_fn(|k| {
            let value = x[locals[k] as usize];
            if k < Self::PORTS { value - base } else { value }
        })
    }
}

/// i, q, ∂i/∂u, ∂q/∂u one after the other.
#[inline(always)]
fn keep<L: Lane, const P: usize>(flow: &Flow<Dual<L, P>, P>, out: &mut [L]) {
    for k in 0..P {
        out[k] = flow.i[k].v;
        out[P + k] = flow.q[k].v;
        for j in 0..P {
            out[2 * P + k * P + j] = flow.i[k].d[j];
            out[2 * P + P * P + k * P + j] = flow.q[k].d[j];
        }
    }
}

impl<L: Lane, M: Law<L, P>, const P: usize> Device<L> for Lawful<L, M, P> {
    fn locals(&self) -> usize {
        P
    }
    fn internals(&self) -> usize {
        M::INTERNAL
    }
    fn absolute_tolerance(&self) -> f64 {
        M::ABSOLUTE_TOLERANCE
    }
    fn energetic(&self) -> usize {
        Self::ENERGETIC
    }
    fn joins(&self) -> Joins {
        M::JOINS
    }
    fn is_resistance(&self) -> bool {
        M::RESISTANCE
    }
    fn valve(&self) -> Option<Valve> {
        M::valve(&self.at)
    }
    #[inline(never)]
    fn set_temperature(&mut self, kelvin: L) {
        self.kelvin = kelvin;
        self.at = self.law.at_temperature(kelvin);
    }
    #[inline(never)]
    fn evaluate(&self, u: &[L], out: &mut [L]) {
        let u: &[L; P] = u[..P].try_into().expect("the slice has P entries");
        let u: [Dual<L, P>; P] = std::array::from_fn(|k| Dual::variable(u[k], k));
        let flow = M::flow(&self.at, u);
        keep(&flow, &mut out[..2 * P + 2 * P * P]);
    }
    #[inline(never)]
    fn stamp(
        &self,
        location: &StampLocation<'_>,
        alpha: L,
        x: &[L],
        stamp: &mut [L],
        a: &mut [L],
        b: &mut [L],
    ) {
        let locals: &[u32; P] = location.locals.try_into().expect("as many locals as the law has");
        let slots = &location.slots[..(P + 1) * (P + 1)];
        let stamp = &mut stamp[..stamp_len(P)];
        let u = Self::take(locals, location.reference, x);
        let flow = M::flow(&self.at, std::array::from_fn(|k| Dual::<L, P>::variable(u[k], k)));
        keep(&flow, stamp);
        stamp[2 * P + 2 * P * P..].copy_from_slice(&u);
        let zero = L::splat(0.0);
        let mut column = [zero; P];
        let (mut corner, mut reference) = (zero, zero);
        for k in 0..P {
            let mut right = flow.i[k].v + alpha * flow.q[k].v;
            let mut row = zero;
            for j in 0..P {
                let slope = flow.i[k].d[j] + alpha * flow.q[k].d[j];
                right -= slope * u[j];
                a[slots[k * (P + 1) + j] as usize] += slope;
                if j < Self::PORTS {
                    row += slope;
                }
                if k < Self::PORTS {
                    column[j] += slope;
                }
            }
            a[slots[k * (P + 1) + P] as usize] -= row;
            b[locals[k] as usize] -= right;
            if k < Self::PORTS {
                corner += row;
                reference += right;
            }
        }
        for j in 0..P {
            a[slots[P * (P + 1) + j] as usize] -= column[j];
        }
        a[slots[P * (P + 1) + P] as usize] += corner;
        b[location.reference as usize] += reference;
    }
    #[inline(never)]
    fn commit(&self, location: &StampLocation<'_>, x: &[L], stamp: &mut [L], q: &mut [L]) -> L {
        let locals: &[u32; P] = location.locals.try_into().expect("as many locals as the law has");
        let stamp = &mut stamp[..stamp_len(P)];
        let u = Self::take(locals, location.reference, x);
        let moved: [L; P] = std::array::from_fn(|k| u[k] - stamp[2 * P + 2 * P * P + k]);
        let (mut power, mut reference) = (L::splat(0.0), L::splat(0.0));
        for k in 0..P {
            let (mut i, mut charge) = (stamp[k], stamp[P + k]);
            for j in 0..P {
                i += stamp[2 * P + k * P + j] * moved[j];
                charge += stamp[2 * P + P * P + k * P + j] * moved[j];
            }
            stamp[k] = i;
            stamp[P + k] = charge;
            stamp[2 * P + 2 * P * P + k] = u[k];
            q[locals[k] as usize] += charge;
            if k < Self::ENERGETIC {
                power += u[k] * i;
            }
            if k < Self::PORTS {
                reference += charge;
            }
        }
        q[location.reference as usize] -= reference;
        power
    }
    #[inline(never)]
    fn values(&self, u: &[L], out: &mut [L]) {
        let u: [L; P] = u[..P].try_into().expect("the slice has P entries");
        let flow = M::flow(&self.at, u);
        out[..P].copy_from_slice(&flow.i);
        out[P..2 * P].copy_from_slice(&flow.q);
    }
    #[inline(never)]
    fn restamp(&self, location: &StampLocation<'_>, alpha: L, stamp: &[L], b: &mut [L]) {
        let locals: &[u32; P] = location.locals.try_into().expect("as many locals as the law has");
        let stamp = &stamp[..stamp_len(P)];
        let u = &stamp[2 * P + 2 * P * P..];
        let mut reference = L::splat(0.0);
        for k in 0..P {
            let mut right = stamp[k] + alpha * stamp[P + k];
            for j in 0..P {
                right -= (stamp[2 * P + k * P + j] + alpha * stamp[2 * P + P * P + k * P + j]) * u[j];
            }
            b[locals[k] as usize] -= right;
            if k < Self::PORTS {
                reference += right;
            }
        }
        b[location.reference as usize] += reference;
    }
    #[inline(never)]
    fn linearise(&self, location: &StampLocation<'_>, x: &[L], stamp: &mut [L]) -> L {
        let locals: &[u32; P] = location.locals.try_into().expect("as many locals as the law has");
        let stamp = &mut stamp[..stamp_len(P)];
        let u = Self::take(locals, location.reference, x);
        self.evaluate(&u, stamp);
        stamp[2 * P + 2 * P * P..].copy_from_slice(&u);
        (0..Self::ENERGETIC).fold(L::splat(0.0), |power, k| power + u[k] * stamp[k])
    }
    #[inline(never)]
    fn slopes(&self, location: &StampLocation<'_>, alpha: L, stamp: &[L], a: &mut [L]) {
        let slots = &location.slots[..(P + 1) * (P + 1)];
        let (g, c) = stamp[2 * P..2 * P + 2 * P * P].split_at(P * P);
        let zero = L::splat(0.0);
        let mut column = [zero; P];
        let mut corner = zero;
        for k in 0..P {
            let mut row = zero;
            for j in 0..P {
                let slope = g[k * P + j] + alpha * c[k * P + j];
                a[slots[k * (P + 1) + j] as usize] += slope;
                if j < Self::PORTS {
                    row += slope;
                }
                if k < Self::PORTS {
                    column[j] += slope;
                }
            }
            a[slots[k * (P + 1) + P] as usize] -= row;
            if k < Self::PORTS {
                corner += row;
            }
        }
        for j in 0..P {
            a[slots[P * (P + 1) + j] as usize] -= column[j];
        }
        a[slots[P * (P + 1) + P] as usize] += corner;
    }
    #[inline(never)]
    fn stage(
        &self,
        location: &StampLocation<'_>,
        alpha: L,
        x: &[L],
        stamp: &[L],
        flow: &mut [L],
        b: &mut [L],
    ) -> L {
        let locals: &[u32; P] = location.locals.try_into().expect("as many locals as the law has");
        let flow = &mut flow[..3 * P];
        let (g, c) = stamp[2 * P..2 * P + 2 * P * P].split_at(P * P);
        let u = Self::take(locals, location.reference, x);
        let there = M::flow(&self.at, u);
        let (mut power, mut reference) = (L::splat(0.0), L::splat(0.0));
        for k in 0..P {
            let (mut i, mut q) = (there.i[k], there.q[k]);
            flow[k] = i;
            flow[P + k] = q;
            if k < Self::ENERGETIC {
                power += u[k] * i;
            }
            for j in 0..P {
                i -= g[k * P + j] * u[j];
                q -= c[k * P + j] * u[j];
            }
            flow[2 * P + k] = q;
            let right = i + alpha * q;
            b[locals[k] as usize] -= right;
            if k < Self::PORTS {
                reference += right;
            }
        }
        b[location.reference as usize] += reference;
        power
    }
    #[inline(never)]
    fn charges(&self, location: &StampLocation<'_>, x: &[L], stamp: &[L], flow: &[L], q: &mut [L]) {
        let locals: &[u32; P] = location.locals.try_into().expect("as many locals as the law has");
        let c = &stamp[2 * P + P * P..2 * P + 2 * P * P];
        let flow = &flow[2 * P..3 * P];
        let u = Self::take(locals, location.reference, x);
        let mut reference = L::splat(0.0);
        for k in 0..P {
            let charge = (0..P).fold(flow[k], |charge, j| charge + c[k * P + j] * u[j]);
            q[locals[k] as usize] += charge;
            if k < Self::PORTS {
                reference += charge;
            }
        }
        q[location.reference as usize] -= reference;
    }
    #[inline(never)]
    fn mismatch(
        &self,
        location: &StampLocation<'_>,
        alpha: L,
        change: &[L],
        [stamp, ahead]: [&[L]; 2],
        flow: &[L],
        b: &mut [L],
    ) {
        let locals: &[u32; P] = location.locals.try_into().expect("as many locals as the law has");
        let (g, c) = stamp[2 * P..2 * P + 2 * P * P].split_at(P * P);
        let (ahead, flow) = (&ahead[..2 * P], &flow[..2 * P]);
        let moved = Self::take(locals, location.reference, change);
        let mut reference = L::splat(0.0);
        for k in 0..P {
            let (mut i, mut q) = (ahead[k] - flow[k], ahead[P + k] - flow[P + k]);
            for j in 0..P {
                i -= g[k * P + j] * moved[j];
                q -= c[k * P + j] * moved[j];
            }
            let off = i + alpha * q;
            b[locals[k] as usize] -= off;
            if k < Self::PORTS {
                reference += off;
            }
        }
        b[location.reference as usize] += reference;
    }
    #[inline(never)]
    fn charging(&self, location: &StampLocation<'_>, x0: &[L], x1: &[L], places: &[(f64, f64)]) -> (L, L) {
        let locals: &[u32; P] = location.locals.try_into().expect("as many locals as the law has");
        let (u0, u1) =
            (Self::take(locals, location.reference, x0), Self::take(locals, location.reference, x1));
        let mut ends = [u0, u1];
        for u in &mut ends {
            *u = M::flow(&self.at, *u).q;
        }
        let [q0, q1] = ends;
        // ∫u·dq = u₁·(q₁ − q₀) − ∫(q − q₀)·du.
        let (mut way, mut size) = (L::splat(0.0), L::splat(0.0));
        for k in 0..Self::ENERGETIC {
            let term = u1[k] * (q1[k] - q0[k]);
            way += term;
            size += term.abs() + u1[k].abs() * q0[k].abs();
        }
        for &(place, weight) in places {
            let (s, weight) = (L::splat(place), L::splat(weight));
            let q = M::flow(&self.at, std::array::from_fn(|k| u0[k] + (u1[k] - u0[k]) * s)).q;
            for k in 0..Self::ENERGETIC {
                way -= (q[k] - q0[k]) * (u1[k] - u0[k]) * weight;
            }
        }
        (way, size)
    }
    #[inline(never)]
    fn boxed(&self) -> Box<dyn Device<L>> {
        Box::new(self.clone())
    }
    #[inline(never)]
    fn in_four_lanes(&self, each: &[&dyn Device<L>]) -> Option<Box<dyn Device<f64x4>>> {
        // Known when compiled: nothing is compiled for lanes of lanes.
        if const { L::WIDTH == 1 } { Self::in_lanes(each) } else { None }
    }
    #[inline(never)]
    fn in_eight_lanes(&self, each: &[&dyn Device<L>]) -> Option<Box<dyn Device<f64x8>>> {
        // Known when compiled: nothing is compiled for lanes of lanes.
        if const { L::WIDTH == 1 } { Self::in_lanes(each) } else { None }
    }
}
