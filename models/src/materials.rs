//! Thermal properties of materials, each value with its source.
//!
//! A value is `seen` when it was read in its source or in a legible reproduction; else it is an `assumed` value and to
//! be confirmed before anything depends on it. Where sources differ, the spread is reported.

mod library;

use joulestep_engine::thermal::column::Plate;
use joulestep_engine::thermal::field::body::Substance;
use joulestep_engine::thermal::field::property::Law;

use crate::lookup::nearest;

pub use library::LIBRARY;

/// A property as the library holds it; temperatures in K.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// The same at every temperature.
    Flat(f64),
    /// (K, value).
    Points(&'static [(f64, f64)]),
    /// value(300 K)·(T/300 K)^(−exponent).
    Power(f64, f64),
}

impl Shape {
    /// As the engine takes it.
    pub fn law(self) -> Law {
        match self {
            Self::Flat(x) => Law::Constant(x),
            Self::Points(points) => Law::Table(points.to_vec()),
            Self::Power(at_300, exponent) => Law::Power { at_300, exponent },
        }
    }
}

/// A value and where it comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sourced {
    /// The value, SI units.
    pub shape: Shape,
    /// Its source, and the spread between sources where it is known.
    pub source: &'static str,
    /// Whether the source (or a legible reproduction) was read; else the value is assumed.
    pub seen: bool,
}

/// A material of the library.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    /// Its name in files.
    pub name: &'static str,
    /// One line that says what it is.
    pub help: &'static str,
    /// Thermal conductivity along the layer, W/(m·K).
    pub conductivity: Sourced,
    /// The same through the layer, where it differs.
    pub through: Option<Sourced>,
    /// Density, kg/m³.
    pub density: Sourced,
    /// Specific heat capacity, J/(kg·K).
    pub heat_capacity: Sourced,
}

/// A material, of the library or given by a file.
#[derive(Debug, Clone, PartialEq)]
pub struct Material {
    /// Its name.
    pub name: String,
    /// Thermal conductivity along the layer, W/(m·K).
    pub along: Law,
    /// Thermal conductivity through the layer, W/(m·K).
    pub through: Law,
    /// Density, kg/m³.
    pub density: f64,
    /// Specific heat capacity, J/(kg·K).
    pub heat_capacity: Law,
}

impl From<&Known> for Material {
    fn from(known: &Known) -> Self {
        Self {
            name: known.name.into(),
            along: known.conductivity.shape.law(),
            through: known.through.unwrap_or(known.conductivity).shape.law(),
            density: known.density.shape.law().at(300.0),
            heat_capacity: known.heat_capacity.shape.law(),
        }
    }
}

impl Material {
    /// A die of it: area (m²), thickness and depth of the heated volume (m); its numbers hold at `celsius`.
    pub fn plate(&self, area: f64, thickness: f64, depth: f64, celsius: f64) -> Plate {
        Plate {
            area,
            thickness,
            depth,
            conductivity: self.through.clone(),
            heat_capacity: scaled(&self.heat_capacity, self.density),
            temperature: celsius,
        }
    }

    /// As the engine takes it: x and y along the layer, z through it.
    pub fn substance(&self) -> Substance {
        Substance {
            conductivity: [self.along.clone(), self.along.clone(), self.through.clone()],
            heat_capacity: scaled(&self.heat_capacity, self.density),
        }
    }
}

/// A law times a number.
pub(crate) fn scaled(law: &Law, by: f64) -> Law {
    match law {
        Law::Constant(x) => Law::Constant(x * by),
        Law::Table(points) => Law::Table(points.iter().map(|(t, x)| (*t, x * by)).collect()),
        Law::Power { at_300, exponent } => Law::Power { at_300: at_300 * by, exponent: *exponent },
    }
}

/// A material of the library by name.
///
/// # Errors
/// When there is none: the name that was probably meant, if one is near enough.
pub fn find(name: &str) -> Result<&'static Known, Option<&'static str>> {
    LIBRARY.iter().find(|m| m.name == name).ok_or_else(|| nearest(name, LIBRARY.iter().map(|m| m.name)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_library_is_whole() {
        for (k, m) in LIBRARY.iter().enumerate() {
            assert!(LIBRARY[..k].iter().all(|other| other.name != m.name), "{} twice", m.name);
            for value in [Some(m.conductivity), m.through, Some(m.density), Some(m.heat_capacity)] {
                let Some(value) = value else { continue };
                assert!(value.shape.law().is_positive() && !value.source.is_empty(), "{}", m.name);
                assert!(value.seen || value.source.contains("assumed"), "{}: {}", m.name, value.source);
            }
        }
        assert_eq!(find("coper"), Err(Some("copper")));
    }
}
