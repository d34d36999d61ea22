//! Scenario files, HDF5 results and the commands of Joulestep.
//!
//! [`run`] carries out a command line. The stages behind it serve on their own too; a scenario from a text, run in
//! memory:
//!
//! ```
//! use std::path::Path;
//!
//! use joulestep::input::scenario::{build::build, resolve::read};
//! use joulestep_engine::recorder::InMemory;
//!
//! let text = r#"
//! format = 2
//! [[component]]
//! name = "supply"
//! kind = "voltage-source"
//! pins = ["in", "gnd"]
//! value = "12 V"
//! [[component]]
//! name = "R1"
//! kind = "resistor"
//! pins = ["in", "out"]
//! resistance = "2 ohm"
//! [[component]]
//! name = "R2"
//! kind = "resistor"
//! pins = ["out", "gnd"]
//! resistance = "4 ohm"
//! [steps]
//! end = "10 us"
//! base = "1 us"
//! [record]
//! signals = ["voltage(out)"]
//! "#;
//! let scenario = read(Path::new("divider.toml"), &|_| Ok(text.to_string())).expect("it is right");
//! let ready = build(&scenario).expect("it can be built");
//! let mut run = ready.setup.ready()?;
//! let mut memory = InMemory::default();
//! run.advance(scenario.steps.end, &mut memory)?;
//! assert!((memory.samples.last().unwrap()[0] - 8.0).abs() < 1e-9);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

// What everything uses.
pub mod cache;
pub mod diagnostic;
pub mod exit;
pub mod judge;
pub mod processor;
pub mod progress;
mod signals;
// What comes in.
pub mod input;
// What goes out.
pub mod output;
// One question each.
pub mod study;
// Many variants.
pub mod batch;
// The command line.
pub mod command;

use std::ffi::OsString;
use std::io::{self, Write};
use std::path::PathBuf;

use clap::error::{ContextKind, ContextValue};
use clap::{CommandFactory, FromArgMatches};

use command::args::{self, Cli, Command};
use exit::{BAD_INPUT, DONE};
use input::access::Access;
use input::keys::renamed;
use output::streams::{self, Streams};
use output::written;

/// Carries out a command line and gives its exit code.
pub fn run(args: impl IntoIterator<Item = OsString>, out: &mut dyn Write, err: &mut dyn Write) -> u8 {
    let args: Vec<OsString> = args.into_iter().collect();
    signals::outgrow();
    signals::listen();
    let command = streams::typed(&args);
    let outcome = execute(args, &mut Streams { out, err, command, access: Access::default() });
    let outcome = outcome.and_then(|code| out.flush().map(|()| code));
    streams::code(outcome, err)
}

/// For the program itself: asked by a signal to stop, the process ends within a second, even where a computation does
/// not look up in time.
pub fn end_in_time() {
    signals::end_in_time();
}

fn execute(args: Vec<OsString>, streams: &mut Streams<'_>) -> io::Result<u8> {
    let json = args.iter().any(|arg| arg == "--json");
    let matches = match command_line().try_get_matches_from(args) {
        Ok(matches) => matches,
        Err(help) if !help.use_stderr() => {
            write!(streams.out, "{}", help.render())?;
            return Ok(DONE);
        }
        Err(wrong) => {
            let typed = match wrong.get(ContextKind::InvalidSubcommand) {
                Some(ContextValue::String(typed)) => typed.as_str(),
                _ => "",
            };
            if let Some(new) = renamed::command(typed) {
                writeln!(streams.err, "{}\n", renamed::called(typed, new))?;
            }
            write!(streams.err, "{}", wrong.render())?;
            return Ok(BAD_INPUT);
        }
    };
    let outside: Vec<PathBuf> = matches.get_many("allow_outside").into_iter().flatten().cloned().collect();
    if let Some((entry, matches)) = selected_study(&matches) {
        if let Err(why) = streams.admit(&args::of_study(entry, matches), &outside) {
            return written::refused(&why, json, streams);
        }
        return entry.execute(matches, streams);
    }
    let cli = match Cli::from_arg_matches(&matches) {
        Ok(cli) => cli,
        Err(wrong) => {
            write!(streams.err, "{}", wrong.render())?;
            return Ok(BAD_INPUT);
        }
    };
    if let Err(why) = streams.admit(&args::named(&cli.command), &outside) {
        return written::refused(&why, json, streams);
    }
    match cli.command {
        Command::Check(args) => command::check::check(&args, streams),
        Command::New(args) => command::new::new(&args, streams),
        Command::Report(args) => command::report::report(&args, streams),
        Command::Batch(args) => command::batch::batch(&args, streams),
        Command::Parts(command) => command::parts::parts(&command, streams),
        Command::View(args) => command::view::view(&args, streams),
        Command::Cache(args) => command::cache::cache(&args, streams),
        Command::Schema(args) => command::schema::schema(&args, streams),
        Command::Completions(args) => command::completions::completions(&args, streams),
    }
}

/// The whole command line: the commands of their own, and those of the study catalogue.
pub fn command_line() -> clap::Command {
    let mut command = Cli::command();
    for entry in study::CATALOGUE {
        command = match entry.name.split_once(' ') {
            Some((group, _)) => command.mut_subcommand(group, |c| c.subcommand(entry.command())),
            None => command.subcommand(entry.command()),
        };
    }
    command
}

/// The study that was asked for, with its options.
fn selected_study(matches: &clap::ArgMatches) -> Option<(&'static study::Entry, &clap::ArgMatches)> {
    let (first, inner) = matches.subcommand()?;
    let (name, inner) = match inner.subcommand() {
        Some((second, deeper)) => (format!("{first} {second}"), deeper),
        None => (first.to_string(), inner),
    };
    study::CATALOGUE.iter().find(|e| e.name == name).map(|e| (*e, inner))
}
