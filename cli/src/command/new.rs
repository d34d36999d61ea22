//! `new`: a scenario to begin with.

use std::io;
use std::path::{Path, PathBuf};

use clap::ValueEnum;
use serde::Serialize;

use crate::command::args::NewArgs;
use crate::exit::{DONE, INPUT_OUTPUT};
use crate::output::streams::Streams;
use crate::output::written::{refused, write};

/// What a scenario may begin with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Starter {
    /// A solid-state breaker: load, short circuit, trip, with limits on clearing time, let-through I²t and energy
    Breaker,
    /// A leg of two switches with a dead time on an inductive load: switching energies of both
    Leg,
    /// A part file of your own on a bench: a turn-on and a turn-off of a clamped inductive load
    OwnPart,
}

impl Starter {
    /// Its name on the command line.
    fn name(self) -> &'static str {
        match self {
            Self::Breaker => "breaker",
            Self::Leg => "leg",
            Self::OwnPart => "own-part",
        }
    }

    fn help(self) -> String {
        let help = self.to_possible_value().and_then(|v| v.get_help().map(ToString::to_string));
        help.unwrap_or_default()
    }

    fn scenario(self) -> &'static str {
        match self {
            Self::Breaker => include_str!("new/breaker.toml"),
            Self::Leg => include_str!("new/leg.toml"),
            Self::OwnPart => include_str!("new/own-part.toml"),
        }
    }

    /// Files that stand beside the scenario, which names them.
    fn beside(self) -> &'static [(&'static str, &'static str)] {
        match self {
            Self::OwnPart => &[("my-part.toml", include_str!("new/my-part.toml"))],
            Self::Breaker | Self::Leg => &[],
        }
    }

    /// The files to be written, the scenario first.
    fn files(self, out: Option<&Path>) -> Vec<(PathBuf, &'static str)> {
        let scenario = out.map_or_else(|| PathBuf::from(format!("{}.toml", self.name())), Path::to_path_buf);
        let folder = scenario.parent().map_or_else(PathBuf::new, Path::to_path_buf);
        let beside = self.beside().iter().map(|(name, text)| (folder.join(name), *text));
        std::iter::once((scenario.clone(), self.scenario())).chain(beside).collect()
    }
}

impl NewArgs {
    /// What is to be written.
    pub fn paths(&self) -> Vec<PathBuf> {
        let files = self.name.map(|starter| starter.files(self.out.as_deref()));
        files.unwrap_or_default().into_iter().map(|f| f.0).collect()
    }
}

#[derive(Serialize)]
struct Listed {
    name: &'static str,
    help: String,
    files: Vec<PathBuf>,
}

#[derive(Serialize)]
struct Written<'a> {
    written: &'a [PathBuf],
}

/// Writes a scenario, or lists what there is.
///
/// # Errors
/// When a stream cannot be written.
pub fn new(args: &NewArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let Some(starter) = args.name.filter(|_| !args.list) else { return list(args.json, streams) };
    let files = starter.files(args.out.as_deref());
    for (path, _) in &files {
        if path.exists() {
            let what =
                format!("`{}` exists and is left as it is; name another file by --out", path.display());
            return refused(&(what, INPUT_OUTPUT), args.json, streams);
        }
    }
    for (path, text) in &files {
        if let Err(why) = write(path, text) {
            return refused(&why, args.json, streams);
        }
    }
    let written: Vec<PathBuf> = files.into_iter().map(|f| f.0).collect();
    if args.json {
        streams.json(&Written { written: &written })?;
        return Ok(DONE);
    }
    for path in &written {
        writeln!(streams.out, "Written: {}", path.display())?;
    }
    let scenario = &written[0];
    let result = scenario.with_extension("h5");
    writeln!(streams.out, "Next: joulestep run {} --out {}", scenario.display(), result.display())?;
    Ok(DONE)
}

fn list(json: bool, streams: &mut Streams<'_>) -> io::Result<u8> {
    let all = Starter::value_variants();
    if json {
        let listed = |s: &Starter| Listed {
            name: s.name(),
            help: s.help(),
            files: s.files(None).into_iter().map(|f| f.0).collect(),
        };
        streams.json(&all.iter().map(listed).collect::<Vec<_>>())?;
        return Ok(DONE);
    }
    for starter in all {
        writeln!(streams.out, "{:<10} {}", starter.name(), starter.help())?;
    }
    Ok(DONE)
}
