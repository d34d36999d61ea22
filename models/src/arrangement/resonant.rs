//! Bridges that switch softly: series-resonant half-bridge, dual active bridge.

use joulestep_engine::circuit::graph::GROUND;
use joulestep_engine::error::CircuitError;

use super::Arrangement;
use super::builder::{Builder, Element, Role};
use super::keys::COMMON;
use super::leg::modulate;
use crate::model::{Built, Range, join, params};

pub(super) const RESONANT: Arrangement = Arrangement {
    kind: "series-resonant-half-bridge",
    help: "Half-bridge at half duty into a series-resonant tank and a resistance",
    params: &join::<15, 4, 19>(
        COMMON,
        params! {
            with "resonant-inductance", "H", 25e-6, Range::Positive, "Inductance of the tank";
            with "resonant-resistance", "ohm", 10e-3, Range::NotNegative, "Its series resistance";
            with "resonant-capacitance", "F", 100e-9, Range::Positive, "Capacitance of the tank";
            required "load-resistance", "ohm", Range::Positive, "Load in series with the tank";
        },
    ),
    places: &["upper", "lower"],
    source: "tank gain R/|R + j(ωL − 1/ωC)|; Erickson & Maksimovic, ch. 19",
    build: resonant,
};

fn resonant(builder: &mut Builder<'_>) -> Result<(), CircuitError> {
    let bus = builder.supply("supply", "bus")?;
    let [mid, joint, out] = ["mid", "joint", "out"].map(|n| builder.circuit.node(n));
    builder.leg("leg", ("upper", [bus, mid]), ("lower", [mid, GROUND]))?;
    let frequency = builder.number("frequency");
    modulate(builder, "leg", frequency, 0.5, 0.0);
    builder.layout.period = Some(1.0 / frequency);
    let c = [
        ("capacitance", builder.number("resonant-capacitance")),
        ("initial-voltage", 0.5 * builder.number("supply-voltage")),
    ];
    builder.add(Role::Passive, "capacitor", "tank-capacitor", &[mid, joint], &c)?;
    let l = [
        ("inductance", builder.number("resonant-inductance")),
        ("series-resistance", builder.number("resonant-resistance")),
    ];
    builder.add(Role::Passive, "inductor", "tank-inductor", &[joint, out], &l)?;
    let r = [("resistance", builder.number("load-resistance"))];
    builder.add(Role::Load, "resistor", "load", &[out, GROUND], &r).map(drop)
}

/// Coupling of the dual active bridge's transformer: what leaks lies in the inductance of its own.
const COUPLING: f64 = 0.99999;

pub(super) const DUAL_ACTIVE: Arrangement = Arrangement {
    kind: "dual-active-bridge",
    help: "Two full bridges at half duty and a phase shift, through an inductance and a transformer",
    params: &join::<15, 6, 21>(
        COMMON,
        params! {
            with "load-voltage", "V", 400.0, Range::Positive, "Voltage of the second side";
            with "phase-shift", "1", 0.1, Range::Between(-0.25, 0.25), "Lag of the second bridge, in periods";
            with "transfer-inductance", "H", 20e-6, Range::Positive, "Inductance in series with the first winding";
            with "transfer-resistance", "ohm", 10e-3, Range::NotNegative, "Its resistance";
            with "magnetising-inductance", "H", 1e-3, Range::Positive, "Inductance of the first winding";
            with "turns-ratio", "1", 1.0, Range::Positive, "Turns of the first winding over those of the second";
        },
    ),
    places: &["a-upper", "a-lower", "b-upper", "b-lower", "c-upper", "c-lower", "d-upper", "d-lower"],
    source: "P = V₁·n·V₂·φ(1 − 2φ)/(f·L), φ in periods (De Doncker, Divan & Kheraluwala 1991, IEEE Trans. Ind. Appl. 27, 63)",
    build: dual_active,
};

fn dual_active(builder: &mut Builder<'_>) -> Result<(), CircuitError> {
    let first = builder.supply("supply", "bus")?;
    let second = builder.fed("load", "load-bus", builder.number("load-voltage"))?;
    if let Some(load) = builder.layout.elements.iter_mut().find(|f| f.name == "load") {
        load.role = Role::Load;
    }
    let (frequency, shift) = (builder.number("frequency"), builder.number("phase-shift"));
    let legs = [
        ("a", "a-upper", "a-lower", first, 0.0),
        ("b", "b-upper", "b-lower", first, 0.5),
        ("c", "c-upper", "c-lower", second, shift),
        ("d", "d-upper", "d-lower", second, shift + 0.5),
    ];
    for (line, upper, lower, bus, phase) in legs {
        let out = builder.circuit.node(line);
        builder.leg(line, (upper, [bus, out]), (lower, [out, GROUND]))?;
        modulate(builder, line, frequency, 0.5, f64::rem_euclid(phase, 1.0));
    }
    builder.layout.period = Some(1.0 / frequency);
    let [a, b, c, d, winding] = ["a", "b", "c", "d", "winding"].map(|n| builder.circuit.node(n));
    let given = [
        ("inductance", builder.number("transfer-inductance")),
        ("series-resistance", builder.number("transfer-resistance")),
    ];
    builder.add(Role::Passive, "inductor", "transfer", &[a, winding], &given)?;
    let (l1, n) = (builder.number("magnetising-inductance"), builder.number("turns-ratio"));
    let l2 = l1 / (n * n);
    let m = COUPLING * (l1 * l2).sqrt();
    // A little resistance keeps direct current from persisting.
    let id = builder.circuit.coupled_inductors(
        "transformer",
        &[winding, b, c, d],
        &[l1, m, m, l2],
        &[1e-3, 1e-3],
    )?;
    let built = Built { components: vec![id], ..Built::default() };
    let element =
        Element { name: "transformer".into(), kind: "coupled-inductors", role: Role::Passive, built };
    builder.layout.elements.push(element);
    Ok(())
}
