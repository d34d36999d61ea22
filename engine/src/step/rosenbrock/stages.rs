//! What the stages of a linearly implicit method work on.

use super::Rosenbrock;
use crate::arithmetic::lane::Lane;
use crate::arithmetic::vector::{copy, padded, zeros};
use crate::step::stage::StageSolver;
use crate::step::state::State;

/// Stages of the methods.
const STAGES: usize = 6;

/// Scratch of the stages, and what the last step came to.
#[derive(Debug)]
pub(in crate::step) struct Stages<L> {
    pub(super) table: &'static Rosenbrock,
    /// bᵢ.
    pub(super) weights: Vec<f64>,
    /// Σ bᵢγᵢ.
    pub(super) later: f64,
    /// Uᵢ and Vᵢ of each stage.
    pub(super) u: Vec<Vec<L>>,
    pub(super) v: Vec<Vec<L>>,
    /// Xᵢ, Zᵢ, and Σ bᵢUᵢ.
    pub(super) x: Vec<L>,
    pub(super) z: Vec<L>,
    pub(super) along: Vec<L>,
    /// Of each device: currents and charges at Xᵢ, and what its tangent at the start leaves of the charges.
    pub(super) flows: Vec<Vec<L>>,
    /// Value of each source term at the start, and h times its derivative there.
    pub(super) courses: Vec<(L, L)>,
    /// Change of each account and integral over the step, J.
    pub(in crate::step) gain: Vec<L>,
    /// The unknowns to which the stamps belong, where the solver says that they do.
    pub(super) stamped_at: Vec<L>,
    /// Powers of the devices there.
    pub(super) power: Vec<L>,
    /// Stamps and powers of the devices at the end of the step, and the factored matrix with their slopes.
    pub(super) ahead: Vec<Vec<L>>,
    pub(super) ahead_power: Vec<L>,
    pub(super) ahead_a: Vec<L>,
    /// Lanes whose step the implicit method made.
    pub(super) instead: u32,
    /// Lanes in which the solver's matrix is that of the stamps.
    pub(in crate::step) exact: u32,
    /// What other lanes have, while the implicit method works in some.
    pub(super) others: Kept<L>,
}

/// Results of an attempt.
#[derive(Debug, Default)]
pub(super) struct Kept<L> {
    pub(super) vectors: [Vec<L>; 4],
    pub(super) stamps: Vec<Vec<L>>,
}

impl<L: Lane> Stages<L> {
    pub(in crate::step) fn new(table: &'static Rosenbrock, solver: &StageSolver<L>, accounts: usize) -> Self {
        let n = solver.system.n + 1;
        let weights = table.weights();
        let each = || (0..table.stages()).map(|_| zeros(n)).collect();
        Self {
            later: weights.iter().zip(table.gammas).map(|(b, gamma)| b * gamma).sum(),
            weights,
            u: each(),
            v: each(),
            x: zeros(n),
            z: zeros(n),
            along: zeros(n),
            flows: solver.stamps.iter().map(|stamp| vec![L::splat(0.0); stamp.len()]).collect(),
            courses: vec![(L::splat(0.0), L::splat(0.0)); solver.system.sources.len()],
            gain: zeros(accounts),
            stamped_at: zeros(n),
            ahead: solver.stamps.clone(),
            power: vec![L::splat(0.0); solver.devices.len()],
            ahead_power: vec![L::splat(0.0); solver.devices.len()],
            ahead_a: Vec::new(),
            instead: 0,
            exact: 0,
            others: Kept::default(),
            table,
        }
    }

    /// Xᵢ, and into `y` and `right` Yᵢ and α·(y + Σ (aᵢⱼ + γcᵢⱼ)Vⱼ), for stage I.
    #[inline(always)]
    pub(super) fn sums<const I: usize>(&mut self, state: &State<L>, alpha: L, y: &mut [L], right: &mut [L]) {
        let (a, c) = (self.table.a[I], self.table.c[I]);
        let a: [L; I] = std::array::from_fn(|j| L::splat(a[j]));
        let with: [L; I] = std::array::from_fn(|j| a[j] + L::splat(self.table.gamma * c[j]));
        let n = self.x.len();
        let u: [&[L]; I] = std::array::from_fn(|j| &self.u[j][..n]);
        let v: [&[L]; I] = std::array::from_fn(|j| &self.v[j][..n]);
        let (x, state_x, state_q) = (&mut self.x[..n], &state.x[..n], &state.q[..n]);
        let (y, right) = (&mut y[..n], &mut right[..n]);
        if L::WIDTH > 1 {
            for k in 0..n {
                let (mut at, mut sum, mut all) = (state_x[k], state_q[k], state_q[k]);
                for j in 0..I {
                    let v = v[j][k];
                    at += a[j] * u[j][k];
                    sum += a[j] * v;
                    all += with[j] * v;
                }
                (x[k], y[k], right[k]) = (at, sum, all * alpha);
            }
            return;
        }
        let blocks = n / 8;
        let u = u.map(|u| &u.as_chunks::<8>().0[..blocks]);
        let v = v.map(|v| &v.as_chunks::<8>().0[..blocks]);
        let (x, y, right) =
            (x.as_chunks_mut::<8>().0, y.as_chunks_mut::<8>().0, right.as_chunks_mut::<8>().0);
        let (state_x, state_q) = (state_x.as_chunks::<8>().0, state_q.as_chunks::<8>().0);
        for k in 0..blocks {
            let (mut at, mut sum, mut all) = (state_x[k], state_q[k], state_q[k]);
            for j in 0..I {
                let (u, v) = (u[j][k], v[j][k]);
                at = std::array::from_fn(|m| at[m] + a[j] * u[m]);
                sum = std::array::from_fn(|m| sum[m] + a[j] * v[m]);
                all = std::array::from_fn(|m| all[m] + with[j] * v[m]);
            }
            (x[k], y[k], right[k]) = (at, sum, all.map(|b| b * alpha));
        }
    }

    /// Σ bᵢUᵢ.
    pub(super) fn mean(&mut self) {
        self.along.fill(L::splat(0.0));
        weigh(&mut self.along, &self.weights, &self.u);
    }
}

/// Adds the stages' vectors, each with its weight.
#[inline(always)]
pub(super) fn weigh<L: Lane>(sum: &mut [L], weights: &[f64], stages: &[Vec<L>]) {
    let n = sum.len();
    let weights: [L; STAGES] = std::array::from_fn(|j| L::splat(weights[j]));
    let stages: [&[L]; STAGES] = std::array::from_fn(|j| &stages[j][..n]);
    if L::WIDTH > 1 {
        for (k, sum) in sum.iter_mut().enumerate() {
            *sum = (0..STAGES).fold(*sum, |sum, j| sum + weights[j] * stages[j][k]);
        }
        return;
    }
    let stages = stages.map(|stage| &stage.as_chunks::<8>().0[..n / 8]);
    for (k, sum) in sum.as_chunks_mut::<8>().0.iter_mut().enumerate() {
        for j in 0..STAGES {
            let stage = stages[j][k];
            *sum = std::array::from_fn(|m| sum[m] + weights[j] * stage[m]);
        }
    }
}

impl<L: Lane> StageSolver<L> {
    /// The devices' stamps at `x`, and their powers.
    #[inline(always)]
    pub(super) fn linearise(&mut self, x: &[L], stamps: &mut [Vec<L>], power: &mut [L]) {
        self.iterated += 1;
        let locations = self.program.locations(&self.system.devices);
        for (((device, location), stamp), power) in self.devices.iter().zip(locations).zip(stamps).zip(power)
        {
            *power = device.linearise(&location, x, stamp);
        }
    }

    /// The inner block of the matrix with the slopes of some stamps, factored.
    #[inline(always)]
    pub(super) fn factor_with(&self, stamps: &[Vec<L>], a: &mut Vec<L>) {
        let prepared = &self.prepared[self.current];
        let inner = padded::<L>(self.program.replay.order().inner_slots + 1);
        a.resize(inner, L::splat(0.0));
        copy(a, &prepared.a[..inner]);
        let locations = self.program.locations(&self.system.devices);
        for ((device, location), stamp) in self.devices.iter().zip(locations).zip(stamps) {
            device.slopes(&location, prepared.alpha, stamp, a);
        }
        self.program.replay.factor_inner(a);
    }

    /// The first stage, at the start.
    #[inline(always)]
    pub(super) fn solve_first(&mut self, z: &mut [L]) {
        let prepared = &self.prepared[self.current];
        self.program.replay.forward_outer(&prepared.a, &mut self.stage_b);
        let locations = self.program.locations(&self.system.devices);
        for ((device, location), stamp) in self.devices.iter().zip(locations).zip(&self.stamps) {
            device.restamp(&location, prepared.alpha, stamp, &mut self.stage_b);
        }
        self.program.replay.forward_inner(&self.a, &mut self.stage_b);
        self.program.replay.back_inner(&self.a, &self.stage_b, z);
        self.program.replay.back_outer(&prepared.a, &self.stage_b, z);
    }

    /// A later stage, at `x`; writes the devices' powers there.
    #[inline(always)]
    pub(super) fn solve_next(&mut self, x: &[L], flows: &mut [Vec<L>], power: &mut [L], z: &mut [L]) {
        let prepared = &self.prepared[self.current];
        let alpha = prepared.alpha;
        self.program.replay.forward_outer(&prepared.a, &mut self.stage_b);
        let locations = self.program.locations(&self.system.devices);
        let of = self.devices.iter().zip(locations).zip(&self.stamps).zip(flows);
        for ((((device, location), stamp), flow), power) in of.zip(power) {
            *power = device.stage(&location, alpha, x, stamp, flow, &mut self.stage_b);
        }
        self.program.replay.forward_inner(&self.a, &mut self.stage_b);
        self.program.replay.back_inner(&self.a, &self.stage_b, z);
        self.program.replay.back_outer(&prepared.a, &self.stage_b, z);
    }

    /// Charges and fluxes along the tangents at `z`.
    #[inline(always)]
    pub(super) fn charges_at(&self, z: &[L], flows: &[Vec<L>], q: &mut [L]) {
        q.fill(L::splat(0.0));
        for &(r, c, x) in &self.system.c {
            q[r as usize] += x * z[c as usize];
        }
        let locations = self.program.locations(&self.system.devices);
        for (((device, location), stamp), flow) in
            self.devices.iter().zip(locations).zip(&self.stamps).zip(flows)
        {
            device.charges(&location, z, stamp, flow, q);
        }
        q[self.system.n] = L::splat(0.0);
    }

    /// What the tangents at the start leave of the charges, for the first stage.
    pub(super) fn flows_at_start(&self, flows: &mut [Vec<L>]) {
        for ((placed, stamp), flow) in self.system.devices.iter().zip(&self.stamps).zip(flows) {
            let p = placed.locals.len();
            let (c, u) = stamp[2 * p + p * p..].split_at(p * p);
            for k in 0..p {
                flow[2 * p + k] = (0..p).fold(stamp[p + k], |q, j| q - c[k * p + j] * u[j]);
            }
        }
    }
}
