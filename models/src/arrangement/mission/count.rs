//! Temperature cycles of a mission, counted.

use joulestep_engine::cycle::rainflow::{Counted, rainflow, rainflow_repeating};

use super::Followed;

/// Counted ranges of one heat input.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Cycles {
    /// Of its course over the mission: maxima with the ripple's largest, minima with its least (ASTM E1049-85).
    pub mission: Vec<Counted>,
    /// Of its ripple: each cycle of the control once, by its range.
    pub ripple: Vec<Counted>,
}

/// The turning points of the mean temperature, each with the part of the ripple that lies outwards.
fn outwards(means: &[f64], least: &[f64], largest: &[f64]) -> Vec<f64> {
    let n = means.len();
    let one = |k: usize| {
        let before = if k > 0 { means[k] - means[k - 1] } else { means[k] - means[(k + 1).min(n - 1)] };
        let after = if k + 1 < n { means[k + 1] - means[k] } else { -before };
        match (before > 0.0, after > 0.0) {
            (true, false) => means[k] + largest[k],
            (false, true) => means[k] + least[k],
            _ => means[k],
        }
    };
    (0..n).map(one).collect()
}

/// Counts the temperature of one heat input. With `repeating`, the mission is counted as one that begins anew.
pub fn count(followed: &Followed, input: usize, repeating: bool) -> Cycles {
    let course = &followed.course;
    let of = |f: &dyn Fn(&super::Instant) -> f64| course.iter().map(f).collect::<Vec<f64>>();
    let means = of(&|i| i.celsius[input]);
    let history = outwards(&means, &of(&|i| i.within[input].least), &of(&|i| i.within[input].largest));
    let mission = if repeating { rainflow_repeating(&history) } else { rainflow(&history) };
    let ripple = course.windows(2).map(|w| {
        let within = w[1].within[input];
        Counted {
            range: within.largest - within.least,
            mean: 0.5 * (w[0].celsius[input] + w[1].celsius[input]),
            count: (w[1].time - w[0].time) / followed.period.0,
        }
    });
    Cycles { mission, ripple: ripple.collect() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ripple_widens_the_turning_points_only() {
        let ripple = ([-1.0; 5], [2.0; 5]);
        let seen = outwards(&[10.0, 20.0, 30.0, 20.0, 25.0], &ripple.0, &ripple.1);
        assert_eq!(seen, [9.0, 20.0, 32.0, 19.0, 27.0]);
    }
}
