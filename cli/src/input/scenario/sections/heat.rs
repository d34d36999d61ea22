//! The key tables of what carries the heat away.

use joulestep_models::model::Range::{Any, NotNegative, Positive};

use crate::input::keys::shape::{Form, Key, Kind, Kinds, Section};

/// The thermal network.
pub static THERMAL: Section = Section {
    name: "thermal",
    help: "Nodes with heat capacitance, resistances, fixed temperatures",
    kinds: Kinds::None,
    keys: &[
        Key::may("package", Form::Tables(&HEAT_PACKAGE), "packages, solved in three dimensions"),
        Key::may(
            "part",
            Form::Tables(&HEAT_PART),
            "impedances to the case that the parts of components state",
        ),
        Key::may("boundary", Form::Tables(&BOUNDARY), "fixed temperatures"),
        Key::may("chain", Form::Tables(&CHAIN), "chains from a die outwards"),
        Key::may("node", Form::Tables(&HEAT_NODE), "single nodes"),
        Key::may("link", Form::Tables(&LINK), "single resistances"),
        Key::may("input", Form::Tables(&INPUT), "further heat inputs"),
    ],
};
/// A package.
pub static HEAT_PACKAGE: Section = Section {
    name: "thermal.package",
    help: "A package, reduced to a compact network; its heat inputs are name-die",
    kinds: Kinds::None,
    keys: &[
        Key::need("name", Form::Name, "unique name; prefix of the names of its dies and boundaries"),
        Key::need("package", Form::Text, "a shipped package's name, or a file relative to this file"),
        Key::may(
            "temperature",
            Form::Quantity("degC", Any),
            "of all its boundaries; default: as the package says",
        ),
        Key::may(
            "of",
            Form::Name,
            "component that sits in it: its dies heat the dies of the same names, and it needs no `heat`",
        ),
    ],
};
/// A part's own impedance.
pub static HEAT_PART: Section = Section {
    name: "thermal.part",
    help: "The impedance that a component's part states from each die to its case; its heat inputs are component-die, and the \
           component needs no `heat`",
    kinds: Kinds::None,
    keys: &[
        Key::need("of", Form::Name, "component whose part it is, or place of the arrangement"),
        Key::need("end", Form::Name, "node or boundary that the case stands on"),
        Key::may(
            "interface",
            Form::Quantity("K/W", NotNegative),
            "thermal resistance from the case to there, shared by its dies; default 0",
        ),
    ],
};
/// A fixed temperature.
pub static BOUNDARY: Section = Section {
    name: "thermal.boundary",
    help: "A fixed temperature",
    kinds: Kinds::None,
    keys: &[
        Key::need("name", Form::Name, "unique name (heatsink, ambient)"),
        Key::need("temperature", Form::Quantity("degC", Any), "its temperature"),
    ],
};
/// A chain.
pub static CHAIN: Section = Section {
    name: "thermal.chain",
    help: "A chain of cells from the heated end outwards; its heat input has its name",
    kinds: Kinds::Listed(
        "kind",
        &[
            Kind {
                word: "cauer",
                help: "Physical ladder: capacitance of each cell, then its resistance to the next",
                keys: &[
                    Key::need("capacitance", Form::Quantities("J/K", NotNegative), "of each cell"),
                    Key::need("resistance", Form::Quantities("K/W", Positive), "of each cell"),
                ],
            },
            Kind {
                word: "foster",
                help: "Terms of the transient thermal impedance; converted to the ladder that has the same",
                keys: &[
                    Key::need("resistance", Form::Quantities("K/W", Positive), "of each term"),
                    Key::need("time-constant", Form::Quantities("s", Positive), "of each term"),
                ],
            },
        ],
    ),
    keys: &[
        Key::need("name", Form::Name, "unique name; its heat input and first node have it"),
        Key::need("kind", Form::Text, "`cauer` or `foster`"),
        Key::need("end", Form::Name, "node or boundary where it ends"),
        Key::may("heated", Form::Flag, "whether it has a heat input; default true"),
    ],
};
/// A thermal node.
pub static HEAT_NODE: Section = Section {
    name: "thermal.node",
    help: "A node with heat capacitance",
    kinds: Kinds::None,
    keys: &[
        Key::need("name", Form::Name, "unique name"),
        Key::need("capacitance", Form::Quantity("J/K", NotNegative), "heat capacitance"),
    ],
};
/// A thermal resistance.
pub static LINK: Section = Section {
    name: "thermal.link",
    help: "A thermal resistance between two nodes, or a node and a boundary",
    kinds: Kinds::None,
    keys: &[
        Key::need("from", Form::Name, "one end"),
        Key::need("to", Form::Name, "the other"),
        Key::need("resistance", Form::Quantity("K/W", Positive), "its resistance"),
    ],
};
/// A heat input.
pub static INPUT: Section = Section {
    name: "thermal.input",
    help: "A heat input at a node",
    kinds: Kinds::None,
    keys: &[
        Key::need("name", Form::Name, "unique name"),
        Key::need("node", Form::Name, "where the heat enters"),
    ],
};
