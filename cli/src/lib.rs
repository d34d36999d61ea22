//! Scenario files, HDF5 results and the commands of Joulestep.

pub mod account;
pub mod args;
pub mod commands;
pub mod diagnostic;
pub mod exit;
pub mod progress;
pub mod result;
pub mod scenario;

use std::ffi::OsString;
use std::io::{self, Write};

use clap::Parser;

use args::{Cli, Command};
use exit::{BAD_INPUT, DONE, Streams};

/// Carries out a command line and gives its exit code.
pub fn run(args: impl IntoIterator<Item = OsString>, out: &mut dyn Write, err: &mut dyn Write) -> u8 {
    let outcome = carry_out(args, &mut Streams { out, err });
    let outcome = outcome.and_then(|code| out.flush().map(|()| code));
    exit::code(outcome, err)
}

fn carry_out(args: impl IntoIterator<Item = OsString>, streams: &mut Streams<'_>) -> io::Result<u8> {
    let cli = match Cli::try_parse_from(args) {
        Ok(cli) => cli,
        Err(help) if !help.use_stderr() => {
            write!(streams.out, "{}", help.render())?;
            return Ok(DONE);
        }
        Err(wrong) => {
            write!(streams.err, "{}", wrong.render())?;
            return Ok(BAD_INPUT);
        }
    };
    match cli.command {
        Command::Run(args) => commands::run::run(&args, streams),
        Command::Check(args) => commands::check::check(&args, streams),
        Command::Schema(_) => commands::schema::schema(streams),
        Command::Completions(args) => commands::completions::completions(&args, streams),
    }
}
