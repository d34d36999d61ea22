//! The tables and the picture of a dead-time study.

use joulestep_models::arrangement::dead_time::Point;
use joulestep_models::arrangement::losses::Phases;

use super::Series;
use crate::output::answer::StudyTable;
use crate::output::plot::{Axis, Chart, Curve, Figure, Panel};
use crate::output::table::Rows;
use crate::study::cycle::tables::{COLUMNS, phases};

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
    ("node_voltage", "v_lower(on)", "V", |p| p.turned_on_at().0),
    ("upper_voltage", "v_upper(on)", "V", |p| p.turned_on_at().1),
    ("lower_swing", "t_lower(swing)", "s", |p| p.turn_ons[0].map_or(f64::NAN, |t| t.soft_from)),
    ("lower_reversal", "t_lower(rev)", "s", |p| p.turn_ons[0].map_or(f64::NAN, |t| t.reverses)),
    ("upper_swing", "t_upper(swing)", "s", |p| p.turn_ons[1].map_or(f64::NAN, |t| t.soft_from)),
    ("upper_reversal", "t_upper(rev)", "s", |p| p.turn_ons[1].map_or(f64::NAN, |t| t.reverses)),
    ("commutation_charge", "Q", "C", |p| p.commutation.0),
    ("excess_charge", "Q-Q_oss", "C", |p| p.commutation.1),
    ("balance_residual", "balance", "1", |p| p.residual),
];

pub(super) const DEFINITIONS: &[(&str, &str)] = &[
    ("E", "energies of one switching period in the periodic steady state, both switches together"),
    ("E_diode", "gate off and reverse conducting: the integral diode in the dead time"),
    (
        "E_on",
        "from the gate's edge until the voltage over the switch is below 5 % of the largest it blocks, less E_cap",
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
        "voltage over a switch when its gate's edge begins: hard from 90 % of what both switches block, soft up to 5 %",
    ),
    (
        "t(swing), t(rev)",
        "from the other gate's turn-off edge until the voltage over a switch is soft, and until the current reverses, by the straight line of its course where the dead time ends before: the bounds of its soft turn-on",
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
        "(Q_oss of both + C·V of the snubbers)/|I|: charge balance without the time that a gate takes to turn off",
    ),
];

/// All points.
fn points(found: &[Series]) -> Vec<&Point> {
    found.iter().flat_map(|s| &s.points).collect()
}

const ASKED: [Column; 2] = [("current", "I", "A", |p| p.current), ("dead_time", "t_d", "s", |p| p.dead_time)];

pub(super) fn table(found: &[Series], columns: &[&str], name: &str, title: &str, words: bool) -> StudyTable {
    let points = points(found);
    let numbers = ASKED.iter().chain(NUMBERS.iter().filter(|c| columns.contains(&c.0)));
    let mut rows = numbers.fold(Rows::of(&points), |rows, c| rows.number(c.0, c.1, c.2, |p| (c.3)(p)));
    if words {
        rows =
            rows.text("lower_turn_on", |p| p.kinds().0.word()).text("upper_turn_on", |p| p.kinds().1.word());
    }
    let data = rows.table();
    // The balance is itself an error, and shrinks as it likes.
    let estimated: Vec<&str> = columns.iter().copied().filter(|c| *c != "balance_residual").collect();
    let unrest = |row: usize, _: &str, value: f64| points[row].unrest * value.abs();
    StudyTable::new(name, title, 2, data).estimated(&estimated).further(unrest)
}

/// Energies of every switch of the circuit by what it is doing.
pub(super) fn devices(found: &[Series]) -> StudyTable {
    let all: Vec<(&Point, &Phases)> =
        points(found).into_iter().flat_map(|p| p.switches.iter().map(move |s| (p, s))).collect();
    let rows = ASKED.iter().fold(Rows::of(&all), |rows, c| rows.number(c.0, c.1, c.2, |r| (c.3)(r.0)));
    let rows = rows.text("switch", |r| r.1.name.clone());
    let each = COLUMNS.iter().enumerate();
    let data = each.fold(rows, |rows, (k, c)| rows.number(c.0, c.1, "J", |r| phases(r.1)[k])).table();
    let columns: Vec<&str> = COLUMNS.iter().map(|c| c.0).collect();
    let further = |row: usize, column: &str, value: f64| {
        let (point, switch) = all[row];
        let phase = columns.iter().position(|c| *c == column).and_then(|k| switch.parted.get(k));
        point.unrest * value.abs() + phase.copied().unwrap_or(0.0)
    };
    StudyTable::new("devices", "Energies of a period by switch", 3, data).estimated(&columns).further(further)
}

pub(super) fn picture(what: &str, found: &[Series]) -> Figure {
    let panel = |title: &str, y: &str, unit: &str, value: &dyn Fn(&Series, &Point) -> f64| {
        let curves = found.iter().map(|series| {
            let points = series.points.iter().map(|p| (p.dead_time, value(series, p)));
            Curve::new(&series.name, points.collect())
        });
        Panel::Chart(Chart {
            title: title.into(),
            x: Axis::linear("dead time", "s"),
            y: Axis::linear(y, unit),
            curves: curves.collect(),
            ..Chart::default()
        })
    };
    let least = |s: &Series| s.points.iter().map(|p| p.losses).fold(f64::INFINITY, f64::min);
    let mut panels = vec![panel("All losses of a period", "energy", "J", &|_, p| p.losses)];
    if found.len() > 1 {
        // Beside losses of large currents, where the least lies would not show.
        let above = |s: &Series, p: &Point| p.losses - least(s);
        panels.push(panel("Losses above the least of each current", "energy", "J", &above));
    }
    panels.extend([
        panel("Integral diodes", "energy", "J", &|_, p| p.diode),
        panel("Voltage at the soft turn-on: over the switch, at its gate's edge", "voltage", "V", &|_, p| {
            p.soft.map_or(f64::NAN, |t| t.voltage)
        }),
    ]);
    Figure::new(&format!("{what}: dead time"), panels)
        .noted(DEFINITIONS.iter().map(|(s, w)| format!("{s}: {w}.")).collect())
}
