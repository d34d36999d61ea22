//! What is reported of a periodic steady state: text for people, and JSON.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use joulestep_engine::units::{people, people_digits};
use joulestep_models::arrangement::cycle::Cycle;
use serde::Serialize;

use super::judge::{Known, Tables};
use super::tables::DEFINITIONS;
use crate::account::{json, text};
use crate::diagnostic::filled;
use crate::judge::Uncertainty;
use crate::table::Table;

/// Relative residual up to which the account counts as closed.
pub(super) const CLOSES: f64 = 1e-4;
/// Columns of the text.
const WIDTH: usize = 100;

#[derive(Serialize)]
pub(super) struct Document<'a> {
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
    efficiency_error: &'a Uncertainty,
    balance_residual: f64,
    balance: &'a Table,
    switches: &'a Table,
    others: &'a Table,
    definitions: BTreeMap<&'static str, &'static str>,
    temperatures: &'a Table,
    junctions: &'a Table,
    steps: u64,
    iterations: u64,
    #[serde(flatten)]
    judged: json::JudgedDocument<'a>,
    units: BTreeMap<&'static str, &'static str>,
}

pub(super) fn json(known: &Known) -> Document<'_> {
    let Known { cycle, account, tables, efficiency, .. } = known;
    let a = &cycle.account;
    let watts = |joules: f64| joules / cycle.period;
    Document {
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
        efficiency_error: efficiency,
        balance_residual: a.residual,
        balance: &tables.balance,
        switches: &tables.losses,
        others: &tables.others,
        definitions: DEFINITIONS.into(),
        temperatures: &tables.ripple,
        junctions: &tables.held,
        steps: cycle.counters.steps,
        iterations: cycle.counters.iterations,
        judged: json::judged(account),
        units: [("period", "s"), ("powers", "W"), ("temperatures", "degC")].into(),
    }
}

/// The efficiency with its error.
pub(super) fn efficiency(cycle: &Cycle, error: &Uncertainty) -> String {
    let words =
        error.plus_minus().map_or(String::new(), |x| format!(" ± {}", people_digits(100.0 * x, "%", 2)));
    format!("{:.4} %{words}", 100.0 * cycle.account.efficiency())
}

fn columns(data: &Table) -> Vec<&str> {
    data.heads
        .iter()
        .map(|h| h.name.as_str())
        .filter(|n| !n.ends_with("_error") || *n == "coupling_error")
        .collect()
}

pub(super) fn text(known: &Known, kind: &str) -> String {
    let Known { cycle, account, tables, efficiency: error, .. } = known;
    let a = &cycle.account;
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
    let Tables { losses, others, balance, ripple, held } = tables;
    let names = columns(losses);
    let _ = write!(
        out,
        "\nLosses of the switches, mean over the period\n{}",
        losses.blocks(&["switch"], &names[1..], WIDTH)
    );
    for (title, data) in [("Other losses", others), ("Power balance, mean over the period", balance)] {
        if !data.rows.is_empty() {
            let _ = write!(out, "\n{title}\n{}", data.text(&columns(data)));
        }
    }
    let _ = writeln!(out, "efficiency {}", efficiency(cycle, error));
    let _ = writeln!(out, "input - output - losses - stored: {:.1e} of the input", a.residual);
    // Written so that a residual that is not a number is reported too.
    let closes = a.residual.abs() <= CLOSES;
    if !closes {
        out.push_str("THE ACCOUNT DOES NOT CLOSE: do not trust these losses\n");
    }
    if !ripple.rows.is_empty() {
        let names = columns(ripple);
        let _ =
            write!(out, "\nTemperatures over the period\n{}", ripple.blocks(&["die"], &names[1..], WIDTH));
    }
    if !held.rows.is_empty() {
        let _ =
            write!(out, "\nJunction temperatures that the laws were held at\n{}", held.text(&columns(held)));
    }
    out.push_str("\nDefinitions\n");
    for (word, meaning) in DEFINITIONS {
        filled(&format!("{word}: {meaning}"), WIDTH, &mut out);
    }
    let errors: Vec<&Uncertainty> = tables.errors().collect();
    out.push_str(&text::judged(account, &errors));
    out
}
