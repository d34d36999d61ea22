//! Periodic temperatures, and arrangements that do not repeat.

use std::collections::BTreeMap;
use std::f64::consts::TAU;
use std::sync::Arc;

use joulestep_engine::circuit::graph::Circuit;
use joulestep_engine::thermal::convert::foster_to_cauer;
use joulestep_engine::thermal::modal::Modal;
use joulestep_engine::thermal::network::{FosterTerm, NetworkBuilder};
use joulestep_engine::thermal::run::Thermal;
use joulestep_models::arrangement::find;

use super::converters::near;

/// Terms (K/W, s), P₀ in W, frequency in Hz, ripple and mean rise in K.
type Case = (&'static [(f64, f64)], f64, f64, f64, f64);

/// P = P₀(1 − cos 2ωt) on Foster terms: ripple 2·P₀·|Z(j2ω)| from the first period on, without any transient
/// (complex thermal impedance; derived, cross-checked outside).
#[test]
fn line_frequency_ripple_from_the_first_period() {
    let cases: [Case; 2] = [
        (&[(0.05, 0.0002), (0.15, 0.003), (0.3, 0.05), (0.5, 1.5)], 60.0, 50.0, 13.6511045474209, 60.0),
        (&[(0.1, 0.001), (0.4, 0.1)], 100.0, 400.0, 4.0586707382351, 50.0),
    ];
    for (terms, p0, f, ripple, mean) in cases {
        let terms: Vec<_> = terms
            .iter()
            .map(|&(resistance, time_constant)| FosterTerm { resistance, time_constant })
            .collect();
        let cells = foster_to_cauer(&terms).expect("a ladder");
        let network = NetworkBuilder::new().boundary("ambient", 0.0).ladder("die", &cells, "ambient");
        let modal = Modal::<f64>::new(&network.build().expect("a network")).expect("modes");
        let mut thermal = Thermal::new(Arc::new(modal));
        let (n, period) = (4000u32, 0.5 / f);
        let dt = period / f64::from(n);
        let power = |k: u32| p0 * (1.0 - (TAU * (f64::from(k) + 0.5) / f64::from(n)).cos());
        let cycle: Vec<(f64, Vec<f64>)> = (0..n).map(|k| (dt, vec![power(k)])).collect();
        thermal.start_periodic(&cycle);
        let (lengths, powers): (Vec<f64>, Vec<f64>) = cycle.iter().map(|(dt, p)| (*dt, p[0])).unzip();
        // At once, from any state.
        let course = &thermal.course(&lengths, &[powers])[0];
        let began = thermal.temperatures()[0];
        near(course[0], began, 1e-12, "begin of the period");
        let (mut low, mut high, mut sum) = (began, began, 0.0);
        for ((dt, p), at_once) in cycle.iter().zip(&course[1..]) {
            thermal.advance(*dt, p);
            let t = thermal.temperatures()[0];
            (low, high, sum) = (low.min(t), high.max(t), sum + t);
            near(*at_once, t, 1e-12, "temperatures at once and step by step");
        }
        near(high - low, ripple, 1e-5, "ripple");
        near(sum / f64::from(n), mean, 1e-5, "mean rise");
        near(thermal.temperatures()[0], began, 1e-10, "end and begin of the period");
    }
}

/// A clamp of constant voltage Vc takes E = (L·I²/2)·Vc/(Vc − V) from a coil on V (derived: the supply gives while
/// the current falls).
#[test]
fn a_clamp_takes_the_coils_energy_and_what_the_supply_adds() {
    let (v, l, i0, open) = (400.0, 200e-6, 40.0, 1e-6);
    let arrangement = find("inductive-load-break").unwrap();
    let given = [
        ("supply-voltage", v),
        ("loop-inductance", 0.0),
        ("loop-resistance", 1e-6),
        ("load-inductance", l),
        ("load-resistance", 0.0),
        ("load-current", i0),
        ("open-at", open),
        // As steep as makes little difference: 590 V at 1 mA, 610 V at 300 A.
        ("clamp-voltage", 590.0),
        ("clamping-voltage", 610.0),
        ("clamping-current", 300.0),
    ];
    let values = arrangement.values(&given).unwrap();
    let mut circuit = Circuit::new();
    let mut layout = arrangement.build(&mut circuit, &values, &BTreeMap::new()).unwrap();
    let mut run = layout.setup(circuit).unwrap().ready().unwrap();
    run.advance(100e-6, &mut ()).unwrap();
    let ledger = run.ledger();
    let taken: f64 =
        ledger.entries.iter().filter(|e| e.name.starts_with("clamp")).map(|e| e.dissipated).sum();
    let i = i0 + v * open / l;
    // At half of the current.
    let vc = 590.0 * f64::powf(0.5 * i / 1e-3, f64::ln(610.0 / 590.0) / f64::ln(300.0 / 1e-3));
    near(taken, 0.5 * l * i * i * vc / (vc - v), 5e-3, "energy of the clamp");
    assert!(ledger.relative() < 1e-4);
}
