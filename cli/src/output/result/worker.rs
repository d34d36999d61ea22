//! The writing thread: takes what the run reports, in its order, and keeps the file.

use std::fs;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, Sender};
use std::time::{Instant, SystemTime};

use joulestep_engine::recorder::{Event, Layout, Row};

use super::FORMAT_VERSION;
use super::error::ResultError;
use super::events::Events;
use super::inputs;
use super::ledger::{self, LedgerTable};
use super::overview::Overview;
use super::steps::Steps;
use super::store::Store;
use super::structure::Form;
use super::summary::{self, Summary};
use super::waveforms::{Rows, Waveforms};
use super::writer::{Finished, THERMAL_CHUNK, WriterOptions};
use crate::diagnostic::Sources;
use crate::output::answer::Study;

/// What the run reports.
pub(super) enum Message {
    Layout(Box<Layout>),
    Samples(Rows),
    Thermal(Rows),
    Event(Box<Event>),
    Row(Box<Row<f64>>),
    /// What is studied; before the layout.
    Studies(&'static str),
    /// What the study found.
    Found(Box<Study>),
    Finish {
        complete: bool,
        ledger: Option<LedgerTable>,
        summary: Option<Summary>,
    },
}

/// The groups that the layout decides.
struct Groups {
    waveforms: Waveforms,
    overview: Overview,
    thermal: Waveforms,
    steps: Steps,
}

pub(super) struct Worker {
    store: Store,
    options: WriterOptions,
    events: Events,
    groups: Option<Groups>,
    samples: u64,
    found: Option<Box<Study>>,
    samples_back: Sender<Rows>,
    thermal_back: Sender<Rows>,
    /// Whether anything was appended since the last checkpoint.
    anything: bool,
    checkpoint: Instant,
}

impl Worker {
    /// Makes the file with its attributes and its empty groups.
    pub(super) fn create(
        path: &Path,
        inputs: &Sources,
        options: WriterOptions,
        samples_back: Sender<Rows>,
        thermal_back: Sender<Rows>,
    ) -> Result<Self, ResultError> {
        let mut store = Store::create(path)?;
        store.group_number("/", "complete", 0i64)?;
        store.group_number("/", "format_version", FORMAT_VERSION)?;
        store.group_text("/", "producer", "joulestep")?;
        store.group_text("/", "producer_version", env!("CARGO_PKG_VERSION"))?;
        let now = humantime::format_rfc3339_seconds(SystemTime::now());
        store.group_text("/", "created", &now.to_string())?;
        inputs::write(&store, inputs)?;
        for group in ["waveforms", "thermal", "overview", "steps", "ledger", "summary"] {
            store.group(group)?;
        }
        let events = Events::create(&mut store)?;
        Ok(Self {
            store,
            options,
            events,
            groups: None,
            samples: 0,
            found: None,
            samples_back,
            thermal_back,
            anything: false,
            checkpoint: Instant::now(),
        })
    }

    /// Serves until the end. After an error the file stays as the last checkpoint left it, `failed` is set, and
    /// what still comes is thrown away.
    pub(super) fn run(
        &mut self,
        receive: &Receiver<Message>,
        failed: &AtomicBool,
    ) -> Result<Finished, ResultError> {
        let mut error = None;
        loop {
            let outcome = match receive.recv() {
                Ok(Message::Finish { complete, ledger, summary }) => match error.take() {
                    Some(e) => return Err(e),
                    None => return self.finish(complete, ledger, summary),
                },
                // The run's side is gone without a word.
                Err(_) => return self.finish(false, None, None),
                Ok(Message::Samples(rows)) => {
                    let outcome = if error.is_none() { self.samples(&rows) } else { Ok(()) };
                    give_back(&self.samples_back, rows);
                    outcome
                }
                Ok(Message::Thermal(rows)) => {
                    let outcome = if error.is_none() { self.thermal(&rows) } else { Ok(()) };
                    give_back(&self.thermal_back, rows);
                    outcome
                }
                Ok(other) if error.is_none() => self.take(other),
                Ok(_) => Ok(()),
            };
            if let Err(e) = outcome {
                self.store.abandon();
                failed.store(true, Ordering::Relaxed);
                error = Some(e);
            }
        }
    }

    fn take(&mut self, message: Message) -> Result<(), ResultError> {
        let appended = match message {
            Message::Layout(layout) => {
                self.groups = Some(self.layout(&layout)?);
                self.store.publish()?;
                false
            }
            Message::Studies(study) => {
                self.store.group_text("/", "study", study)?;
                false
            }
            Message::Found(study) => {
                self.found = Some(study);
                false
            }
            Message::Event(event) => self.events.add(&mut self.store, *event)?,
            Message::Row(row) => match &mut self.groups {
                Some(groups) => groups.steps.add(&mut self.store, *row)?,
                None => return Err(self.no_layout("a row")),
            },
            Message::Samples(_) | Message::Thermal(_) | Message::Finish { .. } => false,
        };
        self.anything |= appended;
        self.checkpoint_if_due()
    }

    fn layout(&mut self, layout: &Layout) -> Result<Groups, ResultError> {
        let (store, options) = (&mut self.store, &self.options);
        let form = options.precision.form();
        let (channels, thermal) = (&layout.channels, &layout.thermal);
        let chunk = options.chunk.max(1);
        Ok(Groups {
            waveforms: Waveforms::create(store, "waveforms", channels, form, chunk, options)?,
            overview: Overview::create(store, channels, form, options)?,
            thermal: Waveforms::create(store, "thermal", thermal, Form::Double, THERMAL_CHUNK, options)?,
            steps: Steps::create(store, layout, options)?,
        })
    }

    fn samples(&mut self, rows: &Rows) -> Result<(), ResultError> {
        if rows.time.is_empty() {
            return Ok(());
        }
        let Some(groups) = &mut self.groups else { return Err(self.no_layout("samples")) };
        groups.waveforms.append(&mut self.store, rows)?;
        groups.overview.append(&mut self.store, rows)?;
        self.samples += rows.time.len() as u64;
        // What is left at the end is no whole chunk; the end of the file's growth follows.
        if rows.time.len() == self.options.chunk.max(1) {
            self.anything = true;
            self.checkpoint_if_due()?;
        }
        Ok(())
    }

    fn thermal(&mut self, rows: &Rows) -> Result<(), ResultError> {
        if rows.time.is_empty() {
            return Ok(());
        }
        let Some(groups) = &mut self.groups else { return Err(self.no_layout("temperatures")) };
        groups.thermal.append(&mut self.store, rows)?;
        self.anything |= rows.time.len() == THERMAL_CHUNK;
        Ok(())
    }

    fn no_layout(&self, found: &str) -> ResultError {
        ResultError::content(self.store.path(), format!("{found} before the layout"), "the layout first")
    }

    fn checkpoint_if_due(&mut self) -> Result<(), ResultError> {
        if self.anything && self.checkpoint.elapsed() >= self.options.checkpoint_interval {
            self.store.checkpoint()?;
            self.anything = false;
            self.checkpoint = Instant::now();
        }
        Ok(())
    }

    fn finish(
        &mut self,
        complete: bool,
        ledger: Option<LedgerTable>,
        summary: Option<Summary>,
    ) -> Result<Finished, ResultError> {
        self.store.publish()?;
        if let Some(groups) = &mut self.groups {
            groups.overview.finish(&mut self.store)?;
            groups.steps.finish(&mut self.store)?;
        }
        self.events.finish(&mut self.store)?;
        self.store.settle()?;
        if let Some(study) = &self.found {
            study.write_into(&self.store)?;
        }
        if let Some(ledger) = ledger {
            ledger::write(&self.store, &ledger)?;
        }
        if let Some(summary) = summary {
            summary::write(&self.store, &summary)?;
        }
        self.store.finish(complete)?;
        let path = self.store.path().to_owned();
        let bytes = fs::metadata(&path).map_err(|e| ResultError::system(&path, "look at", e))?.len();
        Ok(Finished { path, samples: self.samples, bytes })
    }
}

/// The run may have ended and thrown the other end away.
fn give_back(back: &Sender<Rows>, mut rows: Rows) {
    rows.time.clear();
    rows.values.clear();
    let _ = back.send(rows);
}
