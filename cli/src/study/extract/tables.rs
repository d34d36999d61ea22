//! Tables of an extraction.

use joulestep_engine::units::{people, people_digits};
use joulestep_models::extract::{CurveFit, Doubt, Extraction, Why};
use joulestep_models::part::{Curve, Impedance, Quantity, Variable};

use crate::output::answer::StudyTable;
use crate::output::table::{Rows, Table};

/// All tables; the parameters are the main one.
pub(super) fn tables(found: &Extraction) -> Vec<StudyTable> {
    let impedance = found.part.curves.iter().filter(|c| c.quantity == Quantity::TransientImpedance).count();
    let title = match impedance {
        0 => "Thermal impedance".into(),
        1 => "Thermal impedance, from a curve".into(),
        n => format!("Thermal impedance, from {n} curves"),
    };
    vec![
        StudyTable::new("parameters", "Parameters", 1, parameters(found)),
        StudyTable::new("impedance", &title, 2, impedances(found)),
        StudyTable::new("curves", "How well each curve is met", 2, curves(found)),
        StudyTable::new("doubts", "What the points leave uncertain", 1, doubts(found)),
        StudyTable::new("points", "Points and the fitted model", 2, points(found)),
        StudyTable::new("lines", "The fitted model between the points", 1, lines(found)),
    ]
}

fn parameters(found: &Extraction) -> Table {
    Rows::of(&found.fitted)
        .text("parameter", |f| f.key)
        .text("shown", |f| people_digits(f.value, f.unit, 5))
        .number("relative_standard_error", "standard error", "1", |f| (f.error / f.value).abs())
        .number("value", "value, SI", "1", |f| f.value)
        .number("standard_error", "standard error, SI", "1", |f| f.error)
        .text("unit", |f| f.unit)
        .table()
}

fn impedances(found: &Extraction) -> Table {
    let terms = |i: &'_ Impedance| {
        let die = i.die.clone();
        let each: Vec<_> = i.terms.iter().enumerate().map(|(k, term)| (die.clone(), k + 1, *term)).collect();
        each
    };
    Rows::of(found.part.thermal.impedance.iter().flat_map(terms))
        .text("die", |t| t.0.clone())
        .number("term", "no.", "1", |t| t.1 as f64)
        .number("resistance", "Foster R", "K/W", |t| t.2.0)
        .number("time_constant", "τ", "s", |t| t.2.1)
        .table()
}

fn curves(found: &Extraction) -> Table {
    let charge = |curve: &Curve| match (curve.quantity, curve.capacitive) {
        (Quantity::RecoveryCharge, true) => "with the capacitive charge",
        (Quantity::RecoveryCharge, false) => "without the capacitive charge",
        _ => "",
    };
    let fitted = |c: &CurveFit| !c.model.is_empty();
    let worst_at = |c: &CurveFit, curve: &Curve| {
        let at = curve.points.get(c.worst.point).filter(|_| fitted(c));
        at.map_or("kept as data".into(), |p| shown(p.0, curve.against))
    };
    Rows::of(found.curves.iter().filter_map(|c| Some((c, found.part.curves.get(c.curve)?))))
        .number("curve", "no.", "1", |(c, _)| (c.curve + 1) as f64)
        .text("what", |(_, curve)| curve.words())
        .number("points", "points", "1", |(_, curve)| curve.points.len() as f64)
        .number("rms", "rms", "1", |(c, _)| Some(c.rms).filter(|_| fitted(c)))
        .number("worst", "worst", "1", |(c, _)| Some(c.worst.deviation).filter(|_| fitted(c)))
        .text("worst_at", |(c, curve)| worst_at(c, curve))
        .text("conditions", |(_, curve)| held(curve))
        .text("quantity", |(_, curve)| curve.quantity.key())
        .text("against", |(_, curve)| curve.against.key())
        .text("abscissa_unit", |(_, curve)| curve.against.unit())
        .text("unit", |(_, curve)| curve.quantity.unit())
        .text("die", |(_, curve)| curve.die.clone().unwrap_or_default())
        .text("charge", |(_, curve)| charge(curve))
        .table()
}

fn doubts(found: &Extraction) -> Table {
    let why = |d: &Doubt| match d.why {
        Why::NotDetermined => ("not determined", None),
        Why::TooFewPoints => ("too few points", None),
        Why::Weak(error) => ("weak", Some(error)),
    };
    Rows::of(&found.doubts)
        .text("parameter", |d| d.key)
        .text("why", |d| why(d).0)
        .number("relative_error", "error", "1", |d| why(d).1)
        .text("with", |d| d.with.map_or("", |w| w.0))
        .number("correlation", "correlation", "1", |d| d.with.map(|w| w.1))
        .text("settled_by", |d| d.settled_by)
        .table()
}

/// Abscissae and ordinates in SI units (°C), as `curves` names them.
fn points(found: &Extraction) -> Table {
    let of = |c: &'_ CurveFit| -> Vec<(usize, (f64, f64), Option<f64>)> {
        let points = found.part.curves.get(c.curve).map_or(&[][..], |curve| &curve.points);
        points.iter().enumerate().map(|(k, p)| (c.curve + 1, *p, c.model.get(k).copied())).collect()
    };
    Rows::of(found.curves.iter().flat_map(of))
        .number("curve", "curve", "1", |p| p.0 as f64)
        .number("x", "x", "1", |p| p.1.0)
        .number("y", "y", "1", |p| p.1.1)
        .number("model", "model", "1", |p| p.2)
        .table()
}

fn lines(found: &Extraction) -> Table {
    Rows::of(found.curves.iter().flat_map(|c| c.line.iter().map(move |p| (c.curve + 1, p))))
        .number("curve", "curve", "1", |p| p.0 as f64)
        .number("x", "x", "1", |p| p.1.0)
        .number("y", "y", "1", |p| p.1.1)
        .table()
}

/// A value of a variable for people; data sheets state rates of current per microsecond.
pub(super) fn shown(x: f64, variable: Variable) -> String {
    match variable {
        Variable::CurrentRate => format!("{} A/µs", (1e-6 * x * 1e3).round() / 1e3),
        _ => people(x, variable.unit()),
    }
}

/// What was held, in words.
pub(super) fn held(curve: &Curve) -> String {
    let mut words = Vec::new();
    for &(key, variable, _) in Variable::ALL {
        let Some(x) = curve.conditions.get(variable) else { continue };
        let name =
            if variable == Variable::Temperature { String::new() } else { key.replace('-', " ") + " " };
        words.push(format!("{name}{}", shown(x, variable)));
    }
    words.join(", ")
}

/// A share in percent.
pub(super) fn percent(x: f64) -> String {
    let x = 100.0 * x;
    if x.abs() >= 0.001 {
        format!("{x:.3}").trim_end_matches('0').trim_end_matches('.').to_string() + " %"
    } else {
        format!("{x:.1e} %")
    }
}
