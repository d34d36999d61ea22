//! The energy ledger: delivered by each source, dissipated in each part, change of what each part stores.
//!
//! Delivered and dissipated energies are integrated with the method's own weights at its stages, where the circuit's
//! equations hold, so that their balance with ∫v·dq closes to the tolerance of Newton's iteration. The stored energy
//! is a function of the state, W = ∫ u·dq along a straight path from zero. What the two ways of counting differ by is
//! the error of the time steps: the residual tells it.

use crate::arithmetic::lane::Lane;
use crate::circuit::graph::{Body, ComponentId};
use crate::circuit::law::Device;
use crate::equations::system::System;
use crate::step::state::State;

/// One component's line.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry<L> {
    /// The component.
    pub name: String,
    /// Its kind.
    pub kind: &'static str,
    /// Energy it gave to the circuit as a source, J (negative: taken).
    pub delivered: L,
    /// Energy it dissipated, J.
    pub dissipated: L,
    /// Change of the energy it stores, J.
    pub stored: L,
}

/// The account of a run so far.
#[derive(Clone, Debug, PartialEq)]
pub struct Ledger<L> {
    /// A line per component.
    pub entries: Vec<Entry<L>>,
    /// Σ delivered − Σ dissipated − Σ stored, J.
    pub residual: L,
    /// Σ of what sources gave, counting only those that gave, J; of the decrease of storage where that is larger; and of
    /// what sources had given by an earlier instant at which the run looked, where they took some of it back since.
    pub turnover: L,
    /// The largest energy that one component stores, at the start or now, J.
    pub largest: L,
}

/// The least energy that a residual is held against, J.
const LEAST: f64 = 1e-12;
/// The ledger is closed up to this share of what it is held against.
pub const CLOSED: f64 = 1e-4;

impl<L: Lane> Ledger<L> {
    /// Residual over the energy turned over, or the largest that is stored in one component, or 1 pJ, whichever is most;
    /// the largest of all lanes.
    pub fn relative(&self) -> f64 {
        let of = |lane: usize| {
            let against = self.turnover.lane(lane).max(self.largest.lane(lane)).max(LEAST);
            self.residual.lane(lane).abs() / against
        };
        // NaN where there is one.
        (0..L::WIDTH).map(of).fold(0.0, |a, b| if b <= a { a } else { b })
    }
}

impl Ledger<f64> {
    /// The account of the time since an earlier one of the same run.
    #[must_use]
    pub fn since(&self, before: &Self) -> Self {
        self.joined(before, -1.0)
    }

    /// The account of its time and another's, of the same circuit.
    #[must_use]
    pub fn and(&self, other: &Self) -> Self {
        self.joined(other, 1.0)
    }

    fn joined(&self, other: &Self, sign: f64) -> Self {
        let mut all = self.clone();
        for (entry, other) in all.entries.iter_mut().zip(&other.entries) {
            entry.delivered += sign * other.delivered;
            entry.dissipated += sign * other.dissipated;
            entry.stored += sign * other.stored;
        }
        all.residual += sign * other.residual;
        all.turnover = all.entries.iter().map(|e| e.delivered.max(0.0)).sum();
        // What is stored all the time is no measure for what goes over meanwhile.
        all.largest = 0.0;
        all
    }
}

impl<L: Lane> Ledger<L> {
    /// The account of one lane.
    pub fn lane(&self, lane: usize) -> Ledger<f64> {
        let entry = |e: &Entry<L>| Entry {
            name: e.name.clone(),
            kind: e.kind,
            delivered: e.delivered.lane(lane),
            dissipated: e.dissipated.lane(lane),
            stored: e.stored.lane(lane),
        };
        Ledger {
            entries: self.entries.iter().map(entry).collect(),
            residual: self.residual.lane(lane),
            turnover: self.turnover.lane(lane),
            largest: self.largest.lane(lane),
        }
    }
}

/// Energy stored in each component at a state, J.
pub fn stored<L: Lane>(system: &System<L>, devices: &[Box<dyn Device<L>>], x: &[L]) -> Vec<L> {
    let zero = L::splat(0.0);
    let mut out = vec![zero; system.circuit.components.len()];
    for (k, component) in system.circuit.components.iter().enumerate() {
        let Body::Linear(linear) = &component.body else { continue };
        let pins = component.pins.len();
        let value = |local: usize| match component.pins.get(local) {
            Some(node) => x[system.unknown_of_node(*node)],
            None => x[system.own_unknown(ComponentId(k as u32), local - pins)],
        };
        for &(r, c, e) in &linear.c {
            out[k] += L::splat(0.5) * e * value(r) * value(c);
        }
    }
    for (device, placed) in devices.iter().zip(&system.devices) {
        out[placed.component.0 as usize] =
            device_energy(device.as_ref(), device.energetic(), &placed.locals_at(x));
    }
    out
}

/// W(u) = ∫₀¹ u·(∂q/∂u)(s·u)·u·s ds: the work of charging along a straight path, by adaptive Gauss–Kronrod
/// quadrature (7, 15 points; Kronrod 1965).
pub fn device_energy<L: Lane>(device: &dyn Device<L>, rows: usize, u: &[L]) -> L {
    let p = u.len();
    let mut stamp = vec![L::splat(0.0); crate::circuit::law::stamp_len(p)];
    let mut integrand = |s: f64| {
        let scaled: Vec<L> = u.iter().map(|x| *x * L::splat(s)).collect();
        device.evaluate(&scaled, &mut stamp);
        let mut sum = L::splat(0.0);
        for k in 0..rows {
            for j in 0..p {
                sum += u[k] * stamp[2 * p + p * p + k * p + j] * u[j];
            }
        }
        sum * L::splat(s)
    };
    let (whole, error) = kronrod(&mut integrand, 0.0, 1.0);
    refine(&mut integrand, 0.0, 1.0, whole, error, 1e-12 * whole.abs().widest().max(1e-30), 40)
}

fn refine<L: Lane>(
    f: &mut impl FnMut(f64) -> L,
    a: f64,
    b: f64,
    whole: L,
    error: f64,
    bound: f64,
    depth: u32,
) -> L {
    // What is no number any more (a state without a solution) is not refined either.
    if error <= bound || error.is_nan() || depth == 0 {
        return whole;
    }
    let middle = 0.5 * (a + b);
    let (left, e1) = kronrod(f, a, middle);
    let (right, e2) = kronrod(f, middle, b);
    refine(f, a, middle, left, e1, 0.5 * bound, depth - 1)
        + refine(f, middle, b, right, e2, 0.5 * bound, depth - 1)
}

/// Gauss–Kronrod pair: nodes and weights as tabulated in QUADPACK (Piessens et al. 1983), routine qk15.
const NODES: [(f64, f64, f64); 8] = [
    (0.991_455_371_120_812_6, 0.022_935_322_010_529_224, 0.0),
    (0.949_107_912_342_758_5, 0.063_092_092_629_978_56, 0.129_484_966_168_869_7),
    (0.864_864_423_359_769_1, 0.104_790_010_322_250_19, 0.0),
    (0.741_531_185_599_394_4, 0.140_653_259_715_525_92, 0.279_705_391_489_276_64),
    (0.586_087_235_467_691_1, 0.169_004_726_639_267_9, 0.0),
    (0.405_845_151_377_397_2, 0.190_350_578_064_785_4, 0.381_830_050_505_118_9),
    (0.207_784_955_007_898_46, 0.204_432_940_075_298_89, 0.0),
    (0.0, 0.209_482_141_084_727_82, 0.417_959_183_673_469_4),
];

fn kronrod<L: Lane>(f: &mut impl FnMut(f64) -> L, a: f64, b: f64) -> (L, f64) {
    let (centre, half) = (0.5 * (a + b), 0.5 * (b - a));
    let (mut fine, mut coarse) = (L::splat(0.0), L::splat(0.0));
    for (node, wide, narrow) in NODES {
        let value = if node == 0.0 { f(centre) } else { f(centre - half * node) + f(centre + half * node) };
        fine += value * L::splat(wide);
        coarse += value * L::splat(narrow);
    }
    let half = L::splat(half);
    (fine * half, ((fine - coarse) * half).abs().widest())
}

/// The ledger at a state, against what was stored at the start.
pub fn ledger<L: Lane>(
    system: &System<L>,
    devices: &[Box<dyn Device<L>>],
    state: &State<L>,
    stored_at_start: &[L],
) -> Ledger<L> {
    let zero = L::splat(0.0);
    let now = stored(system, devices, &state.x);
    let largest = now.iter().chain(stored_at_start).fold(zero, |most, w| most.max(*w));
    let mut entries: Vec<Entry<L>> = system
        .circuit
        .components
        .iter()
        .zip(now.iter().zip(stored_at_start))
        .map(|(c, (now, then))| Entry {
            name: c.name.clone(),
            kind: c.kind,
            delivered: zero,
            dissipated: zero,
            stored: *now - *then,
        })
        .collect();
    let sources = system.devices.len() + system.dissipators.len();
    for (k, (owner, energy)) in system.account_owners().into_iter().zip(&state.energy).enumerate() {
        let entry = &mut entries[owner.0 as usize];
        // A source's account counts what it takes from the circuit.
        if k < sources { entry.dissipated += *energy } else { entry.delivered -= *energy }
    }
    let mut residual = zero;
    let (mut given, mut released) = (zero, zero);
    for e in &entries {
        residual += e.delivered - e.dissipated - e.stored;
        given += e.delivered.max(zero);
        released += (-e.stored).max(zero);
    }
    Ledger { entries, residual, turnover: given.max(released), largest }
}
