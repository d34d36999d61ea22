//! What a temperature does within a cycle: its range, what of it follows the switching, and its harmonics.

use std::f64::consts::TAU;

use joulestep_engine::thermal::modal::Modal;
use joulestep_engine::thermal::run::Thermal;

use super::site::Power;

/// Ranges within a cycle of one heat input, K.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Within {
    /// Least less mean (not above zero).
    pub least: f64,
    /// Largest less mean.
    pub largest: f64,
    /// The heat's own mean temperature less the mean.
    pub lag: f64,
}

/// Ripple of one heat input, peak to peak, K.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Apart {
    /// Response to the mean power of each switching period: line-frequency ripple. Zero where the control repeats with
    /// every switching period.
    pub line: f64,
    /// The largest range within a switching period of what is left: switching-frequency ripple.
    pub switching: f64,
}

/// One harmonic of a cycle.
#[derive(Clone, Debug, PartialEq)]
pub struct Harmonic {
    /// Its number.
    pub number: u32,
    /// Frequency, Hz.
    pub frequency: f64,
    /// Amplitude of the power of each heat input, W.
    pub power: Vec<f64>,
    /// Amplitude of the temperature of each heat input, K: |Σ Z(jω)·P|.
    pub temperature: Vec<f64>,
}

/// Temperatures over a cycle that repeats, at the ends of its steps, from the one at its begin on: exact.
fn periodic(network: &mut Thermal<f64>, course: &Power) -> Vec<Vec<f64>> {
    network.start_periodic(course);
    let mut out = vec![network.temperatures().to_vec()];
    for (dt, power) in course {
        network.advance(*dt, power);
        out.push(network.temperatures().to_vec());
    }
    out
}

/// Least and largest of each input against its mean over the cycle. `network` is only worked with.
pub fn within(network: &mut Thermal<f64>, course: &Power) -> Vec<Within> {
    let all = periodic(network, course);
    let span: f64 = course.iter().map(|c| c.0).sum();
    let one = |k: usize| {
        let steps =
            || course.iter().zip(all.windows(2)).map(|((dt, p), w)| (dt, p[k], 0.5 * (w[0][k] + w[1][k])));
        let mean = steps().map(|(dt, _, t)| dt * t).sum::<f64>() / span;
        let heat: f64 = steps().map(|(dt, p, _)| dt * p).sum();
        let lag: f64 = steps().map(|(dt, p, t)| dt * p * (t - mean)).sum();
        let ends = all.iter().map(|t| t[k] - mean);
        let (low, high) = ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), x| (a.min(x), b.max(x)));
        Within { least: low, largest: high, lag: if heat > 0.0 { lag / heat } else { 0.0 } }
    };
    (0..network.temperatures().len()).map(one).collect()
}

/// The ripple of each input, apart: the network is linear, so its response to the mean power of each of `slots`
/// switching periods and what is left add up.
pub fn apart(network: &mut Thermal<f64>, course: &Power, slots: u32) -> Vec<Apart> {
    let inputs = network.temperatures().len();
    let span: f64 = course.iter().map(|c| c.0).sum();
    let slot = span / f64::from(slots);
    let number = |t: f64| ((t / slot) as usize).min(slots as usize - 1);
    // The middle of a step gives the slot it belongs to: edges of slots are ends of steps, nearly.
    let mut t = 0.0;
    let mut of_step = Vec::with_capacity(course.len());
    let mut sums = vec![(0.0, vec![0.0; inputs]); slots as usize];
    for (dt, power) in course {
        let k = number(t + 0.5 * dt);
        of_step.push(k);
        sums[k].0 += dt;
        sums[k].1.iter_mut().zip(power).for_each(|(s, p)| *s += dt * p);
        t += dt;
    }
    let mean = |k: usize| sums[k].1.iter().map(|s| s / sums[k].0).collect::<Vec<f64>>();
    let smooth: Power = course.iter().zip(&of_step).map(|((dt, _), &k)| (*dt, mean(k))).collect();
    let (all, slow) = (periodic(network, course), periodic(network, &smooth));
    let range = |values: &mut dyn Iterator<Item = f64>| {
        let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), x| (a.min(x), b.max(x)));
        if high >= low { high - low } else { 0.0 }
    };
    let one = |i: usize| {
        let line = if slots > 1 { range(&mut slow.iter().map(|t| t[i])) } else { 0.0 };
        let mut switching = 0.0f64;
        let mut first = 0;
        while first < of_step.len() {
            let last = first + of_step[first..].iter().take_while(|k| **k == of_step[first]).count();
            let mut rest = (first..=last).map(|k| all[k][i] - slow[k][i]);
            switching = switching.max(range(&mut rest));
            first = last;
        }
        Apart { line, switching }
    };
    (0..inputs).map(one).collect()
}

/// Harmonics of the power of a cycle that repeats, and the network's answer to each. Power is constant within a step,
/// so the integrals ∫ P·e^(−jωt) dt are exact.
pub fn harmonics(modal: &Modal<f64>, course: &Power, numbers: &[u32]) -> Vec<Harmonic> {
    let inputs = modal.inputs().len();
    let span: f64 = course.iter().map(|c| c.0).sum();
    let one = |&number: &u32| {
        let frequency = f64::from(number) / span;
        let omega = TAU * frequency;
        let mut sums = vec![(0.0, 0.0); inputs];
        let (mut t, mut then) = (0.0, (1.0, 0.0));
        for (dt, power) in course {
            t += dt;
            let (sin, cos) = (omega * t).sin_cos();
            // (e^(−jωt₁) − e^(−jωt₂))/(jω) = ((sin t₂ − sin t₁) + j(cos t₂ − cos t₁))/ω
            let (re, im) = ((sin - then.1) / omega, (cos - then.0) / omega);
            sums.iter_mut().zip(power).for_each(|(s, p)| {
                s.0 += p * re;
                s.1 += p * im;
            });
            then = (cos, sin);
        }
        let phasors: Vec<(f64, f64)> = sums.iter().map(|s| (2.0 / span * s.0, 2.0 / span * s.1)).collect();
        let answer = |at: usize| {
            let (mut re, mut im) = (0.0, 0.0);
            for (from, p) in phasors.iter().enumerate() {
                let z = modal.impedance(omega, at, from);
                re += z.0 * p.0 - z.1 * p.1;
                im += z.0 * p.1 + z.1 * p.0;
            }
            f64::hypot(re, im)
        };
        Harmonic {
            number,
            frequency,
            power: phasors.iter().map(|p| p.0.hypot(p.1)).collect(),
            temperature: (0..inputs).map(answer).collect(),
        }
    };
    numbers.iter().map(one).collect()
}

/// The harmonics to look at: the first twelve of a cycle; where it holds many switching periods, also those about the
/// switching frequency and twice it.
pub fn numbers(slots: u32) -> Vec<u32> {
    let mut all: Vec<u32> = (1..=12).collect();
    if slots > 20 {
        for centre in [slots, 2 * slots] {
            all.extend(centre - 4..=centre + 4);
        }
    }
    all
}
