//! What is known of the error of a number.

use joulestep_engine::units::people_digits;
use serde::Serialize;

/// What an error counts where computations do not show their full order.
pub(super) const CAUTION: f64 = 3.0;

/// How far a number may be from what its equations and models say, in the number's unit (K for a temperature).
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Uncertainty {
    /// Nobody asked: the number is judged as it stands, "without error estimate".
    #[default]
    Bare,
    /// At most this far, as estimated from runs that converge.
    Within {
        /// ±.
        plus_minus: f64,
    },
    /// The runs that the estimate rests on do not converge; this is a cautious multiple of how they differ.
    NotConverging {
        /// ±.
        plus_minus: f64,
    },
    /// It could not be found.
    NotEstimated {
        /// Why.
        why: String,
    },
}

impl Uncertainty {
    /// A known error of this size.
    pub fn within(plus_minus: f64) -> Self {
        Self::Within { plus_minus }
    }

    /// An error that could not be found.
    pub fn not_estimated(why: impl Into<String>) -> Self {
        Self::NotEstimated { why: why.into() }
    }

    /// ±, where there is one.
    pub fn plus_minus(&self) -> Option<f64> {
        match self {
            Self::Within { plus_minus } | Self::NotConverging { plus_minus } => Some(*plus_minus),
            Self::Bare | Self::NotEstimated { .. } => None,
        }
    }

    /// With a further error of known size; one that is not known stays so.
    pub fn plus(self, further: f64) -> Self {
        match self {
            Self::Within { plus_minus } => Self::Within { plus_minus: plus_minus + further },
            Self::NotConverging { plus_minus } => Self::NotConverging { plus_minus: plus_minus + further },
            other => other,
        }
    }

    /// The error of a number that has this one by itself and that one by computations at other levels: they add; where its
    /// own is unknown, so is the sum, and where that does not converge, the other counts three times.
    pub fn beside(&self, found: Self) -> Self {
        match (self, found.plus_minus()) {
            (_, Some(x)) if x.is_infinite() => Self::not_estimated("nothing bounds its error"),
            (Self::Bare, _) => found,
            (Self::Within { plus_minus }, _) => found.plus(*plus_minus),
            (Self::NotConverging { plus_minus }, Some(more)) => {
                Self::NotConverging { plus_minus: plus_minus + CAUTION * more }
            }
            (Self::NotConverging { .. }, None) => found,
            (Self::NotEstimated { .. }, _) => self.clone(),
        }
    }

    /// For a table: "± 0.12 V", with "(not converging)" where it is so, "not estimated", or nothing for a bare number
    /// and one without error.
    pub fn words(&self, unit: &str) -> String {
        let (factor, unit) = match unit {
            "degC" => (1.0, "K"),
            "V/s" => (1e-9, "V/ns"),
            "A/s" => (1e-9, "A/ns"),
            "A^2 s" => (1.0, "A\u{b2}s"),
            unit => (1.0, unit),
        };
        let digits = |x: &f64| people_digits(factor * x, unit, 2);
        match self {
            Self::Bare => String::new(),
            Self::Within { plus_minus: 0.0 } => String::new(),
            // Nothing bounds it.
            _ if self.plus_minus().is_some_and(|x| !x.is_finite()) => "not estimated".into(),
            Self::Within { plus_minus } => format!("± {}", digits(plus_minus)),
            Self::NotConverging { plus_minus } => {
                format!("± {} (not converging)", digits(plus_minus))
            }
            Self::NotEstimated { .. } => "not estimated".into(),
        }
    }

    /// The kind in a word, as files keep it.
    pub fn word(&self) -> &'static str {
        match self {
            Self::Bare => "bare",
            Self::Within { .. } => "within",
            Self::NotConverging { .. } => "not converging",
            Self::NotEstimated { .. } => "not estimated",
        }
    }

    /// From what a file keeps; a word that is not known is an error that is not.
    pub fn of_word(word: &str, plus_minus: Option<f64>, why: Option<String>) -> Self {
        match (word, plus_minus) {
            ("bare", _) => Self::Bare,
            ("within", Some(plus_minus)) => Self::Within { plus_minus },
            ("not converging", Some(plus_minus)) => Self::NotConverging { plus_minus },
            _ => Self::NotEstimated { why: why.unwrap_or_default() },
        }
    }
}
