//! A dead-time study as a result file keeps it.

use joulestep_engine::units::people;

use super::table::{DEFINITIONS, best_sheet, picture};
use super::{Best, Found};
use crate::result::{Study, StudyFigure, StudyTable};
use crate::sheet::Sheet;

/// The columns of a part of the table.
fn part_of(sheet: &Sheet, names: &[&str]) -> Sheet {
    let picked: Vec<usize> =
        names.iter().filter_map(|n| sheet.heads.iter().position(|h| h.name == *n)).collect();
    let heads = picked.iter().map(|&k| sheet.heads[k].clone()).collect();
    let rows = sheet.rows.iter().map(|row| picked.iter().map(|&k| row[k].clone()).collect());
    Sheet { heads, rows: rows.collect() }
}

fn answer(b: &Best) -> String {
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
        "At {} the least loss of the dead times studied is {} a period, at {}; {soft}.",
        people(b.current, "A"),
        people(b.least.1, "J"),
        people(b.least.0, "s")
    )
}

/// The study with everything behind it.
pub(super) fn study(found: &Found, sheet: &Sheet, command: &str, inputs: String) -> Study {
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
    let caption = "Energies of a switching period, and the voltage at which the lower switch turns on, against the dead time; a \
                   curve for each load current.";
    Study {
        kind: "dead time".into(),
        title,
        command: command.into(),
        inputs,
        verdict: None,
        answers: found.best().iter().map(answer).collect(),
        conditions,
        definitions: DEFINITIONS.iter().map(|d| (d.0.into(), d.1.into())).collect(),
        tables: vec![
            StudyTable::new("best", "Best of the dead times studied", 1, best_sheet(found)),
            StudyTable::new("energies", "Energies of a period", 2, part_of(sheet, &energies)),
            StudyTable::new("transitions", "Transitions", 2, part_of(sheet, &transitions)),
        ],
        figures: vec![StudyFigure::new(caption, picture(found))],
    }
}
