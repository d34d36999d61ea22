//! Reports: a result file as a document for people. Question, verdict, evidence, and what they rest on.
//!
//! [`read`] makes a [`Report`] of any result file: plain data, without a clock, so that the same file gives the same
//! report. [`html`] and [`markdown`] write it.

mod html;
mod judged;
mod markdown;
mod run;
pub(crate) mod study;
pub(crate) mod words;

use std::path::Path;

use joulestep_engine::units;
use joulestep_models::merit::FIGURES;

use crate::output::answer::Study;
use crate::output::plot::{self, Axis, Figure, Panel};
use crate::output::result::{ResultError, ResultFile, Verdict};
use crate::output::table::{Cell, Table};

pub use html::html;
pub use markdown::markdown;

/// Most rows of a table that are shown; the file has them all.
const ROWS: usize = 300;
/// Most columns beside one another on a page.
const COLUMNS: usize = 10;

/// Why there is no report.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// The file cannot be read.
    #[error(transparent)]
    File(#[from] ResultError),
    /// A figure cannot be drawn.
    #[error("figure {name}: {error}")]
    Figure {
        /// Name of the figure.
        name: String,
        /// What it lacks.
        error: plot::PlotError,
    },
}

/// How the answer is to be taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// All limits set are kept.
    Passes,
    /// A limit set is exceeded.
    Fails,
    /// None is shown to be exceeded, and one is not shown to be kept.
    NotProven,
    /// Nothing was judged.
    Plain,
}

impl Tone {
    /// Of a verdict; `None`: there is none.
    fn of(verdict: Option<Verdict>) -> Self {
        match verdict {
            Some(Verdict::Passes) => Self::Passes,
            Some(Verdict::Fails) => Self::Fails,
            Some(Verdict::NotProven) => Self::NotProven,
            Some(Verdict::NotJudged) | None => Self::Plain,
        }
    }

    /// A sign that marks it without colour.
    fn sign(self) -> &'static str {
        match self {
            Self::Passes => "✓",
            Self::Fails => "✗",
            Self::NotProven => "?",
            Self::Plain => "",
        }
    }
}

/// Stands behind an error whose computations do not converge.
const STAR: &str = " *";

/// What a warning is called, and its text: "Doubt: …" says so itself.
fn labelled(warning: &str) -> (&str, &str) {
    let own = warning.split_once(": ").filter(|(label, _)| ["Doubt", "Note", "Waived"].contains(label));
    own.unwrap_or(("Note", warning))
}

/// A report.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// What it reports on: "Run", "Rating", …
    pub kind: String,
    /// The case.
    pub title: String,
    /// What is asked.
    pub question: String,
    /// The answer in a word or two.
    pub verdict: String,
    /// How it is to be taken.
    pub tone: Tone,
    /// The answer in sentences.
    pub answers: Vec<String>,
    /// What must be known before the answer is used.
    pub warnings: Vec<String>,
    /// The evidence, and what it rests on.
    pub sections: Vec<Section>,
}

/// A part of a report.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Section {
    /// Its heading.
    pub title: String,
    /// What stands in it.
    pub blocks: Vec<Block>,
}

/// What stands in a section.
#[derive(Clone, Debug, PartialEq)]
pub enum Block {
    /// A paragraph.
    Text(String),
    /// A list.
    List(Vec<String>),
    /// Terms with what they mean.
    Terms(Vec<(String, String)>),
    /// A table.
    Grid(Grid),
    /// A figure.
    Drawing(Drawing),
    /// The text of a file.
    Listing {
        /// Its name.
        name: String,
        /// Its text.
        text: String,
    },
}

/// A table of texts.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Grid {
    /// What it shows.
    pub caption: String,
    /// Heads, each with whether its column holds numbers.
    pub heads: Vec<(String, bool)>,
    /// The rows.
    pub rows: Vec<Vec<String>>,
    /// Rows that must catch the eye.
    pub marked: Vec<usize>,
    /// Rows that tell of a failure.
    pub failed: Vec<usize>,
}

/// A figure with its caption.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawing {
    /// Name of its file, without ending.
    pub name: String,
    /// What it shows.
    pub caption: String,
    /// The figure.
    pub figure: Figure,
}

impl Section {
    /// A section with a heading.
    pub fn new(title: &str, blocks: Vec<Block>) -> Self {
        Self { title: title.into(), blocks }
    }
}

impl Grid {
    /// A table; a head that begins with `>` stands above numbers.
    pub fn new(caption: &str, heads: &[&str], rows: Vec<Vec<String>>) -> Self {
        let head = |h: &&str| (h.trim_start_matches('>').to_string(), h.starts_with('>'));
        Self { caption: caption.into(), heads: heads.iter().map(head).collect(), rows, ..Self::default() }
    }

    /// A table in tables that fit a page; the `keys` leading columns stand in each.
    pub fn of_table(title: &str, keys: usize, data: &Table) -> Vec<Self> {
        let count = data.heads.len();
        let keys = keys.min(count).min(COLUMNS - 2);
        // What is known of an error stands beside it, as a sign.
        let of_error = |k: usize| data.heads[k].name.ends_with("_error_kind");
        let rest: Vec<usize> = (keys..count).filter(|&k| !data.is_for_programs(k) && !of_error(k)).collect();
        let parts: Vec<Vec<usize>> = match rest.is_empty() {
            true => vec![(0..keys).collect()],
            false => {
                // As even as can be, so that no column stands alone.
                let pieces = rest.len().div_ceil(COLUMNS - keys);
                let each = rest.len().div_ceil(pieces);
                rest.chunks(each).map(|c| (0..keys).chain(c.iter().copied()).collect()).collect()
            }
        };
        let several = parts.len() > 1;
        let grid = |(n, columns): (usize, Vec<usize>)| {
            let head = |k: &usize| {
                let h = &data.heads[*k];
                let name =
                    if h.symbol.is_empty() { h.name.replace('_', " ") } else { h.symbol.replace('_', " ") };
                let plain = h.symbol == h.name || h.symbol.is_empty();
                (if plain { name } else { h.symbol.clone() }, !h.unit.is_empty())
            };
            let row = |cells: &Vec<Cell>| {
                let shown = |k: usize| cell(cells.get(k), data.unit_of(cells, k), data.heads[k].digits);
                let kind = |k: usize| match cells.get(k + 1) {
                    Some(Cell::Text(kind)) if data.heads.get(k + 1).is_some() && of_error(k + 1) => {
                        kind.as_str()
                    }
                    _ => "",
                };
                let both = |&k: &usize| match kind(k) {
                    "not converging" => format!("{}{STAR}", shown(k)),
                    "not estimated" => "not estimated".into(),
                    _ => shown(k),
                };
                columns.iter().map(both).collect::<Vec<_>>()
            };
            let mut rows: Vec<Vec<String>> = data.rows.iter().take(ROWS).map(row).collect();
            if data.rows.len() > ROWS {
                let mut last = vec![String::new(); columns.len()];
                last[0] = format!("{} more in the file", data.rows.len() - ROWS);
                rows.push(last);
            }
            let part = if several { format!(" ({})", n + 1) } else { String::new() };
            Self {
                caption: format!("{title}{part}"),
                heads: columns.iter().map(head).collect(),
                rows,
                ..Self::default()
            }
        };
        parts.into_iter().enumerate().map(grid).collect()
    }
}

/// A quantity as people read it; a dash where it is no finite number.
pub(crate) fn people(x: f64, unit: &str) -> String {
    people_digits(x, unit, 3)
}

/// Like [`people`], with a number of significant digits.
fn people_digits(x: f64, unit: &str, digits: usize) -> String {
    if x.is_finite() { units::people_digits(x, unit, digits) } else { "–".into() }
}

/// A cell as people read it.
fn cell(cell: Option<&Cell>, unit: &str, digits: usize) -> String {
    match cell {
        Some(Cell::Text(text)) => text.clone(),
        Some(Cell::Error(error)) => error.words(unit).trim_start_matches("\u{b1} ").to_string(),
        Some(Cell::Number(x)) if digits != 3 && x.is_finite() => people_digits(*x, unit, digits),
        Some(Cell::Number(x)) => number(*x, unit),
        _ => "–".into(),
    }
}

/// A number as people read it, slopes as the trade does; a dash where there is none.
pub(crate) fn number(x: f64, unit: &str) -> String {
    if x.is_nan() {
        return "–".into();
    }
    match unit {
        "V/s" => people(1e-9 * x, "V/ns"),
        "A/s" => people(1e-9 * x, "A/ns"),
        // People read areas of dies in mm².
        "m^2" => people(1e6 * x, "mm²"),
        // Figures of merit have their own units.
        _ if unit.starts_with("ohm ") => match FIGURES.iter().find(|f| f.unit == unit) {
            Some(f) => format!("{} {}", people(x * f.shown.1, "1"), f.shown.0),
            None => people(x, unit),
        },
        "" | "1" if x == x.trunc() && x.abs() < 1e6 => format!("{x:.0}"),
        "" => people(x, "1"),
        unit => people(x, unit),
    }
}

/// The document that the result file of a run or a study makes.
///
/// # Errors
/// [`ReportError::File`].
pub fn read(path: &Path) -> Result<Report, ReportError> {
    let study = if Study::is_in(path)? { Some(Study::read(path)?) } else { None };
    match (ResultFile::open(path), study) {
        (Ok(file), study) => {
            let read = run::Read::of(&file)?;
            // What was cut short holds no answer: what was recorded until then is all there is.
            let study = study.map_or_else(|| run::of_summary(&file), Ok)?;
            Ok(study::report(&study, Some(&read))?)
        }
        (Err(_), Some(study)) => Ok(study::report(&study, None)?),
        (Err(error), None) => Err(error.into()),
    }
}

/// The document that an answer makes.
///
/// # Errors
/// None of an answer alone.
pub(crate) fn of(study: &Study) -> Result<Report, ReportError> {
    Ok(study::report(study, None)?)
}

/// Whether a panel has a point or bar with a place on its axes.
fn has_something(panel: &Panel) -> bool {
    let placed = |x: f64, axis: &Axis| {
        let inside = axis.range.is_none_or(|(from, to)| (from..=to).contains(&x));
        x.is_finite() && (!axis.log || x > 0.0) && inside
    };
    match panel {
        Panel::Chart(c) => {
            let free = Axis { range: None, ..c.y.clone() };
            c.curves.iter().flat_map(|k| &k.points).any(|p| placed(p.0, &c.x) && placed(p.1, &free))
        }
        Panel::Bars(b) => b
            .series
            .iter()
            .flat_map(|s| s.values.iter().flatten())
            .any(|v| placed(*v, &Axis { range: None, ..b.y.clone() })),
    }
}

impl Report {
    /// The figures in their order.
    pub fn drawings(&self) -> impl Iterator<Item = &Drawing> {
        self.sections.iter().flat_map(|s| &s.blocks).filter_map(|b| match b {
            Block::Drawing(drawing) => Some(drawing),
            _ => None,
        })
    }

    /// Names of the figures' files are given by their order. What has nothing to show is left out.
    pub(crate) fn numbered(mut self) -> Self {
        let mut number = 0;
        for block in self.sections.iter_mut().flat_map(|s| &mut s.blocks) {
            if let Block::Drawing(drawing) = block {
                drawing.figure.panels.retain(has_something);
                if drawing.figure.panels.is_empty() {
                    *block = Block::Text(format!("Nothing to draw: {}", drawing.caption));
                    continue;
                }
                number += 1;
                drawing.name = format!("{number:02}-{}", drawing.name);
            }
        }
        self.sections.retain(|s| !s.blocks.is_empty());
        self
    }
}

/// The figure as SVG.
fn svg(drawing: &Drawing) -> Result<String, ReportError> {
    plot::svg(&drawing.figure).map_err(|error| ReportError::Figure { name: drawing.name.clone(), error })
}
