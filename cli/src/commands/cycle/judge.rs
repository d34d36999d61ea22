//! A periodic steady state at a level, and what its numbers are known to err by otherwise than by coarser computations.

use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::cycle::steady::Effort;
use joulestep_engine::run::watch::{Seen, Watch};
use joulestep_models::arrangement::cycle::{Cycle, Ripple, Why, solve, solve_near};

use super::tables::{COLUMNS, balance, held, losses, others, ripple};
use crate::account::{Account, Facts, Found, Outcome};
use crate::commands::assess::{Assessed, Round};
use crate::commands::options::Refused;
use crate::exit::{BAD_INPUT, NUMERICAL};
use crate::judge::{Level, Number, Uncertainty};
use crate::scenario::build::{Placed, Ready, Reductions, build_with};
use crate::scenario::resolved::Scenario;
use crate::table::Table;

const RIPPLE: [&str; 5] = ["power", "mean", "least", "largest", "ripple"];

/// All tables of a cycle.
pub(super) struct Tables {
    pub losses: Table,
    pub others: Table,
    pub balance: Table,
    pub ripple: Table,
    pub held: Table,
}

impl Tables {
    /// All errors shown.
    pub fn errors(&self) -> impl Iterator<Item = &Uncertainty> {
        [&self.losses, &self.others, &self.balance, &self.ripple].into_iter().flat_map(Table::errors)
    }
}

/// A cycle with the errors of its numbers, judged.
pub(super) struct Known {
    pub cycle: Cycle,
    pub account: Account,
    pub tables: Tables,
    /// Error of the efficiency.
    pub efficiency: Uncertainty,
}

/// What a round keeps.
pub(super) struct Solved {
    cycle: Cycle,
    placed: Vec<Placed>,
}

fn loss_columns() -> Vec<&'static str> {
    COLUMNS.iter().map(|c| c.0).collect()
}

/// Errors of temperatures of an input that coarser computations do not show, K: its coupling, and its rise above
/// `start` as the power errs by what is left of the distance to the periodic state.
fn of_temperature(cycle: &Cycle, r: &Ripple, start: f64) -> f64 {
    r.coupling_error + cycle.unrest() * (r.mean - start).abs()
}

/// Numbers of the tables, with errors that are known otherwise.
fn numbers(cycle: &Cycle, start: &[f64]) -> Vec<Number> {
    let unrest = cycle.unrest();
    let in_place = |place: &str, of: fn(&Ripple) -> f64| -> f64 {
        let mine = cycle.ripple.iter().filter(|r| r.name.starts_with(&format!("{place}-")));
        mine.map(of).sum()
    };
    let mut all = Vec::new();
    let switches = losses(cycle).numbers("losses", &loss_columns());
    for (switch, mut numbers) in
        cycle.account.switches.iter().zip(switches.chunks(COLUMNS.len()).map(<[_]>::to_vec))
    {
        let watts = in_place(&switch.name, |r| r.power);
        let wrong = in_place(&switch.name, |r| r.power_error);
        let share = if watts > 0.0 { wrong / watts } else { 0.0 };
        // The first columns are the phases.
        let parted = switch.parted.iter().map(|joules| joules / cycle.period).chain(std::iter::repeat(0.0));
        for (n, parted) in numbers.iter_mut().zip(parted) {
            n.further = (unrest + share) * n.value.abs() + parted;
        }
        all.extend(numbers);
    }
    let wrong: f64 = cycle.ripple.iter().map(|r| r.power_error).sum();
    let mut rest = others(cycle).numbers("others", &["loss"]);
    rest.extend(balance(cycle).numbers("balance", &["power"]));
    for n in &mut rest {
        // In a state that repeats nothing changes.
        let rest = if n.name.starts_with("balance.change") { 1.0 } else { unrest };
        n.further = rest * n.value.abs() + if n.name.starts_with("balance.losses") { wrong } else { 0.0 };
    }
    all.extend(rest);
    let temperatures = ripple(cycle).numbers("temperatures", &RIPPLE);
    for ((r, start), numbers) in cycle.ripple.iter().zip(start).zip(temperatures.chunks(RIPPLE.len())) {
        let share = if r.power > 0.0 { r.power_error / r.power } else { 0.0 } + unrest;
        let kelvin = of_temperature(cycle, r, *start);
        all.extend(numbers.iter().zip(RIPPLE).map(|(n, column)| {
            let further = match column {
                "power" | "ripple" => share * n.value.abs(),
                _ => kelvin,
            };
            Number { further, ..n.clone() }
        }));
    }
    let efficiency = cycle.account.efficiency();
    let lost = cycle.account.losses() / cycle.period * unrest + wrong;
    let further = lost / (cycle.account.input / cycle.period).abs();
    all.push(Number { further, ..Number::plain("efficiency", efficiency) });
    all
}

/// What was seen of a watch, and the error of it that is known otherwise: temperatures as they ripple.
fn seen(cycle: &Cycle, watch: &Watch, seen: &Seen, start: &[f64]) -> (Seen, f64) {
    if let Probe::Temperature(input) = &watch.probe {
        let Some(r) = cycle.ripple.get(input.0 as usize) else { return (*seen, 0.0) };
        let (least, largest) = r.extremes;
        let outside = least < watch.lower || largest > watch.upper;
        let known = Seen { least, largest, since: outside.then_some(0.0), ..Seen::NOTHING };
        return (known, of_temperature(cycle, r, start[input.0 as usize]));
    }
    let size = seen.least.abs().max(seen.largest.abs());
    (*seen, 0.5 * cycle.unrest() * size)
}

/// Computes at a level; with one that is `near`, from there.
pub(super) fn round(
    scenario: &Scenario,
    reductions: &Reductions,
    (effort, near): (Effort, Option<&Solved>),
    level: Level,
) -> Result<Round<Solved>, Refused> {
    let ready = build_with(scenario, reductions).map_err(|refusal| {
        let lines: Vec<String> = refusal.diagnostics.iter().map(|d| d.line()).collect();
        (lines.join("; "), BAD_INPUT)
    })?;
    let Ready { mut setup, placed, layout, judging, signals, metered, .. } = ready;
    level.apply(&mut setup);
    let watches = setup.watches.clone();
    let start = setup.thermal.as_ref().map(|t| t.temperatures().to_vec()).unwrap_or_default();
    let solved = match near {
        Some(near) => solve_near(&layout, setup, &near.cycle.guess()),
        None => solve(&layout, setup, effort),
    };
    let cycle = solved.map_err(|why| {
        let code = if matches!(why, Why::NotPeriodic) { BAD_INPUT } else { NUMERICAL };
        (why.to_string(), code)
    })?;
    let (title, end, method) = (scenario.title.clone(), cycle.period, cycle.method);
    let facts = Facts { title, end, method, placed, judging, signals, metered };
    let all = watches.iter().zip(&cycle.seen).map(|(w, s)| (w, seen(&cycle, w, s, &start)));
    let all: Vec<(&Watch, (Seen, f64))> = all.collect();
    let found = Found {
        seen: all.iter().map(|(_, (seen, _))| *seen).collect(),
        watches: all.iter().map(|(w, (_, further))| (*w, *further)).collect(),
        entries: &cycle.ledger.entries,
        residual: cycle.ledger.residual,
        relative: cycle.ledger.relative(),
        repeats: Some(cycle.period),
        counters: cycle.counters,
        reached: cycle.period,
    };
    let account = Account::of_found(&found, &facts, Vec::new(), Outcome::Done);
    let numbers = numbers(&cycle, &start);
    Ok(Round { account, numbers, more: Solved { cycle, placed: facts.placed } })
}

/// The tables with their errors.
pub(super) fn known(scenario: &Scenario, assessed: Assessed<Solved>) -> Known {
    let Assessed { account, more: Solved { cycle, placed }, errors } = assessed;
    let mut errors = errors.iter();
    let tables = Tables {
        losses: losses(&cycle).with_errors(&loss_columns(), &mut errors),
        others: others(&cycle).with_errors(&["loss"], &mut errors),
        balance: balance(&cycle).with_errors(&["power"], &mut errors),
        ripple: ripple(&cycle).with_errors(&RIPPLE, &mut errors),
        held: held(&cycle, scenario, &placed),
    };
    let efficiency = errors.next().cloned().unwrap_or_default();
    Known { cycle, account, tables, efficiency }
}
