//! Points and the fitted model, drawn.

use joulestep_models::extract::Extraction;
use joulestep_models::part::{Curve, Quantity, Variable};

use super::tables::held;
use crate::output::plot::{self, Axis, Chart, Figure, Line, Marker, Panel};

/// A picture of the points and the fitted lines: a panel for each quantity, its curves in one colour each.
pub(super) fn picture(found: &Extraction) -> Figure {
    let mut panels: Vec<(Quantity, Variable, Option<String>, Chart)> = Vec::new();
    for fit in found.curves.iter().filter(|f| !f.model.is_empty()) {
        let Some(curve) = found.part.curves.get(fit.curve) else { continue };
        let key = (curve.quantity, curve.against, curve.die.clone());
        let at = panels.iter().position(|p| (p.0, p.1, p.2.clone()) == key).unwrap_or(panels.len());
        if at == panels.len() {
            panels.push((key.0, key.1, key.2, chart(curve)));
        }
        let chart = &mut panels[at].3;
        let number = chart.curves.len() / 2;
        // In the axis's unit.
        let unit = if curve.against == Variable::CurrentRate { 1e6 } else { 1.0 };
        let scaled = |points: &[(f64, f64)]| points.iter().map(|p| (p.0 / unit, p.1)).collect::<Vec<_>>();
        let points = plot::Curve::scatter(&held(curve), scaled(&curve.points));
        chart.curves.push(points.coloured(number));
        let line = plot::Curve::new("", scaled(&fit.line)).lined(Line::Solid).marked(Marker::None);
        chart.curves.push(line.coloured(number));
    }
    let panels = panels.into_iter().map(|p| Panel::Chart(p.3)).collect();
    let notes = vec!["Signs: points; lines: the fitted model.".to_string()];
    Figure::new(&found.part.title, panels).noted(notes)
}

fn chart(curve: &Curve) -> Chart {
    let die = curve.die.as_ref().map_or_else(String::new, |d| format!(" of {d}"));
    let title = |key: &str| key.replace('-', " ");
    let name = format!("{}{die}", title(curve.quantity.key()));
    let (x, y) = (curve.against, curve.quantity);
    let decades = |points: f64, least: f64| least > 0.0 && points / least > 30.0;
    let spread = |pick: fn(&(f64, f64)) -> f64| {
        let most = curve.points.iter().map(pick).fold(f64::NEG_INFINITY, f64::max);
        decades(most, curve.points.iter().map(pick).fold(f64::INFINITY, f64::min))
    };
    let axis = |title: &str, unit: &str, log: bool| Axis { log, ..Axis::linear(title, unit) };
    Chart {
        x: axis(
            &title(x.key()),
            if x == Variable::CurrentRate { "A/µs" } else { x.unit() },
            x != Variable::Temperature && spread(|p| p.0),
        ),
        y: axis(&name, y.unit(), spread(|p| p.1)),
        ..Chart::default()
    }
}
