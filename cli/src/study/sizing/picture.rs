//! A sizing as a picture.

use joulestep_engine::units::people;

use super::compute::Found;
use super::{Options, pulse_words};
use crate::output::plot::{Axis, Chart, Curve, Figure, Line, Marker, Panel};

/// Number of the colour of bounds.
const BLACK: usize = 6;

/// Hottest junction against number, a panel for the steady state and for each pulse.
pub(super) fn picture(all: &[Found], options: &Options) -> Figure {
    let most = all.iter().map(|f| f.chosen().number).max().unwrap_or(1) as f64;
    let mut bounds: Vec<f64> = all.iter().map(|f| f.hottest).collect();
    bounds.sort_by(f64::total_cmp);
    bounds.dedup();
    let panel = |title: String, of: &dyn Fn(&super::compute::Tried, usize) -> f64| {
        let mut curves: Vec<Curve> = all
            .iter()
            .enumerate()
            .map(|(k, f)| {
                let points = f.tried.iter().map(|t| (t.number as f64, of(t, f.dies.len()))).collect();
                Curve::new(&f.name, points).coloured(k)
            })
            .collect();
        for (hottest, style) in bounds.iter().zip([Line::Dotted, Line::DashDot, Line::Dashed].iter().cycle())
        {
            let line = vec![(0.5, *hottest), (most + 0.5, *hottest)];
            let mark = Curve::new(&format!("T_j,max {}", people(*hottest, "degC")), line);
            curves.push(mark.coloured(BLACK).lined(*style).marked(Marker::None));
        }
        Panel::Chart(Chart {
            title,
            x: Axis::count("number in parallel").within(0.5, most + 0.5),
            y: Axis::linear("hottest junction", "degC"),
            curves,
            height: 260.0,
            ..Chart::default()
        })
    };
    let mut panels = vec![panel("Continuous current".into(), &|t, dies| t.steady(dies))];
    for (k, pulse) in options.pulses.iter().enumerate() {
        panels.push(panel(format!("In {}", pulse_words(pulse)), &move |t, dies| t.pulse(k, dies)));
    }
    let notes = all.iter().map(|f| format!("{}: {}.", f.name, f.heat)).collect();
    Figure::new("Numbers in parallel", panels).noted(notes)
}
