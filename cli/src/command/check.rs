//! `check`: is the scenario right?

use std::collections::BTreeMap;
use std::io;

use serde::Serialize;

use crate::command::args::CheckArgs;
use crate::command::refuse;
use crate::diagnostic::printable;
use crate::exit::DONE;
use crate::input::keys::InputError;
use crate::input::scenario::build::{Note, build};
use crate::input::scenario::resolve::read;
use crate::output::streams::Streams;

#[derive(Serialize)]
struct Document<'a> {
    valid: bool,
    title: &'a str,
    files: Vec<String>,
    counts: BTreeMap<String, usize>,
    notes: &'a [Note],
}

/// Checks a scenario and says what it holds.
///
/// # Errors
/// When a stream cannot be written.
pub fn check(args: &CheckArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let scenario = match read(&args.scenario, &streams.access.open()) {
        Ok(scenario) => scenario,
        Err(error) => return refuse(&error, &args.scenario, args.json, streams),
    };
    let ready = match build(&scenario) {
        Ok(ready) => ready,
        Err(refusal) => return refuse(&InputError::Refused(refusal), &args.scenario, args.json, streams),
    };
    let counts = [
        ("components", scenario.components.len()),
        ("drives", scenario.drives.len()),
        ("protections", scenario.protections.len()),
        ("controllers", scenario.controllers.len()),
        ("events", scenario.events.len()),
        ("heat inputs", scenario.thermal.input_names().len()),
        ("signals", scenario.record.signals.len()),
        ("limits", scenario.limits.len()),
    ];
    if args.json {
        streams.json(&Document {
            valid: true,
            title: &scenario.title,
            files: scenario.sources.files.iter().map(|f| f.0.display().to_string()).collect(),
            counts: counts.iter().map(|(name, n)| (name.replace(' ', "_"), *n)).collect(),
            notes: &ready.judging.notes,
        })?;
    } else {
        let parts: Vec<String> =
            counts.iter().filter(|c| c.1 > 0).map(|(name, n)| format!("{n} {name}")).collect();
        writeln!(streams.out, "{}: valid; {}", args.scenario.display(), parts.join(", "))?;
        for note in &ready.judging.notes {
            let waived = note.waived.as_ref().map_or(String::new(), |why| format!(" (waived: {why})"));
            writeln!(streams.out, "note: {}{}", printable(&note.text), printable(&waived))?;
        }
    }
    Ok(DONE)
}
