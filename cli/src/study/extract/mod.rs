//! A part from points of its data sheet.

mod picture;
mod tables;

use std::path::Path;
use std::sync::atomic::Ordering;

use joulestep_models::extract::{Doubt, ExtractError, Extraction, READING, Why, extract_watched as fit};

use self::tables::{percent, shown};
use super::{Context, Count, Entry, Input, Question, StudyError, Trial, What};
use crate::diagnostic::{Diagnostic, Span};
use crate::input::keys::table::keys;
use crate::input::parts::{Loaded, write};
use crate::judge::Level;
use crate::output::answer::{Answer, Study, StudyFigure};
use crate::output::written;
use crate::progress::Rough;

/// The study.
pub static STUDY: Entry = Entry {
    name: "parts extract",
    section: &SECTION,
    help: "Fits the model of the kind to the curves of the points file by nonlinear least squares: what the model says at \
           the operating points and small signals of an ideal test bench is compared with the points. Tells how well each \
           curve is met, how certain each parameter is, and which parameters the points do not determine. Refuses points \
           that contradict each other or the part's limits. `joulestep schema points` describes the points file.",
    examples: "joulestep parts extract points.toml --part my-part.toml",
    inputs: &[Input {
        key: Asked::points,
        root: "part",
        what: What::Points,
        count: Count::One,
        positional: true,
    }],
    trial: Trial {
        args: &["tests/catalogue_of_studies/points.toml"],
        vary: ("part.params.series-resistance", ["10 mohm", "12 mohm"]),
    },
    refines: "",
    writes: &[(Asked::part, false)],
    solve,
};

keys! {
    /// What is asked.
    pub(super) struct Asked in SECTION = "extract":
        "Extract the parameters of a part from points of its data sheet";
    need points: Files, "file of points (TOML)";
    may part: Text, "part file to write; it must not exist yet, unless --force is given";
}

fn solve(question: &Question, context: &Context<'_>) -> Result<Study, StudyError> {
    let Some(loaded) = question.points(Asked::points) else {
        return Err(question.wrong(Asked::points, "missing", "a file of points"));
    };
    let out = question.asked(Asked::read)?.part.filter(|_| context.level == Level::STATED);
    let out = out.as_ref().map(|part| Path::new(&part.name));
    out.map_or(Ok(()), |out| question.writes(out))?;
    let progress = Rough::new(context.quiet);
    let watch =
        |done, most| progress.at(done as f64 / most as f64, &format!("search {done} of at most {most}"));
    let stop = || context.stop.load(Ordering::Relaxed);
    let found = fit(&loaded.part, &loaded.start, &watch, &stop);
    progress.done();
    context.go_on()?;
    let found = found.map_err(|error| StudyError::Value(Box::new(diagnostic(&error, loaded))))?;
    let file = question.files(Asked::points).join("");
    let mut notes = Vec::new();
    if let Some(out) = out {
        let head = format!("Extracted from {file} by nonlinear least squares.");
        written::write(out, write::toml(&found.part, &head)).map_err(|why| StudyError::Output(why.0))?;
        notes.push(format!("written: {}", out.display()));
    }
    notes.extend(
        missed(&found).into_iter().chain(found.doubts.iter().map(doubt)).map(|w| format!("warning: {w}")),
    );
    if !found.converged {
        notes.push(
            "warning: the fit ran out of its bounded work before it converged: the points hardly determine some \
             parameters. Give those warned of under [params], or other values under [start]"
                .into(),
        );
    }
    let parameter = |f: &joulestep_models::extract::Fitted| {
        let remark = format!("standard error {}", percent((f.error / f.value).abs()));
        Answer::new(f.key, f.key.replace('-', " "), f.value, f.unit).remark(remark)
    };
    let mut answers: Vec<Answer> = found.fitted.iter().map(parameter).collect();
    let converged =
        Answer::new("converged", "whether the fit converged", f64::from(u8::from(found.converged)), "1");
    answers.push(converged);
    Ok(Study {
        title: format!(
            "Which parameters of {} ({}) do the points determine?",
            found.part.title, found.part.kind
        ),
        answers,
        notes,
        conditions: vec!["The points are taken as stated; what lies outside them is not known.".into()],
        definitions: DEFINITIONS.map(|(a, b)| (a.to_string(), b.to_string())).to_vec(),
        tables: tables::tables(&found),
        figures: vec![StudyFigure::new("Signs: points; lines: the fitted model.", picture::picture(&found))],
        ..Study::default()
    })
}

const DEFINITIONS: [(&str, &str); 3] = [
    ("standard error", "of a parameter, from the residuals and the derivatives of the model at the fit"),
    ("deviation", "of the fitted model from a point, relative to the point or to its scale"),
    ("rms", "root of the mean square of a curve's deviations"),
];

fn diagnostic(error: &ExtractError, loaded: &Loaded) -> Diagnostic {
    let top = Span { file: loaded.file, range: 0..0 };
    match error {
        ExtractError::TooFew { curve, points, keys } => {
            let span = loaded.spots.get(*curve).map_or(&top, |s| &s.table);
            let path = loaded.spots.get(*curve).map_or("part.curve", |s| &s.path);
            let count = if *points == 1 { "1 point".to_string() } else { format!("{points} points") };
            let found = format!("{count} for {} parameters: {}", keys.len(), keys.join(", "));
            Diagnostic::new(span, path, found, "at least as many points, or more [params]")
        }
        ExtractError::Missing { key, settled_by } => {
            let found = "missing: neither given nor determined by a curve";
            let expected = format!("it under [params], or a curve that determines it ({settled_by})");
            Diagnostic::new(&top, format!("part.params.{key}"), found, expected)
        }
        ExtractError::Nothing(why) => Diagnostic::new(
            &top,
            "part.curve",
            format!("nothing to fit: {why}"),
            "curves of parameters that are not given",
        ),
        ExtractError::Refused(stage) => Diagnostic::new(
            &top,
            "part.start",
            format!("the model cannot be evaluated where the fit begins ({stage})"),
            "parameters, or other values under [start], that fit together",
        ),
        ExtractError::Stopped => Diagnostic::new(&top, "part", error.to_string(), "time to end"),
    }
}

/// What is in doubt, in a sentence.
fn doubt(doubt: &Doubt) -> String {
    let what = match doubt.why {
        Why::NotDetermined => "the points do not determine it; it was held".to_string(),
        Why::TooFewPoints => "too few points; it was held".to_string(),
        Why::Weak(error) => format!(
            "points that are wrong by {} leave it uncertain by {}",
            percent(READING),
            if error < 1.0 { percent(error) } else { format!("a factor of {:.1}", error.min(300.0).exp()) },
        ),
    };
    let with = match doubt.with {
        Some((key, r)) => format!("; strongly correlated with `{key}` (correlation {r:.3})"),
        None => String::new(),
    };
    format!("`{}`: {what}{with}; settled by a curve of {}", doubt.key, doubt.settled_by)
}

/// Beyond this deviation a point is reported.
const MISSED: f64 = 0.1;

/// Curves with a point that the fitted model misses, in sentences.
fn missed(found: &Extraction) -> Vec<String> {
    let fits = found.curves.iter().filter(|c| !c.model.is_empty() && c.worst.deviation.abs() > MISSED);
    fits.filter_map(|c| {
        let curve = found.part.curves.get(c.curve)?;
        let at = shown(curve.points.get(c.worst.point)?.0, curve.against);
        let (number, words, by) = (c.curve + 1, curve.words(), percent(c.worst.deviation));
        Some(format!("curve {number}, {words}: the fitted model misses the point at {at} by {by}; check it"))
    })
    .collect()
}
