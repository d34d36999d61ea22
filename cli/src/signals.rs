//! Signals that end a command properly: its file is closed with all that was computed.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, LazyLock, Once};
use std::time::Duration;
#[cfg(unix)]
use std::{
    io::{Read, Write},
    os::unix::net::UnixStream,
};

use signal_hook::consts::{SIGINT, SIGTERM};
use signal_hook::flag;

use crate::exit::INTERRUPTED;

/// Set when a signal asks to stop.
static STOP: LazyLock<Arc<AtomicBool>> = LazyLock::new(Arc::default);
/// Number of the last signal that asked.
static SIGNAL: LazyLock<Arc<AtomicUsize>> = LazyLock::new(Arc::default);
static LISTENING: Once = Once::new();

/// Files that are being written whole or closed: who is asked to end waits for them.
static WRITING: AtomicUsize = AtomicUsize::new(0);

/// How long a command may take to end by itself.
const GRACE: Duration = Duration::from_millis(600);

/// Listens from now on for what asks to stop: Ctrl-C, SIGTERM, and SIGHUP unless it was ignored before (`nohup`). What
/// was asked before is forgotten.
pub(crate) fn listen() {
    STOP.store(false, Ordering::Relaxed);
    SIGNAL.store(0, Ordering::Relaxed);
    // One handler for the process; where none can be set, a signal ends the program and files keep their checkpoints.
    LISTENING.call_once(|| {
        for signal in asking() {
            let number = usize::try_from(signal).unwrap_or(0);
            let _ = flag::register_usize(signal, Arc::clone(&SIGNAL), number);
            let _ = flag::register(signal, Arc::clone(&STOP));
        }
    });
}

/// Ends the process a little after a signal has asked to, whatever it is at: not all work looks at the flag in time (a
/// step of ten thousand unknowns, a field). Result files and journals are right at every instant; a file that is just
/// being written or closed is waited for.
pub(crate) fn end_in_time() {
    #[cfg(unix)]
    {
        let Ok((mut asked, ask)) = UnixStream::pair() else { return };
        // After the flag's own handlers: the number of the signal is known by then.
        for signal in asking() {
            let _ = ask.try_clone().and_then(|end| signal_hook::low_level::pipe::register(signal, end));
        }
        std::thread::spawn(move || {
            // Where nothing can be read any more nobody asks.
            if asked.read_exact(&mut [0]).is_err() {
                return;
            }
            std::thread::sleep(GRACE);
            while WRITING.load(Ordering::SeqCst) > 0 {
                std::thread::sleep(Duration::from_millis(5));
            }
            let _ = writeln!(std::io::stderr(), "interrupted");
            std::process::exit(code().into());
        });
    }
}

/// As long as this lives, the process does not end in the middle of a file.
pub(crate) struct Writing;

/// A file is written whole, or closed.
pub(crate) fn writing() -> Writing {
    WRITING.fetch_add(1, Ordering::SeqCst);
    Writing
}

impl Drop for Writing {
    fn drop(&mut self) {
        WRITING.fetch_sub(1, Ordering::SeqCst);
    }
}

/// What is set once a signal asks to stop.
pub(crate) fn stopped() -> &'static AtomicBool {
    &STOP
}

/// The exit code of a command that a signal stopped: 128 and the signal's number, as shells have it.
pub(crate) fn code() -> u8 {
    match SIGNAL.load(Ordering::Relaxed) {
        0 => INTERRUPTED,
        number => 128 + number as u8,
    }
}

fn asking() -> Vec<i32> {
    let mut all = vec![SIGINT, SIGTERM];
    #[cfg(unix)]
    if !is_ignored(signal_hook::consts::SIGHUP) {
        all.push(signal_hook::consts::SIGHUP);
    }
    all
}

/// Whether the process was started with a signal ignored; known on Linux only.
#[cfg(unix)]
fn is_ignored(signal: i32) -> bool {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let mask = status.lines().find_map(|line| line.strip_prefix("SigIgn:"));
    let mask = mask.and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok()).unwrap_or(0);
    mask >> (signal - 1) & 1 == 1
}

/// Makes a file that grows beyond the limit of the process (`ulimit -f`) an error with words, and not the end.
pub(crate) fn outgrow() {
    #[cfg(unix)]
    {
        static ONCE: Once = Once::new();
        ONCE.call_once(|| {
            // Whoever listens gets the error from the write itself.
            let _ = flag::register(signal_hook::consts::SIGXFSZ, Arc::default());
        });
    }
}
