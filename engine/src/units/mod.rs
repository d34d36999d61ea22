//! Quantities with units: `"20 mohm"`, `"400 V"`, `"12 A/us"`, `"0.5 K/W"`.
//!
//! Units and prefixes are those of the SI Brochure (BIPM, 9th edition, 2019: tables 2, 4, 7 and 8), with `ohm` beside
//! `Ω`, `u` beside `µ`, and `degC` beside `°C`. `degC` is a temperature on the Celsius scale, `K` a difference of two
//! temperatures; neither is taken for the other. A product is written with a space, `*` or `·`, a power with `^2`
//! or `²`, and there is at most one `/` (SI Brochure 5.4.6: no ambiguous solidus), whose divisor is one unit or
//! stands in brackets: `W/(m K)`.

mod dimension;
mod parse;
mod people;

pub use dimension::{Dimension, Unit, known_units};
pub use parse::{Quantity, bare_in, in_unit, parse_quantity, parse_unit};
pub use people::{PREFIXED, PREFIXES, people, people_digits};

use thiserror::Error;

/// What can be wrong with a quantity as typed.
#[derive(Debug, Error, Clone, PartialEq)]
pub enum UnitError {
    /// No number, or nothing that could be a unit.
    #[error("`{text}` is not a quantity")]
    NotAQuantity {
        /// As typed.
        text: String,
        /// What would be right.
        example: String,
    },
    /// NaN or infinite.
    #[error("`{text}` is not a finite number")]
    NotFinite {
        /// As typed.
        text: String,
        /// What would be right.
        example: String,
    },
    /// A unit that is not in the table.
    #[error("unknown unit `{symbol}`")]
    UnknownUnit {
        /// As typed.
        symbol: String,
        /// The nearest unit that exists.
        suggestion: Option<String>,
        /// What would be right.
        example: String,
    },
    /// A unit expression that can be read in two ways, or not at all.
    #[error("unit `{symbol}` cannot be read: {why}")]
    UnreadableUnit {
        /// As typed.
        symbol: String,
        /// Why.
        why: &'static str,
        /// What would be right.
        example: String,
    },
    /// A quantity of another kind.
    #[error("`{text}` is {found}")]
    WrongDimension {
        /// As typed.
        text: String,
        /// Its kind ("a voltage").
        found: String,
        /// The kind that is needed.
        expected: String,
        /// What would be right.
        example: String,
    },
}

impl UnitError {
    /// What was expected, in words, with an example.
    pub fn expected(&self, unit: &str) -> String {
        let kind = parse_unit(unit).map_or_else(|_| format!("a quantity in {unit}"), |u| u.dimension.kind());
        match self {
            Self::NotAQuantity { example, .. }
            | Self::NotFinite { example, .. }
            | Self::UnknownUnit { example, .. }
            | Self::UnreadableUnit { example, .. }
            | Self::WrongDimension { example, .. } => format!("{kind} such as {example}"),
        }
    }

    /// A unit to write instead, where one is near.
    pub fn suggestion(&self) -> Option<&str> {
        match self {
            Self::UnknownUnit { suggestion, .. } => suggestion.as_deref(),
            _ => None,
        }
    }
}
