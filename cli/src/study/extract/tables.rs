//! Tables of an extraction.

use joulestep_engine::units::{people, people_digits};
use joulestep_models::extract::{Extraction, Why};
use joulestep_models::part::{Curve, Quantity, Variable};

use crate::output::answer::StudyTable;
use crate::output::table::{Cell, Head, Table};

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
    let heads = vec![
        Head::text("parameter"),
        Head::text("shown"),
        Head::number("relative_standard_error", "standard error", "1"),
        Head::number("value", "value, SI", "1"),
        Head::number("standard_error", "standard error, SI", "1"),
        Head::text("unit"),
    ];
    let row = |f: &joulestep_models::extract::Fitted| {
        let shown = people_digits(f.value, f.unit, 5);
        vec![
            f.key.into(),
            shown.as_str().into(),
            (f.error / f.value).abs().into(),
            f.value.into(),
            f.error.into(),
            f.unit.into(),
        ]
    };
    Table { heads, rows: found.fitted.iter().map(row).collect() }
}

fn impedances(found: &Extraction) -> Table {
    let heads = vec![
        Head::text("die"),
        Head::number("term", "no.", "1"),
        Head::number("resistance", "Foster R", "K/W"),
        Head::number("time_constant", "τ", "s"),
    ];
    let of = |i: &joulestep_models::part::Impedance| -> Vec<Vec<Cell>> {
        let term = |(k, (r, tau)): (usize, &(f64, f64))| {
            vec![i.die.as_str().into(), ((k + 1) as f64).into(), (*r).into(), (*tau).into()]
        };
        i.terms.iter().enumerate().map(term).collect()
    };
    Table { heads, rows: found.part.thermal.impedance.iter().flat_map(of).collect() }
}

fn curves(found: &Extraction) -> Table {
    let heads = vec![
        Head::number("curve", "no.", "1"),
        Head::text("what"),
        Head::number("points", "points", "1"),
        Head::number("rms", "rms", "1"),
        Head::number("worst", "worst", "1"),
        Head::text("worst_at"),
        Head::text("conditions"),
        Head::text("quantity"),
        Head::text("against"),
        Head::text("abscissa_unit"),
        Head::text("unit"),
        Head::text("die"),
        Head::text("charge"),
    ];
    let row = |c: &joulestep_models::extract::CurveFit| {
        let curve = found.part.curves.get(c.curve)?;
        let fitted = !c.model.is_empty();
        let at = curve.points.get(c.worst.point).filter(|_| fitted);
        let at = at.map_or("kept as data".into(), |p| shown(p.0, curve.against));
        let charge = match (curve.quantity, curve.capacitive) {
            (Quantity::RecoveryCharge, true) => "with the capacitive charge",
            (Quantity::RecoveryCharge, false) => "without the capacitive charge",
            _ => "",
        };
        Some(vec![
            ((c.curve + 1) as f64).into(),
            curve.words().as_str().into(),
            (curve.points.len() as f64).into(),
            Some(c.rms).filter(|_| fitted).into(),
            Some(c.worst.deviation).filter(|_| fitted).into(),
            at.as_str().into(),
            held(curve).as_str().into(),
            curve.quantity.key().into(),
            curve.against.key().into(),
            curve.against.unit().into(),
            curve.quantity.unit().into(),
            curve.die.as_deref().unwrap_or("").into(),
            charge.into(),
        ])
    };
    Table { heads, rows: found.curves.iter().filter_map(row).collect() }
}

fn doubts(found: &Extraction) -> Table {
    let heads = vec![
        Head::text("parameter"),
        Head::text("why"),
        Head::number("relative_error", "error", "1"),
        Head::text("with"),
        Head::number("correlation", "correlation", "1"),
        Head::text("settled_by"),
    ];
    let row = |d: &joulestep_models::extract::Doubt| {
        let (why, error) = match d.why {
            Why::NotDetermined => ("not determined", None),
            Why::TooFewPoints => ("too few points", None),
            Why::Weak(error) => ("weak", Some(error)),
        };
        let (with, correlation) = d.with.unzip();
        vec![
            d.key.into(),
            why.into(),
            error.into(),
            with.unwrap_or("").into(),
            correlation.into(),
            d.settled_by.into(),
        ]
    };
    Table { heads, rows: found.doubts.iter().map(row).collect() }
}

/// Abscissae and ordinates in SI units (°C), as `curves` names them.
fn points(found: &Extraction) -> Table {
    let heads = vec![
        Head::number("curve", "curve", "1"),
        Head::number("x", "x", "1"),
        Head::number("y", "y", "1"),
        Head::number("model", "model", "1"),
    ];
    let mut rows: Vec<Vec<Cell>> = Vec::new();
    for c in &found.curves {
        let Some(curve) = found.part.curves.get(c.curve) else { continue };
        for (k, p) in curve.points.iter().enumerate() {
            let model = c.model.get(k).copied();
            rows.push(vec![((c.curve + 1) as f64).into(), p.0.into(), p.1.into(), model.into()]);
        }
    }
    Table { heads, rows }
}

fn lines(found: &Extraction) -> Table {
    let heads =
        vec![Head::number("curve", "curve", "1"), Head::number("x", "x", "1"), Head::number("y", "y", "1")];
    let of = |c: &joulestep_models::extract::CurveFit| -> Vec<Vec<Cell>> {
        c.line.iter().map(|p| vec![((c.curve + 1) as f64).into(), p.0.into(), p.1.into()]).collect()
    };
    Table { heads, rows: found.curves.iter().flat_map(of).collect() }
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
