//! Waveforms and pictures of each operating point.

use std::path::{Path, PathBuf};

use joulestep_engine::recorder::Recorder;
use joulestep_models::arrangement::double_pulse::Outcome;

use super::Asked;
use super::judge::Judged;
use super::{Grid, picture, table};
use crate::diagnostic::Sources;
use crate::input::keys::include::reason;
use crate::output::answer::{Answer, Study};
use crate::output::result::{ResultError, ResultWriter, WriterOptions};
use crate::output::written;
use crate::study::{Question, Recording, StudyError};

/// The result file of point `k`.
fn waveforms(folder: &Path, k: usize) -> PathBuf {
    folder.join(format!("point-{:04}.h5", k + 1))
}

fn drawing(folder: &Path, k: usize) -> PathBuf {
    folder.join(format!("point-{:04}.svg", k + 1))
}

fn overview(folder: &Path) -> PathBuf {
    folder.join("energies.svg")
}

/// The folders for waveforms and for pictures.
fn folders(question: &Question) -> [Option<PathBuf>; 2] {
    let asked = question.asked(Asked::read).ok();
    let folders = asked.map_or([None, None], |asked| [asked.waveforms, asked.pictures]);
    folders.map(|folder| folder.map(|named| PathBuf::from(named.name)))
}

/// Whether anything is to be written.
pub(super) fn asked_for(question: &Question) -> bool {
    folders(question).iter().any(Option::is_some)
}

/// Makes the folders ready, and refuses files that are not to be replaced.
pub(super) fn ready(question: &Question, points: usize) -> Result<(), StudyError> {
    let mut files = Vec::new();
    let [of_waveforms, of_pictures] = folders(question);
    if let Some(folder) = &of_waveforms {
        files.extend((0..points).map(|k| waveforms(folder, k)));
    }
    if let Some(folder) = &of_pictures {
        files.extend((0..points).map(|k| drawing(folder, k)));
        files.push(overview(folder));
    }
    files.iter().try_for_each(|path| question.writes(path))?;
    for path in of_waveforms.iter().chain(&of_pictures) {
        let what = |e| format!("cannot make the folder `{}`: {}", path.display(), reason(&e));
        std::fs::create_dir_all(path).map_err(|e| StudyError::Output(what(e)))?;
    }
    Ok(())
}

/// What was asked, as the result file keeps it in place of a scenario.
fn describe(grid: &Grid, outcome: &Outcome) -> String {
    let p = &outcome.point;
    let definitions = table::definitions(grid).into_iter().map(|(s, words)| format!("# {s}: {words}\n"));
    format!(
        "# double pulse: {} with {} above\n# {}\n# {} A, {} V, {} ohm, {} degC\n{}",
        grid.part.name,
        grid.upper.name,
        table::circuit(grid),
        p.current,
        p.voltage,
        p.gate_resistance,
        p.celsius,
        definitions.collect::<String>(),
    )
}

/// The numbers of a point, and what its parts must keep.
fn of_point(grid: &Grid, j: &Judged) -> Study {
    let answer =
        |(name, unit, value): (&str, &str, f64)| Answer::new(name, name.replace('_', " "), value, unit);
    let mut study = Study {
        kind: "double_pulse".into(),
        title: format!("double pulse: {} with {} above", grid.part.name, grid.upper.name),
        inputs: Sources::of_text(describe(grid, &j.outcome)),
        answers: table::numbers(&j.outcome).map(answer).chain(j.account.judged()).collect(),
        conditions: vec![table::circuit(grid)],
        definitions: table::definitions(grid).into_iter().map(|(a, b)| (a.into(), b)).collect(),
        ..Study::default()
    };
    j.account.tell(&mut study);
    study.judge();
    study
}

fn record(path: &Path, outcome: &Outcome, study: &Study) -> Result<(), ResultError> {
    let recording = Recording::new(path.to_path_buf());
    let mut writer = ResultWriter::create(path, &study.inputs, WriterOptions::default())?;
    let w = &outcome.waveforms;
    writer.begin(&w.layout);
    for (&t, values) in w.time.iter().zip(&w.samples) {
        writer.sample(t, values);
    }
    for event in &w.events {
        writer.event(event);
    }
    recording.keep(writer, Some((&outcome.ledger).into()));
    recording.finish(study)
}

/// Writes what was asked for. Errors of the numbers are not known yet: they stand in the study's own tables.
pub(super) fn write(question: &Question, grid: &Grid, found: &[Judged]) -> Result<(), StudyError> {
    let failed = |why: String| StudyError::Output(why);
    let [of_waveforms, of_pictures] = folders(question);
    if let Some(folder) = &of_waveforms {
        for (k, j) in found.iter().enumerate() {
            record(&waveforms(folder, k), &j.outcome, &of_point(grid, j))
                .map_err(|e| failed(e.to_string()))?;
        }
    }
    if let Some(folder) = &of_pictures {
        let draw = |path: &Path, figure| written::draw(path, &figure).map_err(|why| failed(why.0));
        for (k, j) in found.iter().enumerate() {
            draw(&drawing(folder, k), picture::point(grid, &j.outcome))?;
        }
        let outcomes: Vec<&Outcome> = found.iter().map(|j| &j.outcome).collect();
        draw(&overview(folder), picture::energies(grid, &outcomes))?;
    }
    Ok(())
}
