//! REF-1 against its reference solution (see `common/reference.rs`).

use joulestep_engine::circuit::graph::GROUND;
use joulestep_engine::circuit::probe::{Channel, Probe};
use joulestep_engine::recorder::InMemory;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::step::method::{ESDIRK4, METHODS, Method};
use joulestep_engine::step::schedule::Steps;
use joulestep_engine::step::stepper::Bounds;

use crate::common::ref1::{Duty, ref1};
use crate::common::reference::{Reference, difference};

/// What a run of REF-1 gives.
struct Outcome {
    max: f64,
    rms: f64,
    e_off: f64,
    e_on: f64,
    steps: u64,
    iterations: u64,
    refused: u64,
    residual: f64,
    wall: f64,
    memory: InMemory<f64>,
}

fn setup(method: &'static Method, steps: Steps, bound: f64) -> Setup<f64> {
    let r = ref1::<f64>(Duty::DoublePulse).expect("REF-1 builds");
    let [_, switch, .., source, inner] = r.nodes;
    let across = Probe::Voltage(switch, source);
    // i_D = iL − (v2 − v7)/Rs
    let drain =
        Probe::Sum(vec![(1.0, Probe::Branch(r.inductors[0], 0)), (-50.0, Probe::Voltage(switch, inner))]);
    let mut s = Setup::new(r.circuit);
    s.method = method;
    s.steps = steps;
    s.bounds = Bounds { voltage: bound, current: bound };
    if let Ok(x) = std::env::var("NTOL") {
        s.tolerance.voltage = x.parse().unwrap();
        s.tolerance.current = s.tolerance.voltage;
    }
    let channel = |name: &str, probe: Probe| Channel { name: name.into(), long_name: name.into(), probe };
    s.channels = r
        .nodes
        .iter()
        .enumerate()
        .map(|(k, n)| channel(&format!("v{}", k + 1), Probe::Voltage(*n, GROUND)))
        .collect();
    s.channels.extend(r.inductors.iter().map(|c| channel("i", Probe::Branch(*c, 0))));
    if std::env::var("NOINT").is_err() {
        s.integrals = vec![(across, drain)];
    }
    s
}

fn solve(method: &'static Method, steps: Steps, bound: f64) -> Outcome {
    let mut run = setup(method, steps, bound).ready().expect("REF-1 starts");
    let mut memory = InMemory::default();
    let mut at = |t: f64| {
        run.advance(t, &mut memory).expect("REF-1 is solved");
        run.integral(0)
    };
    let start = std::time::Instant::now();
    let (a, b, c, _) = (at(2.2e-6), at(3.2e-6), at(4.2e-6), at(5.2e-6));
    let wall = start.elapsed().as_secs_f64();
    let reference = Reference::load();
    let v2: Vec<f64> = memory.samples.iter().map(|s| s[1]).collect();
    let (max, rms) = difference(&reference, 1, &memory.time, &v2);
    let counters = run.counters();
    Outcome {
        max,
        rms,
        e_off: (b - a) / 2.5520606779e-05 - 1.0,
        e_on: (c - b) / 0.00011326611366 - 1.0,
        steps: counters.steps,
        iterations: counters.iterations,
        refused: counters.refused,
        residual: run.ledger().relative(),
        wall,
        memory,
    }
}

fn tell(what: &str, o: &Outcome) {
    println!(
        "{what:32} {:6} steps {:7} iterations {:4} refused  v2 max {:9.2e} rms {:9.2e} V  Eoff {:+.1e} Eon {:+.1e}  ledger {:.1e}  {:.2} ms",
        o.steps,
        o.iterations,
        o.refused,
        o.max,
        o.rms,
        o.e_off,
        o.e_on,
        o.residual,
        o.wall * 1e3
    );
}

#[test]
fn tables() {
    for method in METHODS {
        for h in [1e-9, 0.5e-9, 0.25e-9, 0.1e-9] {
            let o = solve(method, Steps { base: h, finest: 0, calm: 2 }, 1e-2);
            tell(&format!("{} fixed {:.2} ns", method.name, h * 1e9), &o);
        }
        for bound in [1.0, 0.1, 0.01, 1e-3] {
            let o = solve(method, Steps { base: 1e-7, finest: 11, calm: 2 }, bound);
            tell(&format!("{} windows {bound} V", method.name), &o);
        }
    }
}

#[test]
fn debug_esdirk() {
    let mut run = setup(&ESDIRK4, Steps { base: 1e-9, finest: 0, calm: 2 }, 1e-2).ready().expect("starts");
    for k in 1..52 {
        let r = run.advance(k as f64 * 1e-9, &mut ());
        println!("{k} {:?} {:?} {:?}", r, run.counters().iterations, &run.state().x[..9]);
        if r.is_err() {
            println!("{:?} {:?}", run.state().k, run.state().history);
            break;
        }
    }
}

#[test]
fn profile() {
    let fastest = |steps: Steps, bound: f64, method: &'static Method| {
        let mut best = (f64::INFINITY, 0, 0);
        for _ in 0..std::env::var("REPEAT").map_or(40, |x| x.parse().unwrap()) {
            let mut run = setup(method, steps, bound).ready().expect("starts");
            let start = std::time::Instant::now();
            run.advance(5.2e-6, &mut ()).unwrap();
            let c = run.counters();
            let wall = start.elapsed().as_secs_f64();
            if wall < best.0 {
                best = (wall, c.steps, c.iterations);
            }
        }
        println!(
            "{:?} {bound} {}: {:.3} ms, {} steps, {:.0} ns a step, {:.1} ns an iteration ({:.2} a stage)",
            steps.finest,
            method.name,
            best.0 * 1e3,
            best.1,
            best.0 * 1e9 / best.1 as f64,
            best.0 * 1e9 / best.2 as f64,
            best.2 as f64 / best.1 as f64 / (method.stages() - 1) as f64
        );
    };
    if std::env::var("ALL").is_ok() {
        fastest(Steps { base: 0.5e-9, finest: 0, calm: 2 }, 1e-2, &ESDIRK4);
        fastest(Steps { base: 0.5e-9, finest: 0, calm: 2 }, 1e-2, &joulestep_engine::step::method::TR_BDF2);
    }
    fastest(Steps { base: 1e-7, finest: 11, calm: 2 }, 1e-2, &ESDIRK4);
}

#[test]
fn train() {
    for (base, finest, calm, bound, ntol) in [
        (1e-7, 11, 2, 1e-2, 1e-2),
        (1e-7, 11, 1, 1e-2, 1e-2),
        (1e-6, 12, 1, 1e-2, 1e-2),
        (1e-6, 10, 1, 1e-2, 1e-2),
        (1e-6, 10, 1, 2e-2, 2e-2),
        (1e-6, 10, 1, 5e-2, 2e-2),
    ] {
        let r = ref1::<f64>(Duty::Train(100)).expect("builds");
        let mut s = Setup::new(r.circuit);
        s.steps = Steps { base, finest, calm };
        s.bounds = Bounds { voltage: bound, current: bound };
        s.tolerance.voltage = ntol;
        let mut run = s.ready().expect("starts");
        let start = std::time::Instant::now();
        run.advance(1e-3, &mut ()).unwrap();
        let wall = start.elapsed().as_secs_f64();
        let c = run.counters();
        println!(
            "base {base} finest {finest} calm {calm} bound {bound} newton {ntol}: {:.1} ms, {c:?} {:.0} ns/step {:.1} steps per edge",
            wall * 1e3,
            wall * 1e9 / c.steps as f64,
            c.steps as f64 / 200.0
        );
    }
}

#[test]
fn pieces() {
    let mut run = setup(&ESDIRK4, Steps { base: 1e-7, finest: 11, calm: 2 }, 1e-2).ready().expect("starts");
    run.advance(2.249e-6, &mut ()).unwrap();
    let n = 20000;
    let mut best = [f64::INFINITY; 4];
    for _ in 0..60 {
        let s = &mut run.stepper().solver;
        let time = |f: &mut dyn FnMut()| {
            let t = std::time::Instant::now();
            for _ in 0..n {
                f()
            }
            t.elapsed().as_secs_f64() / n as f64 * 1e9
        };
        let t = [
            time(&mut || s.evaluate()),
            time(&mut || {
                s.evaluate();
                s.eliminate()
            }),
        ];
        for k in 0..2 {
            best[k] = best[k].min(t[k]);
        }
    }
    println!("evaluate {:.1} with elimination {:.1}", best[0], best[1]);
}
