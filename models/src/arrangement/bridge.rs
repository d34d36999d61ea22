//! Legs modulated by sines: three-phase inverter, totem-pole power-factor leg.

use std::f64::consts::TAU;

use joulestep_engine::circuit::graph::GROUND;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::control::Controller;
use joulestep_engine::control::board::Board;
use joulestep_engine::control::carrier::{Carrier, Settings};
use joulestep_engine::control::centred::Lines;
use joulestep_engine::error::CircuitError;

use super::Arrangement;
use super::builder::{Builder, Element, Role};
use super::keys::COMMON;
use crate::model::{Built, Param, Range, bad, join, params};

/// One sine-modulated leg: mean and amplitude of the duty, phase (rad).
fn modulate(
    builder: &mut Builder<'_>,
    line: &'static str,
    mean: f64,
    amplitude: f64,
    phase: f64,
    folded: bool,
) {
    let (frequency, fundamental) = (builder.number("frequency"), builder.number("fundamental-frequency"));
    builder.layout.modulators.push(Box::new(move |board: &mut Board<f64>| {
        let command = board.add_line(line);
        let lines = Lines { command, complement: None };
        let settings = Settings { lines, run: None, frequency, mean, amplitude, fundamental, phase, folded };
        Carrier::new(line, settings).map(|c| Box::new(c) as Box<dyn Controller<f64>>)
    }));
}

/// The fundamental's period, where it holds a whole number of carrier periods.
fn period(builder: &mut Builder<'_>) {
    let (carrier, fundamental) = (builder.number("frequency"), builder.number("fundamental-frequency"));
    let ratio = carrier / fundamental;
    builder.layout.period = ((ratio - ratio.round()).abs() < 1e-9 * ratio).then_some(1.0 / fundamental);
    builder.layout.carrier = Some(1.0 / carrier);
}

const FUNDAMENTAL: Param = Param::with(
    "fundamental-frequency",
    "Hz",
    50.0,
    Range::Positive,
    "Frequency of the sine; the periodic steady state needs a whole number of switching periods in it",
);

pub(super) const INVERTER: Arrangement = Arrangement {
    kind: "three-phase-inverter",
    help: "Six switches, sine-modulated with centred pulses, on a star of resistances and inductances",
    params: &join::<15, 4, 19>(
        COMMON,
        params! {
            = FUNDAMENTAL;
            with "modulation", "1", 0.8, Range::NotNegative, "Phase amplitude over half of the supply";
            with "load-resistance", "ohm", 10.0, Range::Positive, "Load of each phase";
            with "load-inductance", "H", 5e-3, Range::Positive, "Inductance of each phase";
        },
    ),
    places: &["a-upper", "a-lower", "b-upper", "b-lower", "c-upper", "c-lower"],
    source: "phase amplitude = modulation·V/2 (Holmes & Lipo, Pulse Width Modulation for Power Converters)",
    build: inverter,
};

fn inverter(builder: &mut Builder<'_>) -> Result<(), CircuitError> {
    let bus = builder.supply("supply", "bus")?;
    let star = builder.circuit.node("star");
    let m = builder.number("modulation");
    let phases = [
        ("a", "a-upper", "a-lower", "a-choke", "a-load"),
        ("b", "b-upper", "b-lower", "b-choke", "b-load"),
        ("c", "c-upper", "c-lower", "c-choke", "c-load"),
    ];
    for (k, (line, upper, lower, choke, load)) in phases.into_iter().enumerate() {
        let [out, inner] = [line.to_string(), format!("{line}-inner")].map(|n| builder.circuit.node(&n));
        builder.leg(line, (upper, [bus, out]), (lower, [out, GROUND]))?;
        modulate(builder, line, 0.5, 0.5 * m, -TAU * k as f64 / 3.0, false);
        let l = [("inductance", builder.number("load-inductance")), ("initial-current", 0.0)];
        builder.add(Role::Passive, "inductor", choke, &[out, inner], &l[..1])?;
        let r = [("resistance", builder.number("load-resistance"))];
        builder.add(Role::Load, "resistor", load, &[inner, star], &r)?;
    }
    period(builder);
    Ok(())
}

pub(super) const TOTEM_POLE: Arrangement = Arrangement {
    kind: "totem-pole",
    help: "Totem-pole power-factor leg between line and bus, in open loop: a fast leg and a leg at line frequency",
    params: &join::<15, 5, 20>(
        COMMON,
        params! {
            = FUNDAMENTAL;
            with "line-voltage", "V", 230.0, Range::Positive, "Line voltage, rms";
            with "line-current", "A", 10.0, Range::NotNegative,
                "Line current asked for, rms, in phase with the voltage";
            with "choke", "H", 1e-3, Range::Positive, "Inductance of the choke";
            with "choke-resistance", "ohm", 0.1, Range::Positive, "Its resistance";
        },
    ),
    places: &["fast-upper", "fast-lower", "slow-upper", "slow-lower"],
    source: "leg phasor V − (R + jωL)·I; Erickson & Maksimovic, ch. 18",
    build: totem_pole,
};

fn totem_pole(builder: &mut Builder<'_>) -> Result<(), CircuitError> {
    let bus_volts = builder.number("supply-voltage");
    let omega = TAU * builder.number("fundamental-frequency");
    let root = std::f64::consts::SQRT_2;
    let (v, i) = (root * builder.number("line-voltage"), root * builder.number("line-current"));
    let (l, r) = (builder.number("choke"), builder.number("choke-resistance"));
    // The leg's phasor: the line's less what the choke drops at the current asked for.
    let (real, imaginary) = (v - r * i, -omega * l * i);
    let (amplitude, phase) = (real.hypot(imaginary) / bus_volts, imaginary.atan2(real));
    if amplitude >= 1.0 {
        let what = format!(
            "the bus of {bus_volts} V is below the peak that the line asks for, {} V",
            amplitude * bus_volts
        );
        return Err(bad("supply-voltage", what));
    }
    let bus = builder.fed("bus-source", "bus", bus_volts)?;
    // The bus is what takes the energy.
    if let Some(source) = builder.layout.elements.iter_mut().find(|f| f.name == "bus-source") {
        source.role = Role::Load;
    }
    let [live, fast, slow] = ["live", "fast", "slow"].map(|n| builder.circuit.node(n));
    let sine = Wave::Sine {
        offset: 0.0,
        amplitude: v,
        frequency: builder.number("fundamental-frequency"),
        phase: 0.0,
        delay: 0.0,
    };
    let wave = builder.circuit.wave(sine);
    let id = builder.circuit.voltage_source("line", live, slow, wave)?;
    let built = Built { components: vec![id], ..Built::default() };
    builder.layout.elements.push(Element {
        name: "line".into(),
        kind: "voltage-source",
        role: Role::Source,
        built,
    });
    builder.leg("fast", ("fast-upper", [bus, fast]), ("fast-lower", [fast, GROUND]))?;
    builder.leg("slow", ("slow-upper", [bus, slow]), ("slow-lower", [slow, GROUND]))?;
    modulate(builder, "fast", 0.0, amplitude, phase, true);
    // The slow leg's upper switch is on in the negative half. It changes between two periods of the same carrier, where
    // the fast leg's duty is folded: a mismatch of a part of a period would cost a per cent of the line current.
    modulate(builder, "slow", 0.0, 0.0, phase, true);
    let given = [("inductance", l), ("series-resistance", r)];
    builder.add(Role::Passive, "inductor", "choke", &[live, fast], &given)?;
    period(builder);
    Ok(())
}
