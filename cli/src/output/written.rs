//! What commands share: refusals, and files to write.

use std::io;
use std::path::Path;

use serde::Serialize;

use crate::exit::{INPUT_OUTPUT, NUMERICAL};
use crate::output::files;
use crate::output::plot::{self, Figure};
use crate::output::streams::Streams;

/// Why a command does not do its work: the text and the exit code.
pub(crate) type Refused = (String, u8);

#[derive(Serialize)]
struct Refusal<'a> {
    outcome: &'a str,
    why: &'a str,
}

/// Tells why, for people or as JSON, and gives the exit code.
pub(crate) fn refused((what, code): &Refused, json: bool, streams: &mut Streams<'_>) -> io::Result<u8> {
    if json {
        streams.json(&Refusal { outcome: "refused", why: what })?;
    } else {
        writeln!(streams.err, "{what}")?;
    }
    Ok(*code)
}

/// Refuses a file that exists unless it is to be replaced.
pub(crate) fn is_new(path: Option<&Path>, force: bool) -> Result<(), Refused> {
    match path.filter(|p| !force && p.exists()) {
        None => Ok(()),
        Some(p) => Err((
            format!("`{}` exists; expected a new file, or --force to replace it", p.display()),
            INPUT_OUTPUT,
        )),
    }
}

/// Draws a figure into a file: pixels where its name ends in `.png`, else SVG.
pub(crate) fn draw(path: &Path, figure: &Figure) -> Result<(), Refused> {
    let wrong = |e: plot::PlotError| (e.to_string(), NUMERICAL);
    if path.extension().is_some_and(|e| e.eq_ignore_ascii_case("png")) {
        return write(path, plot::png(figure).map_err(wrong)?);
    }
    write(path, plot::svg(figure).map_err(wrong)?)
}

/// Writes a file.
pub(crate) fn write(path: &Path, content: impl AsRef<[u8]>) -> Result<(), Refused> {
    let reason = |e| {
        (
            format!("cannot write `{}`: {}", path.display(), crate::input::keys::include::reason(&e)),
            INPUT_OUTPUT,
        )
    };
    files::write(path, content.as_ref()).map_err(reason)
}
