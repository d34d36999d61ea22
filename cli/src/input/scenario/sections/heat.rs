//! The key tables of what carries the heat away.

use joulestep_models::model::Range::{Any, NotNegative, Positive};

use crate::input::keys::table::{keys, kinds};

keys! {
    /// The thermal network.
    pub struct Thermal in THERMAL = "thermal": "Nodes with heat capacitance, resistances, fixed temperatures";
    may package: Tables(&HEAT_PACKAGE), "packages, solved in three dimensions";
    may part: Tables(&HEAT_PART), "impedances to the case that the parts of components state";
    may boundary: Tables(&BOUNDARY), "fixed temperatures";
    may chain: Tables(&CHAIN), "chains from a die outwards";
    may node: Tables(&HEAT_NODE), "single nodes";
    may link: Tables(&LINK), "single resistances";
    may input: Tables(&INPUT), "further heat inputs";
}
keys! {
    /// A package.
    pub struct HeatPackage in HEAT_PACKAGE =
        "thermal.package": "A package, reduced to a compact network; its heat inputs are name-die";
    need name: Name, "unique name; prefix of the names of its dies and boundaries";
    need package: Text, "a shipped package's name, or a file relative to this file";
    may temperature: Quantity("degC", Any), "of all its boundaries; default: as the package says";
    may of: Name, "component that sits in it: its dies heat the dies of the same names, and it needs no `heat`";
}
keys! {
    /// A part's own impedance.
    pub struct HeatPart in HEAT_PART = "thermal.part":
        "The impedance that a component's part states from each die to its case; its heat inputs are component-die, and the \
         component needs no `heat`";
    need of: Name, "component whose part it is, or place of the arrangement";
    need end: Name, "node or boundary that the case stands on";
    may interface: Quantity("K/W", NotNegative),
        "thermal resistance from the case to there, shared by its dies; default 0", else 0.0;
}
keys! {
    /// A fixed temperature.
    pub struct Boundary in BOUNDARY = "thermal.boundary": "A fixed temperature";
    need name: Name, "unique name (heatsink, ambient)";
    // A value that was refused leaves the name, which others may ask for.
    need temperature: Quantity("degC", Any), "its temperature", else f64::NAN;
}
keys! {
    /// A chain of cells or terms.
    pub struct Chain in CHAIN = "thermal.chain":
        "A chain of cells from the heated end outwards; its heat input has its name", by Cells::KINDS;
    need name: Name, "unique name; its heat input and first node have it";
    need kind: Text as Cells, "`cauer` or `foster`";
    need end: Name, "node or boundary where it ends";
    may heated: Flag, "whether it has a heat input; default true", else true;
}
kinds! {
    /// Cells of a chain. One with wrong cells still has its name and end, which others may ask for.
    pub enum Cells by "kind";
    Cauer(Cauer) = "cauer", "Physical ladder: capacitance of each cell, then its resistance to the next";
    Foster(Foster) = "foster",
        "Terms of the transient thermal impedance; converted to the ladder that has the same";
}
keys! {
    /// From the heated end outwards.
    pub struct Cauer;
    need capacitance: Quantities("J/K", NotNegative), "of each cell", else Vec::new();
    need resistance: Quantities("K/W", Positive), "of each cell", else Vec::new();
}
keys! {
    /// Terms.
    pub struct Foster;
    need resistance: Quantities("K/W", Positive), "of each term", else Vec::new();
    need time_constant: Quantities("s", Positive), "of each term", else Vec::new();
}
keys! {
    /// A thermal node.
    pub struct HeatNode in HEAT_NODE = "thermal.node": "A node with heat capacitance";
    need name: Name, "unique name";
    need capacitance: Quantity("J/K", NotNegative), "heat capacitance", else f64::NAN;
}
keys! {
    /// A thermal resistance.
    pub struct Link in LINK = "thermal.link": "A thermal resistance between two nodes, or a node and a boundary";
    need from: Name, "one end";
    need to: Name, "the other";
    need resistance: Quantity("K/W", Positive), "its resistance";
}
keys! {
    /// A heat input.
    pub struct Input in INPUT = "thermal.input": "A heat input at a node";
    need name: Name, "unique name";
    need node: Name, "where the heat enters";
}
