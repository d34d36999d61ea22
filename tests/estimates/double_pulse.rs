//! The reference double pulse: energies, extremes and end values against its reference solution.

use joulestep::judge::{Computed, Level, Number, estimated};
use joulestep_engine::circuit::graph::GROUND;
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::error::SolverError;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::step::bounds::Bounds;
use joulestep_engine::step::schedule::Steps;

use super::{Known, watch};
use crate::common::ref1::{Duty, ref1};
use crate::common::reference::Reference;

/// Halvings of the program's bound that are looked at.
const BOUNDS: i32 = 7;
/// Agreement of two independent solvers, V (see the reference).
const AGREES: f64 = 1.3e-6;
/// E_off and E_on of the reference, J; known to about seven digits.
const ENERGIES: [f64; 2] = [2.5520606779e-05, 0.00011326611366];

fn computed(level: Level, bound: f64, finest: u32) -> Result<Computed, SolverError> {
    let r = ref1::<f64>(Duty::DoublePulse).expect("it builds");
    let [_, switch, .., source, inner] = r.nodes;
    let drain =
        Probe::Sum(vec![(1.0, Probe::Branch(r.inductors[0], 0)), (-50.0, Probe::Voltage(switch, inner))]);
    let nodes = r.nodes.iter().map(|n| Probe::Voltage(*n, GROUND));
    let probes: Vec<Probe> = nodes.chain(r.inductors.iter().map(|c| Probe::Branch(*c, 0))).collect();
    let mut s = Setup::new(r.circuit);
    s.steps = Steps { base: 1e-7, finest, hold_off: 2 };
    s.bounds = Bounds::stated(bound, bound);
    s.integrals = vec![(Probe::Voltage(switch, source), drain)];
    s.watches = probes.iter().enumerate().map(|(k, p)| watch(&format!("x{k}"), p.clone())).collect();
    level.apply(&mut s);
    let mut run = s.ready().expect("it starts");
    let mut energy = Vec::new();
    for t in [2.2e-6, 3.2e-6, 4.2e-6, 5.2e-6] {
        run.advance(t, &mut ())?;
        energy.push(run.integral(0));
    }
    let mut numbers =
        vec![Number::plain("E_off", energy[1] - energy[0]), Number::plain("E_on", energy[2] - energy[1])];
    for (k, probe) in probes.iter().enumerate() {
        let seen = run.watcher().seen()[k];
        let number = |what: &str, value, missed| Number {
            name: format!("{what} x{k}"),
            value,
            missed,
            ..Number::default()
        };
        numbers.push(number("largest", seen.largest, seen.missed.1));
        numbers.push(number("least", seen.least, seen.missed.0));
        numbers.push(number("last", run.read(probe), 0.0));
    }
    let c = run.counters();
    println!("double pulse level {}: {} steps, {} iterations", level.0, c.steps, c.iterations);
    Ok(Computed { numbers, steps: c.steps, iterations: c.iterations, ..Computed::default() })
}

/// Extreme of a column with a sign: the largest row, and the parabola through it and its neighbours; what the two
/// differ by tells how far it is known.
fn extreme(reference: &Reference, column: usize, sign: f64) -> (f64, f64) {
    let (t, y) = (&reference.time, &reference.columns[column]);
    let k = (0..y.len()).max_by(|&a, &b| (sign * y[a]).total_cmp(&(sign * y[b]))).expect("rows");
    if k == 0 || k + 1 == y.len() {
        return (y[k], AGREES);
    }
    let (a, b) = (t[k - 1] - t[k], t[k + 1] - t[k]);
    let (fa, fb) = ((y[k - 1] - y[k]) / a, (y[k + 1] - y[k]) / b);
    let curve = (fb - fa) / (b - a);
    let slope = fa - curve * a;
    let top = y[k] - slope * slope / (4.0 * curve);
    // A parabola is better than what it adds; a tenth of that is kept as its own error.
    (top, AGREES + 0.1 * (top - y[k]).abs())
}

/// All numbers at several bounds.
pub fn all() -> Vec<Known> {
    let reference = Reference::load();
    let mut truth: Vec<(f64, f64)> = ENERGIES.map(|e| (e, 1e-7 * e)).to_vec();
    for column in 0..10 {
        let last = *reference.columns[column].last().expect("rows");
        truth.extend([extreme(&reference, column, 1.0), extreme(&reference, column, -1.0), (last, AGREES)]);
    }
    let mut all = Vec::new();
    // Every halving of the program's bound; the finest step follows, one halving to two of the bound.
    for halvings in 0..=BOUNDS {
        let (bound, finest) = (0.1 * 0.5f64.powi(halvings), 10 + (halvings as u32).div_ceil(2));
        let (fine, errors) = estimated(|level| computed(level, bound, finest)).expect("it is solved");
        let each = fine.numbers.into_iter().zip(errors).zip(&truth);
        all.extend(each.map(|((number, error), &(truth, known))| Known {
            name: format!("double pulse {bound:.0e} {}", number.name),
            value: number.value,
            truth,
            known,
            error,
        }));
    }
    all
}
