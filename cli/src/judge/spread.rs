//! What the spread of the input does to a number: the law of propagation by central differences.
//!
//! Each input is moved by one standard deviation to either side; half the difference is what it does to a number. The
//! number's standard deviation is the root of the sum of their squares (JCGM 100:2008, Guide to the expression of
//! uncertainty in measurement, 5.1.2), with correlation coefficients the root of the double sum of its 5.2.2.
//!
//! That law is linear, and says so where it does not hold: where the second differences are more than [`LINEAR`] of the
//! first, or where a run far out (inputs moved together to where the law puts some judged number [`FACTOR`] deviations
//! away) misses what the law says of the number by more than [`LINEAR`] of those deviations. What differs by less than
//! the numerical errors of the runs is no nonlinearity.

use serde::Serialize;

use super::error::Uncertainty;
use super::estimate::Computed;

/// Standard deviations that are judged: for a normal distribution 99.7 % lie within.
pub const FACTOR: f64 = 3.0;
/// Second differences over first differences up to which a number counts as linear.
pub const LINEAR: f64 = 0.25;
/// Standard deviations of a number below which an error of its runs, relative to it, is no spread at all.
const NOTHING: f64 = 1e-9;

/// What is known of a number's spread.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Spread {
    /// Linear enough.
    Linear {
        /// One standard deviation, in the number's unit (K for a temperature).
        deviation: f64,
    },
    /// Less than the numerical error of the runs that were compared: what was found is mostly that error.
    Unresolved {
        /// One standard deviation as found.
        deviation: f64,
    },
    /// Not linear: no standard deviation describes how far it spreads.
    NotLinear {
        /// Why.
        why: String,
    },
}

impl Spread {
    /// ± that is judged: [`FACTOR`] standard deviations.
    pub fn plus_minus(&self) -> Option<f64> {
        match self {
            Self::Linear { deviation } | Self::Unresolved { deviation } => Some(FACTOR * deviation),
            Self::NotLinear { .. } => None,
        }
    }

    /// A number's error with its spread.
    pub fn beside(&self, error: &Uncertainty) -> Uncertainty {
        match (self.plus_minus(), error) {
            (Some(spread), Uncertainty::Bare) => Uncertainty::within(spread),
            (Some(spread), known) => known.clone().plus(spread),
            (None, _) => match self {
                Self::NotLinear { why } => Uncertainty::not_estimated(why),
                Self::Linear { .. } | Self::Unresolved { .. } => error.clone(),
            },
        }
    }
}

/// What runs give with one input moved by a standard deviation to either side.
#[derive(Clone, Debug)]
pub struct Moved {
    /// The input's name.
    pub name: String,
    /// Below, above.
    pub ends: [Result<Computed, String>; 2],
}

/// What a run gives far out.
#[derive(Clone, Debug)]
pub struct Far {
    /// Of each input, how many standard deviations it was moved by.
    pub by: Vec<f64>,
    /// What it gives.
    pub computed: Result<Computed, String>,
}

/// What an end of a course differs in, if it does.
fn unlike(centre: &Computed, other: &Result<Computed, String>) -> Option<String> {
    match other {
        Err(why) => Some(why.clone()),
        Ok(other) if other.course != centre.course => Some("protection acts otherwise".into()),
        Ok(other) if other.numbers.len() != centre.numbers.len() => Some("it has other numbers".into()),
        Ok(_) => None,
    }
}

/// First differences of each number by the inputs, in the inputs' order.
pub fn differences(moved: &[Moved], number: usize) -> Vec<f64> {
    let value = |end: &Result<Computed, String>| end.as_ref().map_or(f64::NAN, |c| c.numbers[number].value);
    moved.iter().map(|m| 0.5 * (value(&m.ends[1]) - value(&m.ends[0]))).collect()
}

/// Variance of a number by its first differences: ΣΣ dᵢ dⱼ rᵢⱼ.
pub fn variance(d: &[f64], correlation: &[Vec<f64>]) -> f64 {
    let row = |(a, row): (&f64, &Vec<f64>)| a * row.iter().zip(d).map(|(r, b)| r * b).sum::<f64>();
    d.iter().zip(correlation).map(row).sum::<f64>().max(0.0)
}

/// The spread of every number of `centre`, in its order. `errors`: those of its numbers.
pub fn propagate(
    centre: &Computed,
    errors: &[Uncertainty],
    moved: &[Moved],
    far: &[Far],
    correlation: &[Vec<f64>],
) -> Vec<Spread> {
    for m in moved {
        for (end, side) in m.ends.iter().zip(["below", "above"]) {
            if let Some(why) = unlike(centre, end) {
                let why = format!("with `{}` one standard deviation {side}: {why}", m.name);
                return vec![Spread::NotLinear { why }; centre.numbers.len()];
            }
        }
    }
    if let Some(why) = far.iter().find_map(|f| unlike(centre, &f.computed)) {
        let why = format!("{FACTOR} standard deviations out: {why}");
        return vec![Spread::NotLinear { why }; centre.numbers.len()];
    }
    (0..centre.numbers.len()).map(|k| of_number(centre, errors.get(k), moved, far, correlation, k)).collect()
}

fn of_number(
    centre: &Computed,
    error: Option<&Uncertainty>,
    moved: &[Moved],
    far: &[Far],
    correlation: &[Vec<f64>],
    k: usize,
) -> Spread {
    let value = |c: &Result<Computed, String>| c.as_ref().map_or(f64::NAN, |c| c.numbers[k].value);
    let at = centre.numbers[k].value;
    let all = || moved.iter().flat_map(|m| &m.ends).chain(far.iter().map(|f| &f.computed));
    if at.is_nan() && all().all(|c| value(c).is_nan()) {
        return Spread::Linear { deviation: 0.0 };
    }
    if !at.is_finite() || all().any(|c| !value(c).is_finite()) {
        return Spread::NotLinear { why: "a run with moved inputs gives no number".into() };
    }
    let d = differences(moved, k);
    let deviation = variance(&d, correlation).sqrt();
    // Each of the runs may be wrong by its error.
    let error = error.and_then(Uncertainty::plus_minus).unwrap_or(0.0) + NOTHING * at.abs();
    if deviation > 0.0 && deviation < error {
        return Spread::Unresolved { deviation };
    }
    let bend = |m: &Moved| {
        let [low, high] = m.ends.each_ref().map(value);
        (0.5 * (high + low - 2.0 * at).abs() - 2.0 * error).max(0.0)
    };
    let bends: Vec<f64> = moved.iter().map(bend).collect();
    let all: f64 = bends.iter().map(|b| b * b).sum::<f64>().sqrt();
    if all > LINEAR * deviation {
        let worst = (0..bends.len()).max_by(|a, b| bends[*a].total_cmp(&bends[*b])).unwrap_or(0);
        let name = moved.get(worst).map_or("", |m| m.name.as_str());
        let share = 100.0 * all / deviation;
        let why = format!("second differences, most by `{name}`, are {share:.0} % of the first");
        return Spread::NotLinear { why };
    }
    for f in far {
        let law = at + f.by.iter().zip(&d).map(|(z, d)| z * d).sum::<f64>();
        let off = (value(&f.computed) - law).abs() - 2.0 * error;
        // The largest deviation of the number that such a move is looked at for.
        if off > LINEAR * FACTOR * deviation {
            let share = 100.0 * off / (FACTOR * deviation);
            let why = format!(
                "far out, the number is off by {share:.0} % of {FACTOR} standard deviations from what the linear law says"
            );
            return Spread::NotLinear { why };
        }
    }
    Spread::Linear { deviation }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::Number;

    fn spread(f: impl Fn(&[f64]) -> f64, at: &[f64], by: &[f64], correlation: &[Vec<f64>]) -> Spread {
        let computed =
            |x: &[f64]| Computed { numbers: vec![Number::plain("f", f(x))], ..Computed::default() };
        let moved: Vec<Moved> = (0..at.len())
            .map(|k| {
                let end = |sign: f64| {
                    let mut x = at.to_vec();
                    x[k] += sign * by[k];
                    Ok(computed(&x))
                };
                Moved { name: format!("x{k}"), ends: [end(-1.0), end(1.0)] }
            })
            .collect();
        let d = differences(&moved, 0);
        let s = variance(&d, correlation).sqrt();
        let z: Vec<f64> = d.iter().map(|d| if s > 0.0 { FACTOR * d / s } else { 0.0 }).collect();
        let x: Vec<f64> = at.iter().zip(by).zip(&z).map(|((x, s), z)| x + s * z).collect();
        let far = [Far { by: z, computed: Ok(computed(&x)) }];
        propagate(&computed(at), &[], &moved, &far, correlation).remove(0)
    }

    fn independent(n: usize) -> Vec<Vec<f64>> {
        (0..n).map(|i| (0..n).map(|j| f64::from(u8::from(i == j))).collect()).collect()
    }

    /// P = V²/R: u(P)/P = √((2 u(V)/V)² + (u(R)/R)²) (JCGM 100:2008, 5.1.6, for products of powers); the differences
    /// take in terms of third order in 1 %.
    #[test]
    fn products_of_powers_have_their_relative_deviations() {
        let report = spread(|x| x[0] * x[0] / x[1], &[10.0, 50.0], &[0.1, 0.5], &independent(2));
        let Spread::Linear { deviation } = report else { panic!("{report:?}") };
        assert!((deviation / (2.0 * 5.0f64.sqrt() * 0.01) - 1.0).abs() < 1e-3, "{deviation}");
    }

    /// JCGM 100:2008, 5.2.2, its example: ten resistors of 1 kΩ in series, each with a standard uncertainty of 100 mΩ
    /// from one standard that all were compared with (r = 1), have 1 Ω; independent they have 0.32 Ω.
    #[test]
    fn ten_resistors_in_series_as_the_guide_has_them() {
        let sum = |x: &[f64]| x.iter().sum();
        for (correlation, expected) in [(vec![vec![1.0; 10]; 10], 1.0), (independent(10), 0.1 * 10f64.sqrt())]
        {
            let report = spread(sum, &[1e3; 10], &[0.1; 10], &correlation);
            let Spread::Linear { deviation } = report else { panic!("{report:?}") };
            assert!((deviation - expected).abs() < 1e-6, "{deviation}");
        }
    }

    #[test]
    fn what_bends_is_not_linear() {
        let square = spread(|x| x[0] * x[0], &[0.0], &[1.0], &independent(1));
        assert!(matches!(&square, Spread::NotLinear { why } if why.contains("x0")), "{square:?}");
        // A kink beyond one deviation is seen far out only.
        let kink = spread(|x| x[0] + 10.0 * (x[0] - 2.0).max(0.0), &[0.0], &[1.0], &independent(1));
        assert!(matches!(&kink, Spread::NotLinear { why } if why.contains("far out")), "{kink:?}");
        assert_eq!(square.beside(&Uncertainty::within(1.0)).word(), "not estimated");
        let linear = Spread::Linear { deviation: 0.5 };
        assert_eq!(linear.beside(&Uncertainty::Bare), Uncertainty::within(1.5));
        assert_eq!(linear.beside(&Uncertainty::within(1.0)), Uncertainty::within(2.5));
        let flat = spread(|x| 1.0 + 1e-12 * x[0], &[0.0], &[1.0], &independent(1));
        assert!(matches!(flat, Spread::Unresolved { .. }), "{flat:?}");
    }
}
