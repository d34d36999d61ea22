//! The chart of a mission: what was asked, temperatures with their ripple, amplitudes against frequency, counted
//! cycles.

use joulestep_models::arrangement::mission::Followed;
use joulestep_models::arrangement::mission::profile::Profile;

use super::life::{Life, gathered};
use crate::input::scenario::resolved::MissionSpec;
use crate::output::plot::{Axis, Chart, Curve, Figure, Line, Marker, Panel};

/// Lines of the mean temperatures; dots are for their ripple.
const MEANS: [Line; 3] = [Line::Solid, Line::Dashed, Line::DashDot];

/// The figure.
pub(super) fn figure(
    title: &str,
    spec: &MissionSpec,
    profile: &Profile,
    followed: &Followed,
    lives: &[Life],
) -> Figure {
    let end = followed.course.last().map_or(0.0, |i| i.time);
    let time = || Axis::linear("time", "s").within(0.0, end.max(f64::MIN_POSITIVE));
    let mut panels = Vec::new();
    for course in &spec.segments {
        let rounds = (0..profile.rounds).flat_map(|r| {
            let begin = f64::from(r) * profile.length;
            let first = course.points.first().map_or(0.0, |p| p.1);
            let last = course.points.last().map_or(0.0, |p| p.1);
            let inside = course.points.iter().map(move |p| (begin + p.0, p.1));
            std::iter::once((begin, first)).chain(inside).chain([(begin + profile.length, last)])
        });
        panels.push(Panel::Chart(Chart {
            title: course.of.name().to_string(),
            x: time(),
            y: Axis::linear(course.of.name(), course.unit),
            curves: vec![Curve::new("", rounds.collect()).lined(Line::Solid).marked(Marker::None)],
            height: 150.0,
            ..Chart::default()
        }));
    }
    let mut curves = Vec::new();
    for (k, name) in followed.inputs.iter().enumerate() {
        let of = |f: &dyn Fn(&joulestep_models::arrangement::mission::Instant) -> f64| {
            followed.course.iter().map(|i| (i.time, f(i))).collect::<Vec<_>>()
        };
        let line = MEANS[k % MEANS.len()];
        curves.push(Curve::new(name, of(&|i| i.celsius[k])).coloured(k).lined(line).marked(Marker::None));
        for edge in [of(&|i| i.celsius[k] + i.within[k].least), of(&|i| i.celsius[k] + i.within[k].largest)] {
            curves.push(Curve::new("", edge).coloured(k).lined(Line::Dotted).marked(Marker::None));
        }
    }
    panels.push(Panel::Chart(Chart {
        title: "Junction temperatures: mean over a cycle, and (dotted) least and largest within it".into(),
        x: time(),
        y: Axis::linear("temperature", "degC"),
        curves,
        height: 320.0,
        ..Chart::default()
    }));
    if let Some(hot) = &followed.hottest {
        let curve = |(k, name): (usize, &String)| {
            let points = hot.harmonics.iter().map(|h| (h.frequency, h.temperature[k])).collect();
            Curve::scatter(name, points).coloured(k)
        };
        let any = hot.harmonics.iter().any(|h| h.temperature.iter().any(|t| *t > 0.0));
        if any {
            panels.push(Panel::Chart(Chart {
                title: "Ripple of the hottest cycle: amplitude against frequency".into(),
                x: Axis::log("frequency", "Hz"),
                y: Axis::log("amplitude", "K"),
                curves: followed.inputs.iter().enumerate().map(curve).collect(),
                ..Chart::default()
            }));
        }
    }
    let counted: Vec<Curve> = followed
        .inputs
        .iter()
        .zip(lives)
        .enumerate()
        .map(|(k, (name, life))| {
            let points = gathered(&life.cycles.mission).iter().map(|c| (c.range, c.count)).collect();
            Curve::scatter(name, points).coloured(k)
        })
        .collect();
    if counted.iter().any(|c| !c.points.is_empty()) {
        panels.push(Panel::Chart(Chart {
            title: "Counted temperature cycles of the mission (ASTM E1049-85)".into(),
            x: Axis::linear("range", "K"),
            y: Axis::log("count", "1"),
            curves: counted,
            ..Chart::default()
        }));
    }
    Figure::new(title, panels)
}
