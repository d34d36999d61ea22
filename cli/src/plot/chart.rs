//! Line charts and scatter.

use plotters::prelude::DrawingBackend;

use super::canvas::{AXIS, Area, Canvas, FAINT, GREY, GRID, Hang, Letters, Place, SHADE, WHITE, colour};
use super::frame::LABEL;
use super::scale::Scale;
use super::{Chart, Line, Trouble};

/// Points above which a curve is thinned to what the pixels can show.
const MANY: usize = 2000;
const MARK: Letters = Letters::new(11.0, GREY);

/// Least and largest of the values that an axis can show.
fn bounds(values: impl Iterator<Item = f64>, log: bool) -> Option<(f64, f64)> {
    let good = values.filter(|v| v.is_finite() && (!log || *v > 0.0));
    good.fold(None, |b: Option<(f64, f64)>, v| Some(b.map_or((v, v), |(lo, hi)| (lo.min(v), hi.max(v)))))
}

fn scales(chart: &Chart) -> Result<(Scale, Scale), Trouble> {
    let points = || chart.curves.iter().flat_map(|c| c.points.iter());
    let nothing = |what: &str| {
        let panel = if chart.title.is_empty() { chart.y.title.clone() } else { chart.title.clone() };
        Trouble::Nothing { panel, what: what.into() }
    };
    let shown = |p: &&(f64, f64)| p.0.is_finite() && p.1.is_finite();
    let data = bounds(points().filter(shown).map(|p| p.0), chart.x.log);
    // Along, data fill the whole width.
    let filling = chart.x.range.or(data.filter(|d| d.1 > d.0 && !chart.x.log));
    let x = super::Axis { range: filling, ..chart.x.clone() };
    let x =
        Scale::new(&x, data, None).ok_or_else(|| nothing("no point has a place on the horizontal axis"))?;
    // Only what lies in the horizontal bounds decides the vertical ones.
    let inside = |p: &&(f64, f64)| (-1e-9..=1.0 + 1e-9).contains(&x.place(p.0));
    let data = bounds(points().filter(inside).map(|p| p.1), chart.y.log);
    let y = Scale::new(&chart.y, data, None)
        .ok_or_else(|| nothing("no point has a place on the vertical axis"))?;
    Ok((x, y))
}

/// Grid, ticks, titles of the vertical axis: bars have the same.
pub(super) fn vertical<B: DrawingBackend>(
    canvas: &mut Canvas<'_, B>,
    y: &Scale,
    area: Area,
) -> Result<(), Trouble> {
    for tick in y.ticks(((area.height() / 45.0) as usize).max(3)) {
        let at = area.bottom - y.place(tick.at) * area.height();
        let tone = if tick.label.is_some() { GRID } else { FAINT };
        canvas.line((area.left, at), (area.right, at), tone, 1.0)?;
        if let Some(label) = tick.label {
            canvas.text(&label, (area.left - 7.0, at), LABEL, Hang::Left)?;
        }
    }
    canvas.text(&y.title(), (16.0, (area.top + area.bottom) / 2.0), LABEL, Hang::Turned)
}

/// Draws the panel into its plot area, with ticks and titles around it.
pub(super) fn draw<B: DrawingBackend>(
    canvas: &mut Canvas<'_, B>,
    chart: &Chart,
    area: Area,
) -> Result<(), Trouble> {
    let (x, y) = scales(chart)?;
    let across = |v: f64| area.left + x.place(v) * area.width();
    for span in &chart.spans {
        let (from, to) = (across(span.from).max(area.left), across(span.to).min(area.right));
        if from < to {
            canvas.fill(Area { left: from, right: to, ..area }, SHADE)?;
        }
    }
    for tick in x.ticks((area.width() / 85.0) as usize) {
        let at = across(tick.at);
        let tone = if tick.label.is_some() { GRID } else { FAINT };
        canvas.line((at, area.top), (at, area.bottom), tone, 1.0)?;
        if let Some(label) = tick.label {
            canvas.line((at, area.bottom), (at, area.bottom + 4.0), AXIS, 1.0)?;
            canvas.text(&label, (at, area.bottom + 8.0), LABEL, Hang::Below)?;
        }
    }
    vertical(canvas, &y, area)?;
    if !chart.x.title.is_empty() {
        canvas.text(&x.title(), ((area.left + area.right) / 2.0, area.bottom + 27.0), LABEL, Hang::Below)?;
    }
    for (k, curve) in chart.curves.iter().enumerate() {
        let (number, line, marker) = curve.look(k);
        let places: Vec<Place> =
            curve.points.iter().map(|p| (across(p.0), area.bottom - y.place(p.1) * area.height())).collect();
        if line != Line::None {
            for piece in pieces(&places, area) {
                canvas.styled(&thinned(piece), line, colour(number), 1.8)?;
            }
        }
        for &place in places.iter().filter(|&&p| area.clip(p, p).is_some()) {
            canvas.marker(place, marker, colour(number))?;
        }
    }
    canvas.frame(area, AXIS, 1.0)?;
    let mut level = 0;
    let mut last_end = f64::NEG_INFINITY;
    let marks = chart.marks.iter().map(|m| (across(m.at), across(m.at), &m.label, true));
    let spans = chart.spans.iter().map(|s| (across(s.from), across(s.to), &s.label, false));
    let mut labels: Vec<_> = spans.chain(marks).filter(|l| l.0 <= area.right && l.1 >= area.left).collect();
    labels.sort_by(|a, b| a.0.total_cmp(&b.0));
    for (from, _, label, line) in labels {
        let from = from.max(area.left);
        if line {
            canvas.styled(&[(from, area.top), (from, area.bottom)], Line::Dotted, GREY, 1.0)?;
        }
        // A label that would run into the one before goes a line lower.
        level = if from < last_end { (level + 1) % 4 } else { 0 };
        let width = MARK.width(label);
        let at = (from + 3.0).min(area.right - width - 2.0);
        let top = area.top + 4.0 + 14.0 * f64::from(level);
        if !label.is_empty() {
            // Ground behind the label, so that lines do not run through it.
            let ground = Area { left: at - 1.0, right: at + width + 1.0, top: top - 1.0, bottom: top + 12.0 };
            canvas.fill(ground, WHITE)?;
        }
        canvas.text(label, (at, top), MARK, Hang::BelowRight)?;
        last_end = last_end.max(at + width + 6.0);
    }
    Ok(())
}

/// The stretches of a line inside the area.
fn pieces(places: &[Place], area: Area) -> Vec<Vec<Place>> {
    let mut out: Vec<Vec<Place>> = Vec::new();
    let mut open = false;
    for w in places.windows(2) {
        let Some((a, b)) = area.clip(w[0], w[1]) else {
            open = false;
            continue;
        };
        match out.last_mut() {
            Some(piece) if open && a == w[0] => piece.push(b),
            _ => out.push(vec![a, b]),
        }
        open = b == w[1];
    }
    out
}

/// A long line as first, lowest, highest and last point of every half pixel across.
fn thinned(places: Vec<Place>) -> Vec<Place> {
    if places.len() <= MANY {
        return places;
    }
    let column = |p: &Place| (2.0 * p.0).floor();
    let mut out = Vec::new();
    for group in places.chunk_by(|a, b| column(a) == column(b)) {
        let by = |a: &usize, b: &usize| group[*a].1.total_cmp(&group[*b].1);
        let lowest = (0..group.len()).min_by(by).unwrap_or(0);
        let highest = (0..group.len()).max_by(by).unwrap_or(0);
        let mut kept = vec![0, lowest, highest, group.len() - 1];
        kept.sort_unstable();
        kept.dedup();
        out.extend(kept.into_iter().map(|k| group[k]));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    const AREA: Area = Area { left: 0.0, top: 0.0, right: 10.0, bottom: 10.0 };

    #[test]
    fn a_line_is_cut_at_the_frame_and_at_gaps() {
        let nan = f64::NAN;
        let line = [(-5.0, 5.0), (5.0, 5.0), (5.0, 20.0), (8.0, 20.0), (8.0, 5.0), (nan, nan), (9.0, 1.0)];
        let cut = pieces(&line, AREA);
        assert_eq!(cut, [vec![(0.0, 5.0), (5.0, 5.0), (5.0, 10.0)], vec![(8.0, 10.0), (8.0, 5.0)]]);
    }

    #[test]
    fn thinning_keeps_extremes() {
        let many: Vec<Place> =
            (0..10_000).map(|k| (1e-3 * f64::from(k), if k == 4321 { 9.0 } else { 5.0 })).collect();
        let few = thinned(many);
        assert!(few.len() < 100 && few.iter().any(|p| p.1 == 9.0));
    }
}
