//! The legend: above the plot area, so that it hides nothing.

use plotters::prelude::DrawingBackend;

use super::canvas::{Area, Canvas, Hang, colour};
use super::frame::LABEL;
use super::{Line, Marker, Panel, PlotError, bars};

const ROW: f64 = 19.0;
const SAMPLE: f64 = 34.0;
const GAP: f64 = 22.0;

/// What stands in the legend.
pub(super) struct Item {
    name: String,
    look: Look,
}

enum Look {
    Curve(usize, Line, Marker),
    Bar(usize),
}

/// The legend of a panel.
pub(super) fn entries(panel: &Panel) -> Vec<Item> {
    match panel {
        Panel::Chart(chart) => {
            let named = chart.curves.iter().enumerate().filter(|(_, c)| !c.name.is_empty());
            named
                .map(|(k, c)| {
                    let (colour, line, marker) = c.look(k);
                    Item { name: c.name.clone(), look: Look::Curve(colour, line, marker) }
                })
                .collect()
        }
        Panel::Bars(bars) => {
            let item = |(k, s): (usize, &super::Series)| Item { name: s.name.clone(), look: Look::Bar(k) };
            bars.series.iter().enumerate().filter(|(_, s)| !s.name.is_empty()).map(item).collect()
        }
    }
}

/// Left edge and row of each item.
fn flow(items: &[Item], left: f64, right: f64) -> Vec<(f64, usize)> {
    let (mut x, mut row) = (left, 0);
    let mut out = Vec::new();
    for item in items {
        let width = SAMPLE + 6.0 + LABEL.width(&item.name);
        if x > left && x + width > right {
            (x, row) = (left, row + 1);
        }
        out.push((x, row));
        x += width + GAP;
    }
    out
}

/// Height of the legend, CSS px.
pub(super) fn height(items: &[Item], left: f64, right: f64) -> f64 {
    flow(items, left, right).last().map_or(0.0, |last| (last.1 + 1) as f64 * ROW)
}

/// Draws it with its upper edge at `top`.
pub(super) fn draw<B: DrawingBackend>(
    canvas: &mut Canvas<'_, B>,
    items: &[Item],
    left: f64,
    right: f64,
    top: f64,
) -> Result<(), PlotError> {
    for (item, (x, row)) in items.iter().zip(flow(items, left, right)) {
        let y = top + (row as f64 + 0.5) * ROW;
        match item.look {
            Look::Curve(number, line, marker) => {
                canvas.styled(&[(x, y), (x + SAMPLE, y)], line, colour(number), 1.8)?;
                canvas.marker((x + SAMPLE / 2.0, y), marker, colour(number))?;
            }
            Look::Bar(number) => {
                let area = Area { left: x + 10.0, top: y - 6.0, right: x + SAMPLE - 4.0, bottom: y + 6.0 };
                bars::bar(canvas, area, number)?;
            }
        }
        canvas.text(&item.name, (x + SAMPLE + 6.0, y), LABEL, Hang::Right)?;
    }
    Ok(())
}
