//! Waveforms of a window as a figure.

use crate::output::answer::overlay::Overlay;
use crate::output::report::people;

use super::Read;
use super::windows::Window;
use crate::output::plot::Figure;
use crate::output::plot::traces::{Traces, cut, spanned, stepped, thinned};
use crate::output::report::Drawing;
use crate::output::result::{Channel, ResultError, ResultFile, block_length};

/// Most samples drawn one by one.
const SINGLE: usize = 1600;
/// Most blocks of the overview that are read for a curve.
const BLOCKS: usize = 40_000;

/// Number of the first sample at `t` or later.
pub(super) fn locate(file: &ResultFile, t: f64) -> Result<usize, ResultError> {
    let (mut low, mut high) = (0, file.samples());
    while low < high {
        let middle = low + (high - low) / 2;
        if file.time(middle..middle + 1)?[0] < t {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    Ok(low)
}

/// A channel over samples `from..to`, fine enough for a figure.
fn curve(
    file: &ResultFile,
    channel: &Channel,
    from: usize,
    to: usize,
) -> Result<Vec<(f64, f64)>, ResultError> {
    let (channel, holds) = (channel.name.as_str(), channel.holds);
    let single = |range: std::ops::Range<usize>| -> Result<Vec<(f64, f64)>, ResultError> {
        Ok(file.time(range.clone())?.into_iter().zip(file.window(channel, range)?).collect())
    };
    if holds && to - from <= BLOCKS {
        let (t, y): (Vec<f64>, Vec<f64>) = single(from..to)?.into_iter().unzip();
        return Ok(stepped(&t, &y, &y));
    }
    if to - from <= SINGLE {
        return single(from..to);
    }
    if to - from <= BLOCKS {
        let (t, y): (Vec<f64>, Vec<f64>) = single(from..to)?.into_iter().unzip();
        return Ok(spanned(&t, &y, &y));
    }
    let levels = file.overview_levels();
    let fits = |level: &u32| (to - from) / block_length(*level) <= BLOCKS;
    let level = levels.clone().find(fits).unwrap_or(levels.end - 1);
    let length = block_length(level);
    let blocks = from / length..to.div_ceil(length).min(file.overview_length(level)?);
    let o = file.overview(level, channel, blocks)?;
    let draw = if holds { stepped } else { spanned };
    Ok(draw(&o.begin, &o.minimum, &o.maximum))
}

/// A name with its points.
type Named = (String, Vec<(f64, f64)>);

/// Thermal nodes over the window; what was last written holds until the next instant.
fn temperatures(read: &Read<'_>, window: &Window) -> Result<Vec<Named>, ResultError> {
    let (file, (from, to)) = (read.file, window.reach);
    let n = file.thermal_samples();
    if n == 0 {
        return Ok(Vec::new());
    }
    let time = file.thermal_time(0..n)?;
    let first = time.partition_point(|&t| t <= from).saturating_sub(1);
    let end = time.partition_point(|&t| t <= to);
    let mut out = Vec::new();
    for c in file.thermal_channels() {
        let values = file.temperature(&c.name, first..end.max(first + 1))?;
        let times = &time[first..first + values.len()];
        let mut points = match values.len() > SINGLE {
            true => spanned(times, &values, &values),
            false => times.iter().copied().zip(values.iter().copied()).collect(),
        };
        points[0].0 = points[0].0.max(from);
        if let Some(&(_, last)) = points.last() {
            points.push((to, last));
        }
        out.push((c.name.clone(), points));
    }
    Ok(out)
}

/// The figure of a window; `None` where nothing was recorded in it.
pub(super) fn drawing(
    read: &Read<'_>,
    window: &Window,
    overlays: &[Overlay],
) -> Result<Option<Drawing>, ResultError> {
    let (file, (from, to)) = (read.file, window.reach);
    let first = locate(file, from)?.saturating_sub(1);
    let last = (locate(file, to)? + 1).min(file.samples());
    if last < first + 2 {
        return Ok(None);
    }
    let relative = |points: Vec<(f64, f64)>| points.into_iter().map(|(t, y)| (t - window.zero, y)).collect();
    let mut traces = Traces::default();
    for c in file.channels() {
        let points = relative(cut(&curve(file, c, first, last)?, from, to));
        let points = if c.holds { points } else { thinned(points) };
        traces.add(&c.name, &c.unit, points);
    }
    traces.measured(overlays, (from, to), window.zero);
    let mut caption = window.caption.clone();
    let thermal = temperatures(read, window)?;
    if window.close {
        let held: Vec<String> = thermal
            .iter()
            .filter_map(|(name, p)| Some(format!("{name} {}", people(p.last()?.1, "degC"))))
            .collect();
        if !held.is_empty() {
            caption = format!("{caption} Temperatures: {}.", held.join(", "));
        }
    } else {
        for (name, points) in thermal {
            traces.add(&name, "degC", thinned(relative(points)));
        }
    }
    let title = if window.zero == 0.0 { "time" } else { "time after the edge" };
    let reach = (from - window.zero, to - window.zero);
    let marks: Vec<(f64, String)> =
        window.marks.iter().map(|(at, label)| (at - window.zero, label.clone())).collect();
    let panels = traces.panels(title, reach, &marks, window.close);
    let figure = Figure::new("", panels);
    Ok(Some(Drawing { name: window.name.clone(), caption, figure }))
}
