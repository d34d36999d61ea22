//! Variants side by side against each variant alone.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::graph::{Body, Circuit, GROUND};
use joulestep_engine::circuit::law::{Device, Flow, Law, side_by_side};
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::error::SolverError;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::run::time_loop::Run;
use joulestep_engine::step::bounds::Bounds;
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
        setup.bounds = Bounds::stated(1e-3, 1e-3);
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

/// Eight setups of one lane put in lockstep are the setup that was made with lanes: the same bits in all that they do.
#[test]
fn setups_in_lockstep_are_the_setup_made_in_lanes() {
    let alone: Vec<Setup<f64>> =
        (0..8).map(|k| setup::<f64>(|_| f64::from(k), None, Tolerance::default())).collect();
    let each: Vec<&Setup<f64>> = alone.iter().collect();
    let together = end(Setup::lockstep::<f64x8>(&each).unwrap());
    let made = end(setup::<f64x8>(|k| k as f64, None, Tolerance::default()));
    assert_eq!(together.counters(), made.counters());
    let bits = |list: &[f64x8]| -> Vec<u64> {
        list.iter().flat_map(|x| (0..8).map(|k| x.lane(k).to_bits()).collect::<Vec<_>>()).collect()
    };
    let (a, b) = (together.state(), made.state());
    assert!(bits(&a.x) == bits(&b.x) && bits(&a.q) == bits(&b.q) && bits(&a.energy) == bits(&b.energy));
    // Another step, another topology: not in lockstep.
    let mut other = setup::<f64>(|_| 0.0, None, Tolerance::default());
    other.steps.base *= 2.0;
    assert!(Setup::lockstep::<f64x4>(&[&alone[0], &alone[1], &alone[2], &other]).is_none());
    let mut other = setup::<f64>(|_| 0.0, None, Tolerance::default());
    other.circuit.resistor("further", GROUND, other.circuit.find_node("gnd").unwrap(), 1.0).unwrap();
    assert!(Setup::lockstep::<f64x4>(&[&alone[0], &alone[1], &alone[2], &other]).is_none());
}

/// i = √(limit − v): no number above the limit.
#[derive(Clone, Debug)]
struct Ending<L> {
    limit: L,
}
joulestep_engine::lockstep!(Ending: limit);

impl<L: Lane> Law<L, 1> for Ending<L> {
    type AtTemperature = Self;
    fn at_temperature(&self, _: L) -> Self {
        self.clone()
    }
    fn flow<S: Scalar<L>>(at: &Self, [v]: [S; 1]) -> Flow<S, 1> {
        Flow { i: [(-v + at.limit).sqrt()], q: [S::constant(L::splat(0.0))] }
    }
    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}

/// A lane without a solution leaves by name; the others have theirs without it.
#[test]
fn a_lane_without_a_solution_leaves_the_others() {
    let variant = |limit: f64| {
        let mut circuit = Circuit::<f64>::new();
        let a = circuit.node("a");
        let level = circuit.wave(Wave::Points(vec![(0.0, 0.0), (10e-6, 10.0)]));
        circuit.voltage_source("V", a, GROUND, level).unwrap();
        circuit.law("X", "ending", &[a, GROUND], Ending { limit }, 298.15).unwrap();
        Setup::new(circuit)
    };
    let setups = [20.0, 20.0, 5.0, 30.0].map(variant);
    let mut run = Setup::lockstep::<f64x4>(&setups.each_ref()).unwrap().ready().unwrap();
    match run.advance(10e-6, &mut ()) {
        Err(SolverError::LeavesLockstep { lanes, time }) => {
            assert!(lanes == [2] && (time - 5e-6).abs() < 1e-8, "{lanes:?} {time:e}");
        }
        other => panic!("{other:?}"),
    }
    let three = [&setups[0], &setups[1], &setups[3], &setups[3]];
    let mut run = Setup::lockstep::<f64x4>(&three).unwrap().ready().unwrap();
    assert!(run.advance(10e-6, &mut ()).is_ok());
}
