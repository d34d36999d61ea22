//! Distributions by their quantile functions: one way for pseudo-random numbers, Latin hypercubes and sequences.

use std::f64::consts::SQRT_2;

use statrs::function::erf::{erfc, erfc_inv};

use crate::batch::sections::{Lognormal, Normal, Triangular, Uniform};
use crate::input::keys::shape::Key;

/// The standard normal distribution function, Φ(z) = erfc(−z/√2)/2 (DLMF 7.2, "Error functions").
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * erfc(-z / SQRT_2)
}

/// Its inverse, for 0 < p < 1; a Newton step on top of the library's rational approximation.
pub fn normal_quantile(p: f64) -> f64 {
    let z = -SQRT_2 * erfc_inv(2.0 * p);
    let density = (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt();
    let correction = (normal_cdf(z) - p) / density;
    if correction.is_finite() { z - correction } else { z }
}

/// A distribution; all numbers in the unit of the varied value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Distribution {
    /// Equally likely between two bounds.
    Uniform {
        /// Lower bound.
        lower: f64,
        /// Upper bound.
        upper: f64,
    },
    /// Normal.
    Normal {
        /// Mean.
        mean: f64,
        /// Standard deviation.
        deviation: f64,
    },
    /// Normal under the condition that the value lies between two bounds.
    TruncatedNormal {
        /// Mean of the normal distribution that is cut.
        mean: f64,
        /// Its standard deviation.
        deviation: f64,
        /// Lower bound.
        lower: f64,
        /// Upper bound.
        upper: f64,
    },
    /// The logarithm is normal.
    LogNormal {
        /// Median.
        median: f64,
        /// Standard deviation of the natural logarithm.
        log_deviation: f64,
    },
    /// Triangular.
    Triangular {
        /// Lower bound.
        lower: f64,
        /// Most likely value.
        mode: f64,
        /// Upper bound.
        upper: f64,
    },
}

impl Distribution {
    /// The value below which a share 0 < p < 1 of the distribution lies.
    pub fn quantile(&self, p: f64) -> f64 {
        match *self {
            Self::Uniform { lower, upper } => lower + p * (upper - lower),
            Self::Normal { mean, deviation } => mean + deviation * normal_quantile(p),
            Self::TruncatedNormal { mean, deviation, lower, upper } => {
                let (a, b) = ((lower - mean) / deviation, (upper - mean) / deviation);
                // Φ loses its digits near 1: an upper tail is taken as the mirrored lower one.
                let z = if a > 0.0 {
                    let (below, above) = (normal_cdf(-b), normal_cdf(-a));
                    -normal_quantile(below + (1.0 - p) * (above - below))
                } else {
                    let (below, above) = (normal_cdf(a), normal_cdf(b));
                    normal_quantile(below + p * (above - below))
                };
                (mean + deviation * z).clamp(lower, upper)
            }
            Self::LogNormal { median, log_deviation } => median * (log_deviation * normal_quantile(p)).exp(),
            Self::Triangular { lower, mode, upper } => {
                let (width, rise, fall) = (upper - lower, mode - lower, upper - mode);
                if p < rise / width {
                    lower + (p * width * rise).sqrt()
                } else {
                    upper - ((1.0 - p) * width * fall).sqrt()
                }
            }
        }
    }

    /// Its standard deviation, in the unit of a difference.
    pub fn deviation(&self) -> f64 {
        match *self {
            Self::Uniform { lower, upper } => (upper - lower) / 12f64.sqrt(),
            Self::Normal { deviation, .. } => deviation,
            // Johnson, Kotz & Balakrishnan, Continuous Univariate Distributions 1, 1994, 13.10.1; from memory.
            Self::TruncatedNormal { mean, deviation, lower, upper } => {
                let (a, b) = ((lower - mean) / deviation, (upper - mean) / deviation);
                let density = |z: f64| (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt();
                // The mirrored tail, as for the quantile.
                let share =
                    if a > 0.0 { normal_cdf(-a) - normal_cdf(-b) } else { normal_cdf(b) - normal_cdf(a) };
                let first = (density(a) - density(b)) / share;
                let second = (a * density(a) - b * density(b)) / share;
                deviation * (1.0 + second - first * first).max(0.0).sqrt()
            }
            Self::LogNormal { median, log_deviation } => {
                let square = log_deviation * log_deviation;
                median * (square.exp_m1() * square.exp()).sqrt()
            }
            Self::Triangular { lower: a, mode: c, upper: b } => {
                ((a * a + b * b + c * c - a * b - a * c - b * c) / 18.0).sqrt()
            }
        }
    }

    /// Why it is none, if it is none: (key, found, expected).
    pub fn wrong(&self) -> Option<(Key, String, &'static str)> {
        let order = |lower: f64, upper: f64| {
            (lower >= upper).then(|| {
                (Uniform::upper, format!("{upper} is not above `lower`, {lower}"), "a value above `lower`")
            })
        };
        let spread = |deviation: f64| {
            (deviation <= 0.0)
                .then(|| (Normal::deviation, format!("{deviation} is not above zero"), "a value above zero"))
        };
        match *self {
            Self::Uniform { lower, upper } => order(lower, upper),
            Self::Normal { deviation, .. } => spread(deviation),
            Self::TruncatedNormal { mean, deviation, lower, upper } => {
                spread(deviation).or_else(|| order(lower, upper)).or_else(|| {
                    let far = ((lower - mean) / deviation) > 37.0 || ((mean - upper) / deviation) > 37.0;
                    far.then(|| {
                        (
                            Uniform::lower,
                            "the bounds hold nothing of the distribution".to_string(),
                            "bounds nearer to the mean",
                        )
                    })
                })
            }
            Self::LogNormal { median, .. } => (median <= 0.0)
                .then(|| (Lognormal::median, format!("{median} is not above zero"), "a value above zero")),
            Self::Triangular { lower, mode, upper } => order(lower, upper).or_else(|| {
                (mode < lower || mode > upper).then(|| {
                    (
                        Triangular::mode,
                        format!("{mode} is not between the bounds"),
                        "a value between `lower` and `upper`",
                    )
                })
            }),
        }
    }
}

/// Lower triangular factor L of a correlation matrix, L·Lᵀ = C (Cholesky); `None` where C is not positive definite.
pub fn cholesky(matrix: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let n = matrix.len();
    let mut factor = vec![vec![0.0; n]; n];
    for i in 0..n {
        for j in 0..=i {
            let dot: f64 = (0..j).map(|k| factor[i][k] * factor[j][k]).sum();
            let rest = matrix[i][j] - dot;
            factor[i][j] = match i == j {
                true if rest > 1e-12 => rest.sqrt(),
                true => return None,
                false => rest / factor[j][j],
            };
        }
    }
    Some(factor)
}

/// Correlates independent uniform numbers by a Gaussian copula (Nelsen, An Introduction to Copulas, 2006, section
/// 2.3): each becomes a normal one, those are mixed by the factor of the correlation matrix and turned back.
pub fn correlate(factor: &[Vec<f64>], u: &mut [f64]) {
    let z: Vec<f64> = u.iter().map(|p| normal_quantile(*p)).collect();
    for (row, u) in factor.iter().zip(u.iter_mut()) {
        let mixed: f64 = row.iter().zip(&z).map(|(l, z)| l * z).sum();
        // The open interval: a quantile at 0 or 1 may be infinite.
        *u = normal_cdf(mixed).clamp(f64::MIN_POSITIVE, 1.0 - f64::EPSILON / 2.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The variance is the integral over p of (quantile − mean)², here by the midpoint rule.
    #[test]
    fn deviations_are_those_of_the_quantiles() {
        for distribution in [
            Distribution::Uniform { lower: 1.0, upper: 3.0 },
            Distribution::Normal { mean: 2.0, deviation: 0.5 },
            Distribution::TruncatedNormal { mean: 2.0, deviation: 0.5, lower: 1.6, upper: 3.0 },
            Distribution::TruncatedNormal { mean: 0.0, deviation: 1.0, lower: 1.0, upper: 2.0 },
            Distribution::LogNormal { median: 3.0, log_deviation: 0.2 },
            Distribution::Triangular { lower: 350.0, mode: 400.0, upper: 430.0 },
        ] {
            const N: usize = 20_000;
            let x: Vec<f64> = (0..N).map(|k| distribution.quantile((k as f64 + 0.5) / N as f64)).collect();
            let mean = x.iter().sum::<f64>() / N as f64;
            let deviation = (x.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / N as f64).sqrt();
            let report = distribution.deviation();
            assert!((report / deviation - 1.0).abs() < 1e-3, "{distribution:?}: {report}, {deviation}");
        }
    }
}
