//! `duty`: junction temperatures of a scenario's arrangement through a profile of load and ambient.

use std::io;
use std::path::Path;
use std::sync::atomic::Ordering;

use joulestep_engine::cycle::steady::Effort;
use joulestep_models::arrangement::duty::{DutyTrouble, Happening, Instant, Listener, Options, follow};

use crate::args::DutyArgs;
use crate::commands::asked::{self, Lies, Refused};
use crate::commands::run::listen;
use crate::commands::{refuse, refuse_in};
use crate::duty::store::File;
use crate::duty::study::study;
use crate::duty::tell::{Told, json, text};
use crate::duty::{life, make, picture, profile, sheets};
use crate::exit::{BAD_INPUT, DONE, INPUT_OUTPUT, INTERRUPTED, NUMERICAL, Streams};
use crate::progress::Progress;
use crate::scenario::build::{Reductions, build_with};
use crate::scenario::include::open;
use crate::scenario::meant::{CourseOf, Scenario};
use crate::scenario::resolve::{Trouble, read};

/// Writes the file, shows progress, and stops when asked.
struct Onlooker {
    file: Option<File>,
    progress: Progress,
    stop: &'static std::sync::atomic::AtomicBool,
}

impl Listener for Onlooker {
    fn instant(&mut self, instant: &Instant) {
        if let Some(file) = &mut self.file {
            file.instant(instant);
        }
    }
    fn happening(&mut self, t: f64, what: Happening) {
        if let Some(file) = &mut self.file {
            file.happening(t, what);
        }
    }
    fn go_on(&mut self, t: f64) -> bool {
        self.progress.at(t);
        let writes = self.file.as_mut().is_none_or(|f| f.go_on(t));
        writes && !self.stop.load(Ordering::Relaxed)
    }
}

fn options(args: &DutyArgs, scenario: &Scenario) -> Result<Options, Refused> {
    let tolerance = asked::quantity("--tolerance", &args.tolerance, "K", Lies::Positive)?;
    let closing = asked::quantity("--closing", &args.closing, "1", Lies::Positive)?;
    asked::are_new(&args.output)?;
    Ok(Options {
        tolerance,
        resolve: args.resolve,
        every_cycle: args.every_cycle,
        effort: Effort { closing, ..Effort::default() },
        switching: scenario.arrangement.as_ref().map(|a| a.values.number("frequency")),
    })
}

fn code(trouble: &DutyTrouble) -> u8 {
    match trouble {
        DutyTrouble::Cycle { .. } | DutyTrouble::Numerical { .. } | DutyTrouble::Runaway { .. } => NUMERICAL,
        _ => BAD_INPUT,
    }
}

/// Follows a duty.
///
/// # Errors
/// When a stream cannot be written.
pub fn duty(args: &DutyArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let path: &Path = &args.scenario;
    let as_json = args.output.json;
    let mut scenario = match read(path, &open) {
        Ok(scenario) => scenario,
        Err(trouble) => return refuse(&trouble, path, as_json, streams),
    };
    let reductions = Reductions::default();
    let ready = match build_with(&scenario, &reductions) {
        Ok(ready) => ready,
        Err(refusal) => return refuse_in("the scenario", &Trouble::Refused(refusal), path, as_json, streams),
    };
    let bad = |what: &str| (format!("{}: {what}", path.display()), BAD_INPUT);
    let (Some(spec), Some(arrangement)) = (scenario.duty.clone(), scenario.arrangement.clone()) else {
        return asked::refused(&bad("no [duty]: expected a profile of load or ambient"), as_json, streams);
    };
    let options = match options(args, &scenario) {
        Ok(options) => options,
        Err(why) => return asked::refused(&why, as_json, streams),
    };
    let network = ready.setup.thermal.as_ref().map(|t| t.modal());
    let boundaries = network.map_or(&[][..], |m| m.boundaries());
    let inputs = network.map_or(Vec::new(), |m| m.inputs().to_vec());
    if ready.placed.iter().all(|p| p.heat.iter().all(Option::is_none)) {
        let what =
            "no die of the arrangement has a heat input (named PLACE-DIE): there is no temperature to follow";
        return asked::refused(&bad(what), as_json, streams);
    }
    let Some(profile) = profile(&spec, boundaries) else {
        return asked::refused(
            &bad("a course of a boundary that the network does not have"),
            as_json,
            streams,
        );
    };
    let kind = arrangement.arrangement.kind;
    let title = if scenario.title.is_empty() { kind.to_string() } else { scenario.title.clone() };
    let file = match args.output.out.as_deref() {
        None => None,
        Some(out) => match File::create(out, &scenario.sources.full_text(), &spec, &profile, &inputs) {
            Ok(file) => Some(file),
            Err(e) => return asked::refused(&(e.to_string(), INPUT_OUTPUT), as_json, streams),
        },
    };
    drop(ready);
    let quiet = args.quiet || as_json || args.output.csv;
    let progress = Progress::new(quiet, profile.duration());
    let mut onlooker = Onlooker { file, progress, stop: listen() };
    let keys: Vec<&'static str> = spec
        .courses
        .iter()
        .filter_map(|c| match c.of {
            CourseOf::Parameter(key) => Some(key),
            CourseOf::Boundary(_) => None,
        })
        .collect();
    let outcome = {
        let mut lay = |values: &[f64]| make(&mut scenario, &reductions, &keys, values);
        follow(&profile, &mut lay, &options, &mut onlooker)
    };
    onlooker.progress.done();
    let followed = match outcome {
        Ok(followed) => followed,
        // The file is closed as a partial one.
        Err(trouble) => {
            let why = (format!("{}: {trouble}", path.display()), code(&trouble));
            return asked::refused(&why, as_json, streams);
        }
    };
    let lives = life(&followed, spec.damage.as_ref(), args.repeating);
    let told = Told {
        kind: arrangement.arrangement.kind,
        followed: &followed,
        lives: &lives,
        law: spec.damage.as_ref(),
        options: &options,
        rounds: profile.rounds,
        repeating: args.repeating,
    };
    let figure = || picture::figure(&title, &spec, &profile, &followed, &lives);
    let mut written = None;
    if let Some(file) = onlooker.file.take() {
        let found = study(&told, &title, &streams.command, scenario.sources.full_text(), figure());
        match file.finish(&followed, &lives, found) {
            Ok(bytes) => written = Some(bytes),
            Err(e) => return asked::refused(&(e.to_string(), INPUT_OUTPUT), as_json, streams),
        }
    }
    if let Some(path) = &args.output.svg
        && let Err(why) = asked::draw(path, &figure())
    {
        return asked::refused(&why, as_json, streams);
    }
    if as_json {
        streams.json(&json(&told))?;
    } else if args.output.csv {
        write!(streams.out, "{}", sheets::course(&followed).csv())?;
    } else {
        write!(streams.out, "{}", text(&told))?;
        if let (Some(bytes), Some(path)) = (written, &args.output.out) {
            writeln!(streams.out, "Written: {} ({:.1} MB)", path.display(), bytes as f64 / 1e6)?;
        }
    }
    Ok(if followed.complete { DONE } else { INTERRUPTED })
}
