//! Progress: a bar on a terminal, a line now and then elsewhere, nothing when quiet.

use std::io::{IsTerminal, Write};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use joulestep_engine::units::people;

/// Time between two lines where there is no terminal.
const BETWEEN_LINES: Duration = Duration::from_secs(5);
/// Parts into which a bar is divided.
const PARTS: u64 = 10_000;

/// Share of the work, and time, s, before which the time left is anybody's guess.
const TELLING: (f64, f64) = (0.01, 1.0);

/// The time left, `elapsed` s after the beginning with this share done, from the mean rate so far: ", 16 s left", after
/// the comma `how` well it is known. Empty where too little is done to tell.
pub fn time_left(how: &str, share: f64, elapsed: f64) -> String {
    let left = elapsed * (1.0 - share) / share;
    if share < TELLING.0 || elapsed < TELLING.1 || !left.is_finite() {
        return String::new();
    }
    // To the second, minute or hour, whichever is below a hundredth of what is left.
    let unit = [3600.0, 60.0].into_iter().find(|unit| left >= 100.0 * unit).unwrap_or(1.0);
    let whole = Duration::from_secs_f64((left / unit).ceil() * unit);
    match whole.as_secs() {
        seconds @ ..120 => format!(", {how}{seconds} s left"),
        _ => format!(", {how}{} left", humantime::format_duration(whole)),
    }
}

enum Means {
    Nothing,
    Lines(Instant),
    Bar(ProgressBar),
}

/// Shows how far something is, and in words.
pub struct Shown {
    means: Means,
    began: Instant,
}

impl Shown {
    /// Nothing where quiet; lines, not a bar, where they are asked for.
    pub fn new(quiet: bool, lines: bool) -> Self {
        let began = Instant::now();
        let means = match (quiet, lines || !std::io::stderr().is_terminal()) {
            (true, _) => Means::Nothing,
            (false, true) => Means::Lines(began),
            (false, false) => {
                let bar = ProgressBar::with_draw_target(Some(PARTS), ProgressDrawTarget::stderr_with_hz(5));
                if let Ok(style) = ProgressStyle::with_template("{bar:32} {percent:>3} %  {msg}") {
                    bar.set_style(style);
                }
                Means::Bar(bar)
            }
        };
        Self { means, began }
    }

    /// A share is done; `words` are made of the time since the beginning, s, where they are shown: now and then, or
    /// because they are `due`.
    pub fn at(&mut self, share: f64, due: bool, words: impl FnOnce(f64) -> String) {
        let elapsed = self.began.elapsed().as_secs_f64();
        match &mut self.means {
            Means::Nothing => {}
            Means::Bar(bar) => {
                bar.set_position((share.clamp(0.0, 1.0) * PARTS as f64) as u64);
                bar.set_message(words(elapsed));
            }
            Means::Lines(last) => {
                if due || last.elapsed() >= BETWEEN_LINES {
                    *last = Instant::now();
                    // Progress that cannot be shown is no reason to stop.
                    let _ = writeln!(std::io::stderr(), "{}", words(elapsed));
                }
            }
        }
    }

    /// It is over.
    pub fn done(&self) {
        if let Means::Bar(bar) = &self.means {
            bar.finish_and_clear();
        }
    }
}

/// Shows how far a run is.
pub struct Progress {
    shown: Shown,
    end: f64,
}

impl Progress {
    /// For a run to `end`, s.
    pub fn new(quiet: bool, end: f64) -> Self {
        Self { shown: Shown::new(quiet, false), end }
    }

    /// The run has reached `t`, s.
    pub fn at(&mut self, t: f64) {
        let end = self.end;
        self.shown.at(t / end, false, |elapsed| words(t, end, elapsed));
    }

    /// The run is over.
    pub fn done(&self) {
        self.shown.done();
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
        Self { shown: Mutex::new(Shown::new(quiet, false)), done: AtomicU64::new(0), total, what }
    }

    /// One more is done.
    pub fn one(&self) {
        let done = self.done.fetch_add(1, Ordering::Relaxed) + 1;
        // A thread that panicked while it told progress is no reason for this one to.
        let mut shown = self.shown.lock().unwrap_or_else(PoisonError::into_inner);
        shown.at(done as f64 / self.total as f64, false, |elapsed| {
            let left = time_left("", done as f64 / self.total as f64, elapsed);
            format!("{done} of {} {}{left}", self.total, self.what)
        });
    }

    /// All are done.
    pub fn done(&self) {
        self.shown.lock().unwrap_or_else(PoisonError::into_inner).done();
    }
}

/// Shows how far work is of which the end is only roughly known; several threads may tell it. It never goes back.
pub struct Rough(Mutex<(Shown, f64)>);

impl Rough {
    /// Nothing of it is done.
    pub fn new(quiet: bool) -> Self {
        Self(Mutex::new((Shown::new(quiet, false), 0.0)))
    }

    /// This share is done, 0 to 1, as far as one can tell; `words` say what goes on.
    pub fn at(&self, share: f64, words: &str) {
        let (shown, furthest) = &mut *self.0.lock().unwrap_or_else(PoisonError::into_inner);
        *furthest = furthest.max(share);
        shown.at(*furthest, false, |elapsed| format!("{words}{}", time_left("about ", *furthest, elapsed)));
    }

    /// It is over.
    pub fn done(&self) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).0.done();
    }
}

/// A line about the course of a computation.
pub fn note(line: &str) {
    // Progress that cannot be shown is no reason to stop.
    let _ = writeln!(std::io::stderr(), "{line}");
}

/// Simulated time, rate and time left.
fn words(t: f64, end: f64, elapsed: f64) -> String {
    let reached = format!("{} of {}", people(t, "s"), people(end, "s"));
    if t <= 0.0 || elapsed <= 0.0 {
        return reached;
    }
    let rate = t / elapsed;
    format!("{reached}, {} per second{}", people(rate, "s"), time_left("", t / end, elapsed))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rate_and_time_left() {
        assert_eq!(words(2e-3, 10e-3, 4.0), "2 ms of 10 ms, 500 µs per second, 16 s left");
        assert_eq!(words(0.0, 10e-3, 4.0), "0 s of 10 ms");
        assert_eq!(words(2e-6, 10e-3, 0.4), "2 µs of 10 ms, 5 µs per second", "nothing to tell from");
    }

    #[test]
    fn time_left_is_told_as_finely_as_it_is_known() {
        let left = |seconds: f64| time_left("", 0.5, seconds);
        assert_eq!(
            [7.2, 119.0, 190.0, 6001.0, 400_000.0].map(left),
            [", 8 s left", ", 119 s left", ", 3m 10s left", ", 1h 41m left", ", 4days 16h left"]
        );
        assert_eq!(
            [time_left("", 0.005, 40.0), time_left("", 0.0, 4.0), time_left("", 0.5, 0.2)],
            ["", "", ""]
        );
    }
}
