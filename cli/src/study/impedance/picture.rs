//! Impedances drawn: against time, by duty, and as structure functions.

use joulestep_engine::thermal::field::reduce::Span;
use joulestep_engine::thermal::pulses::repetitive_peak;
use joulestep_models::impedance::times;

use super::paths;
use super::tables::Computed;
use crate::output::plot::{Axis, Chart, Curve, Figure, Line, Marker, Panel};

/// Points per decade of a curve.
const PER_DECADE: usize = 12;

/// One package, or two: impedances of all dies, the families of the first die of the first package, structure
/// functions.
pub(super) fn picture(all: &[Computed], duties: &[f64]) -> Figure {
    let times = times(&Span::default(), PER_DECADE);
    let several = all.len() > 1;
    let (mut curves, mut structures, mut slopes) = (Vec::new(), Vec::new(), Vec::new());
    let mut colour = 0;
    for package in all {
        let impedance = &package.impedance;
        for (d, die) in impedance.dies.iter().enumerate() {
            let of = if several { format!("{die}, {}", package.name) } else { die.clone() };
            for (to, path) in paths(impedance) {
                let network = path.network();
                let points = times.iter().map(|t| (*t, network.step_response(*t, d, d))).collect();
                let (name, line) = match to {
                    "case" => (format!("{of} to case"), Line::Dashed),
                    _ => (format!("{of} to {}", impedance.boundaries.join(", ")), Line::Solid),
                };
                curves.push(Curve::new(&name, points).coloured(colour).lined(line).marked(Marker::None));
            }
            // The last of the resistance lies before a temperature held: heat capacitance without end.
            let whole = impedance.ambient.network().steady_resistance(d, d);
            let steps = impedance.ambient.structure(d).into_iter().filter(|s| s.0 < 0.995 * whole).collect();
            structures.push(Curve::new(&of, steps).coloured(colour).lined(Line::Solid).marked(Marker::None));
            let slope = impedance.ambient.differential(d).into_iter();
            let slope = slope.filter(|s| s.0 > 0.0 && s.0 < 0.995 * whole).collect();
            slopes.push(Curve::new(&of, slope).coloured(colour).lined(Line::Solid).marked(Marker::None));
            colour += 1;
        }
    }
    let axis = || Axis::log("thermal impedance", "K/W");
    let mut panels = vec![Panel::Chart(Chart {
        title: "Single pulse".into(),
        x: Axis::log("time", "s"),
        y: axis(),
        curves,
        ..Chart::default()
    })];
    if let Some(first) = all.first() {
        let exact = first.impedance.ambient.terms(0);
        let family = |duty: &f64| {
            let points = times.iter().map(|t| (*t, repetitive_peak(&exact, *t, *duty))).collect();
            let name = if *duty == 0.0 { "single".to_string() } else { format!("D = {duty}") };
            Curve::new(&name, points)
        };
        panels.push(Panel::Chart(Chart {
            title: format!("Repeated pulses of {}, {}", first.impedance.dies[0], first.name),
            x: Axis::log("pulse length", "s"),
            y: axis(),
            curves: std::iter::once(&0.0).chain(duties).map(family).collect(),
            ..Chart::default()
        }));
    }
    panels.push(Panel::Chart(Chart {
        title: "Cumulative structure function, junction outwards".into(),
        x: Axis::linear("thermal resistance", "K/W"),
        y: Axis::log("heat capacitance", "J/K"),
        curves: structures,
        ..Chart::default()
    }));
    panels.push(Panel::Chart(Chart {
        title: "Differential structure function, junction outwards".into(),
        x: Axis::linear("thermal resistance", "K/W"),
        y: Axis::log("heat capacitance per thermal resistance", "W^2 s/K^2"),
        curves: slopes,
        ..Chart::default()
    }));
    let title = all.iter().map(|c| c.package.title.as_str()).collect::<Vec<_>>().join(" / ");
    let errors = all.iter().flat_map(|c| c.impedance.ambient.errors.iter().copied()).fold(0.0, f64::max);
    let notes = vec![
        "Junction: mean over the heated volume. Case: its underside held at one temperature.".to_string(),
        format!("Largest stated error of cells and reduction over all time: {:.1} %.", 100.0 * errors),
    ];
    Figure::new(&title, panels).noted(notes)
}
