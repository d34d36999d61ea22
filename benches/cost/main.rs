//! What a step costs on REF-1: device evaluation, elimination and the rest, one lane and several; what each device
//! costs, and what its derivatives add. `cargo bench --bench cost`; see benches/README.md.

#[allow(dead_code, reason = "shared with the tests")]
#[path = "../../tests/common/catalogued.rs"]
mod catalogued;
mod devices;
#[allow(dead_code, reason = "shared with the tests")]
#[path = "../../tests/common/ref1.rs"]
mod ref1;

use std::time::Instant;

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::run::time_loop::Run;
use joulestep_engine::step::bounds::Bounds;
use joulestep_engine::step::method::{METHODS, Method};
use joulestep_engine::step::schedule::Steps;
use wide::{f64x4, f64x8};

use ref1::{Duty, ref1};

/// Windows as the program's default bound finds them.
const STEPS: Steps = Steps { base: 1e-6, finest: 11, hold_off: 2 };
/// In the ringing after the first turn-off, s: where most steps are.
const RINGING: f64 = 2.249e-6;
/// Repeats; the best counts.
const ROUNDS: usize = 60;
/// Calls per timing of a part.
const CALLS: usize = 20_000;

fn main() {
    println!("REF-1 (two pulses, windows found by the program), best of {ROUNDS}; ns for all lanes together");
    println!(
        "{:<10}{:>6}{:>9}{:>12}{:>9}{:>11}{:>10}{:>12}{:>12}{:>7}{:>14}",
        "method",
        "lanes",
        "steps",
        "iter/stage",
        "ns/step",
        "ns/iter",
        "evaluate",
        "eliminate",
        "rest/step",
        "rest",
        "ns/step/lane"
    );
    for method in METHODS {
        step::<f64>(method);
        step::<f64x4>(method);
        step::<f64x8>(method);
    }
    println!(
        "(ns/iter: the whole step over its iterations; evaluate: copying the constant part and all devices; \
         rest: predictions, charges, powers, derivatives, local error)"
    );
    devices::print();
}

fn ready<L: Lane>(method: &'static Method) -> Option<(Run<L>, f64)> {
    let describe = |e: String| println!("{}: {e}", method.name);
    let r = ref1::<L>(Duty::DoublePulse).map_err(|e| describe(e.to_string())).ok()?;
    let mut setup = Setup::new(r.circuit);
    setup.method = method;
    setup.steps = STEPS;
    setup.bounds = Bounds::stated(10e-3, 10e-3);
    let run = setup.ready().map_err(|e| describe(e.to_string())).ok()?;
    Some((run, r.end))
}

/// One row: the whole run, and the two halves of an iteration in the ringing.
fn step<L: Lane>(method: &'static Method) {
    let (mut whole, mut evaluate, mut both) = (f64::INFINITY, f64::INFINITY, f64::INFINITY);
    let mut counters = Default::default();
    for _ in 0..ROUNDS {
        let Some((mut run, end)) = ready::<L>(method) else { return };
        let start = Instant::now();
        if let Err(e) = run.advance(end, &mut ()) {
            println!("{}: {e}", method.name);
            return;
        }
        whole = whole.min(start.elapsed().as_secs_f64() * 1e9);
        counters = run.counters();
        let Some((mut run, _)) = ready::<L>(method) else { return };
        if run.advance(RINGING, &mut ()).is_err() {
            return;
        }
        let solver = &mut run.stepper().solver;
        evaluate = evaluate.min(nanoseconds(CALLS / L::WIDTH, || solver.evaluate()));
        both = both.min(nanoseconds(CALLS / L::WIDTH, || {
            solver.evaluate();
            solver.eliminate();
        }));
    }
    let (steps, iterations) = (counters.steps as f64, counters.iterations as f64);
    let (per_step, rest) = (whole / steps, (whole - iterations * both) / steps);
    println!(
        "{:<10}{:>6}{:>9}{:>12.2}{:>9.0}{:>11.1}{:>10.1}{:>12.1}{:>12.0}{:>6.0}%{:>14.0}",
        method.name,
        L::WIDTH,
        counters.steps,
        iterations / steps / (method.stages() - 1) as f64,
        per_step,
        whole / iterations,
        evaluate,
        both - evaluate,
        rest,
        100.0 * rest / per_step,
        per_step / L::WIDTH as f64
    );
}

/// ns for one call.
fn nanoseconds(calls: usize, mut call: impl FnMut()) -> f64 {
    let start = Instant::now();
    for _ in 0..calls {
        call();
    }
    start.elapsed().as_secs_f64() * 1e9 / calls as f64
}
