//! The recorder that writes a result file while the run goes on.
//!
//! The run only copies its samples into a buffer; a thread of the writer's own compresses and writes them, so that
//! recording costs the run little. Memory is a few buffers, whatever the length of the run.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{self, Receiver, SyncSender};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use joulestep_engine::recorder::{Event, Layout, Recorder, Row};

use super::error::ResultError;
use super::ledger::LedgerTable;
use super::structure::Form;
use super::summary::Summary;
use super::waveforms::Rows;
use super::worker::{Message, Worker};
use crate::diagnostic::Sources;
use crate::output::answer::Study;

/// Buffers between the run and the writing thread.
const BUFFERS: usize = 4;

/// Messages that may wait for the writing thread.
const MESSAGES: usize = 64;

/// Temperatures in a chunk.
pub(super) const THERMAL_CHUNK: usize = 256;

/// How exactly the waveforms are stored.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Precision {
    /// IEEE 754 binary64: what the run computed, bit for bit.
    #[default]
    Double,
    /// IEEE 754 binary32: about seven digits, half the size.
    Single,
}

impl Precision {
    pub(super) fn form(self) -> Form {
        match self {
            Self::Double => Form::Double,
            Self::Single => Form::Single,
        }
    }
}

/// How to write.
#[derive(Clone, Debug)]
pub struct WriterOptions {
    /// Of the waveforms and their overview; times and temperatures are always double.
    pub precision: Precision,
    /// Deflate level, 0 (none) to 9 (smallest and slowest).
    pub deflate: u8,
    /// Samples in a chunk.
    pub chunk: usize,
    /// Time after which what is new is made safe against the end of the process; each takes some milliseconds.
    pub checkpoint_interval: Duration,
}

impl Default for WriterOptions {
    fn default() -> Self {
        Self {
            precision: Precision::Double,
            deflate: 1,
            chunk: 4096,
            checkpoint_interval: Duration::from_secs(2),
        }
    }
}

/// What was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finished {
    /// The file.
    pub path: PathBuf,
    /// Instants in `/waveforms`.
    pub samples: u64,
    /// Size of the file, bytes.
    pub bytes: u64,
}

/// Samples being gathered into a chunk.
struct Gathering {
    width: usize,
    chunk: usize,
    rows: Rows,
    wrap: fn(Rows) -> Message,
    /// Buffers that come back from the writing thread.
    empty: Receiver<Rows>,
}

/// Writes a result file; see the module's description for what it holds.
///
/// Without [`ResultWriter::finish`] the file is closed as a partial one when the writer goes out of scope.
pub struct ResultWriter {
    path: PathBuf,
    send: Option<SyncSender<Message>>,
    worker: Option<JoinHandle<Result<Finished, ResultError>>>,
    failed: Arc<AtomicBool>,
    samples: Gathering,
    thermal: Gathering,
    begun: bool,
    misuse: Option<ResultError>,
}

impl ResultWriter {
    /// Makes the file (an existing one is replaced) and writes what is known before the run: `inputs` are the files
    /// that went in.
    ///
    /// # Errors
    /// What the system said when the file cannot be made, or that another program is using it.
    pub fn create(path: &Path, inputs: &Sources, options: WriterOptions) -> Result<Self, ResultError> {
        let (send, receive) = mpsc::sync_channel(MESSAGES);
        let (samples_back, samples_empty) = mpsc::channel();
        let (thermal_back, thermal_empty) = mpsc::channel();
        for _ in 0..BUFFERS {
            // The receiving ends live on this stack: nothing can fail yet.
            let _ = (samples_back.send(Rows::default()), thermal_back.send(Rows::default()));
        }
        let failed = Arc::new(AtomicBool::new(false));
        let chunk = options.chunk.max(1);
        let (sender, receiver) = mpsc::channel();
        let (file, inputs, mark) = (path.to_owned(), inputs.clone(), Arc::clone(&failed));
        let body = move || {
            // The library's handles cannot change threads, so the file is made where it is written.
            let mut worker = match Worker::create(&file, &inputs, options, samples_back, thermal_back) {
                Ok(worker) => worker,
                Err(e) => {
                    let _ = sender.send(Err(e));
                    return Err(ResultError::content(&file, "no file", "a file"));
                }
            };
            let _ = sender.send(Ok(()));
            worker.run(&receive, &mark)
        };
        let spawned = thread::Builder::new().name("result file".into()).spawn(body);
        let worker = spawned.map_err(|e| ResultError::system(path, "start a thread to write", e))?;
        match receiver.recv() {
            Ok(Ok(())) => {}
            Ok(Err(e)) => return Err(e),
            Err(_) => return Err(broke_down(path)),
        }
        let gathering =
            |chunk, wrap, empty| Gathering { width: 0, chunk, rows: Rows::default(), wrap, empty };
        Ok(Self {
            path: path.to_owned(),
            send: Some(send),
            worker: Some(worker),
            failed,
            samples: gathering(chunk, Message::Samples, samples_empty),
            thermal: gathering(THERMAL_CHUNK, Message::Thermal, thermal_empty),
            begun: false,
            misuse: None,
        })
    }

    /// Says what is studied, for who finds the file; before the layout.
    pub fn studies(&mut self, kind: &'static str) {
        self.send(Message::Studies(kind));
    }

    /// What the study found; written at the end.
    pub fn found(&mut self, study: Study) {
        self.send(Message::Found(Box::new(study)));
    }

    /// Writes what is left, and closes the file. `complete` says that the run came to its end; an interrupted run says
    /// false and may still give its ledger and summary.
    ///
    /// # Errors
    /// The first error since the file was made; the file then holds the last checkpoint.
    pub fn finish(
        mut self,
        complete: bool,
        ledger: Option<&LedgerTable>,
        summary: Option<&Summary>,
    ) -> Result<Finished, ResultError> {
        let end = Message::Finish {
            complete: complete && self.misuse.is_none(),
            ledger: ledger.cloned(),
            summary: summary.cloned(),
        };
        let outcome = self.end(end);
        match self.misuse.take() {
            Some(misuse) => Err(misuse),
            None => outcome,
        }
    }

    fn end(&mut self, end: Message) -> Result<Finished, ResultError> {
        let _writing = crate::signals::writing();
        let rest = [&mut self.samples, &mut self.thermal].map(|g| (g.wrap)(std::mem::take(&mut g.rows)));
        for message in rest.into_iter().chain([end]) {
            self.send(message);
        }
        self.send = None;
        match self.worker.take().map(JoinHandle::join) {
            Some(Ok(outcome)) => outcome,
            Some(Err(_)) | None => Err(broke_down(&self.path)),
        }
    }

    fn send(&self, message: Message) {
        let sent = self.send.as_ref().is_some_and(|send| send.send(message).is_ok());
        if !sent {
            self.failed.store(true, Ordering::Relaxed);
        }
    }

    fn refuse(&mut self, found: String, expected: String) {
        let error = || ResultError::content(&self.path, found, expected);
        self.misuse.get_or_insert_with(error);
    }

    fn gather(&mut self, thermal: bool, t: f64, values: &[f64]) {
        let gathering = if thermal { &mut self.thermal } else { &mut self.samples };
        if values.len() != gathering.width {
            let expected = format!("{} as the layout says", gathering.width);
            return self.refuse(format!("an instant with {} values", values.len()), expected);
        }
        gathering.rows.time.push(t);
        gathering.rows.values.extend_from_slice(values);
        if gathering.rows.time.len() < gathering.chunk {
            return;
        }
        // Waiting for an empty buffer holds the run back when it is faster than the disk.
        let empty = gathering.empty.recv().unwrap_or_default();
        let full = (gathering.wrap)(std::mem::replace(&mut gathering.rows, empty));
        self.send(full);
    }
}

fn broke_down(path: &Path) -> ResultError {
    ResultError::content(path, "the writing thread broke down", "it to write the file")
}

impl Recorder<f64> for ResultWriter {
    fn begin(&mut self, layout: &Layout) {
        if self.begun {
            return self.refuse("a second layout".into(), "one layout per file".into());
        }
        self.begun = true;
        self.samples.width = layout.channels.len();
        self.thermal.width = layout.thermal.len();
        self.send(Message::Layout(Box::new(layout.clone())));
    }

    fn sample(&mut self, t: f64, values: &[f64]) {
        self.gather(false, t, values);
    }

    fn thermal(&mut self, t: f64, celsius: &[f64]) {
        self.gather(true, t, celsius);
    }

    fn event(&mut self, event: &Event) {
        self.send(Message::Event(Box::new(event.clone())));
    }

    fn row(&mut self, row: &Row<f64>) {
        self.send(Message::Row(Box::new(row.clone())));
    }

    fn go_on(&mut self, _t: f64) -> bool {
        self.misuse.is_none() && !self.failed.load(Ordering::Relaxed)
    }
}

impl Drop for ResultWriter {
    fn drop(&mut self) {
        if self.worker.is_some() {
            // Nobody is left to hear of error.
            let _ = self.end(Message::Finish { complete: false, ledger: None, summary: None });
        }
    }
}
