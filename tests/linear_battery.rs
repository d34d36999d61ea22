//! Every way of elimination against the same matrices: the replayed order (one lane and eight) and dense LU with
//! partial pivoting of a general library (nalgebra), the outside reference here.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::circuit::graph::GROUND;
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::equations::order::Order;
use joulestep_engine::equations::replay::Replay;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::step::schedule::Steps;
use nalgebra::{DMatrix, DVector};
use sprs::{CsMatI, TriMatI};

use crate::common::ref1::{Duty, ref1};

/// A circuit-like matrix: a mesh of conductances over twelve decades, and rows of ideal voltage sources.
fn matrix(n: usize, sources: usize, seed: u64) -> CsMatI<f64, u32> {
    let mut state = seed;
    let mut random = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 11) as f64 / (1u64 << 53) as f64
    };
    let nodes = n - sources;
    let mut entries = TriMatI::new((n, n));
    let mut add = |r: usize, c: usize, x: f64| entries.add_triplet(r, c, x);
    for k in 0..nodes {
        add(k, k, 1e-3);
        for _ in 0..2 {
            let (other, g) = ((random() * nodes as f64) as usize, 10f64.powf(12.0 * random() - 6.0));
            if other != k {
                add(k, k, g);
                add(other, other, g);
                add(k, other, -g);
                add(other, k, -g);
            }
        }
    }
    for s in 0..sources {
        add(nodes + s, s, 1.0);
        add(s, nodes + s, 1.0);
    }
    entries.to_csr()
}

/// Largest residual of a solution against |A|·|x| + |b|, row by row (Oettli & Prager 1964).
fn backward_error(a: &CsMatI<f64, u32>, x: &[f64], b: &[f64]) -> f64 {
    let mut residual = b.to_vec();
    let mut scale: Vec<f64> = b.iter().map(|b| b.abs()).collect();
    for (&v, (r, c)) in a.iter() {
        residual[r as usize] -= v * x[c as usize];
        scale[r as usize] += (v * x[c as usize]).abs();
    }
    residual.iter().zip(&scale).map(|(r, s)| r.abs() / s.max(f64::MIN_POSITIVE)).fold(0.0, f64::max)
}

fn replayed<L: Lane>(n: usize, a: &CsMatI<f64, u32>, outer: usize, b: &[f64]) -> Vec<f64> {
    let order = Order::choose(a.clone(), |k| k >= n - outer).expect("the matrix is regular");
    let zero = L::splat(0.0);
    let mut values = vec![zero; order.slots + 1];
    for (&v, (r, c)) in a.iter() {
        values[order.slot(r as usize, c as usize).expect("an entry has a slot") as usize] = L::splat(v);
    }
    let mut right: Vec<L> = b.iter().map(|b| L::splat(*b)).chain([zero]).collect();
    let mut x = vec![zero; n + 1];
    Replay::new(order).solve(&mut values, &mut right, &mut x);
    x[..n].iter().map(|x| x.lane(L::WIDTH - 1)).collect()
}

#[test]
fn replay_and_dense_lu_solve_the_same_matrices() {
    for (n, sources) in [(3, 1), (7, 1), (12, 2), (30, 3), (100, 5)] {
        for seed in 0..8 {
            let a = matrix(n, sources, 1000 * n as u64 + seed);
            let b: Vec<f64> = (0..n).map(|k| ((k * 37 + 11) % 17) as f64 - 8.0).collect();
            let dense = DMatrix::from_fn(n, n, |r, c| a.get(r, c).copied().unwrap_or(0.0));
            let library = dense.lu().solve(&DVector::from_column_slice(&b)).expect("regular");
            assert!(backward_error(&a, library.as_slice(), &b) < 1e-9, "the library on n = {n}, {seed}");
            for outer in [0, n / 3, n] {
                let one = replayed::<f64>(n, &a, outer, &b);
                let eight = replayed::<wide::f64x8>(n, &a, outer, &b);
                assert_eq!(one, eight, "lanes differ at n = {n}, seed {seed}");
                let error = backward_error(&a, &one, &b);
                assert!(error < 1e-9, "n = {n}, seed {seed}, outer {outer}: backward error {error:.1e}");
            }
        }
    }
}

/// The fallbacks give the waveforms of the ordinary way: a new order in mid-run, and dense elimination.
#[test]
fn a_new_order_and_dense_elimination_give_the_same_run() {
    let end = 2.4e-6;
    let solve = |what: &str| {
        let mut setup = Setup::new(ref1::<f64>(Duty::DoublePulse).expect("REF-1 builds").circuit);
        setup.steps = Steps { base: 1e-9, finest: 0, hold_off: 2 };
        let mut run = setup.ready().expect("starts");
        run.advance(1e-6, &mut ()).expect("solved");
        let alpha = 1e9;
        match what {
            "new order" => assert!(run.reorder(alpha)),
            "dense" => run.stepper().solver.go_dense(true),
            _ => {}
        }
        run.advance(end, &mut ()).expect("solved");
        run.state().x.clone()
    };
    let ordinary = solve("");
    for what in ["new order", "dense"] {
        for (a, b) in ordinary.iter().zip(solve(what)) {
            // Newton's iteration leaves differences of the order of its tolerance squared.
            assert!((a - b).abs() < 1e-4 + 1e-6 * a.abs(), "{what}: {a} {b}");
        }
    }
}

/// A switch of 1 µΩ / 1 MΩ between two stiff nodes: an order chosen with the switch open must serve when it is closed
/// (or be replaced); the divider's voltages are known in closed form.
#[test]
fn switches_over_twelve_decades_keep_their_digits() {
    let mut c = joulestep_engine::circuit::graph::Circuit::<f64>::new();
    let (a, b, d) = (c.node("a"), c.node("b"), c.node("d"));
    let wave = c.wave(Wave::Constant(400.0));
    c.voltage_source("V", a, GROUND, wave).expect("new");
    let choice = c.choice(vec![1e-6, 1e6], 0);
    c.chosen_resistor("S", "switch", a, b, choice).expect("new");
    c.resistor("R1", b, d, 3.0).expect("new");
    c.resistor("R2", d, GROUND, 1.0).expect("new");
    c.capacitor("C", d, GROUND, 1e-9, None).expect("new");
    let mut setup = Setup::new(c);
    setup.board.choose_at(choice, 1, 1e-6);
    let mut run = setup.ready().expect("starts");
    run.advance(2e-6, &mut ()).expect("solved");
    let v = run.read(&Probe::Voltage(d, GROUND));
    assert!((v - 400.0 / (4.0 + 1e-6)).abs() < 1e-7, "{v}");
}
