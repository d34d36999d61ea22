//! What a mission records on its way: `/thermal` the courses of the temperatures, `/waveforms` load, power and
//! estimated error.

use std::sync::atomic::{AtomicBool, Ordering};

use joulestep_engine::recorder::{Column, Event, EventKind, Layout, Recorder};
use joulestep_models::arrangement::mission::profile::{Profile, Side};
use joulestep_models::arrangement::mission::{Instant, Listener, MissionEvent};

use crate::input::scenario::resolved::{MissionSpec, SegmentOf};
use crate::output::result::ResultWriter;
use crate::progress::Progress;

/// Writes the file, shows progress, and stops when asked.
pub(super) struct Observer<'a> {
    pub(super) writer: Option<ResultWriter>,
    pub(super) profile: &'a Profile,
    pub(super) progress: Progress,
    pub(super) stop: &'a AtomicBool,
}

fn column(name: String, long_name: String, unit: &str) -> Column {
    Column { name, long_name, unit: unit.into() }
}

/// What is recorded.
pub(super) fn layout(spec: &MissionSpec, inputs: &[String]) -> Layout {
    let mut layout = Layout::default();
    for course in &spec.segments {
        let (name, what) = match &course.of {
            SegmentOf::Parameter(key) => (key.to_string(), "parameter of the arrangement"),
            SegmentOf::OfComponent(_, _, name) => (name.clone(), "parameter"),
            SegmentOf::Boundary(name) => (format!("boundary-{name}"), "temperature of the boundary"),
        };
        layout.channels.push(column(name, format!("{what} {}", course.of.name()), course.unit));
    }
    for name in inputs {
        let words = format!("mean power of {name} since the instant before");
        layout.channels.push(column(format!("power-{name}"), words, "W"));
        let parts = [
            ("", "mean over a cycle"),
            ("-least", "least within a cycle"),
            ("-largest", "largest within a cycle"),
        ];
        for (ending, what) in parts {
            layout.thermal.push(column(format!("{name}{ending}"), format!("{name}, {what}"), "degC"));
        }
    }
    let words = "estimated error of the temperatures";
    layout.channels.push(column("estimated-error".into(), words.into(), "K"));
    layout
}

impl Listener for Observer<'_> {
    fn instant(&mut self, i: &Instant) {
        let Some(writer) = &mut self.writer else { return };
        let length = self.profile.length;
        let within = i.time - (i.time / length).floor() * length;
        // The end of a round belongs to it.
        let t = if within <= 1e-12 * length && i.time > 0.0 { length } else { within };
        let mut values: Vec<f64> = self.profile.segments.iter().map(|c| c.at(t, Side::Before)).collect();
        values.extend(&i.power);
        values.push(i.estimate);
        writer.sample(i.time, &values);
        let each = i.celsius.iter().zip(&i.within);
        let temperatures: Vec<f64> = each.flat_map(|(t, w)| [*t, t + w.least, t + w.largest]).collect();
        writer.thermal(i.time, &temperatures);
    }

    fn event(&mut self, t: f64, what: MissionEvent) {
        let Some(writer) = &mut self.writer else { return };
        let (note, value, unit) = match what {
            MissionEvent::Stretch(k) => (format!("stretch {} of the round begins", k + 1), f64::NAN, ""),
            MissionEvent::Resolved(n) => ("cycles resolved".into(), f64::from(n), "1"),
            MissionEvent::Jumped(e) => ("rest of a settling jumped over, estimated error".into(), e, "K"),
            MissionEvent::Leapt(cycles, e) => {
                (format!("leap over {cycles:.0} cycles, estimated error"), e, "K")
            }
            MissionEvent::TakenBack(cycles, e) => {
                (format!("leap over {cycles:.0} cycles taken back, estimated error"), e, "K")
            }
        };
        let event = Event { note, value, unit, ..Event::new(t, EventKind::Scheduled, "mission") };
        Recorder::<f64>::event(writer, &event);
    }

    fn go_on(&mut self, t: f64) -> bool {
        self.progress.at(t);
        let writes = self.writer.as_mut().is_none_or(|w| Recorder::<f64>::go_on(w, t));
        writes && !self.stop.load(Ordering::Relaxed)
    }
}
