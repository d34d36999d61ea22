//! Tables of a run: events, extremes of recorded signals, junctions, energies.

use crate::output::account::Account;
use crate::output::account::event_lines::Line;
use crate::output::answer::{EVENTS, StudyTable};
use crate::output::table::{Cell, Head, OF_ROW, Rows, UNIT};

/// All of them; the tables that hold nothing are left out.
pub(super) fn tables(a: &Account) -> Vec<StudyTable> {
    // The switching energies last: how many there are differs where runs do.
    let all = [events(a), extremes(a), junctions(a), energies(a), switching(a), switching_sums(a)];
    all.into_iter().filter(|t| !t.data.rows.is_empty()).collect()
}

fn events(a: &Account) -> StudyTable {
    let parts = |line: &'_ Line| match line {
        Line::One(e) => (e.clone(), 1, f64::NAN),
        Line::Many(count, first, last) => (first.clone(), *count, last.time),
    };
    let single = |count: usize, text: &str| if count == 1 { text.to_string() } else { String::new() };
    let data = Rows::of(a.events.iter().map(parts))
        .column(Head::instant("time", "at"), |(e, ..)| e.time)
        .text("kind", |(e, ..)| e.kind.word())
        .text("subject", |(e, ..)| e.subject.clone())
        .column(Head::long_text("action"), |(e, count, _)| single(*count, e.action.word()))
        .number("value", "value", OF_ROW, |(e, count, _)| Some(e.value).filter(|_| *count == 1))
        // In words in the note.
        .number("level", "", OF_ROW, |(e, count, _)| Some(e.level).filter(|_| *count == 1))
        .text(UNIT, |(e, ..)| e.unit)
        .number("count", "times", "1", |(_, count, _)| *count as f64)
        .column(Head::instant("last_time", "until"), |(.., last)| *last)
        .text("note", |(e, count, _)| single(*count, &e.note))
        .table();
    StudyTable::new(EVENTS, "Events", 0, data)
}

fn extremes(a: &Account) -> StudyTable {
    let data = Rows::of(&a.peaks)
        .text("signal", |p| p.name.clone())
        .column(Head::long_text("what"), |p| p.long_name.clone())
        .text(UNIT, |p| p.unit)
        .number("least", "least", OF_ROW, |p| p.least)
        .column(Head::instant("least_at", "at"), |p| p.least_at)
        .number("largest", "largest", OF_ROW, |p| p.largest)
        .column(Head::instant("largest_at", "at"), |p| p.largest_at)
        .table();
    let title = "Extremes: least and largest value at the end of any step, recorded or not";
    let columns = ["least", "largest"];
    let table = StudyTable::new("extremes", title, 1, data).estimated(&columns).quantities(&columns);
    StudyTable {
        missed: a.peaks.iter().flat_map(|p| [p.missed.0, p.missed.1]).collect(),
        further: a.peaks.iter().flat_map(|p| [p.further; 2]).collect(),
        ..table
    }
}

fn junctions(a: &Account) -> StudyTable {
    let endless = |x: f64| if x.is_infinite() { Cell::Number(x) } else { x.into() };
    let mut rows = Rows::of(&a.junctions)
        .text("die", |j| j.name.clone())
        .number("hottest", "hottest", "degC", |j| j.hottest)
        .column(Head::instant("hottest_at", "at"), |j| j.hottest_at)
        .number("end", "at the end", "degC", |j| j.end)
        .number("rated", "rated", "degC", |j| j.rated)
        .number("energy", "energy", "J", |j| j.energy)
        .number("coupling_error", "coupling", "K", |j| endless(j.coupling_error));
    if a.junctions.iter().any(|j| j.not_bounded.is_some()) {
        rows = rows.text("not_bounded", |j| j.not_bounded.unwrap_or(""));
    }
    let title = "Junctions: virtual junction temperature of each die at the ends of steps; energy: what the network received";
    let coupling = a.junctions.iter().flat_map(|j| [j.coupling_error, j.coupling_error, 0.0]);
    let table = StudyTable::new("junctions", title, 1, rows.table())
        .estimated(&["hottest", "end", "energy"])
        .quantities(&["hottest", "end", "energy", "coupling_error"]);
    StudyTable { further: coupling.collect(), ..table }
}

fn energies(a: &Account) -> StudyTable {
    let data = Rows::of(&a.energies)
        .text("component", |e| e.name.clone())
        .number("delivered", "delivered", "J", |e| e.delivered)
        .number("dissipated", "dissipated", "J", |e| e.dissipated)
        .number("stored", "stored", "J", |e| e.stored)
        .table();
    let title = "Energies: integrals of v\u{b7}i over the whole run; stored: at the end less at the start";
    let columns = ["delivered", "dissipated", "stored"];
    StudyTable::new("energies", title, 1, data).estimated(&columns).quantities(&columns)
}

fn switching(a: &Account) -> StudyTable {
    let data = Rows::of(&a.switching.first)
        .column(Head::instant("time", "at"), |s| s.time)
        .text("device", |s| s.device.clone())
        .text("event", |s| s.kind)
        .number("voltage", "V", "V", |s| s.voltage)
        .number("current", "I", "A", |s| s.current)
        .number("energy", "energy", "J", |s| s.energy)
        .text("reason", |s| s.reason.clone())
        .table();
    StudyTable::new("switching", "Switching energies, the first of each device", 0, data)
        .estimated(&["energy"])
}

fn switching_sums(a: &Account) -> StudyTable {
    let data = Rows::of(&a.switching.all)
        .text("device", |s| s.device.clone())
        .text("event", |s| s.kind)
        .number("count", "count", "1", |s| s.count as f64)
        .number("measured", "measured", "1", |s| s.measured as f64)
        .number("total", "sum", "J", |s| s.total)
        .number("least", "least", "J", |s| s.least)
        .number("largest", "largest", "J", |s| s.largest)
        .text("reason", |s| s.reason.clone())
        .table();
    StudyTable::new("switching_sums", "Switching energies by device", 0, data).estimated(&["total"])
}
