//! What happened, shortened: hundreds of edges in a row become one line.

use std::collections::BTreeMap;

use joulestep_engine::recorder::{Event, EventKind};

/// Frequent events in a row that are still listed one by one.
const LISTED: usize = 6;

/// A line of the table of events.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Line<'a> {
    /// One event.
    One(&'a Event),
    /// Several of one kind and subject: how many, the first and the last.
    Many(usize, &'a Event, &'a Event),
}

/// Whether events of a kind come in hundreds.
fn is_frequent(kind: EventKind) -> bool {
    matches!(kind, EventKind::Edge | EventKind::Clamp | EventKind::Avalanche)
}

/// The lines of a table of events.
pub(super) fn lines(events: &[Event]) -> Vec<Line<'_>> {
    let mut lines = Vec::new();
    let mut rest = events;
    while let Some(first) = rest.first() {
        let row = rest.iter().take_while(|e| is_frequent(e.kind)).count();
        if row == 0 {
            lines.push(Line::One(first));
            rest = &rest[1..];
            continue;
        }
        let (frequent, after) = rest.split_at(row);
        if row <= LISTED {
            lines.extend(frequent.iter().map(Line::One));
        } else {
            let mut groups: BTreeMap<(EventKind, &str), (usize, &Event, &Event)> = BTreeMap::new();
            for event in frequent {
                let group = groups.entry((event.kind, &event.subject)).or_insert((0, event, event));
                *group = (group.0 + 1, group.1, event);
            }
            let mut groups: Vec<_> = groups.into_values().collect();
            groups.sort_by(|a, b| a.1.time.total_cmp(&b.1.time));
            lines.extend(
                groups.into_iter().map(|(n, a, b)| if n == 1 { Line::One(a) } else { Line::Many(n, a, b) }),
            );
        }
        rest = after;
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    fn event(time: f64, kind: EventKind, subject: &str) -> Event {
        Event { time, kind, subject: subject.into(), note: String::new(), value: f64::NAN, unit: "" }
    }

    #[test]
    fn many_edges_are_one_line_and_few_are_not() {
        let mut events: Vec<Event> = (0..10).map(|k| event(f64::from(k), EventKind::Edge, "g")).collect();
        events.insert(4, event(3.5, EventKind::Clamp, "v"));
        events.push(event(20.0, EventKind::Trip, "oc"));
        events.push(event(21.0, EventKind::Edge, "g"));
        let lines = lines(&events);
        assert_eq!(lines.len(), 4);
        assert!(matches!(lines[0], Line::Many(10, a, b) if a.time == 0.0 && b.time == 9.0));
        assert!(matches!(lines[1], Line::One(e) if e.kind == EventKind::Clamp));
        assert!(matches!(lines[3], Line::One(e) if e.time == 21.0));
    }
}
