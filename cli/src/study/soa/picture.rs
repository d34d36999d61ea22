//! The chart as a picture.

use joulestep_engine::units::people;

use super::compute::{Charted, words};
use super::course::Laid;
use super::{Options, width_words};
use crate::output::plot::{Axis, Chart, Curve, Figure, Line, Mark, Marker, Panel};

/// Signs of borders, in the order in which they are first met.
const SIGNS: [Marker; 6] =
    [Marker::Disc, Marker::Square, Marker::Triangle, Marker::Diamond, Marker::Ring, Marker::Cross];
/// Number of the colour of signs and of the cold line: beside those of the widths.
const BLACK: usize = 6;

/// Current against voltage, a line for each pulse width, a sign on each border, the course over them.
pub(super) fn picture(charted: &Charted, laid: Option<&Laid>, options: &Options) -> Figure {
    let dies = charted.law.names();
    let mut curves: Vec<Curve> = Vec::new();
    for (k, line) in charted.lines.iter().enumerate() {
        let mut points: Vec<(f64, f64)> = line.border.iter().map(|c| (c.volts, c.current)).collect();
        // Down at the rated voltage.
        points.extend(points.last().map(|p| (p.0, 1e-9)));
        let curve = Curve::new(&width_words(line.width), points).coloured(k).marked(Marker::None);
        curves.push(if line.width.is_infinite() { curve.lined(Line::Solid) } else { curve });
    }
    curves.push(
        Curve::new("conducts before it heats", charted.cold.clone())
            .coloured(BLACK)
            .lined(Line::Dotted)
            .marked(Marker::None),
    );
    let mut kinds: Vec<(String, Vec<(f64, f64)>)> = Vec::new();
    for line in &charted.lines {
        for s in line.stretches() {
            let name = words(s.border, dies);
            let middle = (s.from.volts * s.to.volts).sqrt();
            let near = |c: &&joulestep_models::rating::area::Corner| (c.volts / middle).ln().abs();
            let within = line.border.iter().filter(|c| c.border == s.border);
            let Some(at) = within.min_by(|a, b| near(a).total_cmp(&near(b))) else { continue };
            let point = (at.volts, at.current);
            match kinds.iter_mut().find(|k| k.0 == name) {
                Some(kind) => kind.1.push(point),
                None => kinds.push((name, vec![point])),
            }
        }
    }
    for (k, (name, points)) in kinds.into_iter().enumerate() {
        curves.push(Curve::scatter(&name, points).coloured(BLACK).marked(SIGNS[k % SIGNS.len()]));
    }
    let volts = charted.breakdown.unwrap_or(options.rated);
    let single = |line: &super::compute::Drawn| {
        let width = Some(line.width).filter(|w| w.is_finite())?;
        Some((volts, charted.part.ratings.avalanche_limit(volts, width)?))
    };
    let single: Vec<(f64, f64)> = charted.lines.iter().filter_map(single).collect();
    if !single.is_empty() {
        curves.push(Curve::scatter("avalanche, by width", single).coloured(1).marked(Marker::Cross));
    }
    let currents = || charted.lines.iter().flat_map(|l| &l.border).map(|c| c.current);
    let mut most = currents().fold(0.0, f64::max);
    let mut least = currents().fold(f64::INFINITY, f64::min);
    if let Some(laid) = laid {
        curves.push(
            Curve::new(&format!("{} in the run", laid.name), laid.drawn.clone())
                .coloured(BLACK)
                .lined(Line::Solid)
                .marked(Marker::None),
        );
        if let Some((_, n)) = laid.least(&options.widths) {
            curves.push(
                Curve::scatter("least margin", vec![(n.volts, n.current)])
                    .coloured(BLACK)
                    .marked(Marker::Cross),
            );
            (most, least) = (most.max(n.current), least.min(n.current));
        }
    }
    let from = options.grid.first().copied().unwrap_or(0.1);
    let mark = |at: f64, what: &str| Mark { at, label: format!("{what} {}", people(at, "V")) };
    let mut marks = vec![mark(options.rated, "rated voltage")];
    marks.extend(charted.breakdown.map(|v| mark(v, "breakdown")));
    let chart = Chart {
        title: "Largest current of a rectangular pulse".into(),
        x: Axis::log("drain-source voltage", "V").within(from, 1.6 * options.rated),
        y: Axis::log("drain current", "A").within(0.5 * least, 2.0 * most),
        curves,
        marks,
        height: 520.0,
        ..Chart::default()
    };
    let gate = charted.gate.map_or(String::new(), |g| format!(", gate on at {}", people(g, "V")));
    let note = format!(
        "{}: single pulse from {}, junctions up to {}{gate}; {}.",
        charted.part.name,
        people(options.way.heatsink, "degC"),
        people(charted.hottest, "degC"),
        charted.heat
    );
    let mut notes = vec![note];
    notes.extend(laid.and_then(|l| {
        let (width, n) = l.least(&options.widths)?;
        let against =
            if width == 0.0 { "the leads".into() } else { format!("the border of {}", width_words(width)) };
        Some(format!(
            "{}: least margin {} at {}, against {against}.",
            l.name,
            people(n.margin, "1"),
            people(n.time, "s")
        ))
    }));
    Figure::new(&format!("Safe operating area of {}", charted.part.name), vec![Panel::Chart(chart)])
        .noted(notes)
}
