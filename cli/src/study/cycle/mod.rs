//! `cycle`: the periodic steady state of a scenario's arrangement, or of its own circuit, its losses and temperature ripple, judged.

mod known;
mod progress;
mod search;
pub(super) mod tables;

use joulestep_engine::cycle::steady::Effort;
use joulestep_engine::run::watch::Watch;
use joulestep_engine::units::people;
use joulestep_models::arrangement::cycle::Cycle;
use joulestep_models::model::Range::Positive;

use self::tables::{COLUMNS, DEFINITIONS, held, losses};
use super::{Context, Entry, Input, Question, StudyError, Trial};
use crate::input::keys::table::keys;
use crate::input::scenario::build::{Ready, build_with, repeating};
use crate::judge::RATIO_OF_TWO;
use crate::output::account::{Account, Facts, Found, Outcome, Shown};
use crate::output::answer::{Answer, Study, StudyFigure, StudyTable};
use crate::output::plot::{Axis, Bars, Figure, Panel, Series};
use crate::output::table::Cell;

/// The study.
pub static STUDY: Entry = Entry {
    name: "cycle",
    section: &SECTION,
    help: "The state that a period maps onto itself is found by shooting, without waiting for slow time constants, and its \
           closing error is given, with an estimate of the distance that is left (a slow time constant closes well long \
           before it is at rest). A period of many edges is solved in segments side by side, on all cores. The losses of \
           a period are sorted by what each switch is doing, as the output defines; they sum to the energy ledger. \
           Where dies have heat inputs, temperatures and losses are brought to agree.\n\n\
           The period is judged by the ratings of the parts and the limits of the scenario, as a run is.",
    examples: "joulestep cycle examples/ferry-buck.toml",
    inputs: &[Input::scenario(Asked::scenario)],
    trial: Trial {
        args: &["tests/catalogue_of_studies/ideal-buck.toml"],
        vary: ("arrangement.duty", ["0.5", "0.4"]),
    },
    refines: "steps",
    writes: &[],
    solve,
};

keys! {
    /// What is asked.
    pub(super) struct Asked in SECTION = "cycle":
        "Periodic steady state of a scenario's arrangement: losses of each switch, temperature ripple";
    need scenario: Files, "scenario file (TOML) with an arrangement, or with a `[cycle]`";
    may closing: Quantity("1", Positive),
        "closing error that is good enough: change over a period relative to the largest voltage or current", or 1e-5;
    may periods: Whole(1, 1_000_000_000), "most periods to run in the search", or 400.0;
}

/// Distance to the periodic state that is worth another period.
const DISTANCE: f64 = 1e-6;
/// Relative residual up to which the balance counts as closed.
const CLOSES: f64 = 1e-4;

fn solve(question: &Question, context: &Context<'_>) -> Result<Study, StudyError> {
    context.go_on()?;
    let scenario = question.scenario()?;
    let Some((kind, _)) = scenario.repeating() else {
        let what = "no [arrangement] and no [cycle]: the period is undefined";
        return Err(StudyError::Refused(what.into()));
    };
    let ready = build_with(scenario, &context.reductions())?;
    let Ready { mut setup, placed, layout, judging, signals, metered, .. } = ready;
    let far_apart = search::far_apart(&layout, &setup);
    context.level.spaced(far_apart).apply(&mut setup);
    let bursts = repeating(&mut setup.gauges);
    let watches = setup.watches.clone();
    let start = setup.thermal.as_ref().map(|t| t.temperatures().to_vec()).unwrap_or_default();
    let asked = question.asked(Asked::read)?;
    let most = u32::try_from(asked.periods).unwrap_or(u32::MAX);
    let effort = Effort { closing: asked.closing, distance: DISTANCE, most, ..Effort::default() };
    let cycle = search::found(question, context, effort, (&layout, setup, far_apart))?;
    let (title, end, method) = (scenario.title.clone(), cycle.period, cycle.method);
    let facts = Facts { title, end, method, placed, judging, signals, metered };
    let all = watches.iter().zip(&cycle.seen).map(|(w, s)| (w, known::seen(&cycle, w, s, &start)));
    let all: Vec<(&Watch, _)> = all.collect();
    let moves = |k: usize| cycle.ripple.get(k).map_or((0.0, 0.0), |r| (r.mean, r.extremes.1));
    let found = Found {
        readings: Shown::of_bursts(&bursts, &cycle.readings, &moves),
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
    let named = if scenario.title.is_empty() { &kind } else { &scenario.title };
    let held = held(&cycle, scenario, &facts.placed);
    let mut study = Study {
        title: format!(
            "{named}: what does it lose in its periodic steady state, and how hot do the dies get?"
        ),
        answers: answers(&cycle, &start, &account),
        conditions: conditions(&cycle, &kind),
        definitions: DEFINITIONS.map(|d| (d.0.into(), d.1.into())).to_vec(),
        tables: known::tables(&cycle, &start),
        figures: vec![StudyFigure::new(
            "Losses of each switch by what it is doing, mean over the period.",
            picture(&cycle),
        )],
        ..Study::default()
    };
    study.tables.push(StudyTable::new(
        "junctions",
        "Junction temperatures that the laws were held at",
        1,
        held,
    ));
    account.tell(&mut study);
    study.computation.ratio = far_apart.then_some(RATIO_OF_TWO);
    // Written so that a residual that is not a number is reported too.
    let residual = cycle.account.residual;
    let closes = residual.abs() <= CLOSES;
    if !closes {
        let text =
            format!("THE BALANCE DOES NOT CLOSE ({residual:.1e} of the input): do not trust these losses");
        study.notes.push(text);
    }
    Ok(study)
}

/// Efficiency and losses; the hottest of each die; limits and ratings; extremes of recorded signals; how well it
/// closes.
fn answers(cycle: &Cycle, start: &[f64], account: &Account) -> Vec<Answer> {
    let a = &cycle.account;
    let wrong: f64 = cycle.ripple.iter().map(|r| r.power_error).sum();
    let lost = a.losses() / cycle.period;
    let watts = cycle.unrest() * lost.abs() + wrong;
    let input = (a.input / cycle.period).abs();
    let mut all = vec![
        Answer::new("efficiency", "efficiency", a.efficiency(), "1")
            .further((cycle.unrest() * lost + wrong) / input)
            .remark(format!("{:.4} %", 100.0 * a.efficiency())),
        Answer::new("losses", "losses", lost, "W").further(watts),
    ];
    for (r, start) in cycle.ripple.iter().zip(start) {
        let swing = format!("swings by {}", people(r.extremes.1 - r.extremes.0, "K"));
        let hottest =
            Answer::new(format!("{}.largest", r.name), format!("{}, hottest", r.name), r.extremes.1, "degC");
        all.push(hottest.further(known::of_temperature(cycle, r, *start)).remark(swing));
    }
    all.extend(account.answers());
    all
}

fn conditions(cycle: &Cycle, kind: &str) -> Vec<String> {
    vec![
        format!("Period {}; {kind}.", people(cycle.period, "s")),
        "The state that a period maps onto itself, found by shooting.".into(),
        "Device laws are held at the mean temperatures of the dies, brought to agree with the losses.".into(),
    ]
}

/// Losses of each switch, sorted by what it is doing.
fn picture(cycle: &Cycle) -> Figure {
    let data = losses(cycle);
    let number = |c: &Cell| if let Cell::Number(x) = c { Some(*x) } else { None };
    let series = data.rows.iter().zip(&cycle.account.switches).map(|(row, switch)| Series {
        name: switch.name.clone(),
        values: row[1..].iter().map(number).collect(),
    });
    let bars = Bars {
        y: Axis::linear("mean power", "W"),
        groups: COLUMNS.iter().map(|c| c.1.to_string()).collect(),
        series: series.collect(),
        ..Bars::default()
    };
    Figure::new("Losses of the switches", vec![Panel::Bars(bars)])
}
