//! A sizing as a picture.

use super::compute::Found;
use super::{Options, pulse_words};
use crate::output::plot::{Axis, Chart, Curve, Figure, Line, Panel};

/// Hottest junction against number, a panel for the steady state and for each pulse.
pub(super) fn picture(all: &[Found], options: &Options) -> Figure {
    let most = all.iter().map(|f| f.chosen().number).max().unwrap_or(1) as f64;
    let hottest = all.iter().map(|f| f.hottest).fold(f64::NEG_INFINITY, f64::max);
    let panel = |title: String, of: &dyn Fn(&super::compute::Tried, usize) -> f64| {
        let mut curves: Vec<Curve> = all
            .iter()
            .enumerate()
            .map(|(k, f)| {
                let points = f.tried.iter().map(|t| (t.number as f64, of(t, f.dies.len()))).collect();
                Curve::new(&f.name, points).coloured(k)
            })
            .collect();
        let line = vec![(0.5, hottest), (most + 0.5, hottest)];
        let mark = Curve::new("T_j,max", line).coloured(7).lined(Line::Dotted);
        curves.push(mark.marked(crate::output::plot::Marker::None));
        Panel::Chart(Chart {
            title,
            x: Axis::linear("number in parallel", "1").within(0.5, most + 0.5),
            y: Axis::linear("hottest junction", "degC"),
            curves,
            height: 260.0,
            ..Chart::default()
        })
    };
    let mut panels = vec![panel("For ever".into(), &|t, dies| t.steady(dies))];
    for (k, pulse) in options.pulses.iter().enumerate() {
        panels.push(panel(format!("In {}", pulse_words(pulse)), &move |t, dies| t.pulse(k, dies)));
    }
    let notes = all.iter().map(|f| format!("{}: {}.", f.name, f.heat)).collect();
    Figure::new("Numbers in parallel", panels).noted(notes)
}
