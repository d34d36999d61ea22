//! The reference double pulse at instants of its reference solution.

use joulestep::judge::{Computed, Level, Number, estimated};
use joulestep_engine::circuit::graph::GROUND;
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::step::schedule::Steps;
use joulestep_engine::trouble::Trouble;

use super::Known;
use crate::common::ref1::{Duty, ref1};
use crate::common::reference::Reference;

/// Agreement of two independent solvers, V (see the reference).
const AGREES: f64 = 1.3e-6;
/// Every so many rows of the reference are compared.
const EVERY: usize = 125;

/// Energies from `tests/reference_solution.rs`, J; known to about seven digits.
const ENERGIES: [(&str, f64); 2] = [("E_off", 2.5520606779e-05), ("E_on", 0.00011326611366)];

fn computed(level: Level, bound: f64, finest: u32, instants: &[f64]) -> Result<Computed, Trouble> {
    let r = ref1::<f64>(Duty::DoublePulse).expect("it builds");
    let [_, switch, .., source, inner] = r.nodes;
    let drain =
        Probe::Sum(vec![(1.0, Probe::Branch(r.inductors[0], 0)), (-50.0, Probe::Voltage(switch, inner))]);
    let probes: Vec<Probe> = r
        .nodes
        .iter()
        .map(|n| Probe::Voltage(*n, GROUND))
        .chain(r.inductors.iter().map(|c| Probe::Branch(*c, 0)))
        .collect();
    let mut s = Setup::new(r.circuit);
    s.steps = Steps { base: 1e-7, finest, calm: 2 };
    (s.bounds.voltage, s.bounds.current) = (bound, bound);
    s.integrals = vec![(Probe::Voltage(switch, source), drain)];
    level.apply(&mut s);
    let mut run = s.ready().expect("it starts");
    let mut numbers = Vec::new();
    let mut stops: Vec<f64> = instants.iter().copied().chain([2.2e-6, 3.2e-6, 4.2e-6, 5.2e-6]).collect();
    stops.sort_by(f64::total_cmp);
    let (mut energy, mut marks) = (Vec::new(), [2.2e-6, 3.2e-6, 4.2e-6].into_iter().peekable());
    for t in stops {
        run.advance(t, &mut ())?;
        if marks.next_if_eq(&t).is_some() {
            energy.push(run.integral(0));
        }
        if instants.contains(&t) {
            let at = |(k, p): (usize, &Probe)| Number::plain(format!("x{k} at {:.4} us", 1e6 * t), run.read(p));
            numbers.extend(probes.iter().enumerate().map(at));
        }
    }
    numbers.push(Number::plain("E_off", energy[1] - energy[0]));
    numbers.push(Number::plain("E_on", energy[2] - energy[1]));
    let c = run.counters();
    println!("level {}: {} steps, {} iterations", level.0, c.steps, c.iterations);
    Ok(Computed { numbers, course: Vec::new(), steps: c.steps, iterations: c.iterations })
}

/// All numbers at several bounds.
pub fn all() -> Vec<Known> {
    let reference = Reference::load();
    let rows: Vec<usize> = (1..reference.time.len()).step_by(EVERY).collect();
    let instants: Vec<f64> = rows.iter().map(|&k| reference.time[k]).collect();
    let mut truth: Vec<(f64, f64)> = Vec::new();
    for &row in &rows {
        truth.extend(reference.columns.iter().map(|c| (c[row], AGREES)));
    }
    truth.extend(ENERGIES.map(|(_, e)| (e, 1e-7 * e)));
    let mut all = Vec::new();
    for (bound, finest) in [(1.0, 9), (0.1, 10), (1e-2, 12), (1e-3, 14)] {
        let (fine, errors) =
            estimated(|level| computed(level, bound, finest, &instants)).expect("it is solved");
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
