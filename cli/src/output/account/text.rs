//! The account for people: plain text in at most 100 columns.

use std::fmt::Write;

use joulestep_engine::control::let_through::DEFINITION;
use joulestep_engine::recorder::EventKind;
use joulestep_engine::units::{people, people_digits};

use super::event_lines::Line;
use super::{Account, Outcome};
use crate::diagnostic::{filled, printable};
use crate::judge::Uncertainty;

mod judged;
mod spread;

pub use self::judged::judged;

/// Relative ledger residual up to which the energies are trusted.
const CLOSES: f64 = 1e-4;

/// Columns.
const WIDTH: usize = 100;

/// The text of an account.
pub fn text(a: &Account) -> String {
    let mut out = String::new();
    let end = match &a.outcome {
        Outcome::Done => String::new(),
        Outcome::Interrupted => format!(" of {}, interrupted", people_digits(a.end, "s", 4)),
        Outcome::Failed(_) => format!(" of {}, FAILED", people_digits(a.end, "s", 4)),
    };
    if !a.title.is_empty() {
        line(&mut out, &a.title);
    }
    let c = &a.counters;
    let reached = people_digits(a.reached, "s", 4);
    line(
        &mut out,
        &format!(
            "{reached}{end} in {} steps ({}), {} iterations, {} windows",
            c.steps, a.method, c.iterations, c.windows
        ),
    );
    if let Outcome::Failed(why) = &a.outcome {
        line(&mut out, why);
    }
    events(&mut out, a);
    peaks(&mut out, a);
    junctions(&mut out, a);
    energies(&mut out, a);
    spread::spread(&mut out, a);
    judged::limits(&mut out, a, &[]);
    out
}

/// A line, cut to the width.
fn line(out: &mut String, text: &str) {
    let text = printable(text);
    let text = text.trim_end();
    if text.chars().count() <= WIDTH {
        out.push_str(text);
    } else {
        out.extend(text.chars().take(WIDTH - 3).chain("...".chars()));
    }
    out.push('\n');
}

fn heading(out: &mut String, text: &str, definition: &str) {
    out.push('\n');
    line(out, text);
    if !definition.is_empty() {
        filled(&format!("({definition})"), WIDTH, out);
    }
}

/// A table with its columns as wide as they need be; text to the left, numbers (marked by `>`) to the right.
fn table(out: &mut String, columns: &[&str], rows: &[Vec<String>]) {
    let names: Vec<&str> = columns.iter().map(|c| c.trim_start_matches('>')).collect();
    let wide = |k: usize| {
        let cells = rows.iter().map(|r| r[k].chars().count());
        cells.chain([names[k].chars().count()]).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..columns.len()).map(wide).collect();
    let mut put = |cells: &[&str]| {
        let mut text = String::new();
        for (k, cell) in cells.iter().enumerate() {
            let pad = " ".repeat(widths[k] - cell.chars().count());
            let _ = match columns[k].starts_with('>') {
                true => write!(text, "  {pad}{cell}"),
                false => write!(text, "  {cell}{pad}"),
            };
        }
        // A last cell that is too long for the line goes on below itself.
        let before: usize = widths[..widths.len() - 1].iter().map(|w| w + 2).sum();
        let last = cells.last().copied().unwrap_or("");
        if text.trim_end().chars().count() <= WIDTH || before + 8 > WIDTH {
            line(out, &text);
            return;
        }
        let head: String = text.chars().take(before + 2).collect();
        for (k, part) in broken(last, WIDTH - before - 2).iter().enumerate() {
            let start = if k == 0 { head.clone() } else { " ".repeat(before + 2) };
            line(out, &format!("{start}{part}"));
        }
    };
    put(&names);
    for row in rows {
        put(&row.iter().map(String::as_str).collect::<Vec<_>>());
    }
}

/// A text in pieces of at most `width` columns, broken at spaces.
fn broken(text: &str, width: usize) -> Vec<String> {
    let mut pieces: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match pieces.last_mut() {
            Some(piece) if piece.chars().count() + 1 + word.chars().count() <= width => {
                piece.push(' ');
                piece.push_str(word);
            }
            _ => pieces.push(word.to_string()),
        }
    }
    pieces
}

/// ± of a number in a table: a star marks runs that do not converge.
fn error(error: &Uncertainty, unit: &str) -> String {
    let unit = if unit == "degC" { "K" } else { unit };
    match error {
        Uncertainty::Bare => String::new(),
        Uncertainty::Within { plus_minus } => people_digits(*plus_minus, unit, 2),
        Uncertainty::NotConverging { plus_minus } => format!("{} *", people_digits(*plus_minus, unit, 2)),
        Uncertainty::NotEstimated { .. } => "not estimated".into(),
    }
}

/// A table with columns of errors, which are left out where all of them are empty.
fn errors_beside(out: &mut String, columns: &[&str], mut rows: Vec<Vec<String>>) {
    let empty = |k: usize| columns[k] == ">±" && rows.iter().all(|r| r[k].is_empty());
    let kept: Vec<bool> = (0..columns.len()).map(|k| !empty(k)).collect();
    let keeps = |k: &usize| kept[*k];
    let columns: Vec<&str> = (0..columns.len()).filter(keeps).map(|k| columns[k]).collect();
    for row in &mut rows {
        let mut k = 0..;
        row.retain(|_| k.next().is_some_and(|k| kept[k]));
    }
    table(out, &columns, &rows);
}

fn instant(t: f64) -> String {
    if t.is_finite() { format!("{:.4} ms", 1e3 * t) } else { String::new() }
}

/// A value that was found; a dash where the run ended before anything was.
fn seen(x: f64, unit: &str) -> String {
    seen_digits(x, unit, 3)
}

fn seen_digits(x: f64, unit: &str, digits: usize) -> String {
    if x.is_finite() { people_digits(x, unit, digits) } else { "-".into() }
}

fn events(out: &mut String, a: &Account) {
    let clears = a.events.iter().any(|l| matches!(l, Line::One(e) if e.kind == EventKind::Cleared));
    let definition = if clears { format!("let-through I²t: {DEFINITION}") } else { String::new() };
    heading(out, "Events", &definition);
    let rows: Vec<Vec<String>> = a
        .events
        .iter()
        .map(|l| match l {
            Line::One(e) => {
                let value = if e.value.is_finite() { people(e.value, e.unit) } else { String::new() };
                vec![instant(e.time), e.kind.word().into(), e.subject.clone(), value, e.note.clone()]
            }
            Line::Many(n, first, last) => vec![
                instant(first.time),
                first.kind.word().into(),
                first.subject.clone(),
                String::new(),
                format!("{n} times until {}", instant(last.time)),
            ],
        })
        .collect();
    match rows.is_empty() {
        true => line(out, "  nothing"),
        false => table(out, &[">time", "what", "subject", ">value", ""], &rows),
    }
}

fn peaks(out: &mut String, a: &Account) {
    if a.peaks.is_empty() {
        return;
    }
    heading(out, "Extremes", "least and largest value at the end of any step, recorded or not");
    let rows: Vec<Vec<String>> = a
        .peaks
        .iter()
        .map(|p| {
            vec![
                p.name.clone(),
                seen(p.least, p.unit),
                error(&p.least_error, p.unit),
                instant(p.least_at),
                seen(p.largest, p.unit),
                error(&p.largest_error, p.unit),
                instant(p.largest_at),
            ]
        })
        .collect();
    errors_beside(out, &["signal", ">least", ">±", ">at", ">largest", ">±", ">at"], rows);
}

fn junctions(out: &mut String, a: &Account) {
    if a.junctions.is_empty() {
        return;
    }
    heading(
        out,
        "Junctions",
        "virtual junction temperature of each die at the ends of steps; ±: what the coupling of heat may have it wrong by; heat: what the network received",
    );
    let rows: Vec<Vec<String>> = a
        .junctions
        .iter()
        .map(|j| {
            vec![
                j.name.clone(),
                seen(j.hottest, "degC"),
                error(&j.hottest_error, "degC"),
                instant(j.hottest_at),
                seen(j.end, "degC"),
                error(&j.end_error, "degC"),
                if j.rated.is_finite() { people(j.rated, "degC") } else { String::new() },
                people(j.heat, "J"),
            ]
        })
        .collect();
    errors_beside(out, &["die", ">hottest", ">±", ">at", ">at the end", ">±", ">rated", ">heat"], rows);
    for (j, why) in a.junctions.iter().filter_map(|j| Some((j, j.not_bounded?))) {
        line(out, &format!("  {}: coupling error not bounded; {why}", j.name));
    }
}

fn energies(out: &mut String, a: &Account) {
    heading(out, "Energies", "integrals of v·i over the whole run; stored: at the end less at the start");
    let rows: Vec<Vec<String>> = a
        .energies
        .iter()
        .filter(|e| e.delivered != 0.0 || e.dissipated != 0.0 || e.stored != 0.0)
        .map(|e| {
            let mut row = vec![e.name.clone()];
            let errors = [&e.delivered_error, &e.dissipated_error, &e.stored_error];
            for (value, bound) in [e.delivered, e.dissipated, e.stored].iter().zip(errors) {
                row.extend([seen(*value, "J"), error(bound, "J")]);
            }
            row
        })
        .collect();
    errors_beside(out, &["component", ">delivered", ">±", ">dissipated", ">±", ">stored", ">±"], rows);
    let residual = if a.residual.is_finite() && a.relative.is_finite() {
        format!("{} ({:.1e} of the energy turned over or stored)", people(a.residual, "J"), a.relative)
    } else {
        "is no number: the last state is not one of finite energies".into()
    };
    line(out, &format!("  ledger residual {residual}"));
    // Written so that a residual that is not a number is reported too.
    let closes = a.relative <= CLOSES;
    if !closes {
        line(
            out,
            &format!(
                "  THE LEDGER DOES NOT CLOSE to {CLOSES:.0e}: take shorter steps before trusting the energies"
            ),
        );
    }
}
