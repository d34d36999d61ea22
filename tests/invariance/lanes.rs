//! Variants side by side against each variant alone.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::circuit::graph::Body;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::run::time_loop::Run;
use joulestep_engine::step::schedule::Steps;
use joulestep_engine::step::stage::Tolerance;
use wide::{f64x4, f64x8};

use crate::common::ref1::{Duty, ref1};
use crate::common::rig::{fixed, tight, v};

/// Parts of REF-1 that vary, with how much from lane to lane.
const VARIED: [(&str, f64); 4] = [("Rg", 0.05), ("Rgj", -0.04), ("Lls", 0.06), ("Lload", 0.03)];

/// REF-1 whose varied parts are scaled by 1 + spread·k in variant k.
fn setup<L: Lane>(variant: impl Fn(usize) -> f64, steps: Option<Steps>, tolerance: Tolerance) -> Setup<L> {
    let mut r = ref1::<L>(Duty::DoublePulse).unwrap();
    for (name, spread) in VARIED {
        let id = r.circuit.find(name).unwrap();
        let factor = L::from_fn(|lane| 1.0 + spread * variant(lane));
        let Body::Linear(linear) = &mut r.circuit.components[id.0 as usize].body else { panic!("{name}") };
        // A resistor has conductances in G, an inductor its inductance in C.
        if linear.c.is_empty() {
            linear.g.iter_mut().for_each(|e| e.2 = e.2 / factor);
        }
        linear.c.iter_mut().for_each(|e| e.2 *= factor);
    }
    let mut setup = Setup::new(r.circuit);
    if let Some(steps) = steps {
        setup.steps = steps;
    }
    setup.tolerance = Some(tolerance);
    setup
}

fn end<L: Lane>(setup: Setup<L>) -> Run<L> {
    let mut run = setup.ready().unwrap();
    run.advance(5.2e-6, &mut ()).unwrap();
    run
}

/// Four times the same variant: every lane has the scalar run's bits, with the program's own windows.
#[test]
fn equal_lanes_have_the_bits_of_the_scalar_run() {
    let scalar = end(setup::<f64>(|_| 0.0, None, Tolerance::default()));
    let lanes = end(setup::<f64x4>(|_| 0.0, None, Tolerance::default()));
    assert_eq!(scalar.counters(), lanes.counters());
    let same = |a: &[f64], b: &[f64x4]| {
        // Vectors of single numbers are padded.
        a.len().abs_diff(b.len()) < 8
            && a.iter().zip(b).all(|(a, b)| (0..4).all(|k| a.to_bits() == b.lane(k).to_bits()))
    };
    let (s, l) = (scalar.state(), lanes.state());
    assert!(same(&s.x, &l.x) && same(&s.q, &l.q) && same(&s.k, &l.k), "{:?}\n{:?}", s.x, l.x);
    assert!(same(&s.energy, &l.energy) && same(&s.power, &l.power));
}

/// Eight variants on one set of equal steps: they differ from each alone by how often Newton's iteration is repeated
/// only (all lanes go on until the last one is done). With the iteration to round-off, 1e-9 of the bus is left.
#[test]
fn eight_variants_on_equal_steps_are_each_what_they_are_alone() {
    let lanes = end(setup::<f64x8>(|k| k as f64, Some(fixed(1e-9)), tight()));
    let node = ref1::<f64>(Duty::DoublePulse).unwrap().nodes[1];
    let mut worst = 0.0f64;
    for k in 0..8 {
        let alone = end(setup::<f64>(|_| k as f64, Some(fixed(1e-9)), tight()));
        for (a, b) in alone.state().x.iter().zip(&lanes.state().x) {
            worst = worst.max((a - b.lane(k)).abs());
        }
        let energies = alone.state().energy.iter().zip(&lanes.state().energy);
        for (a, b) in energies {
            assert!((a - b.lane(k)).abs() < 1e-12, "{a:e} {:e}", b.lane(k));
        }
        println!("variant {k}: {} V", alone.read(&v(node)));
    }
    println!("{worst:.1e} V apart");
    assert!(worst < 400.0 * 1e-9, "{worst:e}");
}

/// The same with the program's windows, which the most active lane decides: every variant is solved at least as finely
/// as alone, so they agree within the error of both. A bound of 1 mV per step, some ten of them on the gate's way up
/// (0.2 V/ns), moves an edge by up to 50 ps: 0.4 µJ at 400 V and 20 A; a node that rests is off by less than 10 mV.
#[test]
fn eight_variants_in_common_windows_agree_with_each_alone() {
    fn bounded<L: Lane>(mut setup: Setup<L>) -> Setup<L> {
        (setup.bounds.voltage, setup.bounds.current) = (1e-3, 1e-3);
        setup
    }
    let lanes = end(bounded(setup::<f64x8>(|k| k as f64, None, Tolerance::default())));
    let (mut worst, mut energy) = (0.0f64, 0.0f64);
    for k in 0..8 {
        let alone = end(bounded(setup::<f64>(|_| k as f64, None, Tolerance::default())));
        for node in ref1::<f64>(Duty::DoublePulse).unwrap().nodes {
            worst = worst.max((alone.read(&v(node)) - lanes.read(&v(node)).lane(k)).abs());
        }
        let (a, b) = (alone.ledger(), lanes.ledger());
        assert!((a.turnover / b.turnover.lane(k) - 1.0).abs() < 1e-4);
        for (a, b) in a.entries.iter().zip(&b.entries) {
            let off = (a.dissipated - b.dissipated.lane(k)).abs();
            energy = energy.max(off);
            assert!(off < 0.4e-6, "{a:?} {b:?}");
        }
        assert!(alone.counters().steps <= lanes.counters().steps, "{:?}", alone.counters());
    }
    println!("{worst:.1e} V, {energy:.1e} J apart, {:?}", lanes.counters());
    assert!(worst < 1e-2, "{worst:e}");
}
