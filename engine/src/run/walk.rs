//! A way on beside the ordinary step: by pieces.

use super::time_loop::{Ended, Run, whole};
use crate::error::SolverError;
use crate::recorder::Recorder;

/// Most steps of a walk by pieces before the recorder is asked whether to go on.
const WALK: u64 = 1 << 16;

impl Run<f64> {
    /// In a word, how it steps: the method's name, or that it goes by pieces.
    pub fn method(&self) -> &'static str {
        if self.stepper.pieces().is_some() { "piecewise" } else { self.stepper.method.name }
    }

    /// Goes on by pieces until `stop`; steps no longer than `near`. Every step is looked at where something watches, or
    /// a controller reads a probe; else only those after which a sample is due or temperatures are exchanged.
    pub(super) fn walk(
        &mut self,
        (stop, corner, near): (f64, f64, f64),
        until: f64,
        recorder: &mut dyn Recorder<f64>,
    ) -> Result<Ended, SolverError> {
        let before = self.state.t;
        let closely = self.watched.end > 0;
        let mut pause = if closely { before } else { f64::INFINITY };
        if !self.channels.is_empty() {
            pause = pause.min(self.sampled_at + self.sample_every);
        }
        if let Some(coupling) = self.coupling.as_ref().filter(|_| self.thermal.is_some()) {
            pause = pause.min(coupling.at + coupling.interval);
        }
        let walked = self.stepper.walk(&mut self.state, (stop, pause, near), WALK, &self.board);
        let walked = walked.map_err(|error| error.located(self.stepper.system(), before, 0))?;
        // Energies are worked out where somebody may ask for them.
        if self.tells_energy || closely || self.state.t >= until {
            self.stepper.account(&mut self.state);
        }
        self.counters.steps += walked.steps;
        self.counters.changes += walked.changes;
        self.walked(before);
        self.after_step(before, self.state.t == corner, recorder, &mut whole)?;
        if recorder.go_on(self.state.t) {
            return Ok(Ended::Reached);
        }
        self.stepper.account(&mut self.state);
        Ok(Ended::Stopped)
    }
}
