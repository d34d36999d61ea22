//! The key tables of a package.

use joulestep_models::model::Range::{Any, NotNegative, Positive};

use crate::input::keys::shape::{Form, Key, Kind, Kinds, Section, keys};

/// Version of the format that this program reads.
pub const FORMAT: i64 = 1;

/// The root table.
pub static PACKAGE: Section = Section {
    name: "",
    help: "Layers from the dies down to the heatsink, and how they are cooled",
    kinds: Kinds::None,
    keys: keys! {
        need "format": Form::Whole(FORMAT, FORMAT), "version of the format of packages: 1";
        may "title": Form::Text, "one line that says what it is";
        may "source": Form::Text, "where the numbers come from";
        may "invented": Form::Flag, "whether the package is invented, not a product";
        may "temperature": Form::Quantity("degC", Any),
            "at which the properties of materials are taken; default 25 degC";
        need "layer": Form::Tables(&LAYER), "layers, from the top; each lies on the one that follows";
        may "via-field": Form::Tables(&VIA_FIELD), "fields of plated holes";
        need "cooling": Form::Tables(&COOLING), "cooled faces";
        may "material": Form::Tables(&MATERIAL), "materials that the library lacks";
    },
};

/// A layer.
pub static LAYER: Section = Section {
    name: "layer",
    help: "A plate of one material; a die where it has a heated depth",
    kinds: Kinds::None,
    keys: keys! {
        need "name": Form::Name, "unique name; of a die, also that of its heat input";
        need "material": Form::Name, "material, of the library or of a [[material]]";
        need "length": Form::Quantity("m", Positive), "extent along x";
        need "width": Form::Quantity("m", Positive), "extent along y";
        need "thickness": Form::Quantity("m", Positive), "extent along z";
        may "offset": Form::Quantities("m", Any),
            "where its middle lies over that of the layer beneath, along x and y; default 0, 0";
        may "on": Form::Name, "layer that it lies on; default: the one that follows";
        may "contact": Form::Quantity("K m^2/W", NotNegative),
            "resistance per area of the contact with the layer beneath; default 0";
        may "heated-depth": Form::Quantity("m", Positive), "heat arises from its top down to here";
        may "heated-margin": Form::Quantity("m", NotNegative), "rim that stays unheated, all round; default 0";
        may "case": Form::Flag, "whether its underside is the case of a package; default false";
    },
};

/// A via field.
pub static VIA_FIELD: Section = Section {
    name: "via-field",
    help: "A field of plated holes in square arrangement, as an even substance",
    kinds: Kinds::None,
    keys: keys! {
        need "layer": Form::Name, "layer that it is in";
        need "length": Form::Quantity("m", Positive), "extent along x";
        need "width": Form::Quantity("m", Positive), "extent along y";
        may "offset": Form::Quantities("m", Any), "where its middle lies over that of the layer; default 0, 0";
        need "pitch": Form::Quantity("m", Positive), "from hole to hole";
        need "drill": Form::Quantity("m", Positive), "diameter of a hole before plating";
        need "plating": Form::Quantity("m", NotNegative), "thickness of the copper on its wall";
        may "fill": Form::Name, "material that fills the holes; default: air";
    },
};

/// A cooled face.
pub static COOLING: Section = Section {
    name: "cooling",
    help: "A cooled face: what lies bare of it gives heat to a fixed temperature",
    kinds: Kinds::Listed(
        "kind",
        &[
            Kind { word: "held", help: "The face itself is held at the temperature", keys: &[] },
            Kind {
                word: "convection",
                help: "Through a film",
                keys: &[Key::need("coefficient", Form::Quantity("W/(m^2 K)", Positive), "film coefficient")],
            },
            Kind {
                word: "resistance",
                help: "Through a resistance of the whole bare face, spread evenly",
                keys: &[Key::need("resistance", Form::Quantity("K/W", Positive), "face to boundary")],
            },
        ],
    ),
    keys: keys! {
        need "layer": Form::Name, "layer";
        may "face": Form::Word(&["bottom", "top"]), "which face; default bottom";
        need "kind": Form::Text, "`held`, `convection` or `resistance`";
        may "boundary": Form::Name, "name of the fixed temperature; default ambient";
        may "temperature": Form::Quantity("degC", Any), "that temperature; default 25 degC";
    },
};

/// A material.
pub static MATERIAL: Section = Section {
    name: "material",
    help: "A material that the library lacks",
    kinds: Kinds::None,
    keys: keys! {
        need "name": Form::Name, "unique name; takes precedence over the library";
        need "conductivity": Form::Quantity("W/(m K)", Positive), "along the layer, at 300 K";
        may "through-conductivity": Form::Quantity("W/(m K)", Positive),
            "through the layer, at 300 K; default: as along";
        may "conductivity-exponent": Form::Quantity("1", Any),
            "conductivity scales as (T/300 K)^-exponent; default 0";
        need "density": Form::Quantity("kg/m^3", Positive), "density";
        need "heat-capacity": Form::Quantity("J/(kg K)", Positive), "specific heat capacity";
        may "source": Form::Text, "where the numbers come from";
    },
};
