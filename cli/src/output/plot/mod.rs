//! Figures: line charts, scatter and bars, from plain data to one standalone SVG.
//!
//! Every picture of the program is drawn here, so that all have one look: white ground, thin grey grid, the Okabe–Ito
//! colours (Okabe & Ito, "Color Universal Design", 2008) with a line style and a marker beside each colour, so that
//! curves can be distinguished in grey print too; units on every axis with an SI prefix chosen for it. Text is taken
//! from the reader's own sans-serif font, and is escaped: a name is shown as it is typed, whatever it holds.
//!
//! ```
//! use joulestep::output::plot::{Axis, Chart, Curve, Figure, Panel, svg};
//!
//! let points = (0..=60).map(|k| (1e-6 * f64::from(k), 12.0 * (1.0 - (-0.1 * f64::from(k)).exp()))).collect();
//! let chart = Chart {
//!     x: Axis::linear("time", "s"),
//!     y: Axis::linear("capacitor voltage", "V"),
//!     curves: vec![Curve::new("C1", points)],
//!     ..Chart::default()
//! };
//! let picture = svg(&Figure::new("A capacitor charges", vec![Panel::Chart(chart)]))?;
//! assert!(picture.starts_with("<svg") && picture.contains("time (µs)"));
//! # Ok::<(), joulestep::output::plot::PlotError>(())
//! ```

mod bars;
mod canvas;
mod chart;
mod frame;
mod glyphs;
mod legend;
mod pixels;
mod png;
mod scale;
pub(crate) mod traces;

pub use png::png;

use plotters::prelude::SVGBackend;
use serde::{Deserialize, Deserializer, Serialize};

use canvas::Canvas;

/// How far finer than a CSS pixel positions are drawn.
const FINE: u32 = 8;
/// Width of a figure, CSS px.
const WIDTH: f64 = 920.0;

/// A picture cannot be drawn: what it lacks.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PlotError {
    /// There is no finite point to show in a panel.
    #[error("nothing to draw in \"{panel}\": {what}")]
    Nothing {
        /// Title of the panel or of its vertical axis.
        panel: String,
        /// What was found.
        what: String,
    },
    /// The drawing library refused.
    #[error("the drawing failed: {0}")]
    Library(String),
}

/// One axis.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Axis {
    /// What it shows, without the unit.
    pub title: String,
    /// Unit symbol of the data ("s", "ohm", "K/W"; "1" for a plain number).
    pub unit: String,
    /// Decades instead of equal steps.
    pub log: bool,
    /// Bounds in the unit; without them the data decide.
    #[serde(deserialize_with = "bounds")]
    pub range: Option<(f64, f64)>,
    /// Whether it counts: ticks at whole numbers only.
    #[serde(default)]
    pub whole: bool,
}

/// None where one is not finite, which JSON writes as null.
fn bounds<'a, D: Deserializer<'a>>(from: D) -> Result<Option<(f64, f64)>, D::Error> {
    let range = Option::<(Option<f64>, Option<f64>)>::deserialize(from)?;
    Ok(range.and_then(|(a, b)| a.zip(b)))
}

/// A place that is nowhere, which JSON writes as null, is no number.
fn place<'a, D: Deserializer<'a>>(from: D) -> Result<f64, D::Error> {
    Ok(Option::<f64>::deserialize(from)?.unwrap_or(f64::NAN))
}

impl Axis {
    /// Equal steps; the data decide the bounds.
    pub fn linear(title: &str, unit: &str) -> Self {
        Self { title: title.into(), unit: unit.into(), log: false, range: None, whole: false }
    }
    /// Decades; values that are not above zero are not drawn.
    pub fn log(title: &str, unit: &str) -> Self {
        Self { log: true, ..Self::linear(title, unit) }
    }
    /// Of counts.
    pub fn count(title: &str) -> Self {
        Self { whole: true, ..Self::linear(title, "1") }
    }
    /// With these bounds.
    pub fn within(self, from: f64, to: f64) -> Self {
        Self { range: Some((from, to)), ..self }
    }
}

/// How the points of a curve are joined.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Line {
    /// Not at all: scatter.
    None,
    /// Unbroken.
    Solid,
    /// Long dashes.
    Dashed,
    /// Dots.
    Dotted,
    /// Dash and dot in turn.
    DashDot,
}

/// The sign at each point of a curve.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Marker {
    /// None.
    None,
    /// A disc.
    Disc,
    /// A square.
    Square,
    /// A triangle, point up.
    Triangle,
    /// A diamond.
    Diamond,
    /// A diagonal cross.
    Cross,
    /// A ring.
    Ring,
}

const LINES: [Line; 4] = [Line::Solid, Line::Dashed, Line::DashDot, Line::Dotted];
const MARKERS: [Marker; 6] =
    [Marker::Disc, Marker::Square, Marker::Triangle, Marker::Diamond, Marker::Ring, Marker::Cross];

/// A curve or a cloud of points.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Curve {
    /// Name in the legend; empty: not in the legend.
    pub name: String,
    /// Points in the units of the axes; one that is not finite breaks the line.
    #[serde(skip)]
    pub points: Vec<(f64, f64)>,
    /// Line; `None`: by the curve's number in the chart.
    pub line: Option<Line>,
    /// Marker; `None`: by the curve's number where points are few, else none.
    pub marker: Option<Marker>,
    /// Number of the colour; `None`: the curve's number in the chart. Curves that belong together share one.
    pub colour: Option<usize>,
}

impl Curve {
    /// A line with the look of its number in the chart.
    pub fn new(name: &str, points: Vec<(f64, f64)>) -> Self {
        Self { name: name.into(), points, line: None, marker: None, colour: None }
    }
    /// Points alone.
    pub fn scatter(name: &str, points: Vec<(f64, f64)>) -> Self {
        Self { line: Some(Line::None), ..Self::new(name, points) }
    }
    /// With the colour and marker of this number.
    pub fn coloured(self, number: usize) -> Self {
        Self { colour: Some(number), ..self }
    }
    /// With this line.
    pub fn lined(self, line: Line) -> Self {
        Self { line: Some(line), ..self }
    }
    /// With this marker.
    pub fn marked(self, marker: Marker) -> Self {
        Self { marker: Some(marker), ..self }
    }

    fn look(&self, number: usize) -> (usize, Line, Marker) {
        let colour = self.colour.unwrap_or(number);
        let line = self.line.unwrap_or(LINES[number % LINES.len()]);
        let few = line == Line::None || self.points.len() <= 30;
        let by_number = if few { MARKERS[colour % MARKERS.len()] } else { Marker::None };
        (colour, line, self.marker.unwrap_or(by_number))
    }
}

/// A vertical line at a place of the horizontal axis (an instant, a limit).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Mark {
    /// Where, in the unit of the horizontal axis.
    #[serde(deserialize_with = "place")]
    pub at: f64,
    /// Text beside it.
    pub label: String,
}

/// A shaded stretch of the horizontal axis (the limits of an integral).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Span {
    /// From, in the unit of the horizontal axis.
    #[serde(deserialize_with = "place")]
    pub from: f64,
    /// To.
    #[serde(deserialize_with = "place")]
    pub to: f64,
    /// Text at its top.
    pub label: String,
}

/// A line chart or a scatter.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Chart {
    /// Title above the panel; may be empty.
    pub title: String,
    /// Horizontal axis.
    pub x: Axis,
    /// Vertical axis.
    pub y: Axis,
    /// Curves.
    #[serde(skip)]
    pub curves: Vec<Curve>,
    /// Vertical lines.
    pub marks: Vec<Mark>,
    /// Shaded stretches.
    pub spans: Vec<Span>,
    /// Height, CSS px; 0: as usual.
    pub height: f64,
}

/// The bars of one name, one in each group; the name alone is how they look.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(from = "String", into = "String")]
pub struct Series {
    /// Name in the legend.
    pub name: String,
    /// One value per group, in the unit of the axis; `None`: there is none, which is shown.
    pub values: Vec<Option<f64>>,
}

impl From<String> for Series {
    fn from(name: String) -> Self {
        Self { name, values: Vec::new() }
    }
}

impl From<Series> for String {
    fn from(series: Series) -> Self {
        series.name
    }
}

/// Bars in groups.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Bars {
    /// Title above the panel; may be empty.
    pub title: String,
    /// Vertical axis; bars begin at 0, or at the lower bound of a log axis.
    pub y: Axis,
    /// Names of the groups.
    pub groups: Vec<String>,
    /// The bars.
    pub series: Vec<Series>,
    /// A horizontal line (the reference of normalised values).
    pub reference: Option<f64>,
    /// Height, CSS px; 0: as usual.
    pub height: f64,
}

/// One panel of a figure.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "lowercase")]
pub enum Panel {
    /// Lines or points.
    Chart(Chart),
    /// Bars.
    Bars(Bars),
}

/// Panels above one another, their plot areas aligned.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Figure {
    /// Title at the top; may be empty.
    pub title: String,
    /// The panels.
    pub panels: Vec<Panel>,
    /// Lines of small print below (definitions, conditions).
    pub notes: Vec<String>,
}

impl Figure {
    /// A figure without notes.
    pub fn new(title: &str, panels: Vec<Panel>) -> Self {
        Self { title: title.into(), panels, notes: Vec::new() }
    }
    /// With small print below.
    pub fn noted(self, notes: Vec<String>) -> Self {
        Self { notes, ..self }
    }
}

/// The figure as a standalone SVG.
///
/// # Errors
/// [`PlotError`]: a panel without a finite point, or the library's.
pub fn svg(figure: &Figure) -> Result<String, PlotError> {
    let plan = frame::plan(figure)?;
    let mut out = String::new();
    let size = ((WIDTH * f64::from(FINE)) as u32, (plan.height.ceil() * f64::from(FINE)) as u32);
    {
        let mut backend = SVGBackend::with_string(&mut out, size);
        let mut canvas = Canvas::new(&mut backend, f64::from(FINE));
        frame::draw(&mut canvas, figure, &plan)?;
        canvas.finish()?;
    }
    // The library writes whole pixels: drawn finer, shown at the size meant.
    let drawn = format!("<svg width=\"{}\" height=\"{}\"", size.0, size.1);
    let shown = format!(
        "<svg width=\"{}\" height=\"{}\" stroke-linejoin=\"round\" stroke-linecap=\"butt\"",
        size.0 / FINE,
        size.1 / FINE
    );
    Ok(out.replacen(&drawn, &shown, 1))
}
