//! Switching energies.

use super::{WIDTH, error, errors_beside, heading, instant, seen};
use crate::diagnostic::{filled, printable};
use crate::output::account::Account;
use crate::output::account::switching::{AllSwitching, DEFINITION, OneSwitching};

/// Most events that are listed one by one.
const LINES: usize = 12;

/// The section; none where no drive moves a gate.
pub(super) fn energies(out: &mut String, a: &Account) {
    let s = &a.switching;
    if s.all.is_empty() {
        return;
    }
    heading(out, "Switching energies", DEFINITION);
    let row = |s: &OneSwitching| {
        let voltage = if s.voltage.is_finite() { seen(s.voltage, "V") } else { String::new() };
        let current = if s.current.is_finite() { seen(s.current, "A") } else { String::new() };
        let known = if s.energy.is_finite() { error(&s.error, "J") } else { String::new() };
        let at = instant(s.time);
        vec![
            at,
            s.device.clone(),
            s.kind.into(),
            voltage,
            current,
            seen(s.energy, "J"),
            known,
            s.reason.clone(),
        ]
    };
    let rows: Vec<_> = s.first.iter().take(LINES).map(row).collect();
    errors_beside(out, &[">time", "device", "event", ">V", ">I", ">energy", ">±", ""], rows);
    let sum = |s: &AllSwitching| {
        let known = if s.measured > 0 { error(&s.error, "J") } else { String::new() };
        let mut row = vec![s.device.clone(), s.kind.into(), s.count.to_string(), s.measured.to_string()];
        row.extend([seen(s.total, "J"), known, seen(s.least, "J"), seen(s.largest, "J")]);
        row
    };
    out.push('\n');
    let columns = ["device", "event", ">count", ">measured", ">sum", ">±", ">least", ">largest"];
    errors_beside(out, &columns, s.all.iter().map(sum).collect());
    for s in s.all.iter().filter(|s| s.measured < s.count) {
        let missing = s.count - s.measured;
        let words =
            format!("  {} {}: {missing} without an energy; the first: {}", s.device, s.kind, s.reason);
        filled(&printable(&words), WIDTH, out);
    }
}
