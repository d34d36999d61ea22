//! Packages: layers from the dies down to the heatsink, as plain data, and the bodies that the engine solves.
//!
//! Layers are plates that lie on one another. A package is listed from the top: each lies on the one that follows it
//! unless it names another, so that several dies stand on one lead frame and several packages on one board. Lengths
//! in m, temperatures in °C.

mod agree;
mod error;
mod extent;
mod place;
mod solid;
mod vias;

pub use agree::contradictions;
pub use error::{PackageError, Subject};
pub use extent::Extent;
pub use place::Placed;
pub use solid::{Solid, to_ambient, to_case};
pub use vias::effective;

use crate::materials::Material;

/// Name and text (TOML) of every shipped package. All of them are invented.
pub fn shipped() -> &'static [(&'static str, &'static str)] {
    &[
        ("board-700v-7m", include_str!("packages/board-700v-7m.toml")),
        ("board-700v-7m-soldered", include_str!("packages/board-700v-7m-soldered.toml")),
        ("board-sj-620v-49m", include_str!("packages/board-sj-620v-49m.toml")),
    ]
}

/// A package.
#[derive(Debug, Clone, PartialEq)]
pub struct Package {
    /// One line that says what it is.
    pub title: String,
    /// Temperature at which the properties of materials are taken where they do not follow, °C.
    pub temperature: f64,
    /// Layers, from the top; the last carries all.
    pub layers: Vec<Layer>,
    /// Cooled faces.
    pub cooling: Vec<Cooling>,
    /// Materials that the library lacks.
    pub materials: Vec<Material>,
}

/// A layer: a plate of one material.
#[derive(Debug, Clone, PartialEq)]
pub struct Layer {
    /// Its name; of a die, also that of its heat input.
    pub name: String,
    /// Name of its material.
    pub material: String,
    /// Extent along x, m.
    pub length: f64,
    /// Extent along y, m.
    pub width: f64,
    /// Extent along z, m.
    pub thickness: f64,
    /// Where its middle lies over that of the layer beneath, along x and y, m.
    pub offset: [f64; 2],
    /// Name of the layer that it lies on; `None`: the one that follows.
    pub on: Option<String>,
    /// Resistance per area of the contact with the layer beneath, K·m²/W.
    pub contact: f64,
    /// Where heat arises, if it is a die.
    pub heated: Option<Heated>,
    /// Whether its underside is the case of a package.
    pub case: bool,
    /// Via fields in it.
    pub vias: Vec<ViaField>,
}

/// The heated volume of a die, from its top face downwards.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Heated {
    /// How deep, m.
    pub depth: f64,
    /// Breadth of the rim that stays unheated, all round, m.
    pub margin: f64,
}

/// A field of plated holes in square arrangement.
#[derive(Debug, Clone, PartialEq)]
pub struct ViaField {
    /// Extent along x, m.
    pub length: f64,
    /// Extent along y, m.
    pub width: f64,
    /// Where its middle lies over that of the layer, m.
    pub offset: [f64; 2],
    /// From hole to hole, m.
    pub pitch: f64,
    /// Diameter of a hole before plating, m.
    pub drill: f64,
    /// Thickness of the copper on its wall, m.
    pub plating: f64,
    /// Material that fills the hole; `None`: air.
    pub fill: Option<String>,
}

/// A face of a layer.
pub use joulestep_engine::thermal::field::body::Face;

/// A cooled face.
#[derive(Debug, Clone, PartialEq)]
pub struct Cooling {
    /// Name of the layer.
    pub layer: String,
    /// Which face; what lies bare of it is cooled.
    pub face: Face,
    /// How.
    pub by: Cooled,
    /// Name of the fixed temperature.
    pub boundary: String,
    /// That temperature, °C.
    pub temperature: f64,
}

/// How a face is cooled.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cooled {
    /// Held at the fixed temperature.
    Held,
    /// By a film, W/(m²·K).
    Film(f64),
    /// By a resistance of the whole bare face, K/W, spread evenly.
    Resistance(f64),
}
