//! What can be wrong with a heat network, as data.

use thiserror::Error;

/// Errors of a heat network, found before any temperature is computed.
#[derive(Debug, Error, Clone, PartialEq)]
pub enum ThermalError {
    /// A thermal resistance that is not a positive number.
    #[error("thermal resistance of {place} is {value} K/W; expected a positive number")]
    BadResistance {
        /// Where it stands.
        place: String,
        /// What was found, K/W.
        value: f64,
    },
    /// A heat capacitance below zero, or not a number.
    #[error("heat capacitance of {place} is {value} J/K; expected zero or a positive number")]
    BadCapacitance {
        /// Where it stands.
        place: String,
        /// What was found, J/K.
        value: f64,
    },
    /// A time constant below zero, or not a number.
    #[error("time constant of {place} is {value} s; expected zero or a positive number")]
    BadTimeConstant {
        /// Where it stands.
        place: String,
        /// What was found, s.
        value: f64,
    },
    /// A temperature that is not a number, or lies below absolute zero.
    #[error("temperature of {place} is {value} °C; expected a number above -273.15")]
    BadTemperature {
        /// Where it stands.
        place: String,
        /// What was found, °C.
        value: f64,
    },
    /// A name used twice (nodes and boundaries share their names; heat inputs have names of their own).
    #[error("two {what} are named `{name}`")]
    DuplicateName {
        /// `nodes or boundaries`, or `heat inputs`.
        what: &'static str,
        /// The name.
        name: String,
    },
    /// A name that nothing has.
    #[error("{wanted_by} names `{name}`, which does not exist; there are {known}")]
    Unknown {
        /// Who names it.
        wanted_by: String,
        /// The name.
        name: String,
        /// The names that exist.
        known: String,
    },
    /// Heat put straight into a fixed temperature.
    #[error("heat input `{input}` enters boundary `{boundary}`, whose temperature is fixed; expected a node")]
    InputAtBoundary {
        /// The heat input.
        input: String,
        /// The boundary.
        boundary: String,
    },
    /// A resistance with both ends at one place.
    #[error("a thermal resistance has both ends at `{name}`")]
    SelfLink {
        /// The place.
        name: String,
    },
    /// A node whose heat can go nowhere.
    #[error("no path leads from node `{node}` to a boundary (a fixed temperature)")]
    NoPath {
        /// The node.
        node: String,
    },
    /// Nothing where something is needed.
    #[error("{place} has no {what}")]
    Missing {
        /// Where.
        place: String,
        /// What is missing.
        what: &'static str,
    },
    /// A list or matrix of the wrong size.
    #[error("{what} has {found} entries; expected {expected}")]
    WrongSize {
        /// Which list.
        what: String,
        /// Entries expected.
        expected: usize,
        /// Entries found.
        found: usize,
    },
    /// Mutual resistances that differ between the two directions.
    #[error(
        "Foster term of {time_constant} s: `{from}` heats `{to}` with {there} K/W but is heated by it with {back} K/W; heat conduction is reciprocal"
    )]
    NotReciprocal {
        /// The term, s.
        time_constant: f64,
        /// One heat input.
        from: String,
        /// The other.
        to: String,
        /// Resistance in one direction, K/W.
        there: f64,
        /// Resistance in the other, K/W.
        back: f64,
    },
    /// Foster terms that no arrangement of resistances and capacitances has.
    #[error(
        "Foster term of {time_constant} s is not passive: its matrix of self and mutual resistances has the eigenvalue {eigenvalue} K/W; expected none below zero (self and mutual terms fitted together, with the same time constants)"
    )]
    NotPassive {
        /// The term, s.
        time_constant: f64,
        /// The smallest eigenvalue, K/W.
        eigenvalue: f64,
    },
    /// A heat input that would not warm itself.
    #[error("the Foster terms leave heat that warms no input: the resistance matrix is singular")]
    SingularFoster,
    /// Something that only networks of physical nodes can answer.
    #[error(
        "a Foster network has no physical nodes inside: {requested} needs a Cauer ladder or a network of nodes"
    )]
    NoPhysicalNodes {
        /// What was asked for.
        requested: String,
    },
    /// The eigenproblem did not converge: coefficients span more than numbers can hold.
    #[error("the eigenproblem of {nodes} nodes did not converge after {sweeps} sweeps")]
    NotConverged {
        /// Nodes with heat capacitance.
        nodes: usize,
        /// Sweeps made.
        sweeps: usize,
    },
}
