//! `run`: the main job, from scenario to result file and account, with the error of every number.

mod execute;
mod proof;
mod spread;

use std::io;
use std::path::Path;

use self::execute::Job;
use self::spread::Spreading;
use crate::command::args::RunArgs;
use crate::command::refuse;
use crate::diagnostic::printable;
use crate::exit::NUMERICAL;
use crate::input::keys::InputError;
use crate::input::scenario::build::{Reductions, build_with};
use crate::input::scenario::resolve::read;
use crate::judge::exit_code;
use crate::output::account::{Account, Outcome, json, text};
use crate::output::streams::Streams;
use crate::output::written::{is_new, refused};
use crate::signals;

pub(crate) use crate::signals::stopped;

/// Runs a scenario.
///
/// # Errors
/// When a stream cannot be written.
pub fn run(args: &RunArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let scenario = match read(&args.scenario, &streams.access.open()) {
        Ok(scenario) => scenario,
        Err(error) => return refuse(&error, &args.scenario, args.json, streams),
    };
    let reductions = Reductions::default();
    let ready = match build_with(&scenario, &reductions) {
        Ok(ready) => ready,
        Err(refusal) => return refuse(&InputError::Refused(refusal), &args.scenario, args.json, streams),
    };
    if let Err(why) = is_new(Some(&args.out), args.force) {
        return refused(&why, args.json, streams);
    }
    if !args.quiet && !args.json {
        for note in &ready.judging.notes {
            writeln!(streams.err, "note: {}", printable(&note.text))?;
        }
    }
    let judges = ready.judging.judged.iter().any(|j| j.lower.is_finite() || j.upper.is_finite());
    let spread = match Spreading::from_options(args, &scenario, &reductions, &streams.access) {
        Ok(spread) => spread,
        Err(why) => return refused(&why, args.json, streams),
    };
    let job = Job {
        scenario: &scenario,
        reductions: &reductions,
        out: &args.out,
        quiet: args.quiet || args.json,
        spread: spread.as_ref(),
    };
    let ended = if args.prove { proof::run(&job) } else { job.run(ready, judges && !args.no_estimate) };
    match ended {
        Ok((account, bytes)) => report(&account, &args.out, bytes, args, streams),
        Err(why) => refused(&why, args.json, streams),
    }
}

fn report(
    account: &Account,
    out: &Path,
    bytes: u64,
    args: &RunArgs,
    streams: &mut Streams<'_>,
) -> io::Result<u8> {
    if args.json {
        streams.json(&json::json(account, out))?;
    } else {
        write!(streams.out, "{}", text::text(account))?;
        writeln!(streams.out, "Written: {} ({:.1} MB)", out.display(), bytes as f64 / 1e6)?;
    }
    let error = match &account.outcome {
        Outcome::Failed(why) => {
            if !args.json {
                writeln!(streams.err, "{why}")?;
            }
            Some(NUMERICAL)
        }
        Outcome::Interrupted => Some(signals::code()),
        Outcome::Done => None,
    };
    Ok(exit_code(error, account.verdict()))
}
