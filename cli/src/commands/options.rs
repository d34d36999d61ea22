//! What options ask for: quantities, parts, files to write.

use std::io;
use std::path::Path;

use joulestep_engine::units::in_unit;
use joulestep_models::part::Part;
use serde::Serialize;

use crate::answer::Study;
use crate::args::OutputArgs;
use crate::commands::refuse_in;
use crate::diagnostic::Sources;
use crate::exit::{BAD_INPUT, INPUT_OUTPUT, NUMERICAL, Streams};
use crate::parts::load;
use crate::plot::{self, Figure};
use crate::scenario::include::open;

/// Why a command does not do its work: the text and the exit code.
pub(crate) type Refused = (String, u8);

#[derive(Serialize)]
struct Refusal<'a> {
    outcome: &'a str,
    why: &'a str,
}

/// Where a quantity must lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Lies {
    /// Any finite value.
    Anywhere,
    /// Zero or above.
    NotNegative,
    /// Above zero.
    Positive,
}

/// A quantity of an option, in its unit.
pub(crate) fn quantity(option: &str, text: &str, unit: &str, lies: Lies) -> Result<f64, Refused> {
    let value = in_unit(text, unit)
        .map_err(|e| (format!("{option}: {e}; expected {}", e.expected(unit)), BAD_INPUT))?;
    let (fits, expected) = match lies {
        Lies::Anywhere => (true, ""),
        Lies::NotNegative => (value >= 0.0, "zero or above"),
        Lies::Positive => (value > 0.0, "above zero"),
    };
    if fits {
        Ok(value)
    } else {
        Err((format!("{option}: `{text}` is {value}; expected {expected}"), BAD_INPUT))
    }
}

/// The quantity of an option that may be left out.
pub(crate) fn perhaps(
    option: &str,
    text: Option<&String>,
    unit: &str,
    lies: Lies,
) -> Result<Option<f64>, Refused> {
    text.map(|t| quantity(option, t, unit, lies)).transpose()
}

/// The quantities of an option that takes a list.
pub(crate) fn list(option: &str, texts: &[String], unit: &str, lies: Lies) -> Result<Vec<f64>, Refused> {
    texts.iter().map(|t| quantity(option, t.trim(), unit, lies)).collect()
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

/// The named parts, each shipped or a file, and the texts of their files; `Err` holds the exit code after the error
/// has been told.
pub(crate) fn parts(
    names: &[String],
    json: bool,
    streams: &mut Streams<'_>,
) -> io::Result<Result<(Vec<Part>, Sources), u8>> {
    let mut out = (Vec::new(), Sources::default());
    for name in names {
        match load(name, &open) {
            Ok(loaded) => {
                out.0.push(loaded.part);
                out.1.merge(loaded.sources);
            }
            Err(error) => return refuse_in("the part", &error, name.as_ref(), json, streams).map(Err),
        }
    }
    Ok(Ok(out))
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

/// Refuses the files that an output names, where they exist and are not to be replaced.
pub(crate) fn are_new(output: &OutputArgs) -> Result<(), Refused> {
    is_new(output.svg.as_deref(), output.force)?;
    is_new(output.out.as_deref(), output.force)
}

/// Writes the picture and the result file that an output asks for.
pub(crate) fn keep(
    output: &OutputArgs,
    figure: impl FnOnce() -> Figure,
    study: impl FnOnce() -> Study,
) -> Result<(), Refused> {
    if let Some(path) = &output.svg {
        draw(path, &figure())?;
    }
    file(output.out.as_deref(), study)
}

/// Writes a study, where a file is asked for.
pub(crate) fn file(path: Option<&Path>, study: impl FnOnce() -> Study) -> Result<(), Refused> {
    match path {
        Some(path) => study().write(path).map_err(|e| (e.to_string(), INPUT_OUTPUT)),
        None => Ok(()),
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
        (format!("cannot write `{}`: {}", path.display(), crate::scenario::include::reason(&e)), INPUT_OUTPUT)
    };
    std::fs::write(path, content).map_err(reason)
}
