//! What the loop tells a recorder: samples, extremes, and the account's rows.

use super::gauge::Reading;
use super::time_loop::Run;
use crate::recorder::{Column, Event, Layout, Recorder, Row};

/// An open row of the account.
#[derive(Clone, Debug)]
pub(super) struct Open<L> {
    subject: String,
    begin: f64,
    heat: Vec<L>,
    pub(super) peaks: Vec<L>,
}

impl Run<f64> {
    pub(super) fn layout(&self) -> Layout {
        let channels = self.channels.iter().map(|c| Column {
            name: c.name.clone(),
            long_name: c.long_name.clone(),
            unit: c.probe.unit().to_string(),
        });
        let inputs = self.thermal.as_ref().map(|t| t.modal().inputs().to_vec()).unwrap_or_default();
        let heat: Vec<Column> = inputs
            .iter()
            .map(|name| Column { name: name.clone(), long_name: name.clone(), unit: "degC".to_string() })
            .collect();
        Layout { channels: channels.collect(), thermal: heat.clone(), heat, watched: self.watcher.columns() }
    }

    /// Couples the rest of the last interval; call when the run is over.
    #[inline(never)]
    pub fn finish(&mut self, recorder: &mut dyn Recorder<f64>) {
        self.end_interval(recorder);
        self.switches.finish(self.state.t);
        self.report_switching(recorder);
        self.take_peaks();
        let open: Vec<_> = self.rows.drain(1.min(self.rows.len())..).collect();
        for row in open {
            recorder.row(&self.close_row(row, "edge"));
        }
    }

    /// What the gauges of the setup show, in their order.
    #[inline(never)]
    pub fn readings(&self) -> Vec<Reading> {
        self.gauges.readings()
    }

    pub(super) fn watch(&mut self, events: &mut Vec<Event>) {
        self.read_others(self.watched.clone());
        let (t, values) = (self.state.t, &self.values[self.watched.clone()]);
        let (watches, rest) = values.split_at(self.watcher.watches().len());
        self.watcher.look(t, watches, events);
        self.gauges.look(t, values);
        self.switches.look(t, &rest[self.gauges.values()..]);
    }

    /// Takes what was reached of late into the open rows: before one of them begins or ends.
    pub(super) fn take_peaks(&mut self) {
        let recent = self.watcher.recent();
        for row in &mut self.rows {
            row.peaks.iter_mut().zip(recent).for_each(|(peak, most)| *peak = peak.max(*most));
        }
        self.watcher.forget_recent();
    }

    /// Reports the channels' values. Instants rise: what follows a jump at the same instant is reported at the next
    /// number, so that every reader can tell the two by their instants.
    pub(super) fn sample(&mut self, recorder: &mut dyn Recorder<f64>, always: bool) {
        let t = self.state.t;
        if !always && t - self.sampled_at < self.sample_every {
            return;
        }
        self.sampled_at = t;
        let channels = self.watched.end..self.watched.end + self.channels.len();
        self.read_others(channels.clone());
        self.recorded_until = t.max(self.recorded_until.next_up());
        recorder.sample(self.recorded_until, &self.values[channels]);
    }

    pub(super) fn open_row(&self, subject: String) -> Open<f64> {
        let peaks = self.watcher.now()[..self.watcher.recorded()].to_vec();
        Open { subject, begin: self.state.t, heat: self.heat_since_start(), peaks }
    }

    pub(super) fn close_row(&self, row: Open<f64>, kind: &'static str) -> Row<f64> {
        Row {
            kind,
            subject: row.subject,
            begin: row.begin,
            end: self.state.t,
            heat: self.heat_since_start().iter().zip(&row.heat).map(|(now, then)| *now - *then).collect(),
            peaks: row.peaks,
            temperature: self.celsius.clone(),
            switching: None,
        }
    }

    /// A row for each turn-on and turn-off whose stretch is over.
    pub(super) fn report_switching(&mut self, recorder: &mut dyn Recorder<f64>) {
        let none = f64::NAN;
        for (switching, (begin, end)) in self.switches.take() {
            recorder.row(&Row {
                kind: switching.kind(),
                subject: switching.device.clone(),
                begin,
                end,
                heat: vec![none; self.celsius.len()],
                peaks: vec![none; self.watcher.recorded()],
                temperature: self.celsius.clone(),
                switching: Some(switching),
            });
        }
    }

    /// An edge of a drive ends its row and begins the next.
    pub(super) fn turn_row(&mut self, subject: &str, recorder: &mut dyn Recorder<f64>) {
        self.take_peaks();
        let next = self.open_row(subject.to_string());
        match self.rows.iter().position(|r| r.subject == subject) {
            Some(k) => {
                let done = std::mem::replace(&mut self.rows[k], next);
                recorder.row(&self.close_row(done, "edge"));
            }
            None => self.rows.push(next),
        }
    }
}
