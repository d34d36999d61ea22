//! A package of 100 000 and 200 000 cells to a compact network, and the linear systems behind it by conjugate
//! gradients and (feature `outside`) by the sparse Cholesky of faer on the same matrices. Every row runs in a process
//! of its own, so that its peak memory is its own. `cargo bench --bench field`; see benches/README.md.

#[cfg(feature = "outside")]
mod outside;

use std::process::Command;
use std::time::Instant;

use joulestep_engine::thermal::field::iterate::Conjugate;
use joulestep_engine::thermal::field::mesh::{Mesh, Sizing};
use joulestep_engine::thermal::field::reduce::{Span, reduce};
use joulestep_engine::thermal::field::system::System;
use joulestep_models::package::to_ambient;

/// Cells across a block and division of each mesh, for about 100 000 and 200 000 cells.
const MESHES: [(&str, f64, usize); 2] = [("100k", 8.0, 3), ("200k", 6.0, 4)];
/// Shifts of the linear systems, 1/s: steady state, a second, a millisecond, a microsecond.
const SHIFTS: [f64; 4] = [0.0, 1.0, 1e3, 1e6];

fn main() {
    let args: Vec<String> = std::env::args().filter(|a| !a.starts_with("--")).collect();
    if let [_, way, mesh] = args.as_slice() {
        return one(way, mesh);
    }
    println!("{:<10}{:<12}{:<58}{:>12}", "cells", "way", "what", "peak memory");
    let ways = ["reduce", "conjugate"];
    let outside = cfg!(feature = "outside").then_some("faer");
    let program = std::env::current_exe().expect("a running program");
    for (mesh, ..) in MESHES {
        for way in ways.into_iter().chain(outside) {
            let status = Command::new(&program).args([way, mesh]).status().expect("it starts");
            assert!(status.success(), "{way} on {mesh} failed");
        }
    }
}

fn one(way: &str, mesh: &str) {
    let (_, across, division) = *MESHES.iter().find(|m| m.0 == mesh).expect("a mesh");
    let system = system(across, division);
    let cells = system.cells();
    let b = vec![1.0; cells];
    let mut what = String::new();
    let clock = Instant::now();
    match way {
        "reduce" => {
            let reduced = reduce(&system, &Span::default()).expect("it converges");
            what = format!(
                "{:.2} s: {} systems, {} vectors, {} modes, error {:.0e}",
                clock.elapsed().as_secs_f64(),
                reduced.solutions,
                reduced.vectors,
                reduced.network.time_constants().len(),
                reduced.error
            );
        }
        "conjugate" => {
            for shift in SHIFTS {
                let clock = Instant::now();
                let mut x = vec![0.0; cells];
                let solver = Conjugate::new(&system, shift);
                solver.solve(&system, &b, &mut x, 1e-8).expect("it converges");
                what += &format!("{:.2} s  ", clock.elapsed().as_secs_f64());
            }
            what += "by shift";
        }
        #[cfg(feature = "outside")]
        _ => what = outside::faer(&system, SHIFTS[1]),
        #[cfg(not(feature = "outside"))]
        _ => {}
    }
    println!("{cells:<10}{way:<12}{what:<58}{:>9} MB", peak());
}

/// The low-ohmic cascode on its board.
fn system(across: f64, division: usize) -> System {
    let open = |_: &std::path::Path| Err(std::io::ErrorKind::NotFound.into());
    let package = joulestep::input::package::read("board-700v-7m", &open).expect("it is shipped");
    let solid = to_ambient(&package).expect("it is right");
    let sizing = Sizing { across, division, limit: 400_000, ..Sizing::default() };
    let mesh = Mesh::new(&solid.body, &sizing, solid.kelvin).expect("within the limit");
    System::new(&solid.body, &mesh, solid.kelvin).expect("it is right")
}

/// Peak resident memory of this process, MB; 0 where the system does not tell.
fn peak() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    line.and_then(|l| l.split_whitespace().next()?.parse::<u64>().ok()).map_or(0, |kb| kb / 1024)
}
