//! Waveforms of chosen variants: once the table is there, each is run again alone, with a recorder, into an ordinary
//! result file in a folder beside the table. What it reports of itself is the table's row, to the last bit.

use std::collections::{BTreeMap, BTreeSet};
use std::ffi::OsString;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use crate::batch::errors::Errors;
use crate::batch::row::{Row, Status};
use crate::batch::sections::save::Which;
use crate::batch::variant::PlannedBatch;
use crate::diagnostic::Sources;
use crate::judge::{Bounds, Number, Uncertainty};
use crate::output::answer::Outcome;
use crate::study::Recording;
use crate::study::run::{Kept, STUDY, solved};

/// Result file of a variant within the folder.
pub fn file_name(variant: usize) -> String {
    format!("variant-{variant}.h5")
}

/// The folder of a table's waveforms.
pub fn folder_of(table: &Path) -> PathBuf {
    let mut name = OsString::from(table);
    name.push(".waveforms");
    name.into()
}

/// Whether a variant is among the ascending ones that are kept.
pub fn is_kept(kept: &[usize], variant: usize) -> bool {
    kept.binary_search(&variant).is_ok()
}

/// The variants that the plan chooses among those run to their end, ascending; `None`: it keeps none. Of equal numbers
/// the first variants are taken.
pub fn chosen(study: &PlannedBatch, rows: &BTreeMap<usize, Row>) -> Option<Vec<usize>> {
    if study.plan.keep.is_empty() {
        return None;
    }
    let done = |variant: &usize| rows.get(variant).is_some_and(|r| r.status == Status::Done);
    let ranked = |of: &dyn Fn(&Row) -> f64, count: usize| {
        let all = rows.values().filter(|r| r.status == Status::Done).map(|r| (of(r), r.variant));
        let mut all: Vec<(f64, usize)> = all.filter(|x| !x.0.is_nan()).collect();
        all.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        all.into_iter().take(count).map(|x| x.1).collect::<Vec<_>>()
    };
    let margin = |limit: &str, row: &Row| {
        let limit = study.limits.iter().find(|l| l.limit.name == limit);
        limit.map_or(f64::NAN, |l| {
            let Bounds { lower, upper } = l.of(study.inputs(row.variant));
            (upper - row.outputs[l.columns.1]).min(row.outputs[l.columns.0] - lower)
        })
    };
    let output = |name: &str, row: &Row| {
        study.outputs.iter().position(|c| c.name == name).map_or(f64::NAN, |k| row.outputs[k])
    };
    let mut all = BTreeSet::new();
    for keep in &study.plan.keep {
        all.extend(match keep {
            Which::Worst(w) => ranked(&|r| margin(&w.limit.name, r), w.count as usize),
            Which::Best(w) => ranked(&|r| -margin(&w.limit.name, r), w.count as usize),
            Which::Highest(w) => ranked(&|r| -output(&w.output.name, r), w.count as usize),
            Which::Lowest(w) => ranked(&|r| output(&w.output.name, r), w.count as usize),
            Which::Every(every) => {
                let nth = |v: &usize| v.is_multiple_of(every.step as usize);
                rows.keys().copied().filter(nth).filter(|v| done(v)).collect()
            }
            Which::Listed(these) => these.variants.iter().map(|x| *x as usize).filter(|v| done(v)).collect(),
        });
    }
    Some(all.into_iter().collect())
}

/// Writes the waveforms of these variants; a file that is there already is whole and stays, unless `anew`: then all
/// that an earlier batch left goes first. Ends early once `stop` is set.
///
/// # Errors
/// In words.
pub fn write(
    study: &PlannedBatch,
    (rows, errors): (&BTreeMap<usize, Row>, &Errors),
    kept: &[usize],
    table: &Path,
    anew: bool,
    stop: &AtomicBool,
) -> Result<(), String> {
    let folder = folder_of(table);
    let system =
        |doing: &str, path: &Path, e: std::io::Error| format!("cannot {doing} {}: {e}", path.display());
    fs::create_dir_all(&folder).map_err(|e| system("make", &folder, e))?;
    if anew {
        let there = fs::read_dir(&folder).map_err(|e| system("read", &folder, e))?;
        for entry in there.filter_map(Result::ok) {
            let name = entry.file_name().to_string_lossy().into_owned();
            let ours = name.strip_prefix("variant-").and_then(|n| n.strip_suffix(".part").or(Some(n)));
            if ours.and_then(|n| n.strip_suffix(".h5")).is_some_and(|n| n.parse::<usize>().is_ok()) {
                fs::remove_file(entry.path()).map_err(|e| system("remove", &entry.path(), e))?;
            }
        }
    }
    for variant in kept {
        let path = folder.join(file_name(*variant));
        if stop.load(Ordering::Relaxed) {
            return Ok(());
        }
        if path.exists() {
            continue;
        }
        // A file under its own name is whole.
        let part = folder.join(format!("{}.part", file_name(*variant)));
        let Some(row) = rows.get(variant) else { continue };
        if record(study, row, errors, &part, stop)
            .map_err(|why| format!("waveforms of variant {variant}: {why}"))?
        {
            fs::rename(&part, &path).map_err(|e| system("rename", &part, e))?;
        }
    }
    Ok(())
}

/// Runs a variant into a result file, its numbers with the errors that the table has of them; whether it came to its
/// end.
fn record(
    study: &PlannedBatch,
    row: &Row,
    errors: &Errors,
    path: &Path,
    stop: &AtomicBool,
) -> Result<bool, String> {
    let values = study.plan.inputs.iter().zip(study.inputs(row.variant));
    let values: Vec<String> = values
        .map(|(input, x)| format!("# {} = {x:?} {}\n", input.parameter.path, input.parameter.unit))
        .collect();
    let own = format!("# variant {} of a batch:\n{}", row.variant, values.concat());
    let mut inputs = Sources::of_text(own);
    inputs.merge(study.inputs.clone());
    let recording = Recording::new(path.to_path_buf());
    let kept = Kept { file: Some((&recording, &inputs)), shown: true, quiet: true };
    let name = format!("variant {}", row.variant);
    let mut found = solved(study.prepared(row)?, &name, stop, kept).map_err(|why| why.to_string())?;
    found.kind = STUDY.section.name.into();
    let of_row = errors.of_row(study, row);
    let known: BTreeMap<&str, &Uncertainty> =
        study.outputs.iter().map(|c| c.name.as_str()).zip(&of_row).collect();
    let error = |n: &Number| known.get(n.name.as_str()).map_or(Uncertainty::Bare, |e| (*e).clone());
    let own: Vec<Uncertainty> = found.computed().numbers.iter().map(error).collect();
    found.adopt(&own);
    found.judge();
    found.inputs = inputs.clone();
    recording.finish(&found).map_err(|e| e.to_string())?;
    match found.outcome {
        Outcome::Done => Ok(true),
        Outcome::Interrupted => Ok(false),
        Outcome::Failed(why) => Err(why),
    }
}
