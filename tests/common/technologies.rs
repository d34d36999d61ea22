//! Shipped parts at rest, for checks of technologies.

use joulestep::input::parts::load;
use joulestep_models::operating::{AtRest, Feed};
use joulestep_models::part::Part;
use joulestep_models::parts::shipped;

/// A shipped part.
pub fn ship(name: &str) -> Part {
    let open = |path: &std::path::Path| -> std::io::Result<String> {
        Err(std::io::Error::other(format!("{} is asked for", path.display())))
    };
    match load(name, &open) {
        Ok(loaded) => loaded.part,
        Err(error) => panic!("{name}: {error:?}"),
    }
}

/// All shipped parts of a kind.
pub fn of_kind(kind: &str) -> Vec<Part> {
    let all: Vec<Part> = shipped().iter().map(|p| ship(p.0)).filter(|p| p.kind == kind).collect();
    assert!(!all.is_empty(), "no part is a {kind}");
    all
}

/// At rest with its gate at a voltage, fed, at a temperature in °C.
pub fn rest(part: &Part, gate: f64, feed: Feed, celsius: f64) -> AtRest {
    AtRest::new(part.entry(), &part.values, gate, feed, celsius)
        .unwrap_or_else(|e| panic!("{}: {e}", part.name))
}

/// The gate voltage at which a switch is fully on by its own statement, V.
pub fn on_gate(part: &Part) -> f64 {
    let key = if part.kind == "cascode" { "mosfet-on-gate-voltage" } else { "on-gate-voltage" };
    part.values.number(key)
}

/// On-resistance of the whole part at 1 A, Ω.
pub fn on_resistance(part: &Part, celsius: f64) -> f64 {
    rest(part, on_gate(part), Feed::Current(1.0), celsius).voltage()
}

/// Area of a die, mm².
pub fn square_millimetres(part: &Part, die: &str) -> f64 {
    part.die(die).unwrap().area * 1e6
}

/// Specific on-resistance of a die, mΩ·cm², from its voltage at 1 A: of the JFET of a cascode, of the only die else.
pub fn specific(part: &Part, celsius: f64) -> f64 {
    let rest = rest(part, on_gate(part), Feed::Current(1.0), celsius);
    let (die, volts) = match part.kind {
        "cascode" => ("jfet", rest.read("jfet-voltage").unwrap()),
        _ => ("mosfet", rest.voltage()),
    };
    volts * square_millimetres(part, die) * 10.0
}

/// Doping of the drift region of a SiC part of its class, 1/m³, as the part files state it.
pub fn drift_doping(part: &Part) -> f64 {
    match part.rated_voltage().unwrap() as u32 {
        700 => 2.10e22,
        900 => 1.53e22,
        1100 => 1.19e22,
        _ => 9.67e21,
    }
}
