//! `impedance`: transient thermal impedance of a package stack, or of measured points.

use std::io;
use std::path::Path;

use crate::args::ImpedanceArgs;
use crate::commands::refuse;
use crate::exit::{BAD_INPUT, DONE, INPUT_OUTPUT, NUMERICAL, Streams};
use crate::impedance::{
    Impedance, json, picture, points_json, points_picture, points_text, read_points, solve, text,
};
use crate::package::read;
use crate::plot;
use crate::scenario::include::{open, reason};

/// Terms of the Foster fit of a stack, unless asked otherwise.
const TERMS: usize = 8;

/// Computes and tells thermal impedances.
///
/// # Errors
/// When a stream cannot be written.
pub fn impedance(args: &ImpedanceArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    if let Some(path) = &args.points {
        return of_points(args, path, streams);
    }
    let mut stacks: Vec<Impedance> = Vec::new();
    for name in args.stack.iter().chain(&args.against) {
        let package = match read(name, &open) {
            Ok(package) => package,
            Err(trouble) => return refuse(&trouble, Path::new(name), args.json, streams),
        };
        let terms = args.terms.map_or(TERMS, usize::from);
        match solve(name, &package, args.cells as usize, terms) {
            Ok(stack) => stacks.push(stack),
            Err(trouble) => {
                let code = if trouble.is_input() { BAD_INPUT } else { NUMERICAL };
                return tell(&format!("{name}: {trouble}"), code, args.json, streams);
            }
        }
    }
    let drawing = args.svg.as_ref().map(|path| (path.as_path(), picture(&stacks)));
    if let Some(code) = draw(drawing, args.json, streams)? {
        return Ok(code);
    }
    match args.json {
        true => writeln!(streams.out, "{:#}", json(&stacks))?,
        false => write!(streams.out, "{}", text(&stacks))?,
    }
    Ok(DONE)
}

fn of_points(args: &ImpedanceArgs, path: &Path, streams: &mut Streams<'_>) -> io::Result<u8> {
    let typed = match open(path) {
        Ok(typed) => typed,
        Err(error) => {
            let text = format!("cannot read `{}`: {}", path.display(), reason(&error));
            return tell(&text, INPUT_OUTPUT, args.json, streams);
        }
    };
    let points = match read_points(&typed, args.terms.map(usize::from)) {
        Ok(points) => points,
        Err(trouble) => {
            return tell(&format!("{}: {trouble}", path.display()), BAD_INPUT, args.json, streams);
        }
    };
    let drawing = args.svg.as_ref().map(|path| (path.as_path(), points_picture(&points)));
    if let Some(code) = draw(drawing, args.json, streams)? {
        return Ok(code);
    }
    match args.json {
        true => writeln!(streams.out, "{:#}", points_json(&points))?,
        false => write!(streams.out, "{}", points_text(&points))?,
    }
    Ok(DONE)
}

/// Writes a picture where one is asked for; the exit code if that fails.
fn draw(
    drawing: Option<(&Path, Result<String, plot::Trouble>)>,
    json: bool,
    streams: &mut Streams<'_>,
) -> io::Result<Option<u8>> {
    let Some((path, drawn)) = drawing else { return Ok(None) };
    let written = match drawn {
        Ok(picture) => std::fs::write(path, picture)
            .map_err(|error| format!("cannot write `{}`: {}", path.display(), reason(&error))),
        Err(trouble) => Err(trouble.to_string()),
    };
    match written {
        Ok(()) => Ok(None),
        Err(text) => tell(&text, INPUT_OUTPUT, json, streams).map(Some),
    }
}

/// Tells an error, as `refuse` does those of files.
fn tell(text: &str, code: u8, json: bool, streams: &mut Streams<'_>) -> io::Result<u8> {
    let text = crate::diagnostic::printable(text);
    if json {
        let errors = serde_json::json!([{ "found": text }]);
        writeln!(streams.out, "{:#}", serde_json::json!({ "valid": false, "errors": errors }))?;
    } else {
        writeln!(streams.err, "{text}")?;
    }
    Ok(code)
}
