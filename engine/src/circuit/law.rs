//! A device is its equations.
//!
//! Authors write a [`Law`]; the assembler sees a [`Device`]; [`Lawful`] stands between and takes the derivatives.

use std::fmt::Debug;

use crate::arithmetic::dual::Dual;
use crate::arithmetic::lane::Lane;
use crate::arithmetic::scalar::Scalar;

/// Currents and charges of a device at its local unknowns.
#[derive(Clone, Copy, Debug)]
pub struct Flow<S, const P: usize> {
    /// Currents into the device at each port, A (for an internal unknown: the terms of its equation without d/dt).
    pub i: [S; P],
    /// Charges at each port, C (for an internal unknown: what stands under d/dt).
    pub q: [S; P],
}

/// The equations of a device with `P` local unknowns, written once over any scalar.
///
/// The device has `P − INTERNAL + 1` pins. The first `P − INTERNAL` local unknowns are the voltages of the pins
/// against the *last* pin, in V; the last `INTERNAL` ones are unknowns of the device's own (a stored charge, say).
/// The current into the last pin is minus the sum of the others, so no law can create charge. Every row obeys
/// `i + dq/dt = 0` once the surroundings are added.
pub trait Law<L: Lane, const P: usize>: Clone + Debug + Send + Sync + 'static {
    /// How many of the local unknowns are the device's own.
    const INTERNAL: usize = 0;
    /// Coefficients at one temperature.
    type Settled: Clone + Debug + Send + Sync + 'static;

    /// The coefficients at a junction temperature in K; called when the temperature moves, not in every step.
    fn settle(&self, kelvin: L) -> Self::Settled;

    /// Currents i(u) and charges q(u). C¹ or smoother, for every u.
    fn flow<S: Scalar<L>>(at: &Self::Settled, u: [S; P]) -> Flow<S, P>;
}

/// The face the assembler sees; object safe.
pub trait Device<L: Lane>: Debug + Send + Sync {
    /// Number of local unknowns P.
    fn locals(&self) -> usize;
    /// How many of them are the device's own; the device has `locals − internals + 1` pins.
    fn internals(&self) -> usize;
    /// Moves the device to a junction temperature, K.
    fn settle(&mut self, kelvin: L);
    /// Writes i (P), q (P), ∂i/∂u (P×P, row by row), ∂q/∂u (P×P) into `out`, whose length is 2P + 2P².
    fn stamp(&self, u: &[L], out: &mut [L]);
    /// Writes i (P) and q (P) only.
    fn values(&self, u: &[L], out: &mut [L]);
    /// A copy with the same coefficients.
    fn boxed(&self) -> Box<dyn Device<L>>;
}

/// Length of the buffer a stamp needs for `p` local unknowns.
pub const fn stamp_len(p: usize) -> usize {
    2 * p + 2 * p * p
}

/// Any law is a device.
#[derive(Clone, Debug)]
pub struct Lawful<L: Lane, M: Law<L, P>, const P: usize> {
    law: M,
    at: M::Settled,
}

impl<L: Lane, M: Law<L, P>, const P: usize> Lawful<L, M, P> {
    /// The law at a junction temperature, K.
    pub fn new(law: M, kelvin: L) -> Self {
        let at = law.settle(kelvin);
        Self { law, at }
    }
}

impl<L: Lane, M: Law<L, P>, const P: usize> Device<L> for Lawful<L, M, P> {
    fn locals(&self) -> usize {
        P
    }
    fn internals(&self) -> usize {
        M::INTERNAL
    }
    fn settle(&mut self, kelvin: L) {
        self.at = self.law.settle(kelvin);
    }
    #[inline]
    fn stamp(&self, u: &[L], out: &mut [L]) {
        let u: &[L; P] = u[..P].try_into().expect("the slice has P entries");
        let u: [Dual<L, P>; P] = std::array::from_fn(|k| Dual::variable(u[k], k));
        let flow = M::flow(&self.at, u);
        let out = &mut out[..stamp_len(P)];
        for k in 0..P {
            out[k] = flow.i[k].v;
            out[P + k] = flow.q[k].v;
            for j in 0..P {
                out[2 * P + k * P + j] = flow.i[k].d[j];
                out[2 * P + P * P + k * P + j] = flow.q[k].d[j];
            }
        }
    }
    fn values(&self, u: &[L], out: &mut [L]) {
        let u: [L; P] = u[..P].try_into().expect("the slice has P entries");
        let flow = M::flow(&self.at, u);
        out[..P].copy_from_slice(&flow.i);
        out[P..2 * P].copy_from_slice(&flow.q);
    }
    fn boxed(&self) -> Box<dyn Device<L>> {
        Box::new(self.clone())
    }
}
