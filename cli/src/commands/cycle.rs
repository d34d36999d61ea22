//! `cycle`: the periodic steady state of a scenario's arrangement, its losses and temperature ripple.

mod study;

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io;
use std::path::Path;

use joulestep_engine::cycle::steady::Effort;
use joulestep_engine::units::people;
use joulestep_models::arrangement::cycle::{Cycle, Why, solve};
use serde::Serialize;

use crate::args::CycleArgs;
use crate::commands::asked::Lies;
use crate::commands::{asked, refuse};
use crate::diagnostic::filled;
use crate::exit::{BAD_INPUT, DONE, NUMERICAL, Streams};
use crate::scenario::build::build;
use crate::scenario::include::open;
use crate::scenario::resolve::{Trouble, read};
use crate::sheet::{Cell, Head, Sheet};

/// Relative residual up to which the account counts as closed.
const CLOSES: f64 = 1e-4;

const COLUMNS: [(&str, &str); 9] = [
    ("conduction", "conduction"),
    ("turn_on", "turn-on"),
    ("capacitive", "capacitive"),
    ("turn_off", "turn-off"),
    ("dead_time_diode", "diode"),
    ("recovery", "recovery"),
    ("gate_drive", "gate"),
    ("snubber", "snubber"),
    ("sum", "sum"),
];

/// Mean powers by switch, W.
fn losses(cycle: &Cycle) -> Sheet {
    let mut heads = vec![Head::text("switch")];
    heads.extend(COLUMNS.iter().map(|c| Head::number(c.0, c.1, "W")));
    let row = |s: &joulestep_models::arrangement::losses::Phases| {
        let sum = s.own() + s.gate_drive + s.snubber;
        let phases = [s.conduction, s.turn_on, s.capacitive, s.turn_off, s.dead_time, s.recovery];
        let all = phases.into_iter().chain([s.gate_drive, s.snubber, sum]);
        let mut row: Vec<Cell> = vec![s.name.as_str().into()];
        row.extend(all.map(|e| Cell::from(e / cycle.period)));
        row
    };
    Sheet { heads, rows: cycle.account.switches.iter().map(row).collect() }
}

/// What each of these numbers is.
const DEFINITIONS: [(&str, &str); 10] = [
    ("conduction", "on and settled; of a diode in a switch's place, all forward conduction"),
    (
        "turn-on",
        "from the gate's edge until the voltage over the switch is below 5 % of the largest it blocks, less the capacitive part",
    ),
    (
        "capacitive",
        "the part of the turn-on that charges account for, ∫ v dQ over the switch: of the charge that its own output capacitance and snubber give up, and of what its partner's take through it (two equal switches, hard: Q_oss·V together)",
    ),
    ("turn-off", "from the gate's edge until the partner turns on, while the voltage is not reversed"),
    ("diode", "gate off and reverse conducting: the integral diode in the dead time"),
    (
        "recovery",
        "the partner is on: reverse recovery, charging through the switch's own resistances, leakage, shoot-through",
    ),
    ("gate", "in the resistances of the gate's drive"),
    ("snubber", "in the resistance of the switch's snubber"),
    (
        "±",
        "of a temperature: what holding the laws of devices at the mean temperature of the period may have it wrong by",
    ),
    (
        "sum",
        "of a switch's row; all rows and the other losses sum to what the energy ledger calls dissipated",
    ),
];

/// Losses outside the switches, W.
fn others(cycle: &Cycle) -> Sheet {
    let row = |o: &(String, f64)| vec![o.0.as_str().into(), (o.1 / cycle.period).into()];
    Sheet {
        heads: vec![Head::text("piece"), Head::number("loss", "loss", "W")],
        rows: cycle.account.others.iter().filter(|o| o.1 != 0.0).map(row).collect(),
    }
}

fn ripple(cycle: &Cycle) -> Sheet {
    let heads = vec![
        Head::text("die"),
        Head::number("power", "P", "W"),
        Head::number("mean", "mean", "degC"),
        Head::number("least", "least", "degC"),
        Head::number("largest", "largest", "degC"),
        Head::number("ripple", "ripple", "K"),
        Head::number("coupling_error", "\u{b1}", "K"),
    ];
    let row = |r: &joulestep_models::arrangement::cycle::Ripple| {
        vec![
            r.name.as_str().into(),
            r.power.into(),
            r.mean.into(),
            r.extremes.0.into(),
            r.extremes.1.into(),
            (r.extremes.1 - r.extremes.0).into(),
            Some(r.coupling_error).into(),
        ]
    };
    Sheet { heads, rows: cycle.ripple.iter().map(row).collect() }
}

#[derive(Serialize)]
struct Told {
    period: f64,
    closing_error: f64,
    periods_run: u32,
    distance: Option<f64>,
    rounds: u32,
    input: f64,
    gate_sources: f64,
    output: f64,
    losses: f64,
    clamp: f64,
    passive: f64,
    efficiency: f64,
    balance_residual: f64,
    switches: Sheet,
    others: Sheet,
    definitions: BTreeMap<&'static str, &'static str>,
    temperatures: Sheet,
    units: BTreeMap<&'static str, &'static str>,
}

fn told(cycle: &Cycle) -> Told {
    let a = &cycle.account;
    let watts = |joules: f64| joules / cycle.period;
    Told {
        period: cycle.period,
        closing_error: cycle.steady.closing,
        periods_run: cycle.steady.periods,
        distance: cycle.steady.distance,
        rounds: cycle.rounds,
        input: watts(a.input),
        gate_sources: watts(a.gate_sources),
        output: watts(a.output),
        losses: watts(a.losses()),
        clamp: watts(a.clamp),
        passive: watts(a.passive),
        efficiency: a.efficiency(),
        balance_residual: a.residual,
        switches: losses(cycle),
        others: others(cycle),
        definitions: DEFINITIONS.into(),
        temperatures: ripple(cycle),
        units: [("period", "s"), ("powers", "W"), ("temperatures", "degC")].into(),
    }
}

fn text(cycle: &Cycle, kind: &str) -> String {
    let a = &cycle.account;
    let watts = |joules: f64| people(joules / cycle.period, "W");
    let mut out = format!("Periodic steady state of {kind}: period {}\n", people(cycle.period, "s"));
    let _ = writeln!(
        out,
        "closing error {:.1e} after {} periods{}, {} round{} with the temperatures",
        cycle.steady.closing,
        cycle.steady.periods,
        cycle.steady.distance.map_or(String::new(), |d| format!(", estimated distance {d:.0e}")),
        cycle.rounds,
        if cycle.rounds == 1 { "" } else { "s" }
    );
    let sheet = losses(cycle);
    let names: Vec<&str> = sheet.heads.iter().map(|h| h.name.as_str()).collect();
    let _ = write!(out, "\nLosses of the switches, mean over the period\n{}", sheet.text(&names));
    let sheet = others(cycle);
    if !sheet.rows.is_empty() {
        let _ = write!(out, "\nOther losses\n{}", sheet.text(&["piece", "loss"]));
    }
    let _ = writeln!(
        out,
        "\ninput {}, gate drives {}, output {}, losses {} (clamp {}, other than switches {})",
        watts(a.input),
        watts(a.gate_sources),
        watts(a.output),
        watts(a.losses()),
        watts(a.clamp),
        watts(a.passive)
    );
    let _ = writeln!(out, "efficiency {:.4} %", 100.0 * a.efficiency());
    let _ = writeln!(out, "input - output - losses - stored: {:.1e} of the input", a.residual);
    // Written so that a residual that is not a number is told too.
    let closes = a.residual.abs() <= CLOSES;
    if !closes {
        out.push_str("THE ACCOUNT DOES NOT CLOSE: do not trust these losses\n");
    }
    let sheet = ripple(cycle);
    if !sheet.rows.is_empty() {
        let names: Vec<&str> = sheet.heads.iter().map(|h| h.name.as_str()).collect();
        let _ = write!(out, "\nTemperatures over the period\n{}", sheet.text(&names));
    }
    out.push_str("\nDefinitions\n");
    for (word, meaning) in DEFINITIONS {
        filled(&format!("{word}: {meaning}"), 100, &mut out);
    }
    out
}

/// Finds the periodic steady state.
///
/// # Errors
/// When a stream cannot be written.
pub fn cycle(args: &CycleArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let path: &Path = &args.scenario;
    let scenario = match read(path, &open) {
        Ok(scenario) => scenario,
        Err(trouble) => return refuse(&trouble, path, args.json, streams),
    };
    let ready = match build(&scenario) {
        Ok(ready) => ready,
        Err(refusal) => return refuse(&Trouble::Refused(refusal), path, args.json, streams),
    };
    let Some(spec) = &scenario.arrangement else {
        let why = format!("{}: no [arrangement], whose control would say its period", path.display());
        return asked::refused(&(why, BAD_INPUT), args.json, streams);
    };
    let closing = match asked::quantity("--closing", &args.closing, "1", Lies::Positive) {
        Ok(closing) => closing,
        Err(why) => return asked::refused(&why, args.json, streams),
    };
    if let Err(why) = asked::is_new(args.out.as_deref(), args.force) {
        return asked::refused(&why, args.json, streams);
    }
    let effort = Effort { closing, most: args.periods, ..Effort::default() };
    match solve(&ready.laid, ready.setup, effort) {
        Ok(cycle) => {
            let file = || study::study(&cycle, &scenario, spec.arrangement.kind, &streams.command);
            if let Err(why) = asked::file(args.out.as_deref(), file) {
                return asked::refused(&why, args.json, streams);
            }
            match args.json {
                true => streams.json(&told(&cycle))?,
                false => write!(streams.out, "{}", text(&cycle, spec.arrangement.kind))?,
            }
        }
        Err(why) => {
            let code = if matches!(why, Why::NotPeriodic) { BAD_INPUT } else { NUMERICAL };
            return asked::refused(&(format!("{}: {why}", path.display()), code), args.json, streams);
        }
    }
    Ok(DONE)
}
