//! Runs in the lanes of one stepper: what goes from a run's own stepper into a lane, and back.

use std::sync::Arc;

use super::stage::NO_KEY;
use super::state::State;
use super::stepper::Stepper;
use crate::arithmetic::lane::Lane;
use crate::arithmetic::lockstep::Lockstep;
use crate::control::board::Board;
use crate::equations::system::System;
use crate::readout::{Raw, Readout};

fn put<K: Lane>(lane: usize, to: &mut [K], from: &[f64]) {
    to.iter_mut().zip(from).for_each(|(to, from)| to.set_lane(lane, *from));
}

fn get<K: Lane>(lane: usize, from: &[K], to: &mut [f64]) {
    to.iter_mut().zip(from).for_each(|(to, from)| *to = from.lane(lane));
}

impl<K: Lane> Stepper<K> {
    /// The state that belongs to it, empty.
    pub(crate) fn empty_state(&self) -> State<K> {
        let zeros = |n: usize| vec![K::splat(0.0); n];
        let n = self.solver.system.n + 1;
        let point = || (0.0, zeros(self.solver.inner));
        State {
            t: f64::NAN,
            x: zeros(n),
            q: zeros(n),
            k: zeros(n),
            power: zeros(self.power[0].len()),
            energy: zeros(self.power[0].len()),
            history: (0..self.method.stages()).map(|_| point()).collect(),
            kelvin: vec![K::splat(298.15); self.solver.system.devices.len()],
        }
    }

    /// Takes the variants of other runs into its lanes: `system` has their values, `each` is what each run integrates.
    /// False where that cannot be; nothing has changed then.
    pub(crate) fn take_variants(
        &mut self,
        system: Arc<System<K>>,
        each: &[&[(Readout<f64>, Readout<f64>)]],
    ) -> bool {
        let pair = |k: usize| -> Option<(Readout<K>, Readout<K>)> {
            let all = each.iter().map(|list| list.get(k)).collect::<Option<Vec<_>>>()?;
            let first: Vec<_> = all.iter().map(|pair| &pair.0).collect();
            let second: Vec<_> = all.iter().map(|pair| &pair.1).collect();
            Some((Readout::lockstep(&first)?, Readout::lockstep(&second)?))
        };
        let count = each.first().map_or(0, |list| list.len());
        if each.iter().any(|list| list.len() != count) {
            return false;
        }
        let Some(integrals) = (0..count).map(pair).collect() else { return false };
        self.integrals = integrals;
        self.solver.take_system(system);
        true
    }

    /// Puts all that a run's further steps depend on into a lane.
    pub(crate) fn load(&mut self, lane: usize, all: &mut State<K>, own: &State<f64>, from: &Stepper<f64>) {
        put(lane, &mut all.x, &own.x);
        put(lane, &mut all.q, &own.q);
        put(lane, &mut all.k, &own.k);
        put(lane, &mut all.power, &own.power);
        put(lane, &mut all.energy, &own.energy);
        put(lane, &mut all.kelvin, &own.kelvin);
        // One point, or those of a whole step: the last is the present one.
        for (to, from) in all.history.iter_mut().rev().zip(own.history.iter().rev()) {
            put(lane, &mut to.1, &from.1);
        }
        let (solver, from_solver) = (&mut self.solver, &from.solver);
        put(lane, &mut solver.x, &from_solver.x);
        put(lane, &mut solver.a, &from_solver.a);
        put(lane, &mut solver.limits, &from_solver.limits);
        solver.relative.set_lane(lane, from_solver.relative);
        for (to, from) in solver.stamps.iter_mut().zip(&from_solver.stamps) {
            put(lane, to, from);
        }
        solver.factored[lane] = from_solver.factored[0];
        solver.keys[lane] = NO_KEY;
        solver.stamped = false;
        if let Some(stages) = &mut self.rosenbrock {
            stages.exact &= !(1 << lane);
        }
        self.finest.set_lane(lane, from.finest);
        self.coarser.set_lane(lane, from.coarser);
        self.gauge.load(lane, &from.gauge);
    }

    /// What is read at the end of a step goes back to a run.
    pub(crate) fn show(
        &self,
        lane: usize,
        all: &State<K>,
        own: &mut State<f64>,
        to: &mut Stepper<f64>,
        read: &[Raw],
    ) {
        for &raw in read {
            match raw {
                Raw::Unknown(k) => own.x[k as usize] = all.x[k as usize].lane(lane),
                Raw::Power(k) => own.power[k as usize] = all.power[k as usize].lane(lane),
                Raw::Energy(k) => own.energy[k as usize] = all.energy[k as usize].lane(lane),
                Raw::Stamp(device, k) => {
                    let (device, k) = (device as usize, k as usize);
                    to.solver.stamps[device][k] = self.solver.stamps[device][k].lane(lane);
                }
            }
        }
    }

    /// All that was put into a lane goes back, so that the run can go on alone.
    pub(crate) fn store(
        &self,
        lane: usize,
        all: &State<K>,
        own: &mut State<f64>,
        to: &mut Stepper<f64>,
        board: &Board<f64>,
    ) {
        get(lane, &all.x, &mut own.x);
        get(lane, &all.power, &mut own.power);
        get(lane, &all.energy, &mut own.energy);
        for (from, to) in self.solver.stamps.iter().zip(&mut to.solver.stamps) {
            get(lane, from, to);
        }
        get(lane, &all.q, &mut own.q);
        get(lane, &all.k, &mut own.k);
        for (from, to) in all.history.iter().rev().zip(own.history.iter_mut().rev()) {
            get(lane, &from.1, &mut to.1);
        }
        to.gauge.store(&self.gauge, lane);
        let solver = &self.solver;
        to.solver.stamped = false;
        if let Some(stages) = &mut to.rosenbrock {
            stages.exact = 0;
        }
        get(lane, &solver.x, &mut to.solver.x);
        get(lane, &solver.a, &mut to.solver.a);
        if let Some((alpha, version)) = solver.factored[lane]
            && version == board.version()
        {
            to.solver.prepare(alpha, board);
        }
        to.solver.factored[0] = solver.factored[lane];
    }
}

impl Stepper<f64> {
    /// A step was made in a lane: what the state knows of instants.
    pub(crate) fn passed(&self, state: &mut State<f64>, end: f64, h: f64) {
        let begin = state.history.last().map_or(state.t, |point| point.0);
        let from = state.t;
        if self.rosenbrock.is_some() {
            state.history.resize_with(2, || (0.0, vec![0.0; self.solver.inner]));
            (state.history[0].0, state.history[1].0) = (begin, end);
            state.t = end;
            return;
        }
        state.history.resize_with(self.method.stages(), || (0.0, vec![0.0; self.solver.inner]));
        for (point, &c) in state.history.iter_mut().zip(self.method.c) {
            point.0 = if c == 1.0 { end } else { from + c * h };
        }
        state.history[0].0 = begin;
        state.t = end;
    }
}
