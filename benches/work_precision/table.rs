//! The table: one row per method and tolerance or step.

use crate::reference::{Error, Reference};

/// Waveform errors at which methods are compared, V rms on v2.
const LEVELS: [f64; 4] = [0.3, 0.1, 0.03, 0.02];
/// The method that the others are compared with.
const YARDSTICK: &str = "SUNDIALS IDA";

/// One method at one tolerance or step.
#[derive(Clone, Debug)]
pub struct Row {
    /// Method or library.
    pub method: String,
    /// Tolerance or step.
    pub setting: String,
    /// Wall time of the integration, s (per variant where several run in lanes).
    pub seconds: f64,
    /// Steps taken.
    pub steps: u64,
    /// Newton iterations.
    pub iterations: u64,
    /// Error of v2; None where it could not be had.
    pub v2: Option<Error>,
    /// Turn-off and turn-on energy, J.
    pub energies: (f64, f64),
    /// Why there are no numbers.
    pub failed: Option<String>,
}

impl Row {
    /// A row still without numbers.
    pub fn new(method: &str, setting: String) -> Self {
        Row {
            method: method.into(),
            setting,
            seconds: f64::INFINITY,
            steps: 0,
            iterations: 0,
            v2: None,
            energies: (f64::NAN, f64::NAN),
            failed: None,
        }
    }
}

/// Keeps the best time of several rounds over the same rows.
pub fn merge(best: &mut Vec<Row>, round: Vec<Row>) {
    for row in round {
        match best.iter_mut().find(|b| b.method == row.method && b.setting == row.setting) {
            Some(b) => b.seconds = b.seconds.min(row.seconds),
            None => best.push(row),
        }
    }
}

/// Prints the rows, then the time of each method at equal error.
pub fn print(reference: &Reference, rows: &[Row]) {
    println!("\n{}", reference.case.title());
    println!("compared with {}, at {} times", reference.source, reference.grid.len());
    println!(
        "{:<26}{:<14}{:>11}{:>10}{:>12}{:>11}{:>11}{:>10}{:>10}",
        "method", "setting", "ms", "steps", "iterations", "v2 max V", "v2 rms V", "E_off", "E_on"
    );
    for row in rows {
        if let Some(why) = &row.failed {
            println!("{:<26}{:<14} failed: {why}", row.method, row.setting);
            continue;
        }
        let error = |pick: fn(&Error) -> f64| row.v2.as_ref().map_or("-".into(), |e| short(pick(e)));
        let energy = |own: f64, exact: f64| format!("{:.0e}", own / exact - 1.0);
        println!(
            "{:<26}{:<14}{:>11.3}{:>10}{:>12}{:>11}{:>11}{:>10}{:>10}",
            row.method,
            row.setting,
            row.seconds * 1e3,
            row.steps,
            row.iterations,
            error(|e| e.max),
            error(|e| e.rms),
            energy(row.energies.0, reference.energies.0),
            energy(row.energies.1, reference.energies.1),
        );
    }
    print_equal_error(rows);
}

fn short(x: f64) -> String {
    if x >= 0.01 { format!("{x:.3}") } else { format!("{x:.1e}") }
}

/// Wall time at equal waveform error, and how many times faster than the yardstick that is.
fn print_equal_error(rows: &[Row]) {
    let mut methods: Vec<&str> = Vec::new();
    for row in rows {
        if !methods.contains(&row.method.as_str()) {
            methods.push(&row.method);
        }
    }
    let times: Vec<(&str, [Option<f64>; LEVELS.len()])> =
        methods.iter().map(|&m| (m, LEVELS.map(|level| time_at(rows, m, level)))).collect();
    println!("ms at equal v2 rms error (log-log between the rows that enclose it):");
    print_levels(&times, |w| format!("{:.3}", w * 1e3));
    let Some(yardstick) = times.iter().find(|w| w.0 == YARDSTICK).map(|w| w.1) else { return };
    println!("times faster than {YARDSTICK} at equal v2 rms error:");
    let mut ratios = times;
    for (_, times) in &mut ratios {
        for (time, of) in times.iter_mut().zip(yardstick) {
            *time = time.and_then(|w| Some(of? / w));
        }
    }
    print_levels(&ratios, |r| format!("{r:.2}"));
}

fn print_levels(lines: &[(&str, [Option<f64>; LEVELS.len()])], written: fn(f64) -> String) {
    print!("{:<26}", "");
    LEVELS.iter().for_each(|l| print!("{:>14}", format!("{l} V")));
    println!();
    for (method, numbers) in lines {
        print!("{method:<26}");
        numbers.iter().for_each(|x| print!("{:>14}", x.map_or("-".into(), written)));
        println!();
    }
}

/// Wall time of a method at one error, s, from the two rows that enclose it, in logarithms. None where its rows do not
/// enclose it: nothing is extrapolated.
fn time_at(rows: &[Row], method: &str, level: f64) -> Option<f64> {
    let mut points: Vec<(f64, f64)> = rows
        .iter()
        .filter(|r| r.method == method && r.failed.is_none())
        .filter_map(|r| Some((r.v2?.rms, r.seconds)))
        .filter(|(e, w)| e.is_finite() && *e > 0.0 && w.is_finite())
        .collect();
    points.sort_by(|a, b| a.1.total_cmp(&b.1));
    let around = points.windows(2).find(|p| p[0].0 > level && p[1].0 <= level)?;
    let x = (level.ln() - around[0].0.ln()) / (around[1].0.ln() - around[0].0.ln());
    Some((around[0].1.ln() + x * (around[1].1.ln() - around[0].1.ln())).exp())
}
