//! A mission as a study: what its file keeps and a report shows beside its courses.

use joulestep_engine::units::people;

use super::judge::Known;
use super::summary::{MissionReport, law_words};
use super::tables;
use crate::account::study as judged;
use crate::answer::{Study, StudyFigure, StudyTable};
use crate::plot::Figure;

/// What was found; `figure` is the mission's chart.
pub(crate) fn study(
    report: &MissionReport<'_>,
    title: &str,
    command: &str,
    inputs: String,
    figure: Figure,
) -> Study {
    let Known { followed: f, lives, account, tables, .. } = report.known;
    let w = &f.work;
    let span = f.course.last().map_or(0.0, |i| i.time);
    let mut answers = Vec::new();
    let hottest = f.inputs.iter().enumerate().filter_map(|(k, name)| {
        let high = f.course.iter().max_by(|a, b| {
            (a.celsius[k] + a.within[k].largest).total_cmp(&(b.celsius[k] + b.within[k].largest))
        })?;
        Some((high.celsius[k] + high.within[k].largest, high.time, name))
    });
    if let Some((celsius, time, name)) = hottest.max_by(|a, b| a.0.total_cmp(&b.0)) {
        answers.push(format!(
            "The hottest die is {name}: {} at {} of {}.",
            people(celsius, "degC"),
            people(time, "s"),
            people(span, "s")
        ));
    }
    answers.extend(judged::answers(account));
    let [input, output, losses] = f.balance;
    if input > 0.0 {
        answers.push(format!(
            "Sources give {}, the load takes {}, losses are {} ({:.3} %).",
            people(input, "J"),
            people(output, "J"),
            people(losses, "J"),
            100.0 * losses / input
        ));
    }
    if let Some(law) = report.law {
        for (name, life) in f.inputs.iter().zip(lives) {
            let Some((mission, ripple)) = life.damage else { continue };
            let sum = mission + ripple;
            answers.push(format!("Damage of {name} by the user's law {}: {sum:.3e} of 1.", law_words(law)));
        }
    }
    let mut conditions = vec![
        format!("{} in {} round(s) of the profile, from {}.", people(span, "s"), report.rounds, report.kind),
        format!(
            "Estimated error of the temperatures: at most {} (tolerance {}).",
            people(w.estimate, "K"),
            people(report.options.tolerance, "K")
        ),
        format!(
            "Of {:.4e} cycles {} were solved; in between the thermal state leapt ({} leaps, {} taken back).",
            w.cycles, w.solved, w.leaps, w.taken_back
        ),
        "Device laws are held at the mean temperature of a cycle; its ripple does not act back on them."
            .into(),
        "In ramps of a parameter the circuit counts as quasi-steady.".into(),
    ];
    if report.law.is_some() {
        conditions.push("The law of damage is the user's: nothing here says that a part follows it.".into());
    }
    if !f.complete {
        conditions.push("The mission was INTERRUPTED: this is what there was until then.".into());
    }
    let mut shown = vec![
        StudyTable::new(
            "junctions",
            "Junction temperatures and heat over the mission",
            1,
            tables.dies.clone(),
        ),
        StudyTable::new("ripple", "Ripple of the hottest cycle, peak to peak", 1, tables.ripple.clone()),
        StudyTable::new(
            "harmonics",
            "Amplitudes of power and temperature in the hottest cycle",
            2,
            tables.harmonics.clone(),
        ),
        StudyTable::new(
            "temperature_cycles",
            "Counted temperature cycles (ASTM E1049-85)",
            2,
            tables::cycles(f, lives),
        ),
    ];
    shown.extend(judged::tables(account));
    let definitions = [
        (
            "mean",
            "mean of the virtual junction temperature over a cycle of the control; least and largest: within it",
        ),
        ("switching ripple", "range of the temperature within the switching period of most power"),
        ("line ripple", "range over a line period of the means of switching periods"),
        (
            "cycles",
            "ranges counted by rainflow (ASTM E1049-85), gathered in sixteenths of the largest range; `mission`: of the course, `ripple`: of every cycle of the control",
        ),
        ("damage", "sum of counts over the law's numbers (Palmgren 1924, Miner 1945)"),
    ];
    Study {
        kind: "mission".into(),
        title: title.into(),
        command: command.into(),
        inputs,
        verdict: Some(account.verdict()),
        statements: answers,
        conditions,
        definitions: definitions.map(|(a, b)| (a.to_string(), b.to_string())).to_vec(),
        tables: shown,
        figures: vec![StudyFigure::new(
            "Load and ambient, junction temperatures (dotted: least and largest within a cycle), ripple against frequency, counted cycles",
            figure,
        )],
        ..Study::default()
    }
}
