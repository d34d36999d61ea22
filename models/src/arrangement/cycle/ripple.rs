//! Temperatures over a period that repeats.

use std::ops::Range;

use joulestep_engine::cycle::rainflow::{Counted, rainflow};
use joulestep_engine::thermal::run::Thermal;

use crate::arrangement::losses::Record;

/// Temperature of a heat input over a period.
#[derive(Clone, Debug, PartialEq)]
pub struct Ripple {
    /// Name of the input.
    pub name: String,
    /// Mean power, W.
    pub power: f64,
    /// Mean temperature, °C: the device laws were held at it, but for the last change, which the errors count.
    pub mean: f64,
    /// Smallest and largest temperature at the ends of steps, °C.
    pub extremes: (f64, f64),
    /// Ranges of the temperature within the period, counted (ASTM E1049-85).
    pub counted: Vec<Counted>,
    /// The heat's own mean temperature less the mean, K: by so much did the laws lag where it mattered, because they
    /// were held over the period.
    pub lag: f64,
    /// What that may have done to the temperatures, K: to first order, with the dependence of the powers on
    /// temperature that the rounds showed; where temperatures never moved enough to show it, with `STEEPEST`.
    pub coupling_error: f64,
    /// What that, and the rest by which the rounds stand still, may have done to the mean power, W.
    pub power_error: f64,
}

/// Power of each input over each step of a record.
pub(super) struct Heats {
    /// Of the steps, s.
    lengths: Vec<f64>,
    /// Of each input, W.
    power: Vec<Vec<f64>>,
}

impl Heats {
    /// From the instant `from`, s, on; the channels of the inputs are integrals.
    pub(super) fn of(record: &Record<'_>, from: f64, channels: Range<usize>) -> Self {
        let (mut lengths, mut power) = (Vec::new(), vec![Vec::new(); channels.len()]);
        for (t, rows) in record.time.windows(2).zip(record.rows.windows(2)) {
            let dt = t[1] - t[0];
            if t[0] < from || dt <= 0.0 {
                continue;
            }
            lengths.push(dt);
            let energies = rows[1][channels.clone()].iter().zip(&rows[0][channels.clone()]);
            power.iter_mut().zip(energies).for_each(|(power, (now, then))| power.push((now - then) / dt));
        }
        Self { lengths, power }
    }
}

pub(super) fn watts(ripple: &[Ripple]) -> Vec<f64> {
    ripple.iter().map(|r| r.power).collect()
}

/// What the inputs of a network do in a period (s) of such powers that repeats.
pub(super) fn ripple(network: &Thermal<f64>, heats: &Heats, period: f64) -> Vec<Ripple> {
    let Heats { lengths, power } = heats;
    let courses = network.course(lengths, power);
    let one = |((name, course), power): ((&String, &Vec<f64>), &Vec<f64>)| {
        let mean =
            |values: &mut dyn Iterator<Item = (f64, f64)>| values.map(|(dt, x)| dt * x).sum::<f64>() / period;
        let steps = || {
            let middles = course.windows(2).map(|w| 0.5 * (w[0] + w[1]));
            lengths.iter().zip(power).zip(middles).map(|((dt, p), t)| (*dt, *p, t))
        };
        let watts = mean(&mut steps().map(|(dt, p, _)| (dt, p)));
        let celsius = mean(&mut steps().map(|(dt, _, t)| (dt, t)));
        let lag = mean(&mut steps().map(|(dt, p, t)| (dt, p * (t - celsius))));
        let low = course.iter().copied().fold(f64::INFINITY, f64::min);
        let high = course.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        Ripple {
            name: name.clone(),
            power: watts,
            mean: celsius,
            extremes: (low, high),
            counted: rainflow(course),
            lag: if watts > 0.0 { lag / watts } else { 0.0 },
            coupling_error: 0.0,
            power_error: 0.0,
        }
    };
    network.modal().inputs().iter().zip(&courses).zip(power).map(one).collect()
}
