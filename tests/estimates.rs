//! The error that a run tells of its own numbers (three runs, grid convergence index: P. J. Roache, J. Fluids Eng. 116
//! (1994) 405), held against true errors on problems with known answers.
//!
//! A good estimate lies between half and five times the true error. Nothing is tuned to a case: every problem is run as
//! a user would, at several bounds of the local error.
//!
//! The aim is 95 % of the numbers between half and five times, and none below a quarter. What is reached (295 numbers):
//! 67 % between, 32 % above, two below half, the least 0.34. Those above are cautious for a reason: either the runs do
//! not converge, because steps are decided by what has passed since an edge or by Newton's count rather than by bounds,
//! or the ratio of the differences lies between 1.3 and 2.

mod circuits;
mod converters;
mod double_pulse;

use joulestep::judge::{Computed, Level, Number, Uncertainty, estimated};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::error::SolverError;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::run::watch::Watch;
use joulestep_engine::step::bounds::Bounds;
use joulestep_engine::step::schedule::Steps;

use crate::published_ivps::posed;

/// A number whose true value is known.
pub struct Known {
    /// Problem, bound and name.
    pub name: String,
    /// What the run gave.
    pub value: f64,
    /// True value.
    pub truth: f64,
    /// How far that is known, absolute.
    pub known: f64,
    /// What the runs tell.
    pub error: Uncertainty,
}

/// Shares of all numbers.
#[derive(Default)]
struct Tally {
    all: usize,
    /// Between half and five times the true error.
    good: usize,
    /// Below half.
    low: usize,
    /// Above five times.
    high: usize,
    least: f64,
}

fn tally(all: &[Known]) -> Tally {
    let mut tally = Tally { least: f64::INFINITY, ..Tally::default() };
    for k in all {
        let off = (k.value - k.truth).abs();
        let Some(plus_minus) = k.error.plus_minus() else {
            println!("{:48} off {off:9.2e}  {:?}", k.name, k.error);
            continue;
        };
        let ratio = plus_minus / off;
        // What is as good as its reference, or as rounding, cannot be compared.
        let comparable = off > 10.0 * k.known;
        let report = if comparable { format!("{ratio:8.2}") } else { "       -".into() };
        println!("{:48} off {off:9.2e}  ± {plus_minus:9.2e} {report}  {}", k.name, k.error.word());
        if comparable {
            tally.all += 1;
            tally.least = tally.least.min(ratio);
            match ratio {
                r if r < 0.5 => tally.low += 1,
                r if r > 5.0 => tally.high += 1,
                _ => tally.good += 1,
            }
        }
    }
    println!(
        "{} numbers: {} from half to five times, {} below, {} above; the least {:.2}",
        tally.all, tally.good, tally.low, tally.high, tally.least
    );
    tally
}

/// Keeps the extremes of a probe.
pub fn watch(name: &str, probe: Probe) -> Watch {
    Watch {
        name: name.into(),
        long_name: name.into(),
        unit: probe.unit(),
        probe,
        subject: String::new(),
        event: None,
        lower: f64::NEG_INFINITY,
        upper: f64::INFINITY,
        during: joulestep_engine::run::watch::ALWAYS,
    }
}

/// Steps and bound of a case.
#[derive(Clone, Copy)]
pub struct Case {
    pub base: f64,
    pub finest: u32,
    pub bound: f64,
}

/// Runs what a closure sets up at three levels; `read` takes the numbers.
pub fn run(
    name: &str,
    case: Case,
    end: f64,
    setup: impl Fn() -> Setup<f64> + Sync,
    read: impl Fn(&joulestep_engine::run::time_loop::Run<f64>) -> Vec<Number> + Sync,
    truth: &[(f64, f64)],
) -> Vec<Known> {
    let at = |level: Level| -> Result<Computed, SolverError> {
        let mut s = setup();
        s.steps = Steps { base: case.base, finest: case.finest, hold_off: 2 };
        s.bounds = Bounds::stated(case.bound, case.bound);
        level.apply(&mut s);
        let mut run = s.ready().expect("it starts");
        run.advance(end, &mut ())?;
        let counters = run.counters();
        let numbers = read(&run);
        let (steps, iterations) = (counters.steps, counters.iterations);
        Ok(Computed { numbers, steps, iterations, ..Computed::default() })
    };
    let (fine, errors) = estimated(at).expect("it is solved");
    println!("{name} base {:.0e} bound {:.0e}: {} steps", case.base, case.bound, fine.steps);
    let each = fine.numbers.into_iter().zip(errors).zip(truth);
    each.map(|((number, error), &(truth, known))| Known {
        name: format!("{name} {:.0e} {:.0e} {}", case.base, case.bound, number.name),
        value: number.value,
        truth,
        known,
        error,
    })
    .collect()
}

fn ivps() -> Vec<Known> {
    let mut all = Vec::new();
    for p in posed() {
        let (_, probes) = p.problem.setup();
        let scales: Vec<f64> = (0..probes.len()).map(|k| p.problem.scale(k)).collect();
        let truth: Vec<(f64, f64)> = p.answer.iter().map(|y| (*y, p.known * y.abs())).collect();
        for &bound in p.bounds {
            let setup = || p.problem.setup().0;
            let read = |run: &joulestep_engine::run::time_loop::Run<f64>| {
                let value = |(k, probe): (usize, &Probe)| {
                    Number::plain(format!("y{}", k + 1), run.read(probe) * scales[k])
                };
                probes.iter().enumerate().map(value).collect()
            };
            let case = Case { base: p.steps.0, finest: p.steps.1, bound };
            all.extend(run(p.name, case, p.end, setup, read, &truth));
        }
    }
    all
}

#[test]
fn estimated_errors_are_near_true_errors() {
    let mut all = circuits::all();
    all.extend(double_pulse::all());
    all.extend(ivps());
    let found = tally(&all);
    assert!(found.all > 150, "{} numbers were compared", found.all);
    // An error told too small is what must not happen; one told too large costs the user a finer run.
    assert!(50 * found.low <= found.all, "{} of {} below half", found.low, found.all);
    assert!(100 * found.good >= 60 * found.all, "{} of {} between half and five", found.good, found.all);
    assert!(found.low + found.good + found.high == found.all && found.least > 0.25, "{}", found.least);
}

/// Peaks of ringing after edges, where the runs of an estimate differ by chance as much as by their bounds. 8 of 209
/// numbers are below half; with coarser runs at 16 and 256 times the bounds, and ratios up to 16, 50 would be. The least,
/// 0.012, is that of a gate that rises above its 10 V by 0.6 µV.
#[test]
fn estimated_errors_of_switching_circuits_cover() {
    let found = tally(&converters::all());
    assert!(found.all > 150, "{} numbers were compared", found.all);
    assert!(20 * found.low <= found.all, "{} of {} below half", found.low, found.all);
}
