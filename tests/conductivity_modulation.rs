//! Junctions whose stored charge modulates their base: the drop at rest, forward recovery, snap-off, temperature; what a
//! superjunction's output capacitance loses in a cycle.

use joulestep_engine::accounts::ledger::Ledger;
use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::recorder::InMemory;
use joulestep_engine::run::setup::Setup;
use joulestep_models::base::{Base, BaseJunction};
use joulestep_models::capacitances::output_charge;
use joulestep_models::charge::Depletion;
use joulestep_models::operating::Feed;
use joulestep_models::part::Technology;
use joulestep_models::recovery::{StoringJunction, Times};

use crate::common::rig::{channel, column, fixed, near, peak, supply, v};
use crate::common::statics::solve;
use crate::common::technologies::{of_kind, rest, ship};

fn junction([lifetime, transit, capacitance]: [f64; 3], base: Base<f64>) -> BaseJunction<f64> {
    let junction = StoringJunction {
        saturation: 1e-9,
        ideality: 2.0,
        gap: 1.12,
        power: 3.0,
        times: Times { lifetime, lifetime_exponent: 0.0, transit, transit_exponent: 0.0 },
        breakdown: None,
        linear_above: 1e4,
        leakage: 0.0,
        depletion: Depletion::new(capacitance, 0.7, 0.5),
    };
    BaseJunction { junction, base }
}

/// A base of width W whose carriers live for τ drops W²/((μ_n + μ_p)·τ) in high injection, whatever the current (Baliga,
/// Fundamentals of Power Semiconductor Devices, ch. 5; from memory), and W/(q·μ_n·N·A)·I below it.
#[test]
fn a_flooded_base_at_rest() {
    let (q, width, doping, area, electrons, holes, lifetime) =
        (1.602_176_634e-19, 60e-6, 1e20, 1e-5, 0.135, 0.048, 1e-6);
    let resistance = width / (q * electrons * doping * area);
    let charge = q * doping * width * area * electrons / (electrons + holes);
    let base = Base { resistance, exponent: 2.3, charge, sweep: 0.0 };
    let drop = |amperes: f64| {
        let mut c = Circuit::new();
        let a = c.node("a");
        let wave = c.wave(Wave::Constant(amperes));
        c.current_source("I", GROUND, a, wave).unwrap();
        let d = c.law("D", "diode", &[a, GROUND], junction([lifetime, 1e-7, 0.0], base), 298.15).unwrap();
        let s = solve(&c);
        near("stored, over τ", s.branch(d, 0), amperes, 1e-6);
        s.v(a) - s.branch(d, 1)
    };
    let flooded = width * width / ((electrons + holes) * lifetime);
    near("flooded", drop(300.0), flooded, 0.01);
    near("as much at a third", drop(100.0), flooded, 0.02);
    near("nearly empty", drop(1e-6), 1e-6 * resistance, 1e-3);
}

/// Forward recovery at a ramp of current a·t: the base drops R₀·a·t/(1 + q/Q₀) while its charge follows dq/dt = i − q/τ,
/// q = a·τ·(t − τ·(1 − exp(−t/τ))); with a long lifetime the peak is R₀·√(a·Q₀/2), so it grows as the root of the
/// slope (derived).
#[test]
fn forward_recovery_of_a_current_ramp() {
    let (resistance, charge, lifetime) = (0.65, 20e-9, 64e-9);
    let base = Base { resistance, exponent: 2.3, charge, sweep: 0.0 };
    let peaks = [2e8, 8e8].map(|slope| {
        let end = 60e-9;
        let mut c = Circuit::new();
        let a = c.node("a");
        let ramp = c.wave(Wave::Points(vec![(0.0, 0.0), (end, slope * end)]));
        c.current_source("I", GROUND, a, ramp).unwrap();
        let d = c.law("D", "diode", &[a, GROUND], junction([lifetime, 1e-9, 0.0], base), 298.15).unwrap();
        let mut setup = Setup::new(c);
        setup.steps = fixed(0.02e-9);
        setup.channels = vec![channel("v", Probe::Sum(vec![(1.0, v(a)), (-1.0, Probe::Branch(d, 1))]))];
        let mut run = setup.ready().unwrap();
        let mut memory = InMemory::default();
        run.advance(end, &mut memory).unwrap();
        let drops = column(&memory.samples, 0);
        let expected = |t: f64| {
            let stored = slope * lifetime * (t - lifetime * (1.0 - (-t / lifetime).exp()));
            resistance * slope * t / (1.0 + stored / charge)
        };
        for (t, found) in memory.time.iter().zip(&drops).filter(|s| *s.0 > 1e-9) {
            assert!((found / expected(*t) - 1.0).abs() < 5e-3, "{t:e} s: {found} V, {} V", expected(*t));
        }
        peak(&memory.time, &drops).1
    });
    println!("peaks {peaks:?} V");
    near("slower ramp", peaks[0], resistance * (2e8f64 * charge / 2.0).sqrt(), 0.08);
    near("as the root of the slope", peaks[1] / peaks[0], 2.0, 0.06);
}

/// Commutation into a voltage V through an inductance, at one slope of the current: the largest voltage at the diode
/// over V is 1 + I_RM/(a·τ_rr) with one time constant (derived), whatever V; where the depletion layer sweeps the
/// base, it is more, and the more the higher V is.
#[test]
fn recovery_snaps_at_high_voltage() {
    let overshoot = |volts: f64, sweep: f64| {
        let (slope, forward) = (5e8, 20.0);
        let base = Base { resistance: 0.65, exponent: 2.3, charge: 20e-9, sweep };
        let mut c = Circuit::new();
        let (minus, _) = supply(&mut c, "minus", Wave::Constant(-volts));
        let a = c.node("a");
        c.inductor("L", minus, a, volts / slope, 0.0, Some(forward)).unwrap();
        let d = c.law("D", "diode", &[a, GROUND], junction([64e-9, 28e-9, 0.3e-9], base), 298.15).unwrap();
        let mut setup = Setup::new(c);
        setup.steps = fixed(0.05e-9);
        setup.channels = vec![channel("v", v(a)), channel("i", Probe::Conduction(d, 0))];
        let mut run = setup.ready().unwrap();
        let mut memory = InMemory::default();
        run.advance(400e-9, &mut memory).unwrap();
        let least = |k: usize| column(&memory.samples, k).iter().copied().fold(f64::INFINITY, f64::min);
        (-least(0) / volts, -least(1))
    };
    let soft = [60.0, 400.0].map(|volts| overshoot(volts, 0.0).0);
    let snappy = [60.0, 400.0].map(|volts| overshoot(volts, 1.0 / 386.0).0);
    println!("soft {soft:?}, swept {snappy:?}");
    near("soft at any voltage", soft[1], soft[0], 0.05);
    assert!(snappy[1] > 1.15 * soft[1] && snappy[1] > 1.1 * snappy[0], "{soft:?} {snappy:?}");
}

/// The drop of a silicon PiN diode and of a superjunction's body diode falls with temperature at working current, by 0.1
/// to 3 mV/K, and less so the larger the current, where substrate and contacts count (common practice, no source).
#[test]
fn the_drop_of_silicon_diodes_falls_with_temperature() {
    let parts = of_kind("mosfet").into_iter().filter(|p| p.technology == Technology::SuperjunctionMosfet);
    for part in parts.chain([ship("diode-si-600v-25a")]) {
        let sign = if part.kind == "diode" { 1.0 } else { -1.0 };
        let drop = |amperes: f64, celsius: f64| {
            sign * rest(&part, 0.0, Feed::Current(sign * amperes), celsius).voltage()
        };
        let slope = |amperes: f64| (drop(amperes, 125.0) - drop(amperes, 25.0)) / 100.0;
        let [small, working, large] = [1.0, 20.0, 100.0].map(slope);
        println!("{}: {:.3} V at 20 A; {small:e} {working:e} {large:e} V/K", part.name, drop(20.0, 25.0));
        assert!((-3e-3..-0.1e-3).contains(&working) && small < working && working < large, "{}", part.name);
        assert!((0.7..1.6).contains(&drop(20.0, 25.0)), "{}", part.name);
    }
}

/// What the output capacitance of a superjunction loses in a cycle of its voltage is the stranded charge times the
/// voltage that it takes, the same at 20 kHz as at 500 kHz (Fedison et al., APEC 2014, from memory: the loss does not
/// depend on the frequency; it is a few to some ten per cent of E_oss). All of it warms the die.
#[test]
fn a_superjunction_loses_energy_in_every_cycle() {
    let part = ship("mosfet-sj-620v-49m");
    let value = |key: &str| part.values.number(key);
    let stranded = value("stranded-share") * value("pillar-capacitance") * value("pillar-voltage");
    let expected = stranded * value("stranded-voltage");
    let stored = output_charge(part.entry(), &part.values, &[400.0], 25.0).unwrap()[0].energy;
    let heat = |ledger: &Ledger<f64>| -> f64 {
        ledger.entries.iter().filter(|e| e.name.starts_with('M')).map(|e| e.dissipated).sum()
    };
    for period in [50e-6, 2e-6] {
        let mut c = Circuit::new();
        let triangle = (0..9).map(|k| (0.5 * period * f64::from(k), if k % 2 == 0 { 0.0 } else { 400.0 }));
        let (d, _) = supply(&mut c, "d", Wave::Points(triangle.collect()));
        part.entry().place(&mut c, "M", &[d, GROUND, GROUND], &part.values).unwrap();
        let mut setup = Setup::new(c);
        setup.steps = fixed(period / 20_000.0);
        let mut run = setup.ready().unwrap();
        run.advance(2.0 * period, &mut ()).unwrap();
        let before = heat(&run.ledger());
        run.advance(3.0 * period, &mut ()).unwrap();
        let lost = heat(&run.ledger()) - before;
        println!("{lost:e} J in {period:e} s, E_oss {stored:e} J, {:.3} of it", lost / stored);
        near("lost in a cycle", lost, expected, 0.1);
        assert!((0.03..0.3).contains(&(lost / stored)));
    }
}
