//! Material properties that depend on temperature.

use wide::f64x8;

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

    /// Prepared to be read at many temperatures.
    pub(in crate::thermal) fn prepared(&self) -> Prepared {
        let line = |from: f64, slope: f64| [from, self.at(from), slope, self.integral(300.0, from)];
        match self {
            Self::Power { at_300, exponent } => Prepared::Power { at_300: *at_300, exponent: *exponent },
            Self::Table(points) if !points.is_empty() => {
                let level = |p: Option<&(f64, f64)>| p.map(|p| line(p.0, 0.0));
                let rising = |w: &[(f64, f64)]| line(w[0].0, (w[1].1 - w[0].1) / (w[1].0 - w[0].0));
                let between = points.windows(2).map(rising);
                Prepared::Lines(
                    level(points.first()).into_iter().chain(between).chain(level(points.last())).collect(),
                )
            }
            Self::Constant(_) | Self::Table(_) => Prepared::Lines(vec![line(300.0, 0.0)]),
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

/// A law that is read at many temperatures at once: values, and their integrals from 300 K.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::thermal) enum Prepared {
    /// As [`Law::Power`].
    Power { at_300: f64, exponent: f64 },
    /// Straight lines by rising temperature: where each begins (K), value and slope there, ∫ value dT from 300 K to
    /// there. The first holds below its beginning too.
    Lines(Vec<[f64; 4]>),
}

impl Prepared {
    /// Reads the law at temperatures, K; quickest where each is near the one before.
    pub(in crate::thermal) fn read(
        &self,
        kelvin: &[[f64; 8]],
        value: &mut [[f64; 8]],
        integral: &mut [[f64; 8]],
    ) {
        match self {
            Self::Power { at_300, exponent } => {
                let one = 1.0 - exponent;
                let [at_300, exponent, all] = [*at_300, -exponent, 300.0].map(f64x8::splat);
                for ((kelvin, value), integral) in kelvin.iter().zip(value).zip(integral) {
                    let x = Lane::max(f64x8::new(*kelvin), f64x8::splat(1.0)) / all;
                    let ln = Lane::ln(x);
                    let y = at_300 * Lane::exp(exponent * ln);
                    let area = if one.abs() < 1e-9 {
                        at_300 * all * ln
                    } else {
                        all * (y * x - at_300) / f64x8::splat(one)
                    };
                    (*value, *integral) = (y.to_array(), area.to_array());
                }
            }
            Self::Lines(lines) => {
                let mut number = 0;
                let all = kelvin.as_flattened().iter().zip(value.as_flattened_mut());
                for ((kelvin, value), integral) in all.zip(integral.as_flattened_mut()) {
                    while number > 0 && lines[number][0] > *kelvin {
                        number -= 1;
                    }
                    while lines.get(number + 1).is_some_and(|next| next[0] <= *kelvin) {
                        number += 1;
                    }
                    let [from, y, slope, area] = lines[number];
                    let x = kelvin - from;
                    (*value, *integral) = (y + slope * x, area + x * (y + 0.5 * slope * x));
                }
            }
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
            // Simpson's rule on 200 intervals.
            let (a, b, n) = (300.0, 450.0, 200);
            let h = (b - a) / n as f64;
            let simpson: f64 = (0..n)
                .map(|k| a + h * k as f64)
                .map(|x| h / 6.0 * (law.at(x) + 4.0 * law.at(x + 0.5 * h) + law.at(x + h)))
                .sum();
            assert!((law.integral(a, b) / simpson - 1.0).abs() < 1e-10);
        }
        let power = |exponent: f64| Law::Power { at_300: 370.0, exponent };
        let kelvin = [[0.5, 150.0, 200.0, 300.0, 333.0, 399.0, 400.0, 2000.0], [450.0; 8]];
        for law in [table, power(1.0), power(1.3), Law::Constant(2.5)] {
            let (mut value, mut integral) = ([[0.0; 8]; 2], [[0.0; 8]; 2]);
            law.prepared().read(&kelvin, &mut value, &mut integral);
            for (k, t) in kelvin.as_flattened().iter().enumerate() {
                let (own, area) = (law.at(*t), law.integral(300.0, *t));
                assert!((value.as_flattened()[k] / own - 1.0).abs() < 1e-14, "{law:?} at {t}");
                assert!((integral.as_flattened()[k] - area).abs() <= 1e-13 * (area.abs() + 300.0 * own));
            }
        }
        assert!(!Law::Table(vec![(300.0, 1.0), (300.0, 2.0)]).is_positive());
        assert!(!Law::Constant(0.0).is_positive());
    }
}
