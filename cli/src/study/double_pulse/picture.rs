//! Pictures of a double pulse: the waveforms of a point, the energies over the grid.

use joulestep_engine::units::people;
use joulestep_models::arrangement::double_pulse::{Outcome, Point, SIGNALS};

use super::{Grid, table};
use crate::output::plot::{Axis, Chart, Curve, Figure, Line, Marker, Panel, Span};

/// An operating point in words.
pub(super) fn words(p: &Point) -> String {
    let [v, i, r, t] = [(p.voltage, "V"), (p.current, "A"), (p.gate_resistance, "ohm"), (p.celsius, "degC")]
        .map(|(x, unit)| people(x, unit));
    format!("{v}, {i}, {r}, {t}")
}

/// The waveforms around turn-off and turn-on, with the limits of the integrals shaded.
pub(super) fn point(grid: &Grid, o: &Outcome) -> Figure {
    let signal = |name: &str| {
        let k = SIGNALS.iter().position(|s| *s == name).unwrap_or(0);
        o.waveforms.time.iter().zip(&o.waveforms.samples).map(|(&t, s)| (t, s[k])).collect::<Vec<_>>()
    };
    let e = &o.edges;
    // From a little before the edge to well after the last limit.
    let stretch = |edge: f64, last: f64, end: f64| {
        let length = (4.0 * (last - edge)).clamp(60e-9, end - edge);
        (edge - 0.15 * length, edge + length)
    };
    let recovered = o.recovery.map_or(0.0, |r| r.end);
    let off = (stretch(e.off, o.off.limits.1, e.on), e.off, "turn-off", o.off.limits, "E_off", o.off.energy);
    let on = (
        stretch(e.on, o.on.limits.1.max(recovered), e.end),
        e.on,
        "turn-on",
        o.on.limits,
        "E_on",
        o.on.energy,
    );
    let mut panels = Vec::new();
    for ((from, to), edge, title, limits, symbol, energy) in [off, on] {
        // Time counts from the gate's edge, so that both stretches are read alike.
        let cut = |name: &str| signal(name).into_iter().map(|(t, y)| (t - edge, y)).collect::<Vec<_>>();
        let curve = |name: &str, signal: &str, number: usize, line: Line| {
            Curve::new(name, cut(signal)).coloured(number).lined(line).marked(Marker::None)
        };
        let x = || Axis::linear("time after the gate's edge", "s").within(from - edge, to - edge);
        let label = format!("{symbol} {}", people(energy, "J"));
        let span = vec![Span { from: limits.0 - edge, to: limits.1 - edge, label }];
        let plain = vec![Span { label: String::new(), ..span[0].clone() }];
        let chart = |title: String, y: Axis, curves: Vec<Curve>, spans: Vec<Span>, height: f64| {
            Panel::Chart(Chart { title, x: x(), y, curves, spans, height, ..Chart::default() })
        };
        panels.push(chart(
            title.to_string(),
            Axis::linear("voltage", "V"),
            vec![
                curve("v_DS", "voltage", 0, Line::Solid),
                curve("v of the upper device", "upper-voltage", 1, Line::Dashed),
            ],
            span,
            180.0,
        ));
        panels.push(chart(
            String::new(),
            Axis::linear("current", "A"),
            vec![
                curve("i_D", "current", 0, Line::Solid),
                curve("forward current of the upper device", "upper-current", 1, Line::Dashed),
            ],
            plain.clone(),
            180.0,
        ));
        let gate = vec![curve("v_GS at the pins", "gate-voltage", 0, Line::Solid)];
        panels.push(chart(String::new(), Axis::linear("gate voltage", "V"), gate, plain, 100.0));
    }
    let title = format!("{}, double pulse at {}", grid.part.name, words(&o.point));
    let notes = table::definitions(grid).into_iter().take(2).map(|(s, w)| format!("{s}: {w}."));
    let circuit = format!("Upper device: {}; {}.", grid.upper.name, table::circuit(grid));
    Figure::new(&title, panels).noted(std::iter::once(circuit).chain(notes).collect())
}

/// Energies against the current, a curve for each temperature, voltage and gate resistance.
pub(super) fn energies(grid: &Grid, found: &[&Outcome]) -> Figure {
    let rest = |p: &Point| (p.celsius, p.voltage, p.gate_resistance);
    let panel = |title: &str, symbol: &str, value: &dyn Fn(&Outcome) -> Option<f64>| {
        let curves = found.chunk_by(|a, b| rest(&a.point) == rest(&b.point)).map(|series| {
            let p = &series[0].point;
            let mut points: Vec<(f64, f64)> =
                series.iter().filter_map(|o| Some((o.point.current, value(o)?))).collect();
            points.sort_by(|a, b| a.0.total_cmp(&b.0));
            let name = [(p.celsius, "degC"), (p.voltage, "V"), (p.gate_resistance, "ohm")];
            Curve::new(&name.map(|(x, unit)| people(x, unit)).join(", "), points)
        });
        let curves: Vec<Curve> = curves.filter(|c| !c.points.is_empty()).collect();
        let most = curves.iter().flat_map(|c| &c.points).map(|p| p.1).fold(0.0, f64::max);
        (!curves.is_empty()).then(|| {
            Panel::Chart(Chart {
                title: title.into(),
                x: Axis::linear("current", "A"),
                y: Axis::linear(symbol, "J").within(0.0, 1.08 * most),
                curves,
                ..Chart::default()
            })
        })
    };
    let panels = [
        panel("Turn-on", "E_on", &|o| Some(o.on.energy)),
        panel("Turn-off", "E_off", &|o| Some(o.off.energy)),
        panel("Recovery of the upper device", "E_rr", &|o| Some(o.recovery?.energy)),
    ];
    let title = format!("{} with {} above: switching energies", grid.part.name, grid.upper.name);
    let notes = std::iter::once(table::circuit(grid))
        .chain(table::definitions(grid).into_iter().map(|(s, w)| format!("{s}: {w}.")));
    Figure::new(&title, panels.into_iter().flatten().collect()).noted(notes.collect())
}
