//! One leg at fixed frequency and duty: half-bridge, synchronous buck, synchronous boost.
//!
//! ```text
//! half-bridge, buck:                       boost:
//! supply ─ loop ─ bus ─ upper ─┐           supply ─ loop ─ in ─ choke ─┬─ upper ─ out ─┬──┬─
//!                              mid ─ …                                 mid             C  R
//!                 gnd ─ lower ─┘                                gnd ─ lower            │  │
//! ```
//!
//! Conversion ratios in continuous conduction: V/V_in = D (buck), 1/(1 − D) (boost) (Erickson & Maksimovic,
//! Fundamentals of Power Electronics, ch. 2; from memory).

use joulestep_engine::circuit::graph::{GROUND, NodeId};
use joulestep_engine::control::Controller;
use joulestep_engine::control::board::Board;
use joulestep_engine::control::pwm::{Pwm, Settings};
use joulestep_engine::error::CircuitError;

use super::Arrangement;
use super::builder::{Builder, Role};
use super::keys::COMMON;
use crate::model::{Param, Range, join, params};

const LINE: &str = "leg";

/// A modulator of fixed duty on a line.
pub(super) fn modulate(builder: &mut Builder<'_>, line: &'static str, frequency: f64, duty: f64, phase: f64) {
    builder.layout.modulators.push(Box::new(move |board: &mut Board<f64>| {
        let command = board.add_line(line);
        let settings =
            Settings { command, complement: None, run: None, frequency, phase, duty: vec![(0.0, duty)] };
        Pwm::new(line, settings).map(|p| Box::new(p) as Box<dyn Controller<f64>>)
    }));
}

/// Fixed frequency and duty.
fn control(builder: &mut Builder<'_>) -> Result<f64, CircuitError> {
    let frequency = builder.number("frequency");
    let duty = builder.within("duty", 0.0, 1.0)?;
    modulate(builder, LINE, frequency, duty, 0.0);
    builder.layout.period = Some(1.0 / frequency);
    Ok(duty)
}

const DUTY: Param = Param::with(
    "duty",
    "1",
    0.5,
    Range::Between(0.0, 1.0),
    "On time of the controlled switch over the period",
);

const OUTPUT: [Param; 6] = params! {
    = DUTY;
    with "choke", "H", 200e-6, Range::Positive, "Inductance of the choke";
    with "choke-resistance", "ohm", 5e-3, Range::NotNegative, "Its winding resistance";
    with "capacitance", "F", 20e-6, Range::Positive, "Output capacitance";
    with "capacitor-resistance", "ohm", 0.0, Range::NotNegative, "Its series resistance";
    required "load-resistance", "ohm", Range::Positive, "Load";
};

/// Choke between two nodes with an estimate of its current to start from.
fn choke(
    builder: &mut Builder<'_>,
    role: Role,
    from: NodeId,
    to: NodeId,
    amperes: f64,
) -> Result<(), CircuitError> {
    let given = [
        ("inductance", builder.number("choke")),
        ("series-resistance", builder.number("choke-resistance")),
        ("initial-current", amperes),
    ];
    builder.add(role, "inductor", "choke", &[from, to], &given).map(drop)
}

/// Output capacitor and load.
fn output(builder: &mut Builder<'_>, out: NodeId, volts: f64) -> Result<(), CircuitError> {
    let given = [
        ("capacitance", builder.number("capacitance")),
        ("series-resistance", builder.number("capacitor-resistance")),
        ("initial-voltage", volts),
    ];
    builder.add(Role::Passive, "capacitor", "output", &[out, GROUND], &given)?;
    let load = [("resistance", builder.number("load-resistance"))];
    builder.add(Role::Load, "resistor", "load", &[out, GROUND], &load).map(drop)
}

/// The same leg with different surroundings.
pub(super) const HALF_BRIDGE: Arrangement = Arrangement {
    kind: "half-bridge",
    help: "Half-bridge leg at fixed duty with an inductive load: a choke into a stiff voltage, or a stiff current",
    params: &join::<15, 5, 20>(
        COMMON,
        params! {
            = DUTY;
            with "choke", "H", 200e-6, Range::Positive, "Inductance of the load";
            with "choke-resistance", "ohm", 50e-3, Range::NotNegative, "Resistance of the load";
            optional "load-voltage", "V", Range::Any, "Voltage behind the choke; default: half of the supply";
            optional "load-current", "A", Range::Any,
                "Constant current out of the leg, in place of the choke";
        },
    ),
    places: &["upper", "lower"],
    source: "leg of two switches; Mohan, Undeland & Robbins, Power Electronics, sec. 8",
    build: half_bridge,
};

fn half_bridge(builder: &mut Builder<'_>) -> Result<(), CircuitError> {
    let bus = builder.supply("supply", "bus")?;
    let mid = builder.circuit.node("mid");
    builder.leg(LINE, ("upper", [bus, mid]), ("lower", [mid, GROUND]))?;
    control(builder)?;
    if let Some(amperes) = builder.values.maybe("load-current") {
        builder.add(Role::Load, "current-source", "load", &[mid, GROUND], &[("value", amperes)])?;
        return Ok(());
    }
    let behind = builder.circuit.node("load");
    let volts = builder.values.maybe("load-voltage").unwrap_or(0.5 * builder.number("supply-voltage"));
    choke(builder, Role::Load, mid, behind, 0.0)?;
    builder.add(Role::Load, "voltage-source", "load", &[behind, GROUND], &[("value", volts)]).map(drop)
}

pub(super) const BUCK: Arrangement = Arrangement {
    kind: "synchronous-buck",
    help: "Buck converter at fixed duty; a diode may stand in the lower place",
    params: &join::<15, 6, 21>(COMMON, OUTPUT),
    places: &["upper", "lower"],
    source: "Erickson & Maksimovic, Fundamentals of Power Electronics, ch. 2",
    build: buck,
};

fn buck(builder: &mut Builder<'_>) -> Result<(), CircuitError> {
    let bus = builder.supply("supply", "bus")?;
    let [mid, out] = ["mid", "out"].map(|n| builder.circuit.node(n));
    builder.leg(LINE, ("upper", [bus, mid]), ("lower", [mid, GROUND]))?;
    let volts = builder.number("supply-voltage") * control(builder)?;
    choke(builder, Role::Passive, mid, out, volts / builder.number("load-resistance"))?;
    output(builder, out, volts)
}

pub(super) const BOOST: Arrangement = Arrangement {
    kind: "synchronous-boost",
    help: "Boost converter at fixed duty of its lower switch; a diode may stand in the upper place",
    params: &join::<15, 6, 21>(COMMON, OUTPUT),
    places: &["lower", "upper"],
    source: "Erickson & Maksimovic, Fundamentals of Power Electronics, ch. 2",
    build: boost,
};

fn boost(builder: &mut Builder<'_>) -> Result<(), CircuitError> {
    // The loop that switches hard is that of the output here: its inductance lies between switch and capacitor.
    let [source, mid, rail, out] = ["in", "mid", "rail", "out"].map(|n| builder.circuit.node(n));
    let supply = builder.number("supply-voltage");
    builder.add(Role::Source, "voltage-source", "supply", &[source, GROUND], &[("value", supply)])?;
    builder.leg(LINE, ("lower", [mid, GROUND]), ("upper", [rail, mid]))?;
    let duty = control(builder)?;
    let volts = supply / (1.0 - duty);
    let (l, r) = (builder.number("loop-inductance"), builder.number("loop-resistance"));
    if l > 0.0 {
        let given = [("inductance", l), ("series-resistance", r)];
        builder.add(Role::Passive, "inductor", "output-loop", &[rail, out], &given)?;
    } else {
        let given = [("resistance", r.max(1e-6))];
        builder.add(Role::Passive, "resistor", "output-loop", &[rail, out], &given)?;
    }
    choke(builder, Role::Passive, source, mid, volts / builder.number("load-resistance") / (1.0 - duty))?;
    output(builder, out, volts)
}
