//! A half-bridge leg: volt-seconds and diode loss of the dead time, charge-based losses, soft switching, the account.

use std::collections::BTreeMap;

use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::cycle::steady::Effort;
use joulestep_models::arrangement::dead_time::{Kind, LegUnderTest, Load, account, estimate, point};
use joulestep_models::arrangement::find;
use joulestep_models::lookup;
use joulestep_models::model::{Value, Values};

use super::converters::near;
use crate::common::catalogued::shipped;

fn ideal(more: &[(&'static str, f64)]) -> LegUnderTest {
    let given = [&[("loop-inductance", 0.0), ("loop-resistance", 0.0)][..], more].concat();
    LegUnderTest { parts: BTreeMap::new(), given }
}

/// The diode against an ideal switch: 0.2 V and 0.1 mohm.
fn drop_at(current: f64) -> f64 {
    0.2 + 1e-4 * current
}

/// Mean voltage of a leg by the sum over its intervals (Mohan, Undeland & Robbins, sec. 8-5; from memory), and
/// P = v_d·I·2·t_d·f of its diodes. The leg's energy is its mean voltage times the current.
#[test]
fn volt_seconds_and_diode_loss_of_the_dead_time() {
    let (v, d, f, td, i, r) = (400.0, 0.5, 100e3, 200e-9, 10.0, 5e-3);
    let leg = ideal(&[
        ("supply-voltage", v),
        ("duty", d),
        ("frequency", f),
        ("switch-resistance", r),
        ("gate-edge", 1e-9),
    ]);
    let p = point(&leg, td, Load::Constant(i), None).expect("a point");
    let vd = drop_at(i);
    let lost = f * td;
    // With drops of 0.5 V and 1.6 V the same sum is 191.456 V (computed independently).
    let mean = |on: f64, vd: f64| (v - on) * (d - lost) - on * (1.0 - d - lost) - 2.0 * vd * lost;
    near(mean(0.5, 1.6), 191.456, 1e-9, "mean with drops");
    near(p.diode * f, vd * i * 2.0 * td * f, 1e-3, "loss of the diodes");
    let conduction = i * i * r * (1.0 - 2.0 * lost);
    near(p.conduction * f, conduction, 1e-3, "conduction");
    // Out of what goes in: V·I·(D − t_d·f); the rest is lost.
    let input = v * i * (d - lost);
    near(p.efficiency, mean(i * r, vd) * i / input, 1e-5, "efficiency");
    assert!(p.residual.abs() < 1e-4, "{}", p.residual);
}

/// Two equal nonlinear output capacitances, hard switching without load: Q·V per transition (charge-based;
/// definitions of IEC 60747-8 and JESD24, from memory).
#[test]
fn capacitive_loss_of_hard_switching() {
    let (v, charge_times_v) = (400.0, 3.19519960297764e-05);
    let half_bridge = find("half-bridge").unwrap();
    let given = [
        ("loop-inductance", 0.0),
        ("loop-resistance", 0.0),
        ("switch-resistance", 10.0),
        ("load-current", 0.0),
        ("supply-voltage", v),
        ("dead-time", 100e-9),
    ];
    let values = half_bridge.values(&given).unwrap();
    let mut circuit = Circuit::new();
    let mut layout = half_bridge.build(&mut circuit, &values, &BTreeMap::new()).unwrap();
    let (bus, mid) = (circuit.node("bus"), circuit.node("mid"));
    let entry = lookup::find("nonlinear-capacitor").unwrap();
    for (name, pins) in [("c-upper", [bus, mid]), ("c-lower", [mid, GROUND])] {
        let mut c = Values::with_defaults(entry.params);
        for (key, x) in LAW {
            c.0.insert(key, Value::Number(x));
        }
        let built = (entry.build)(&mut circuit, name, &pins, &c).unwrap();
        let place = layout.places.iter_mut().find(|p| name == format!("c-{}", p.name)).unwrap();
        place.own.extend(built.components.iter().map(|c| c.0 as usize));
    }
    let a = account(layout, circuit, Effort::default()).unwrap();
    near(a.losses(), 2.0 * charge_times_v, 2e-3, "loss per period");
    // Without a load all of it is capacitive: of each turn-on, E of the one and Q·V − E of the other.
    for s in &a.switches {
        near(s.capacitive, charge_times_v, 1e-2, "capacitive loss of a turn-on");
        near(s.capacitive + s.turn_on, charge_times_v, 5e-3, "loss of a turn-on");
    }
}

/// C = C0 + Cj0/(1 + v/Vj)^m.
const LAW: [(&str, f64); 4] = [
    ("capacitance", 1.2e-9),
    ("built-in-voltage", 2.8),
    ("depletion-exponent", 0.5),
    ("constant-capacitance", 1.5e-11),
];

/// Charge balance on constant capacitances: the node of two capacitances C swings V in 2·C·V/I. Shorter dead times
/// turn on against V − I·t/(2·C) (common practice, no source).
#[test]
fn soft_switching_by_charge_balance() {
    let (v, i, c, r) = (400.0, 8.0, 500e-12, 3.0);
    let whole = 2.0 * c * v / i;
    let leg = ideal(&[
        ("supply-voltage", v),
        ("snubber-capacitance", c),
        ("snubber-resistance", 0.1),
        // Slow enough for what is left of the charge to be dissipated in many steps.
        ("switch-resistance", r),
        ("gate-edge", 1e-10),
    ]);
    for (share, kind) in [(0.4, Kind::Partial), (0.7, Kind::Partial), (1.1, Kind::Soft)] {
        let p = point(&leg, share * whole, Load::Constant(i), None).unwrap();
        assert_eq!(p.kinds(), (kind, Kind::Hard), "{p:?}");
        if share < 1.0 {
            let expected = v - i * r - i * share * whole / (2.0 * c);
            near(p.turned_on_at().0, expected, 5e-3, "node voltage at turn-on");
        }
        assert!(p.residual.abs() < 1e-4, "{p:?}");
    }
}

/// A leg of cascodes: the account sums to the ledger, losses have a least at some dead time, and charge balance tells
/// from where on the lower switch turns on softly, but for the time that gates take.
#[test]
fn cascodes_in_a_leg() {
    let leg = LegUnderTest {
        parts: BTreeMap::from([(String::new(), shipped("cascode-700v-22m"))]),
        given: vec![("gate-resistance", 8.0), ("frequency", 200e3), ("snubber-capacitance", 100e-12)],
    };
    let charges = estimate(&leg, 400.0, 25.0).unwrap();
    let (q, _) = charges.expect("a part has an output charge");
    assert!((20e-9..2e-6).contains(&q), "{q}");
    for dead in [40e-9, 300e-9] {
        let p = point(&leg, dead, Load::Constant(20.0), charges).unwrap();
        println!("{p:?} estimate {}", 2.0 * q / 20.0);
        assert!(p.residual.abs() < 1e-4, "{p:?}");
        assert_eq!(p.kinds().1, Kind::Hard);
        assert!(p.turn_on > 0.0 && p.turn_off >= 0.0 && p.diode > 0.0);
        // The dies' gates take some tens of nanoseconds to turn off before the load current can move the node.
        if dead > 100e-9 + 2.5 * (2.0 * q / 20.0) {
            assert_eq!(p.kinds().0, Kind::Soft, "{p:?}");
        }
        // Output charge in it, and recovery of the body diode.
        assert!(p.commutation.0 > 0.8 * q, "{p:?}");
    }
}

/// The same by symmetry: a current into the leg is one out of it with upper and lower switch, and the poles of the
/// supply, exchanged.
#[test]
fn a_current_into_the_leg_is_the_mirror_of_one_out_of_it() {
    let leg =
        ideal(&[("snubber-capacitance", 500e-12), ("snubber-resistance", 0.1), ("switch-resistance", 3.0)]);
    let [out, into] = [8.0, -8.0].map(|i| point(&leg, 35e-9, Load::Constant(i), None).unwrap());
    assert_eq!((out.kinds().0, out.kinds().1), (into.kinds().1, into.kinds().0));
    assert_eq!((into.soft.unwrap().voltage, into.kind()), (into.turned_on_at().1, Kind::Partial));
    near(into.soft.unwrap().voltage, out.soft.unwrap().voltage, 2e-3, "voltage of the soft switch");
    near(into.losses, out.losses, 2e-3, "losses");
}

/// Half a period of the same leg by closed pieces, the lower switch off from t = 0 on at −I: the node swings up in
/// L and 2·C about V/2, stays at V and the diode's drop while the current falls to zero, swings back until the upper
/// turns on, and the current rises until the half period ends. Voltage over the upper when it turns on, and the current
/// at the end.
fn half_a_period(v: f64, half: f64, l: f64, c: f64, dead: f64, current: f64) -> (f64, f64) {
    let omega = (l * 2.0 * c).sqrt().recip();
    let z = omega * l;
    let (middle, drop) = (0.5 * v, drop_at(0.0));
    let node = |t: f64| middle * (1.0 - (omega * t).cos()) + current * z * (omega * t).sin();
    let up = bisected(0.0, 1.0 / omega, |t| node(t) < v + drop);
    let left = middle / z * (omega * up).sin() + current * (omega * up).cos();
    let back = omega * (dead - up - left * l / (middle + drop));
    let end = (middle + drop) / z * back.sin() + (half - dead) * middle / l;
    (middle - (middle + drop) * back.cos(), end)
}

/// Where a condition that holds below ends.
fn bisected(mut low: f64, mut high: f64, holds: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        if holds(middle) { low = middle } else { high = middle }
    }
    low
}

/// A triangle of current from −Î to Î, Î = V·D·(1 − D)/(2·f·L), by volt-seconds: after (1 − D)/(2·f) of dead time, and
/// half of what the node's swing takes, it is zero and takes the node back (Kirchhoff's laws, solved above).
#[test]
fn the_upper_bound_of_soft_switching() {
    let (v, d, f, l, c) = (400.0, 0.5, 100e3, 50e-6, 500e-12);
    let leg = ideal(&[
        ("snubber-capacitance", c),
        ("snubber-resistance", 0.01),
        ("switch-resistance", 1e-3),
        ("choke-resistance", 0.0),
        ("gate-edge", 1e-9),
    ]);
    let bound = (1.0 - d) / (2.0 * f);
    let at = |dead: f64| point(&leg, dead, Load::Reversing(l), None).unwrap();
    let early = at(0.3e-6);
    near(early.current, v * d * (1.0 - d) / (2.0 * f * l), 1e-12, "peak");
    assert_eq!(early.kinds(), (Kind::Soft, Kind::Soft), "{early:?}");
    assert_eq!(at(0.95 * bound).kinds(), (Kind::Soft, Kind::Soft));
    let dead = 1.1 * bound;
    let one = |current: f64| half_a_period(v, 0.5 / f, l, c, dead, current);
    let current = bisected(1.0, 30.0, |i| one(i).1 > i);
    let late = at(dead);
    assert_eq!(late.kinds(), (Kind::Partial, Kind::Partial), "{late:?}");
    near(late.soft.unwrap().voltage, one(current).0, 5e-3, "voltage after the swing back");
}
