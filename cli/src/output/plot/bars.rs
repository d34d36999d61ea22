//! Bars in groups.

use plotters::prelude::DrawingBackend;

use super::canvas::{AXIS, Area, Canvas, GREY, Hang, INK, Letters, WHITE, colour};
use super::chart::{vertical, widest};
use super::frame::{LABEL, wrapped};
use super::scale::Scale;
use super::{Bars, Line, PlotError};

const VALUE: Letters = Letters::new(10.0, INK);
/// Height of a number, CSS px.
const LINE: f64 = 11.0;
/// Share of a group's width that its bars take.
const FULL: f64 = 0.8;

fn group_names(bars: &Bars, width: f64) -> Vec<Vec<String>> {
    let each = width / bars.groups.len().max(1) as f64;
    bars.groups.iter().map(|g| wrapped(g, each - 6.0, &LABEL)).collect()
}

/// Height needed below the plot area, CSS px.
pub(super) fn below(bars: &Bars, width: f64) -> f64 {
    let lines = group_names(bars, width).iter().map(Vec::len).max().unwrap_or(0);
    10.0 + 16.0 * lines as f64
}

/// One bar: its colour, and stripes that distinguish it without colour.
pub(super) fn bar<B: DrawingBackend>(
    canvas: &mut Canvas<'_, B>,
    area: Area,
    number: usize,
) -> Result<(), PlotError> {
    canvas.fill(area, colour(number))?;
    let (along, every) = match number % 4 {
        1 => ((1.0, -1.0), 7.0),
        2 => ((1.0, 0.0), 4.5),
        3 => ((1.0, 1.0), 7.0),
        _ => return Ok(()),
    };
    // Lines on one grid of the whole picture, cut to the bar.
    let (w, h) = (area.width(), area.height());
    let reach = w + h;
    let low = if along.1 < 0.0 { area.top } else { area.top - w };
    let mut y = (low / every).floor() * every;
    while y <= area.bottom + w {
        let a = (area.left, y);
        let b = (area.left + reach, y + along.1 * reach);
        if let Some((a, b)) = area.clip(a, b) {
            canvas.line(a, b, WHITE, 1.1)?;
        }
        y += every;
    }
    Ok(())
}

fn scale(bars: &Bars) -> Result<Scale, PlotError> {
    let values = || bars.series.iter().flat_map(|s| s.values.iter().flatten().copied());
    let shown = values().chain(bars.reference).filter(|v| v.is_finite() && (!bars.y.log || *v > 0.0));
    let data = shown
        .fold(None, |b: Option<(f64, f64)>, v| Some(b.map_or((v, v), |(lo, hi)| (lo.min(v), hi.max(v)))));
    let nothing = || PlotError::Nothing {
        panel: if bars.title.is_empty() { bars.y.title.clone() } else { bars.title.clone() },
        what: "no bar has a finite value".into(),
    };
    let zero = if bars.y.log { None } else { Some(0.0) };
    // Room for the numbers above the bars.
    let data = data.map(|(lo, hi)| if bars.y.log { (lo, hi) } else { (lo, 1.06 * hi) });
    Scale::new(&bars.y, data, zero).ok_or_else(nothing)
}

/// Width of the widest label of the vertical axis, CSS px.
pub(super) fn ordinates(bars: &Bars, height: f64) -> f64 {
    scale(bars).map_or(0.0, |y| widest(&y, height))
}

/// Whether two areas share more than a touch.
fn overlap(a: &Area, b: &Area) -> bool {
    a.left < b.right - 1.0 && b.left < a.right - 1.0 && a.top < b.bottom - 0.5 && b.top < a.bottom - 0.5
}

/// Room for a bar's number of that width: above it (below, where it hangs), or a line or two further where bars and
/// numbers that are `taken` are in the way; `None` where there is no room.
fn room(own: Area, width: f64, hangs: bool, within: Area, taken: &[Area]) -> Option<Area> {
    let middle = (own.left + own.right) / 2.0;
    (0..3).map(|step| LINE * f64::from(step)).find_map(|away| {
        let top = if hangs { own.bottom + 2.0 + away } else { own.top - 2.0 - LINE - away };
        let place = Area { left: middle - width / 2.0, right: middle + width / 2.0, top, bottom: top + LINE };
        let fits = place.top >= within.top && place.bottom <= within.bottom;
        (fits && !taken.iter().any(|other| overlap(&place, other))).then_some(place)
    })
}

/// Draws the panel into its plot area, with ticks and names around it.
pub(super) fn draw<B: DrawingBackend>(
    canvas: &mut Canvas<'_, B>,
    bars: &Bars,
    area: Area,
) -> Result<(), PlotError> {
    let y = scale(bars)?;
    vertical(canvas, &y, area)?;
    let each = area.width() / bars.groups.len().max(1) as f64;
    let wide = FULL * each / bars.series.len().max(1) as f64;
    let up = |v: f64| area.bottom - y.place(v).clamp(0.0, 1.0) * area.height();
    let ground = if bars.y.log { area.bottom } else { up(0.0) };
    if let Some(reference) = bars.reference {
        let at = up(reference);
        canvas.styled(&[(area.left, at), (area.right, at)], Line::Dashed, GREY, 1.0)?;
    }
    let mut taken: Vec<Area> = Vec::new();
    for (g, names) in group_names(bars, area.width()).iter().enumerate() {
        let left = area.left + each * (g as f64 + (1.0 - FULL) / 2.0);
        let mut numbers = Vec::new();
        for (k, series) in bars.series.iter().enumerate() {
            let at = left + wide * k as f64;
            let gap = (0.08 * wide).min(2.0);
            let middle = at + wide / 2.0;
            match series.values.get(g).copied().flatten().filter(|v| v.is_finite()) {
                Some(value) if !bars.y.log || value > 0.0 => {
                    let (top, bottom) = (up(value).min(ground), up(value).max(ground));
                    let own = Area { left: at + gap, right: at + wide - gap, top, bottom };
                    bar(canvas, own, k)?;
                    taken.push(own);
                    numbers.push((own, value));
                }
                _ => canvas.text("–", (middle, ground - 2.0), Letters::new(11.0, GREY), Hang::Above)?,
            }
        }
        for (own, value) in numbers {
            let text = y.short(value);
            let hangs = value < 0.0 && !bars.y.log;
            if let Some(place) = room(own, VALUE.width(&text), hangs, area, &taken) {
                // Ground behind the number, so that the grid does not run through it.
                canvas.fill(place, WHITE)?;
                canvas.text(&text, ((place.left + place.right) / 2.0, place.bottom), VALUE, Hang::Above)?;
                taken.push(place);
            }
        }
        let centre = area.left + each * (g as f64 + 0.5);
        for (line, name) in names.iter().enumerate() {
            let place = (centre, area.bottom + 8.0 + 16.0 * line as f64);
            canvas.text(name, place, LABEL, Hang::Below)?;
        }
    }
    canvas.line((area.left, ground), (area.right, ground), AXIS, 1.0)?;
    canvas.frame(area, AXIS, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_of_bars_make_room_for_each_other() {
        let within = Area { left: 0.0, top: 0.0, right: 200.0, bottom: 100.0 };
        let own = |left: f64, top: f64| Area { left, right: left + 20.0, top, bottom: 100.0 };
        let (a, b) = (own(10.0, 90.0), own(30.0, 91.0));
        let mut taken = vec![a, b];
        let first = room(a, 26.0, false, within, &taken).unwrap();
        taken.push(first);
        let second = room(b, 26.0, false, within, &taken).unwrap();
        assert!(!overlap(&first, &second) && second.bottom < first.bottom);
        // Beside a tall bar a wide number has none, and is left to the table.
        assert_eq!(room(a, 40.0, false, within, &[own(30.0, 10.0)]), None);
    }
}
