//! Conduction losses of sine-modulated switches, switch currents of converters, and facts of the trade about hard
//! switching and dead time.

use std::collections::BTreeMap;
use std::f64::consts::{PI, TAU};

use joulestep_engine::circuit::graph::{Circuit, GROUND, NodeId};
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::control::carrier::{self, Carrier};
use joulestep_engine::control::centred::Lines;
use joulestep_engine::control::drive::{Delays, Drive};
use joulestep_engine::cycle::steady::Effort;
use joulestep_engine::cycle::{segments, stretch};
use joulestep_engine::run::setup::{Piecewise, Setup, Start};
use joulestep_models::arrangement::builder::CircuitLayout;
use joulestep_models::arrangement::cycle::{Cycle, Search, solve};
use joulestep_models::arrangement::dead_time::{Kind, LegUnderTest, Load, estimate, point};
use joulestep_models::arrangement::find;
use joulestep_models::capacitances::output_charge;
use joulestep_models::lookup;
use joulestep_models::model::{Value, Values};
use joulestep_models::part::Part;

use super::converters::near;
use crate::common::catalogued::shipped;
use crate::common::rig::gate;

fn prepared(
    kind: &str,
    given: &[(&str, f64)],
    parts: &BTreeMap<String, Part>,
) -> (CircuitLayout, Setup<f64>) {
    let arrangement = find(kind).unwrap();
    let values = arrangement.values(given).unwrap();
    let mut circuit = Circuit::new();
    let mut layout = arrangement.build(&mut circuit, &values, parts).unwrap();
    let setup = layout.setup(circuit).unwrap();
    (layout, setup)
}

fn periodic(kind: &str, given: &[(&str, f64)], parts: &BTreeMap<String, Part>, effort: Effort) -> Cycle {
    let (layout, setup) = prepared(kind, given, parts);
    solve(&layout, setup, &Search::plain(effort)).unwrap()
}

/// Switches of a threshold and a resistance under sine modulation with a sine current lagging by φ: each switch
/// P = V_t·I(1/(2π) + m·cosφ/8) + r·I²(1/8 + m·cosφ/(3π)), each diode against it the same with minus (Casanellas 1994,
/// IEE Proc. Electr. Power Appl. 141, 275; Mohan, Undeland & Robbins; from memory). Here the formulas are about
/// continuous duty; 400 pulses a turn leave 1e-4.
#[test]
fn conduction_losses_under_sine_modulation() {
    let (half, f, carrier_frequency) = (200.0, 50.0, 20e3);
    for (m, lag, peak, [vt, r], [vd, rd]) in
        [(0.9, 0.4, 30.0, [0.9, 12e-3], [1.1, 8e-3]), (0.5, -1.2, 12.0, [0.6, 30e-3], [0.7, 40e-3])]
    {
        let mut c = Circuit::new();
        let [plus, minus, out] = ["plus", "minus", "out"].map(|n| c.node(n));
        for (name, node, volts) in [("upper-half", plus, half), ("lower-half", minus, -half)] {
            let wave = c.wave(Wave::Constant(volts));
            c.voltage_source(name, node, GROUND, wave).unwrap();
        }
        let diode = |c: &mut Circuit<f64>, name: &str, pins: [NodeId; 2], threshold: f64, ohm: f64| {
            let entry = lookup::find("ideal-diode").unwrap();
            let mut values = Values::with_defaults(entry.params);
            for (key, x) in [("forward-voltage", threshold), ("on-resistance", ohm), ("off-resistance", 1e9)]
            {
                values.0.insert(key, Value::Number(x));
            }
            (entry.build)(c, name, &pins, &values).unwrap();
        };
        let mut gates = Vec::new();
        for (name, high, low) in [("upper", plus, out), ("lower", out, minus)] {
            let inner = c.node(&format!("{name}-inner"));
            let choice = c.choice(vec![1e5, 1e-9, 1e-9], 1);
            c.chosen_resistor(name, "switch", high, inner, choice).unwrap();
            diode(&mut c, &format!("{name}-forward"), [inner, low], vt, r);
            diode(&mut c, &format!("{name}-against"), [low, high], vd, rd);
            let wave = c.wave(Wave::Driven(0.0));
            gates.push(gate(name, wave, choice));
        }
        let load = Wave::Sine { offset: 0.0, amplitude: peak, frequency: f, phase: -lag, delay: 0.0 };
        let load = c.wave(load);
        c.current_source("load", out, GROUND, load).unwrap();
        let mut setup = Setup::new(c);
        setup.start = Start::Stated;
        setup.steps.base = 5e-6;
        let command = setup.board.add_line("command");
        let settings = carrier::Settings {
            lines: Lines { command, complement: None },
            run: None,
            frequency: carrier_frequency,
            mean: 0.5,
            amplitude: 0.5 * m,
            fundamental: f,
            phase: 0.0,
            folded: false,
        };
        setup.controllers.push(Box::new(Carrier::new("carrier", settings).unwrap()));
        let second = gates.pop().unwrap();
        let drive =
            Drive::new("drive", command, Vec::new(), Delays::default(), gates.pop().unwrap()).unwrap();
        setup.controllers.push(Box::new(drive.complemented(second).unwrap()));
        let mut run = setup.ready().unwrap();
        assert!(run.stepper().pieces().is_some());
        run.advance(1.0 / f, &mut ()).unwrap();
        let ledger = run.ledger();
        let heat = |name: &str| ledger.entries.iter().find(|e| e.name == name).unwrap().dissipated * f;
        let share = |v: f64, r: f64, sign: f64| {
            let x = sign * m * f64::cos(lag);
            v * peak * (1.0 / TAU + x / 8.0) + r * peak * peak * (1.0 / 8.0 + x / (3.0 * PI))
        };
        for side in ["upper", "lower"] {
            near(heat(&format!("{side}-forward")), share(vt, r, 1.0), 1e-3, "switch");
            near(heat(&format!("{side}-against")), share(vd, rd, -1.0), 1e-3, "diode");
        }
        assert!(ledger.relative() < 1e-9, "{}", ledger.relative());
    }
}

/// Switches that conduct both ways (cascodes, ideal ones): r·Î²/4 each, whatever modulation and lag, because the terms
/// in m of switch and diode cancel; Î from m·V/2 over |R + jωL| (the same sources).
#[test]
fn synchronous_conduction_under_sine_modulation() {
    let (v, m, r, l, f, on) = (400.0, 0.8, 6.0, 20e-3, 50.0, 5e-3);
    // The ideal diodes' 0.2 V are above what the switches drop, so that they never conduct.
    let given = [
        ("loop-inductance", 0.0),
        ("loop-resistance", 0.0),
        ("dead-time", 0.0),
        ("switch-resistance", on),
        ("modulation", m),
        ("load-resistance", r),
        ("load-inductance", l),
        ("frequency", 20e3),
        ("fundamental-frequency", f),
    ];
    let found = periodic("three-phase-inverter", &given, &BTreeMap::new(), Effort::default());
    let peak = m * v / 2.0 / f64::hypot(r + on, TAU * f * l);
    for s in &found.account.switches {
        near(s.conduction / found.period, on * peak * peak / 4.0, 2e-3, "conduction");
    }
    near(found.account.output / found.period, 1.5 * r * peak * peak, 2e-3, "output");
    assert!(found.account.residual.abs() < 1e-9 && found.steady.closing < 1e-5, "{:?}", found.steady);
}

/// The steady state found by shooting and the one that hundreds of periods run into have the same losses.
#[test]
fn shooting_and_running_to_it_lose_the_same() {
    let parts = BTreeMap::from([(String::new(), shipped("cascode-700v-22m"))]);
    let given = [
        ("gate-resistance", 8.0),
        ("choke", 20e-6),
        ("snubber-capacitance", 100e-12),
        ("snubber-resistance", 10.0),
    ];
    let shot = periodic("half-bridge", &given, &parts, Effort::default());
    // 400 µs of time constant: 400 periods leave e⁻¹⁰ of the start.
    let patience = Effort { warm_up: 400, closing: 1e-3, distance: f64::INFINITY, most: 500 };
    let ran = periodic("half-bridge", &given, &parts, patience);
    assert_eq!(ran.steady.periods, 402, "it must not have searched");
    near(shot.account.losses(), ran.account.losses(), 1e-3, "losses");
    for (a, b) in shot.account.switches.iter().zip(&ran.account.switches) {
        near(a.own(), b.own(), 2e-3, &a.name);
    }
    assert!(shot.steady.periods < 60);
}

fn leg(part: &str, more: &[(&'static str, f64)]) -> LegUnderTest {
    let given = [&[("gate-resistance", 8.0)][..], more].concat();
    LegUnderTest { parts: BTreeMap::from([(String::new(), shipped(part))]), given }
}

/// Hard switching loses no less than E_oss of the switch that turns on, and a leg without load no less than Q_oss·V for
/// its two transitions (common practice, no source).
#[test]
fn hard_switching_loses_at_least_what_the_output_holds() {
    for name in ["cascode-700v-22m", "mosfet-sic-700v-12m", "mosfet-sj-620v-49m"] {
        let part = shipped(name);
        let held = output_charge(part.entry(), &part.values, &[400.0], 25.0).unwrap()[0];
        let p =
            point(&leg(name, &[]), 120e-9, Load::Constant(0.0), Some((held.charge, held.charge))).unwrap();
        assert_eq!(p.kinds(), (Kind::Hard, Kind::Hard));
        assert!(p.turn_on + p.capacitive > 2.0 * held.energy, "{name}: {p:?}");
        assert!(p.losses > held.charge * 400.0, "{name}: {p:?}, Q·V {}", held.charge * 400.0);
        // What charges account for is no more than all the charge and energy there is.
        assert!(p.capacitive < 2.2 * held.half_bridge_loss(), "{name}: {p:?}");
    }
}

/// Cascodes switch softly with a short dead time because their time-related output capacitance is small: against a
/// superjunction part at the same current (common practice, no source).
#[test]
fn soft_switched_cascodes_need_little_dead_time() {
    let (amperes, volts) = (4.0, 400.0);
    let [cascode, other] = ["cascode-700v-22m", "mosfet-sj-620v-49m"].map(|name| {
        let leg = leg(name, &[]);
        (estimate(&leg, volts, 25.0).unwrap().unwrap(), leg)
    });
    let (q, more) = (cascode.0.0, other.0.0);
    assert!(q < 0.5 * more, "charges {q} and {more}");
    // Between the two estimates, with the time that gates take: one is soft, the other not yet.
    let dead = 2.0 * q / amperes + 40e-9;
    let load = Load::Constant(amperes);
    let soft = point(&cascode.1, dead, load, Some(cascode.0)).unwrap();
    let not = point(&other.1, dead, load, Some(other.0)).unwrap();
    assert_eq!((soft.kinds().0, not.kinds().0 == Kind::Soft), (Kind::Soft, false), "{soft:?} {not:?}");
}

/// The lower drop of the integral diode is what saves in dead time: a cascode (body diode of 30 V and a JFET channel)
/// against a SiC MOSFET of the same resistance (common practice, no source).
#[test]
fn the_integral_diode_of_a_cascode_saves_in_dead_time() {
    let [cascode, other] = ["cascode-700v-22m", "mosfet-sic-700v-12m"].map(|name| {
        let [short, long] = [200e-9, 400e-9]
            .map(|dead| point(&leg(name, &[]), dead, Load::Constant(20.0), None).unwrap().diode);
        // Two dead times a period, of which one is partly taken by the node's swing: what 200 ns more cost, over I·t.
        (long - short) / (20.0 * 2.0 * 200e-9)
    });
    println!("drops: cascode {cascode:.2} V, SiC MOSFET {other:.2} V");
    assert!((0.6..1.6).contains(&cascode) && other > 2.0 * cascode);
}

/// A period cut into segments that are solved side by side: the currents of a sine-modulated inverter from the closed
/// form above, and the same bits whether segments lie in lanes or go one after the other. Its switches are stepped by the
/// method, not by pieces, so that there is something to cut.
#[test]
fn segments_of_a_period_side_by_side() {
    let (v, m, r, l, f, on) = (400.0, 0.8, 6.0, 20e-3, 500.0, 5e-3);
    let given = [
        ("loop-inductance", 0.0),
        ("loop-resistance", 0.0),
        ("dead-time", 0.0),
        ("switch-resistance", on),
        ("modulation", m),
        ("load-resistance", r),
        ("load-inductance", l),
        ("frequency", 200e3),
        ("fundamental-frequency", f),
    ];
    let found = |side_by_side: segments::Solve<'_>| {
        let (layout, mut setup) = prepared("three-phase-inverter", &given, &BTreeMap::new());
        setup.piecewise = Piecewise::Never;
        let search = Search { solve: side_by_side, ..Search::plain(Effort::default()) };
        solve(&layout, setup, &search).unwrap()
    };
    let abreast = found(&stretch::solve);
    let alone = found(&|all| all.into_iter().flat_map(|one| stretch::solve(vec![one])).collect());
    assert!(abreast.borders.is_some(), "it was not cut");
    assert_eq!(abreast.steady, alone.steady);
    // As printed: to the last bit, and what is not a number is equal to itself.
    assert!(format!("{:?}", abreast.account) == format!("{:?}", alone.account), "the accounts differ");
    assert_eq!((&abreast.ledger, &abreast.seen), (&alone.ledger, &alone.seen));
    assert_eq!((abreast.counters, &abreast.electrical), (alone.counters, &alone.electrical));
    println!("{:?}", abreast.steady);
    // 20 ms/6 of time constant: running to rest takes ten periods. Carrier periods alone lead near the borders, from where
    // Newton's method needs one correction.
    let steady = &abreast.steady;
    assert!(steady.closing <= 1e-5 && steady.periods <= 3 && steady.history[0] < 1e-3, "{steady:?}");
    let peak = m * v / 2.0 / f64::hypot(r + on, TAU * f * l);
    for s in &abreast.account.switches {
        near(s.conduction / abreast.period, on * peak * peak / 4.0, 2e-3, "conduction");
    }
    near(abreast.account.output / abreast.period, 1.5 * r * peak * peak, 2e-3, "output");
    assert!(abreast.account.residual.abs() < 1e-4, "{}", abreast.account.residual);
}
