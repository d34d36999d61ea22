//! What conducts, stores, heats and cools: boxes on a common set of axes, z upwards.
//!
//! Lengths in m, resistances per area in K·m²/W, film coefficients in W/(m²·K), temperatures in °C.

use super::error::FieldError;
use super::property::Law;
use crate::thermal::network::Boundary;

/// Lengths below this are one place, m.
pub(super) const SAME: f64 = 1e-9;

/// What a block is made of.
#[derive(Debug, Clone, PartialEq)]
pub struct Substance {
    /// Thermal conductivity along x, y, z, W/(m·K).
    pub conductivity: [Law; 3],
    /// Heat capacity per volume (density times specific heat capacity), J/(m³·K).
    pub heat_capacity: Law,
}

/// A box of one substance.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// Its name, for messages.
    pub name: String,
    /// Corner of least x, y, z.
    pub low: [f64; 3],
    /// Corner of greatest x, y, z.
    pub high: [f64; 3],
    /// Number of its substance.
    pub substance: usize,
    /// Resistance per area of the contact beneath it, K·m²/W; 0 for a perfect one.
    pub contact: f64,
}

/// A side of a block.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Face {
    /// Greatest z.
    Top,
    /// Least z.
    Bottom,
}

impl Face {
    pub(super) fn word(self) -> &'static str {
        match self {
            Self::Top => "top",
            Self::Bottom => "bottom",
        }
    }
}

/// Cooling of what lies bare of a block's face.
#[derive(Debug, Clone, PartialEq)]
pub struct Film {
    /// Number of the block.
    pub block: usize,
    /// Which face.
    pub face: Face,
    /// Film coefficient; infinite for a face held at the boundary's temperature.
    pub coefficient: f64,
    /// Number of the boundary.
    pub boundary: usize,
}

/// A heat input or a place of measurement: a box, or a rectangle where the two heights are equal.
///
/// Heat enters evenly over volume (or area); the temperature is the mean over the same, so that what one port does to
/// another is the same both ways. On a rectangle the temperature is that of the plane itself. Films on that very
/// plane are not seen by it: place no rectangle on a cooled face.
#[derive(Debug, Clone, PartialEq)]
pub struct Port {
    /// Its name.
    pub name: String,
    /// Corner of least x, y, z.
    pub low: [f64; 3],
    /// Corner of greatest x, y, z.
    pub high: [f64; 3],
    /// Whether heat enters; else it is only measured.
    pub heated: bool,
}

/// Blocks, films, fixed temperatures and ports.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Body {
    /// Substances.
    pub substances: Vec<Substance>,
    /// Blocks; no two may fill the same space.
    pub blocks: Vec<Block>,
    /// Cooling.
    pub films: Vec<Film>,
    /// Fixed temperatures.
    pub boundaries: Vec<Boundary>,
    /// Heat inputs and places of measurement.
    pub ports: Vec<Port>,
}

impl Body {
    /// Holds everything against everything else.
    ///
    /// # Errors
    /// No block, film, boundary or heat input; an extent, property or coefficient that is not positive; a number of
    /// something that does not exist; blocks in one place.
    pub fn check(&self) -> Result<(), FieldError> {
        let heated = self.ports.iter().filter(|p| p.heated).count();
        for (what, count) in [
            ("block", self.blocks.len()),
            ("cooled face", self.films.len()),
            ("fixed temperature", self.boundaries.len()),
            ("heat input", heated),
        ] {
            if count == 0 {
                return Err(FieldError::Empty { what });
            }
        }
        for (k, s) in self.substances.iter().enumerate() {
            for (what, law) in s
                .conductivity
                .iter()
                .map(|l| ("conductivity", l))
                .chain([("heat capacity", &s.heat_capacity)])
            {
                if !law.is_positive() {
                    let place = format!("substance {k}");
                    return Err(FieldError::NotPositive { what, place, value: law.at(300.0) });
                }
            }
        }
        for block in &self.blocks {
            let place = || format!("`{}`", block.name);
            index(block.substance, self.substances.len(), "substance", place)?;
            extents(block.low, block.high, SAME, place)?;
            if !(block.contact >= 0.0 && block.contact.is_finite()) {
                let what = "contact resistance";
                return Err(FieldError::NotPositive { what, place: place(), value: block.contact });
            }
        }
        for film in &self.films {
            let place = || "a cooled face".to_string();
            index(film.block, self.blocks.len(), "block", place)?;
            index(film.boundary, self.boundaries.len(), "boundary", place)?;
            if film.coefficient.is_nan() || film.coefficient <= 0.0 {
                let (what, value) = ("film coefficient", film.coefficient);
                let place = format!("`{}`", self.blocks[film.block].name);
                return Err(FieldError::NotPositive { what, place, value });
            }
        }
        for port in &self.ports {
            let flat = [SAME, SAME, 0.0];
            for axis in 0..3 {
                let extent = port.high[axis] - port.low[axis];
                if extent.is_nan() || extent < flat[axis] {
                    let (what, place) = (AXIS[axis], format!("`{}`", port.name));
                    return Err(FieldError::NotPositive { what, place, value: extent });
                }
            }
        }
        for (k, a) in self.blocks.iter().enumerate() {
            for b in &self.blocks[..k] {
                if (0..3).all(|x| a.low[x] < b.high[x] - SAME && b.low[x] < a.high[x] - SAME) {
                    return Err(FieldError::Overlap { one: b.name.clone(), other: a.name.clone() });
                }
            }
        }
        Ok(())
    }

    /// Names of the heat inputs, in the order of the ports.
    pub fn heat_inputs(&self) -> Vec<&str> {
        self.ports.iter().filter(|p| p.heated).map(|p| p.name.as_str()).collect()
    }
}

const AXIS: [&str; 3] = ["length", "width", "thickness"];

fn extents(low: [f64; 3], high: [f64; 3], least: f64, place: impl Fn() -> String) -> Result<(), FieldError> {
    for axis in 0..3 {
        let value = high[axis] - low[axis];
        if value.is_nan() || value <= least || !value.is_finite() {
            return Err(FieldError::NotPositive { what: AXIS[axis], place: place(), value });
        }
    }
    Ok(())
}

fn index(
    number: usize,
    count: usize,
    what: &'static str,
    place: impl Fn() -> String,
) -> Result<(), FieldError> {
    if number < count {
        return Ok(());
    }
    Err(FieldError::Missing { place: place(), what, number, count })
}
