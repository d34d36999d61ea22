//! Switching energies of a run, from the rows of its file.

use std::collections::BTreeMap;

use super::Read;
use super::sequence::instant;
use crate::output::account::switching::DEFINITION;
use crate::output::report::{Block, Grid, people};

/// Most events that are listed one by one.
const LINES: usize = 24;

/// A turn-on or turn-off: number of its row.
fn events(read: &Read<'_>) -> Vec<usize> {
    let switches = |r: &usize| matches!(read.steps.kind[*r].as_str(), "turn-on" | "turn-off");
    (0..read.steps.kind.len()).filter(switches).collect()
}

fn energy(x: f64) -> String {
    if x.is_finite() { people(x, "J") } else { String::new() }
}

/// All turn-ons, or turn-offs, of a device.
#[derive(Default)]
struct Sum<'a> {
    count: usize,
    measured: usize,
    total: f64,
    extremes: (f64, f64),
    reason: &'a str,
}

/// Sums by device, then the first events.
pub(super) fn blocks(read: &Read<'_>) -> Vec<Block> {
    let all = events(read);
    if all.is_empty() {
        return Vec::new();
    }
    let steps = &read.steps;
    let mut sums: BTreeMap<(&str, &str), Sum<'_>> = BTreeMap::new();
    for &r in &all {
        let none = || Sum { extremes: (f64::NAN, f64::NAN), ..Sum::default() };
        let sum = sums.entry((&steps.subject[r], &steps.kind[r])).or_insert_with(none);
        let x = steps.energy[r];
        sum.count += 1;
        if x.is_finite() {
            (sum.measured, sum.total) = (sum.measured + 1, sum.total + x);
            sum.extremes = (sum.extremes.0.min(x), sum.extremes.1.max(x));
        } else if sum.reason.is_empty() {
            sum.reason = &steps.reason[r];
        }
    }
    let row = |((device, kind), s): (&(&str, &str), &Sum<'_>)| {
        let why = match s.count - s.measured {
            0 => String::new(),
            n => format!("{n} without: {}", s.reason),
        };
        let (count, measured) = (s.count.to_string(), s.measured.to_string());
        let (least, largest) = (energy(s.extremes.0), energy(s.extremes.1));
        vec![(*device).into(), (*kind).into(), count, measured, energy(s.total), least, largest, why]
    };
    let heads = ["device", "event", ">events", ">with energy", ">sum", ">least", ">largest", ""];
    let sums = Grid::new("Switching energies by device", &heads, sums.iter().map(row).collect());
    let end = read.reach.1;
    let one = |&r: &usize| {
        let (volts, amperes) = steps.switched[r];
        let shown = |x: f64, unit: &str| if x.is_finite() { people(x, unit) } else { String::new() };
        vec![
            instant(steps.begin[r], end),
            steps.subject[r].clone(),
            steps.kind[r].clone(),
            shown(volts, "V"),
            shown(amperes, "A"),
            energy(steps.energy[r]),
            steps.reason[r].clone(),
        ]
    };
    let heads = [">from", "device", "event", ">V", ">I", ">energy", ""];
    let first = Grid::new("The first switching events", &heads, all.iter().take(LINES).map(one).collect());
    let mut blocks = vec![Block::Text(format!("{DEFINITION}.")), Block::Grid(sums), Block::Grid(first)];
    if all.len() > LINES {
        blocks.push(Block::Text(format!("{} more are in the file.", all.len() - LINES)));
    }
    blocks
}
