//! Arrangements that do not repeat: bidirectional breaker, capacitor precharge, inductive-load break.

use joulestep_engine::circuit::graph::{ChoiceId, GROUND, NodeId};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::control::Controller;
use joulestep_engine::control::board::Board;
use joulestep_engine::control::crossing::Sense;
use joulestep_engine::control::detect::{Criterion, Level};
use joulestep_engine::control::hysteretic::{self, Hysteretic};
use joulestep_engine::control::let_through::{CLEARED, LetThrough};
use joulestep_engine::control::protection::{Protection, Retry, Settings};
use joulestep_engine::control::sequence::{Deed, ScheduledEvent, Sequence};
use joulestep_engine::error::CircuitError;

use super::Arrangement;
use super::builder::{Builder, Role, TRIP};
use super::keys::COMMON;
use crate::model::{Param, Range, join, params};

type Done = Result<(), CircuitError>;

const CLAMP: [Param; 3] = params! {
    with "clamp-voltage", "V", 470.0, Range::Positive, "Varistor: voltage at 1 mA";
    with "clamping-voltage", "V", 600.0, Range::Positive, "Varistor: voltage at the clamping current";
    with "clamping-current", "A", 300.0, Range::Positive, "Varistor: clamping current";
};

fn clamp(builder: &mut Builder<'_>, high: NodeId, low: NodeId) -> Done {
    let given = [
        ("varistor-voltage", builder.number("clamp-voltage")),
        ("clamping-voltage", builder.number("clamping-voltage")),
        ("clamping-current", builder.number("clamping-current")),
    ];
    builder.add(Role::Clamp, "varistor", "clamp", &[high, low], &given).map(drop)
}

/// Turns a line on and off, throws a switch.
fn sequence(
    builder: &mut Builder<'_>,
    line: &'static str,
    turns: Vec<(f64, bool)>,
    switch: Option<(f64, ChoiceId)>,
) {
    builder.layout.modulators.push(Box::new(move |board: &mut Board<f64>| {
        let id = board.add_line(line);
        let words = |on| if on { "command on" } else { "command off" };
        let mut all: Vec<ScheduledEvent> = turns
            .into_iter()
            .map(|(at, on)| ScheduledEvent {
                at,
                subject: line.into(),
                note: words(on).into(),
                deed: Deed::Set(id, on),
            })
            .collect();
        let fault =
            |at, deed| ScheduledEvent { at, subject: "fault".into(), note: "short circuit".into(), deed };
        if let Some((at, choice)) = switch {
            all.extend([fault(at, Deed::Choose(choice, 1)), fault(at, Deed::Fault(true))]);
        }
        Sequence::new("sequence", all).map(|s| Box::new(s) as Box<dyn Controller<f64>>)
    }));
}

pub(super) const BREAKER: Arrangement = Arrangement {
    kind: "bidirectional-breaker",
    help: "Two switches with common source in a line, a varistor over both; a fault, an overcurrent trip",
    params: &join::<15, 10, 25>(
        COMMON,
        join::<3, 7, 10>(
            CLAMP,
            params! {
                with "line-inductance", "H", 40e-6, Range::Positive, "Inductance of the line behind the breaker";
                with "line-resistance", "ohm", 4e-3, Range::NotNegative, "Its resistance";
                with "load-resistance", "ohm", 10.0, Range::Positive, "Load";
                with "fault-resistance", "ohm", 3e-3, Range::Positive, "Short circuit over the load";
                with "fault-at", "s", 100e-6, Range::NotNegative, "When it happens";
                with "trip-current", "A", 200.0, Range::Positive, "Current, either way, that trips";
                with "trip-delay", "s", 500e-9, Range::NotNegative, "From there to the turn-off";
            },
        ),
    ),
    places: &["forward", "reverse"],
    source: "clamping E = (L·I²/2)·Vc/(Vc − V)",
    build: breaker,
};

fn breaker(builder: &mut Builder<'_>) -> Done {
    let bus = builder.supply("supply", "bus")?;
    let [source, out, load] = ["source", "out", "load"].map(|n| builder.circuit.node(n));
    for (name, drain) in [("forward", bus), ("reverse", out)] {
        let gate = builder.add_switch(name, [drain, source])?;
        builder.driven("close", name, gate, None, 0.0)?;
    }
    // The common source must not float while both block.
    builder.add(Role::Passive, "resistor", "bleeder", &[source, GROUND], &[("resistance", 1e6)])?;
    clamp(builder, bus, out)?;
    let given = [
        ("inductance", builder.number("line-inductance")),
        ("series-resistance", builder.number("line-resistance")),
    ];
    let line = builder.add(Role::Passive, "inductor", "line", &[out, load], &given)?;
    let r = [("resistance", builder.number("load-resistance"))];
    builder.add(Role::Load, "resistor", "load", &[load, GROUND], &r)?;
    let on = [("on-resistance", builder.number("fault-resistance"))];
    let fault = builder.add(Role::Load, "switch", "fault", &[load, GROUND], &on)?;
    let choice = fault.choices.first().map(|c| (builder.number("fault-at"), c.1));
    sequence(builder, "close", vec![(0.0, true)], choice);
    let current = line.quantities.iter().find(|q| q.0 == "current").map(|q| q.2.clone());
    let probe = current.unwrap_or(Probe::Sum(Vec::new()));
    let (threshold, delay) = (builder.number("trip-current"), builder.number("trip-delay"));
    builder.layout.modulators.push(Box::new(move |board: &mut Board<f64>| {
        let let_through = Some(LetThrough { probe: probe.clone(), from: threshold, fraction: CLEARED });
        let level = Level { probe, sense: Sense::Magnitude, threshold, blanking: None, filter: 0.0 };
        let settings = Settings {
            criteria: vec![Criterion::Level(level)],
            delay,
            trip: board.add_line(TRIP),
            retry: Retry { number: 0, wait: 1.0, healthy: f64::INFINITY },
            reset: None,
            let_through,
        };
        Protection::new("overcurrent", settings).map(|g| Box::new(g) as Box<dyn Controller<f64>>)
    }));
    Ok(())
}

pub(super) const PRECHARGE: Arrangement = Arrangement {
    kind: "capacitor-precharge",
    help: "A switch charges a bank through a choke in pulses between two currents, then stays on",
    params: &join::<15, 6, 21>(
        COMMON,
        params! {
            with "choke", "H", 40e-6, Range::Positive, "Inductance of the choke";
            with "choke-resistance", "ohm", 4e-3, Range::NotNegative, "Its resistance";
            with "capacitance", "F", 100e-6, Range::Positive, "The bank";
            with "lower-current", "A", 10.0, Range::NotNegative, "Turns on below";
            with "upper-current", "A", 40.0, Range::Positive, "Turns off above";
            with "done-at", "1", 0.98, Range::Between(0.0, 1.0), "Share of the supply at which it stays on";
        },
    ),
    places: &["switch", "freewheel"],
    source: "a bank takes C·V²/2 from what the supply gives",
    build: precharge,
};

fn precharge(builder: &mut Builder<'_>) -> Done {
    let bus = builder.supply("supply", "bus")?;
    let [mid, out] = ["mid", "out"].map(|n| builder.circuit.node(n));
    let gate = builder.add_switch("switch", [bus, mid])?;
    builder.driven("close", "switch", gate, None, 0.0)?;
    // A diode, or a switch whose gate stays off.
    let idle = builder.add_switch("freewheel", [mid, GROUND])?;
    if idle.is_some() {
        builder.driven("never", "freewheel", idle, None, 0.0)?;
    }
    let given =
        [("inductance", builder.number("choke")), ("series-resistance", builder.number("choke-resistance"))];
    let choke = builder.add(Role::Passive, "inductor", "choke", &[mid, out], &given)?;
    let bank = [("capacitance", builder.number("capacitance")), ("initial-voltage", 0.0)];
    builder.add(Role::Load, "capacitor", "bank", &[out, GROUND], &bank)?;
    builder.add(Role::Load, "resistor", "bleeder", &[out, GROUND], &[("resistance", 100e3)])?;
    let current = choke.quantities.iter().find(|q| q.0 == "current").map(|q| q.2.clone());
    let probe = current.unwrap_or(Probe::Sum(Vec::new()));
    let until = builder.number("done-at") * builder.number("supply-voltage");
    let (lower, upper) = (builder.number("lower-current"), builder.number("upper-current"));
    builder.layout.modulators.push(Box::new(move |board: &mut Board<f64>| {
        let settings = hysteretic::Settings {
            probe,
            lower,
            upper,
            command: board.add_line("close"),
            run: None,
            min_on: 0.0,
            min_off: 0.0,
            delay: 0.0,
            until: Some((Probe::Voltage(out, GROUND), until)),
        };
        Hysteretic::new("precharge", settings).map(|h| Box::new(h) as Box<dyn Controller<f64>>)
    }));
    Ok(())
}

pub(super) const BREAK: Arrangement = Arrangement {
    kind: "inductive-load-break",
    help: "A switch opens the current of a coil; a varistor over it takes the coil's energy",
    params: &join::<15, 7, 22>(
        COMMON,
        join::<3, 4, 7>(
            CLAMP,
            params! {
                with "load-inductance", "H", 200e-6, Range::Positive, "Inductance of the load";
                with "load-resistance", "ohm", 10.0, Range::Positive, "Its resistance";
                with "load-current", "A", 40.0, Range::NotNegative, "Current at the start";
                with "open-at", "s", 5e-6, Range::NotNegative, "When the switch opens";
            },
        ),
    ),
    places: &["switch"],
    source: "E = (L·I²/2)·Vc/(Vc − V) at constant clamping voltage (derived)",
    build: inductive_break,
};

fn inductive_break(builder: &mut Builder<'_>) -> Done {
    let bus = builder.supply("supply", "bus")?;
    let mid = builder.circuit.node("mid");
    let given = [
        ("inductance", builder.number("load-inductance")),
        ("series-resistance", builder.number("load-resistance")),
        ("initial-current", builder.number("load-current")),
    ];
    builder.add(Role::Load, "inductor", "load", &[bus, mid], &given)?;
    let mut gate = builder.add_switch("switch", [mid, GROUND])?;
    clamp(builder, mid, GROUND)?;
    // Closed from the start, as the load's current is there.
    if let Some(gate) = &mut gate {
        gate.starts_on = true;
        builder.circuit.choices[gate.choice.0 as usize].initial = 0;
        builder.circuit.waves[gate.wave.0 as usize] = joulestep_engine::circuit::wave::Wave::Driven(gate.on);
    }
    builder.driven("close", "switch", gate, None, 0.0)?;
    let open = builder.number("open-at");
    sequence(builder, "close", vec![(0.0, true), (open, false)], None);
    Ok(())
}
