//! `parts show`: everything of a part.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io;

use joulestep_engine::units::{in_unit, people, people_digits};
use joulestep_models::model::{Param, Shape, Value};
use joulestep_models::part::{Conditions, Curve, Part, Piece, Quantity, Variable};
use serde::Serialize;

use super::{on_gate, on_resistance, says};
use crate::command::args::PartsShowArgs;
use crate::command::refuse_in;
use crate::exit::{BAD_INPUT, DONE};
use crate::input::parts::load;
use crate::output::streams::Streams;
use crate::output::table::aligned;

/// A derived value.
#[derive(Serialize)]
struct Derived {
    name: &'static str,
    unit: &'static str,
    /// How it was taken.
    conditions: String,
    /// At 25 °C.
    at_25: Option<f64>,
    /// At the working temperature.
    at_working: Option<f64>,
}

pub(super) fn show(args: &PartsShowArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let celsius = match in_unit(&args.temperature, "degC") {
        Ok(celsius) if (-150.0..=500.0).contains(&celsius) => celsius,
        Ok(celsius) => {
            writeln!(streams.err, "--temperature: {celsius} degC; expected -150 degC to 500 degC")?;
            return Ok(BAD_INPUT);
        }
        Err(error) => {
            writeln!(streams.err, "--temperature: {error}; expected {}", error.expected("degC"))?;
            return Ok(BAD_INPUT);
        }
    };
    let part = match load(&args.part, &streams.access.open()) {
        Ok(loaded) => loaded.part,
        Err(error) => {
            return refuse_in("the part file", &error, args.part.as_ref(), args.json, streams);
        }
    };
    let derived = derived(&part, celsius);
    if args.json {
        streams.json(&describe(&part, &derived, celsius))?;
    } else {
        write!(streams.out, "{}", text(&part, &derived, celsius))?;
    }
    Ok(DONE)
}

/// What the model says at 25 °C and at a working temperature.
fn derived(part: &Part, celsius: f64) -> Vec<Derived> {
    let at = Conditions::default();
    let mut out = Vec::new();
    let mut push = |name, unit, conditions, f: &dyn Fn(f64) -> Option<f64>| {
        out.push(Derived { name, unit, conditions, at_25: f(25.0), at_working: f(celsius) });
    };
    let diode = part.kind == "diode";
    if let Some(gate) = on_gate(part) {
        let how = format!("v_GS = {}, i_D = 1 A", people(gate, "V"));
        push("on-resistance", "ohm", how, &|t| on_resistance(part, t));
    }
    if diode || on_gate(part).is_some() {
        let drop = at.with(Variable::Current, 10.0).with(Variable::GateVoltage, 0.0);
        let how = if diode { "i_F = 10 A" } else { "i_F = 10 A, v_GS = 0" };
        push("diode-drop", "V", how.to_string(), &|t| {
            says(part, Quantity::DiodeDrop, drop, Variable::Temperature, t)
        });
    }
    let Some(rated) = part.rated_voltage().filter(|_| diode || on_gate(part).is_some()) else { return out };
    let half = 0.5 * rated;
    let how = format!("{}, gate at source", people(half, "V"));
    let capacitances: &[Quantity] = if diode {
        &[Quantity::Capacitance]
    } else {
        &[Quantity::InputCapacitance, Quantity::OutputCapacitance, Quantity::TransferCapacitance]
    };
    for &quantity in capacitances {
        let c = |t: f64| says(part, quantity, at.with(Variable::Temperature, t), Variable::Voltage, half);
        push(quantity.key(), "F", how.clone(), &c);
    }
    let leakage = at.with(Variable::Voltage, half).with(Variable::GateVoltage, 0.0);
    push("leakage", "A", how, &|t| says(part, Quantity::Leakage, leakage, Variable::Temperature, t));
    out
}

fn text(part: &Part, derived: &[Derived], celsius: f64) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "{}: {}", part.name, part.title);
    let invented = if part.invented { "; invented, not a product" } else { "" };
    let _ = writeln!(out, "kind `{}`, {}{invented}", part.kind, part.technology.words());
    if !part.source.is_empty() {
        let _ = writeln!(out, "source: {}", part.source);
    }
    let mut ratings = Vec::new();
    let mut rating = |name: &str, x: Option<f64>, unit: &str| {
        ratings.extend(x.map(|x| format!("{name} {}", people(x, unit))));
    };
    rating("voltage", part.rated_voltage(), "V");
    match part.gate_limits() {
        Some((low, high)) if low == -high => rating("gate ±", Some(high), "V"),
        both => {
            rating("gate from", both.map(|b| b.0), "V");
            rating("gate to", both.map(|b| b.1), "V");
        }
    }
    rating("junction up to", part.hottest(), "degC");
    rating("R_th junction-case", part.thermal.junction_case, "K/W");
    rating("leads", part.ratings.lead_current, "A");
    rating("leads in a pulse", part.ratings.lead_pulse_current, "A");
    rating("up to", part.ratings.lead_pulse_width, "s");
    rating("avalanche", part.ratings.avalanche_current, "A");
    rating("avalanche", part.ratings.avalanche_energy, "J");
    if !ratings.is_empty() {
        let _ = writeln!(out, "ratings: {}", ratings.join(", "));
    }
    if !derived.is_empty() {
        let mut rows = vec![vec![String::new(), "25 °C".into(), people(celsius, "degC"), String::new()]];
        for d in derived {
            let [a, b] = [d.at_25, d.at_working].map(|x| x.map_or("-".to_string(), |x| people(x, d.unit)));
            rows.push(vec![d.name.to_string(), a, b, d.conditions.clone()]);
        }
        let _ = write!(out, "\nvalues\n{}", aligned(&rows, &[false, true, true, false]));
    }
    let mut rows = Vec::new();
    for param in part.entry().params {
        let Some(value) = part.values.0.get(param.key) else { continue };
        let shown = match (param.shape, value) {
            (Shape::Number(unit), Value::Number(x)) => people_digits(*x, unit, 5),
            (_, Value::List(x)) => format!("{} values", x.len()),
            (_, Value::Table(x)) => format!("{} pairs", x.len()),
            _ => String::new(),
        };
        let note = if part.given.contains(param.key) { "" } else { "(default) " };
        rows.push(vec![param.key.to_string(), shown, format!("{note}{}", param.help)]);
    }
    let _ = write!(out, "\nparameters\n{}", aligned(&rows, &[false, true, false]));
    for key in part.missing() {
        let _ = writeln!(out, "  {key}: missing; the component that uses the part must give it");
    }
    pieces(part, celsius, &mut out);
    out
}

/// Dies, package, heat, resistance, curves.
fn pieces(part: &Part, celsius: f64, out: &mut String) {
    for die in &part.dies {
        let thickness = die.thickness.map_or_else(String::new, |t| format!(", {} thick", people(t, "m")));
        let material = die.material.map_or_else(String::new, |m| format!(", {}", m.key()));
        let _ = writeln!(out, "\ndie {}: {:.3} mm²{thickness}{material}", die.name, 1e6 * die.area);
    }
    if let Some(p) = &part.package {
        let sizes = [("length", p.length), ("width", p.width), ("height", p.height)];
        let distances = [("creepage", p.creepage), ("clearance", p.clearance)];
        let shown = sizes.iter().chain(&distances);
        let shown: Vec<String> =
            shown.filter_map(|(n, x)| x.map(|x| format!("{n} {:.2} mm", 1e3 * x))).collect();
        let _ = writeln!(out, "\npackage: {}; {}", p.outline, shown.join(", "));
    }
    for i in &part.thermal.impedance {
        let _ = writeln!(out, "\ntransient thermal impedance of {}", i.die);
        let rows: Vec<Vec<String>> =
            i.terms.iter().map(|(r, tau)| vec![people(*r, "K/W"), people(*tau, "s")]).collect();
        out.push_str(&aligned(&rows, &[true, true]));
    }
    if let Some(budget) = &part.budget {
        let warm = budget.at(celsius);
        let mut rows =
            vec![vec!["resistance".to_string(), "die".into(), "25 °C".into(), people(celsius, "degC")]];
        for (piece, (_, hot)) in budget.pieces.iter().zip(&warm) {
            rows.push(vec![
                piece.name.clone(),
                piece.die.clone().unwrap_or_else(|| "-".into()),
                people(piece.resistance, "ohm"),
                people(*hot, "ohm"),
            ]);
        }
        let sums = [budget.pieces.iter().map(|p| p.resistance).sum(), warm.iter().map(|w| w.1).sum::<f64>()];
        rows.push(vec!["sum".into(), String::new(), people(sums[0], "ohm"), people(sums[1], "ohm")]);
        let _ = write!(out, "\n{}", aligned(&rows, &[false, false, true, true]));
    }
    if !part.curves.is_empty() {
        let _ = writeln!(out, "\ncurves");
    }
    for curve in &part.curves {
        let held: Vec<String> = Variable::ALL
            .iter()
            .filter_map(|&(key, v, unit)| Some(format!("{key} {}", people(curve.conditions.get(v)?, unit))))
            .collect();
        let die = curve.die.as_ref().map_or_else(String::new, |d| format!(" of {d}"));
        let _ = writeln!(out, "  {}{die}: {} points; {}", curve.words(), curve.points.len(), held.join(", "));
    }
}

#[derive(Serialize)]
struct Document<'a> {
    #[serde(flatten)]
    part: &'a Part,
    rated_voltage: Option<f64>,
    gate_limit: Option<f64>,
    gate_limit_negative: Option<f64>,
    maximum_temperature: Option<f64>,
    working_temperature: f64,
    values: &'a [Derived],
    params: BTreeMap<&'a str, ParamDocument<'a>>,
    missing: Vec<&'static str>,
    resistance: &'a [Piece],
    curves: Vec<CurveDocument<'a>>,
}

#[derive(Serialize)]
struct ParamDocument<'a> {
    value: ValueDocument<'a>,
    unit: &'a str,
    given: bool,
    help: &'a str,
}

#[derive(Serialize)]
#[serde(untagged)]
enum ValueDocument<'a> {
    Number(f64),
    List(&'a [f64]),
    Table(&'a [(f64, f64)]),
}

fn describe<'a>(part: &'a Part, values: &'a [Derived], celsius: f64) -> Document<'a> {
    let param = |param: &'a Param| {
        let (unit, value) = match (param.shape, part.values.0.get(param.key)?) {
            (Shape::Number(unit), Value::Number(x)) => (unit, ValueDocument::Number(*x)),
            (Shape::List(unit), Value::List(x)) => (unit, ValueDocument::List(x)),
            (Shape::Table(_, unit), Value::Table(x)) => (unit, ValueDocument::Table(x)),
            _ => return None,
        };
        let given = part.given.contains(param.key);
        Some((param.key, ParamDocument { value, unit, given, help: param.help }))
    };
    Document {
        part,
        rated_voltage: part.rated_voltage(),
        gate_limit: part.gate_limits().map(|g| g.1),
        gate_limit_negative: part.gate_limits().map(|g| g.0),
        maximum_temperature: part.hottest(),
        working_temperature: celsius,
        values,
        params: part.entry().params.iter().filter_map(param).collect(),
        missing: part.missing(),
        resistance: part.budget.as_ref().map_or(&[], |b| &b.pieces),
        curves: part.curves.iter().map(CurveDocument::new).collect(),
    }
}

/// A curve for programs.
#[derive(Serialize)]
struct CurveDocument<'a> {
    quantity: &'static str,
    against: &'static str,
    units: [&'static str; 2],
    conditions: BTreeMap<String, f64>,
    die: Option<&'a str>,
    capacitive_charge: Option<bool>,
    points: &'a [(f64, f64)],
}

impl<'a> CurveDocument<'a> {
    fn new(curve: &'a Curve) -> Self {
        let held = |&(key, variable, _): &(&str, Variable, _)| {
            Some((key.replace('-', "_"), curve.conditions.get(variable)?))
        };
        let charge = curve.quantity == Quantity::RecoveryCharge;
        Self {
            quantity: curve.quantity.key(),
            against: curve.against.key(),
            units: [curve.against.unit(), curve.quantity.unit()],
            conditions: Variable::ALL.iter().filter_map(held).collect(),
            die: curve.die.as_deref(),
            capacitive_charge: charge.then_some(curve.capacitive),
            points: &curve.points,
        }
    }
}
