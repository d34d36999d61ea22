//! How charts look, as JSON in text attributes: everything of a panel but its numbers.

use serde::{Deserialize, Deserializer, Serialize};

use crate::output::plot::{Axis, Bars, Chart, Curve, Line, Mark, Marker, Span};

#[derive(Serialize, Deserialize)]
#[serde(remote = "Line", rename_all = "kebab-case")]
enum LineWord {
    None,
    Solid,
    Dashed,
    Dotted,
    DashDot,
}

#[derive(Serialize, Deserialize)]
struct LineLook(#[serde(with = "LineWord")] Line);

#[derive(Serialize, Deserialize)]
#[serde(remote = "Marker", rename_all = "kebab-case")]
enum MarkerWord {
    None,
    Disc,
    Square,
    Triangle,
    Diamond,
    Ring,
    Cross,
}

#[derive(Serialize, Deserialize)]
struct MarkerLook(#[serde(with = "MarkerWord")] Marker);

#[derive(Serialize, Deserialize)]
#[serde(remote = "Axis")]
struct AxisLook {
    title: String,
    unit: String,
    log: bool,
    #[serde(deserialize_with = "bounds")]
    range: Option<(f64, f64)>,
}

/// None where one is not finite, which JSON writes as null.
fn bounds<'a, D: Deserializer<'a>>(from: D) -> Result<Option<(f64, f64)>, D::Error> {
    let range = Option::<(Option<f64>, Option<f64>)>::deserialize(from)?;
    Ok(range.and_then(|(a, b)| a.zip(b)))
}

/// One that is nowhere is null, and not read.
#[derive(Serialize, Deserialize)]
pub(super) struct MarkLook {
    at: Option<f64>,
    label: String,
}

#[derive(Serialize, Deserialize)]
pub(super) struct SpanLook {
    from: Option<f64>,
    to: Option<f64>,
    label: String,
}

/// A panel.
#[derive(Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "lowercase")]
pub(super) enum Layout {
    Chart {
        title: String,
        #[serde(with = "AxisLook")]
        x: Axis,
        #[serde(with = "AxisLook")]
        y: Axis,
        height: f64,
        marks: Vec<MarkLook>,
        spans: Vec<SpanLook>,
        curves: usize,
    },
    Bars {
        title: String,
        #[serde(with = "AxisLook")]
        y: Axis,
        reference: Option<f64>,
        height: f64,
        groups: Vec<String>,
        series: Vec<String>,
    },
}

/// A curve.
#[derive(Default, Serialize, Deserialize)]
pub(super) struct CurveLook {
    name: String,
    line: Option<LineLook>,
    marker: Option<MarkerLook>,
    colour: Option<usize>,
}

/// Writes a look: texts and numbers, which JSON never refuses.
pub(super) fn text(look: &impl Serialize) -> String {
    serde_json::to_string(look).unwrap_or_default()
}

impl Layout {
    pub fn of_chart(chart: &Chart) -> Self {
        let Chart { title, x, y, curves, marks, spans, height } = chart.clone();
        let mark = |m: Mark| MarkLook { at: Some(m.at), label: m.label };
        let span = |s: Span| SpanLook { from: Some(s.from), to: Some(s.to), label: s.label };
        let (marks, spans) = (marks.into_iter().map(mark).collect(), spans.into_iter().map(span).collect());
        Self::Chart { title, x, y, height, marks, spans, curves: curves.len() }
    }

    pub fn of_bars(bars: &Bars) -> Self {
        let Bars { title, y, groups, series, reference, height } = bars.clone();
        let series = series.into_iter().map(|s| s.name).collect();
        Self::Bars { title, y, reference, height, groups, series }
    }
}

impl MarkLook {
    pub fn mark(self) -> Option<Mark> {
        Some(Mark { at: self.at?, label: self.label })
    }
}

impl SpanLook {
    pub fn span(self) -> Option<Span> {
        Some(Span { from: self.from?, to: self.to?, label: self.label })
    }
}

impl CurveLook {
    pub fn new(curve: &Curve) -> Self {
        let Curve { name, line, marker, colour, .. } = curve;
        let (name, colour) = (name.clone(), *colour);
        Self { name, line: line.map(LineLook), marker: marker.map(MarkerLook), colour }
    }

    pub fn curve(self, points: Vec<(f64, f64)>) -> Curve {
        let Self { name, line, marker, colour } = self;
        Curve { name, points, line: line.map(|l| l.0), marker: marker.map(|m| m.0), colour }
    }
}
