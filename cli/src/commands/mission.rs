//! `mission`: junction temperatures of a scenario's arrangement through a profile of load and ambient.

use std::io;
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::Ordering;

use joulestep_engine::cycle::steady::Effort;
use joulestep_models::arrangement::mission::Options;

use crate::args::MissionArgs;
use crate::commands::assess::assess;
use crate::commands::options::{self, Lies, Refused};
use crate::commands::run::listen;
use crate::commands::{refuse, refuse_in};
use crate::exit::{BAD_INPUT, INPUT_OUTPUT, INTERRUPTED, Streams};
use crate::judge::exit_code;
use crate::mission::judge::{Job, known};
use crate::mission::store::File;
use crate::mission::study::study;
use crate::mission::summary::{MissionReport, json, text};
use crate::mission::{picture, profile, tables};
use crate::scenario::build::{Reductions, build_with};
use crate::scenario::include::open;
use crate::scenario::resolve::{InputError, read};
use crate::scenario::resolved::Scenario;

fn options(args: &MissionArgs, scenario: &Scenario) -> Result<Options, Refused> {
    let tolerance = options::quantity("--tolerance", &args.tolerance, "K", Lies::Positive)?;
    let closing = options::quantity("--closing", &args.closing, "1", Lies::Positive)?;
    options::are_new(&args.output)?;
    Ok(Options {
        tolerance,
        resolve: args.resolve,
        every_cycle: args.every_cycle,
        effort: Effort { closing, ..Effort::default() },
        switching: scenario.arrangement.as_ref().map(|a| a.values.number("frequency")),
    })
}

/// Follows a mission.
///
/// # Errors
/// When a stream cannot be written.
pub fn mission(args: &MissionArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let path: &Path = &args.scenario;
    let as_json = args.output.json;
    let scenario = match read(path, &open) {
        Ok(scenario) => scenario,
        Err(error) => return refuse(&error, path, as_json, streams),
    };
    let reductions = Reductions::default();
    let ready = match build_with(&scenario, &reductions) {
        Ok(ready) => ready,
        Err(refusal) => {
            return refuse_in("the scenario", &InputError::Refused(refusal), path, as_json, streams);
        }
    };
    let bad = |what: &str| (format!("{}: {what}", path.display()), BAD_INPUT);
    let (Some(spec), Some(arrangement)) = (scenario.mission.clone(), scenario.arrangement.clone()) else {
        return options::refused(
            &bad("no [mission]: expected a profile of load or ambient"),
            as_json,
            streams,
        );
    };
    let options = match options(args, &scenario) {
        Ok(options) => options,
        Err(why) => return options::refused(&why, as_json, streams),
    };
    let network = ready.setup.thermal.as_ref().map(|t| t.modal());
    let boundaries = network.map_or(&[][..], |m| m.boundaries());
    let inputs = network.map_or(Vec::new(), |m| m.inputs().to_vec());
    if ready.placed.iter().all(|p| p.heat.iter().all(Option::is_none)) {
        let what =
            "no die of the arrangement has a heat input (named PLACE-DIE): there is no temperature to follow";
        return options::refused(&bad(what), as_json, streams);
    }
    let Some(profile) = profile(&spec, boundaries) else {
        return options::refused(
            &bad("a course of a boundary that the network does not have"),
            as_json,
            streams,
        );
    };
    let kind = arrangement.arrangement.kind;
    let title = if scenario.title.is_empty() { kind.to_string() } else { scenario.title.clone() };
    let create = |out: &Path| {
        let file = File::create(out, &scenario.sources.full_text(), &spec, &profile, &inputs);
        file.map_err(|e| (e.to_string(), INPUT_OUTPUT))
    };
    // A proof's file is that of its last round, written when it is known which that is.
    let file = match args.output.out.as_deref().filter(|_| !args.assess.prove).map(&create).transpose() {
        Ok(file) => file,
        Err(why) => return options::refused(&why, as_json, streams),
    };
    drop(ready);
    let job = Job {
        scenario: &scenario,
        reductions: &reductions,
        spec: &spec,
        profile: &profile,
        options: &options,
        repeating: args.repeating,
        file: Mutex::new(file),
        quiet: args.quiet || as_json || args.output.csv,
        stop: listen(),
    };
    let stop = || job.stop.load(Ordering::Relaxed);
    let known = match assess(&args.assess, "numbers and file", &stop, &|level, near| job.round(level, near)) {
        Ok(assessed) => known(assessed),
        Err((why, code)) => {
            return options::refused(&(format!("{}: {why}", path.display()), code), as_json, streams);
        }
    };
    let mut file = job.file.lock().ok().and_then(|mut f| f.take());
    if args.assess.prove
        && let Some(out) = args.output.out.as_deref()
    {
        match create(out) {
            Ok(mut fresh) => {
                known.events.iter().for_each(|(t, what)| fresh.event(*t, *what));
                known.followed.course.iter().for_each(|instant| fresh.instant(instant));
                file = Some(fresh);
            }
            Err(why) => return options::refused(&why, as_json, streams),
        }
    }
    let followed = &known.followed;
    let report = MissionReport {
        kind: arrangement.arrangement.kind,
        known: &known,
        law: spec.damage.as_ref(),
        options: &options,
        rounds: profile.rounds,
        repeating: args.repeating,
    };
    let figure = || picture::figure(&title, &spec, &profile, followed, &known.lives);
    let mut written = None;
    if let Some(file) = file {
        let found = study(&report, &title, &streams.command, scenario.sources.full_text(), figure());
        match file.finish(&known, found) {
            Ok(bytes) => written = Some(bytes),
            Err(e) => return options::refused(&(e.to_string(), INPUT_OUTPUT), as_json, streams),
        }
    }
    if let Some(path) = &args.output.svg
        && let Err(why) = options::draw(path, &figure())
    {
        return options::refused(&why, as_json, streams);
    }
    if as_json {
        streams.json(&json(&report))?;
    } else if args.output.csv {
        write!(streams.out, "{}", tables::course(followed).csv())?;
    } else {
        write!(streams.out, "{}", text(&report))?;
        if let (Some(bytes), Some(path)) = (written, &args.output.out) {
            writeln!(streams.out, "Written: {} ({:.1} MB)", path.display(), bytes as f64 / 1e6)?;
        }
    }
    let error = (!followed.complete).then_some(INTERRUPTED);
    Ok(exit_code(error, known.account.verdict()))
}
