//! `cycle`: the periodic steady state of a scenario's arrangement, its losses and temperature ripple, judged.

mod judge;
mod study;
mod summary;
mod tables;

use std::io;
use std::path::Path;

use joulestep_engine::cycle::steady::Effort;

use crate::args::CycleArgs;
use crate::commands::assess::assess;
use crate::commands::options::Lies;
use crate::commands::{options, refuse};
use crate::exit::{BAD_INPUT, Streams};
use crate::judge::{Level, exit_code};
use crate::scenario::build::{Reductions, build_with};
use crate::scenario::include::open;
use crate::scenario::resolve::{InputError, read};

/// Finds the periodic steady state.
///
/// # Errors
/// When a stream cannot be written.
pub fn cycle(args: &CycleArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let path: &Path = &args.scenario;
    let scenario = match read(path, &open) {
        Ok(scenario) => scenario,
        Err(error) => return refuse(&error, path, args.json, streams),
    };
    let reductions = Reductions::default();
    if let Err(refusal) = build_with(&scenario, &reductions) {
        return refuse(&InputError::Refused(refusal), path, args.json, streams);
    }
    let Some(spec) = &scenario.arrangement else {
        let why = format!("{}: no [arrangement]: the period is undefined", path.display());
        return options::refused(&(why, BAD_INPUT), args.json, streams);
    };
    let closing = match options::quantity("--closing", &args.closing, "1", Lies::Positive) {
        Ok(closing) => closing,
        Err(why) => return options::refused(&why, args.json, streams),
    };
    if let Err(why) = options::is_new(args.out.as_deref(), args.force) {
        return options::refused(&why, args.json, streams);
    }
    let effort = Effort { closing, most: args.periods, ..Effort::default() };
    let at = |level: Level, near: Option<&_>| judge::round(&scenario, &reductions, (effort, near), level);
    let assessed = match assess(&args.assess, "the numbers", &|| false, &at) {
        Ok(assessed) => assessed,
        Err((why, code)) => {
            return options::refused(&(format!("{}: {why}", path.display()), code), args.json, streams);
        }
    };
    let known = judge::known(&scenario, assessed);
    let kind = spec.arrangement.kind;
    let file = || study::study(&known, &scenario, kind, &streams.command);
    if let Err(why) = options::file(args.out.as_deref(), file) {
        return options::refused(&why, args.json, streams);
    }
    match args.json {
        true => streams.json(&summary::json(&known))?,
        false => write!(streams.out, "{}", summary::text(&known, kind))?,
    }
    Ok(exit_code(None, known.account.verdict()))
}
