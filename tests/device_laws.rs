//! Device laws against published formulas and closed forms. The numbers of each check were computed elsewhere, from
//! the source named beside it.

use joulestep_engine::arithmetic::dual::Dual;
use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::circuit::law::{Device, Law};
use joulestep_engine::circuit::lawful::Lawful;
use joulestep_engine::circuit::wave::Wave;
use joulestep_models::charge::Depletion;
use joulestep_models::devices::diode::Diode;
use joulestep_models::devices::mosfet::Mosfet;
use joulestep_models::devices::square_law_jfet::SquareLawJfet;
use joulestep_models::devices::square_law_mosfet::SquareLawMosfet;
use joulestep_models::devices::varistor::Varistor;
use joulestep_models::junction::{Junction, Leakage};
use joulestep_models::table::ChargeTable;

use crate::common::ref1::{Duty, ref1};
use crate::common::rig::near as close;
use crate::common::statics::solve;

fn no_charge() -> Depletion<f64> {
    Depletion::new(0.0, 1.0, 0.5)
}

fn jfet(pinch_off: f64, idss: f64) -> SquareLawJfet<f64> {
    let k = 2.0 * idss / (pinch_off * pinch_off);
    let (drain_gate, source_gate) = (no_charge(), no_charge());
    SquareLawJfet { pinch_off, k, lambda: 0.0, drain_gate, source_gate, cds: 0.0 }
}

fn diode(saturation: f64, ideality: f64) -> Diode<f64> {
    Diode {
        saturation,
        ideality,
        gap: 1.12,
        power: 3.0,
        breakdown: None,
        linear_above: 1e4,
        leakage: 0.0,
        depletion: no_charge(),
    }
}

/// A diode whose saturation current is stated at `kelvin`, not at 25 °C.
fn diode_at(saturation: f64, ideality: f64, kelvin: f64) -> Diode<f64> {
    let there = joulestep_models::junction::saturation_at(kelvin, 1.0, ideality, 1.12, 3.0);
    diode(saturation / there, ideality)
}

/// REF-1's specification: the middle node stands at 6.99901 V before the first edge; its reference solution has
/// 6.999010137 V, and 7.00001013e-6 A through all three inductors.
#[test]
fn ref1_rests_where_its_reference_solution_starts() {
    let r = ref1::<f64>(Duty::DoublePulse).unwrap();
    let s = solve(&r.circuit);
    let [v1, v2, v3, v4, v5, v6, v7] = r.nodes.map(|n| s.v(n));
    assert!((v3 - 6.999010137).abs() < 1e-9, "middle node {v3}");
    for v in [v1, v2, v7] {
        assert!((v - 399.9999999).abs() < 1e-7);
    }
    assert!((v4 - 7.00001013e-9).abs() < 1e-15 && v5 == 0.0 && (v6 - v4).abs() < 1e-15);
    for id in r.inductors {
        assert!((s.branch(id, 0) - 7.00001013e-6).abs() < 1e-13, "{:e}", s.branch(id, 0));
    }
}

/// The 200-edge duty: 100 pulses in 1 ms at half duty. At rest the sources and devices carry the leakage of the MOSFET.
#[test]
fn ref1_as_a_train_of_pulses() {
    let r = ref1::<f64>(Duty::Train(100)).unwrap();
    assert!((r.end - 1e-3).abs() < 1e-12);
    let course = &r.circuit.waves[r.gate.0 as usize];
    let (mut t, mut edges) = (-1.0, Vec::new());
    while let Some(next) = course.next_corner(t) {
        if course.at(next + 5e-9) > 0.0 && course.at(next + 5e-9) < 12.0 {
            edges.push(next);
        }
        t = next;
    }
    assert_eq!(edges.len(), 200);
    assert!((edges[199] - (990e-6 + 5.2e-6)).abs() < 1e-12);
    let s = solve(&r.circuit);
    let [bus, gate] = r.sources.map(|id| s.branch(id, 0));
    close("bus source", -bus, 7.0e-6, 1e-5);
    assert!(gate.abs() < 1e-15);
    let [jfet, mosfet, _] = r.devices.map(|id| s.conduction(&r.circuit, id, 0));
    close("JFET and MOSFET in series", jfet, mosfet, 1e-6);
}

/// Definitions of Q, E, Co(tr), Co(er): IEC 60747-8 and JESD24 (from memory); junction law: Sze & Ng (from
/// memory); the integrals are elementary.
#[test]
fn charge_and_energy_of_an_output_capacitance() {
    for (cj0, vj, m, c0, v, q, e) in [
        (1.2e-9, 2.8, 0.5, 1.5e-11, 400.0, 7.98799900744411e-8, 1.18087560284532e-5),
        (3.5e-9, 0.7, 0.35, 1e-10, 25.0, 3.79406509202931e-8, 4.02372498067004e-7),
    ] {
        let depletion = Depletion::new(cj0, vj, m);
        let at = depletion.charge(Dual::<f64, 1>::variable(v, 0));
        close("Q", at.v + c0 * v, q, 1e-6);
        close("E", depletion.energy(v) + 0.5 * c0 * v * v, e, 1e-6);
        close("C", at.d[0] + c0, c0 + cj0 / (1.0_f64 + v / vj).powf(m), 1e-12);
    }
}

/// The same curve as a table of 25 points keeps charge and energy within 0.2 %.
#[test]
fn a_table_keeps_charge_and_energy() {
    let (cj0, vj, m, v) = (1.2e-9, 2.8, 0.5, 400.0_f64);
    let points: Vec<(f64, f64)> = (0..25)
        .map(|k| vj * ((1.0 + v / vj).powf(k as f64 / 24.0) - 1.0))
        .map(|u| (u, cj0 / (1.0 + u / vj).powf(m)))
        .collect();
    let table = ChargeTable::new(&points).unwrap();
    let depletion = Depletion::new(cj0, vj, m);
    close("Q", table.charge(v), depletion.charge(v), 2e-3);
    close("E", table.energy(v), depletion.energy(v), 2e-3);
    assert_eq!(table.charge(0.0), 0.0);
    // Beyond the table the capacitance is constant, and the charge has no jump in value, slope or curvature.
    let at = |u: f64| table.charge(Dual::<f64, 1>::variable(u, 0));
    close("C beyond", at(600.0).d[0], points[24].1, 1e-12);
    for (u, _) in &points {
        let (a, b) = (at(u - 1e-6), at(u + 1e-6));
        close("slope across a knot", a.d[0], b.d[0], 1e-5);
    }
    assert!(ChargeTable::new(&[(0.0, 1e-9)]).is_err());
    assert!(ChargeTable::new(&[(0.0, 1e-9), (0.0, 1e-9)]).is_err());
    assert!(ChargeTable::new(&[(0.0, 1e-9), (1.0, -1e-9)]).is_err());
}

/// Diode with series resistance, exact by Lambert's W: Corless et al., Adv. Comput. Math. 5 (1996) 329; Banwell &
/// Jayakumar, Electron. Lett. 36 (2000) 291.
#[test]
fn diode_with_series_resistance() {
    for (v, r, is, n, kelvin, i, vd) in [
        (5.0, 10.0, 1e-14, 1.0, 300.0, 0.418912364721144, 0.810876352788559),
        (3.4, 0.02, 1e-18, 1.6, 423.15, 38.4490611164033, 2.63101877767193),
        (0.8, 0.01, 2e-10, 1.3, 350.0, 0.140169233338099, 0.798598307666619),
    ] {
        let mut c = Circuit::new();
        let (plus, inner) = (c.node("plus"), c.node("inner"));
        let wave = c.wave(Wave::Constant(v));
        c.voltage_source("V", plus, GROUND, wave).unwrap();
        c.resistor("R", plus, inner, r).unwrap();
        c.law("D", "diode", &[inner, GROUND], diode_at(is, n, kelvin), kelvin).unwrap();
        let s = solve(&c);
        close("I", (v - s.v(inner)) / r, i, 1e-7);
        close("Vd", s.v(inner), vd, 1e-7);
    }
}

/// MOSFET square law with a resistive load: Shichman & Hodges, IEEE JSSC SC-3 (1968) 285.
#[test]
fn square_law_with_a_resistive_load() {
    for (vdd, rl, vgs, vt, k, lambda, i, vds) in [
        (10.0, 2.0, 4.0, 2.5, 1.5, 0.0, 1.6875, 6.625),
        (10.0, 2.0, 8.0, 2.5, 1.5, 0.0, 4.69872580441254, 0.602548391174928),
        (24.0, 1.0, 10.0, 2.8, 6.0, 0.01, 23.4385809982249, 0.56141900177508),
    ] {
        let mut c = Circuit::new();
        let (supply, drain, gate) = (c.node("supply"), c.node("drain"), c.node("gate"));
        let (a, b) = (c.wave(Wave::Constant(vdd)), c.wave(Wave::Constant(vgs)));
        c.voltage_source("Vdd", supply, GROUND, a).unwrap();
        c.voltage_source("Vg", gate, GROUND, b).unwrap();
        c.resistor("RL", supply, drain, rl).unwrap();
        let law = SquareLawMosfet {
            threshold: vt,
            k,
            lambda,
            body: Junction::new(1e-30, 0.026, 1e3, None),
            leakage: 0.0,
            cgs: 0.0,
            drain_gate: no_charge(),
            drain_source: no_charge(),
        };
        let m = c.law("M", "square-law-mosfet", &[drain, gate, GROUND], law, 300.0).unwrap();
        let s = solve(&c);
        close("Vds", s.v(drain), vds, 1e-6);
        close("Id", s.conduction(&c, m, 0), i, 1e-6);
    }
}

/// JFET biased by its source resistance, and its on-resistance: Shockley, Proc. IRE 40 (1952) 1365, Sedra & Smith
/// (from memory).
#[test]
fn jfet_with_source_resistance() {
    for (idss, vp, rs, i, ron) in [
        (120.0, -8.0, 0.02, 77.8402017205783, 0.0333333333333333),
        (500.0, -12.0, 0.001, 462.223238211354, 0.012),
        (0.012, -4.0, 220.0, 0.00567660602157175, 166.666666666667),
    ] {
        let mut c = Circuit::new();
        let (drain, source) = (c.node("drain"), c.node("source"));
        let wave = c.wave(Wave::Constant(60.0));
        c.voltage_source("V", drain, GROUND, wave).unwrap();
        c.resistor("Rs", source, GROUND, rs).unwrap();
        let j = c.law("J", "square-law-jfet", &[drain, GROUND, source], jfet(vp, idss), 300.0).unwrap();
        let s = solve(&c);
        close("I", s.conduction(&c, j, 0), i, 1e-6);
        let device = Lawful::new(jfet(vp, idss), 300.0);
        let mut out = [0.0; 12];
        device.evaluate(&[0.0, 0.0], &mut out);
        close("Ron", 1.0 / out[4], ron, 1e-6);
    }
}

/// Cascode in its on state, the MOSFET a resistance: square law, the system solved elsewhere (derived).
#[test]
fn cascode_on_state() {
    for (i, idss, vp, rm, vm, vj) in [
        (30.0, 240.0, -7.0, 0.004, 0.12, 0.460545194488865),
        (5.0, 60.0, -10.0, 0.02, 0.1, 0.430223515485349),
    ] {
        let mut c = Circuit::new();
        let (drain, middle) = (c.node("drain"), c.node("middle"));
        let wave = c.wave(Wave::Constant(i));
        c.current_source("I", GROUND, drain, wave).unwrap();
        c.resistor("Rm", middle, GROUND, rm).unwrap();
        c.law("J", "square-law-jfet", &[drain, GROUND, middle], jfet(vp, idss), 300.0).unwrap();
        let s = solve(&c);
        close("Vm", s.v(middle), vm, 1e-7);
        close("Vj", s.v(drain) - s.v(middle), vj, 1e-7);
    }
}

/// Cascode in its off state, the middle node set by the MOSFET's leakage: square law inverted (derived).
#[test]
fn cascode_off_state() {
    for (idss, vp, leak, vm) in [(240.0, -7.0, 1e-6, 6.99954815194294), (60.0, -12.0, 1e-4, 11.9845080666152)]
    {
        let mut c = Circuit::new();
        let (drain, middle) = (c.node("drain"), c.node("middle"));
        let (bus, leakage) = (c.wave(Wave::Constant(400.0)), c.wave(Wave::Constant(leak)));
        c.voltage_source("V", drain, GROUND, bus).unwrap();
        c.current_source("Ileak", middle, GROUND, leakage).unwrap();
        c.law("J", "square-law-jfet", &[drain, GROUND, middle], jfet(vp, idss), 300.0).unwrap();
        close("Vm", solve(&c).v(middle), vm, 1e-9);
    }
}

/// Middle-node overvoltage by charge balance, and what avalanche takes of it: charge conservation (derived); the
/// phenomenon: Pittini et al., APEC 2013, doi 10.1109/APEC.2013.6520465.
#[test]
fn middle_node_overvoltage_by_charge_balance() {
    for (vd, vm0, cds, cgs, cm, m, bv, free, qav) in [
        (400.0, 7.0, 3e-11, 9e-10, 9e-10, 0.45, 28.0, 17.0029964872663, 0.0),
        (800.0, 7.0, 6e-11, 7e-10, 6e-10, 0.45, 28.0, 61.5077367740982, 2.85879843888162e-8),
        (1000.0, 6.0, 9e-11, 5e-10, 4e-10, 0.5, 25.0, 146.786320364535, 7.65893430165449e-8),
    ] {
        // Constant capacitances are depletion charges of exponent 0.
        let die = SquareLawJfet { cds, source_gate: Depletion::new(cgs, 1.0, 0.0), ..jfet(-7.0, 240.0) };
        let coss = Depletion::new(cm, 0.7, m);
        // Charge into the middle node with the gate and the MOSFET's source at 0 V.
        let charge = |vd: f64, vm: f64| {
            let q = SquareLawJfet::flow(&die, [vd - vm, -vm]).q;
            -(q[0] + q[1]) + coss.charge(vm)
        };
        let start = charge(vm0, vm0);
        let (mut low, mut high) = (vm0, vd);
        for _ in 0..200 {
            let mid = 0.5 * (low + high);
            if charge(vd, mid) < start { low = mid } else { high = mid }
        }
        close("Vm without avalanche", low, free, 1e-6);
        if low > bv {
            // The charge that held the node at the breakdown voltage.
            close("Q_av", charge(vd, bv) - start, -qav, 1e-6);
        }
    }
}

/// One-sided junction: Sze & Ng, Physics of Semiconductor Devices, 3rd ed., ch. 2 (from memory).
#[test]
fn depletion_of_a_one_sided_junction() {
    const CHARGE: f64 = 1.602176634e-19;
    const EPS0: f64 = 8.8541878128e-12;
    for (n, eps_r, vbi, v, area, c, q, e) in [
        (1e16, 9.7, 2.8, 400.0, 10.0, 1.3069401506335e-10, 9.65088182709557e-8, 1.38581300105655e-5),
        (2e16, 11.7, 0.8, 25.0, 8.0, 6.41656542333641e-10, 2.72792236749825e-8, 2.61363393910142e-7),
    ] {
        let width = (2.0 * eps_r * EPS0 * vbi / (CHARGE * n * 1e6)).sqrt();
        let depletion = Depletion::new(eps_r * EPS0 * area * 1e-6 / width, vbi, 0.5);
        let at = depletion.charge(Dual::<f64, 1>::variable(v, 0));
        close("C", at.d[0], c, 1e-6);
        close("Q", at.v, q, 1e-6);
        close("E", depletion.energy(v), e, 1e-6);
    }
}

/// Enz, Krummenacher & Vittoz, Analog Integr. Circuits Signal Process. 8 (1995) 83 (from memory).
#[test]
fn smooth_mosfet_channel() {
    for (beta, n, vto, kelvin, vg, vd, i) in [
        (5.0, 1.3, 3.0, 300.0, 5.0, 10.0, 7.69230769230775),
        (5.0, 1.3, 3.0, 300.0, 2.6, 10.0, 5.87217602290234e-8),
        (5.0, 1.3, 3.0, 300.0, 5.0, 0.2, 1.86999999999749),
        (12.0, 1.2, 2.5, 423.15, 2.2, 5.0, 3.90556648749818e-5),
    ] {
        let law = Mosfet {
            threshold: vto,
            threshold_drift: 0.0,
            slope_factor: n,
            // Far above threshold the on-resistance is 1/(β·(vgs − Vth)).
            on_resistance: 1.0 / (beta * (20.0 - vto)),
            on_gate: 20.0,
            resistance_exponent: 0.0,
            velocity_ratio: 0.0,
            body: Some([1e-40, 1.0, 1.12]),
            breakdown: None,
            leakage: Leakage { conductance: 0.0, energy: 0.6, stated_at: 298.15 },
            linear_above: 1e3,
            cgs: 0.0,
            drain_gate: no_charge(),
            drain_source: no_charge(),
        };
        let flow = Mosfet::flow(&law.at_temperature(kelvin), [vd, vg]);
        close("I", flow.i[0], i, 1e-9);
    }
}

/// V = K·I^b through two points (IEC 61643-331, from memory).
#[test]
fn varistor_through_two_points() {
    for (v1, i1, v2, i2, iq, b, k, vq) in [
        (430.0, 1e-3, 710.0, 100.0, 500.0, 0.0435579786278978, 580.954863075764, 761.559901864332),
        (47.0, 1e-3, 77.0, 10.0, 1000.0, 0.0535982168091911, 68.0600883245832, 98.5569281436185),
    ] {
        let law = Varistor::through([(v1, i1), (v2, i2)], 0.0, 0.0, 1e5);
        let (got_b, got_k) = law.b_and_k();
        close("b", got_b, b, 1e-9);
        close("K", got_k, k, 1e-9);
        // Solved for the voltage at the third current.
        let (mut low, mut high) = (0.0, 4.0 * v2);
        for _ in 0..200 {
            let mid = 0.5 * (low + high);
            if Varistor::flow(&law, [mid]).i[0] < iq { low = mid } else { high = mid }
        }
        close("V", low, vq, 1e-9);
        let pair = [v2, -v2].map(|v| Varistor::flow(&law, [v]).i[0]);
        assert_eq!(pair[0], -pair[1]);
    }
}

/// Off-state cascode in reverse: the MOSFET's body diode in series with the JFET channel (derived). The current
/// flows against the channel's own direction, so the channel's drop is the root of b·(2(Vd − Vp)·v + v²) = I.
#[test]
fn third_quadrant_of_an_off_state_cascode() {
    for (i, is, n, rs, idss, vp, vd, channel, total) in [
        (20.0, 1e-11, 1.15, 0.001, 240.0, -7.0, 0.862071851664567, 0.255532914155807, 1.11760476582037),
        (2.0, 1e-12, 1.1, 0.003, 60.0, -10.0, 0.811460032026977, 0.153073763691384, 0.964533795718362),
    ] {
        let mut c = Circuit::new();
        let (source, inner, middle) = (c.node("source"), c.node("inner"), c.node("middle"));
        let a = c.wave(Wave::Constant(i));
        c.current_source("I", GROUND, source, a).unwrap();
        c.resistor("Rs", source, inner, rs).unwrap();
        c.law("D", "diode", &[inner, middle], diode_at(is, n, 300.0), 300.0).unwrap();
        c.law("J", "square-law-jfet", &[GROUND, source, middle], jfet(vp, idss), 300.0).unwrap();
        let s = solve(&c);
        close("Vd", s.v(source) - s.v(middle), vd, 1e-8);
        close("Vch", s.v(middle), channel, 1e-8);
        close("Vtot", s.v(source), total, 1e-8);
    }
}
