//! `parts show`: everything of a part.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io;

use joulestep_engine::units::{in_unit, people, people_digits};
use joulestep_models::budget::{Place, places};
use joulestep_models::materials;
use joulestep_models::merit::stated_gate;
use joulestep_models::model::{CELSIUS, Param, Shape, Value};
use joulestep_models::part::{Conditions, Curve, Material, Part, Piece, Quantity, Variable};
use serde::Serialize;

use super::{on_resistance, says};
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
    let document = Document::of(&part, celsius);
    if args.json {
        streams.json(&document)?;
    } else {
        write!(streams.out, "{}", document.text())?;
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
    let diode = part.entry().is_diode();
    if let Some(gate) = stated_gate(part) {
        let how = format!("v_GS = {}, i_D = 1 A", people(gate, "V"));
        push("on-resistance", "ohm", how, &|t| on_resistance(part, t));
    }
    if diode || stated_gate(part).is_some() {
        let drop = at.with(Variable::Current, 10.0).with(Variable::GateVoltage, 0.0);
        let how = if diode { "i_F = 10 A" } else { "i_F = 10 A, v_GS = 0" };
        push("diode-drop", "V", how.to_string(), &|t| {
            says(part, Quantity::DiodeDrop, drop, Variable::Temperature, t)
        });
    }
    let Some(rated) = part.rated_voltage().filter(|_| diode || stated_gate(part).is_some()) else {
        return out;
    };
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

impl Document<'_> {
    /// For people: everything from the fields that programs read.
    fn text(&self) -> String {
        let (part, celsius) = (self.part, self.working_temperature);
        let mut out = String::new();
        let _ = writeln!(out, "{}: {}", part.name, part.title);
        let invented = if part.invented { "; invented, not a product" } else { "" };
        let _ = writeln!(out, "kind `{}`, {}{invented}", part.kind, part.technology.words());
        if !part.source.is_empty() {
            let _ = writeln!(out, "source: {}", part.source);
        }
        let ratings: Vec<String> = [
            ("voltage", self.rated_voltage, "V"),
            ("gate up to", self.gate_limit, "V"),
            ("gate down to", self.gate_limit_negative, "V"),
            ("junction up to", self.maximum_temperature, "degC"),
            ("R_th junction-case", part.thermal.junction_case, "K/W"),
            ("leads", part.ratings.lead_current, "A"),
            ("leads in a pulse", part.ratings.lead_pulse_current, "A"),
            ("up to", part.ratings.lead_pulse_width, "s"),
            ("avalanche", part.ratings.avalanche_current, "A"),
            ("avalanche", part.ratings.avalanche_energy, "J"),
            ("junction in a single event up to", part.ratings.single_event_temperature, "degC"),
            ("repeated", part.ratings.repetitive_avalanche_energy, "J"),
            ("avalanche at the middle node", part.ratings.middle_avalanche_current, "A"),
            ("avalanche at the middle node", part.ratings.middle_avalanche_energy, "J"),
            ("repeated there", part.ratings.middle_repetitive_avalanche_energy, "J"),
        ]
        .into_iter()
        .filter_map(|(name, x, unit)| Some(format!("{name} {}", people(x?, unit))))
        .collect();
        if !ratings.is_empty() {
            let _ = writeln!(out, "ratings: {}", ratings.join(", "));
        }
        if !self.values.is_empty() {
            let mut rows = vec![vec![String::new(), "25 °C".into(), people(celsius, "degC"), String::new()]];
            for d in &self.values {
                let [a, b] =
                    [d.at_25, d.at_working].map(|x| x.map_or("-".to_string(), |x| people(x, d.unit)));
                rows.push(vec![d.name.to_string(), a, b, d.conditions.clone()]);
            }
            let _ = write!(out, "\nvalues\n{}", aligned(&rows, &[false, true, true, false]));
        }
        let mut rows = Vec::new();
        for param in part.entry().params {
            let Some(p) = self.params.get(param.key) else { continue };
            let shown = match p.value {
                ValueDocument::Number(x) => people_digits(x, p.unit, 5),
                ValueDocument::List(x) => format!("{} values", x.len()),
                ValueDocument::Table(x) => format!("{} pairs", x.len()),
            };
            let note = if p.given { "" } else { "(default) " };
            rows.push(vec![param.key.to_string(), shown, format!("{note}{}", p.help)]);
        }
        let _ = write!(out, "\nparameters\n{}", aligned(&rows, &[false, true, false]));
        for key in &self.missing {
            let _ = writeln!(out, "  {key}: missing; the component that uses the part must give it");
        }
        self.pieces(&mut out);
        out
    }

    /// Dies, package, heat, resistance, curves.
    fn pieces(&self, out: &mut String) {
        let part = self.part;
        for die in &part.dies {
            let thickness = die.thickness.map_or_else(String::new, |t| format!(", {} thick", people(t, "m")));
            let material = die.material.map_or_else(String::new, |m| format!(", {}", m.key()));
            let _ = writeln!(out, "\ndie {}: {:.3} mm²{thickness}{material}", die.name, 1e6 * die.area);
            if let (Some(plate), Some(celsius)) = (part.plate(&die.name), part.thermal.temperature) {
                let at = people(plate.conductivity.at(celsius + CELSIUS), "W/(m K)");
                let celsius = people(celsius, "degC");
                let _ = writeln!(
                    out,
                    "  in runs, pulses and courses its conductivity and heat capacity follow its temperature; impedances hold \
                     at {celsius}, where it conducts {at} through it"
                );
            }
            if let Some(known) = die.material.and_then(|m| materials::find(m.layer()).ok()) {
                let _ = writeln!(
                    out,
                    "  conductivity through it: {}",
                    known.through.unwrap_or(known.conductivity).source
                );
            }
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
            let on = i.on.as_ref().map_or_else(|| "case".into(), |on| format!("{on}, on which it stands"));
            let _ = writeln!(out, "\ntransient thermal impedance of {} to {on}", i.die);
            let rows: Vec<Vec<String>> =
                i.terms.iter().map(|(r, tau)| vec![people(*r, "K/W"), people(*tau, "s")]).collect();
            out.push_str(&aligned(&rows, &[true, true]));
        }
        if !self.resistance.is_empty() {
            let heads = ["resistance", "die", "25 °C"].map(String::from).into_iter();
            let mut rows = vec![heads.chain([people(self.working_temperature, "degC")]).collect()];
            for of in &self.resistance {
                rows.push(vec![
                    of.piece.name.clone(),
                    of.piece.die.clone().unwrap_or_else(|| "-".into()),
                    people(of.piece.resistance, "ohm"),
                    people(of.at_working, "ohm"),
                ]);
            }
            let sum = |each: fn(&PieceDocument<'_>) -> f64| {
                people(self.resistance.iter().map(each).sum::<f64>(), "ohm")
            };
            rows.push(vec!["sum".into(), String::new(), sum(|p| p.piece.resistance), sum(|p| p.at_working)]);
            let _ = write!(out, "\n{}", aligned(&rows, &[false, false, true, true]));
            for place in &self.unipolar_limit {
                let _ = writeln!(out, "{}", place.words());
            }
        }
        if !self.curves.is_empty() {
            let _ = writeln!(out, "\ncurves");
        }
        for curve in &self.curves {
            let held = |&(key, _, unit): &(&str, Variable, &str)| {
                Some(format!("{key} {}", people(*curve.conditions.get(&key.replace('-', "_"))?, unit)))
            };
            let held: Vec<String> = Variable::ALL.iter().filter_map(held).collect();
            let die = curve.die.map_or_else(String::new, |d| format!(" of {d}"));
            let _ =
                writeln!(out, "  {}{die}: {} points; {}", curve.words, curve.points.len(), held.join(", "));
        }
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
    values: Vec<Derived>,
    params: BTreeMap<&'a str, ParamDocument<'a>>,
    missing: Vec<&'static str>,
    resistance: Vec<PieceDocument<'a>>,
    unipolar_limit: Vec<LimitDocument>,
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

/// A piece of the on-resistance.
#[derive(Serialize)]
struct PieceDocument<'a> {
    #[serde(flatten)]
    piece: &'a Piece,
    /// At the working temperature, Ω.
    at_working: f64,
}

/// A die against the unipolar limit of its material at 25 °C; specific resistances in Ω·m².
#[derive(Serialize)]
struct LimitDocument {
    die: String,
    /// V.
    breakdown_voltage: f64,
    specific: f64,
    /// Of its drift region alone.
    drift: Option<f64>,
    limit: f64,
    #[serde(skip)]
    material: Material,
}

impl LimitDocument {
    fn new(place: &Place) -> Self {
        Self {
            die: place.die.clone(),
            breakdown_voltage: place.blocks,
            specific: place.specific,
            drift: place.drift,
            limit: place.limit.specific,
            material: place.material,
        }
    }

    fn words(&self) -> String {
        // As the trade has it.
        let specific = |x: f64| format!("{} mΩ·cm²", people(1e7 * x, "1"));
        let times = |x: f64| people_digits(x / self.limit, "1", 3);
        let along = match self.material {
            Material::SiliconCarbide => "4H-SiC, current along c,",
            Material::Silicon => "silicon",
        };
        let drift = self.drift.map_or_else(String::new, |x| format!(", its drift region {} times", times(x)));
        format!(
            "{}: {}, {} times the one-dimensional unipolar limit of {along} for {} ({}){drift}",
            self.die,
            specific(self.specific),
            times(self.specific),
            people(self.breakdown_voltage, "V"),
            specific(self.limit),
        )
    }
}

impl<'a> Document<'a> {
    fn of(part: &'a Part, celsius: f64) -> Self {
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
        let pieces = part.budget.iter().flat_map(|b| b.pieces.iter().zip(b.at(celsius)));
        Self {
            part,
            rated_voltage: part.rated_voltage(),
            gate_limit: part.gate_limits().map(|g| g.1),
            gate_limit_negative: part.gate_limits().map(|g| g.0),
            maximum_temperature: part.hottest(),
            working_temperature: celsius,
            values: derived(part, celsius),
            params: part.entry().params.iter().filter_map(param).collect(),
            missing: part.missing(),
            resistance: pieces.map(|(piece, (_, at_working))| PieceDocument { piece, at_working }).collect(),
            unipolar_limit: places(part).iter().map(LimitDocument::new).collect(),
            curves: part.curves.iter().map(CurveDocument::new).collect(),
        }
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
    /// What it shows, for people.
    #[serde(skip)]
    words: String,
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
            words: curve.words(),
        }
    }
}
