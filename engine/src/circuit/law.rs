//! A device is its equations.
//!
//! Authors write a [`Law`]; the assembler sees a [`Device`]; [`Lawful`] stands between and takes
//! the derivatives.

use std::any::Any;
use std::fmt::Debug;

use wide::{f64x4, f64x8};

use crate::arithmetic::lane::Lane;
use crate::arithmetic::lockstep::Lockstep;
use crate::arithmetic::scalar::Scalar;
use crate::circuit::lawful::Lawful;

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
    /// Of how many own currents it keeps fluxes.
    fn fluxes(&self) -> usize {
        self.energetic() + self.internals() - self.locals()
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
    /// Takes the local unknowns from `x` and keeps the stamp there; returns the power dissipated, W.
    fn linearise(&self, location: &StampLocation<'_>, x: &[L], stamp: &mut [L]) -> L;
    /// Adds ∂i/∂u + α·∂q/∂u of the kept stamp to the matrix `a`.
    fn slopes(&self, location: &StampLocation<'_>, alpha: L, stamp: &[L], a: &mut [L]);
    /// A stage of a linearly implicit method: currents and charges at `x` into `flow`, and to the right-hand side `b`
    /// minus what of them the slopes of the kept stamp leave, i + αq − (∂i/∂u + α·∂q/∂u)·u. Behind currents and charges
    /// `flow` has q − ∂q/∂u·u. Returns the power dissipated at `x`, W.
    fn stage(
        &self,
        location: &StampLocation<'_>,
        alpha: L,
        x: &[L],
        stamp: &[L],
        flow: &mut [L],
        b: &mut [L],
    ) -> L;
    /// Adds the charges along the tangent at `x` of the stage whose `flow` it is.
    fn charges(&self, location: &StampLocation<'_>, x: &[L], stamp: &[L], flow: &[L], q: &mut [L]);
    /// At the end of a step of a linearly implicit method: takes off `b` by how much currents and charges of the stamp
    /// `ahead`, taken there, differ from the last stage's `flow` and its tangent along `change`, with the slopes of the
    /// stamp at the start.
    fn mismatch(
        &self,
        location: &StampLocation<'_>,
        alpha: L,
        change: &[L],
        stamps: [&[L]; 2],
        flow: &[L],
        b: &mut [L],
    );
    /// ∫u·dq of the ports, and of its own currents, along the straight way from one solution to another, J, and the
    /// size of its terms; `places` are those of a quadrature on 0 ‥ 1, each with its weight.
    fn charging(&self, location: &StampLocation<'_>, x0: &[L], x1: &[L], places: &[(f64, f64)]) -> (L, L);
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
