//! The tables and the picture of a dead-time study.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use joulestep_engine::units::people;
use joulestep_models::arrangement::dead_time::Point;
use serde::Serialize;

use super::study::at_end;
use super::{Best, Found};
use crate::diagnostic::filled;
use crate::judge::Uncertainty;
use crate::plot::{Axis, Chart, Curve, Figure, Panel};
use crate::sheet::{Cell, Head, Sheet};

type Column = (&'static str, &'static str, &'static str, fn(&Point) -> f64);

const ASKED: &[Column] = &[("current", "I", "A", |p| p.current), ("dead_time", "t_d", "s", |p| p.dead_time)];

/// What is computed at each point.
pub(super) const NUMBERS: &[Column] = &[
    ("diode_energy", "E_diode", "J", |p| p.diode),
    ("turn_on_energy", "E_on", "J", |p| p.turn_on),
    ("capacitive_energy", "E_cap", "J", |p| p.capacitive),
    ("turn_off_energy", "E_off", "J", |p| p.turn_off),
    ("recovery_energy", "E_rr", "J", |p| p.recovery),
    ("conduction_energy", "E_cond", "J", |p| p.conduction),
    ("losses", "E_all", "J", |p| p.losses),
    ("efficiency", "eta", "1", |p| p.efficiency),
    ("node_voltage", "v_lower(on)", "V", |p| p.turned_on_at.0),
    ("upper_voltage", "v_upper(on)", "V", |p| p.turned_on_at.1),
    ("commutation_charge", "Q", "C", |p| p.commutation.0),
    ("excess_charge", "Q-Q_oss", "C", |p| p.commutation.1),
    ("balance_residual", "balance", "1", |p| p.residual),
];

pub(super) const DEFINITIONS: &[(&str, &str)] = &[
    ("E", "energies of one switching period in the periodic steady state, both switches together"),
    ("E_diode", "gate off and reverse conducting: the integral diode in the dead time"),
    (
        "E_on",
        "from the gate's edge until the voltage over the switch is below 5 % of the supply's, less E_cap",
    ),
    (
        "E_cap",
        "the part of that which charges account for, ∫ v dQ over the switch: its own output charge and snubber given up, the other's taken through it",
    ),
    ("E_off", "from the gate's edge until the other switch turns on, while the voltage is not reversed"),
    ("E_rr", "in the switch whose partner has turned on: recovery, charging and leakage"),
    (
        "E_all",
        "everything that the ledger calls dissipated outside the load: gate drives, snubbers and leads too",
    ),
    (
        "V_on",
        "voltage over a switch when its gate's edge begins: hard from 90 % of the supply's, soft up to 5 %",
    ),
    (
        "Q, Q-Q_oss",
        "charge into the lower switch when the upper turns on, from the zero of its current; what exceeds its output charge is recovery, or shoots through where the dead time is too short",
    ),
    (
        "±",
        "how far a number may be wrong for the length of the steps, by coarser runs; of the dead time of least loss: how \
         far the least may lie between those of the list, as far as the errors of the losses tell them apart",
    ),
    ("estimate", "2·(Q_oss + C_snubber·V)/I: charge balance without the time that a gate takes to turn off"),
];

pub(super) fn sheet(found: &Found) -> Sheet {
    let numbers = || ASKED.iter().chain(NUMBERS);
    let mut heads: Vec<Head> = numbers().map(|c| Head::number(c.0, c.1, c.2)).collect();
    heads.push(Head::text("lower_turn_on"));
    heads.push(Head::text("upper_turn_on"));
    let bare = found.errors.iter().flatten().all(|e| *e == Uncertainty::Bare);
    if !bare {
        let error = |c: &Column| Head::number(&format!("{}_error", c.0), &format!("± {}", c.1), c.2);
        heads.extend(NUMBERS.iter().map(error));
        heads.push(Head::text("error_kind"));
    }
    let row = |(p, errors): (&Point, &Vec<Uncertainty>)| {
        let mut row: Vec<Cell> = numbers().map(|c| (c.3)(p).into()).collect();
        row.push(p.kinds.0.word().into());
        row.push(p.kinds.1.word().into());
        if !bare {
            row.extend(errors.iter().map(|e| Cell::from(e.plus_minus())));
            // The balance is itself an error, and shrinks as it likes.
            row.push(kind(&errors[..errors.len() - 1]).into());
        }
        row
    };
    Sheet { heads, rows: found.points.iter().zip(&found.errors).map(row).collect() }
}

/// The worst kind of some errors, as files keep it.
fn kind(errors: &[Uncertainty]) -> &'static str {
    let word = |w: &str| errors.iter().find(|e| e.word() == w).map(Uncertainty::word);
    ["not estimated", "not converging", "within"].into_iter().find_map(word).unwrap_or("bare")
}

pub(super) fn best_sheet(found: &Found) -> Sheet {
    let numbers = [
        ("current", "I", "A"),
        ("least_loss_dead_time", "t_d of least loss", "s"),
        ("least_loss_dead_time_error", "±", "s"),
        ("least_loss", "E_all there", "J"),
        ("least_loss_error", "±", "J"),
        ("not_soft_until", "not soft until", "s"),
        ("soft_from", "soft from", "s"),
        ("estimate", "estimate", "s"),
    ];
    let row = |b: &Best| {
        vec![
            b.current.into(),
            b.least.0.into(),
            b.time_error.plus_minus().into(),
            b.least.1.into(),
            b.loss_error.plus_minus().into(),
            b.hard_until.into(),
            b.soft_from.into(),
            b.estimate.into(),
            if at_end(found, b).is_empty() { "no" } else { "yes" }.into(),
        ]
    };
    let mut heads: Vec<Head> = numbers.iter().map(|h| Head::number(h.0, h.1, h.2)).collect();
    heads.push(Head::text("at_edge_of_list"));
    Sheet { heads, rows: found.best().iter().map(row).collect() }
}

#[derive(Serialize)]
pub(super) struct Told<'a> {
    subject: &'a str,
    voltage: f64,
    frequency: f64,
    output_charge: Option<f64>,
    rounds: Option<i32>,
    definitions: BTreeMap<&'a str, &'a str>,
    units: BTreeMap<String, String>,
    rows: &'a Sheet,
    best_units: BTreeMap<String, String>,
    best: Sheet,
}

pub(super) fn json<'a>(found: &'a Found, sheet: &'a Sheet) -> Told<'a> {
    let best = best_sheet(found);
    Told {
        subject: &found.what,
        voltage: found.voltage,
        frequency: found.frequency,
        output_charge: found.charge,
        rounds: found.rounds,
        definitions: DEFINITIONS.iter().copied().collect(),
        units: sheet.units(),
        rows: sheet,
        best_units: best.units(),
        best,
    }
}

/// The columns of errors that the text shows; the others stand in table and JSON.
pub(super) const ERRORS: &[&str] = &[
    "current",
    "dead_time",
    "diode_energy_error",
    "turn_on_energy_error",
    "turn_off_energy_error",
    "conduction_energy_error",
    "losses_error",
    "node_voltage_error",
    "error_kind",
];

pub(super) fn text(found: &Found, sheet: &Sheet) -> String {
    let mut out = format!(
        "Dead time: {}, {} at {}\n",
        crate::diagnostic::printable(&found.what),
        people(found.voltage, "V"),
        people(found.frequency, "Hz")
    );
    if let Some(q) = found.charge {
        let _ = writeln!(out, "Q_oss of the lower switch at the supply's voltage: {}", people(q, "C"));
    }
    if let Some(n) = found.rounds {
        let _ = writeln!(out, "numbers after {n} rounds of finer steps (at least)");
    }
    let groups: [(&str, &[&str]); 3] = [
        (
            "Energies of a period",
            &[
                "current",
                "dead_time",
                "diode_energy",
                "turn_on_energy",
                "capacitive_energy",
                "turn_off_energy",
                "recovery_energy",
                "conduction_energy",
                "losses",
                "efficiency",
            ],
        ),
        (
            "Transitions",
            &[
                "current",
                "dead_time",
                "node_voltage",
                "lower_turn_on",
                "upper_voltage",
                "upper_turn_on",
                "commutation_charge",
                "excess_charge",
                "balance_residual",
            ],
        ),
        ("Errors of the energies, and of the voltages at turn-on", ERRORS),
    ];
    for (title, columns) in groups {
        // Without an estimate there are none.
        if !columns.iter().all(|c| sheet.heads.iter().any(|h| h.name == *c)) {
            continue;
        }
        let _ = writeln!(out, "\n{title}");
        out.push_str(&sheet.text(columns));
    }
    out.push_str("\nBest of the list, and where the lower switch turns on softly\n");
    let best = best_sheet(found);
    let names: Vec<&str> = best.heads.iter().map(|h| h.name.as_str()).collect();
    out.push_str(&best.text(&names));
    for b in found.best() {
        let edge = at_end(found, &b);
        if !edge.is_empty() {
            let [current, least] = [people(b.current, "A"), people(b.least.0, "s")];
            filled(&format!("At {current} the least loss is at {least}{edge}."), 100, &mut out);
        }
    }
    out.push_str("\nDefinitions\n");
    for (symbol, words) in DEFINITIONS {
        filled(&format!("{symbol}: {words}"), 100, &mut out);
    }
    out
}

pub(super) fn picture(found: &Found) -> Figure {
    let panel = |title: &str, y: &str, unit: &str, value: fn(&Point) -> f64| {
        let curves = found.points.chunk_by(|a, b| a.current == b.current).map(|series| {
            let mut points: Vec<(f64, f64)> = series.iter().map(|p| (p.dead_time, value(p))).collect();
            points.sort_by(|a, b| a.0.total_cmp(&b.0));
            Curve::new(&people(series[0].current, "A"), points)
        });
        Panel::Chart(Chart {
            title: title.into(),
            x: Axis::linear("dead time", "s"),
            y: Axis::linear(y, unit),
            curves: curves.collect(),
            ..Chart::default()
        })
    };
    // Beside losses of large currents, where the least lies would not show.
    let above = found.points.chunk_by(|a, b| a.current == b.current).map(|series| {
        let least = series.iter().map(|p| p.losses).fold(f64::INFINITY, f64::min);
        let mut points: Vec<(f64, f64)> = series.iter().map(|p| (p.dead_time, p.losses - least)).collect();
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        Curve::new(&people(series[0].current, "A"), points)
    });
    let panels = vec![
        panel("All losses of a period", "energy", "J", |p| p.losses),
        Panel::Chart(Chart {
            title: "Losses above the least of each current".into(),
            x: Axis::linear("dead time", "s"),
            y: Axis::linear("energy", "J"),
            curves: above.collect(),
            ..Chart::default()
        }),
        panel("Integral diodes", "energy", "J", |p| p.diode),
        panel("Node voltage when the lower switch turns on", "voltage", "V", |p| p.turned_on_at.0),
    ];
    let title = format!("{}: dead time at {}", found.what, people(found.voltage, "V"));
    Figure::new(&title, panels).noted(DEFINITIONS.iter().map(|(s, w)| format!("{s}: {w}.")).collect())
}
