//! The key tables of a package.

use joulestep_models::model::Range::{Any, NotNegative, Positive};

use crate::input::keys::shape::Form;
use crate::input::keys::table::{keys, kinds};

/// Version of the format that this program reads.
pub const FORMAT: i64 = 1;
/// °C, where a file says nothing.
const ROOM: f64 = 25.0;

keys! {
    /// The root table.
    pub struct Package in PACKAGE = "": "Layers from the dies down to the heatsink, and how they are cooled";
    need format: Unread(Form::Whole(FORMAT, FORMAT)), "version of the format of packages: 1";
    may title: Text, "one line that says what it is";
    may source: Unread(Form::Text), "where the numbers come from";
    may invented: Unread(Form::Flag), "whether the package is invented, not a product";
    may temperature: Quantity("degC", Any),
        "at which the properties of materials are taken; default 25 degC", else ROOM;
    need layer: Tables(&LAYER), "layers, from the top; each lies on the one that follows", else Vec::new();
    may via_field: Tables(&VIA_FIELD), "fields of plated holes";
    need cooling: Tables(&COOLING), "cooled faces", else Vec::new();
    may material: Tables(&MATERIAL), "materials that the library lacks";
}

keys! {
    /// A layer.
    pub struct Layer in LAYER = "layer": "A plate of one material; a die where it has a heated depth";
    need name: Name, "unique name; of a die, also that of its heat input";
    need material: Name, "material, of the library or of a [[material]]";
    need length: Quantity("m", Positive), "extent along x";
    need width: Quantity("m", Positive), "extent along y";
    need thickness: Quantity("m", Positive), "extent along z";
    may offset: Quantities("m", Any),
        "where its middle lies over that of the layer beneath, along x and y; default 0, 0";
    may on: Name, "layer that it lies on; default: the one that follows";
    may contact: Quantity("K m^2/W", NotNegative),
        "resistance per area of the contact with the layer beneath; default 0", else 0.0;
    may heated_depth: Quantity("m", Positive), "heat arises from its top down to here";
    may heated_margin: Quantity("m", NotNegative), "rim that stays unheated, all round; default 0", else 0.0;
    may case: Flag, "whether its underside is the case of a package; default false", else false;
}

keys! {
    /// A via field.
    pub struct ViaField in VIA_FIELD = "via-field": "A field of plated holes in square arrangement, as an even substance";
    need layer: Name, "layer that it is in";
    need length: Quantity("m", Positive), "extent along x";
    need width: Quantity("m", Positive), "extent along y";
    may offset: Quantities("m", Any), "where its middle lies over that of the layer; default 0, 0";
    need pitch: Quantity("m", Positive), "from hole to hole";
    need drill: Quantity("m", Positive), "diameter of a hole before plating";
    need plating: Quantity("m", NotNegative), "thickness of the copper on its wall";
    may fill: Name, "material that fills the holes; default: air";
}

keys! {
    /// A cooled face.
    pub struct Cooling in COOLING =
        "cooling": "A cooled face: what lies bare of it gives heat to a fixed temperature", by Cooled::KINDS;
    need layer: Name, "layer";
    may face: Word(&["bottom", "top"]), "which face; default bottom";
    need kind: Text as Cooled, "`held`, `convection` or `resistance`";
    may boundary: Name as String, "name of the fixed temperature; default ambient", else "ambient".into();
    may temperature: Quantity("degC", Any), "that temperature; default 25 degC", else ROOM;
}
kinds! {
    /// How a face is cooled.
    pub enum Cooled by "kind";
    Held = "held", "The face itself is held at the temperature";
    Convection(Convection) = "convection", "Through a film";
    Resistance(Resistance) = "resistance", "Through a resistance of the whole bare face, spread evenly";
}
keys! {
    /// Through a film.
    pub struct Convection;
    need coefficient: Quantity("W/(m^2 K)", Positive), "film coefficient";
}
keys! {
    /// Through a resistance.
    pub struct Resistance;
    need resistance: Quantity("K/W", Positive), "face to boundary";
}

keys! {
    /// A material.
    pub struct Material in MATERIAL = "material": "A material that the library lacks";
    need name: Name, "unique name; takes precedence over the library";
    need conductivity: Quantity("W/(m K)", Positive), "along the layer, at 300 K";
    may through_conductivity: Quantity("W/(m K)", Positive),
        "through the layer, at 300 K; default: as along";
    may conductivity_exponent: Quantity("1", Any),
        "conductivity scales as (T/300 K)^-exponent; default 0", else 0.0;
    need density: Quantity("kg/m^3", Positive), "density";
    need heat_capacity: Quantity("J/(kg K)", Positive), "specific heat capacity";
    may source: Unread(Form::Text), "where the numbers come from";
}
