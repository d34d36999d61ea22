//! `/events`: what happened when.

use joulestep_engine::recorder::Event;
use serde::{Serialize, Serializer};

use super::archive::Archive;
use super::error::ResultError;
use super::store::Store;
use super::structure::{Form, Growing};

/// Events in a chunk; a killed run loses those of the last chunk.
const CHUNK: usize = 16;

/// Deflate level: mostly for the texts, which are mostly empty space.
const DEFLATE: u8 = 1;

/// Width of `kind` and `unit`, bytes.
const WORD: usize = 16;

/// Width of `subject`.
const NAME: usize = 64;

/// Width of `note`.
const NOTE: usize = 256;

const TEXTS: [&str; 4] = ["kind", "subject", "note", "unit"];

/// An event read from a file.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StoredEvent {
    /// s.
    #[serde(serialize_with = "exact")]
    pub time: f64,
    /// The word of its [`joulestep_engine::recorder::EventKind`].
    pub kind: String,
    /// Component, protection or drive.
    pub subject: String,
    /// In words.
    pub note: String,
    /// The value that goes with it, NaN where none does.
    #[serde(serialize_with = "exact")]
    pub value: f64,
    /// Unit symbol of the value.
    pub unit: String,
}

/// A number by its shortest digits, or a text where JSON has none: `NaN`, `Infinity`, `-Infinity`.
pub(crate) fn exact<S: Serializer>(x: &f64, to: S) -> Result<S::Ok, S::Error> {
    match *x {
        x if x.is_finite() => to.serialize_f64(x),
        x if x.is_nan() => to.serialize_str("NaN"),
        x => to.serialize_str(if x > 0.0 { "Infinity" } else { "-Infinity" }),
    }
}

/// The group being written.
pub(super) struct Events {
    waiting: Vec<Event>,
}

impl Events {
    pub(super) fn create(store: &mut Store) -> Result<Self, ResultError> {
        store.group("events")?;
        let growing = |name, units, long_name| Growing {
            group: "events",
            name,
            width: None,
            chunk: CHUNK,
            deflate: DEFLATE,
            units,
            long_name,
        };
        store.grow_reals(Form::Double, &growing("time", "s", "time"))?;
        store.scale("events/time", "time")?;
        store.grow_reals(Form::Double, &growing("value", "", "value that goes with the event"))?;
        store.attach("events/value", 0, "events/time")?;
        store.grow_texts::<WORD>(&growing("kind", "", "kind of event"))?;
        store.grow_texts::<NAME>(&growing("subject", "", "component, protection or drive"))?;
        store.grow_texts::<NOTE>(&growing("note", "", "what happened"))?;
        store.grow_texts::<WORD>(&growing("unit", "", "unit of value"))?;
        for name in TEXTS {
            store.attach(&format!("events/{name}"), 0, "events/time")?;
        }
        Ok(Self { waiting: Vec::new() })
    }

    /// Takes the event in; true when it was appended to the file with its chunk.
    pub(super) fn add(&mut self, store: &mut Store, event: Event) -> Result<bool, ResultError> {
        self.waiting.push(event);
        let full = self.waiting.len() == CHUNK;
        if full {
            self.finish(store)?;
        }
        Ok(full)
    }

    /// Appends what waits.
    pub(super) fn finish(&mut self, store: &mut Store) -> Result<(), ResultError> {
        if self.waiting.is_empty() {
            return Ok(());
        }
        let numbers = |pick: fn(&Event) -> f64| self.waiting.iter().map(pick).collect::<Vec<f64>>();
        store.append("events/time", &numbers(|e| e.time))?;
        store.append("events/value", &numbers(|e| e.value))?;
        let texts = |pick: fn(&Event) -> &str| self.waiting.iter().map(pick).collect::<Vec<&str>>();
        store.append_texts::<WORD>("events/kind", &texts(|e| e.kind.word()))?;
        store.append_texts::<NAME>("events/subject", &texts(|e| &e.subject))?;
        store.append_texts::<NOTE>("events/note", &texts(|e| &e.note))?;
        store.append_texts::<WORD>("events/unit", &texts(|e| e.unit))?;
        self.waiting.clear();
        Ok(())
    }
}

/// All events of the file.
pub(super) fn read(archive: &Archive) -> Result<Vec<StoredEvent>, ResultError> {
    let count = archive.common_length("events")?;
    let time = archive.reals("events/time", 0..count)?;
    let value = archive.reals("events/value", 0..count)?;
    let [kind, subject, note, unit] = TEXTS.map(|name| archive.texts(&format!("events/{name}")));
    let columns = kind?.into_iter().zip(subject?).zip(note?.into_iter().zip(unit?));
    let numbers = time.into_iter().zip(value);
    Ok(numbers
        .zip(columns)
        .map(|((time, value), ((kind, subject), (note, unit)))| StoredEvent {
            time,
            kind,
            subject,
            note,
            value,
            unit,
        })
        .collect())
}
