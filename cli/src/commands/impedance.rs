//! `impedance`: transient thermal impedance of a package stack, or of measured points.

use std::io;
use std::path::Path;

use crate::access::{reason, unread};
use crate::args::ImpedanceArgs;
use crate::commands::asked::{self, Refused, refused};
use crate::commands::refuse_in;
use crate::diagnostic::Sources;
use crate::exit::{BAD_INPUT, DONE, NUMERICAL, Streams};
use crate::impedance::{
    Impedance, as_study, json, picture, points_as_study, points_json, points_picture, points_text,
    read_points, solve, text,
};
use crate::package::read_with_text;
use crate::plot::Figure;
use crate::result::Study;

/// Terms of the Foster fit of a stack, unless asked otherwise.
const TERMS: usize = 8;

/// Computes and tells thermal impedances.
///
/// # Errors
/// When a stream cannot be written.
pub fn impedance(args: &ImpedanceArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let new = asked::is_new(args.svg.as_deref(), args.force);
    if let Err(why) = new.and_then(|()| asked::is_new(args.out.as_deref(), args.force)) {
        return refused(&why, args.json, streams);
    }
    if let Some(path) = &args.points {
        return of_points(args, path, streams);
    }
    let mut stacks: Vec<Impedance> = Vec::new();
    let mut sources = Sources::default();
    for name in args.stack.iter().chain(&args.against) {
        let package = match read_with_text(name, &streams.access.open()) {
            Ok((package, text)) => {
                sources.merge(text);
                package
            }
            Err(trouble) => {
                return refuse_in("the package stack", &trouble, Path::new(name), args.json, streams);
            }
        };
        let terms = args.terms.map_or(TERMS, usize::from);
        match solve(name, &package, args.cells as usize, terms) {
            Ok(stack) => stacks.push(stack),
            Err(trouble) => {
                let code = if trouble.is_input() { BAD_INPUT } else { NUMERICAL };
                return refused(&(format!("{name}: {trouble}"), code), args.json, streams);
            }
        }
    }
    let file = || as_study(&stacks, &streams.command, sources.clone());
    if let Err(why) = keep(args, || picture(&stacks), file) {
        return refused(&why, args.json, streams);
    }
    match args.json {
        true => streams.json(&json(&stacks))?,
        false => write!(streams.out, "{}", text(&stacks))?,
    }
    Ok(DONE)
}

fn of_points(args: &ImpedanceArgs, path: &Path, streams: &mut Streams<'_>) -> io::Result<u8> {
    let points = streams.access.open()(path)
        .map_err(|error| (format!("cannot read `{}`: {}", path.display(), reason(&error)), unread(&error)))
        .and_then(|typed| {
            let points = read_points(&typed, args.terms.map(usize::from))
                .map_err(|trouble| (format!("{}: {trouble}", path.display()), BAD_INPUT))?;
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
        asked::draw(path, &figure())?;
    }
    asked::file(args.out.as_deref(), study)
}
