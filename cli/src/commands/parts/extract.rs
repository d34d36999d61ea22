//! `parts extract`: a part from points of its data sheet.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io;
use std::path::Path;

use joulestep_engine::units::{people, people_digits};
use joulestep_models::extract::{
    CurveFit, Doubt, ExtractError, Extraction, Fitted, READING, Why, extract as fit,
};
use joulestep_models::part::{Curve, Impedance, Quantity, Variable};
use serde::Serialize;

use super::table;
use crate::args::PartsExtractArgs;
use crate::commands::refuse_in;
use crate::diagnostic::{Diagnostic, FileId, Place, Refusal, filled};
use crate::exit::{BAD_INPUT, DONE, INPUT_OUTPUT, Streams};
use crate::parts::{Loaded, points, write};
use crate::plot::{self, Axis, Chart, Figure, Line, Marker, Panel, svg};
use crate::scenario::include::{open, reason};
use crate::scenario::resolve::InputError;

const WHAT: &str = "the points file";

pub(super) fn extract(args: &PartsExtractArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let loaded = match points(&args.points, &open) {
        Ok(loaded) => loaded,
        Err(error) => return refuse_in(WHAT, &error, &args.points, args.json, streams),
    };
    let found = match fit(&loaded.part, &loaded.start) {
        Ok(found) => found,
        Err(error) => {
            let refusal = Refusal { diagnostics: vec![diagnostic(&error, &loaded)], sources: loaded.sources };
            return refuse_in(WHAT, &InputError::Refused(refusal), &args.points, args.json, streams);
        }
    };
    let head = format!("Extracted from {} by nonlinear least squares.", args.points.display());
    let mut files = Vec::new();
    files.extend(args.out.as_ref().map(|out| (out, write::toml(&found.part, &head))));
    if let Some(out) = &args.plot {
        match drawn(&found) {
            Ok(picture) => files.push((out, picture)),
            Err(error) => {
                writeln!(streams.err, "--plot: {error}")?;
                return Ok(BAD_INPUT);
            }
        }
    }
    for (out, text) in &files {
        if let Err(error) = store(out, args, text) {
            let text = format!("cannot write `{}`: {}", out.display(), reason(&error));
            let hint =
                if error.kind() == io::ErrorKind::AlreadyExists { "; --force replaces it" } else { "" };
            writeln!(streams.err, "{text}{hint}")?;
            return Ok(INPUT_OUTPUT);
        }
    }
    if args.json {
        streams.json(&describe(&found))?;
    } else {
        write!(streams.out, "{}", text(&found))?;
        for (out, _) in &files {
            writeln!(streams.out, "written: {}", out.display())?;
        }
    }
    Ok(DONE)
}

fn store(out: &Path, args: &PartsExtractArgs, text: &str) -> io::Result<()> {
    let same = || Some(out.canonicalize().ok()? == args.points.canonicalize().ok()?);
    if same() == Some(true) {
        return Err(io::Error::other("it is the points file"));
    }
    let mut options = std::fs::OpenOptions::new();
    options.write(true).create(true).truncate(true);
    if !args.force {
        options.create_new(true);
    }
    io::Write::write_all(&mut options.open(out)?, text.as_bytes())
}

/// A picture of the points and the fitted lines: a panel for each quantity, its curves in one colour each.
fn drawn(found: &Extraction) -> Result<String, plot::PlotError> {
    let mut panels: Vec<(Quantity, Variable, Option<String>, Chart)> = Vec::new();
    for fit in found.curves.iter().filter(|f| !f.model.is_empty()) {
        let Some(curve) = found.part.curves.get(fit.curve) else { continue };
        let key = (curve.quantity, curve.against, curve.die.clone());
        let at = panels.iter().position(|p| (p.0, p.1, p.2.clone()) == key).unwrap_or(panels.len());
        if at == panels.len() {
            panels.push((key.0, key.1, key.2, chart(curve)));
        }
        let chart = &mut panels[at].3;
        let number = chart.curves.len() / 2;
        // In the axis's unit.
        let unit = if curve.against == Variable::CurrentRate { 1e6 } else { 1.0 };
        let scaled = |points: &[(f64, f64)]| points.iter().map(|p| (p.0 / unit, p.1)).collect::<Vec<_>>();
        let points = plot::Curve::scatter(&held(curve), scaled(&curve.points));
        chart.curves.push(points.coloured(number));
        let line = plot::Curve::new("", scaled(&fit.line)).lined(Line::Solid).marked(Marker::None);
        chart.curves.push(line.coloured(number));
    }
    let panels = panels.into_iter().map(|p| Panel::Chart(p.3)).collect();
    let notes = vec!["Signs: points; lines: the fitted model.".to_string()];
    svg(&Figure::new(&found.part.title, panels).noted(notes))
}

fn chart(curve: &Curve) -> Chart {
    let die = curve.die.as_ref().map_or_else(String::new, |d| format!(" of {d}"));
    let title = |key: &str| key.replace('-', " ");
    let name = format!("{}{die}", title(curve.quantity.key()));
    let (x, y) = (curve.against, curve.quantity);
    let decades = |points: f64, least: f64| least > 0.0 && points / least > 30.0;
    let spread = |pick: fn(&(f64, f64)) -> f64| {
        let most = curve.points.iter().map(pick).fold(f64::NEG_INFINITY, f64::max);
        decades(most, curve.points.iter().map(pick).fold(f64::INFINITY, f64::min))
    };
    let axis = |title: &str, unit: &str, log: bool| Axis { log, ..Axis::linear(title, unit) };
    Chart {
        x: axis(
            &title(x.key()),
            if x == Variable::CurrentRate { "A/µs" } else { x.unit() },
            x != Variable::Temperature && spread(|p| p.0),
        ),
        y: axis(&name, y.unit(), spread(|p| p.1)),
        ..Chart::default()
    }
}

/// A value of a variable for people; data sheets state rates of current per microsecond.
fn shown(x: f64, variable: Variable) -> String {
    match variable {
        Variable::CurrentRate => format!("{} A/µs", (1e-6 * x * 1e3).round() / 1e3),
        _ => people(x, variable.unit()),
    }
}

/// What was held, in words.
fn held(curve: &Curve) -> String {
    let mut words = Vec::new();
    for &(key, variable, _) in Variable::ALL {
        let Some(x) = curve.conditions.get(variable) else { continue };
        let name =
            if variable == Variable::Temperature { String::new() } else { key.replace('-', " ") + " " };
        words.push(format!("{name}{}", shown(x, variable)));
    }
    words.join(", ")
}

fn diagnostic(error: &ExtractError, loaded: &Loaded) -> Diagnostic {
    let top = Place { file: FileId(0), span: 0..0 };
    match error {
        ExtractError::TooFew { curve, points, keys } => {
            let place = loaded.spots.get(*curve).map_or(&top, |s| &s.table);
            let path = loaded.spots.get(*curve).map_or("part.curve", |s| &s.path);
            let count = if *points == 1 { "1 point".to_string() } else { format!("{points} points") };
            let found = format!("{count} for {} parameters: {}", keys.len(), keys.join(", "));
            Diagnostic::new(place, path, found, "at least as many points, or more [params]")
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

/// Curves with a point that the fitted model misses, each with its number and the sentence.
fn missed(found: &Extraction) -> Vec<(usize, String)> {
    let fits = found.curves.iter().filter(|c| !c.model.is_empty() && c.worst.deviation.abs() > MISSED);
    fits.filter_map(|c| {
        let curve = found.part.curves.get(c.curve)?;
        let at = shown(curve.points.get(c.worst.point)?.0, curve.against);
        let (number, words, by) = (c.curve + 1, curve.words(), percent(c.worst.deviation));
        let text =
            format!("curve {number}, {words}: the fitted model misses the point at {at} by {by}; check it");
        Some((c.curve, text))
    })
    .collect()
}

fn percent(x: f64) -> String {
    let x = 100.0 * x;
    if x.abs() >= 0.001 {
        format!("{x:.3}").trim_end_matches('0').trim_end_matches('.').to_string() + " %"
    } else {
        format!("{x:.1e} %")
    }
}

fn text(found: &Extraction) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "{} ({})", found.part.title, found.part.kind);
    let mut rows = vec![vec!["parameter".to_string(), "value".into(), "standard error".into()]];
    for f in &found.fitted {
        let relative = (f.error / f.value).abs();
        rows.push(vec![f.key.to_string(), people_digits(f.value, f.unit, 5), percent(relative)]);
    }
    let _ = write!(out, "\n{}", table(&rows, &[false, true, true]));
    for i in &found.part.thermal.impedance {
        let terms: Vec<String> = i
            .terms
            .iter()
            .map(|(r, tau)| format!("{} at {}", people(*r, "K/W"), people(*tau, "s")))
            .collect();
        let _ = writeln!(out, "thermal impedance of {}: {}", i.die, terms.join(", "));
    }
    let mut rows =
        vec![vec!["curve".to_string(), "points".into(), "rms".into(), "worst".into(), "at".into()]];
    for c in &found.curves {
        let Some(curve) = found.part.curves.get(c.curve) else { continue };
        let die = curve.die.as_ref().map_or_else(String::new, |d| format!(" of {d}"));
        let mut row =
            vec![format!("{}. {}{die}", c.curve + 1, curve.words()), curve.points.len().to_string()];
        match curve.points.get(c.worst.point).filter(|_| !c.model.is_empty()) {
            Some(p) => row.extend([percent(c.rms), percent(c.worst.deviation), shown(p.0, curve.against)]),
            None => row.push("kept as data".into()),
        }
        rows.push(row);
    }
    let _ = write!(out, "\n{}", table(&rows, &[false, true, true, true, true]));
    let warnings: Vec<String> =
        missed(found).into_iter().map(|m| m.1).chain(found.doubts.iter().map(doubt)).collect();
    if !warnings.is_empty() {
        out.push('\n');
    }
    for warning in warnings {
        let mut line = String::new();
        filled(&format!("warning: {warning}"), 100, &mut line);
        out.push_str(line.trim_start());
    }
    if !found.converged {
        out.push_str("warning: the fit ran out of its bounded work before it converged: the points hardly determine some parameters. \
             Give those warned of under [params], or other values under [start]\n");
    }
    out
}

/// A curve for programs.
#[derive(Serialize)]
pub(super) struct CurveDocument<'a> {
    quantity: &'static str,
    against: &'static str,
    units: [&'static str; 2],
    conditions: BTreeMap<String, f64>,
    die: Option<&'a str>,
    capacitive_charge: Option<bool>,
    points: &'a [(f64, f64)],
}

impl<'a> CurveDocument<'a> {
    pub fn new(curve: &'a Curve) -> Self {
        let held = |&(key, variable, _): &(&str, Variable, _)| {
            Some((key.replace('-', "_"), curve.conditions.get(variable)?))
        };
        let charge = curve.quantity == Quantity::RecoveryCharge;
        Self {
            quantity: curve.quantity.key(),
            against: curve.against.key(),
            units: [curve.against.unit(), curve.quantity.unit()],
            conditions: Variable::ALL.iter().filter_map(held).collect(),
            die: curve.die.as_deref(),
            capacitive_charge: charge.then_some(curve.capacitive),
            points: &curve.points,
        }
    }
}

#[derive(Serialize)]
struct Document<'a> {
    title: &'a str,
    kind: &'a str,
    converged: bool,
    parameters: &'a [Fitted],
    impedance: &'a [Impedance],
    impedance_curves: usize,
    curves: Vec<Compared<'a>>,
    missed_points: Vec<Missed>,
    warnings: Vec<Warning>,
}

/// A curve, and how a model fits it where one was fitted.
#[derive(Serialize)]
struct Compared<'a> {
    #[serde(flatten)]
    curve: CurveDocument<'a>,
    fitted: bool,
    #[serde(flatten)]
    fit: Option<&'a CurveFit>,
}

#[derive(Serialize)]
struct Missed {
    curve: usize,
    text: String,
}

#[derive(Serialize)]
struct Warning {
    key: &'static str,
    why: &'static str,
    relative_error: Option<f64>,
    with: Option<&'static str>,
    correlation: Option<f64>,
    settled_by: &'static str,
    text: String,
}

fn describe(found: &Extraction) -> Document<'_> {
    let Extraction { part, fitted, curves, doubts, converged } = found;
    let compared = curves.iter().filter_map(|fit| {
        let (curve, fitted) = (CurveDocument::new(part.curves.get(fit.curve)?), !fit.model.is_empty());
        Some(Compared { curve, fitted, fit: fitted.then_some(fit) })
    });
    let warning = |d: &Doubt| {
        let (why, relative_error) = match d.why {
            Why::NotDetermined => ("not-determined", None),
            Why::TooFewPoints => ("too-few-points", None),
            Why::Weak(error) => ("weak", Some(error)),
        };
        let (with, correlation) = d.with.unzip();
        Warning {
            key: d.key,
            why,
            relative_error,
            with,
            correlation,
            settled_by: d.settled_by,
            text: doubt(d),
        }
    };
    let impedances = part.curves.iter().filter(|c| c.quantity == Quantity::TransientImpedance);
    Document {
        title: &part.title,
        kind: part.kind,
        converged: *converged,
        parameters: fitted,
        impedance: &part.thermal.impedance,
        impedance_curves: impedances.count(),
        curves: compared.collect(),
        missed_points: missed(found).into_iter().map(|(curve, text)| Missed { curve, text }).collect(),
        warnings: doubts.iter().map(warning).collect(),
    }
}
