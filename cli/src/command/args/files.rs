//! The files of a command line: what a command reads and what it is to write, by the options that name them.

use std::path::PathBuf;

use clap::ArgMatches;

use super::{BatchCommand, BatchOutputArgs, Command, PartsCommand};
use crate::batch::journal::path_of;
use crate::input::keys::shape::Key;
use crate::output::files::Named;
use crate::study::{Entry, What};

/// A table, and where variants are run the journal beside it.
fn with_table(named: Named, output: &BatchOutputArgs, runs: bool) -> Named {
    let journal = output.out.as_deref().filter(|_| runs).map(path_of);
    named
        .file("--out", output.out.as_ref())
        .file("the journal of --out", journal.as_ref())
        .file("--csv", output.csv.as_ref())
        .file("--parquet", output.parquet.as_ref())
        .file("--plot", output.svg.as_ref())
}

/// The files of a study's command.
pub fn of_study(entry: &'static Entry, matches: &ArgMatches) -> Named {
    let mut named = Named::default();
    let names =
        |key: Key| matches.get_many::<String>(key.name).into_iter().flatten().cloned().collect::<Vec<_>>();
    for input in entry.inputs {
        named = match input.what {
            What::Part | What::Package => named.shelved(&names(input.key)),
            _ => named.read(&names(input.key).into_iter().map(PathBuf::from).collect::<Vec<_>>()),
        };
    }
    if entry.takes_scenario() {
        named = named.read(matches.try_get_one::<PathBuf>("spread").ok().flatten());
    }
    for id in ["plot", "out"] {
        named = named.file(&format!("--{id}"), matches.get_one::<PathBuf>(id));
    }
    for &(key, folder) in entry.writes {
        let option = format!("--{}", key.name);
        let path = matches.get_one::<String>(key.name).map(PathBuf::from);
        named =
            if folder { named.folder(&option, path.as_ref()) } else { named.file(&option, path.as_ref()) };
    }
    named
}

/// The files of a command.
pub fn named(command: &Command) -> Named {
    let none = Named::default();
    match command {
        Command::Check(a) => none.read([&a.scenario]),
        Command::New(a) => a.paths().iter().fold(none, |named, path| named.file("--out", Some(path))),

        Command::Report(a) => {
            none.read([&a.result]).file("--out", a.out.as_ref()).folder("--figures", a.figures.as_ref())
        }
        Command::Batch(a) => match &a.command {
            None if a.count => none.read(&a.plan),
            None => with_table(none.read(&a.plan), &a.output, true),
            Some(BatchCommand::Merge(m)) => {
                let journals: Vec<PathBuf> = m.shards.iter().map(|shard| path_of(shard)).collect();
                with_table(none.read([&m.plan]).read(&m.shards).read(&journals), &m.output, false)
            }
        },

        Command::Parts(PartsCommand::Show(a)) => none.shelved([&a.part]),

        Command::View(a) => none.read(&a.files).read(&a.beside),
        Command::Parts(PartsCommand::List(_))
        | Command::Cache(_)
        | Command::Schema(_)
        | Command::Completions(_) => none,
    }
}
