//! A part as the text of a part file.

use std::fmt::Write;

use joulestep_engine::units::parse_unit;
use joulestep_models::model::{Shape, Value};
use joulestep_models::part::{Curve, Part, Quantity, Technology, Thermal, Variable};

/// A number with nine significant digits, as short as it can be.
fn number(x: f64) -> String {
    let rounded: f64 = format!("{x:.8e}").parse().unwrap_or(x);
    let plain = rounded.to_string();
    if plain.len() <= 9 { plain } else { format!("{rounded:e}") }
}

fn quantity(x: f64, unit: &str) -> String {
    if unit == "1" { format!("\"{}\"", number(x)) } else { format!("\"{} {unit}\"", number(x)) }
}

/// A text as TOML writes it.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_string()).to_string()
}

fn list(items: impl IntoIterator<Item = String>) -> String {
    format!("[{}]", items.into_iter().collect::<Vec<_>>().join(", "))
}

/// The text, with a comment at its head. It reads back as the same part, numbers to nine digits.
pub fn toml(part: &Part, head: &str) -> String {
    let mut out = String::new();
    for line in head.lines() {
        let _ = writeln!(out, "# {}", crate::diagnostic::printable(line));
    }
    let _ = writeln!(out, "kind = {}\ntitle = {}", quoted(part.kind), quoted(&part.title));
    if !part.source.is_empty() {
        let _ = writeln!(out, "source = {}", quoted(&part.source));
    }
    if part.invented {
        out.push_str("invented = true\n");
    }
    if part.technology != Technology::of_kind(part.kind) {
        let _ = writeln!(out, "technology = {}", quoted(part.technology.key()));
    }
    out.push_str("\n[params]\n");
    for param in part.entry().params.iter().filter(|p| part.given.contains(p.key)) {
        let value = match (param.shape, part.values.0.get(param.key)) {
            (Shape::Number(unit), Some(Value::Number(x))) => quantity(*x, unit),
            (Shape::List(unit), Some(Value::List(x))) => list(x.iter().map(|x| quantity(*x, unit))),
            (Shape::Table(a, b), Some(Value::Table(rows))) => {
                list(rows.iter().map(|(x, y)| list([quantity(*x, a), quantity(*y, b)])))
            }
            _ => continue,
        };
        let _ = writeln!(out, "{} = {value}", param.key);
    }
    body(part, &mut out);
    out
}

fn body(part: &Part, out: &mut String) {
    let key = |out: &mut String, name: &str, x: Option<f64>, unit: &str| {
        if let Some(x) = x {
            let _ = writeln!(out, "{name} = {}", quantity(x, unit));
        }
    };
    for die in &part.dies {
        let _ = writeln!(out, "\n[die.{}]", die.name);
        key(out, "area", Some(die.area), "m^2");
        key(out, "thickness", die.thickness, "m");
        key(out, "heated-depth", die.heated_depth, "m");
        if let Some(material) = die.material {
            let _ = writeln!(out, "material = {}", quoted(material.key()));
        }
    }
    if let Some(p) = &part.package {
        let _ = writeln!(out, "\n[package]\noutline = {}", quoted(&p.outline));
        let sizes = [("length", p.length), ("width", p.width), ("height", p.height)];
        for (name, x) in sizes.into_iter().chain([("creepage", p.creepage), ("clearance", p.clearance)]) {
            key(out, name, x, "m");
        }
    }
    if !part.ratings.is_empty() {
        let r = &part.ratings;
        out.push_str("\n[ratings]\n");
        for (name, x, unit) in [
            ("lead-current", r.lead_current, "A"),
            ("lead-pulse-current", r.lead_pulse_current, "A"),
            ("lead-pulse-width", r.lead_pulse_width, "s"),
            ("avalanche-current", r.avalanche_current, "A"),
            ("avalanche-energy", r.avalanche_energy, "J"),
            ("single-event-temperature", r.single_event_temperature, "degC"),
            ("repetitive-avalanche-energy", r.repetitive_avalanche_energy, "J"),
            ("avalanche-temperature", r.avalanche_temperature, "degC"),
            ("middle-avalanche-current", r.middle_avalanche_current, "A"),
            ("middle-avalanche-energy", r.middle_avalanche_energy, "J"),
            ("middle-repetitive-avalanche-energy", r.middle_repetitive_avalanche_energy, "J"),
        ] {
            key(out, name, x, unit);
        }
    }
    if part.thermal != Thermal::default() {
        out.push_str("\n[thermal]\n");
        key(out, "junction-case", part.thermal.junction_case, "K/W");
        key(out, "temperature", part.thermal.temperature, "degC");
    }
    for i in &part.thermal.impedance {
        let _ = writeln!(out, "\n[[thermal.impedance]]\ndie = {}", quoted(&i.die));
        if let Some(on) = &i.on {
            let _ = writeln!(out, "on = {}", quoted(on));
        }
        let _ = writeln!(out, "resistance = {}", list(i.terms.iter().map(|t| quantity(t.0, "K/W"))));
        let _ = writeln!(out, "time-constant = {}", list(i.terms.iter().map(|t| quantity(t.1, "s"))));
    }
    for piece in part.budget.iter().flat_map(|b| &b.pieces) {
        let _ = writeln!(out, "\n[[resistance]]\nname = {}", quoted(&piece.name));
        if let Some(die) = &piece.die {
            let _ = writeln!(out, "die = {}", quoted(die));
        }
        match piece.specific {
            Some(specific) => key(out, "specific", Some(specific), "ohm m^2"),
            None => key(out, "value", Some(piece.resistance), "ohm"),
        }
        key(out, "exponent", Some(piece.exponent), "1");
    }
    let unit = |key: &str| {
        let param = part.entry().params.iter().find(|p| p.key == key);
        match param.map(|p| p.shape) {
            Some(Shape::Number("degC")) => "K",
            Some(Shape::Number(unit)) => unit,
            _ => "1",
        }
    };
    for (parameter, deviation) in &part.spread.deviations {
        let _ = writeln!(out, "\n[[spread]]\nparameter = {}", quoted(parameter));
        key(out, "deviation", Some(*deviation), unit(parameter));
    }
    for (a, b, coefficient) in &part.spread.correlations {
        let _ = writeln!(out, "\n[[correlation]]\nbetween = {}", list([quoted(a), quoted(b)]));
        let _ = writeln!(out, "coefficient = {}", number(*coefficient));
    }
    for curve in &part.curves {
        self::curve(curve, out);
    }
}

/// The value of an SI number in a unit as typed.
fn typed(x: f64, unit: &str) -> String {
    number(parse_unit(unit).map_or(x, |u| x / u.factor / 10f64.powi(u.ten)))
}

fn curve(curve: &Curve, out: &mut String) {
    let _ = writeln!(out, "\n[[curve]]\nquantity = {}", quoted(curve.quantity.key()));
    if curve.quantity.abscissae().len() > 1 {
        let _ = writeln!(out, "against = {}", quoted(curve.against.key()));
    }
    if let Some(die) = &curve.die {
        let _ = writeln!(out, "die = {}", quoted(die));
    }
    for &(name, variable, unit) in Variable::ALL {
        // 25 °C is what holds where nothing is stated, and some curves have no key for it.
        let stated =
            curve.conditions.get(variable).filter(|x| variable != Variable::Temperature || *x != 25.0);
        if let Some(x) = stated {
            let _ = writeln!(out, "{name} = {}", quantity(x, unit));
        }
    }
    if curve.quantity == Quantity::RecoveryCharge {
        let word = if curve.capacitive { "included" } else { "left-out" };
        let _ = writeln!(out, "capacitive-charge = \"{word}\"");
    }
    if curve.weight != 1.0 {
        let _ = writeln!(out, "weight = {}", quantity(curve.weight, "1"));
    }
    let [x, y] = &curve.units;
    let _ = writeln!(out, "units = [{}, {}]", quoted(x), quoted(y));
    let rows = curve.points.iter().map(|p| list([typed(p.0, x), typed(p.1, y)]));
    let _ = writeln!(out, "points = {}", list(rows));
}
