//! `/events`: what happened when.

use joulestep_engine::recorder::{Action, Event, EventKind};
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

/// Numbers beside the value: name, unit, what they are.
const NUMBERS: [(&str, &str, &str); 3] = [
    ("level", "", "level that was crossed, in the unit of the quantity"),
    ("since", "s", "start of what has ended"),
    ("peak", "A", "largest current of a fault that is cleared"),
];

/// An event read from a file.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StoredEvent {
    /// s.
    #[serde(serialize_with = "exact")]
    pub time: f64,
    /// The word of its [`EventKind`].
    pub kind: String,
    /// The words of its [`Action`]; empty where the kind says all.
    pub action: String,
    /// Component, protection or drive.
    pub subject: String,
    /// In words, for people.
    pub note: String,
    /// The value that goes with it, NaN where none does.
    #[serde(serialize_with = "exact")]
    pub value: f64,
    /// Unit symbol of the value.
    pub unit: String,
    /// The level that was crossed, in the unit of the quantity; NaN where none was.
    #[serde(serialize_with = "exact")]
    pub level: f64,
    /// Start of what has ended (a fault that is cleared), s; NaN where nothing has.
    #[serde(serialize_with = "exact")]
    pub since: f64,
    /// Largest current of a fault that is cleared, A; NaN elsewhere.
    #[serde(serialize_with = "exact")]
    pub peak: f64,
}

impl StoredEvent {
    /// Whether it is of a kind.
    pub fn is(&self, kind: EventKind) -> bool {
        self.kind == kind.word()
    }

    /// What exactly happened.
    pub fn act(&self) -> Action {
        Action::of_word(&self.action)
    }
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
        store.grow_texts::<WORD>(&growing("action", "", "what exactly happened"))?;
        for (name, unit, words) in NUMBERS {
            store.grow_reals(Form::Double, &growing(name, unit, words))?;
            store.attach(&format!("events/{name}"), 0, "events/time")?;
        }
        for name in TEXTS.into_iter().chain(["action"]) {
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
        store.append_texts::<WORD>("events/action", &texts(|e| e.action.word()))?;
        let further: [fn(&Event) -> f64; 3] = [|e| e.level, |e| e.since, |e| e.peak];
        for ((name, ..), pick) in NUMBERS.into_iter().zip(further) {
            store.append(&format!("events/{name}"), &numbers(pick))?;
        }
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
    let [kind, subject, note, unit] = [kind?, subject?, note?, unit?];
    // Files of earlier programs have words only.
    let action = if archive.has("events/action") { archive.texts("events/action")? } else { Vec::new() };
    let further = NUMBERS.map(|(name, ..)| {
        let path = format!("events/{name}");
        if archive.has(&path) { archive.reals(&path, 0..count) } else { Ok(Vec::new()) }
    });
    let [level, since, peak] = further;
    let (level, since, peak) = (level?, since?, peak?);
    let number = |all: &[f64], k: usize| all.get(k).copied().unwrap_or(f64::NAN);
    let text = |all: &[String], k: usize| all.get(k).cloned().unwrap_or_default();
    let event = |k: usize| StoredEvent {
        time: time[k],
        kind: text(&kind, k),
        action: text(&action, k),
        subject: text(&subject, k),
        note: text(&note, k),
        value: number(&value, k),
        unit: text(&unit, k),
        level: number(&level, k),
        since: number(&since, k),
        peak: number(&peak, k),
    };
    Ok((0..time.len()).map(event).collect())
}
