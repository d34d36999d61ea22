//! The table of a double pulse, and the definitions of its numbers.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use joulestep_engine::units::people;
use joulestep_models::arrangement::double_pulse::{Bench, Outcome, RECOVERY_SHARE, SIGNALS, has_kelvin};
use serde::Serialize;

use super::judge::Judged;
use super::{Grid, files};
use crate::account::{self, Account};
use crate::args::DoublePulseArgs;
use crate::diagnostic::filled;
use crate::judge::Number;
use crate::table::{Cell, Head, Table};

type Column = (&'static str, &'static str, &'static str, fn(&Outcome) -> Option<f64>);

/// Name, symbol, unit, value.
const COLUMNS: &[Column] = &[
    ("temperature", "T_j", "degC", |o| Some(o.point.celsius)),
    ("voltage", "V", "V", |o| Some(o.point.voltage)),
    ("gate_resistance", "R_g", "ohm", |o| Some(o.point.gate_resistance)),
    ("current", "I", "A", |o| Some(o.point.current)),
    ("turn_off_current", "I(off)", "A", |o| Some(o.switched.0)),
    ("turn_on_current", "I(on)", "A", |o| Some(o.switched.1)),
    ("turn_on_energy", "E_on", "J", |o| Some(o.on.energy)),
    ("turn_off_energy", "E_off", "J", |o| Some(o.off.energy)),
    ("recovery_energy", "E_rr", "J", |o| Some(o.recovery?.energy)),
    ("turn_on_delay", "t_d(on)", "s", |o| Some(o.on.delay)),
    ("rise_time", "t_r", "s", |o| Some(o.on.time)),
    ("turn_off_delay", "t_d(off)", "s", |o| Some(o.off.delay)),
    ("fall_time", "t_f", "s", |o| Some(o.off.time)),
    ("recovery_charge", "Q_rr", "C", |o| Some(o.recovery?.charge)),
    ("recovery_current", "I_RM", "A", |o| Some(o.recovery?.peak.0)),
    ("recovery_time", "t_rr", "s", |o| Some(o.recovery?.extrapolated)),
    ("peak_current", "i_D,max", "A", |o| Some(o.on.peak_current.0)),
    ("peak_voltage", "v_DS,max", "V", |o| Some(o.off.peak_voltage.0)),
    ("peak_upper_voltage", "v_upper,max", "V", |o| Some(o.upper_peak.0)),
    ("turn_on_current_slope", "di/dt(on)", "A/s", |o| Some(o.on.current_slope)),
    ("turn_on_voltage_slope", "dv/dt(on)", "V/s", |o| Some(o.on.voltage_slope)),
    ("turn_off_current_slope", "di/dt(off)", "A/s", |o| Some(o.off.current_slope)),
    ("turn_off_voltage_slope", "dv/dt(off)", "V/s", |o| Some(o.off.voltage_slope)),
    ("turn_on_energy_whole", "E_on,whole", "J", |o| Some(o.on.whole)),
    ("turn_off_energy_whole", "E_off,whole", "J", |o| Some(o.off.whole)),
    ("recovery_charge_whole", "Q_rr,whole", "C", |o| Some(o.upper_whole?.0)),
    ("recovery_energy_whole", "E_rr,whole", "J", |o| Some(o.upper_whole?.1)),
    ("turn_on_from", "", "s", |o| Some(o.on.limits.0)),
    ("turn_on_to", "", "s", |o| Some(o.on.limits.1)),
    ("turn_off_from", "", "s", |o| Some(o.off.limits.0)),
    ("turn_off_to", "", "s", |o| Some(o.off.limits.1)),
    ("recovery_from", "", "s", |o| Some(o.recovery?.zero)),
    ("recovery_to", "", "s", |o| Some(o.recovery?.end)),
    ("load_inductance", "L", "H", |o| Some(o.load)),
    ("ledger_residual_relative", "ledger", "1", |o| Some(o.ledger.relative())),
];

/// Columns that name an operating point.
pub(super) const POINT: [&str; 4] = ["temperature", "voltage", "gate_resistance", "current"];

/// Columns that are what they are: the point, and what follows from it alone.
const EXACT: [&str; 6] =
    ["temperature", "voltage", "gate_resistance", "current", "load_inductance", "ledger_residual_relative"];

/// Columns whose errors are estimated.
pub(super) fn estimated() -> Vec<&'static str> {
    COLUMNS.iter().map(|c| c.0).filter(|c| !EXACT.contains(c)).collect()
}

/// The numbers of a point whose errors are estimated.
pub(super) fn numbers(outcome: &Outcome) -> Vec<Number> {
    let number = |c: &Column| Number {
        missed: missed(outcome, c.0),
        ..Number::plain(c.0, (c.3)(outcome).unwrap_or(f64::NAN))
    };
    COLUMNS.iter().filter(|c| !EXACT.contains(&c.0)).map(number).collect()
}

/// What a peak is estimated to miss between the ends of steps; 0 for what is no peak.
fn missed(o: &Outcome, column: &str) -> f64 {
    let (signal, at, sign) = match (column, o.recovery) {
        ("recovery_current", Some(recovery)) => ("upper-current", recovery.peak.1, -1.0),
        ("peak_current", _) => ("current", o.on.peak_current.1, 1.0),
        ("peak_voltage", _) => ("voltage", o.off.peak_voltage.1, 1.0),
        ("peak_upper_voltage", _) => ("upper-voltage", o.upper_peak.1, 1.0),
        _ => return 0.0,
    };
    let (w, k) = (&o.waveforms, SIGNALS.iter().position(|s| *s == signal));
    let peak = w.time.iter().position(|t| *t == at);
    let around = peak.filter(|p| *p >= 2).and_then(|p| Some((w.time.get(p - 2..p + 2)?, p)));
    let (Some(k), Some((time, p))) = (k, around) else { return 0.0 };
    beyond([0, 1, 2, 3].map(|n| (time[n], sign * w.samples[p - 2 + n][k])))
}

/// How far the vertex of a parabola through the last three of four points lies above the third, their largest. A kink
/// has none: its second derivative does not go on from that of the first three, and a jump has two points at one
/// instant.
fn beyond(points: [(f64, f64); 4]) -> f64 {
    let [first, before, after] =
        [0, 1, 2].map(|n| (points[n + 1].1 - points[n].1) / (points[n + 1].0 - points[n].0));
    let length = |n: usize| points[n + 2].0 - points[n].0;
    let (last, curvature) = (2.0 * (before - first) / length(0), 2.0 * (after - before) / length(1));
    let slope = before + 0.5 * curvature * (points[2].0 - points[1].0);
    let rounded = curvature < 0.0 && last < 0.0 && curvature >= GOES_ON * last;
    if rounded && before >= 0.0 && after <= 0.0 { -0.5 * slope * slope / curvature } else { 0.0 }
}

/// How much larger the second derivative at a rounded peak may be than just before it.
const GOES_ON: f64 = 4.0;

/// Columns that people read together.
pub(super) const GROUPS: [(&str, &[&str]); 3] = [
    (
        "Energies and recovery",
        &[
            "turn_on_energy",
            "turn_off_energy",
            "recovery_energy",
            "recovery_charge",
            "recovery_current",
            "recovery_time",
        ],
    ),
    (
        "Times and peaks",
        &["turn_on_delay", "rise_time", "turn_off_delay", "fall_time", "peak_current", "peak_voltage"],
    ),
    (
        "Slopes, and energies from edge to edge",
        &[
            "turn_on_current_slope",
            "turn_on_voltage_slope",
            "turn_off_current_slope",
            "turn_off_voltage_slope",
            "turn_on_energy_whole",
            "turn_off_energy_whole",
            "recovery_charge_whole",
        ],
    ),
];

/// Columns of the text.
const WIDTH: usize = 100;
/// Relative ledger residual up to which energies are trusted.
const CLOSES: f64 = 1e-4;

/// All columns of all points with their errors and verdicts, and the file of the waveforms where there is one.
pub(super) fn table(found: &[Judged], args: &DoublePulseArgs) -> Table {
    let heads: Vec<Head> = COLUMNS.iter().map(|c| Head::number(c.0, c.1, c.2)).collect();
    let row = |j: &Judged| COLUMNS.iter().map(|c| (c.3)(&j.more).into()).collect();
    let plain = Table { heads, rows: found.iter().map(row).collect() };
    let mut data = plain.with_errors(&estimated(), &mut found.iter().flat_map(|j| &j.errors));
    data.heads.push(Head::text("verdict"));
    data.heads.extend(args.waveforms.as_ref().map(|_| Head::text("waveforms")));
    for (k, (row, j)) in data.rows.iter_mut().zip(found).enumerate() {
        row.push(j.account.verdict().word().into());
        row.extend(args.waveforms.as_ref().map(|f| Cell::Text(files::waveforms(f, k).display().to_string())));
    }
    data
}

/// How each number is defined.
pub(super) fn definitions(grid: &Grid) -> Vec<(&'static str, String)> {
    let rules = grid.bench.rules;
    let standard = rules.standard();
    vec![
        (
            "E_on",
            format!("∫ v_DS·i_D dt {} ({standard}); at the pins of the part", rules.turn_on_limits()),
        ),
        ("E_off", format!("∫ v_DS·i_D dt {} ({standard})", rules.turn_off_limits())),
        (
            "E_on,whole and E_off,whole",
            "∫ v_DS·i_D dt from the gate's edge to the next one, conduction included. E_off holds energy that is only \
             stored in the output capacitance, E_on misses the part's own: their sum counts"
                .into(),
        ),
        (
            "E_rr, Q_rr",
            format!(
                "integrals of reverse voltage times reverse current, and of reverse current, of the upper device from zero \
                 current to {:.0} % of I_RM (IEC 60747-2); capacitive charge included",
                100.0 * RECOVERY_SHARE
            ),
        ),
        (
            "Q_rr,whole and E_rr,whole",
            "from zero current to the end of the second pulse: what rings back is taken off again. E_rr,whole holds what \
             stays stored in the output capacitance; with ringing, Q_rr and E_rr end with the first swing"
                .into(),
        ),
        ("t_rr", "from zero current to where the line through 90 % and 25 % of I_RM meets zero".into()),
        ("t_d(on), t_r", "v_GS at 10 % of its swing to i_D at 10 % of I; i_D from 10 % to 90 % of I".into()),
        ("t_d(off), t_f", "v_GS at 90 % of its swing to i_D at 90 % of I; i_D from 90 % to 10 % of I".into()),
        ("di/dt, dv/dt", "mean slopes between 10 % and 90 % of I and of V".into()),
        ("±", "by two coarser computations of the same point".into()),
        ("100 %", "I: load current at the edge; V: supply voltage; gate: off level to on level".into()),
    ]
}

/// Where the gate of the part under test returns to, in words.
fn gate_return(grid: &Grid) -> String {
    let lead = grid.part.values.maybe("source-inductance").filter(|l| *l > 0.0);
    match lead.map(|l| people(l, "H")) {
        Some(lead) if grid.bench.kelvin && has_kelvin(&grid.part) => {
            format!("the Kelvin source pin (the source lead's {lead} are outside the gate loop)")
        }
        Some(lead) => format!("the power source pin (the source lead's {lead} are common to gate and load)"),
        None => "the source pin (the part's model has no source lead, so this is a Kelvin source)".into(),
    }
}

/// The circuit in a line.
pub(super) fn circuit(grid: &Grid) -> String {
    let b = &grid.bench;
    let load = b.load.map_or_else(|| "10 µs of first pulse".into(), |l| people(l, "H"));
    let snubber = b.snubber.map_or_else(String::new, |s| {
        format!(", snubbers {} and {}", people(s.capacitance, "F"), people(s.resistance, "ohm"))
    });
    format!(
        "gate {} to {} in {}, returning to {}; loop {} and {}; load: {load}{snubber}; junctions held at T_j",
        people(b.gate_off, "V"),
        people(b.gate_on, "V"),
        people(b.ramp, "s"),
        gate_return(grid),
        people(b.loop_inductance, "H"),
        people(b.loop_resistance, "ohm"),
    )
}

#[derive(Serialize)]
pub(super) struct Document<'a> {
    part: &'a str,
    upper: &'a str,
    bench: BenchDocument<'a>,
    definitions: BTreeMap<&'a str, String>,
    units: BTreeMap<String, String>,
    rows: &'a Table,
    steps: u64,
    iterations: u64,
    #[serde(flatten)]
    judged: account::json::JudgedDocument<'a>,
}

#[derive(Serialize)]
struct BenchDocument<'a> {
    #[serde(flatten)]
    bench: &'a Bench,
    standard: &'a str,
}

/// The table as JSON.
pub(super) fn json<'a>(grid: &'a Grid, table: &'a Table, whole: &'a Account) -> Document<'a> {
    Document {
        part: &grid.part.name,
        upper: &grid.upper.name,
        bench: BenchDocument { bench: &grid.bench, standard: grid.bench.rules.standard() },
        definitions: definitions(grid).into_iter().collect(),
        units: table.units(),
        rows: table,
        steps: whole.counters.steps,
        iterations: whole.counters.iterations,
        judged: account::json::judged(whole),
    }
}

/// The table for people.
pub(super) fn text(grid: &Grid, table: &Table, whole: &Account) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "Double pulse: {} with {} above", grid.part.name, grid.upper.name);
    filled(&circuit(grid), 100, &mut out);
    for (title, columns) in GROUPS {
        let _ = writeln!(out, "\n{title}");
        out.push_str(&table.blocks(&POINT, columns, WIDTH));
    }
    if table.rows.len() > 1 {
        let _ = write!(out, "\nVerdicts\n{}", table.text(&[&POINT[..], &["verdict"]].concat()));
    }
    out.push_str("\nDefinitions\n");
    for (symbol, words) in definitions(grid) {
        filled(&format!("{symbol}: {words}"), WIDTH, &mut out);
    }
    let ledger = table.heads.iter().position(|h| h.name == "ledger_residual_relative");
    let residual = |row: &Vec<Cell>| match ledger.map(|k| &row[k]) {
        Some(Cell::Number(x)) => *x,
        _ => f64::NAN,
    };
    let worst = table.rows.iter().map(residual).fold(0.0f64, |a, b| if b > a || b.is_nan() { b } else { a });
    let _ = writeln!(out, "\nlargest ledger residual {worst:.1e} of the energy turned over");
    // Written so that a residual that is not a number is reported too.
    let closes = worst <= CLOSES;
    if !closes {
        out.push_str("THE LEDGER DOES NOT CLOSE: do not trust these energies\n");
    }
    if table.rows.len() > 1 {
        out.push_str("\nOver all operating points, each judged with its own errors:\n");
    }
    let errors: Vec<_> = table.errors().collect();
    out.push_str(&account::text::judged(whole, &errors));
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A parabola has its vertex where it has it, whatever the steps; a kink and a jump have none.
    #[test]
    fn a_rounded_peak_between_steps_is_missed() {
        let parabola = |t: f64| (t, 3.0 - (t - 0.1) * (t - 0.1));
        assert!((beyond([-1.5, -0.7, 0.0, 0.4].map(parabola)) - 0.01).abs() < 1e-12);
        assert!(beyond([-2.0, -1.0, 0.0, 1.0].map(|t: f64| (t, -t.abs()))) == 0.0);
        assert!(beyond([(-1.0, -1.0), (0.0, 0.0), (0.0, 2.0), (1.0, 1.0)]) == 0.0);
    }
}
