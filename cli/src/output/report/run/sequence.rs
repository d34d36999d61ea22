//! Events in their order; hundreds of edges in a row become one line.

use std::collections::BTreeMap;

use crate::output::report::people_digits;

use super::Read;
use crate::output::report::{Block, Grid, number};
use crate::output::result::StoredEvent;

/// Frequent events in a row that are still listed one by one.
const LISTED: usize = 4;
/// Most lines of the table.
const LINES: usize = 120;

/// Whether events of a kind come in hundreds.
pub(super) fn is_frequent(kind: &str) -> bool {
    matches!(kind, "edge" | "clamp" | "avalanche" | "limit")
}

/// Several events of one kind and subject: how many, the first, the time of the last.
struct Line<'a>(usize, &'a StoredEvent, f64);

fn lines(events: &[StoredEvent]) -> Vec<Line<'_>> {
    let mut out = Vec::new();
    for run in events.chunk_by(|a, b| is_frequent(&a.kind) && is_frequent(&b.kind)) {
        if run.len() <= LISTED {
            out.extend(run.iter().map(|e| Line(1, e, e.time)));
            continue;
        }
        let mut groups: BTreeMap<(&str, &str), Line<'_>> = BTreeMap::new();
        for e in run {
            let group = groups.entry((&e.kind, &e.subject)).or_insert(Line(0, e, e.time));
            group.0 += 1;
            group.2 = e.time;
        }
        let mut groups: Vec<Line<'_>> = groups.into_values().collect();
        groups.sort_by(|a, b| a.1.time.total_cmp(&b.1.time));
        out.extend(groups);
    }
    out
}

/// Digits that distinguish instants of the run.
pub(super) fn instant(t: f64, end: f64) -> String {
    let (factor, unit) = match end {
        e if e >= 120.0 => return people_digits(t, "s", 6),
        e if e > 2.0 => (1.0, "s"),
        e if e > 2e-3 => (1e3, "ms"),
        e if e > 2e-6 => (1e6, "µs"),
        _ => (1e9, "ns"),
    };
    format!("{:.4} {unit}", factor * t)
}

/// The table.
pub(super) fn blocks(read: &Read<'_>) -> Vec<Block> {
    let lines = lines(&read.events);
    if lines.is_empty() {
        return vec![Block::Text("No events recorded.".into())];
    }
    let end = read.reach.1;
    let row = |Line(count, e, last): &Line<'_>| {
        let value = if *count == 1 && e.value.is_finite() { number(e.value, &e.unit) } else { String::new() };
        let note =
            if *count == 1 { e.note.clone() } else { format!("{count} times until {}", instant(*last, end)) };
        vec![instant(e.time, end), e.kind.clone(), e.subject.clone(), value, note]
    };
    let mut grid = Grid::new(
        "Events in the order of time",
        &[">time", "what", "subject", ">value", ""],
        lines.iter().take(LINES).map(row).collect(),
    );
    let is_trip = |l: &Line<'_>| matches!(l.1.kind.as_str(), "trip" | "lock-out");
    grid.marked = lines.iter().take(LINES).enumerate().filter(|(_, l)| is_trip(l)).map(|(k, _)| k).collect();
    let mut blocks = vec![Block::Grid(grid)];
    if lines.len() > LINES {
        blocks.push(Block::Text(format!("{} more lines are in the file.", lines.len() - LINES)));
    }
    blocks
}
