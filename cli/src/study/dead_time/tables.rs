//! The tables and the picture of a dead-time study.

use joulestep_engine::units::people;
use joulestep_models::arrangement::dead_time::Point;

use super::Found;
use crate::output::answer::StudyTable;
use crate::output::plot::{Axis, Chart, Curve, Figure, Panel};
use crate::output::table::Rows;

pub(super) type Column = (&'static str, &'static str, &'static str, fn(&Point) -> f64);

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
        "voltage(on)",
        "voltage over a switch when its gate's edge begins: hard from 90 % of the supply's, soft up to 5 %",
    ),
    (
        "Q, Q-Q_oss",
        "charge into the switch whose diode carried the load's current when its partner turns on, from the zero of its current; what exceeds its output charge is recovery, or shoots through where the dead time is too short",
    ),
    (
        "v_soft(on)",
        "that of the switch that can turn on softly: the lower for a current out of the leg, the upper for one into it, of both the larger where the current reverses",
    ),
    (
        "estimate",
        "(Q_oss of both + 2·C_snubber·V)/|I|: charge balance without the time that a gate takes to turn off",
    ),
];

pub(super) fn table(found: &Found, columns: &[&str], name: &str, title: &str, words: bool) -> StudyTable {
    const ASKED: [Column; 2] =
        [("current", "I", "A", |p| p.current), ("dead_time", "t_d", "s", |p| p.dead_time)];
    let numbers = ASKED.iter().chain(NUMBERS.iter().filter(|c| columns.contains(&c.0)));
    let mut rows = numbers.fold(Rows::of(&found.points), |rows, c| rows.number(c.0, c.1, c.2, |p| (c.3)(p)));
    if words {
        rows = rows.text("lower_turn_on", |p| p.kinds.0.word()).text("upper_turn_on", |p| p.kinds.1.word());
    }
    let data = rows.table();
    // The balance is itself an error, and shrinks as it likes.
    let estimated: Vec<&str> = columns.iter().copied().filter(|c| *c != "balance_residual").collect();
    StudyTable::new(name, title, 2, data).estimated(&estimated)
}

pub(super) fn picture(found: &Found) -> Figure {
    let panel = |title: &str, y: &str, unit: &str, value: fn(&Point) -> f64| {
        let curves = found.series().map(|series| {
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
    let above = found.series().map(|series| {
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
        panel("Voltage at the soft turn-on: over the switch, at its gate's edge", "voltage", "V", |p| {
            p.soft.0
        }),
    ];
    let title = format!("{}: dead time at {}", found.what, people(found.voltage, "V"));
    Figure::new(&title, panels).noted(DEFINITIONS.iter().map(|(s, w)| format!("{s}: {w}.")).collect())
}
