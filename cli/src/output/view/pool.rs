//! Threads that read the files: handles of the file library cannot change threads, so each thread has its own, and
//! connections send it what to do. Every task is bounded, so that none keeps the others waiting for long.

use std::io;
use std::path::PathBuf;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{self, Receiver, SyncSender};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;

use super::http::Response;
use super::source::Source;

/// Threads that read.
const THREADS: usize = 3;
/// Tasks that may wait in the queue.
const QUEUE: usize = 64;

type Task = Box<dyn FnOnce(&mut Open) + Send>;

/// The reading threads.
#[derive(Clone)]
pub(super) struct Pool {
    tasks: SyncSender<Task>,
    files: Arc<Vec<PathBuf>>,
    generation: Arc<AtomicU64>,
}

/// The files as one thread has them open.
struct Open {
    files: Arc<Vec<PathBuf>>,
    sources: Vec<Option<(u64, Source)>>,
}

impl Open {
    /// The file of that number, opened no earlier than the generation says.
    fn source(&mut self, file: usize, generation: u64) -> Result<&mut Source, Response> {
        let (Some(path), Some(slot)) = (self.files.get(file), self.sources.get_mut(file)) else {
            return Err(Response::error(400, format!("f: there is no file {file}")));
        };
        if slot.as_ref().is_none_or(|(opened, source)| *opened < generation && source.grows()) {
            match Source::open(path) {
                Ok(source) => *slot = Some((generation, source)),
                // A file that is just being changed may be readable as it was.
                Err(_) if slot.is_some() => {}
                Err(error) => return Err(Response::error(500, error.to_string())),
            }
        }
        match slot {
            Some((_, source)) => Ok(source),
            None => Err(Response::error(500, "the file is not open")),
        }
    }
}

impl Pool {
    /// Starts the threads.
    ///
    /// # Errors
    /// The system's error.
    pub fn new(files: Vec<PathBuf>) -> io::Result<Self> {
        let (tasks, receive) = mpsc::sync_channel(QUEUE);
        let receive = Arc::new(Mutex::new(receive));
        let files = Arc::new(files);
        for _ in 0..THREADS {
            let (receive, files) = (Arc::clone(&receive), Arc::clone(&files));
            thread::Builder::new().name("view file".into()).spawn(move || work(&receive, files))?;
        }
        Ok(Self { tasks, files, generation: Arc::new(AtomicU64::new(0)) })
    }

    /// How many files are shown.
    pub fn files(&self) -> usize {
        self.files.len()
    }

    /// Lets files that grow be opened anew.
    pub fn refresh(&self) {
        self.generation.fetch_add(1, Ordering::Relaxed);
    }

    /// Runs a task on a file.
    ///
    /// # Errors
    /// The task's refusal, or a file that cannot be read.
    pub fn with<T: Send + 'static>(
        &self,
        file: usize,
        task: impl FnOnce(&mut Source) -> Result<T, Response> + Send + 'static,
    ) -> Result<T, Response> {
        let (send, outcome) = mpsc::sync_channel(1);
        let generation = self.generation.load(Ordering::Relaxed);
        let task: Task = Box::new(move |open| {
            let done = open.source(file, generation).and_then(task);
            // Nobody waits any more when the connection is gone.
            let _ = send.send(done);
        });
        let failed = || Response::error(500, "the file could not be read: a reading thread failed");
        self.tasks.send(task).map_err(|_| failed())?;
        outcome.recv().map_err(|_| failed())?
    }
}

fn work(receive: &Mutex<Receiver<Task>>, files: Arc<Vec<PathBuf>>) {
    let mut open = Open { sources: files.iter().map(|_| None).collect(), files };
    loop {
        let task = receive.lock().unwrap_or_else(PoisonError::into_inner).recv();
        let Ok(task) = task else { return };
        // A damaged file must not end the thread: it is opened anew for the next task.
        let broken = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| task(&mut open))).is_err();
        if broken {
            open.sources.fill_with(|| None);
        }
    }
}
