//! The command line: its arguments, and the commands that are no studies, one verb each.

pub mod args;

pub mod batch;
pub mod cache;
pub mod check;
pub mod completions;
pub mod new;
mod options;
pub mod parts;
pub mod report;
pub mod schema;
mod spread;
pub mod study;
pub mod view;

use std::io;
use std::path::Path;

use serde::Serialize;

use crate::diagnostic::Invalid;
use crate::exit::BAD_INPUT;
use crate::input::access::{reason, unread};
use crate::input::keys::InputError;
use crate::output::streams::Streams;

#[derive(Serialize)]
struct Unread {
    file: String,
    found: String,
}

/// Tells why a scenario was not accepted, and the exit code for it.
pub(crate) fn refuse(
    error: &InputError,
    path: &Path,
    json: bool,
    streams: &mut Streams<'_>,
) -> io::Result<u8> {
    refuse_in("the scenario", error, path, json, streams)
}

/// The same for a file that is something else than a scenario.
pub(crate) fn refuse_in(
    what: &str,
    error: &InputError,
    path: &Path,
    json: bool,
    streams: &mut Streams<'_>,
) -> io::Result<u8> {
    match error {
        InputError::Unreadable(error) => {
            let text = format!("cannot read `{}`: {}", path.display(), reason(error));
            if json {
                let errors = vec![Unread { file: path.display().to_string(), found: text }];
                streams.json(&Invalid { valid: false, errors, more: 0 })?;
            } else {
                writeln!(streams.err, "{text}")?;
            }
            Ok(unread(error))
        }
        InputError::Refused(refusal) => {
            if json {
                streams.json(&refusal.json())?;
            } else {
                write!(streams.err, "{}", refusal.text_in(what))?;
            }
            Ok(BAD_INPUT)
        }
    }
}
