//! A periodic steady state as a result file keeps it.

use joulestep_engine::units::people;
use joulestep_models::arrangement::cycle::Cycle;

use super::judge::Known;
use super::summary::{CLOSES, efficiency};
use super::tables::{COLUMNS, losses};
use crate::account::study as judged;
use crate::answer::{Study, StudyFigure, StudyTable};
use crate::plot::{Axis, Bars, Figure, Panel, Series};
use crate::scenario::resolved::Scenario;
use crate::table::Cell;

/// Losses of each switch, sorted by what it is doing.
fn picture(cycle: &Cycle) -> Figure {
    let data = losses(cycle);
    let series = data.rows.iter().map(|row| Series {
        name: match &row[0] {
            Cell::Text(name) => name.clone(),
            _ => String::new(),
        },
        values: row[1..]
            .iter()
            .map(|c| match c {
                Cell::Number(x) => Some(*x),
                _ => None,
            })
            .collect(),
    });
    let bars = Bars {
        y: Axis::linear("mean power", "W"),
        groups: COLUMNS.iter().map(|c| c.1.to_string()).collect(),
        series: series.collect(),
        ..Bars::default()
    };
    Figure::new("Losses of the switches", vec![Panel::Bars(bars)])
}

fn answers(known: &Known) -> Vec<String> {
    let cycle = &known.cycle;
    let a = &cycle.account;
    let watts = |joules: f64| people(joules / cycle.period, "W");
    let mut out = vec![format!(
        "It loses {} of {}: efficiency {}.",
        watts(a.losses()),
        watts(a.input + a.gate_sources),
        efficiency(cycle, &known.efficiency)
    )];
    out.extend(judged::answers(&known.account));
    let hottest = cycle.ripple.iter().max_by(|a, b| a.extremes.1.total_cmp(&b.extremes.1));
    if let Some(r) = hottest {
        out.push(format!(
            "The hottest die is {}: {} at most, swinging by {} over a period.",
            r.name,
            people(r.extremes.1, "degC"),
            people(r.extremes.1 - r.extremes.0, "K")
        ));
    }
    // Written so that a residual that is not a number is reported too.
    let closes = a.residual.abs() <= CLOSES;
    out.push(if closes {
        format!("The account closes to {:.1e} of the input.", a.residual.abs())
    } else {
        format!("THE ACCOUNT DOES NOT CLOSE ({:.1e} of the input): do not trust these losses.", a.residual)
    });
    out
}

/// The steady state with everything behind it.
pub(super) fn study(known: &Known, scenario: &Scenario, kind: &str, command: &str) -> Study {
    let Known { cycle, account, tables: all, .. } = known;
    let named = if scenario.title.is_empty() { kind } else { &scenario.title };
    let mut tables = vec![
        StudyTable::new("losses", "Losses of the switches, mean over the period", 1, all.losses.clone()),
        StudyTable::new("others", "Other losses, mean over the period", 1, all.others.clone()),
        StudyTable::new("balance", "Power balance, mean over the period", 1, all.balance.clone()),
    ];
    if !all.ripple.rows.is_empty() {
        tables.push(StudyTable::new("temperatures", "Temperatures over the period", 1, all.ripple.clone()));
    }
    tables.push(StudyTable::new(
        "junctions",
        "Junction temperatures that the laws were held at",
        1,
        all.held.clone(),
    ));
    tables.extend(judged::tables(account));
    let definitions = [
        ("Conduction", "energy of a switch outside its transitions, gate on or off"),
        (
            "Turn-on, turn-off",
            "energy from the gate's edge until the transition is over, in the switch that the edge drives",
        ),
        ("Diode", "gate off and reverse conducting: the integral diode in the dead time"),
        ("Recovery", "in the switch whose partner has turned on: recovery, charging and leakage"),
        ("Efficiency", "output over input and gate energy of a period"),
        ("Ripple", "difference of largest and least virtual junction temperature of a die over the period"),
        ("Closing error", "change of the state over a period relative to the largest voltage or current"),
    ];
    Study {
        kind: "cycle".into(),
        title: format!(
            "{named}: what does it lose in its periodic steady state, and how hot do the dies get?"
        ),
        command: command.into(),
        inputs: scenario.sources.full_text(),
        verdict: Some(account.verdict()),
        statements: answers(known),
        conditions: vec![
            format!("Period {}; arrangement: {kind}.", people(cycle.period, "s")),
            format!(
                "The state that a period maps onto itself, found by shooting: closing error {:.1e} after {} periods.",
                cycle.steady.closing, cycle.steady.periods
            ),
            format!(
                "Device laws are held at the mean temperatures of the dies, brought to agree with the losses in {} round{}.",
                cycle.rounds,
                if cycle.rounds == 1 { "" } else { "s" }
            ),
        ],
        definitions: definitions.map(|d| (d.0.into(), d.1.into())).to_vec(),
        tables,
        figures: vec![StudyFigure::new(
            "Losses of each switch by what it is doing, mean over the period.",
            picture(cycle),
        )],
        ..Study::default()
    }
}
