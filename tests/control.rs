//! Drives and protections in a real run, against the closed forms of the circuits they act on.

use joulestep_engine::circuit::graph::{Circuit, GROUND, LineId};
use joulestep_engine::circuit::probe::{Channel, Probe};
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::control::crossing::Sense;
use joulestep_engine::control::detect::{Blanking, Criterion, Level};
use joulestep_engine::control::drive::{Delays, Drive, Gate, Output};
use joulestep_engine::control::protection::{Protection, Retry, Settings};
use joulestep_engine::control::sequence::{Deed, ScheduledEvent, Sequence};
use joulestep_engine::recorder::{Action, EventKind, InMemory};
use joulestep_engine::run::setup::{Setup, Start};
use joulestep_engine::step::bounds::Bounds;
use joulestep_engine::step::schedule::Steps;

fn event(at: f64, line: LineId, value: bool) -> ScheduledEvent {
    ScheduledEvent { at, subject: String::new(), note: String::new(), deed: Deed::Set(line, value) }
}

/// A fault of V behind R and L with I₀ at its start (derived from the R-L circuit): turn-off at
/// max(t_cross, t_blank) + t_delay. The circuit is real here, and the protection sees only its step boundaries.
#[test]
fn a_protection_trips_at_the_closed_form_fault_current() {
    // V, R, L, I₀, t_blank, t_delay, threshold; t_cross, i_off.
    let cases = [
        [400.0, 0.05, 2e-6, 30.0, 5e-7, 3e-7, 120.0, 4.54263557293437e-07, 187.81657374516],
        [48.0, 0.01, 5e-7, 10.0, 2e-6, 2e-7, 80.0, 7.36080591267993e-07, 216.190543704106],
    ];
    for [v, r, l, i0, blank, delay, threshold, t_cross, i_off] in cases {
        let mut circuit = Circuit::<f64>::new();
        let bus = circuit.node("bus");
        let wave = circuit.wave(Wave::Constant(v));
        circuit.voltage_source("bus", bus, GROUND, wave).unwrap();
        let fault = circuit.inductor("fault", bus, GROUND, l, r, Some(i0)).unwrap();
        let mut setup = Setup::new(circuit);
        setup.start = Start::Stated;
        // The start takes two steps of a thousandth of the finest one that count for no time: 2e-14 s here.
        setup.steps = Steps { base: 1e-8, finest: 10, hold_off: 2 };
        let [on, trip, bare] = ["on", "trip", "bare"].map(|n| setup.board.add_line(n));
        setup.controllers.push(Box::new(Sequence::new("sequence", vec![event(0.0, on, true)]).unwrap()));
        let mut protection = |name: &str, trip: LineId, blanking: Option<Blanking>| {
            let (probe, sense) = (Probe::Branch(fault, 0), Sense::Magnitude);
            let criterion = Criterion::Level(Level { probe, sense, threshold, blanking, filter: 0.0 });
            let (criteria, retry) = (vec![criterion], Retry::NONE);
            let settings = Settings { criteria, delay, trip, retry, reset: None, let_through: None };
            setup.controllers.push(Box::new(Protection::new(name, settings).unwrap()));
        };
        protection("protection", trip, Some(Blanking { line: on, time: blank, only_on: false }));
        protection("bare", bare, None);
        let mut run = setup.ready().unwrap();
        let mut memory = InMemory::default();
        run.advance(3e-6, &mut memory).unwrap();
        let of = |name: &str| {
            let mut trips = memory.events.iter().filter(|e| e.kind == EventKind::Trip);
            trips.find(|e| e.subject == name).unwrap()
        };
        let near = |found: f64, expected: f64| {
            println!("found {found:e}, expected {expected:e}, relative {:e}", found / expected - 1.0);
            assert!((found / expected - 1.0).abs() < 1e-6, "found {found}, expected {expected}");
        };
        near(of("protection").value, i_off);
        near(of("protection").time, blank + delay);
        near(of("bare").time - delay, t_cross);
    }
}

/// A capacitor charged through the gate resistor by a ramp: (V/T)(t − τ(1 − e^{−t/τ})) while it lasts, exponential
/// afterwards; τ = r_on·C, and r_soft·C after a trip (textbook R-C response to a ramp, derived).
#[test]
fn a_gate_follows_the_ramp_through_the_resistor_of_the_edge() {
    let (c, level, rise, fall) = (1e-9, 15.0, 20e-9, 10e-9);
    let (r_on, r_off, r_soft) = (10.0, 5.0, 100.0);
    let mut circuit = Circuit::<f64>::new();
    let node = circuit.node("gate");
    circuit.capacitor("C_iss", node, GROUND, c, None).unwrap();
    let output = Output { on: level, off: 0.0, r_on, r_off, r_soft, rise, fall, starts_on: false };
    let gate = Gate::add(&mut circuit, "S1", node, GROUND, output).unwrap();
    let mut setup = Setup::new(circuit);
    setup.steps = Steps { base: 100e-9, finest: 8, hold_off: 2 };
    setup.bounds = Bounds::stated(1e-5, 10e-3);
    let [command, trip] = ["command", "trip"].map(|n| setup.board.add_line(n));
    let events = vec![event(0.33e-6, command, true), event(1.4e-6, trip, true)];
    setup.controllers.push(Box::new(Sequence::new("sequence", events).unwrap()));
    let delays = Delays { on: 150e-9, off: 90e-9, dead: 0.0 };
    setup.controllers.push(Box::new(Drive::new("drive", command, vec![trip], delays, gate).unwrap()));
    let probe = Probe::Voltage(node, GROUND);
    setup.channels = vec![Channel { name: "v_gate".into(), long_name: "gate voltage".into(), probe }];
    let mut run = setup.ready().unwrap();
    let mut memory = InMemory::default();
    run.advance(3e-6, &mut memory).unwrap();
    let edges: Vec<_> = memory.events.iter().filter(|e| e.kind == EventKind::Edge).collect();
    assert!((edges[0].time - 0.48e-6).abs() < 1e-15 && (edges[1].time - 1.49e-6).abs() < 1e-15, "{edges:?}");
    assert_eq!((edges.len(), edges[1].action), (2, Action::TurnsOffSoftly));
    // Response to a unit ramp of a duration, at a time after its start.
    let response = |t: f64, duration: f64, tau: f64| {
        let ramp = |t: f64| if t > 0.0 { (t - tau * (1.0 - (-t / tau).exp())) / duration } else { 0.0 };
        ramp(t) - ramp(t - duration)
    };
    let mut worst = 0.0_f64;
    for (t, sample) in memory.time.iter().zip(&memory.samples) {
        let up = response(t - edges[0].time, rise, r_on * c);
        // The gate rests at its level when the soft edge begins: e^{−100} is gone.
        let down = response(t - edges[1].time, fall, r_soft * c);
        worst = worst.max((sample[0] - level * (up - down)).abs());
    }
    println!("worst {worst:e} V in {} samples", memory.time.len());
    assert!(worst < 1e-3, "{worst}");
}
