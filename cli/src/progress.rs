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
            (false, true) => Shown::Bar(bar(PARTS, "{bar:32} {percent:>3} %  {msg}")),
        };
        Self { shown, end, began }
    }

    /// The run has reached `t`, s.
    pub fn at(&mut self, t: f64) {
        let (elapsed, share) = (self.began.elapsed(), (t / self.end).clamp(0.0, 1.0));
        match &mut self.shown {
            Shown::Nothing => {}
            Shown::Bar(bar) => {
                bar.set_position((share * PARTS as f64) as u64);
                bar.set_message(words(t, self.end, elapsed.as_secs_f64()));
            }
            Shown::Lines(last) => {
                if last.elapsed() >= BETWEEN_LINES {
                    *last = Instant::now();
                    let text = words(t, self.end, elapsed.as_secs_f64());
                    // Progress that cannot be shown is no reason to stop.
                    let _ = writeln!(std::io::stderr(), "{:.0} %  {text}", 100.0 * share);
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

/// Shows roughly how much of some work is done.
pub struct Estimated {
    shown: Mutex<Shown>,
    began: Instant,
}

impl Estimated {
    /// Before it begins.
    pub fn new(quiet: bool) -> Self {
        let shown = match (quiet, std::io::stderr().is_terminal()) {
            (true, _) => Shown::Nothing,
            (false, false) => Shown::Lines(Instant::now()),
            (false, true) => Shown::Bar(bar(PARTS, "{bar:32} {percent:>3} %  {msg}")),
        };
        Self { shown: Mutex::new(shown), began: Instant::now() }
    }

    /// A share of the work is done; `words` say where it stands.
    pub fn at(&self, share: f64, words: &str) {
        let share = share.clamp(0.0, 1.0);
        let text = format!("{words}{}", left(share, self.began.elapsed().as_secs_f64()));
        // A thread that panicked while it told progress is no reason for this one to.
        let mut shown = self.shown.lock().unwrap_or_else(PoisonError::into_inner);
        match &mut *shown {
            Shown::Nothing => {}
            Shown::Bar(bar) => {
                bar.set_position((share * PARTS as f64) as u64);
                bar.set_message(text);
            }
            Shown::Lines(last) => {
                if last.elapsed() >= BETWEEN_LINES {
                    *last = Instant::now();
                    // Progress that cannot be shown is no reason to stop.
                    let _ = writeln!(std::io::stderr(), "{:.0} %  {text}", 100.0 * share);
                }
            }
        }
    }

    /// It is over.
    pub fn done(&self) {
        if let Shown::Bar(bar) = &*self.shown.lock().unwrap_or_else(PoisonError::into_inner) {
            bar.finish_and_clear();
        }
    }
}

/// Time left after a share of some work: ", 12 s left".
fn left(share: f64, elapsed: f64) -> String {
    match share > 0.0 && elapsed > 0.0 {
        true => format!(", {:.0} s left", (elapsed * (1.0 - share) / share).ceil()),
        false => String::new(),
    }
}

fn bar(parts: u64, template: &str) -> ProgressBar {
    let bar = ProgressBar::with_draw_target(Some(parts), ProgressDrawTarget::stderr_with_hz(5));
    if let Ok(style) = ProgressStyle::with_template(template) {
        bar.set_style(style);
    }
    bar
}

/// Shows how many of a number of equal tasks are done; several threads may tell it.
pub struct Counted {
    shown: Mutex<Shown>,
    began: Instant,
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
                let bar = bar(total, "{bar:32} {pos} of {len} {msg}");
                bar.set_message(what);
                Shown::Bar(bar)
            }
        };
        let (shown, done) = (Mutex::new(shown), AtomicU64::new(0));
        Self { shown, began: Instant::now(), done, total, what }
    }

    /// One more is done.
    pub fn one(&self) {
        let done = self.done.fetch_add(1, Ordering::Relaxed) + 1;
        // A thread that panicked while it told progress is no reason for this one to.
        let mut shown = self.shown.lock().unwrap_or_else(PoisonError::into_inner);
        let left = || left(done as f64 / self.total as f64, self.began.elapsed().as_secs_f64());
        match &mut *shown {
            Shown::Nothing => {}
            Shown::Bar(bar) => {
                bar.set_position(done);
                bar.set_message(format!("{}{}", self.what, left()));
            }
            Shown::Lines(last) => {
                if last.elapsed() >= BETWEEN_LINES {
                    *last = Instant::now();
                    let left = left();
                    // Progress that cannot be shown is no reason to stop.
                    let _ = writeln!(std::io::stderr(), "{done} of {} {}{left}", self.total, self.what);
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
        assert_eq!(left(0.25, 4.0), ", 12 s left");
        assert_eq!(left(0.0, 4.0), "");
    }
}
