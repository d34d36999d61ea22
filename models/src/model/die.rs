//! The dies of a model: what extraction, figures of merit and studies ask instead of the kind.

use super::{Entry, Values};

/// What a die is: which curves determine what of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DieKind {
    /// Normally-on junction field-effect transistor.
    Jfet,
    /// Insulated-gate field-effect transistor.
    Mosfet,
    /// Junction or Schottky diode.
    Diode,
}

/// The gate-source voltage at which a die is on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum OnGate {
    /// This one, V.
    At(f64),
    /// That of a parameter.
    Key(&'static str),
}

/// A die of a model that parts are made of.
#[derive(Clone, Copy, Debug)]
pub struct DieEntry {
    /// As in [`super::Built::dies`].
    pub name: &'static str,
    /// What its parameters begin with ("jfet-"); nothing where it is the only one.
    pub prefix: &'static str,
    /// What it is.
    pub is: DieKind,
    /// Whether it withstands the part's rated voltage.
    pub blocks: bool,
    /// Where the gate pin drives it on; `None`: it does not drive it.
    pub on: Option<OnGate>,
}

impl Entry {
    /// Whether it has a gate, and its pins begin with the drain.
    pub fn is_switch(&self) -> bool {
        self.pins.contains(&"gate")
    }

    /// Whether it conducts one way only, from anode to cathode.
    pub fn is_diode(&self) -> bool {
        self.pins.first() == Some(&"anode")
    }

    /// The die of this name.
    pub fn die(&self, name: &str) -> Option<&'static DieEntry> {
        self.dies.iter().find(|d| d.name == name)
    }

    /// The die that withstands the rated voltage.
    pub fn blocking(&self) -> Option<&'static DieEntry> {
        self.dies.iter().find(|d| d.blocks)
    }

    /// The die that the gate drives.
    pub fn driven(&self) -> Option<&'static DieEntry> {
        self.dies.iter().find(|d| d.on.is_some())
    }

    /// The die whose parameter a key is, and the key without its prefix. Where there is one die, every key is its own.
    pub fn die_of_key<'k>(&self, key: &'k str) -> Option<(&'static DieEntry, &'k str)> {
        self.dies.iter().find_map(|d| Some((d, key.strip_prefix(d.prefix)?)))
    }
}

/// The values of one die of a model, whose keys carry a prefix ("jfet-").
#[derive(Clone, Copy, Debug)]
pub(crate) struct Prefixed<'a> {
    pub values: &'a Values,
    pub prefix: &'static str,
}

impl Prefixed<'_> {
    pub fn key(&self, key: &str) -> String {
        format!("{}{key}", self.prefix)
    }
    pub fn number(&self, key: &str) -> f64 {
        self.values.number(&self.key(key))
    }
    pub fn maybe(&self, key: &str) -> Option<f64> {
        self.values.maybe(&self.key(key))
    }
    /// The lowest and the highest gate-source voltage that a die tolerates, V.
    pub fn gate_limits(&self) -> (f64, f64) {
        let upper = self.number("gate-limit");
        (self.maybe("gate-limit-negative").unwrap_or(-upper), upper)
    }
}
