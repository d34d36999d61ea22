//! Ratings as a picture.

use super::Options;
use super::compute::Rated;
use crate::output::plot::{Axis, Chart, Curve, Figure, Line, Marker, Panel};

/// Largest current and let-through I²t against width, with the continuous currents.
pub(super) fn picture(all: &[Rated], options: &Options) -> Figure {
    let of = |what: fn(&joulestep_models::rating::surge::Point) -> f64| {
        all.iter().enumerate().map(move |(k, r)| {
            let points = r.numbers.curve.iter().map(|p| (p.width, what(p))).collect();
            Curve::new(&r.part.name, points).coloured(k).marked(Marker::None)
        })
    };
    let ends = [options.widths.first(), options.widths.last()].map(|w| w.copied().unwrap_or(1.0));
    let for_ever = all.iter().enumerate().filter_map(|(k, r)| {
        let current = r.numbers.continuous.as_ref()?.current;
        let name = format!("{}, continuous", r.part.name);
        let line = Curve::new(&name, ends.iter().map(|&w| (w, current)).collect());
        Some(line.coloured(k).lined(Line::Dotted).marked(Marker::None))
    });
    let width = "pulse width";
    let panels = vec![
        Panel::Chart(Chart {
            title: format!("Largest current of a pulse ({})", options.shape.key()),
            x: Axis::log(width, "s"),
            y: Axis::log("largest current", "A"),
            curves: of(|p| p.current).chain(for_ever).collect(),
            height: 360.0,
            ..Chart::default()
        }),
        Panel::Chart(Chart {
            title: "Let-through I²t".into(),
            x: Axis::log(width, "s"),
            y: Axis::log("I²t", "A²s"),
            curves: of(|p| p.i2t).collect(),
            height: 320.0,
            ..Chart::default()
        }),
    ];
    let notes = all.iter().map(|r| {
        format!(
            "{}: heatsink {} °C, junctions up to {} °C; {}.",
            r.part.name, options.way.heatsink, r.hottest, r.heat
        )
    });
    Figure::new("Ratings", panels).noted(notes.collect())
}
