//! Small helpers for circuits built by hand in checks.

use joulestep_engine::circuit::graph::{ChoiceId, Circuit, ComponentId, GROUND, LineId, NodeId, WaveId};
use joulestep_engine::circuit::probe::{Channel, Probe};
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::control::drive::Gate;
use joulestep_engine::control::sequence::{Deed, ScheduledEvent, Sequence};
use joulestep_engine::run::setup::Setup;
use joulestep_engine::step::schedule::Steps;
use joulestep_engine::step::stage::Tolerance;

/// Every step is `h` long, s.
pub fn fixed(h: f64) -> Steps {
    Steps { base: h, finest: 0, hold_off: 2 }
}

/// Newton's iteration to round-off, so that only the method's own error is left.
pub fn tight() -> Tolerance {
    Tolerance { voltage: 1e-8, current: 1e-8, relative: 1e-9, iterations: 20 }
}

/// A voltage source from a new node to ground.
pub fn supply(c: &mut Circuit<f64>, name: &str, wave: Wave<f64>) -> (NodeId, ComponentId) {
    let node = c.node(name);
    let wave = c.wave(wave);
    let id = c.voltage_source(&format!("source-{name}"), node, GROUND, wave).unwrap();
    (node, id)
}

/// Voltage of a node against ground.
pub fn v(node: NodeId) -> Probe {
    Probe::Voltage(node, GROUND)
}

/// A channel of the probe's.
pub fn channel(name: &str, probe: Probe) -> Channel {
    Channel { name: name.into(), long_name: name.into(), probe }
}

/// A sequence of deeds at instants (s).
pub fn sequence(setup: &mut Setup<f64>, deeds: &[(f64, Deed)]) {
    let event =
        |&(at, deed): &(f64, Deed)| ScheduledEvent { at, subject: String::new(), note: String::new(), deed };
    let events = deeds.iter().map(event).collect();
    setup.controllers.push(Box::new(Sequence::new("sequence", events).unwrap()));
}

/// A line set to true at an instant.
pub fn raise(line: LineId) -> Deed {
    Deed::Set(line, true)
}

/// What a drive moves of an ideal switch: its choice, and a source of 0 and 1 V.
pub fn gate(name: &str, wave: WaveId, choice: ChoiceId) -> Gate<f64> {
    let name = name.to_string();
    Gate {
        name,
        wave,
        choice,
        on: 1.0,
        off: 0.0,
        rise: 1e-9,
        fall: 1e-9,
        starts_on: false,
        state: None,
        clamp: None,
    }
}

/// Asserts a relative difference, and prints it.
pub fn near(what: &str, found: f64, expected: f64, relative: f64) {
    let off = if expected == 0.0 { found.abs() } else { (found / expected - 1.0).abs() };
    println!("{what}: {found:.12e}, expected {expected:.12e}, off by {off:.1e} of {relative:.0e}");
    assert!(off <= relative, "{what}: found {found:e}, expected {expected:e}, off by {off:e}");
}

/// Instant and value of the largest sample, by the parabola through it and its neighbours.
pub fn peak(time: &[f64], values: &[f64]) -> (f64, f64) {
    let k = (1..values.len() - 1).max_by(|&a, &b| values[a].total_cmp(&values[b])).unwrap();
    let (a, b) = (time[k - 1] - time[k], time[k + 1] - time[k]);
    let (fa, fb) = ((values[k - 1] - values[k]) / a, (values[k + 1] - values[k]) / b);
    let curve = (fb - fa) / (b - a);
    let slope = fa - curve * a;
    (time[k] - slope / (2.0 * curve), values[k] - slope * slope / (4.0 * curve))
}

/// The first instant at which the samples fall to `level`, by a straight line between the last two above `level`
/// plus `margin` (what comes after may be another law's).
pub fn falls_to(time: &[f64], values: &[f64], level: f64, margin: f64) -> f64 {
    let high = values.iter().position(|&x| x > level + 2.0 * margin).unwrap();
    let k = high + values[high..].iter().position(|&x| x < level + margin).unwrap();
    let slope = (values[k - 1] - values[k - 2]) / (time[k - 1] - time[k - 2]);
    time[k - 1] + (level - values[k - 1]) / slope
}

/// −log₁₀ of the largest relative error: the number of correct digits, as the Test Set for IVP Solvers counts them.
pub fn scd(found: &[f64], reference: &[f64]) -> f64 {
    let worst = found.iter().zip(reference).map(|(y, r)| (y / r - 1.0).abs()).fold(0.0, f64::max);
    -worst.log10()
}

/// One column of samples.
pub fn column(samples: &[Vec<f64>], k: usize) -> Vec<f64> {
    samples.iter().map(|s| s[k]).collect()
}
