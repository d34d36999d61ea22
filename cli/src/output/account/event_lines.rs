//! Events, shortened: hundreds of edges in a row become one line. One rule for what is running and what a file holds.

use std::collections::BTreeMap;

use joulestep_engine::recorder::{Event, EventKind};

use crate::output::result::StoredEvent;

/// Frequent events in a row that are still listed one by one.
const LISTED: usize = 6;

/// What is listed.
pub trait Listed: Clone {
    /// s.
    fn time(&self) -> f64;
    /// The word of its kind.
    fn kind(&self) -> &str;
    /// Component, protection or drive.
    fn subject(&self) -> &str;
}

impl Listed for Event {
    fn time(&self) -> f64 {
        self.time
    }
    fn kind(&self) -> &str {
        self.kind.word()
    }
    fn subject(&self) -> &str {
        &self.subject
    }
}

impl Listed for StoredEvent {
    fn time(&self) -> f64 {
        self.time
    }
    fn kind(&self) -> &str {
        &self.kind
    }
    fn subject(&self) -> &str {
        &self.subject
    }
}

/// Lines after which all that comes counts as frequent: a protection may retry for ever.
const MOST: usize = 1000;

/// A line of the table of events.
#[derive(Clone, Debug, PartialEq)]
pub enum Line<E = Event> {
    /// One event.
    One(E),
    /// Several of one kind and subject: how many, the first and the last.
    Many(usize, E, E),
}

/// Whether events of a kind (its word) come in hundreds.
pub fn is_frequent(kind: &str) -> bool {
    use EventKind::{Avalanche, Clamp, Edge, Limit, OutOfRange};
    [Edge, Clamp, Avalanche, Limit, OutOfRange].iter().any(|k| k.word() == kind)
}

/// Collects events as they come; how many a run has does not matter to the memory it needs.
#[derive(Debug)]
pub struct EventLines<E = Event> {
    lines: Vec<Line<E>>,
    /// Frequent events in a row, while they are few.
    few: Vec<E>,
    /// The row by kind and subject, once they are many.
    many: BTreeMap<(String, String), (usize, E, E)>,
}

impl<E> Default for EventLines<E> {
    fn default() -> Self {
        Self { lines: Vec::new(), few: Vec::new(), many: BTreeMap::new() }
    }
}

impl<E: Listed> EventLines<E> {
    /// One more event.
    pub fn push(&mut self, event: &E) {
        if !is_frequent(event.kind()) && self.lines.len() < MOST {
            self.end_row();
            self.lines.push(Line::One(event.clone()));
        } else if self.many.is_empty() && self.few.len() < LISTED {
            self.few.push(event.clone());
        } else {
            for earlier in std::mem::take(&mut self.few) {
                self.group(&earlier);
            }
            self.group(event);
        }
    }

    fn group(&mut self, event: &E) {
        let fresh = || (0, event.clone(), event.clone());
        let key = (event.kind().to_string(), event.subject().to_string());
        let group = self.many.entry(key).or_insert_with(fresh);
        group.0 += 1;
        group.2.clone_from(event);
    }

    fn end_row(&mut self) {
        self.lines.extend(self.few.drain(..).map(Line::One));
        let mut groups: Vec<_> = std::mem::take(&mut self.many).into_values().collect();
        groups.sort_by(|a, b| a.1.time().total_cmp(&b.1.time()));
        let line = |(n, a, b)| if n == 1 { Line::One(a) } else { Line::Many(n, a, b) };
        self.lines.extend(groups.into_iter().map(line));
    }

    /// The lines of the table.
    pub fn lines(mut self) -> Vec<Line<E>> {
        self.end_row();
        self.lines
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn event(time: f64, kind: EventKind, subject: &str) -> Event {
        Event::new(time, kind, subject)
    }

    #[test]
    fn many_edges_are_one_line_and_few_are_not() {
        let mut events: Vec<Event> = (0..10).map(|k| event(f64::from(k), EventKind::Edge, "g")).collect();
        events.insert(4, event(3.5, EventKind::Clamp, "v"));
        events.push(event(20.0, EventKind::Trip, "oc"));
        events.push(event(21.0, EventKind::Edge, "g"));
        let mut shortened = EventLines::default();
        events.iter().for_each(|e| shortened.push(e));
        let lines = shortened.lines();
        assert_eq!(lines.len(), 4);
        assert!(matches!(&lines[0], Line::Many(10, a, b) if a.time == 0.0 && b.time == 9.0));
        assert!(matches!(&lines[1], Line::One(e) if e.kind == EventKind::Clamp));
        assert!(matches!(&lines[3], Line::One(e) if e.time == 21.0));
    }

    #[test]
    fn what_never_ends_is_counted() {
        let mut shortened = EventLines::default();
        for k in 0..4000 {
            shortened.push(&event(f64::from(k), EventKind::Trip, "oc"));
            shortened.push(&event(f64::from(k) + 0.5, EventKind::Retry, "oc"));
        }
        let lines = shortened.lines();
        assert_eq!(lines.len(), MOST + 2);
        assert!(matches!(&lines[MOST], Line::Many(3500, a, b) if a.time == 500.0 && b.time == 3999.0));
    }
}
