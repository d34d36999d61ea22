//! Material properties that depend on temperature.

use crate::arithmetic::lane::Lane;

/// A property against temperature (K).
#[derive(Debug, Clone, PartialEq)]
pub enum Law {
    /// The same at every temperature.
    Constant(f64),
    /// (temperature in K, value) with rising temperatures: linear between, the end values beyond.
    Table(Vec<(f64, f64)>),
    /// value(300 K)·(T/300 K)^(−exponent), as for the conductivity of crystals.
    Power {
        /// Value at 300 K.
        at_300: f64,
        /// Exponent, positive for what falls with temperature.
        exponent: f64,
    },
}

impl Law {
    /// The value at a temperature, K. A power law is not followed below 1 K.
    pub fn at(&self, kelvin: f64) -> f64 {
        match self {
            Self::Constant(value) => *value,
            Self::Table(points) => {
                let Some(first) = points.first() else { return f64::NAN };
                let above = points.partition_point(|p| p.0 <= kelvin);
                match (above.checked_sub(1).map(|k| points[k]), points.get(above)) {
                    (Some((x, y)), Some((x1, y1))) => y + (y1 - y) * ((kelvin - x) / (x1 - x)),
                    (Some((_, y)), None) => y,
                    (None, _) => first.1,
                }
            }
            Self::Power { at_300, exponent } => at_300 * power(kelvin.max(1.0) / 300.0, -exponent),
        }
    }

    /// ∫ value dT between two temperatures, K (Kirchhoff's transform for a conductivity, an enthalpy for a heat
    /// capacity). Exact for each form.
    pub fn integral(&self, from: f64, to: f64) -> f64 {
        match self {
            Self::Constant(value) => value * (to - from),
            Self::Table(points) => {
                let (low, high) = (from.min(to), from.max(to));
                let inside = points.iter().filter(|p| p.0 > low && p.0 < high).copied();
                let mut sum = 0.0;
                let mut last = (low, self.at(low));
                for next in inside.chain([(high, self.at(high))]) {
                    sum += 0.5 * (last.1 + next.1) * (next.0 - last.0);
                    last = next;
                }
                if to < from { -sum } else { sum }
            }
            Self::Power { at_300, exponent } => {
                let (a, b) = (from.max(1.0) / 300.0, to.max(1.0) / 300.0);
                let one = 1.0 - exponent;
                let sum = if one.abs() < 1e-9 {
                    Lane::ln(b) - Lane::ln(a)
                } else {
                    (power(b, one) - power(a, one)) / one
                };
                at_300 * 300.0 * sum
            }
        }
    }

    /// The value at a temperature, K, and ∫ value dT from 300 K to there: together they cost little more than one.
    pub fn with_integral(&self, kelvin: f64) -> (f64, f64) {
        match self {
            Self::Power { at_300, exponent } if (1.0 - exponent).abs() >= 1e-9 => {
                let x = kelvin.max(1.0) / 300.0;
                let value = at_300 * power(x, -exponent);
                (value, 300.0 * (value * x - at_300) / (1.0 - exponent))
            }
            _ => (self.at(kelvin), self.integral(300.0, kelvin)),
        }
    }

    /// Whether every value is a positive number, and temperatures of a table rise.
    pub fn is_positive(&self) -> bool {
        let good = |x: f64| x > 0.0 && x.is_finite();
        match self {
            Self::Constant(value) => good(*value),
            Self::Table(points) => {
                !points.is_empty()
                    && points.iter().all(|p| good(p.0) && good(p.1))
                    && points.windows(2).all(|w| w[0].0 < w[1].0)
            }
            Self::Power { at_300, exponent } => good(*at_300) && exponent.is_finite(),
        }
    }
}

/// x^y for positive x, the same bits on every machine.
fn power(x: f64, y: f64) -> f64 {
    Lane::exp(y * Lane::ln(x))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn laws_and_their_integrals() {
        let table = Law::Table(vec![(200.0, 264.0), (300.0, 148.0), (400.0, 98.9)]);
        assert_eq!((table.at(100.0), table.at(300.0), table.at(900.0)), (264.0, 148.0, 98.9));
        assert!((table.at(350.0) - 123.45).abs() < 1e-12);
        assert!((table.integral(300.0, 400.0) - 12345.0).abs() < 1e-9);
        assert!((table.integral(400.0, 300.0) + 12345.0).abs() < 1e-9);
        assert!((table.integral(250.0, 500.0) - (50.0 * 177.0 + 12345.0 + 9890.0)).abs() < 1e-9);
        for exponent in [1.0, 1.49, 0.06] {
            let law = Law::Power { at_300: 370.0, exponent };
            assert!((law.at(300.0) - 370.0).abs() < 1e-10);
            let (value, integral) = law.with_integral(450.0);
            assert!((value / law.at(450.0) - 1.0).abs() < 1e-14);
            assert!((integral / law.integral(300.0, 450.0) - 1.0).abs() < 1e-13);
            // Simpson's rule on 200 intervals.
            let (a, b, n) = (300.0, 450.0, 200);
            let h = (b - a) / n as f64;
            let simpson: f64 = (0..n)
                .map(|k| a + h * k as f64)
                .map(|x| h / 6.0 * (law.at(x) + 4.0 * law.at(x + 0.5 * h) + law.at(x + h)))
                .sum();
            assert!((law.integral(a, b) / simpson - 1.0).abs() < 1e-10);
        }
        assert!(!Law::Table(vec![(300.0, 1.0), (300.0, 2.0)]).is_positive());
        assert!(!Law::Constant(0.0).is_positive());
    }
}
