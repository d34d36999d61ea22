//! Progress of a run: a bar on a terminal, a line now and then elsewhere, nothing when quiet.

use std::io::{IsTerminal, Write};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use joulestep_engine::units::people;

/// Time between two lines where there is no terminal.
const BETWEEN_LINES: Duration = Duration::from_secs(5);
/// Parts into which the bar divides the simulated time.
const PARTS: u64 = 10_000;

enum Shown {
    Nothing,
    Lines(Instant),
    Bar(ProgressBar),
}

/// Shows how far a run is.
pub struct Progress {
    shown: Shown,
    end: f64,
    began: Instant,
}

impl Progress {
    /// For a run to `end`, s.
    pub fn new(quiet: bool, end: f64) -> Self {
        let began = Instant::now();
        let shown = match (quiet, std::io::stderr().is_terminal()) {
            (true, _) => Shown::Nothing,
            (false, false) => Shown::Lines(began),
            (false, true) => {
                let bar = ProgressBar::with_draw_target(Some(PARTS), ProgressDrawTarget::stderr_with_hz(5));
                if let Ok(style) = ProgressStyle::with_template("{bar:32} {percent:>3} %  {msg}") {
                    bar.set_style(style);
                }
                Shown::Bar(bar)
            }
        };
        Self { shown, end, began }
    }

    /// The run has reached `t`, s.
    pub fn at(&mut self, t: f64) {
        let (elapsed, end) = (self.began.elapsed(), self.end);
        self.show((t / end).clamp(0.0, 1.0), || words(t, end, elapsed.as_secs_f64()));
    }

    fn show(&mut self, share: f64, words: impl Fn() -> String) {
        match &mut self.shown {
            Shown::Nothing => {}
            Shown::Bar(bar) => {
                bar.set_position((share * PARTS as f64) as u64);
                bar.set_message(words());
            }
            Shown::Lines(last) => {
                if last.elapsed() >= BETWEEN_LINES {
                    *last = Instant::now();
                    // Progress that cannot be shown is no reason to stop.
                    let _ = writeln!(std::io::stderr(), "{:.0} %  {}", 100.0 * share, words());
                }
            }
        }
    }

    /// The run is over.
    pub fn done(&mut self) {
        if let Shown::Bar(bar) = &self.shown {
            bar.finish_and_clear();
        }
    }

    /// Time since the beginning.
    pub fn elapsed(&self) -> Duration {
        self.began.elapsed()
    }
}

/// A line about the course of a computation.
pub fn note(line: &str) {
    // Progress that cannot be shown is no reason to stop.
    let _ = writeln!(std::io::stderr(), "{line}");
}

/// Shows how far work is of which the end is only roughly known.
pub struct Rough(Progress);

impl Rough {
    /// Nothing of it is done.
    pub fn new(quiet: bool) -> Self {
        Self(Progress::new(quiet, 1.0))
    }

    /// This share is done, 0 to 1, as far as one can tell; `words` say what goes on.
    pub fn at(&mut self, share: f64, words: &str) {
        let elapsed = self.0.began.elapsed().as_secs_f64();
        let left = elapsed * (1.0 - share) / share;
        let left =
            if left.is_finite() { format!(", about {:.0} s left", left.ceil()) } else { String::new() };
        self.0.show(share.clamp(0.0, 1.0), || format!("{words}{left}"));
    }

    /// It is over.
    pub fn done(&mut self) {
        self.0.done();
    }
}

/// Shows how many of a number of equal tasks are done; several threads may tell it.
pub struct Counted {
    shown: Mutex<Shown>,
    done: AtomicU64,
    total: u64,
    what: &'static str,
}

impl Counted {
    /// For `total` tasks, called `what` together.
    pub fn new(quiet: bool, total: u64, what: &'static str) -> Self {
        let shown = match (quiet, std::io::stderr().is_terminal()) {
            (true, _) => Shown::Nothing,
            (false, false) => Shown::Lines(Instant::now()),
            (false, true) => {
                let bar = ProgressBar::with_draw_target(Some(total), ProgressDrawTarget::stderr_with_hz(5));
                if let Ok(style) = ProgressStyle::with_template("{bar:32} {pos} of {len} {msg}, {eta} left") {
                    bar.set_style(style);
                }
                bar.set_message(what);
                Shown::Bar(bar)
            }
        };
        Self { shown: Mutex::new(shown), done: AtomicU64::new(0), total, what }
    }

    /// One more is done.
    pub fn one(&self) {
        let done = self.done.fetch_add(1, Ordering::Relaxed) + 1;
        // A thread that panicked while it told progress is no reason for this one to.
        let mut shown = self.shown.lock().unwrap_or_else(PoisonError::into_inner);
        match &mut *shown {
            Shown::Nothing => {}
            Shown::Bar(bar) => bar.set_position(done),
            Shown::Lines(last) => {
                if last.elapsed() >= BETWEEN_LINES {
                    *last = Instant::now();
                    // Progress that cannot be shown is no reason to stop.
                    let _ = writeln!(std::io::stderr(), "{done} of {} {}", self.total, self.what);
                }
            }
        }
    }

    /// All are done.
    pub fn done(&self) {
        if let Shown::Bar(bar) = &*self.shown.lock().unwrap_or_else(PoisonError::into_inner) {
            bar.finish_and_clear();
        }
    }
}

/// Simulated time, rate and time left.
fn words(t: f64, end: f64, elapsed: f64) -> String {
    let reached = format!("{} of {}", people(t, "s"), people(end, "s"));
    if t <= 0.0 || elapsed <= 0.0 {
        return reached;
    }
    let rate = t / elapsed;
    format!("{reached}, {} per second, {:.0} s left", people(rate, "s"), ((end - t) / rate).ceil())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rate_and_time_left() {
        assert_eq!(words(2e-3, 10e-3, 4.0), "2 ms of 10 ms, 500 µs per second, 16 s left");
        assert_eq!(words(0.0, 10e-3, 4.0), "0 s of 10 ms");
    }
}
