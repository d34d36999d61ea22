//! Measured points of a thermal impedance, and the Foster network through them.

use joulestep_engine::thermal::convert::{cauer_to_foster, foster_to_cauer};
use joulestep_engine::thermal::fit::{Fit, FitError, fit};
use joulestep_engine::thermal::network::CauerCell;
use joulestep_engine::thermal::pulses::repetitive_peak;

use super::Asked;
use super::tables::coefficients;
use super::{DEFINITIONS, NOT_LAYERS};
use crate::diagnostic::Span;
use crate::input::keys::shape::Key;
use crate::output::answer::{Answer, Study, StudyFigure, StudyTable};
use crate::output::plot::{Axis, Chart, Curve, Figure, Panel};
use crate::output::table::Rows;
use crate::study::{Question, StudyError};

/// Points, the Foster network through them, and its Cauer ladder.
#[derive(Clone, Debug)]
struct Points {
    /// (s, K/W).
    points: Vec<(f64, f64)>,
    /// The fit.
    fit: Fit,
    /// The ladder with the same impedance.
    cells: Vec<CauerCell>,
    /// Largest relative difference of resistances and time constants after going to the ladder and back.
    round_trip: f64,
}

/// Points of a file, and where each stands in it.
pub(super) struct Typed {
    /// (s, K/W).
    pub points: Vec<(f64, f64)>,
    lines: Vec<std::ops::Range<usize>>,
}

impl Typed {
    /// An error at a point, by its number from 1, or at the file where there is none.
    pub fn wrong(&self, question: &Question, key: Key, point: usize, found: &str) -> StudyError {
        let line = point.checked_sub(1).and_then(|k| self.lines.get(k).cloned()).unwrap_or(0..0);
        wrong(question, key, line, found)
    }
}

fn wrong(question: &Question, key: Key, line: std::ops::Range<usize>, found: &str) -> StudyError {
    let usual = "later times, and impedances that never fall";
    let (found, expected) = found.split_once("; expected ").unwrap_or((found, usual));
    let Some((_, whole)) = question.file(key) else { return question.wrong(key, found, expected) };
    let span = whole.range.start + line.start..whole.range.start + line.end;
    question.wrong_at(&Span { file: whole.file, range: span }, key.name, found, expected)
}

/// Reads points. A first line of words is taken for a heading.
pub(super) fn typed(question: &Question, key: Key) -> Result<Typed, StudyError> {
    let Some((text, _)) = question.file(key) else {
        return Err(question.wrong(key, "missing", "a file of points"));
    };
    let (mut points, mut lines, mut begin) = (Vec::new(), Vec::new(), 0);
    for typed in text.split_inclusive('\n') {
        let line = begin..begin + typed.trim_end().len();
        begin += typed.len();
        let content = typed.split('#').next().unwrap_or("").trim().trim_start_matches('\u{feff}');
        if content.is_empty() {
            continue;
        }
        let divides = |c: char| matches!(c, ',' | ';') || c.is_whitespace();
        let words: Vec<&str> = content.split(divides).filter(|w| !w.is_empty()).collect();
        let numbers: Vec<f64> = words.iter().filter_map(|w| w.parse().ok()).collect();
        match (words.len(), numbers.as_slice()) {
            (2, [time, impedance]) => {
                points.push((*time, *impedance));
                lines.push(line);
            }
            (_, []) if points.is_empty() => {}
            _ => {
                let shown: String = content.chars().take(40).collect();
                let found = format!("`{shown}` is not a pair of numbers; expected seconds and K/W");
                return Err(wrong(question, key, line, &found));
            }
        }
    }
    Ok(Typed { points, lines })
}

/// Reads points and fits them.
fn read(question: &Question) -> Result<Points, StudyError> {
    let typed = typed(question, Asked::points)?;
    let terms = question.asked(Asked::read)?.terms.map(|n| n as usize);
    let fit = fit(&typed.points, terms).map_err(|error| {
        let point = match error {
            FitError::TooFew { .. } => typed.points.len(),
            FitError::NotPositive { point, .. }
            | FitError::NotLater { point, .. }
            | FitError::Falls { point, .. } => point,
        };
        typed.wrong(question, Asked::points, point, &error.to_string())
    })?;
    let points = typed.points;
    let convert = |e: joulestep_engine::thermal::error::ThermalError| {
        StudyError::Refused(format!("the fit cannot be converted: {e}"))
    };
    let cells = foster_to_cauer(&fit.terms).map_err(convert)?;
    let back = cauer_to_foster(&cells).map_err(convert)?;
    let round_trip = fit
        .terms
        .iter()
        .zip(&back)
        .flat_map(|(a, b)| [b.resistance / a.resistance - 1.0, b.time_constant / a.time_constant - 1.0]);
    let round_trip = round_trip.map(f64::abs).fold(0.0, f64::max);
    Ok(Points { points, fit, cells, round_trip })
}

/// The fit with everything behind it.
pub(super) fn study(question: &Question) -> Result<Study, StudyError> {
    let found = read(question)?;
    let sum: f64 = found.fit.terms.iter().map(|t| t.resistance).sum();
    let passes = |&(t, _): &(f64, f64)| repetitive_peak(&found.fit.terms, t, 0.0);
    let measured = Rows::of(&found.points)
        .number("time", "time", "s", |p| p.0)
        .number("impedance", "Z_th", "K/W", |p| p.1)
        .number("fitted", "fitted", "K/W", |p| passes(p))
        .number("deviation", "deviation", "1", |p| passes(p) / p.1 - 1.0)
        .table();
    let terms = coefficients(&[("fit".into(), &found.fit.terms, found.cells.clone())]);
    let answer = |name: &str, words: &str, value: f64, unit: &str| Answer::new(name, words, value, unit);
    Ok(Study {
        title: format!(
            "Which Foster network runs through the thermal impedance measured in {}?",
            question.files(Asked::points).join("")
        ),
        answers: vec![
            answer("steady_resistance", "thermal resistance in all", sum, "K/W"),
            answer("terms", "Foster terms", found.fit.terms.len() as f64, "1"),
            answer("points", "measured points", found.points.len() as f64, "1"),
            answer("largest_error", "largest relative deviation from a point", found.fit.largest, "1"),
            answer("rms_error", "rms of the relative deviations", found.fit.typical, "1"),
            answer(
                "round_trip",
                "relative difference after going to the ladder and back",
                found.round_trip,
                "1",
            ),
        ],
        conditions: vec!["The points are taken as measured; what lies outside them is not known.".into()],
        definitions: vec![(DEFINITIONS[7].0.into(), DEFINITIONS[7].1.into())],
        tables: vec![
            StudyTable::new("coefficients", "Foster terms and Cauer cells", 2, terms),
            StudyTable::new("points", "Measured points and the fit", 1, measured),
        ],
        figures: vec![StudyFigure::new("The measured points and the fitted network.", picture(&found))],
        ..Study::default()
    })
}

/// Measured points and the fit through them.
fn picture(points: &Points) -> Figure {
    let [first, .., last] = points.points.as_slice() else {
        return Figure::default();
    };
    let count = 200;
    let at = |k: i32| first.0 * (last.0 / first.0).powf(f64::from(k) / f64::from(count));
    let curve = (0..=count).map(|k| (at(k), repetitive_peak(&points.fit.terms, at(k), 0.0))).collect();
    let chart = Chart {
        x: Axis::log("time", "s"),
        y: Axis::log("thermal impedance", "K/W"),
        curves: vec![
            Curve::scatter("measured", points.points.clone()),
            Curve::new(&format!("Foster, {} terms", points.fit.terms.len()), curve),
        ],
        ..Chart::default()
    };
    Figure::new("Foster network through measured points", vec![Panel::Chart(chart)])
        .noted(vec![NOT_LAYERS.to_string()])
}
