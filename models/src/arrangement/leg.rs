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
use super::bed::{Bed, Role};
use super::keys::COMMON;
use crate::model::{Param, Range, join};

const LINE: &str = "leg";

/// A modulator of fixed duty on a line.
pub(super) fn modulate(bed: &mut Bed<'_>, line: &'static str, frequency: f64, duty: f64, phase: f64) {
    bed.laid.modulators.push(Box::new(move |board: &mut Board<f64>| {
        let command = board.add_line(line);
        let settings =
            Settings { command, complement: None, run: None, frequency, phase, duty: vec![(0.0, duty)] };
        Pwm::new(line, settings).map(|p| Box::new(p) as Box<dyn Controller<f64>>)
    }));
}

/// Fixed frequency and duty.
fn control(bed: &mut Bed<'_>) -> Result<f64, CircuitError> {
    let frequency = bed.number("frequency");
    let duty = bed.within("duty", 0.0, 1.0)?;
    modulate(bed, LINE, frequency, duty, 0.0);
    bed.laid.period = Some(1.0 / frequency);
    Ok(duty)
}

const DUTY: Param = Param::with(
    "duty",
    "1",
    0.5,
    Range::Between(0.0, 1.0),
    "On time of the controlled switch over the period",
);

const OUTPUT: [Param; 6] = [
    DUTY,
    Param::with("choke", "H", 200e-6, Range::Positive, "Inductance of the choke"),
    Param::with("choke-resistance", "ohm", 5e-3, Range::NotNegative, "Its winding resistance"),
    Param::with("capacitance", "F", 20e-6, Range::Positive, "Output capacitance"),
    Param::with("capacitor-resistance", "ohm", 0.0, Range::NotNegative, "Its series resistance"),
    Param::required("load-resistance", "ohm", Range::Positive, "Load"),
];

/// Choke between two nodes with an estimate of its current to start from.
fn choke(bed: &mut Bed<'_>, from: NodeId, to: NodeId, amperes: f64) -> Result<(), CircuitError> {
    let given = [
        ("inductance", bed.number("choke")),
        ("series-resistance", bed.number("choke-resistance")),
        ("initial-current", amperes),
    ];
    bed.add(Role::Passive, "inductor", "choke", &[from, to], &given).map(drop)
}

/// Output capacitor and load.
fn output(bed: &mut Bed<'_>, out: NodeId, volts: f64) -> Result<(), CircuitError> {
    let given = [
        ("capacitance", bed.number("capacitance")),
        ("series-resistance", bed.number("capacitor-resistance")),
        ("initial-voltage", volts),
    ];
    bed.add(Role::Passive, "capacitor", "output", &[out, GROUND], &given)?;
    let load = [("resistance", bed.number("load-resistance"))];
    bed.add(Role::Load, "resistor", "load", &[out, GROUND], &load).map(drop)
}

/// The same leg with different surroundings.
pub(super) const HALF_BRIDGE: Arrangement = Arrangement {
    kind: "half-bridge",
    help: "Half-bridge leg at fixed duty with an inductive load: a choke into a stiff voltage, or a stiff current",
    params: &join::<15, 5, 20>(
        COMMON,
        [
            DUTY,
            Param::with("choke", "H", 200e-6, Range::Positive, "Inductance of the load"),
            Param::with("choke-resistance", "ohm", 50e-3, Range::NotNegative, "Resistance of the load"),
            Param::optional(
                "load-voltage",
                "V",
                Range::Any,
                "Voltage behind the choke; default: half of the supply",
            ),
            Param::optional(
                "load-current",
                "A",
                Range::Any,
                "Constant current out of the leg, in place of the choke",
            ),
        ],
    ),
    places: &["upper", "lower"],
    source: "leg of two switches; Mohan, Undeland & Robbins, Power Electronics, sec. 8",
    lay: half_bridge,
};

fn half_bridge(bed: &mut Bed<'_>) -> Result<(), CircuitError> {
    let bus = bed.supply("supply", "bus")?;
    let mid = bed.circuit.node("mid");
    bed.leg(LINE, ("upper", [bus, mid]), ("lower", [mid, GROUND]))?;
    control(bed)?;
    if let Some(amperes) = bed.values.maybe("load-current") {
        bed.add(Role::Load, "current-source", "load", &[mid, GROUND], &[("value", amperes)])?;
        return Ok(());
    }
    let behind = bed.circuit.node("load");
    let volts = bed.values.maybe("load-voltage").unwrap_or(0.5 * bed.number("supply-voltage"));
    choke(bed, mid, behind, 0.0)?;
    bed.add(Role::Load, "voltage-source", "load", &[behind, GROUND], &[("value", volts)]).map(drop)
}

pub(super) const BUCK: Arrangement = Arrangement {
    kind: "synchronous-buck",
    help: "Buck converter at fixed duty; a diode may stand in the lower place",
    params: &join::<15, 6, 21>(COMMON, OUTPUT),
    places: &["upper", "lower"],
    source: "Erickson & Maksimovic, Fundamentals of Power Electronics, ch. 2",
    lay: buck,
};

fn buck(bed: &mut Bed<'_>) -> Result<(), CircuitError> {
    let bus = bed.supply("supply", "bus")?;
    let [mid, out] = ["mid", "out"].map(|n| bed.circuit.node(n));
    bed.leg(LINE, ("upper", [bus, mid]), ("lower", [mid, GROUND]))?;
    let volts = bed.number("supply-voltage") * control(bed)?;
    choke(bed, mid, out, volts / bed.number("load-resistance"))?;
    output(bed, out, volts)
}

pub(super) const BOOST: Arrangement = Arrangement {
    kind: "synchronous-boost",
    help: "Boost converter at fixed duty of its lower switch; a diode may stand in the upper place",
    params: &join::<15, 6, 21>(COMMON, OUTPUT),
    places: &["lower", "upper"],
    source: "Erickson & Maksimovic, Fundamentals of Power Electronics, ch. 2",
    lay: boost,
};

fn boost(bed: &mut Bed<'_>) -> Result<(), CircuitError> {
    // The loop that switches hard is that of the output here: its inductance lies between switch and capacitor.
    let [source, mid, rail, out] = ["in", "mid", "rail", "out"].map(|n| bed.circuit.node(n));
    let supply = bed.number("supply-voltage");
    bed.add(Role::Source, "voltage-source", "supply", &[source, GROUND], &[("value", supply)])?;
    bed.leg(LINE, ("lower", [mid, GROUND]), ("upper", [rail, mid]))?;
    let duty = control(bed)?;
    let volts = supply / (1.0 - duty);
    let (l, r) = (bed.number("loop-inductance"), bed.number("loop-resistance"));
    if l > 0.0 {
        let given = [("inductance", l), ("series-resistance", r)];
        bed.add(Role::Passive, "inductor", "output-loop", &[rail, out], &given)?;
    } else {
        let given = [("resistance", r.max(1e-6))];
        bed.add(Role::Passive, "resistor", "output-loop", &[rail, out], &given)?;
    }
    choke(bed, source, mid, volts / bed.number("load-resistance") / (1.0 - duty))?;
    output(bed, out, volts)
}
