//! Waveforms and pictures of each operating point.

use std::path::{Path, PathBuf};

use joulestep_engine::recorder::Recorder;
use joulestep_models::arrangement::double_pulse::Outcome;

use super::judge::Judged;
use super::{Grid, picture, table};
use crate::account::store;
use crate::args::DoublePulseArgs;
use crate::commands::options::{self, Refused};
use crate::exit::{INPUT_OUTPUT, NUMERICAL};
use crate::judge::Uncertainty;
use crate::plot::svg;
use crate::result::{ResultError, ResultWriter, Scalar, Summary, WriterOptions};
use crate::table::Cell;

/// The result file of point `k`.
pub(super) fn waveforms(folder: &Path, k: usize) -> PathBuf {
    folder.join(format!("point-{:04}.h5", k + 1))
}

fn drawing(folder: &Path, k: usize) -> PathBuf {
    folder.join(format!("point-{:04}.svg", k + 1))
}

fn overview(folder: &Path) -> PathBuf {
    folder.join("energies.svg")
}

/// Every file that will be written.
pub(super) fn names(args: &DoublePulseArgs, points: usize) -> Vec<PathBuf> {
    let mut out = Vec::new();
    if let Some(folder) = &args.waveforms {
        out.extend((0..points).map(|k| waveforms(folder, k)));
    }
    if let Some(folder) = &args.pictures {
        out.extend((0..points).map(|k| drawing(folder, k)));
        out.push(overview(folder));
    }
    out
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

fn record(path: &Path, grid: &Grid, outcome: &Outcome, summary: Summary) -> Result<(), ResultError> {
    let mut writer = ResultWriter::create(path, &describe(grid, outcome), WriterOptions::default())?;
    let w = &outcome.waveforms;
    writer.begin(&w.layout);
    for (&t, values) in w.time.iter().zip(&w.samples) {
        writer.sample(t, values);
    }
    for event in &w.events {
        writer.event(event);
    }
    writer.finish(true, Some(&store::ledger(&outcome.ledger)), Some(&summary)).map(|_| ())
}

/// Writes what was asked for.
pub(super) fn write(args: &DoublePulseArgs, grid: &Grid, found: &[Judged]) -> Result<(), Refused> {
    if let Some(folder) = &args.waveforms {
        let data = table::table(found, args);
        for (k, judged) in found.iter().enumerate() {
            let cells = data.heads.iter().zip(&data.rows[k]);
            let after = data.rows[k].iter().skip(1).map(Some).chain([None]);
            let numbers = cells.zip(after).filter_map(|((head, cell), next)| match cell {
                Cell::Number(value) => Some(Scalar {
                    name: head.name.clone(),
                    long_name: head.name.replace('_', " "),
                    value: *value,
                    unit: head.unit.clone(),
                    error: match next {
                        Some(Cell::Error(error)) => error.clone(),
                        _ => Uncertainty::Bare,
                    },
                    ..Scalar::default()
                }),
                _ => None,
            });
            let numbers = numbers.chain(store::judged(&judged.account)).collect();
            let (summary, outcome) = (store::summary_of(&judged.account, numbers), &judged.more);
            record(&waveforms(folder, k), grid, outcome, summary)
                .map_err(|e| (e.to_string(), INPUT_OUTPUT))?;
        }
    }
    if let Some(folder) = &args.pictures {
        let draw = |path: &Path, figure| {
            let picture = svg(&figure).map_err(|e| (e.to_string(), NUMERICAL))?;
            options::write(path, &picture)
        };
        let found: Vec<&Outcome> = found.iter().map(|j| &j.more).collect();
        for (k, outcome) in found.iter().enumerate() {
            draw(&drawing(folder, k), picture::point(grid, outcome))?;
        }
        draw(&overview(folder), picture::energies(grid, &found))?;
    }
    Ok(())
}
