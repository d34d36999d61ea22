//! Progress of a batch: a bar on a terminal, a line now and then elsewhere, JSON lines for logs, or nothing.

use std::io::{IsTerminal, Write};
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use serde::Serialize;

use crate::batch::row::{Row, Status};

/// Time between two lines where there is no terminal.
const BETWEEN_LINES: Duration = Duration::from_secs(5);

/// How progress is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Show {
    /// Not at all.
    Nothing,
    /// For people.
    Text,
    /// A JSON object per line.
    Json,
}

#[derive(Serialize)]
struct ProgressLine {
    finished: usize,
    of: usize,
    not_done: usize,
    seconds: f64,
    per_second: f64,
    seconds_left: f64,
}

/// Shows how many variants are finished, the rate and the time left.
pub struct BatchProgress {
    show: Show,
    bar: Option<ProgressBar>,
    began: Instant,
    last: Option<Instant>,
    total: usize,
    finished: usize,
    ill: usize,
}

impl BatchProgress {
    /// For `total` variants that are still to be run.
    pub fn new(show: Show, total: usize) -> Self {
        let bar = (show == Show::Text && std::io::stderr().is_terminal()).then(|| {
            let target = ProgressDrawTarget::stderr_with_hz(5);
            let bar = ProgressBar::with_draw_target(Some(total as u64), target);
            if let Ok(style) = ProgressStyle::with_template("{bar:32} {msg}") {
                bar.set_style(style);
            }
            bar
        });
        Self { show, bar, began: Instant::now(), last: None, total, finished: 0, ill: 0 }
    }

    /// These rows are finished.
    pub fn more(&mut self, rows: &[Row]) {
        self.finished += rows.len();
        self.ill += rows.iter().filter(|r| r.status != Status::Done).count();
        let elapsed = self.began.elapsed().as_secs_f64();
        if let Some(bar) = &self.bar {
            bar.set_position(self.finished as u64);
            bar.set_message(self.words(elapsed));
            return;
        }
        let due = self.last.unwrap_or(self.began).elapsed() >= BETWEEN_LINES || self.finished == self.total;
        if self.show == Show::Nothing || !due {
            return;
        }
        self.last = Some(Instant::now());
        let line = match self.show {
            Show::Json => serde_json::to_string(&self.line(elapsed)).unwrap_or_default(),
            _ => self.words(elapsed),
        };
        // Progress that cannot be shown is no reason to stop.
        let _ = writeln!(std::io::stderr(), "{line}");
    }

    fn rate(&self, elapsed: f64) -> f64 {
        if elapsed > 0.0 { self.finished as f64 / elapsed } else { 0.0 }
    }

    fn left(&self, elapsed: f64) -> f64 {
        (self.total - self.finished.min(self.total)) as f64 / self.rate(elapsed)
    }

    fn words(&self, elapsed: f64) -> String {
        let ill = if self.ill > 0 { format!(", {} not done", self.ill) } else { String::new() };
        let rate = self.rate(elapsed);
        let rate =
            if rate >= 10.0 { format!("{rate:.0} per second") } else { format!("{rate:.2} per second") };
        format!(
            "{} of {} variants{ill}, {rate}, {:.0} s left",
            self.finished,
            self.total,
            self.left(elapsed).ceil()
        )
    }

    fn line(&self, seconds: f64) -> ProgressLine {
        ProgressLine {
            finished: self.finished,
            of: self.total,
            not_done: self.ill,
            seconds,
            per_second: self.rate(seconds),
            seconds_left: self.left(seconds),
        }
    }

    /// All are finished, or no more will be.
    pub fn done(&self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rate_and_time_left() {
        let mut progress = BatchProgress::new(Show::Nothing, 100);
        (progress.finished, progress.ill) = (25, 2);
        assert_eq!(progress.words(50.0), "25 of 100 variants, 2 not done, 0.50 per second, 150 s left");
        assert_eq!(progress.line(50.0).seconds_left, 150.0);
    }
}
