//! Runs of several variants in lockstep: one run whose lanes are theirs.

use wide::{f64x4, f64x8};

use super::setup::{Piecewise, Setup};
use crate::arithmetic::lockstep::{lanes, shared};
use crate::circuit::graph::{Body, Circuit};
use crate::circuit::lockstep::DeviceLanes;
use crate::control::Controller;

/// Lanes that single runs can be put into.
pub trait Wide: DeviceLanes {
    /// A controller of each variant in lockstep.
    fn controller(each: &[&dyn Controller<f64>]) -> Option<Box<dyn Controller<Self>>>;
}

/// One lane: a copy.
impl Wide for f64 {
    fn controller(each: &[&dyn Controller<f64>]) -> Option<Box<dyn Controller<Self>>> {
        each.first().map(|one| one.boxed())
    }
}

impl Wide for f64x4 {
    fn controller(each: &[&dyn Controller<f64>]) -> Option<Box<dyn Controller<Self>>> {
        each.first()?.in_four_lanes(each)
    }
}

impl Wide for f64x8 {
    fn controller(each: &[&dyn Controller<f64>]) -> Option<Box<dyn Controller<Self>>> {
        each.first()?.in_eight_lanes(each)
    }
}

impl Setup<f64> {
    /// One setup for each lane of `K` in lockstep; `None` where they do not share topology, schedule, steps, what is
    /// recorded or what is watched. Values may differ, and so may the bounds of watches: the widest make events.
    ///
    /// Lanes take common steps, those that the most active one needs: each is solved at least as finely as alone.
    #[inline(never)]
    pub fn lockstep<K: Wide>(each: &[&Self]) -> Option<Setup<K>> {
        let first = *each.first()?;
        let controllers = |k: usize| {
            let all: Vec<&dyn Controller<f64>> = each.iter().map(|s| s.controllers[k].as_ref()).collect();
            K::controller(&all)
        };
        let watched = |s: &Self| {
            let alike = |(a, b): (&super::watch::Watch, &super::watch::Watch)| {
                (&a.name, a.unit, &a.probe, a.event) == (&b.name, b.unit, &b.probe, b.event)
            };
            s.watches.len() == first.watches.len() && s.watches.iter().zip(&first.watches).all(alike)
        };
        let alike = |s: &&Self| s.controllers.len() == first.controllers.len() && watched(s);
        // By pieces each variant has its own switch states, so it goes alone.
        let by_pieces = first.piecewise != Piecewise::Never
            && first
                .circuit
                .components
                .iter()
                .any(|c| matches!(&c.body, Body::Device(d) if d.valve().is_some()));
        if by_pieces || each.len() != K::WIDTH || !each.iter().all(alike) {
            return None;
        }
        let mut watches = first.watches.clone();
        for setup in each {
            for (mine, other) in watches.iter_mut().zip(&setup.watches) {
                mine.lower = mine.lower.min(other.lower);
                mine.upper = mine.upper.max(other.upper);
            }
        }
        Some(Setup {
            circuit: Circuit::lockstep::<K>(&each.iter().map(|s| &s.circuit).collect::<Vec<_>>())?,
            board: lanes::<_, _, K>(each, |s| &s.board)?,
            controllers: (0..first.controllers.len()).map(controllers).collect::<Option<_>>()?,
            thermal: lanes::<_, _, K>(each, |s| &s.thermal)?,
            coupling: shared(each, |s| &s.coupling)?,
            heat_error: shared(each, |s| &s.heat_error)?,
            begin: shared(each, |s| &s.begin)?,
            start: shared(each, |s| &s.start)?,
            method: shared(each, |s| &s.method.name).map(|_| first.method)?,
            steps: shared(each, |s| &s.steps)?,
            bounds: shared(each, |s| &s.bounds)?,
            piecewise: shared(each, |s| &s.piecewise)?,
            tolerance: shared(each, |s| &s.tolerance)?,
            channels: shared(each, |s| &s.channels)?,
            sample_every: shared(each, |s| &s.sample_every)?,
            watches,
            // Measured in single runs only.
            switches: Vec::new(),
            gauges: lanes::<_, _, K>(each, |s| &s.gauges)?,
            integrals: shared(each, |s| &s.integrals)?,
            halt: each.first()?.halt,
        })
    }
}
