//! Progress of a batch: for people, as JSON lines for logs, or not at all.

use serde::Serialize;

use crate::batch::row::{Row, Status};
use crate::progress::{Shown, time_left};

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
    json: bool,
    shown: Shown,
    counts: Counts,
}

#[derive(Clone, Copy)]
struct Counts {
    total: usize,
    finished: usize,
    ill: usize,
}

impl BatchProgress {
    /// For `total` variants that are still to be run.
    pub fn new(show: Show, total: usize) -> Self {
        let json = show == Show::Json;
        let counts = Counts { total, finished: 0, ill: 0 };
        Self { json, shown: Shown::new(show == Show::Nothing, json), counts }
    }

    /// These rows are finished.
    pub fn more(&mut self, rows: &[Row]) {
        self.counts.finished += rows.len();
        self.counts.ill += rows.iter().filter(|r| r.status != Status::Done).count();
        let (json, counts) = (self.json, self.counts);
        let (share, last) =
            (counts.finished as f64 / counts.total.max(1) as f64, counts.finished == counts.total);
        self.shown.at(share, last, |elapsed| match json {
            true => serde_json::to_string(&counts.line(elapsed)).unwrap_or_default(),
            false => counts.words(elapsed),
        });
    }

    /// All are finished, or no more will be.
    pub fn done(&self) {
        self.shown.done();
    }
}

impl Counts {
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
        let share = self.finished as f64 / self.total.max(1) as f64;
        format!("{} of {} variants{ill}, {rate}{}", self.finished, self.total, time_left("", share, elapsed))
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
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rate_and_time_left() {
        let progress = Counts { total: 100, finished: 25, ill: 2 };
        assert_eq!(progress.words(50.0), "25 of 100 variants, 2 not done, 0.50 per second, 2m 30s left");
        assert_eq!(progress.line(50.0).seconds_left, 150.0);
    }
}
