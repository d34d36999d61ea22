//! Tables of a periodic steady state.

use joulestep_models::arrangement::cycle::Cycle;
use joulestep_models::arrangement::losses::Phases;

use crate::input::scenario::build::Placed;
use crate::input::scenario::resolved::Scenario;
use crate::output::table::{Rows, Table};

/// What a switch does, as [`phases`] sorts its energy: names and symbols.
pub(in crate::study) const COLUMNS: [(&str, &str); 9] = [
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

/// Energies of a switch in the order of the columns, J.
pub(in crate::study) fn phases(s: &Phases) -> [f64; 9] {
    let sum = s.own() + s.gate_drive + s.snubber;
    [s.conduction, s.turn_on, s.capacitive, s.turn_off, s.dead_time, s.recovery, s.gate_drive, s.snubber, sum]
}

/// Mean powers by switch, W.
pub(super) fn losses(cycle: &Cycle) -> Table {
    let rows = Rows::of(&cycle.account.switches).text("switch", |s| s.name.clone());
    let all = COLUMNS.iter().enumerate();
    all.fold(rows, |rows, (k, c)| rows.number(c.0, c.1, "W", |s| phases(s)[k] / cycle.period)).table()
}

/// What each of these numbers is.
pub(super) const DEFINITIONS: [(&str, &str); 15] = [
    ("efficiency", "output over input and gate energy of a period"),
    ("residual of the balance", "input - output - losses - stored, over the input"),
    ("closing error", "change of the state over a period relative to the largest voltage or current"),
    ("ripple", "difference of largest and least virtual junction temperature of a die over the period"),
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
        "from two coarser computations; with what is left of the distance to the periodic state (twice that share of a power), and of a temperature with the coupling",
    ),
    (
        "coupling",
        "of a temperature: what holding the laws of devices at the mean temperature of the period may have it wrong by",
    ),
    (
        "sum",
        "of a switch's row; all rows and the other losses sum to what the energy ledger calls dissipated",
    ),
];

/// Losses outside the switches, W.
pub(super) fn others(cycle: &Cycle) -> Table {
    Rows::of(cycle.account.others.iter().filter(|o| o.1 != 0.0))
        .text("piece", |o| o.0.clone())
        .number("loss", "loss", "W", |o| o.1 / cycle.period)
        .table()
}

/// Temperatures of the heat inputs.
pub(super) fn ripple(cycle: &Cycle) -> Table {
    Rows::of(&cycle.ripple)
        .text("die", |r| r.name.clone())
        .number("power", "P", "W", |r| r.power)
        .number("mean", "mean", "degC", |r| r.mean)
        .number("least", "least", "degC", |r| r.extremes.0)
        .number("largest", "largest", "degC", |r| r.extremes.1)
        .number("ripple", "ripple", "K", |r| r.extremes.1 - r.extremes.0)
        .number("coupling_error", "coupling", "K", |r| r.coupling_error)
        .table()
}

/// Mean powers over the period, W.
pub(super) fn balance(cycle: &Cycle) -> Table {
    let a = &cycle.account;
    let rows = [
        ("input", a.input),
        ("gate drives", a.gate_sources),
        ("output", a.output),
        ("losses", a.losses()),
        ("of which clamp", a.clamp),
        ("of which other than switches", a.passive),
        ("change of what is stored", a.stored),
    ];
    Rows::of(rows).text("what", |r| r.0).number("power", "P", "W", |r| r.1 / cycle.period).table()
}

/// The temperature that the law of each die was held at.
pub(super) fn held(cycle: &Cycle, scenario: &Scenario, placed: &[Placed]) -> Table {
    let arranged = scenario.arrangement.as_ref().and_then(|a| a.values.maybe("junction-temperature"));
    let mut rows = Vec::new();
    for place in placed {
        let own = scenario.components.iter().find(|c| c.name.name == place.name);
        let stated = own.map_or(arranged, |c| c.values.maybe("junction-temperature")).unwrap_or(25.0);
        for ((die, _), heat) in place.built.dies.iter().zip(&place.heat) {
            // Only semiconductors have a junction.
            if place.built.hottest.iter().all(|h| h.0 != *die) {
                continue;
            }
            let found = heat.and_then(|h| cycle.ripple.get(h.0 as usize));
            let (celsius, from) = match found {
                Some(r) => (r.mean, format!("found: mean of {}", r.name)),
                None => (stated, "stated: no heat path".to_string()),
            };
            let die = format!("{}.{die}", place.name);
            rows.push((die, celsius, from));
        }
    }
    Rows::of(rows)
        .text("die", |r| r.0.clone())
        .number("temperature", "T_j", "degC", |r| r.1)
        .text("from", |r| r.2.clone())
        .table()
}

/// How the state was found.
pub(super) fn work(cycle: &Cycle) -> Table {
    Rows::of([cycle])
        .number("period", "period", "s", |c| c.period)
        .number("closing_error", "closing error", "1", |c| c.steady.closing)
        .number("distance", "distance", "1", |c| c.steady.distance)
        .number("periods", "periods", "1", |c| f64::from(c.steady.periods))
        .number("rounds", "rounds", "1", |c| f64::from(c.rounds))
        .number("residual", "residual of the balance", "1", |c| c.account.residual)
        .table()
}
