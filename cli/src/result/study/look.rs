//! How charts look, as JSON in text attributes: everything of a panel but its numbers.

use serde_json::{Value, json};

use crate::plot::{Axis, Bars, Chart, Curve, Line, Mark, Marker, Span};

const LINES: [(Line, &str); 5] = [
    (Line::None, "none"),
    (Line::Solid, "solid"),
    (Line::Dashed, "dashed"),
    (Line::Dotted, "dotted"),
    (Line::DashDot, "dash-dot"),
];
const MARKERS: [(Marker, &str); 7] = [
    (Marker::None, "none"),
    (Marker::Disc, "disc"),
    (Marker::Square, "square"),
    (Marker::Triangle, "triangle"),
    (Marker::Diamond, "diamond"),
    (Marker::Ring, "ring"),
    (Marker::Cross, "cross"),
];

fn word<T: Copy + PartialEq>(list: &[(T, &'static str)], wanted: T) -> &'static str {
    list.iter().find(|p| p.0 == wanted).map_or("", |p| p.1)
}

fn of_word<T: Copy>(list: &[(T, &'static str)], found: &Value) -> Option<T> {
    let text = found.as_str()?;
    list.iter().find(|p| p.1 == text).map(|p| p.0)
}

fn text(value: &Value) -> String {
    value.as_str().unwrap_or_default().to_string()
}

fn axis(axis: &Axis) -> Value {
    json!({ "title": axis.title, "unit": axis.unit, "log": axis.log, "range": axis.range.map(|r| [r.0, r.1]) })
}

fn of_axis(value: &Value) -> Axis {
    let range = value["range"].as_array().map(|r| (r.first(), r.get(1)));
    let range = range.and_then(|(a, b)| Some((a?.as_f64()?, b?.as_f64()?)));
    let log = value["log"].as_bool() == Some(true);
    Axis { title: text(&value["title"]), unit: text(&value["unit"]), log, range }
}

fn list<T>(value: &Value, one: impl Fn(&Value) -> Option<T>) -> Vec<T> {
    value.as_array().into_iter().flatten().filter_map(one).collect()
}

pub(super) fn chart(chart: &Chart) -> Value {
    let marks = chart.marks.iter().map(|m| json!({ "at": m.at, "label": m.label }));
    let spans = chart.spans.iter().map(|s| json!({ "from": s.from, "to": s.to, "label": s.label }));
    json!({
        "kind": "chart", "title": chart.title, "x": axis(&chart.x), "y": axis(&chart.y), "height": chart.height,
        "marks": marks.collect::<Vec<_>>(), "spans": spans.collect::<Vec<_>>(), "curves": chart.curves.len(),
    })
}

pub(super) fn of_chart(value: &Value) -> Chart {
    let span =
        |s: &Value| Some(Span { from: s["from"].as_f64()?, to: s["to"].as_f64()?, label: text(&s["label"]) });
    Chart {
        title: text(&value["title"]),
        x: of_axis(&value["x"]),
        y: of_axis(&value["y"]),
        curves: Vec::new(),
        marks: list(&value["marks"], |m| Some(Mark { at: m["at"].as_f64()?, label: text(&m["label"]) })),
        spans: list(&value["spans"], span),
        height: value["height"].as_f64().unwrap_or(0.0),
    }
}

pub(super) fn curve(curve: &Curve) -> Value {
    json!({
        "name": curve.name,
        "line": curve.line.map(|l| word(&LINES, l)),
        "marker": curve.marker.map(|m| word(&MARKERS, m)),
        "colour": curve.colour,
    })
}

pub(super) fn of_curve(value: &Value, points: Vec<(f64, f64)>) -> Curve {
    Curve {
        name: text(&value["name"]),
        points,
        line: of_word(&LINES, &value["line"]),
        marker: of_word(&MARKERS, &value["marker"]),
        colour: value["colour"].as_u64().map(|k| k as usize),
    }
}

pub(super) fn bars(bars: &Bars) -> Value {
    let series: Vec<&str> = bars.series.iter().map(|s| s.name.as_str()).collect();
    json!({
        "kind": "bars", "title": bars.title, "y": axis(&bars.y), "reference": bars.reference, "height": bars.height,
        "groups": bars.groups, "series": series,
    })
}

pub(super) fn of_bars(value: &Value) -> Bars {
    Bars {
        title: text(&value["title"]),
        y: of_axis(&value["y"]),
        groups: list(&value["groups"], |g| Some(text(g))),
        series: Vec::new(),
        reference: value["reference"].as_f64(),
        height: value["height"].as_f64().unwrap_or(0.0),
    }
}

pub(super) fn series(value: &Value) -> Vec<String> {
    list(&value["series"], |s| Some(text(s)))
}
