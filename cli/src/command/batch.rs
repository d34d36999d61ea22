//! `batch`: the variants of a plan, from the count to the table.

use std::collections::BTreeMap;
use std::fmt::Display;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;

use serde::Serialize;

use crate::batch::answer::Told;
use crate::batch::errors::Errors;
use crate::batch::execute::{Executed, execute};
use crate::batch::journal::{self, Head, Journal, path_of};
use crate::batch::progress::{BatchProgress, Show};
use crate::batch::row::Row;
use crate::batch::table::BatchResult;
use crate::batch::variant::PlannedBatch;
use crate::batch::{indices, order, parquet, picture, save, statistics, summary, table};
use crate::command::args::{BatchArgs, BatchCommand, BatchOutputArgs, MergeArgs, ProgressAs};
use crate::command::refuse_in;
use crate::exit::{BAD_INPUT, DONE, INPUT_OUTPUT};
use crate::judge::{exit_code, over_all};
use crate::output::files;
use crate::output::print;
use crate::output::streams::Streams;
use crate::output::written::{self, Refused, refused};
use crate::signals;
use crate::signals::stopped;

/// Runs a batch, or puts shards together.
///
/// # Errors
/// When a stream cannot be written.
pub fn batch(args: &BatchArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    if let Some(BatchCommand::Merge(merge)) = &args.command {
        return merged(merge, streams);
    }
    // The command line asks for both.
    let (Some(plan), json) = (&args.plan, args.output.json) else { return Ok(BAD_INPUT) };
    let mut study = match PlannedBatch::read(plan, &streams.access.open()) {
        Ok(study) => study,
        Err(wrong) => return refuse_in(wrong.what, &wrong.error, &wrong.path, json, streams),
    };
    if let Some(lanes) = args.lanes.as_ref().and_then(|lanes| lanes.parse().ok()) {
        study.lanes = lanes;
    }
    if args.count {
        return report_count(&study, json, streams);
    }
    let Some(out) = &args.output.out else { return refused(&no_table(), json, streams) };
    let shard = match args.shard.as_deref().map_or(Ok((1, 1)), shard) {
        Ok(shard) => shard,
        Err(why) => return refused(&why, json, streams),
    };
    let begun = begin(&study, args, out, shard);
    let (mut journal, mut rows) = match begun {
        Ok(begun) => begun,
        Err(why) => return refused(&why, json, streams),
    };
    let mut pending = order::of_shard(&study, shard);
    pending.retain(|variant| !rows.contains_key(variant));
    let left = pending.len();
    let show = match args.progress {
        ProgressAs::Json if !args.quiet => Show::Json,
        ProgressAs::Text if !args.quiet && !json => Show::Text,
        _ => Show::Nothing,
    };
    if show == Show::Text {
        let shards = if shard.1 > 1 { format!(" (shard {} of {})", shard.0, shard.1) } else { String::new() };
        let before =
            if rows.is_empty() { String::new() } else { format!(", {} finished before", rows.len()) };
        writeln!(streams.err, "{} variants{shards}{before}", left + rows.len())?;
    }
    let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let jobs = args.jobs.map_or(cores, usize::from);
    let stop = stopped();
    let mut progress = BatchProgress::new(show, left);
    let mut describe = |more: &[Row]| progress.more(more);
    let outcome = execute(&study, &pending, jobs, &mut journal, &mut rows, stop, &mut describe);
    progress.done();
    let executed = match outcome {
        Ok(executed) => executed,
        Err(error) => {
            let why = format!("{error}; finished variants are kept, --resume continues");
            return refused(&(why, INPUT_OUTPUT), json, streams);
        }
    };
    if stop.load(Ordering::Relaxed) {
        writeln!(
            streams.err,
            "interrupted; finished variants are kept in {}, --resume continues",
            path_of(out).display()
        )?;
        return Ok(signals::code());
    }
    let (output, whole, anew) = (&args.output, shard.1 == 1, !args.resume);
    finish(&Finish { study: &study, executed: Some(executed), out, output, whole, anew }, rows, streams)
}

fn no_table() -> Refused {
    ("--out: missing; expected the table to write, such as --out table.h5".into(), BAD_INPUT)
}

/// Number and count.
type Shard = (usize, usize);

/// "2/4".
fn shard(text: &str) -> Result<Shard, Refused> {
    let two = text.split_once('/').and_then(|(k, n)| Some((k.trim().parse().ok()?, n.trim().parse().ok()?)));
    two.filter(|(k, n): &Shard| (1..=*n).contains(k)).ok_or_else(|| {
        (format!("--shard: found `{text}`, expected K/N with K from 1 to N, such as 2/4"), BAD_INPUT)
    })
}

fn head(study: &PlannedBatch, shard: Shard) -> Head {
    Head {
        format: journal::FORMAT,
        digest: study.digest.clone(),
        variants: study.count(),
        outputs: study.outputs.len(),
        shard: shard.0,
        shards: shard.1,
    }
}

type Begun = (Journal, BTreeMap<usize, Row>);

/// A new journal, or the one to go on with and what it holds.
fn begin(study: &PlannedBatch, args: &BatchArgs, out: &Path, shard: Shard) -> Result<Begun, Refused> {
    let wrong = |e: journal::JournalError| (e.to_string(), INPUT_OUTPUT);
    let (path, force) = (path_of(out), args.output.force);
    let others = [&args.output.csv, &args.output.parquet, &args.output.svg];
    for other in others.into_iter().flatten() {
        written::is_new(Some(other), force || args.resume)?;
    }
    shown(study, &args.output)?;
    let head = head(study, shard);
    let unbegun = journal::is_unbegun(&path, &head);
    if args.resume && path.exists() && !unbegun {
        let held = journal::read(&path).map_err(wrong)?;
        if held.head != head {
            return Err((other_batch(&path, &held.head, &head), BAD_INPUT));
        }
        return Ok((Journal::resume(&path, &held).map_err(wrong)?, held.rows));
    }
    written::is_new(Some(out), force)?;
    new_waveforms(study, out, force)?;
    let force = force || (args.resume && unbegun);
    if !force && path.exists() {
        let why = format!(
            "`{}` exists; expected --resume to go on with it, or --force to begin anew",
            path.display()
        );
        return Err((why, INPUT_OUTPUT));
    }
    Ok((Journal::create(&path, &head, force).map_err(wrong)?, BTreeMap::new()))
}

/// A folder of waveforms that is there already must be asked for to be replaced.
fn new_waveforms(study: &PlannedBatch, out: &Path, force: bool) -> Result<(), Refused> {
    let folder = save::folder_of(out);
    written::is_new((!study.plan.keep.is_empty()).then_some(folder.as_path()), force)
}

fn other_batch(path: &Path, found: &Head, wanted: &Head) -> String {
    let what = if found.digest != wanted.digest {
        "the plan, its scenario, a file that they name or the program has changed since".to_string()
    } else if (found.shard, found.shards) != (wanted.shard, wanted.shards) {
        format!("it holds shard {}/{}, not {}/{}", found.shard, found.shards, wanted.shard, wanted.shards)
    } else {
        "its number of variants or outputs differs".to_string()
    };
    format!("{} belongs to another batch: {what}; expected the journal of this one", path.display())
}

fn report_count(study: &PlannedBatch, json: bool, streams: &mut Streams<'_>) -> io::Result<u8> {
    let (count, k) = (study.count(), study.plan.inputs.len());
    if json {
        streams.json(&Count { variants: count, inputs: k, outputs: study.outputs.len() })?;
    } else {
        writeln!(streams.out, "{count} variants of {k} values, {} outputs each", study.outputs.len())?;
    }
    Ok(DONE)
}

/// The output to draw.
fn shown(study: &PlannedBatch, output: &BatchOutputArgs) -> Result<usize, Refused> {
    match &output.show {
        None => Ok(summary::main_outputs(study).first().copied().unwrap_or(0)),
        Some(name) => study.outputs.iter().position(|c| c.name == *name).ok_or_else(|| {
            let names: Vec<&str> = study.outputs.iter().map(|c| c.name.as_str()).collect();
            let hint = crate::diagnostic::nearest(name, names.iter().copied());
            let hint = hint.map_or(String::new(), |h| format!("; did you mean `{h}`?"));
            (
                format!("--show: there is no output `{name}`; expected one of {}{hint}", names.join(", ")),
                BAD_INPUT,
            )
        }),
    }
}

/// A batch whose variants are all run.
struct Finish<'a> {
    study: &'a PlannedBatch,
    /// How they were run; `None` where they were only merged.
    executed: Option<Executed>,
    out: &'a Path,
    output: &'a BatchOutputArgs,
    /// Whether it is the whole plan and not a shard of it.
    whole: bool,
    /// Whether nothing of an earlier run is gone on with.
    anew: bool,
}

impl Finish<'_> {
    /// Writes the table and what else is asked for.
    fn write(&self, result: &BatchResult<'_>, kept: Option<&[usize]>) -> Result<(), Refused> {
        let (out, output) = (self.out, self.output);
        table::hdf5(out, result).map_err(|e| (e.to_string(), INPUT_OUTPUT))?;
        let cannot =
            |path: &Path, e: &dyn Display| (format!("cannot write `{}`: {e}", path.display()), INPUT_OUTPUT);
        if let Some(path) = &output.csv {
            let mut text = Vec::new();
            let made = table::csv(&mut text, result).and_then(|()| files::write(path, &text));
            made.map_err(|e| cannot(path, &e))?;
        }
        if let Some(path) = &output.parquet {
            parquet::write(path, result).map_err(|e| cannot(path, &e))?;
        }
        if let Some(path) = &output.svg {
            written::draw(path, &picture::figure(self.study, result.rows, shown(self.study, output)?))?;
        }
        if let Some(kept) = kept {
            let rows = (result.rows, result.errors);
            save::write(self.study, rows, kept, out, self.anew, stopped()).map_err(|e| (e, INPUT_OUTPUT))?;
        }
        Ok(())
    }
}

#[derive(Serialize)]
struct Count {
    variants: usize,
    inputs: usize,
    outputs: usize,
}

#[derive(Serialize)]
struct Answer<'a, T> {
    #[serde(flatten)]
    report: T,
    file: String,
    lanes: Lanes,
    #[serde(skip_serializing_if = "Option::is_none")]
    waveforms: Option<Waveforms<'a>>,
}

#[derive(Serialize)]
struct Lanes {
    most: usize,
    #[serde(flatten)]
    executed: Option<Executed>,
}

#[derive(Serialize)]
struct Waveforms<'a> {
    folder: String,
    variants: &'a [usize],
}

/// Judges all rows, writes what is asked for, and prints the statistics.
fn finish(batch: &Finish<'_>, mut rows: BTreeMap<usize, Row>, streams: &mut Streams<'_>) -> io::Result<u8> {
    let Finish { study, executed, out, output, whole, .. } = *batch;
    let errors = &Errors::of(study, &rows);
    errors.judge(study, &mut rows);
    let rows = &rows;
    let statistics = statistics::gather(study, rows, errors);
    let indices = indices::of_rows(study, rows);
    // Which are worst only the whole table shows.
    let kept = save::chosen(study, rows).filter(|_| whole);
    let kept = kept.as_deref();
    let report = BatchResult { study, rows, errors, statistics: &statistics, indices: &indices, kept };
    if let Err(why) = batch.write(&report, kept) {
        return refused(&why, output.json, streams);
    }
    if stopped().load(Ordering::Relaxed) {
        let kept_in = save::folder_of(out);
        writeln!(
            streams.err,
            "interrupted; waveforms so far are in {}, --resume continues",
            kept_in.display()
        )?;
        return Ok(signals::code());
    }
    if output.json {
        let folder = save::folder_of(out).display().to_string();
        streams.json(&Answer {
            report: summary::json(study, &statistics, &indices),
            file: out.display().to_string(),
            lanes: Lanes { most: study.lanes, executed },
            waveforms: kept.map(|variants| Waveforms { folder, variants }),
        })?;
    } else {
        let told = Told { study, rows, statistics: &statistics, indices: &indices };
        write!(streams.out, "{}", print::text(&told.answer(false)))?;
        if let Some(Executed { variants, in_lanes, busy }) = executed.filter(|_| study.lanes > 1) {
            let lanes = study.lanes;
            let used = match in_lanes {
                0 => String::new(),
                _ => format!(" ({:.0} % of the lanes in use)", 100.0 * busy),
            };
            writeln!(
                streams.out,
                "Run now: {variants}, {in_lanes} of them up to {lanes} side by side{used}, the others singly"
            )?;
        }
        writeln!(streams.out, "Written: {}", out.display())?;
        if let Some(kept) = kept {
            let folder = save::folder_of(out);
            writeln!(streams.out, "Waveforms of {} variants: {}", kept.len(), folder.display())?;
        }
    }
    Ok(exit_code(None, over_all(rows.values().map(|r| r.verdict))))
}

fn merged(args: &MergeArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let json = args.output.json;
    let study = match PlannedBatch::read(&args.plan, &streams.access.open()) {
        Ok(study) => study,
        Err(wrong) => return refuse_in(wrong.what, &wrong.error, &wrong.path, json, streams),
    };
    let Some(out) = &args.output.out else { return refused(&no_table(), json, streams) };
    let rows = match gathered(&study, args, out) {
        Ok(rows) => rows,
        Err(why) => return refused(&why, json, streams),
    };
    let output = &args.output;
    finish(&Finish { study: &study, executed: None, out, output, whole: true, anew: true }, rows, streams)
}

/// The rows of all shards; every variant must be there.
fn gathered(study: &PlannedBatch, args: &MergeArgs, out: &Path) -> Result<BTreeMap<usize, Row>, Refused> {
    let output = &args.output;
    for path in [Some(out), output.csv.as_deref(), output.parquet.as_deref(), output.svg.as_deref()] {
        written::is_new(path, output.force)?;
    }
    new_waveforms(study, out, output.force)?;
    shown(study, output)?;
    let mut rows = BTreeMap::new();
    for shard in &args.shards {
        let is_journal = shard.extension().is_some_and(|e| e == "journal");
        let path: PathBuf = if is_journal { shard.clone() } else { path_of(shard) };
        let held = journal::read(&path).map_err(|e| (e.to_string(), INPUT_OUTPUT))?;
        let wanted = head(study, (held.head.shard, held.head.shards));
        if held.head != wanted {
            return Err((other_batch(&path, &held.head, &wanted), BAD_INPUT));
        }
        rows.extend(held.rows);
    }
    let count = study.count();
    let missing: Vec<usize> = (0..count).filter(|v| !rows.contains_key(v)).collect();
    let Some(first) = missing.first() else { return Ok(rows) };
    let found = format!(
        "{} of {count} variants are in none of the shards, the first is number {first}",
        missing.len()
    );
    Err((format!("{found}; expected all shards, finished"), BAD_INPUT))
}
