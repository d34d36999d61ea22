//! `check`: is the scenario right?

use std::collections::BTreeMap;
use std::io;

use serde::Serialize;

use crate::args::CheckArgs;
use crate::commands::refuse;
use crate::exit::{DONE, Streams};
use crate::scenario::build::build;
use crate::scenario::include::open;
use crate::scenario::resolve::{Trouble, read};

#[derive(Serialize)]
struct Told<'a> {
    valid: bool,
    title: &'a str,
    files: Vec<String>,
    counts: BTreeMap<String, usize>,
    loose_ends: Vec<Loose<'a>>,
}

#[derive(Serialize)]
struct Loose<'a> {
    node: &'a str,
    component: &'a str,
}

/// Checks a scenario and says what it holds.
///
/// # Errors
/// When a stream cannot be written.
pub fn check(args: &CheckArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let scenario = match read(&args.scenario, &open) {
        Ok(scenario) => scenario,
        Err(trouble) => return refuse(&trouble, &args.scenario, args.json, streams),
    };
    let ready = match build(&scenario) {
        Ok(ready) => ready,
        Err(refusal) => return refuse(&Trouble::Refused(refusal), &args.scenario, args.json, streams),
    };
    let counts = [
        ("components", scenario.components.len()),
        ("drives", scenario.drives.len()),
        ("guards", scenario.guards.len()),
        ("controllers", scenario.controllers.len()),
        ("happenings", scenario.happenings.len()),
        ("heat inputs", scenario.thermal.input_names().len()),
        ("signals", scenario.record.signals.len()),
        ("limits", scenario.limits.len()),
    ];
    if args.json {
        let loose = ready.loose_ends.iter().map(|l| Loose { node: &l.node, component: &l.component });
        streams.json(&Told {
            valid: true,
            title: &scenario.title,
            files: scenario.sources.files.iter().map(|f| f.0.display().to_string()).collect(),
            counts: counts.iter().map(|(name, n)| (name.replace(' ', "_"), *n)).collect(),
            loose_ends: loose.collect(),
        })?;
    } else {
        let parts: Vec<String> =
            counts.iter().filter(|c| c.1 > 0).map(|(name, n)| format!("{n} {name}")).collect();
        writeln!(streams.out, "{}: valid; {}", args.scenario.display(), parts.join(", "))?;
    }
    if !args.json {
        for loose in &ready.loose_ends {
            let (node, component) = (&loose.node, &loose.component);
            writeln!(streams.out, "note: only one pin touches node `{node}` (component `{component}`)")?;
        }
    }
    Ok(DONE)
}
