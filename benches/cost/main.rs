//! What a step costs on REF-1: device evaluation, elimination and the rest, one lane and several; what each device
//! costs, and what its derivatives add. `cargo bench --bench cost`; see benches/README.md.

#[allow(dead_code, reason = "shared with the tests")]
#[path = "../../tests/common/catalogued.rs"]
mod catalogued;
#[path = "../work_precision/clock.rs"]
mod clock;
mod devices;
#[allow(dead_code, reason = "shared with the tests")]
#[path = "../../tests/common/ref1.rs"]
mod ref1;

use joulestep_engine::accounts::counters::Counters;
use joulestep_engine::circuit::lockstep::DeviceLanes;
use joulestep_engine::recorder::Recorder;
use joulestep_engine::run::abreast::{Abreast, Seating};
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
        if let Err(why) =
            alone(method).and_then(|()| abreast::<f64x4>(method)).and_then(|()| abreast::<f64x8>(method))
        {
            println!("{}: {why}", method.name);
        }
    }
    println!(
        "(ns/iter: the whole step over its iterations; evaluate: copying the constant part and all devices; \
         rest: predictions, charges, powers, derivatives, local error)"
    );
    devices::print();
}

fn ready(method: &'static Method) -> Result<(Run<f64>, f64), String> {
    let r = ref1::<f64>(Duty::DoublePulse).map_err(|e| e.to_string())?;
    let mut setup = Setup::new(r.circuit);
    setup.method = method;
    setup.steps = STEPS;
    setup.bounds = Bounds::stated(10e-3, 10e-3);
    Ok((setup.ready().map_err(|e| e.to_string())?, r.end))
}

/// One row: the whole run, and the two halves of an iteration in the ringing.
fn alone(method: &'static Method) -> Result<(), String> {
    let (mut whole, mut evaluate, mut both) = (f64::INFINITY, f64::INFINITY, f64::INFINITY);
    let mut counters = Default::default();
    for _ in 0..ROUNDS {
        let (mut run, end) = ready(method)?;
        let start = clock::now();
        run.advance(end, &mut ()).map_err(|e| e.to_string())?;
        whole = whole.min((clock::now() - start) * 1e9);
        counters = run.counters();
        let (mut run, _) = ready(method)?;
        run.advance(RINGING, &mut ()).map_err(|e| e.to_string())?;
        let solver = &mut run.stepper().solver;
        evaluate = evaluate.min(nanoseconds(CALLS, || solver.evaluate()));
        both = both.min(nanoseconds(CALLS, || {
            solver.evaluate();
            solver.eliminate();
        }));
    }
    row(method, 1, counters, whole, (evaluate, both));
    Ok(())
}

/// The same of as many equal runs as there are lanes.
fn abreast<K: DeviceLanes>(method: &'static Method) -> Result<(), String> {
    let (mut whole, mut evaluate, mut both) = (f64::INFINITY, f64::INFINITY, f64::INFINITY);
    let mut counters = Default::default();
    for _ in 0..ROUNDS {
        let (_, run, spent) = together::<K>(method, None)?;
        whole = whole.min(spent);
        counters = run.map(|run| run.counters()).unwrap_or_default();
        let (mut lanes, ..) = together::<K>(method, Some(RINGING))?;
        let solver = &mut lanes.stepper().solver;
        evaluate = evaluate.min(nanoseconds(CALLS / K::WIDTH, || solver.evaluate()));
        both = both.min(nanoseconds(CALLS / K::WIDTH, || {
            solver.evaluate();
            solver.eliminate();
        }));
    }
    row(method, K::WIDTH, counters, whole, (evaluate, both));
    Ok(())
}

/// Lanes that are done, one of their runs, and the time that they took, ns.
type Together<K> = (Abreast<K>, Option<Run<f64>>, f64);

fn together<K: DeviceLanes>(method: &'static Method, until: Option<f64>) -> Result<Together<K>, String> {
    let (first, _) = ready(method)?;
    let mut lanes = Abreast::<K>::like(&first).ok_or("goes in no lanes")?;
    for _ in 0..K::WIDTH {
        let (run, end) = ready(method)?;
        let Seating::Sits(_) = lanes.seat(run, until.unwrap_or(end), &mut ()) else {
            return Err("no lane".into());
        };
    }
    let mut nobody = vec![(); K::WIDTH];
    let mut recorders: Vec<_> = nobody.iter_mut().map(|r| r as &mut dyn Recorder<f64>).collect();
    let mut last = None;
    let start = clock::now();
    while lanes.count() > 0 {
        last = lanes.advance(&mut recorders).pop().map(|over| over.run);
    }
    Ok((lanes, last, (clock::now() - start) * 1e9))
}

fn row(method: &Method, lanes: usize, counters: Counters, whole: f64, (evaluate, both): (f64, f64)) {
    let (steps, iterations) = (counters.steps as f64, counters.iterations as f64);
    let (per_step, rest) = (whole / steps, (whole - iterations * both) / steps);
    println!(
        "{:<10}{:>6}{:>9}{:>12.2}{:>9.0}{:>11.1}{:>10.1}{:>12.1}{:>12.0}{:>6.0}%{:>14.0}",
        method.name,
        lanes,
        counters.steps,
        iterations / steps / (method.stages() - 1) as f64,
        per_step,
        whole / iterations,
        evaluate,
        both - evaluate,
        rest,
        100.0 * rest / per_step,
        per_step / lanes as f64
    );
}

/// ns for one call.
fn nanoseconds(calls: usize, mut call: impl FnMut()) -> f64 {
    let start = clock::now();
    for _ in 0..calls {
        call();
    }
    (clock::now() - start) * 1e9 / calls as f64
}
