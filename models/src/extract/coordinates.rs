//! Parameters as the optimiser sees them: unbounded numbers of the order of one.

use crate::model::Range;

/// How a parameter is transformed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Coordinate {
    /// Logarithm, for what is positive.
    Logarithm,
    /// Over a scale, for what may have either sign.
    Scaled(f64),
    /// ln((x − a)/(b − x)), between a and b.
    Between(f64, f64),
}

impl Coordinate {
    /// The coordinate for a parameter that begins at `start`.
    pub fn new(range: Range, start: f64) -> Self {
        match range {
            Range::Positive | Range::NotNegative => Self::Logarithm,
            Range::Between(a, b) => Self::Between(a, b),
            Range::Any => Self::Scaled(if start == 0.0 { 1.0 } else { start.abs() }),
        }
    }

    /// Parameter → coordinate. What lies outside the range is moved inside first.
    pub fn of(self, x: f64) -> f64 {
        match self {
            Self::Logarithm => x.max(f64::MIN_POSITIVE).ln(),
            Self::Scaled(scale) => x / scale,
            Self::Between(a, b) => {
                let margin = 1e-6 * (b - a);
                let x = x.clamp(a + margin, b - margin);
                ((x - a) / (b - x)).ln()
            }
        }
    }

    /// Coordinate → parameter.
    pub fn back(self, u: f64) -> f64 {
        match self {
            Self::Logarithm => u.clamp(-700.0, 700.0).exp(),
            Self::Scaled(scale) => u * scale,
            Self::Between(a, b) => a + (b - a) / (1.0 + (-u).exp()),
        }
    }

    /// dx/du at a coordinate.
    pub fn slope(self, u: f64) -> f64 {
        match self {
            Self::Logarithm => self.back(u),
            Self::Scaled(scale) => scale,
            Self::Between(a, b) => (self.back(u) - a) * (b - self.back(u)) / (b - a),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_and_back() {
        for (coordinate, x) in [
            (Coordinate::new(Range::Positive, 1.0), 3e-12),
            (Coordinate::new(Range::Any, -9.0), -8.5),
            (Coordinate::new(Range::Between(0.0, 1.0), 0.5), 0.37),
        ] {
            let u = coordinate.of(x);
            assert!((coordinate.back(u) / x - 1.0).abs() < 1e-12);
            let h = 1e-6;
            let slope = (coordinate.back(u + h) - coordinate.back(u - h)) / (2.0 * h);
            assert!((coordinate.slope(u) / slope - 1.0).abs() < 1e-6);
        }
    }
}
