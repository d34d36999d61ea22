//! Impedances drawn: against time, by duty, and as structure functions.

use joulestep_engine::thermal::field::reduce::Span;
use joulestep_engine::thermal::pulses::repetitive_peak;

use super::{DUTIES, Impedance, Points, times};
use crate::plot::{Axis, Chart, Curve, Figure, Line, Marker, Panel};

/// Points per decade of a curve.
const PER_DECADE: usize = 12;

/// One package, or two: impedances of all dies, the families of the first die of the first package, structure
/// functions.
pub fn picture(packages: &[Impedance]) -> Figure {
    let times = times(&Span::default(), PER_DECADE);
    let several = packages.len() > 1;
    let (mut curves, mut structures) = (Vec::new(), Vec::new());
    let mut colour = 0;
    for package in packages {
        for (d, die) in package.dies.iter().enumerate() {
            let of = if several { format!("{die}, {}", package.name) } else { die.clone() };
            let paths = [("to case", package.case.as_ref(), Line::Dashed)];
            for (to, path, line) in paths.into_iter().chain([("", Some(&package.ambient), Line::Solid)]) {
                let Some(path) = path else { continue };
                let network = path.network();
                let points = times.iter().map(|t| (*t, network.step_response(*t, d, d))).collect();
                let boundary = package.boundaries.join(", ");
                let name = if to.is_empty() { format!("{of} to {boundary}") } else { format!("{of} {to}") };
                curves.push(Curve::new(&name, points).coloured(colour).lined(line).marked(Marker::None));
            }
            // The last of the resistance lies before a temperature held: heat capacitance without end.
            let whole = package.ambient.network().steady_resistance(d, d);
            let steps = package.ambient.structure(d).into_iter().filter(|s| s.0 < 0.995 * whole).collect();
            structures.push(Curve::new(&of, steps).coloured(colour).lined(Line::Solid).marked(Marker::None));
            colour += 1;
        }
    }
    let impedance = || Axis::log("thermal impedance", "K/W");
    let mut panels = vec![Panel::Chart(Chart {
        title: "Single pulse".into(),
        x: Axis::log("time", "s"),
        y: impedance(),
        curves,
        ..Chart::default()
    })];
    if let Some(first) = packages.first() {
        let exact = first.ambient.terms(0);
        let family = |duty: &f64| {
            let points = times.iter().map(|t| (*t, repetitive_peak(&exact, *t, *duty))).collect();
            let name = if *duty == 0.0 { "single".to_string() } else { format!("D = {duty}") };
            Curve::new(&name, points)
        };
        panels.push(Panel::Chart(Chart {
            title: format!("Repeated pulses of {}, {}", first.dies[0], first.name),
            x: Axis::log("pulse length", "s"),
            y: impedance(),
            curves: DUTIES.iter().map(family).collect(),
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
    let title = packages.iter().map(|s| s.title.as_str()).collect::<Vec<_>>().join(" / ");
    let errors = packages.iter().flat_map(|s| s.ambient.errors.iter().copied()).fold(0.0, f64::max);
    let notes = vec![
        "Junction: mean over the heated volume. Case: its underside held at one temperature.".to_string(),
        format!("Largest stated error of cells and reduction over all time: {:.1} %.", 100.0 * errors),
    ];
    Figure::new(&title, panels).noted(notes)
}

/// Measured points and the fit through them.
pub fn points_picture(points: &Points) -> Figure {
    let [first, .., last] = points.points.as_slice() else {
        return Figure::default();
    };
    let count = 200;
    let at = |k: i32| first.0 * (last.0 / first.0).powf(f64::from(k) / f64::from(count));
    let curve = (0..=count).map(|k| (at(k), repetitive_peak(&points.fit.terms, at(k), 0.0))).collect();
    let chart = Chart {
        x: Axis::log("time", "s"),
        y: Axis::log("thermal impedance", "K/W"),
        curves: vec![
            Curve::scatter("measured", points.points.clone()),
            Curve::new(&format!("Foster, {} terms", points.fit.terms.len()), curve),
        ],
        ..Chart::default()
    };
    Figure::new("Foster network through measured points", vec![Panel::Chart(chart)])
        .noted(vec![super::text::NOT_LAYERS.to_string()])
}
