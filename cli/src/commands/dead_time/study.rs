//! A dead-time study as a result file keeps it.

use joulestep_engine::units::people;

use super::table::{DEFINITIONS, best_sheet, picture};
use super::{Best, Found};
use crate::diagnostic::Sources;
use crate::judge::Uncertainty;
use crate::result::{Study, StudyFigure, StudyTable};
use crate::sheet::Sheet;

/// What must be said of the least loss at an end of the list: the least of all may lie beyond it.
pub(super) fn at_end(found: &Found, b: &Best) -> &'static str {
    let of = found.points.iter().filter(|p| p.current == b.current).map(|p| p.dead_time);
    let (low, high) = of.fold((f64::INFINITY, 0.0f64), |r, t| (r.0.min(t), r.1.max(t)));
    match b.least.0 {
        _ if low == high => "",
        t if t == low => ", the shortest of the list (the least may lie beyond: a shorter one may lose less)",
        t if t == high => ", the longest of the list (the least may lie beyond: a longer one may lose less)",
        _ => "",
    }
}

/// A number with its error behind it.
fn with(x: f64, unit: &str, error: &Uncertainty) -> String {
    match error {
        Uncertainty::NotEstimated { why } => format!("{} (error not estimated: {why})", people(x, unit)),
        error => format!("{} {}", people(x, unit), error.words(unit)).trim_end().to_string(),
    }
}

fn answer(found: &Found, b: &Best) -> String {
    let soft = match (b.soft_from, b.hard_until) {
        (Some(from), Some(until)) if until < from => {
            format!(
                "the lower switch turns on softly from {} on, not yet at {}",
                people(from, "s"),
                people(until, "s")
            )
        }
        (Some(from), None) => {
            format!("the lower switch turns on softly at all of them, from {}", people(from, "s"))
        }
        (Some(from), Some(until)) => format!(
            "the lower switch turns on softly from {} on, but no longer at {}",
            people(from, "s"),
            people(until, "s")
        ),
        (None, _) => "the lower switch turns on softly at none of them".into(),
    };
    format!(
        "At {} the least loss of the dead times studied is {} a period, at {}{}; {soft}.",
        people(b.current, "A"),
        with(b.least.1, "J", &b.loss_error),
        with(b.least.0, "s", &b.time_error),
        at_end(found, b)
    )
}

/// The study with everything behind it.
pub(super) fn study(found: &Found, sheet: &Sheet, command: &str, inputs: Sources) -> Study {
    let title = format!(
        "Which dead time loses least in a leg of {} at {} and {}?",
        found.what,
        people(found.voltage, "V"),
        people(found.frequency, "Hz")
    );
    let energies = [
        "current",
        "dead_time",
        "diode_energy",
        "turn_on_energy",
        "turn_off_energy",
        "recovery_energy",
        "conduction_energy",
        "losses",
        "efficiency",
    ];
    let transitions = [
        "current",
        "dead_time",
        "node_voltage",
        "lower_turn_on",
        "upper_voltage",
        "upper_turn_on",
        "commutation_charge",
        "excess_charge",
        "balance_residual",
    ];
    let mut conditions = vec![
        "Half-bridge with a constant load current out of the leg, in its periodic steady state.".to_string(),
        format!("Junctions of both switches held at {}.", people(found.celsius, "degC")),
    ];
    if let Some(charge) = found.charge {
        let charge = people(charge, "C");
        conditions.push(format!("Output charge of the lower switch at the supply's voltage: {charge}."));
    }
    if found.snubber > 0.0 {
        conditions.push(format!("Snubber over each switch: {}.", people(found.snubber, "F")));
    }
    let of_errors: Vec<&str> = sheet.heads.iter().map(|h| h.name.as_str()).collect();
    let is_error = |n: &&str| n.contains("error") || matches!(*n, "current" | "dead_time");
    let errors = sheet.part(&of_errors.into_iter().filter(is_error).collect::<Vec<_>>());
    if let Some(n) = found.rounds {
        conditions.push(format!("Numbers after {n} rounds of finer steps (at least)."));
    }
    let caption = "Energies of a switching period, and the voltage at which the lower switch turns on, against the dead time; a \
                   curve for each load current.";
    let mut tables = vec![
        StudyTable::new("best", "Best of the dead times studied", 1, best_sheet(found)),
        StudyTable::new("energies", "Energies of a period", 2, sheet.part(&energies)),
        StudyTable::new("transitions", "Transitions", 2, sheet.part(&transitions)),
    ];
    // Without an estimate there are none.
    if sheet.heads.iter().any(|h| h.name == "error_kind") {
        tables.push(StudyTable::new("errors", "Errors (±)", 2, errors));
    }
    Study {
        kind: "dead time".into(),
        title,
        command: command.into(),
        inputs,
        verdict: None,
        answers: found.best().iter().map(|b| answer(found, b)).collect(),
        conditions,
        definitions: DEFINITIONS.iter().map(|d| (d.0.into(), d.1.into())).collect(),
        tables,
        figures: vec![StudyFigure::new(caption, picture(found))],
    }
}
