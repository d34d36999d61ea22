//! Legs modulated by sines: three-phase inverter, totem-pole power-factor leg.

use std::f64::consts::TAU;

use joulestep_engine::circuit::graph::GROUND;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::control::Controller;
use joulestep_engine::control::board::Board;
use joulestep_engine::control::carrier::{Carrier, Settings};
use joulestep_engine::error::CircuitError;

use super::Arrangement;
use super::bed::{Bed, Fitting, Role};
use super::keys::COMMON;
use crate::model::{Built, Param, Range, bad, join};

/// One sine-modulated leg: mean and amplitude of the duty, phase (rad).
fn modulate(bed: &mut Bed<'_>, line: &'static str, mean: f64, amplitude: f64, phase: f64, folded: bool) {
    let (frequency, fundamental) = (bed.number("frequency"), bed.number("fundamental-frequency"));
    bed.laid.modulators.push(Box::new(move |board: &mut Board<f64>| {
        let command = board.add_line(line);
        let settings = Settings { command, frequency, mean, amplitude, fundamental, phase, folded };
        Carrier::new(line, settings).map(|c| Box::new(c) as Box<dyn Controller<f64>>)
    }));
}

/// The fundamental's period, where it holds a whole number of carrier periods.
fn period(bed: &mut Bed<'_>) {
    let (carrier, fundamental) = (bed.number("frequency"), bed.number("fundamental-frequency"));
    let ratio = carrier / fundamental;
    bed.laid.period = ((ratio - ratio.round()).abs() < 1e-9 * ratio).then_some(1.0 / fundamental);
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
        [
            FUNDAMENTAL,
            Param::with(
                "modulation",
                "1",
                0.8,
                Range::NotNegative,
                "Phase amplitude over half of the supply",
            ),
            Param::with("load-resistance", "ohm", 10.0, Range::Positive, "Load of each phase"),
            Param::with("load-inductance", "H", 5e-3, Range::Positive, "Inductance of each phase"),
        ],
    ),
    places: &["a-upper", "a-lower", "b-upper", "b-lower", "c-upper", "c-lower"],
    source: "phase amplitude = modulation·V/2 (Holmes & Lipo, Pulse Width Modulation for Power Converters)",
    lay: inverter,
};

fn inverter(bed: &mut Bed<'_>) -> Result<(), CircuitError> {
    let bus = bed.supply("supply", "bus")?;
    let star = bed.circuit.node("star");
    let m = bed.number("modulation");
    let phases = [
        ("a", "a-upper", "a-lower", "a-choke", "a-load"),
        ("b", "b-upper", "b-lower", "b-choke", "b-load"),
        ("c", "c-upper", "c-lower", "c-choke", "c-load"),
    ];
    for (k, (line, upper, lower, choke, load)) in phases.into_iter().enumerate() {
        let [out, inner] = [line.to_string(), format!("{line}-inner")].map(|n| bed.circuit.node(&n));
        bed.leg(line, (upper, [bus, out]), (lower, [out, GROUND]))?;
        modulate(bed, line, 0.5, 0.5 * m, -TAU * k as f64 / 3.0, false);
        let l = [("inductance", bed.number("load-inductance")), ("initial-current", 0.0)];
        bed.add(Role::Passive, "inductor", choke, &[out, inner], &l[..1])?;
        let r = [("resistance", bed.number("load-resistance"))];
        bed.add(Role::Load, "resistor", load, &[inner, star], &r)?;
    }
    period(bed);
    Ok(())
}

pub(super) const TOTEM_POLE: Arrangement = Arrangement {
    kind: "totem-pole",
    help: "Totem-pole power-factor leg between line and bus, in open loop: a fast leg and a leg at line frequency",
    params: &join::<15, 5, 20>(
        COMMON,
        [
            FUNDAMENTAL,
            Param::with("line-voltage", "V", 230.0, Range::Positive, "Line voltage, rms"),
            Param::with(
                "line-current",
                "A",
                10.0,
                Range::NotNegative,
                "Line current asked for, rms, in phase with the voltage",
            ),
            Param::with("choke", "H", 1e-3, Range::Positive, "Inductance of the choke"),
            Param::with("choke-resistance", "ohm", 0.1, Range::Positive, "Its resistance"),
        ],
    ),
    places: &["fast-upper", "fast-lower", "slow-upper", "slow-lower"],
    source: "leg phasor V − (R + jωL)·I; Erickson & Maksimovic, ch. 18",
    lay: totem_pole,
};

fn totem_pole(bed: &mut Bed<'_>) -> Result<(), CircuitError> {
    let bus_volts = bed.number("supply-voltage");
    let omega = TAU * bed.number("fundamental-frequency");
    let root = std::f64::consts::SQRT_2;
    let (v, i) = (root * bed.number("line-voltage"), root * bed.number("line-current"));
    let (l, r) = (bed.number("choke"), bed.number("choke-resistance"));
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
    let bus = bed.fed("bus-source", "bus", bus_volts)?;
    // The bus is what takes the energy.
    if let Some(source) = bed.laid.fittings.iter_mut().find(|f| f.name == "bus-source") {
        source.role = Role::Load;
    }
    let [live, fast, slow] = ["live", "fast", "slow"].map(|n| bed.circuit.node(n));
    let sine = Wave::Sine {
        offset: 0.0,
        amplitude: v,
        frequency: bed.number("fundamental-frequency"),
        phase: 0.0,
        delay: 0.0,
    };
    let wave = bed.circuit.wave(sine);
    let id = bed.circuit.voltage_source("line", live, slow, wave)?;
    let built = Built { components: vec![id], ..Built::default() };
    bed.laid.fittings.push(Fitting {
        name: "line".into(),
        kind: "voltage-source",
        role: Role::Source,
        built,
    });
    bed.leg("fast", ("fast-upper", [bus, fast]), ("fast-lower", [fast, GROUND]))?;
    bed.leg("slow", ("slow-upper", [bus, slow]), ("slow-lower", [slow, GROUND]))?;
    modulate(bed, "fast", 0.0, amplitude, phase, true);
    // The slow leg's upper switch is on in the negative half. It changes between two periods of the same carrier, where
    // the fast leg's duty is folded: a mismatch of a part of a period would cost a per cent of the line current.
    modulate(bed, "slow", 0.0, 0.0, phase, true);
    let given = [("inductance", l), ("series-resistance", r)];
    bed.add(Role::Passive, "inductor", "choke", &[live, fast], &given)?;
    period(bed);
    Ok(())
}
