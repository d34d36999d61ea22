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

use super::stages::Stages;
use crate::arithmetic::lane::{Lane, lanes_in};
use crate::arithmetic::vector::{combine, copy, update};
use crate::readout::Seat;
use crate::step::stage::StageSolver;
use crate::step::state::State;
use crate::step::stepper::{Attempt, Span, Stepper};

/// Error ratio above which a step of the finest length, or a shorter one, is left to the implicit method: its iteration
/// meets corners of devices that no one linearisation meets.
const KEPT: f64 = 1.0;

impl<L: Lane> Stepper<L> {
    /// A step in every lane by the linearly implicit method; where it diverges, by the implicit one.
    pub(in crate::step) fn attempt_linearly(
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
                if error.is_finite() && (error <= KEPT || !short) {
                    self.outcomes[lane] = Ok(Attempt { iterations: 1, error, ..Attempt::default() });
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
            self.solver.linearise(&state.x, &mut stamps, &mut s.power);
            self.solver.stamps = stamps;
            copy(&mut s.stamped_at, &state.x);
            self.solver.stamped = true;
            s.exact = 0;
        }
        // The state's powers of devices may be of other temperatures.
        self.power[0][..s.power.len()].copy_from_slice(&s.power);
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
                self.at(c, spans, seats);
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
        // Looser bounds are none for the laws: a solution that does not obey them is another circuit's.
        let (inner, coarser) = (self.solver.inner, self.coarser);
        update(&mut self.error[..inner], &s.x[..inner], |error, other| {
            let other = other * coarser;
            let larger = L::select(other.abs().gt(error.abs()), other, error + other * L::splat(0.0));
            L::select(other.abs().le(error.abs()), error, larger)
        });
        s.ahead_a = a;
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
            let all = [&self.solver.x, &self.q, &self.error, &s.gain];
            s.others.vectors.iter_mut().zip(all).for_each(|(kept, mine)| kept.clone_from(mine));
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
        // It may have given up at any stage.
        seats.iter_mut().zip(spans).for_each(|(seat, span)| seat.t = span.end);
        self.solver.take_sources(1.0, seats);
    }

    /// Takes the attempted steps of some lanes as done; the stamps are then those of the new state.
    pub(in crate::step) fn commit_linearly(
        &mut self,
        s: &mut Stages<L>,
        state: &mut State<L>,
        taken: u32,
        kept: u32,
    ) {
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
        if kept == 0 {
            std::mem::swap(&mut state.q, &mut self.q);
        } else {
            take(&mut state.q, &self.q);
        }
        update(&mut state.energy, &s.gain, |total, gain| L::select(mask, total + gain, total));
        let power = &mut self.power[0];
        let (devices, rest) = power.split_at_mut(self.solver.devices.len());
        devices.copy_from_slice(&s.ahead_power);
        self.solver.linear_powers(&state.x, rest);
        take(&mut state.power, power);
        s.power.iter_mut().zip(&s.ahead_power).for_each(|(old, new)| *old = L::select(mask, *new, *old));
        std::mem::swap(&mut self.solver.a, &mut s.ahead_a);
        if kept == 0 {
            std::mem::swap(&mut self.solver.stamps, &mut s.ahead);
        } else {
            for (stamp, ahead) in self.solver.stamps.iter_mut().zip(&s.ahead) {
                stamp.iter_mut().zip(ahead).for_each(|(old, new)| *old = L::select(mask, *new, *old));
            }
        }
        copy(&mut s.stamped_at, &state.x);
    }
}
