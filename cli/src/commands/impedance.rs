//! `impedance`: transient thermal impedance of a package, or of measured points.

use std::io;
use std::path::Path;

use crate::answer::Study;
use crate::args::ImpedanceArgs;
use crate::commands::options::{self, Refused, refused};
use crate::commands::refuse_in;
use crate::diagnostic::Sources;
use crate::exit::{BAD_INPUT, DONE, INPUT_OUTPUT, NUMERICAL, Streams};
use crate::impedance::{
    Impedance, as_study, json, picture, points_as_study, points_json, points_picture, points_text,
    read_points, solve, text,
};
use crate::package::read_with_text;
use crate::plot::Figure;
use crate::scenario::include::{open, reason};

/// Terms of the Foster fit of a package, unless asked otherwise.
const TERMS: usize = 8;

/// Computes and prints thermal impedances.
///
/// # Errors
/// When a stream cannot be written.
pub fn impedance(args: &ImpedanceArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let new = options::is_new(args.svg.as_deref(), args.force);
    if let Err(why) = new.and_then(|()| options::is_new(args.out.as_deref(), args.force)) {
        return refused(&why, args.json, streams);
    }
    if let Some(path) = &args.points {
        return of_points(args, path, streams);
    }
    let mut packages: Vec<Impedance> = Vec::new();
    let mut sources = Sources::default();
    for name in args.package.iter().chain(&args.against) {
        let package = match read_with_text(name, &open) {
            Ok((package, text)) => {
                sources.merge(text);
                package
            }
            Err(error) => {
                return refuse_in("the package", &error, Path::new(name), args.json, streams);
            }
        };
        let terms = args.terms.map_or(TERMS, usize::from);
        match solve(name, &package, args.cells as usize, terms) {
            Ok(package) => packages.push(package),
            Err(error) => {
                let code = if error.is_input() { BAD_INPUT } else { NUMERICAL };
                return refused(&(format!("{name}: {error}"), code), args.json, streams);
            }
        }
    }
    let file = || as_study(&packages, &streams.command, sources.full_text());
    if let Err(why) = keep(args, || picture(&packages), file) {
        return refused(&why, args.json, streams);
    }
    match args.json {
        true => streams.json(&json(&packages))?,
        false => write!(streams.out, "{}", text(&packages))?,
    }
    Ok(DONE)
}

fn of_points(args: &ImpedanceArgs, path: &Path, streams: &mut Streams<'_>) -> io::Result<u8> {
    let points = open(path)
        .map_err(|error| (format!("cannot read `{}`: {}", path.display(), reason(&error)), INPUT_OUTPUT))
        .and_then(|typed| {
            let points = read_points(&typed, args.terms.map(usize::from))
                .map_err(|error| (format!("{}: {error}", path.display()), BAD_INPUT))?;
            let file = || points_as_study(&points, &path.display().to_string(), &streams.command, &typed);
            keep(args, || points_picture(&points), file)?;
            Ok(points)
        });
    match points {
        Ok(points) if args.json => streams.json(&points_json(&points))?,
        Ok(points) => write!(streams.out, "{}", points_text(&points))?,
        Err(why) => return refused(&why, args.json, streams),
    }
    Ok(DONE)
}

/// Writes the picture and the result file that are asked for.
fn keep(
    args: &ImpedanceArgs,
    figure: impl FnOnce() -> Figure,
    study: impl FnOnce() -> Study,
) -> Result<(), Refused> {
    if let Some(path) = &args.svg {
        options::draw(path, &figure())?;
    }
    options::file(args.out.as_deref(), study)
}
