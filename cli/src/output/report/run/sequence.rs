//! Events in their order; hundreds of edges in a row become one line.

use joulestep_engine::recorder::EventKind;

use super::Read;
use crate::output::account::event_lines::{EventLines, Line};
use crate::output::report::{Block, Grid, number, people_digits};
use crate::output::result::StoredEvent;

/// Most lines of the table.
const LINES: usize = 120;

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
    let mut all = EventLines::default();
    read.events.iter().for_each(|e| all.push(e));
    let lines: Vec<Line<StoredEvent>> = all.lines();
    if lines.is_empty() {
        return vec![Block::Text("No events recorded.".into())];
    }
    let end = read.reach.1;
    let row = |line: &Line<StoredEvent>| {
        let (e, value, note) = match line {
            Line::One(e) if e.value.is_finite() => (e, number(e.value, &e.unit), e.note.clone()),
            Line::One(e) => (e, String::new(), e.note.clone()),
            Line::Many(count, first, last) => {
                (first, String::new(), format!("{count} times until {}", instant(last.time, end)))
            }
        };
        vec![instant(e.time, end), e.kind.clone(), e.subject.clone(), value, note]
    };
    let mut grid = Grid::new(
        "Events in the order of time",
        &[">time", "what", "subject", ">value", ""],
        lines.iter().take(LINES).map(row).collect(),
    );
    let is_trip = |line: &Line<StoredEvent>| match line {
        Line::One(e) => e.is(EventKind::Trip) || e.is(EventKind::LockOut),
        Line::Many(..) => false,
    };
    grid.marked =
        lines.iter().take(LINES).enumerate().filter(|(_, line)| is_trip(line)).map(|(k, _)| k).collect();
    let mut blocks = vec![Block::Grid(grid)];
    if lines.len() > LINES {
        blocks.push(Block::Text(format!("{} more lines are in the file.", lines.len() - LINES)));
    }
    blocks
}
