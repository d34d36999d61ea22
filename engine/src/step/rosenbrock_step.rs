//! A step of a linearly implicit method.
//!
//! The equations keep their charges: y = q(x) is carried as a variable of its own, y′ = −f(x, t), 0 = y − q(x) (the
//! idea: Günther, "Simulating digital circuits numerically – a charge-oriented ROW approach", Numer. Math. 79 (1998)
//! 203). With α = 1/(γh), C = ∂q/∂x and G = ∂f/∂x at the start, stage i is
//!
//! ```text
//! Xᵢ = x + Σ aᵢⱼUⱼ    Yᵢ = y + Σ aᵢⱼVⱼ    rᵢ = Yᵢ − q(Xᵢ)
//! (αC + G)Uᵢ = −f(Xᵢ, t + αᵢh) + Σ (cᵢⱼ/h)Vⱼ + αrᵢ − γᵢh·∂f/∂t
//! Vᵢ = C·Uᵢ − rᵢ
//! ```
//!
//! It is solved for Zᵢ = Xᵢ + Uᵢ, as Newton's iteration is: constant components then enter by the matrix alone, devices
//! by what their slopes at the start leave of their currents and charges at Xᵢ. V sums to zero as f does, so charge
//! is conserved. Energies are further components w′ = p(x, t); with the weights b of the derivatives their change is
//! h·Σ bᵢ(p(Xᵢ, t + αᵢh) + ∂p/∂x·Uᵢ + γᵢh·∂p/∂t).

use super::rosenbrock::Rosenbrock;
use super::stage::StageSolver;
use super::state::State;
use super::stepper::{Attempt, Span, Stepper};
use crate::arithmetic::lane::{Lane, lanes_in};
use crate::arithmetic::vector::{combine, copy, padded, update, zeros};
use crate::equations::system::Dissipator;
use crate::readout::{Seat, Sources};

/// Error ratio from which a step is taken as diverged: where no longer step is at fault, the implicit method makes it.
const DIVERGED: f64 = 20.0;

/// Stages of the methods.
const STAGES: usize = 6;

/// Scratch of the stages, and what the last step came to.
#[derive(Debug)]
pub(super) struct Stages<L> {
    table: &'static Rosenbrock,
    /// bᵢ.
    weights: Vec<f64>,
    /// Σ bᵢγᵢ.
    later: f64,
    /// Uᵢ and Vᵢ of each stage.
    u: Vec<Vec<L>>,
    v: Vec<Vec<L>>,
    /// Xᵢ, Zᵢ, and Σ bᵢUᵢ.
    x: Vec<L>,
    z: Vec<L>,
    along: Vec<L>,
    /// Of each device: currents and charges at Xᵢ, and what its tangent at the start leaves of the charges.
    flows: Vec<Vec<L>>,
    /// Value of each source term at the start, and h times its derivative there.
    courses: Vec<(L, L)>,
    /// Change of each account and integral over the step, J.
    pub(super) gain: Vec<L>,
    /// The unknowns to which the stamps belong, where the solver says that they do.
    stamped_at: Vec<L>,
    /// Stamps and powers of the devices at the end of the step, and the factored matrix with their slopes.
    ahead: Vec<Vec<L>>,
    ahead_power: Vec<L>,
    ahead_a: Vec<L>,
    /// Lanes whose step the implicit method made.
    instead: u32,
    /// Lanes in which the solver's matrix is that of the stamps.
    pub(super) exact: u32,
    /// What other lanes have, while the implicit method works in some.
    others: Kept<L>,
}

/// Results of an attempt.
#[derive(Debug, Default)]
struct Kept<L> {
    vectors: [Vec<L>; 4],
    stamps: Vec<Vec<L>>,
}

impl<L: Lane> Stages<L> {
    pub(super) fn new(table: &'static Rosenbrock, solver: &StageSolver<L>, accounts: usize) -> Self {
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
    fn sums<const I: usize>(&mut self, state: &State<L>, alpha: L, y: &mut [L], right: &mut [L]) {
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
    fn mean(&mut self) {
        self.along.fill(L::splat(0.0));
        weigh(&mut self.along, &self.weights, &self.u);
    }
}

/// Adds the stages' vectors, each with its weight.
#[inline(always)]
fn weigh<L: Lane>(sum: &mut [L], weights: &[f64], stages: &[Vec<L>]) {
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
    fn linearise(&mut self, x: &[L], stamps: &mut [Vec<L>], power: &mut [L]) {
        self.iterated += 1;
        let locations = self.program.locations(&self.system.devices);
        for (((device, location), stamp), power) in self.devices.iter().zip(locations).zip(stamps).zip(power)
        {
            *power = device.linearise(&location, x, stamp);
        }
    }

    /// The inner block of the matrix with the slopes of some stamps, factored.
    #[inline(always)]
    fn factor_with(&self, stamps: &[Vec<L>], a: &mut Vec<L>) {
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
    fn solve_first(&mut self, z: &mut [L]) {
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
    fn solve_next(&mut self, x: &[L], flows: &mut [Vec<L>], power: &mut [L], z: &mut [L]) {
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
    fn charges_at(&self, z: &[L], flows: &[Vec<L>], q: &mut [L]) {
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
    fn flows_at_start(&self, flows: &mut [Vec<L>]) {
        for ((placed, stamp), flow) in self.system.devices.iter().zip(&self.stamps).zip(flows) {
            let p = placed.locals.len();
            let (c, u) = stamp[2 * p + p * p..].split_at(p * p);
            for k in 0..p {
                flow[2 * p + k] = (0..p).fold(stamp[p + k], |q, j| q - c[k * p + j] * u[j]);
            }
        }
    }
}

impl<L: Lane> Stepper<L> {
    /// A step in every lane by the linearly implicit method; where it diverges, by the implicit one.
    pub(super) fn attempt_linearly(
        &mut self,
        s: &mut Stages<L>,
        state: &State<L>,
        spans: &[Span],
        seats: &mut [Seat<'_>],
        going: u32,
    ) {
        self.begin_linearly(s, state, spans, seats);
        let mut left = going;
        if !self.solver.is_dense() {
            if going & !(s.exact & self.solver.remembering()) != 0 {
                let mut a = std::mem::take(&mut self.solver.a);
                self.solver.factor_with(&self.solver.stamps, &mut a);
                self.solver.a = a;
                s.exact = 0;
            }
            self.stages(s, state, spans, seats);
            self.look_ahead(s);
            self.gain(s, state, spans, seats);
            let errors = self.worst_error();
            for lane in lanes_in(going) {
                let error = errors.lane(lane);
                let short = spans[lane].h <= self.finest.lane(lane);
                if error.is_finite() && (error <= DIVERGED || !short) {
                    self.outcomes[lane] = Ok(Attempt { iterations: 1, error, hard: false });
                    left &= !(1 << lane);
                }
            }
        }
        s.instead = left;
        if left != 0 {
            self.attempt_instead(s, state, spans, seats, going, left);
        }
    }

    /// Stamps and powers at the start.
    fn begin_linearly(
        &mut self,
        s: &mut Stages<L>,
        state: &State<L>,
        spans: &[Span],
        seats: &mut [Seat<'_>],
    ) {
        copy(&mut self.power[0], &state.power);
        if !(self.solver.stamped && s.stamped_at == state.x) {
            let mut stamps = std::mem::take(&mut self.solver.stamps);
            self.solver.linearise(&state.x, &mut stamps, &mut self.power[0]);
            self.solver.stamps = stamps;
            copy(&mut s.stamped_at, &state.x);
            self.solver.stamped = true;
            s.exact = 0;
        }
        seats.iter_mut().zip(spans).for_each(|(seat, span)| seat.t = span.begin);
        self.solver.take_sources(0.0, seats);
        let starts = s.courses.iter_mut().zip(&self.solver.source_values).zip(&self.solver.courses);
        starts.for_each(|((mine, value), (_, change))| *mine = (*value, *change));
        for lane in lanes_in(self.solver.bent) {
            let (seat, span) = (&seats[lane], &spans[lane]);
            for (mine, &(_, wave, gain)) in s.courses.iter_mut().zip(&self.solver.system.sources) {
                let course = &seat.waves[wave.0 as usize];
                if !course.is_straight() {
                    mine.1.set_lane(lane, span.h * gain.lane(lane) * course.slope(span.begin));
                }
            }
        }
        if !self.integrals.is_empty() {
            // Courses are read just after the start.
            seats.iter_mut().for_each(|seat| seat.t = seat.t.next_up());
            self.multiply_at(0, &state.x, None, seats);
        }
    }

    fn stages(&mut self, s: &mut Stages<L>, state: &State<L>, spans: &[Span], seats: &mut [Seat<'_>]) {
        let alpha = self.solver.prepared[self.solver.current].alpha;
        let (ground, devices) = (self.solver.system.n, self.solver.devices.len());
        let last = s.table.stages() - 1;
        for i in 0..=last {
            let (y, right) = (&mut self.expected, &mut self.solver.stage_b);
            match i {
                0 => s.sums::<0>(state, alpha, y, right),
                1 => s.sums::<1>(state, alpha, y, right),
                2 => s.sums::<2>(state, alpha, y, right),
                3 => s.sums::<3>(state, alpha, y, right),
                4 => s.sums::<4>(state, alpha, y, right),
                _ => s.sums::<5>(state, alpha, y, right),
            }
            if i > 0 {
                let c = s.table.alpha[i];
                seats.iter_mut().zip(spans).for_each(|(seat, span)| seat.t = span.instant(c));
                self.solver.take_sources(c, seats);
            }
            let gamma = L::splat(s.table.gammas[i]);
            let sources = self.solver.system.sources.iter().zip(&self.solver.source_values);
            for ((&(row, _, _), value), (_, change)) in sources.zip(&s.courses) {
                self.solver.stage_b[row as usize] -= *value + gamma * *change;
            }
            self.solver.stage_b[ground] = L::splat(0.0);
            if i == 0 {
                self.solver.solve_first(&mut s.z);
                self.solver.flows_at_start(&mut s.flows);
            } else {
                let (powers, rest) = self.power[i].split_at_mut(devices);
                self.solver.solve_next(&s.x, &mut s.flows, powers, &mut s.z);
                self.solver.linear_powers(&s.x, rest);
                if !self.integrals.is_empty() {
                    self.multiply_at(i, &s.x, Some(&s.flows), seats);
                }
            }
            self.solver.charges_at(&s.z, &s.flows, &mut self.q);
            combine(&mut s.u[i], &s.z, &s.x, |z, x| z - x);
            if i < last {
                combine(&mut s.v[i], &self.q, &self.expected, |q, y| q - y);
            }
        }
        copy(&mut self.solver.x, &s.z);
        copy(&mut self.error, &s.u[last]);
    }

    /// Takes the stamps at the end of the step, factors the matrix with them, and asks how far the unknowns are from
    /// obeying the devices there: a device that has changed within the step (a diode that turns off) hides an error
    /// behind the slope that it had at the start.
    fn look_ahead(&mut self, s: &mut Stages<L>) {
        let mut a = std::mem::take(&mut s.ahead_a);
        self.solver.linearise(&s.z, &mut s.ahead, &mut s.ahead_power);
        self.solver.factor_with(&s.ahead, &mut a);
        let StageSolver { program, system, devices, stamps, stage_b, prepared, current, .. } =
            &mut self.solver;
        stage_b.fill(L::splat(0.0));
        let alpha = prepared[*current].alpha;
        let locations = program.locations(&system.devices);
        let last = &self.error;
        for ((((device, location), stamp), ahead), flow) in
            devices.iter().zip(locations).zip(&*stamps).zip(&s.ahead).zip(&s.flows)
        {
            device.mismatch(&location, alpha, last, [stamp, ahead], flow, stage_b);
        }
        s.x.fill(L::splat(0.0));
        program.replay.forward_inner(&a, stage_b);
        program.replay.back_inner(&a, stage_b, &mut s.x);
        let inner = self.solver.inner;
        update(&mut self.error[..inner], &s.x[..inner], |error, other| {
            let larger = L::select(other.abs().gt(error.abs()), other, error + other * L::splat(0.0));
            L::select(other.abs().le(error.abs()), error, larger)
        });
        s.ahead_a = a;
    }

    /// What the accounts and integrals gain over the step.
    fn gain(&mut self, s: &mut Stages<L>, state: &State<L>, spans: &[Span], seats: &mut [Seat<'_>]) {
        s.mean();
        let along = &s.along;
        let system = &self.solver.system;
        let (stamps, x) = (&self.solver.stamps, &state.x);
        // The powers' change along the mean of U.
        let (devices, rest) = s.gain.split_at_mut(system.devices.len());
        for ((placed, stamp), change) in system.devices.iter().zip(stamps).zip(devices) {
            let p = placed.locals.len();
            let base = along[placed.reference as usize];
            let moved = |j: usize| {
                let u = along[placed.locals[j] as usize];
                if j < placed.ports { u - base } else { u }
            };
            *change = (0..placed.ports).fold(L::splat(0.0), |sum, k| {
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
    fn multiply_at(&mut self, i: usize, x: &[L], flows: Option<&[Vec<L>]>, seats: &[Seat<'_>]) {
        let accounts = self.solver.system.accounts();
        let (power, products) = self.power[i].split_at_mut(accounts);
        let stamps = flows.unwrap_or(&self.solver.stamps);
        let from = Sources { seats, x, power, stamps, celsius: &[], energy: &[], integrals: &[] };
        for (product, (a, b)) in products.iter_mut().zip(&self.integrals) {
            *product = a.read(&self.solver.system, &from) * b.read(&self.solver.system, &from);
        }
    }

    /// The implicit method makes the step in the lanes `left`.
    fn attempt_instead(
        &mut self,
        s: &mut Stages<L>,
        state: &State<L>,
        spans: &[Span],
        seats: &mut [Seat<'_>],
        going: u32,
        left: u32,
    ) {
        let others = going & !left;
        if others != 0 {
            s.others.vectors = [&self.solver.x, &self.q, &self.error, &s.gain].map(Clone::clone);
        }
        s.others.stamps.clone_from(&self.solver.stamps);
        lanes_in(left).for_each(|lane| self.solver.factored[lane] = None);
        // dq/dt = −f(x, t) at the start.
        seats.iter_mut().zip(spans).for_each(|(seat, span)| seat.t = span.begin);
        self.solver.take_sources(0.0, seats);
        let mut k = std::mem::take(&mut self.k[0]);
        k.fill(L::splat(0.0));
        self.solver.add_flow(&state.x, &mut k);
        k.iter_mut().for_each(|k| *k = -*k);
        self.k[0] = k;
        self.attempt_implicitly(state, spans, seats, left);
        self.solver.stamps.clone_from(&s.others.stamps);
        s.exact = 0;
        s.gain.fill(L::splat(0.0));
        for (b, power) in self.method.b().iter().zip(&self.power) {
            let w = L::splat(*b) * self.h;
            update(&mut s.gain, power, |sum, p| sum + p * w);
        }
        if others != 0 {
            let mask = L::mask(others);
            let solver = &mut self.solver;
            let all = [&mut solver.x, &mut self.q, &mut self.error, &mut s.gain];
            for (mine, kept) in all.into_iter().zip(&s.others.vectors) {
                update(mine, kept, |mine, kept| L::select(mask, kept, mine));
            }
        }
        // What is said of the end of the step, in the lanes that the implicit method has made.
        let mask = L::mask(left);
        s.ahead_a.resize(self.solver.a.len(), L::splat(0.0));
        update(&mut s.ahead_a, &self.solver.a, |mine, newton| L::select(mask, newton, mine));
        let x = std::mem::take(&mut self.solver.x);
        self.solver.linearise(&x, &mut s.ahead, &mut s.ahead_power);
        self.solver.x = x;
    }

    /// Takes the attempted steps of some lanes as done; the stamps are then those of the new state.
    pub(super) fn commit_linearly(&mut self, s: &mut Stages<L>, state: &mut State<L>, taken: u32) {
        (0..L::WIDTH).for_each(|lane| self.solver.factored[lane] = None);
        s.exact = taken & !s.instead;
        if taken == 0 {
            return;
        }
        lanes_in(taken).for_each(|lane| self.solver.factored[lane] = Some(self.solver.keys[lane]));
        let mask = L::mask(taken);
        let take = |old: &mut [L], new: &[L]| update(old, new, |old, new| L::select(mask, new, old));
        let inner = self.solver.inner;
        if state.history.len() < 2 {
            state.history.resize_with(2, || (0.0, vec![L::splat(0.0); inner]));
            state.history.swap(0, 1);
        }
        if let [.., begin, end] = &mut state.history[..] {
            begin.0 = end.0;
            take(&mut begin.1, &end.1);
            end.0 = self.end;
            take(&mut end.1, &self.solver.x[..inner]);
        }
        take(&mut state.x, &self.solver.x);
        self.gauge.see(&state.x, taken);
        take(&mut state.q, &self.q);
        update(&mut state.energy, &s.gain, |total, gain| L::select(mask, total + gain, total));
        let power = &mut self.power[0];
        let (devices, rest) = power.split_at_mut(self.solver.devices.len());
        devices.copy_from_slice(&s.ahead_power);
        self.solver.linear_powers(&state.x, rest);
        take(&mut state.power, power);
        std::mem::swap(&mut self.solver.a, &mut s.ahead_a);
        if L::WIDTH == 1 {
            std::mem::swap(&mut self.solver.stamps, &mut s.ahead);
        } else {
            for (stamp, ahead) in self.solver.stamps.iter_mut().zip(&s.ahead) {
                stamp.iter_mut().zip(ahead).for_each(|(old, new)| *old = L::select(mask, *new, *old));
            }
        }
        copy(&mut s.stamped_at, &state.x);
    }
}
