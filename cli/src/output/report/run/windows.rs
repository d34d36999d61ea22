//! Which windows of a run are worth a figure.

use joulestep_engine::recorder::{Action, EventKind};

use super::Read;
use super::sequence::instant;
use crate::output::account::event_lines::is_frequent;
use crate::output::result::{ResultError, StoredEvent};

/// Most windows around events, and most edges close up.
const AROUND: usize = 8;
const CLOSE: usize = 4;

/// A stretch of the run to be drawn.
pub(super) struct Window {
    /// Name of the figure's file.
    pub name: String,
    /// What it shows.
    pub caption: String,
    /// From and to, s.
    pub reach: (f64, f64),
    /// The instant from which its time counts, s.
    pub zero: f64,
    /// Instants with what stands beside them.
    pub marks: Vec<(f64, String)>,
    /// Whether it is too short for temperatures to move.
    pub close: bool,
}

/// The windows, and how many events have none.
pub(super) struct Windows {
    pub shown: Vec<Window>,
    pub left_out: usize,
}

fn label(e: &StoredEvent) -> String {
    let short = |text: &str| text.chars().take(36).collect::<String>();
    match &e.kind {
        _ if e.is(EventKind::Scheduled) && !e.note.is_empty() => short(&e.note),
        _ if e.is(EventKind::Scheduled) => short(&e.subject),
        _ if e.is(EventKind::Control) => short(&format!("{} {}", e.subject, e.action)),
        kind => short(&format!("{} {kind}", e.subject)),
    }
}

/// Events that are near one another belong to one window.
fn clusters<'a>(events: &'a [StoredEvent], gap: f64) -> Vec<Vec<&'a StoredEvent>> {
    let mut out: Vec<Vec<&'a StoredEvent>> = Vec::new();
    for e in events.iter().filter(|e| !is_frequent(&e.kind)) {
        match out.last_mut() {
            Some(cluster) if cluster.last().is_some_and(|last| e.time - last.time <= gap) => cluster.push(e),
            _ => out.push(vec![e]),
        }
    }
    out
}

fn weight(cluster: &[&StoredEvent]) -> u8 {
    let of = |e: &&StoredEvent| match () {
        () if [EventKind::Trip, EventKind::LockOut, EventKind::Retry].iter().any(|k| e.is(*k)) => 3,
        () if e.is(EventKind::Scheduled) => 2,
        () => 1,
    };
    cluster.iter().map(of).max().unwrap_or(0)
}

/// "start command; precharge starts", each once.
fn listed(labels: &[(f64, String)]) -> String {
    let mut out: Vec<&str> = Vec::new();
    for (_, label) in labels {
        if !out.contains(&label.as_str()) {
            out.push(label);
        }
    }
    out.join("; ")
}

fn around(cluster: &[&StoredEvent], reach: (f64, f64)) -> Window {
    let (first, last) = (cluster[0].time, cluster[cluster.len() - 1].time);
    let length = reach.1 - reach.0;
    let pad = (0.6 * (last - first)).max(length / 300.0);
    let mut marks: Vec<(f64, String)> = Vec::new();
    for e in cluster {
        // What happens at one instant stands in one label.
        match marks.last_mut() {
            Some(mark) if mark.0 == e.time => mark.1 = format!("{}, {}", mark.1, label(e)),
            _ => marks.push((e.time, label(e))),
        }
    }
    let what = listed(&marks);
    Window {
        name: super::super::study::file_name(&what),
        caption: format!("From {}: {what}.", instant(first, reach.1)),
        reach: ((first - 0.5 * pad).max(reach.0), (last + pad).min(reach.1)),
        zero: 0.0,
        marks,
        close: false,
    }
}

/// Edges worth a look close up: the first that turns on, the last that turns off after each trip, the one behind which
/// a voltage is highest.
fn edges(read: &Read<'_>) -> Vec<(f64, String, String)> {
    let edges = || read.events.iter().filter(|e| e.is(EventKind::Edge));
    let mut out: Vec<(f64, String, String)> = Vec::new();
    let mut add = |t: f64, action: &str, words: String| {
        if out.iter().all(|(other, ..)| (other - t).abs() > 1e-12) {
            out.push((t, action.to_string(), words));
        }
    };
    if let Some(e) = edges().find(|e| e.act() == Action::TurnsOn) {
        add(e.time, &e.action, format!("{} {}, for the first time", e.subject, e.action));
    }
    for trip in read.events.iter().filter(|e| e.is(EventKind::Trip)) {
        if let Some(e) = edges().find(|e| e.time >= trip.time && e.act().is_off()) {
            add(e.time, &e.action, format!("{} {} after the trip of {}", e.subject, e.action, trip.subject));
        }
    }
    let is_voltage = |name: &str| name.ends_with(".voltage") || name.ends_with(".die-voltage");
    let volts = |k: &usize| read.steps.watched_unit[*k] == "V" && is_voltage(&read.steps.watched[*k]);
    let columns: Vec<usize> = (0..read.steps.watched.len()).filter(volts).collect();
    let peak = |row: usize| columns.iter().map(|&k| read.steps.peak[row][k].abs()).fold(0.0, f64::max);
    let rows = (0..read.steps.kind.len())
        .filter(|&r| read.steps.kind[r] == EventKind::Edge.word() && peak(r).is_finite());
    let highest = rows.filter(|&r| peak(r) > 0.0).max_by(|a, b| peak(*a).total_cmp(&peak(*b)));
    if let Some(row) = highest {
        let (begin, subject) = (read.steps.begin[row], &read.steps.subject[row]);
        let edge = edges().find(|e| (e.time - begin).abs() < 1e-12 && e.subject == *subject);
        let action = edge.map_or("switches", |e| e.action.as_str());
        add(begin, action, format!("{subject} {action}; the highest voltage of the run follows"));
    }
    out.truncate(CLOSE);
    out
}

fn close_up(read: &Read<'_>, t: f64, note: &str, words: &str) -> Result<Window, ResultError> {
    let length = read.reach.1 - read.reach.0;
    // Wide enough for several samples, however sparse they are.
    let file = read.file;
    let at = super::traces::locate(file, t)?;
    let near = file.time(at.min(file.samples() - 1)..(at + 16).min(file.samples()))?;
    // The two samples of a jump are neighbouring numbers, and no measure of how fast things go.
    let gaps = near.windows(2).filter(|w| w[1] > w[0].next_up()).map(|w| w[1] - w[0]);
    let width = (200.0 * gaps.fold(f64::INFINITY, f64::min))
        .clamp(2e-6_f64.min(length), (length / 20.0).max(2e-6_f64.min(length)));
    let reach = ((t - 0.15 * width).max(read.reach.0), (t + 0.85 * width).min(read.reach.1));
    Ok(Window {
        name: format!("edge-{}", super::super::study::file_name(words)),
        caption: format!("Close up at {}: {words}.", instant(t, read.reach.1)),
        reach,
        zero: t,
        marks: vec![(t, note.into())],
        close: true,
    })
}

/// A few periods at the end, where a drive switches on and on.
fn last_periods(read: &Read<'_>) -> Option<Window> {
    let mut edges: Vec<&StoredEvent> = read.events.iter().filter(|e| e.is(EventKind::Edge)).collect();
    let subject = edges.last()?.subject.clone();
    edges.retain(|e| e.subject == subject);
    let [.., first, _, _, _, _, _, last] = edges[..] else { return None };
    let length = last.time - first.time;
    let lively = edges.len() >= 20
        && read.reach.1 - last.time < length
        && length < 0.2 * (read.reach.1 - read.reach.0);
    lively.then(|| Window {
        name: "last-periods".into(),
        caption: format!("The last periods of {subject}, from {}.", instant(first.time, read.reach.1)),
        reach: (first.time - 0.05 * length, (last.time + 0.1 * length).min(read.reach.1)),
        zero: 0.0,
        marks: Vec::new(),
        close: false,
    })
}

/// Chooses.
pub(super) fn choose(read: &Read<'_>) -> Result<Windows, ResultError> {
    let (begin, end) = read.reach;
    let length = end - begin;
    let all = clusters(&read.events, length / 60.0);
    let mut order: Vec<usize> = (0..all.len()).collect();
    order.sort_by_key(|&k| std::cmp::Reverse(weight(&all[k])));
    order.truncate(AROUND);
    order.sort_unstable();
    let mut marks: Vec<(f64, String)> = order.iter().map(|&k| (all[k][0].time, label(all[k][0]))).collect();
    marks.dedup_by(|a, b| a.0 == b.0);
    let mut shown = vec![Window {
        name: "whole-run".into(),
        caption: "The whole run.".into(),
        reach: (begin, end),
        zero: 0.0,
        marks,
        close: false,
    }];
    shown.extend(order.iter().map(|&k| around(&all[k], read.reach)));
    shown.extend(last_periods(read));
    for (t, note, words) in edges(read) {
        if (begin..end).contains(&t) {
            shown.push(close_up(read, t, &note, &words)?);
        }
    }
    shown.retain(|w| w.reach.1 > w.reach.0);
    Ok(Windows { shown, left_out: all.len() - order.len() })
}
