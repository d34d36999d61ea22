//! `report`: a result file as a document.

use std::io;
use std::path::{Path, PathBuf};

use serde::Serialize;

use crate::batch::report::read;
use crate::command::args::{ReportArgs, ReportFormat};
use crate::exit::{DONE, INPUT_OUTPUT, NUMERICAL};
use crate::input::keys::include::reason;
use crate::output::files;
use crate::output::plot;
use crate::output::report::{Report, ReportError, html, markdown};
use crate::output::streams::Streams;
use crate::output::written::{self, Refused, refused};

fn wrong(error: &ReportError) -> Refused {
    let code = if matches!(error, ReportError::File(_)) { INPUT_OUTPUT } else { NUMERICAL };
    (error.to_string(), code)
}

#[derive(Serialize)]
struct Document<'a> {
    kind: &'a str,
    title: &'a str,
    verdict: &'a str,
    answers: &'a [String],
    warnings: &'a [String],
    written: &'a [String],
}

/// What goes where.
struct Plan {
    /// The report, and whether it is Markdown.
    report: Option<(PathBuf, bool)>,
    /// Folder of the figures.
    figures: Option<PathBuf>,
    png: bool,
}

fn plan(args: &ReportArgs) -> Plan {
    let ends_in_md = |p: &PathBuf| p.extension().is_some_and(|e| e.eq_ignore_ascii_case("md"));
    let report = args.out.as_ref().map(|out| {
        let md = match args.format {
            Some(ReportFormat::Md) => true,
            Some(ReportFormat::Html) => false,
            _ => ends_in_md(out),
        };
        (out.clone(), md)
    });
    // Markdown needs its figures somewhere.
    let beside = report.as_ref().filter(|r| r.1).map(|(out, _)| {
        let stem = out.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
        out.with_file_name(format!("{stem}-figures"))
    });
    Plan { report, figures: args.figures.clone().or(beside), png: args.format == Some(ReportFormat::Png) }
}

/// A figure's file, seen from the folder of the report.
fn seen(report: &Path, folder: &Path, file: &str) -> String {
    let home = report.parent().unwrap_or(Path::new(""));
    let near = folder.strip_prefix(home).map(Path::to_path_buf);
    let shown = near.unwrap_or_else(|_| std::path::absolute(folder).unwrap_or_else(|_| folder.to_path_buf()));
    shown.join(file).display().to_string()
}

fn write(args: &ReportArgs, report: &Report) -> Result<Vec<PathBuf>, Refused> {
    let plan = plan(args);
    let ending = if plan.png { "png" } else { "svg" };
    let named = |name: &str| format!("{name}.{ending}");
    let mut written = Vec::new();
    let mut files: Vec<(PathBuf, Vec<u8>)> = Vec::new();
    if let Some((out, md)) = &plan.report {
        written::is_new(Some(out), args.force)?;
        let text = match (md, &plan.figures) {
            (true, Some(folder)) => markdown(report, &|name| seen(out, folder, &named(name))),
            _ => html(report).map_err(|e| wrong(&e))?,
        };
        files.push((out.clone(), text.into_bytes()));
    }
    if let Some(folder) = &plan.figures {
        for drawing in report.drawings() {
            let path = folder.join(named(&drawing.name));
            written::is_new(Some(&path), args.force)?;
            let drawn = match plan.png {
                true => plot::png(&drawing.figure),
                false => plot::svg(&drawing.figure).map(String::into_bytes),
            };
            files.push((path, drawn.map_err(|e| (format!("figure {}: {e}", drawing.name), NUMERICAL))?));
        }
        std::fs::create_dir_all(folder).map_err(|e| {
            (format!("cannot make the folder `{}`: {}", folder.display(), reason(&e)), INPUT_OUTPUT)
        })?;
    }
    let paths: Vec<PathBuf> = files.iter().map(|file| file.0.clone()).collect();
    files::apart(&paths, std::slice::from_ref(&args.result))?;
    for (path, bytes) in files {
        written::write(&path, bytes)?;
        written.push(path);
    }
    Ok(written)
}

/// Writes a report.
///
/// # Errors
/// When a stream cannot be written.
pub fn report(args: &ReportArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let report = match read(&args.result) {
        Ok(report) => report,
        Err(error) => return refused(&wrong(&error), args.json, streams),
    };
    let written = match write(args, &report) {
        Ok(written) => written,
        Err(why) => return refused(&why, args.json, streams),
    };
    let shown: Vec<String> = written.iter().map(|p| p.display().to_string()).collect();
    if args.json {
        let Report { kind, title, verdict, answers, warnings, .. } = &report;
        streams.json(&Document { kind, title, verdict, answers, warnings, written: &shown })?;
    } else {
        writeln!(streams.out, "{}: {}", crate::diagnostic::printable(&report.title), report.verdict)?;
        for path in shown {
            writeln!(streams.out, "Written: {path}")?;
        }
    }
    Ok(DONE)
}
