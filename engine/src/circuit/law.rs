//! A device is its equations.
//!
//! Authors write a [`Law`]; the assembler sees a [`Device`]; [`Lawful`] stands between and takes the derivatives.

use std::any::Any;
use std::fmt::Debug;

use wide::{f64x4, f64x8};

use crate::arithmetic::dual::Dual;
use crate::arithmetic::lane::Lane;
use crate::arithmetic::lockstep::Lockstep;
use crate::arithmetic::scalar::Scalar;

/// Currents and charges of a device at its local unknowns.
#[derive(Clone, Copy, Debug)]
pub struct Flow<S, const P: usize> {
    /// Currents into the device at each port, A (for an internal unknown: the terms of its equation without d/dt).
    pub i: [S; P],
    /// Charges at each port, C (for an internal unknown: what stands under d/dt).
    pub q: [S; P],
}

/// Which pins of a device direct current can flow between, from the graph's point of view: whether a node floats is
/// decided with it before any number is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Joins {
    /// Every pin conducts to every other.
    All,
    /// Groups of pins (numbers in the device's order, the last pin included) that conduct to each other. A pin in no
    /// group carries charge only: the gate of a MOSFET (`Groups(&[&[0, 2]])` for drain, gate, source), either pin of
    /// a C(V) (`Groups(&[])`).
    Groups(&'static [&'static [usize]]),
}

/// A device of two pins that is straight on both sides of a threshold: i = off·v + on·max(v − threshold, 0).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Valve {
    /// Voltage from which it conducts, V.
    pub threshold: f64,
    /// What the conductance grows by there, S.
    pub on: f64,
    /// Conductance below it, S.
    pub off: f64,
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
    /// A change of the device's own unknowns that is too small to matter, in their unit: where a Newton iteration moves
    /// them by less, it need not be followed by another. The default leaves it to the relative tolerance.
    const ABSOLUTE_TOLERANCE: f64 = 1e-15;
    /// Whether its own unknowns are currents, and fluxes stand under their d/dt: their rows then count as power and
    /// stored energy, as those of the pins do.
    const CURRENTS: bool = false;
    /// Which pins direct current can flow between; narrow it where a pin is insulated.
    const JOINS: Joins = Joins::All;
    /// Whether it is a resistance between two pins.
    const RESISTANCE: bool = false;
    /// Coefficients at one temperature.
    type AtTemperature: Clone + Debug + Send + Sync + 'static;

    /// The coefficients at a junction temperature in K; called when the temperature moves, not in every step.
    fn at_temperature(&self, kelvin: L) -> Self::AtTemperature;

    /// The law as a valve, if it is one and the same in all lanes: circuits of such devices and linear components are
    /// solved by pieces.
    fn valve(at: &Self::AtTemperature) -> Option<Valve> {
        let _ = at;
        None
    }

    /// Currents i(u) and charges q(u). C¹ or smoother, for every u; a valve has a corner at its threshold.
    fn flow<S: Scalar<L>>(at: &Self::AtTemperature, u: [S; P]) -> Flow<S, P>;

    /// The laws of one variant for each lane of `K`, in lockstep, at a junction temperature in K: what [`side_by_side`]
    /// makes of a law that is [`Lockstep`]. `None` where they differ in more than numbers, or (as without this method)
    /// the law knows no lanes.
    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        let _ = (each, kelvin);
        None
    }
}

/// The body of [`Law::in_lanes`].
pub fn side_by_side<L, M, K, const P: usize>(each: &[&M], kelvin: K) -> Option<Box<dyn Device<K>>>
where
    L: Lane,
    K: Lane,
    M: Law<L, P> + Lockstep<Of<K>: Law<K, P>>,
{
    Some(Box::new(Lawful::<K, M::Of<K>, P>::new(M::lockstep::<K>(each)?, kelvin)))
}

/// The face the assembler sees; object safe.
pub trait Device<L: Lane>: Any + Debug + Send + Sync {
    /// Number of local unknowns P.
    fn locals(&self) -> usize;
    /// How many of them are the device's own; the device has `locals − internals + 1` pins.
    fn internals(&self) -> usize;
    /// A change of its own unknowns that is too small to matter, in their unit.
    fn absolute_tolerance(&self) -> f64 {
        1e-15
    }
    /// Of how many local unknowns the rows count as power and stored energy: those of the pins, and of own currents.
    fn energetic(&self) -> usize {
        self.locals() - self.internals()
    }
    /// Which pins direct current can flow between.
    fn joins(&self) -> Joins {
        Joins::All
    }
    /// Whether it is a resistance between two pins.
    fn is_resistance(&self) -> bool {
        false
    }
    /// The device as a valve, if it is one.
    fn valve(&self) -> Option<Valve> {
        None
    }
    /// Moves the device to a junction temperature, K.
    fn set_temperature(&mut self, kelvin: L);
    /// Writes i (P), q (P), ∂i/∂u (P×P, row by row), ∂q/∂u (P×P) into the
    /// first 2P + 2P² entries of `out`.
    fn evaluate(&self, u: &[L], out: &mut [L]);
    /// Writes i (P) and q (P) only.
    fn values(&self, u: &[L], out: &mut [L]);
    /// One Newton iteration's work: takes the local unknowns from `x`, computes the stamp there (kept in `stamp`,
    /// behind it the local unknowns themselves), adds ∂i/∂u + α·∂q/∂u to the matrix `a` and the linearised
    /// −(i + αq) to the right-hand side `b`.
    fn stamp(
        &self,
        location: &StampLocation<'_>,
        alpha: L,
        x: &[L],
        stamp: &mut [L],
        a: &mut [L],
        b: &mut [L],
    );
    /// Once `x` is found: moves the kept stamp along its tangent to `x`, adds the charges to `q`, and returns the
    /// power dissipated, W.
    fn commit(&self, location: &StampLocation<'_>, x: &[L], stamp: &mut [L], q: &mut [L]) -> L;
    /// Adds the right-hand side of the kept stamp, as [`Device::stamp`] would at the point where it was kept.
    fn restamp(&self, location: &StampLocation<'_>, alpha: L, stamp: &[L], b: &mut [L]);
    /// A copy with the same coefficients.
    fn boxed(&self) -> Box<dyn Device<L>>;
    /// Devices of four variants in lockstep, this one among them; `None` where that cannot be.
    fn in_four_lanes(&self, each: &[&dyn Device<L>]) -> Option<Box<dyn Device<f64x4>>> {
        let _ = each;
        None
    }
    /// Devices of eight variants in lockstep, this one among them; `None` where that cannot be.
    fn in_eight_lanes(&self, each: &[&dyn Device<L>]) -> Option<Box<dyn Device<f64x8>>> {
        let _ = each;
        None
    }
}

/// Where a device stands in the equations.
#[derive(Clone, Copy, Debug)]
pub struct StampLocation<'a> {
    /// Unknown (and row) of each local unknown.
    pub locals: &'a [u32],
    /// Unknown of the last pin, against which the ports count.
    pub reference: u32,
    /// Matrix slots of the (P+1)² entries, row by row, the reference last.
    pub slots: &'a [u32],
}

/// Length of the buffer a stamp needs for `p` local unknowns: i, q, ∂i/∂u, ∂q/∂u, and u.
pub const fn stamp_len(p: usize) -> usize {
    3 * p + 2 * p * p
}

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
