//! What looks on while a run goes: the result file, the events, the progress.

use std::sync::atomic::{AtomicBool, Ordering};

use joulestep_engine::recorder::{Event, EventKind, Layout, Recorder, Row};

use super::picture::Strips;
use crate::output::account::event_lines::EventLines;
use crate::output::account::switching::SwitchingEnergies;
use crate::output::result::ResultWriter;
use crate::progress::Progress;
use crate::study::measured::Followers;

/// Kinds of events that tell what protection did.
const PROTECTION: [EventKind; 3] = [EventKind::Trip, EventKind::Retry, EventKind::LockOut];

/// What protection did, about which runs must agree; single edges of a controller may differ.
pub(crate) struct Course;

impl Course {
    /// What an event adds: "trip overcurrent".
    pub fn of(event: &Event) -> Option<String> {
        PROTECTION.contains(&event.kind).then(|| format!("{} {}", event.kind.word(), event.subject))
    }
}

/// Writes to the file, keeps the events, shows progress, and stops when asked.
pub(crate) struct Observer<'a> {
    pub writer: Option<ResultWriter>,
    /// All events, shortened.
    pub events: EventLines,
    /// What protection did.
    pub acts: Vec<String>,
    /// Switching energies.
    pub switching: SwitchingEnergies,
    /// The waveforms for a picture.
    pub strips: Option<Strips>,
    /// What was measured.
    pub followers: Followers,
    pub progress: Progress,
    /// Set when the run is to end.
    pub stop: &'a AtomicBool,
}

impl Recorder<f64> for Observer<'_> {
    fn begin(&mut self, layout: &Layout) {
        self.writer.iter_mut().for_each(|w| w.begin(layout));
        self.strips.iter_mut().for_each(|s| s.begin(layout));
    }
    fn sample(&mut self, t: f64, values: &[f64]) {
        self.writer.iter_mut().for_each(|w| w.sample(t, values));
        self.strips.iter_mut().for_each(|s| s.sample(t, values));
        self.followers.sample(t, values);
    }
    fn thermal(&mut self, t: f64, celsius: &[f64]) {
        self.writer.iter_mut().for_each(|w| w.thermal(t, celsius));
    }
    fn event(&mut self, event: &Event) {
        self.writer.iter_mut().for_each(|w| w.event(event));
        self.events.push(event);
        self.acts.extend(Course::of(event));
    }
    fn row(&mut self, row: &Row<f64>) {
        self.writer.iter_mut().for_each(|w| w.row(row));
        row.switching.iter().for_each(|s| self.switching.push(s));
    }
    fn go_on(&mut self, t: f64) -> bool {
        self.progress.at(t);
        let asked = self.stop.load(Ordering::Relaxed) || crate::signals::stopped().load(Ordering::Relaxed);
        self.writer.iter_mut().all(|w| Recorder::<f64>::go_on(w, t)) && !asked
    }
}
