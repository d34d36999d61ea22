//! What the energies of a step are wrong by.
//!
//! The bounds of the local error hold the unknowns at the end of a step, not what went on within: a transistor that
//! turns off between two stages, or a pulse that is small beside what was before it, may leave an energy of which
//! nobody hears before the ledger is made; and a ringing that a method damps a little loses energy with every step.
//! Each step has a cheap balance, as if charges were straight over it; where that is not small, or the sum of all is
//! not, it is worked out as the ledger does it.

use super::stage::StageSolver;
use super::state::State;
use super::stepper::{MOST, Stepper, block};
use crate::arithmetic::lane::Lane;
use crate::arithmetic::vector::{weighted, zeros};
use crate::equations::system::System;

/// Gauss–Legendre nodes and weights on −1 ‥ 1, five points (Abramowitz & Stegun, table 25.4).
const NODES: [(f64, f64); 5] = [
    (-0.906_179_845_938_664, 0.236_926_885_056_189_1),
    (-0.538_469_310_105_683_1, 0.478_628_670_499_366_5),
    (0.0, 0.568_888_888_888_888_9),
    (0.538_469_310_105_683_1, 0.478_628_670_499_366_5),
    (0.906_179_845_938_664, 0.236_926_885_056_189_1),
];
/// Parts into which a device's way is divided.
const PARTS: usize = 4;
/// The nodes on 0 ‥ 1 of all parts, with their weights.
const PLACES: [(f64, f64); PARTS * NODES.len()] = {
    let mut places = [(0.0, 0.0); PARTS * NODES.len()];
    let part = 1.0 / PARTS as f64;
    let mut k = 0;
    while k < places.len() {
        let (node, weight) = NODES[k % NODES.len()];
        let begin = (k / NODES.len()) as f64;
        places[k] = ((begin + 0.5 + 0.5 * node) * part, 0.5 * weight * part);
        k += 1;
    }
    places
};
/// The least energy that a residual is held against, J: as the ledger has it.
const LEAST: f64 = 1e-12;
/// A half for every row whose charge or flux is one of energy; those of devices' own unknowns that are no currents, and
/// ground, are not.
pub(super) fn halves<L: Lane>(system: &System<L>) -> Vec<L> {
    let mut halves = zeros(system.n + 1);
    halves[..system.n].fill(L::splat(0.5));
    for (device, placed) in system.devices().iter().zip(&system.devices) {
        placed.locals[device.energetic()..].iter().for_each(|&k| halves[k as usize] = L::splat(0.0));
    }
    halves
}

/// What the steps' energies have been wrong by so far, and what is left to them.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Balance {
    /// The energy that residuals are held against, when last looked at, J.
    scale: f64,
    /// Sum of the residuals, of the cheap ones where no others were worked out, J.
    sum: f64,
    /// Residual of the step that was taken back last for its energy, J; zero where another came after.
    last: f64,
    /// The largest energy that sources gave or that was dissipated, where it was looked at, J.
    turned: f64,
    /// Steps for which no coarser ones are taken.
    held: u32,
    /// Factor of what is allowed: that of the bounds of the local error.
    looser: f64,
}

/// An estimate up to this share of the energy turned over is none to be looked at.
const UNSEEN: f64 = 1e-6;
/// As long as the sum of all is up to this one.
const TOGETHER: f64 = 2e-5;
/// All steps together may be wrong by this share of it: half of what a closed ledger may.
const ALL: f64 = 5e-5;
/// One of them by this share of what is left,
const SHARE: f64 = 0.125;
/// but where nothing is left still by this share of the whole.
const STILL: f64 = 2e-9;
/// A shorter step whose residual is not smaller than this part of the longer one's does not help.
const HELPS: f64 = 0.7;
/// Steps after one that was taken back until a coarser one is tried.
const HOLD: u32 = 8;
/// Ratio of a step so held: quiet enough to be taken, not to be followed by a coarser one.
const HELD: f64 = 0.9;

impl Balance {
    pub(crate) fn new(looser: f64) -> Self {
        Self { scale: 0.0, sum: 0.0, last: 0.0, turned: 0.0, held: 0, looser }
    }

    /// Whether an estimate is too large to go unseen.
    pub(crate) fn doubts(&self, estimate: f64) -> bool {
        // Written so that what is not a number is doubted.
        let scale = self.looser * self.scale;
        let small = estimate.abs() <= UNSEEN * scale && (self.sum + estimate).abs() <= TOGETHER * scale;
        !small
    }

    /// The residual of a step over what it may be ([`Stepper::unbalanced`]). At the `finest` length a shorter step must
    /// have helped before another one is asked for.
    pub(crate) fn weigh(&mut self, [residual, turned, stored]: [f64; 3], finest: bool) -> f64 {
        self.turned = self.turned.max(turned);
        let scale = turned.max(stored).max(LEAST);
        self.scale = scale;
        let left = (ALL * self.looser * scale - self.sum.abs()).max(0.0);
        let ratio = residual.abs() / (SHARE * left).max(STILL * self.looser * scale);
        let helps = !finest || self.last == 0.0 || residual.abs() <= HELPS * self.last.abs();
        if helps && ratio.is_finite() { ratio } else { 0.0 }
    }

    /// The largest energy turned over that was seen, J.
    pub(crate) fn turned(&self) -> f64 {
        self.turned
    }

    /// A new course begins: the energy that residuals are held against may be another one.
    pub(crate) fn anew(&mut self) {
        self.scale = 0.0;
    }

    /// A step was taken back; `residual`: what its energies were wrong by, where that was the reason, J.
    pub(crate) fn refused(&mut self, residual: f64) {
        self.last = residual;
        self.held = HOLD;
    }

    /// A step was taken; at least this is the ratio that it leaves to the schedule.
    pub(crate) fn accepted(&mut self, residual: f64) -> f64 {
        if residual.is_finite() {
            self.sum += residual;
        }
        self.last = 0.0;
        self.held = self.held.saturating_sub(1);
        if self.held > 0 { HELD } else { 0.0 }
    }
}

impl<L: Lane> Stepper<L> {
    /// What accounts and integrals gain over the implicit stages, with the method's weights.
    #[inline(always)]
    pub(super) fn take_gain(&mut self) {
        let b = self.method.b();
        let scaled: [L; MOST] = std::array::from_fn(|j| L::splat(b.get(j).copied().unwrap_or(0.0)) * self.h);
        if L::WIDTH > 1 {
            let gain = &mut self.gain[..];
            weighted(&self.power, &scaled, |_| L::splat(0.0), |m, sum| gain[m] = sum);
            return;
        }
        for (n, gain) in self.gain.as_chunks_mut::<8>().0.iter_mut().enumerate() {
            let mut sum = [L::splat(0.0); 8];
            for (w, power) in scaled.iter().zip(&self.power) {
                let power = block(power, n);
                sum = std::array::from_fn(|k| sum[k] + *w * power[k]);
            }
            *gain = sum;
        }
    }

    /// About what the energies of the step just tried from `state` are wrong by, J: what the accounts took against
    /// ½(x₀ + x₁)·(q₁ − q₀), which is ∫x·dq where charges are linear.
    #[inline(always)]
    pub(super) fn straight_balance(&self, state: &State<L>) -> L {
        let accounts = self.solver.system.accounts();
        let gain = self.rosenbrock.as_ref().map_or(&self.gain, |stages| &stages.gain);
        let mut sums = [L::splat(0.0); 8];
        let (blocks, rest) = gain[..accounts].as_chunks::<8>();
        for block in blocks {
            sums = std::array::from_fn(|k| sums[k] + block[k]);
        }
        sums.iter_mut().zip(rest).for_each(|(sum, gain)| *sum += *gain);
        let n = self.halves.len();
        let (x0, x1, q0, q1) = (&state.x[..n], &self.solver.x[..n], &state.q[..n], &self.q[..n]);
        let halves = &self.halves[..n];
        let whole = n - n % 8;
        for begin in (0..whole).step_by(8) {
            let of = |v: &[L]| -> [L; 8] { std::array::from_fn(|k| v[begin + k]) };
            let (half, x0, x1, q0, q1) = (of(halves), of(x0), of(x1), of(q0), of(q1));
            sums = std::array::from_fn(|k| sums[k] + half[k] * (x0[k] + x1[k]) * (q1[k] - q0[k]));
        }
        for k in whole..n {
            sums[k - whole] += halves[k] * (x0[k] + x1[k]) * (q1[k] - q0[k]);
        }
        -sums.into_iter().fold(L::splat(0.0), |sum, s| sum + s)
    }

    /// What the energies of the step just tried from `state` are wrong by, worked out as the ledger does it: what the
    /// accounts took against ∫u·dq from beginning to end. And what that is held against: what sources gave until its
    /// end or what was dissipated, and what is stored. J.
    pub(crate) fn unbalanced(&self, state: &State<L>) -> [L; 3] {
        let system: &System<L> = &self.solver.system;
        let (zero, half) = (L::splat(0.0), L::splat(0.5));
        let heats = system.devices.len() + system.dissipators.len();
        let gain = self.rosenbrock.as_ref().map_or(&self.gain, |stages| &stages.gain);
        let (mut given, mut dissipated, mut taken, mut rough) = (zero, zero, zero, zero);
        for (k, &energy) in gain.iter().enumerate().take(system.accounts()) {
            (taken, rough) = (taken + energy, rough + energy.abs());
            let total = state.energy[k] + energy;
            if k < heats { dissipated += total } else { given += (-total).max(zero) }
        }
        let (x0, x1) = (&state.x, &self.solver.x);
        let (mut then, mut now) = (zero, zero);
        let several = self.method.alpha(1.0);
        for &(r, c, e) in &system.c {
            let (r, c) = (r as usize, c as usize);
            // In the equations of a stage it stands with α, which is several times 1/h.
            rough += L::splat(several) * (e * x1[r] * x1[c]).abs();
            then += half * e * x0[r] * x0[c];
            now += half * e * x1[r] * x1[c];
        }
        let (stored, size) = self.solver.charged(x0, x1);
        let residual = -(taken + stored);
        let rounding = (rough + size) * L::splat(f64::EPSILON);
        let residual = L::select(residual.abs().le(rounding), zero, residual);
        [residual, given.max(dissipated), then.max(now)]
    }
}

impl<L: Lane> StageSolver<L> {
    /// What is stored more at one solution than at another, ∫u·dq along the straight way, J; and the size of its terms.
    pub(super) fn charged(&self, x0: &[L], x1: &[L]) -> (L, L) {
        let half = L::splat(0.5);
        let (mut stored, mut size) = (L::splat(0.0), L::splat(0.0));
        for &(r, c, e) in &self.system.c {
            let (r, c) = (r as usize, c as usize);
            let term = half * e * (x0[r] + x1[r]) * (x1[c] - x0[c]);
            (stored, size) = (stored + term, size + term.abs());
        }
        for (device, location) in self.devices.iter().zip(self.program.locations(&self.system.devices)) {
            let (way, terms) = device.charging(&location, x0, x1, &PLACES);
            (stored, size) = (stored + way, size + terms);
        }
        (stored, size)
    }
}
