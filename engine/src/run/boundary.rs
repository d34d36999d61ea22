//! What happens at the start of a run and at the end of a step: orders, controllers, jumps, heat, records.

use super::time_loop::{Fetch, Run, whole};
use crate::control::Seen;
use crate::error::SolverError;
use crate::recorder::{EventKind, Recorder};

impl Run<f64> {
    /// Before the first step: what will be recorded, the first look, the first sample.
    pub(super) fn begin(&mut self, recorder: &mut dyn Recorder<f64>) -> Result<(), SolverError> {
        self.began = true;
        recorder.begin(&self.layout());
        for o in &mut self.observers {
            o.now.fill(0.0);
        }
        self.gather();
        self.read_observers();
        for o in &mut self.observers {
            o.then.copy_from_slice(&o.now);
        }
        self.after_step(self.state.t, false, recorder, &mut whole)?;
        if !self.celsius.is_empty() {
            recorder.thermal(self.state.t, &self.celsius);
        }
        self.take_peaks();
        let interval = self.open_row(String::new());
        self.rows.insert(0, interval);
        Ok(())
    }

    /// Everything that happens at the end of a step.
    pub(super) fn after_step(
        &mut self,
        before: f64,
        corner: bool,
        recorder: &mut dyn Recorder<f64>,
        fetch: Fetch<'_>,
    ) -> Result<(), SolverError> {
        let t = self.state.t;
        if t > before {
            self.seen_at = t;
        }
        let jumps = corner && self.system.circuit.waves.iter().any(|w| w.jumps_at(t));
        if !self.told {
            self.gather();
        }
        self.board.apply_orders(t);
        self.look(before)?;
        let (ordered, switched) = self.board.take_changes();
        let mut events = self.board.take_events();
        if jumps || switched {
            // The sample before the jump, then the state after it.
            self.sample(recorder, true);
            // What goes at once had its extreme just before.
            self.watch(&mut events);
            self.choices.copy_from_slice(self.board.choices());
            fetch(&mut self.state, &mut self.stepper, &self.board);
            self.jump(true)?;
            self.gather();
        }
        if corner || ordered || jumps || switched {
            self.ladder.open(t);
            self.balance.anew();
            self.stepper.forget(&mut self.state);
            self.watcher.anew();
            self.counters.windows += 1;
        }
        self.couple(recorder, fetch);
        self.watch(&mut events);
        self.sample(recorder, !events.is_empty() || corner || ordered || jumps || switched);
        for event in &events {
            recorder.event(event);
            self.gauges.event(event);
            self.switches.event(event);
            if event.kind == EventKind::Edge {
                self.turn_row(&event.subject, recorder);
            }
        }
        self.gauges.fault(self.board.fault());
        self.report_switching(recorder);
        Ok(())
    }

    fn read_observers(&mut self) {
        if self.watched.start == 0 {
            return;
        }
        self.read_others(0..self.watched.start);
        for o in &mut self.observers {
            o.now.copy_from_slice(&self.values[o.reads.clone()]);
        }
    }

    pub(super) fn look(&mut self, before: f64) -> Result<(), SolverError> {
        self.read_observers();
        let t = self.state.t;
        for o in &mut self.observers {
            let seen = Seen { before, t, then: &o.then, now: &o.now };
            o.logic.look(&seen, &mut self.board)?;
            // What was ordered for this very instant holds for those who look after.
            self.board.apply_orders(t);
            o.then.copy_from_slice(&o.now);
        }
        Ok(())
    }

    /// Makes the state consistent; `counts`: what goes at once is booked.
    pub(super) fn jump(&mut self, counts: bool) -> Result<(), SolverError> {
        self.counters.jumps += 1;
        let tiny = 1e-3 * self.ladder.finest_step();
        let t = self.state.t;
        self.seen_at = t.next_up();
        let jumped = self.stepper.jump(&mut self.state, tiny, counts, &self.board);
        jumped.map_err(|error| error.located(&self.system, t, 0))?;
        self.stepper.gauge_sees(&self.state.x);
        Ok(())
    }
}
