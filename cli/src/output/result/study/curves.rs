//! `/figures`: the numbers behind every chart, and what it looks like.

use serde::Serialize;
use serde_json::from_str;

use super::super::archive::Archive;
use super::super::error::ResultError;
use super::super::names;
use super::super::store::Store;
use crate::output::answer::StudyFigure;
use crate::output::plot::{Axis, Bars, Chart, Curve, Figure, Panel};

/// How a panel or curve looks: everything but its numbers, as JSON, which refuses neither texts nor numbers.
fn text(look: &impl Serialize) -> String {
    serde_json::to_string(look).unwrap_or_default()
}

pub(super) fn write(store: &Store, figures: &[StudyFigure]) -> Result<(), ResultError> {
    store.group("figures")?;
    for (f, StudyFigure { caption, figure }) in figures.iter().enumerate() {
        let group = format!("figures/{}", f + 1);
        store.group(&group)?;
        store.group_text(&group, "caption", caption)?;
        store.group_text(&group, "title", &figure.title)?;
        store.group_text(&group, "notes", &figure.notes.join("\n"))?;
        for (p, panel) in figure.panels.iter().enumerate() {
            let group = format!("{group}/{}", p + 1);
            store.group(&group)?;
            store.group_text(&group, "layout", &text(panel))?;
            match panel {
                Panel::Chart(chart) => write_chart(store, &group, chart)?,
                Panel::Bars(bars) => write_bars(store, &group, bars)?,
            }
        }
    }
    Ok(())
}

fn words(axis: &Axis) -> &str {
    if axis.title.is_empty() { "value" } else { &axis.title }
}

fn write_chart(store: &Store, group: &str, chart: &Chart) -> Result<(), ResultError> {
    for (c, curve) in chart.curves.iter().enumerate() {
        let group = format!("{group}/{}", c + 1);
        store.group(&group)?;
        store.group_text(&group, "look", &text(curve))?;
        let (x, y): (Vec<f64>, Vec<f64>) = curve.points.iter().copied().unzip();
        for (name, values, axis) in [("x", x, &chart.x), ("y", y, &chart.y)] {
            store.reals(&group, name, &values, names::unit(&axis.unit), words(axis))?;
        }
        store.scale(&format!("{group}/x"), "x")?;
        store.attach(&format!("{group}/y"), 0, &format!("{group}/x"))?;
    }
    Ok(())
}

fn write_bars(store: &Store, group: &str, bars: &Bars) -> Result<(), ResultError> {
    if bars.groups.is_empty() {
        return Ok(());
    }
    store.texts(group, "group", &bars.groups, "group of bars")?;
    store.scale(&format!("{group}/group"), "group")?;
    for (k, series) in bars.series.iter().enumerate() {
        let name = (k + 1).to_string();
        let value = |g: usize| series.values.get(g).copied().flatten().unwrap_or(f64::NAN);
        let values: Vec<f64> = (0..bars.groups.len()).map(value).collect();
        store.reals(group, &name, &values, names::unit(&bars.y.unit), &series.name)?;
        store.attach(&format!("{group}/{name}"), 0, &format!("{group}/group"))?;
    }
    Ok(())
}

pub(super) fn read(archive: &Archive) -> Result<Vec<StudyFigure>, ResultError> {
    let mut figures = Vec::new();
    loop {
        let group = format!("figures/{}", figures.len() + 1);
        let text = |key: &str| archive.group_text(&group, key);
        let Some(caption) = text("caption") else { return Ok(figures) };
        let notes = text("notes").unwrap_or_default().lines().map(String::from).collect();
        let mut panels = Vec::new();
        loop {
            let group = format!("{group}/{}", panels.len() + 1);
            let Some(layout) = archive.group_text(&group, "layout") else { break };
            panels.push(match from_str(&layout) {
                Ok(Panel::Bars(bars)) => Panel::Bars(read_bars(archive, &group, bars)?),
                Ok(Panel::Chart(mut chart)) => {
                    chart.marks.retain(|m| m.at.is_finite());
                    chart.spans.retain(|s| s.from.is_finite() && s.to.is_finite());
                    Panel::Chart(read_chart(archive, &group, chart)?)
                }
                Err(_) => Panel::Chart(read_chart(archive, &group, Chart::default())?),
            });
        }
        let figure = Figure { title: text("title").unwrap_or_default(), panels, notes };
        figures.push(StudyFigure { caption, figure });
    }
}

fn read_chart(archive: &Archive, group: &str, mut chart: Chart) -> Result<Chart, ResultError> {
    loop {
        let group = format!("{group}/{}", chart.curves.len() + 1);
        let Some(look) = archive.group_text(&group, "look") else { return Ok(chart) };
        let [x, y] = ["x", "y"].map(|name| {
            let path = format!("{group}/{name}");
            archive.reals(&path, 0..archive.length(&path)?)
        });
        let points = x?.into_iter().zip(y?).collect();
        chart.curves.push(Curve { points, ..from_str(&look).unwrap_or_default() });
    }
}

fn read_bars(archive: &Archive, group: &str, mut bars: Bars) -> Result<Bars, ResultError> {
    for (k, series) in bars.series.iter_mut().enumerate() {
        let path = format!("{group}/{}", k + 1);
        if archive.has(&path) {
            let values = archive.reals(&path, 0..archive.length(&path)?)?;
            series.values = values.into_iter().map(|x| Some(x).filter(|x| x.is_finite())).collect();
        }
    }
    bars.series.retain(|s| !s.values.is_empty());
    Ok(bars)
}
