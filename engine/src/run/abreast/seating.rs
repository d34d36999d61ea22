//! How a run comes into a lane: whether it fits, and the values of all runs put side by side.

use std::sync::Arc;

use super::{Abreast, Sitting};
use crate::arithmetic::lockstep::Lockstep;
use crate::circuit::graph::Circuit;
use crate::circuit::lockstep::DeviceLanes;
use crate::equations::system::System;
use crate::error::SolverError;
use crate::readout::{Readout, Readouts};
use crate::recorder::Recorder;
use crate::run::time_loop::{Ended, Next, Run, whole};
use crate::step::bounds::Bounds;
use crate::step::stage::Tolerance;
use crate::step::stepper::{Span, Stepper};

/// Where a run went.
#[derive(Debug)]
pub enum Seating {
    /// Into a lane.
    Sits(usize),
    /// It is over already.
    Over(Box<Run<f64>>, Result<Ended, SolverError>),
    /// It does not fit; it can go on alone, or elsewhere, with the recorder that it has.
    Refused(Box<Run<f64>>),
}

/// Equations with the values of a variant in each lane; `None` where their forms or laws differ.
fn together<K: DeviceLanes>(each: &[&System<f64>]) -> Option<System<K>> {
    let circuits: Vec<&Circuit<f64>> = each.iter().map(|system| &system.circuit).collect();
    let all = System::new(Circuit::lockstep::<K>(&circuits)?);
    each.iter().all(|one| all.has_form_of(one)).then_some(all)
}

impl<K: DeviceLanes> Abreast<K> {
    /// Lanes for runs like this one, all free; `None` where such runs go alone.
    #[inline(never)]
    pub fn like(run: &Run<f64>) -> Option<Self> {
        let own = &run.stepper;
        if own.pieces().is_some() || own.solver.is_dense() {
            return None;
        }
        let system = Arc::new(together::<K>(&vec![&*run.system; K::WIDTH])?);
        let wide = |readout| Readout::lockstep::<K>(&vec![readout; K::WIDTH]);
        let integrals = own.integrals.iter().map(|(a, b)| Some((wide(a)?, wide(b)?)));
        let tolerance = Tolerance { iterations: own.solver.iterations(), ..Tolerance::default() };
        let stepper = Stepper::new(
            system,
            own.solver.program().clone(),
            own.method,
            tolerance,
            Bounds::default(),
            integrals.collect::<Option<_>>()?,
        );
        Some(Self {
            state: stepper.empty_state(),
            places: (0..K::WIDTH).map(|_| None).collect(),
            spans: vec![Span { begin: 0.0, end: 1.0, h: 1.0 }; K::WIDTH],
            keys: vec![(1.0, 0); K::WIDTH],
            chosen: run.system.circuit.choices.iter().map(|_| K::splat(1.0)).collect(),
            heating: Vec::new(),
            power: vec![K::splat(0.0); own.system().accounts()],
            reads: Readouts::lockstep::<K>(&vec![&run.reads; K::WIDTH])?,
            values: vec![K::splat(0.0); run.values.len()],
            rounds: 0,
            steps: 0,
            stepper,
        })
    }

    /// Whether a run may take a lane here: its method, its elimination order and its form are theirs.
    #[inline(never)]
    pub fn fits(&self, run: &Run<f64>) -> bool {
        let (own, all) = (&run.stepper, &self.stepper);
        own.pieces().is_none()
            && !own.solver.is_dense()
            && own.method.name == all.method.name
            && own.integrals.len() == all.integrals.len()
            && own.solver.iterations() == all.solver.iterations()
            && all.system().has_form_of(&run.system)
            && own.solver.order() == all.solver.order()
    }

    /// Gives a run a lane, in which it goes on until the instant `until`, s.
    #[inline(never)]
    pub fn seat(&mut self, mut run: Run<f64>, until: f64, recorder: &mut dyn Recorder<f64>) -> Seating {
        let free = self.places.iter().position(Option::is_none);
        let (Some(lane), true) = (free, self.fits(&run)) else { return Seating::Refused(Box::new(run)) };
        let step = match run.next(until, recorder, &mut whole) {
            Ok(Next::Step(step)) => step,
            Ok(Next::Walk(..)) => return Seating::Refused(Box::new(run)),
            Ok(Next::Over(ended)) => return Seating::Over(Box::new(run), Ok(ended)),
            Err(error) => return Seating::Over(Box::new(run), Err(error)),
        };
        let solver = &run.stepper.solver;
        let mut sitting = Sitting {
            until,
            step,
            version: None,
            jumps: run.counters.jumps,
            couplings: run.counters.couplings,
            reordered: solver.reordered,
            read: run.raw(),
            run,
        };
        // A jump at the start may have asked for another order.
        if self.fits(&sitting.run) && self.take_variants(lane, &sitting.run) {
            sitting.run.told = true;
            self.places[lane] = Some(sitting);
            return Seating::Sits(lane);
        }
        Seating::Refused(Box::new(sitting.run))
    }

    /// The values of all runs go into the lanes, and the state of a new one. A free lane takes those of the new one.
    fn take_variants(&mut self, lane: usize, new: &Run<f64>) -> bool {
        let each: Vec<&Run<f64>> =
            self.places.iter().map(|place| place.as_ref().map_or(new, |sitting| &sitting.run)).collect();
        self.heating = each.iter().flat_map(|run| run.heating.iter().flatten().copied()).collect();
        self.heating.sort_unstable();
        self.heating.dedup();
        let systems: Vec<&System<f64>> = each.iter().map(|run| &*run.system).collect();
        let integrals: Vec<_> = each.iter().map(|run| &run.stepper.integrals[..]).collect();
        let reads: Vec<_> = each.iter().map(|run| &run.reads).collect();
        let Some(system) = together::<K>(&systems) else { return false };
        let Some(reads) = Readouts::lockstep::<K>(&reads) else { return false };
        if !self.stepper.take_variants(Arc::new(system), &integrals) {
            return false;
        }
        self.values.resize(reads.count(), K::splat(0.0));
        self.reads = reads;
        self.stepper.load(lane, &mut self.state, &new.state, &new.stepper);
        self.stepper.solver.set_temperatures(&self.state.kelvin);
        true
    }
}
