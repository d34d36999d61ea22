//! Elimination: the engine's tape against dense LU of nalgebra at n = 10, 30, 100, 300 on circuit-like matrices, side
//! by side in one run. `cargo bench --bench eliminate`; see benches/README.md.

mod meshes;
mod solvers;
mod tape;

use std::hint::black_box;
use std::time::Instant;

use meshes::{Mesh, mesh};
use solvers::{Dense, Solver, Static};

const SIZES: [usize; 4] = [10, 30, 100, 300];
/// Switch states per mesh: a multiple of every number of lanes.
const STATES: usize = 16;
/// Interleaved rounds; medians over them.
const ROUNDS: usize = 31;
/// Time of one round of one contender, ns.
const ROUND_NS: f64 = 4e6;

fn main() {
    println!(
        "factor + solve, one right-hand side, {STATES} switch states of one pattern; medians of {ROUNDS} rounds"
    );
    println!(
        "{:<6}{:<9}{:<24}{:>12}{:>26}{:>16}",
        "n", "entries", "method", "us", "dense / this (range)", "backward error"
    );
    let mut ours = false;
    for n in SIZES {
        let mesh = mesh(n, STATES, 0x5eed);
        let mut contenders: Vec<Box<dyn Solver>> = vec![Box::new(Dense::new(&mesh))];
        if n == 10 {
            contenders.push(Box::new(Static::new(&mesh)));
        }
        let tapes = tape::solvers(&mesh);
        ours |= !tapes.is_empty();
        contenders.extend(tapes);
        compare(&mesh, &mut contenders);
    }
    if !ours {
        println!("this engine's tape: no rows yet");
    }
}

/// Times all contenders of one mesh in interleaved rounds and prints their rows; the first is the yardstick.
fn compare(mesh: &Mesh, contenders: &mut [Box<dyn Solver>]) {
    let errors: Vec<f64> = contenders.iter_mut().map(|c| worst_error(mesh, c.as_mut())).collect();
    let passes: Vec<usize> = contenders
        .iter_mut()
        .map(|c| (ROUND_NS / one_pass(c.as_mut(), 1)).ceil().max(1.0) as usize)
        .collect();
    let mut times = vec![Vec::with_capacity(ROUNDS); contenders.len()];
    for _ in 0..ROUNDS {
        for ((contender, &passes), times) in contenders.iter_mut().zip(&passes).zip(&mut times) {
            times.push(one_pass(contender.as_mut(), passes) / STATES as f64);
        }
    }
    for ((contender, own), error) in contenders.iter().zip(&times).zip(errors) {
        let mut ratio: Vec<f64> = times[0].iter().zip(own).map(|(dense, own)| dense / own).collect();
        ratio.sort_by(f64::total_cmp);
        let spread = format!("{:.2} ({:.2}-{:.2})", ratio[ROUNDS / 2], ratio[0], ratio[ROUNDS - 1]);
        println!(
            "{:<6}{:<9}{:<24}{:>12.3}{:>26}{:>16.1e}",
            mesh.n,
            mesh.entries.len(),
            contender.name(),
            median(own) * 1e-3,
            spread,
            error
        );
    }
}

/// ns for one pass over all states, from `passes` of them.
fn one_pass(solver: &mut dyn Solver, passes: usize) -> f64 {
    let start = Instant::now();
    for _ in 0..passes {
        for batch in 0..STATES / solver.lanes() {
            black_box(solver.solve(black_box(batch)));
        }
    }
    start.elapsed().as_secs_f64() * 1e9 / passes as f64
}

/// Largest backward error over all states; NaN where one was found singular.
fn worst_error(mesh: &Mesh, solver: &mut dyn Solver) -> f64 {
    let mut worst = 0.0_f64;
    for batch in 0..STATES / solver.lanes() {
        let good = solver.solve(batch);
        for lane in 0..solver.lanes() {
            let error = mesh.backward_error(batch * solver.lanes() + lane, &solver.solution(lane));
            worst = if good && error.is_finite() && worst.is_finite() { worst.max(error) } else { f64::NAN };
        }
    }
    worst
}

fn median(times: &[f64]) -> f64 {
    let mut sorted = times.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[sorted.len() / 2]
}
