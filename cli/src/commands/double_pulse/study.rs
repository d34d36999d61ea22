//! The table of a double pulse as a result file keeps it.

use joulestep_engine::units::people;
use joulestep_models::arrangement::double_pulse::Outcome;

use super::judge::Judged;
use super::{Grid, picture, table};
use crate::account::{Account, study as judged};
use crate::answer::{Study, StudyFigure, StudyTable};
use crate::args::DoublePulseArgs;

/// Most operating points whose waveforms are drawn.
pub(super) const DRAWN: usize = 4;

fn answers(found: &[&Outcome], whole: &Account) -> Vec<String> {
    let Some(worst) = found.iter().max_by(|a, b| {
        let whole = |o: &Outcome| o.on.energy + o.off.energy;
        whole(a).total_cmp(&whole(b))
    }) else {
        return Vec::new();
    };
    let p = &worst.point;
    let mut out = vec![format!(
        "Most energy is turned over at {}, {}, {} and {}: E_on {}, E_off {}.",
        people(p.current, "A"),
        people(p.voltage, "V"),
        people(p.gate_resistance, "ohm"),
        people(p.celsius, "degC"),
        people(worst.on.energy, "J"),
        people(worst.off.energy, "J")
    )];
    let peak = found.iter().map(|o| o.off.peak_voltage.0).fold(f64::NEG_INFINITY, f64::max);
    out.extend(judged::answers(whole));
    out.push(format!("The highest drain-source voltage of all points is {}.", people(peak, "V")));
    let residual = found
        .iter()
        .map(|o| o.ledger.relative())
        .fold(0.0f64, |a, b| if b > a || b.is_nan() { b } else { a });
    out.push(format!("The largest ledger residual is {residual:.1e} of the energy turned over."));
    out
}

/// The table with everything behind it; waveforms where they were kept.
pub(super) fn study(
    args: &DoublePulseArgs,
    grid: &Grid,
    (found, whole): (&[Judged], &Account),
    command: &str,
    inputs: String,
) -> Study {
    let data = table::table(found, args);
    let found: Vec<&Outcome> = found.iter().map(|j| &j.more).collect();
    let mut figures = vec![StudyFigure::new(
        "Switching energies against the current; a curve for each temperature, voltage and gate resistance.",
        picture::energies(grid, &found),
    )];
    figures.extend(found.iter().filter(|o| !o.waveforms.time.is_empty()).take(DRAWN).map(|o| {
        StudyFigure::new(
            "Waveforms of an operating point around turn-off and turn-on; shaded: the limits of the integrals.",
            picture::point(grid, o),
        )
    }));
    let mut tables: Vec<StudyTable> = Vec::new();
    let mut shown: Vec<&str> = table::POINT.to_vec();
    for ((title, columns), name) in table::GROUPS.iter().zip(["energies", "times", "slopes"]) {
        let part = data.part(&[&table::POINT[..], columns].concat());
        tables.push(StudyTable::new(name, title, table::POINT.len(), part));
        shown.extend(*columns);
    }
    // Errors come with their numbers.
    let rest =
        data.heads.iter().map(|h| h.name.as_str()).filter(|n| !shown.contains(n) && !n.ends_with("_error"));
    let rest: Vec<&str> = table::POINT.into_iter().chain(rest).collect();
    let title = "Limits of the integrals, and what else was found";
    tables.push(StudyTable::new("rest", title, table::POINT.len(), data.part(&rest)));
    tables.extend(judged::tables(whole));
    let definitions = table::definitions(grid).into_iter().map(|(s, words)| (s.to_string(), words));
    Study {
        kind: "double pulse".into(),
        title: format!("What does {} lose when it switches, with {} above?", grid.part.name, grid.upper.name),
        command: command.into(),
        inputs,
        verdict: Some(whole.verdict()),
        statements: answers(&found, whole),
        conditions: vec![
            format!("Circuit: {}.", table::circuit(grid)),
            "Junction temperatures are held over the pulses.".into(),
        ],
        definitions: definitions.collect(),
        tables,
        figures,
        ..Study::default()
    }
}
