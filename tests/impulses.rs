//! What an ideal switch dissipates at once: it opens the current of inductors, or closes capacitors onto others,
//! and charge or flux is conserved. Closed forms: two states with the same charge (flux) differ by ½·C₁C₂/(C₁+C₂)·ΔV²
//! (½·L₁L₂/(L₁+L₂)·ΔI²), whatever the resistance (any textbook of circuits, from memory). The time constants lie
//! between 10⁻¹⁵ s and the finest step, so no step that is planned could see them.

use joulestep_engine::circuit::graph::{ChoiceId, Circuit, GROUND, NodeId};
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::control::sequence::Deed;
use joulestep_engine::recorder::InMemory;
use joulestep_engine::run::setup::{Setup, Start};

use crate::common::rig::{near, sequence, supply};

/// Resistance of a closed switch, Ω, and of an open one.
const ON: f64 = 1e-3;
const OFF: f64 = 1e7;
/// When the switch is thrown, s.
const THROWN: f64 = 3.3e-6;
const END: f64 = 10e-6;

fn switch(c: &mut Circuit<f64>, name: &str, a: NodeId, b: NodeId, closed: bool) -> ChoiceId {
    let choice = c.choice(vec![1.0 / OFF, 1.0 / ON], usize::from(closed));
    c.chosen_resistor(name, "switch", a, b, choice).unwrap();
    choice
}

/// Throws the switch and asks for the heat of some components, J.
fn heats(c: Circuit<f64>, start: Start, thrown: Option<(ChoiceId, usize)>, names: &[&str]) -> Vec<f64> {
    let mut setup = Setup::new(c).lasting(END);
    setup.start = start;
    if let Some((choice, option)) = thrown {
        sequence(&mut setup, &[(THROWN, Deed::Choose(choice, option))]);
    }
    let mut run = setup.ready().unwrap();
    run.advance(END, &mut InMemory::default()).unwrap();
    let ledger = run.ledger();
    assert!(ledger.relative() < 1e-4, "residual {:e} of {:e} J", ledger.residual, ledger.turnover);
    let heat = |name: &&str| ledger.entries.iter().find(|e| e.name == *name).unwrap().dissipated;
    names.iter().map(heat).collect()
}

fn parallel(a: f64, b: f64) -> f64 {
    a * b / (a + b)
}

/// A switch closes a capacitor at one voltage onto another at a second one.
fn two_capacitors(c1: f64, v1: f64, c2: f64, v2: f64) {
    let mut c = Circuit::new();
    let [a, b] = ["a", "b"].map(|n| c.node(n));
    c.capacitor("C1", a, GROUND, c1, Some(v1)).unwrap();
    c.capacitor("C2", b, GROUND, c2, Some(v2)).unwrap();
    for (name, node) in [("leak1", a), ("leak2", b)] {
        c.resistor(name, node, GROUND, 1e12).unwrap();
    }
    let s = switch(&mut c, "S", a, b, false);
    let heat = heats(c, Start::Stated, Some((s, 1)), &["S"])[0];
    // With what the open switch lets through before.
    near("C onto C", heat, 0.5 * parallel(c1, c2) * (v1 - v2) * (v1 - v2), 1e-3);
}

#[test]
fn a_capacitor_closed_onto_an_empty_one() {
    two_capacitors(1e-9, 400.0, 3.3e-9, 0.0);
}

#[test]
fn a_capacitor_closed_onto_one_of_another_voltage() {
    two_capacitors(100e-12, 400.0, 1e-6, -150.0);
}

#[test]
fn picofarads_within_a_femtosecond() {
    two_capacitors(1e-12, 10.0, 2e-12, 0.0);
}

#[test]
fn microfarads_within_some_finest_steps() {
    two_capacitors(1e-6, 10.0, 0.47e-6, 3.0);
}

/// ½·C·V², and the source gives C·V².
#[test]
fn a_capacitor_closed_onto_a_source() {
    let mut c = Circuit::new();
    let (p, _) = supply(&mut c, "p", Wave::Constant(400.0));
    let a = c.node("a");
    c.capacitor("C", a, GROUND, 10e-9, Some(0.0)).unwrap();
    c.resistor("load", a, GROUND, 1.0).unwrap();
    let s = switch(&mut c, "S", p, a, false);
    let heat = heats(c, Start::OperatingPoint, Some((s, 1)), &["S"])[0];
    let load = 400.0 * 400.0 * ON * (END - THROWN);
    near("C onto V", heat, 0.5 * 10e-9 * 400.0 * 400.0 + load, 1e-3);
}

#[test]
fn a_capacitor_short_circuited() {
    let mut c = Circuit::new();
    let a = c.node("a");
    c.capacitor("C", a, GROUND, 2.2e-9, Some(-75.0)).unwrap();
    c.resistor("leak", a, GROUND, 1e9).unwrap();
    let s = switch(&mut c, "S", a, GROUND, false);
    near("C short", heats(c, Start::Stated, Some((s, 1)), &["S"])[0], 0.5 * 2.2e-9 * 75.0 * 75.0, 1e-3);
}

#[test]
fn a_capacitor_closed_onto_two_in_series() {
    let mut c = Circuit::new();
    let [a, b, m] = ["a", "b", "m"].map(|n| c.node(n));
    c.capacitor("C1", a, GROUND, 1e-9, Some(100.0)).unwrap();
    c.capacitor("C2", b, m, 2e-9, Some(0.0)).unwrap();
    c.capacitor("C3", m, GROUND, 5e-9, Some(0.0)).unwrap();
    for (name, node) in [("leak1", a), ("leak2", b), ("leak3", m)] {
        c.resistor(name, node, GROUND, 1e9).unwrap();
    }
    let s = switch(&mut c, "S", a, b, false);
    let series = parallel(2e-9, 5e-9);
    near(
        "C onto series",
        heats(c, Start::Stated, Some((s, 1)), &["S"])[0],
        0.5 * parallel(1e-9, series) * 1e4,
        1e-3,
    );
}

/// Heat divides as the resistances in series do.
#[test]
fn switch_and_resistor_share_by_resistance() {
    let mut c = Circuit::new();
    let [a, b] = ["a", "b"].map(|n| c.node(n));
    c.capacitor("C", a, GROUND, 1e-9, Some(50.0)).unwrap();
    c.resistor("leak", a, GROUND, 1e9).unwrap();
    c.resistor("R", b, GROUND, 3e-3).unwrap();
    let s = switch(&mut c, "S", a, b, false);
    let found = heats(c, Start::Stated, Some((s, 1)), &["S", "R"]);
    let all = 0.5 * 1e-9 * 2500.0;
    // Until then the open switch lets a little through.
    let left = all * (-2.0 * THROWN / (OFF * 1e-9)).exp();
    near("switch", found[0], all - left + left * 0.25, 1e-3);
    near("resistor", found[1], left * 0.75, 1e-3);
}

/// The source jumps while the switch is closed.
#[test]
fn a_source_that_jumps_onto_a_capacitor() {
    let mut c = Circuit::new();
    let (p, _) = supply(&mut c, "p", Wave::Points(vec![(THROWN, 0.0), (THROWN, 48.0)]));
    let a = c.node("a");
    c.capacitor("C", a, GROUND, 4.7e-9, None).unwrap();
    switch(&mut c, "S", p, a, true);
    near("jump onto C", heats(c, Start::OperatingPoint, None, &["S"])[0], 0.5 * 4.7e-9 * 48.0 * 48.0, 1e-3);
}

#[test]
fn an_inductor_whose_current_is_opened() {
    let mut c = Circuit::new();
    let (p, _) = supply(&mut c, "p", Wave::Constant(20.0));
    let [a, b] = ["a", "b"].map(|n| c.node(n));
    c.resistor("R", p, a, 2.0).unwrap();
    c.inductor("L", a, b, 1e-3, 0.0, None).unwrap();
    let s = switch(&mut c, "S", b, GROUND, true);
    let heat = heats(c, Start::OperatingPoint, Some((s, 0)), &["S"])[0];
    let i = 20.0 / (2.0 + ON);
    near("L open", heat, 0.5 * 1e-3 * i * i + i * i * ON * THROWN, 1e-3);
}

/// Two inductors at different currents are put in series: their common flux is kept.
#[test]
fn two_inductors_put_in_series() {
    let mut c = Circuit::new();
    let m = c.node("m");
    c.inductor("L1", GROUND, m, 10e-6, 0.0, Some(8.0)).unwrap();
    c.inductor("L2", m, GROUND, 40e-6, 0.0, Some(3.0)).unwrap();
    let s = switch(&mut c, "S", m, GROUND, true);
    let heat = heats(c, Start::Stated, Some((s, 0)), &["S"])[0];
    // Until then 5 A in the closed switch.
    near("L in series", heat, 0.5 * parallel(10e-6, 40e-6) * 25.0 + 25.0 * ON * THROWN, 1e-3);
}

/// With its secondary shorted, a transformer's primary gives what its leakage stores: ½·(L₁ − M²/L₂)·I².
#[test]
fn a_primary_opened_beside_a_shorted_secondary() {
    let (l1, l2, m) = (100e-6_f64, 25e-6, 49e-6);
    let mut c = Circuit::new();
    let (p, _) = supply(&mut c, "p", Wave::Constant(5.0));
    let [a, b, d] = ["a", "b", "d"].map(|n| c.node(n));
    c.resistor("R", p, a, 1.0).unwrap();
    c.coupled_inductors("T", &[a, b, d, GROUND], &[l1, m, m, l2], &[0.0, 1e-6]).unwrap();
    c.resistor("short", d, GROUND, 1e-6).unwrap();
    let s = switch(&mut c, "S", b, GROUND, true);
    let heat = heats(c, Start::OperatingPoint, Some((s, 0)), &["S"])[0];
    let i = 5.0 / (1.0 + ON);
    near("leakage", heat, 0.5 * (l1 - m * m / l2) * i * i + i * i * ON * THROWN, 1e-3);
}
