//! Avalanche of a MOSFET: unclamped inductive switching.

use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::recorder::InMemory;
use joulestep_engine::run::setup::Setup;
use joulestep_models::lookup::find;
use joulestep_models::model::Values;
use joulestep_models::operating::Feed;

use crate::common::catalogued::values;
use crate::common::rig::{channel, column, falls_to, fixed, near, supply, v};
use crate::common::technologies::{rest, ship};

/// Energy (J) and time (s) in avalanche from a current in an inductance, gate off.
fn unclamped(given: &Values, [l, amperes, volts]: [f64; 3], about: f64) -> (f64, f64) {
    let entry = find("mosfet").unwrap();
    let mut c = Circuit::new();
    let (plus, _) = supply(&mut c, "plus", Wave::Constant(volts));
    let d = c.node("d");
    let winding = c.inductor("L", plus, d, l, 0.0, Some(amperes)).unwrap();
    (entry.build)(&mut c, "M", &[d, GROUND, GROUND], given).unwrap();
    let mut setup = Setup::new(c);
    setup.steps = fixed(about / 5000.0);
    setup.channels = vec![channel("i", Probe::Branch(winding, 0)), channel("v", v(d))];
    let mut run = setup.ready().unwrap();
    let mut memory = InMemory::default();
    run.advance(0.999 * about, &mut memory).unwrap();
    let i = column(&memory.samples, 0);
    let time = falls_to(&memory.time, &i, 0.0, 0.02 * amperes);
    run.advance(1.2 * about, &mut ()).unwrap();
    let energy = run.ledger().entries.iter().filter(|e| e.name.starts_with('M')).map(|e| e.dissipated).sum();
    (energy, time)
}

/// E = L·I²/2·BV/(BV − Vdd), t = L·I/(BV − Vdd) (JESD24-5, from memory; derived), with a breakdown so steep that its
/// voltage is one number.
#[test]
fn energy_and_time_in_avalanche() {
    for (l, i, breakdown, vdd, time, energy) in
        [(1e-4, 20.0, 1350.0, 100.0, 1.6e-6, 0.0216), (5e-6, 150.0, 900.0, 400.0, 1.5e-6, 0.10125)]
    {
        let given = [
            ("on-resistance", 1e-2),
            ("threshold", 4.0),
            ("breakdown-voltage", breakdown),
            ("breakdown-slope-voltage", 0.05),
            ("breakdown-current", 0.4 * i),
            ("drain-source-capacitance", 20e-12),
        ];
        let entry = find("mosfet").unwrap();
        let (e, t) = unclamped(&values(entry, &given), [l, i, vdd], time);
        near("E", e, energy, 1e-3);
        near("t", t, time, 1e-3);
    }
}

/// The invented low-voltage MOSFET, at the breakdown voltage that it has at half the current.
#[test]
fn low_voltage_mosfet_in_avalanche() {
    let part = ship("mosfet-si-28v-0m8");
    let (l, i, vdd) = (5e-6, 50.0, 12.0);
    let breakdown = rest(&part, 0.0, Feed::Current(0.5 * i), 25.0).voltage();
    assert!((33.0..37.0).contains(&breakdown), "{breakdown}");
    let about = l * i / (breakdown - vdd);
    let (e, t) = unclamped(&part.values, [l, i, vdd], about);
    near("E", e, 0.5 * l * i * i * breakdown / (breakdown - vdd), 0.01);
    near("t", t, about, 0.02);
    // Hot it breaks down later.
    assert!(rest(&part, 0.0, Feed::Current(0.5 * i), 150.0).voltage() > 1.05 * breakdown);
}
