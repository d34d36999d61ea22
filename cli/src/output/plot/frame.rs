//! The figure's layout: title, panels with aligned plot areas, small print.

use plotters::prelude::DrawingBackend;

use super::canvas::{Area, Canvas, GREY, Hang, INK, Letters, WHITE};
use super::{Figure, Panel, PlotError, WIDTH, bars, chart, legend};

/// Figure title, panel title, small print.
const TITLE: Letters = Letters::new(17.0, INK).bold();
const PANEL_TITLE: Letters = Letters::new(13.5, INK).bold();
const SMALL: Letters = Letters::new(11.0, GREY);
/// Labels of ticks and legend, titles of axes.
pub(super) const LABEL: Letters = Letters::new(12.0, INK);
/// Left margin up to the plot area where labels are short, margins elsewhere, CSS px.
const LEFT: f64 = 78.0;
const MARGIN: f64 = 20.0;
/// Height of a plot area: alone, among several, of bars.
const ALONE: f64 = 380.0;
const AMONG: f64 = 210.0;
const OF_BARS: f64 = 270.0;

/// Where a panel's parts are.
pub(super) struct Placed {
    pub title: f64,
    pub legend: f64,
    pub area: Area,
}

/// Where everything is.
pub(super) struct Plan {
    /// Left edge of the plot areas.
    pub left: f64,
    pub title: Vec<String>,
    pub panels: Vec<Placed>,
    pub notes: Vec<String>,
    pub notes_at: f64,
    pub height: f64,
}

/// A text in lines that fit a width.
pub(super) fn wrapped(text: &str, width: f64, letters: &Letters) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match lines.last_mut() {
            Some(line) if letters.width(line) + letters.width(" ") + letters.width(word) <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_string()),
        }
    }
    lines
}

/// Height of a panel's plot area, CSS px.
fn height_of(panel: &Panel, among: bool) -> f64 {
    let (requested, usual) = match panel {
        Panel::Chart(c) => (c.height, if among { AMONG } else { ALONE }),
        Panel::Bars(b) => (b.height, OF_BARS),
    };
    if requested > 0.0 { requested } else { usual }
}

/// Places everything.
pub(super) fn plan(figure: &Figure) -> Result<Plan, PlotError> {
    if figure.panels.is_empty() {
        return Err(PlotError::Nothing { panel: figure.title.clone(), what: "it has no panel".into() });
    }
    let among = figure.panels.len() > 1;
    // Labels of the vertical axes end 7 px before the plot areas; their titles are 26 px wide with what keeps them
    // apart.
    let ordinates = figure.panels.iter().map(|panel| match panel {
        Panel::Chart(c) => chart::ordinates(c, height_of(panel, among)),
        Panel::Bars(b) => bars::ordinates(b, height_of(panel, among)),
    });
    let left = ordinates.map(|wide| wide + 7.0 + 26.0).fold(LEFT, f64::max);
    let mut y = MARGIN;
    let mut title = Vec::new();
    if !figure.title.is_empty() {
        title = wrapped(&figure.title, WIDTH - left - MARGIN, &TITLE);
        y += title.len() as f64 * (TITLE.size + 4.0) + 6.0;
    }
    let mut panels = Vec::new();
    for panel in &figure.panels {
        let (title, labels) = match panel {
            Panel::Chart(c) => (&c.title, chart::above(c, left, WIDTH - MARGIN)),
            Panel::Bars(b) => (&b.title, 0.0),
        };
        let title_at = y;
        if !title.is_empty() {
            y += PANEL_TITLE.size + 8.0;
        }
        let legend_at = y;
        y += legend::height(&legend::entries(panel), left, WIDTH - MARGIN);
        let top = y + 8.0 + labels;
        let height = height_of(panel, among);
        let area = Area { left, top, right: WIDTH - MARGIN, bottom: top + height };
        panels.push(Placed { title: title_at, legend: legend_at, area });
        let below = match panel {
            // Without a title of the horizontal axis: the panel below says it.
            Panel::Chart(c) if c.x.title.is_empty() => 28.0,
            Panel::Chart(_) => 46.0,
            Panel::Bars(b) => bars::below(b, area.width()),
        };
        y = area.bottom + below + 12.0;
    }
    let lines = figure.notes.iter().flat_map(|n| wrapped(n, WIDTH - left - MARGIN, &SMALL));
    let notes: Vec<String> = lines.collect();
    let height = y + notes.len() as f64 * (SMALL.size + 4.0) + 8.0;
    Ok(Plan { left, title, panels, notes, notes_at: y, height })
}

/// Draws everything.
pub(super) fn draw<B: DrawingBackend>(
    canvas: &mut Canvas<'_, B>,
    figure: &Figure,
    plan: &Plan,
) -> Result<(), PlotError> {
    canvas.fill(Area { left: 0.0, top: 0.0, right: WIDTH, bottom: plan.height.ceil() }, WHITE)?;
    for (k, line) in plan.title.iter().enumerate() {
        let y = MARGIN - 4.0 + k as f64 * (TITLE.size + 4.0);
        canvas.text(line, (plan.left, y), TITLE, Hang::BelowRight)?;
    }
    for (panel, placed) in figure.panels.iter().zip(&plan.panels) {
        let title = match panel {
            Panel::Chart(c) => &c.title,
            Panel::Bars(b) => &b.title,
        };
        if !title.is_empty() {
            canvas.text(title, (plan.left, placed.title), PANEL_TITLE, Hang::BelowRight)?;
        }
        legend::draw(canvas, &legend::entries(panel), placed.area.left, placed.area.right, placed.legend)?;
        match panel {
            Panel::Chart(c) => chart::draw(canvas, c, placed.area)?,
            Panel::Bars(b) => bars::draw(canvas, b, placed.area)?,
        }
    }
    for (k, note) in plan.notes.iter().enumerate() {
        let y = plan.notes_at + k as f64 * (SMALL.size + 4.0);
        canvas.text(note, (plan.left, y), SMALL, Hang::BelowRight)?;
    }
    Ok(())
}
