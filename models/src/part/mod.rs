//! A part: its model's parameters, and what a data sheet of the trade states beside them. Plain data in SI units
//! (temperatures in °C).

mod curve;
mod derive;
mod inspect;
mod ratings;

pub use curve::{Conditions, Curve, Quantity, Variable};
pub use derive::{Changed, Derivation, DeriveError, derive};
pub use inspect::{Fault, Spot, inspect};
pub use ratings::{OfAvalanche, Ratings};

use std::collections::BTreeSet;

use serde::Serialize;

use crate::devices::catalogue;
use crate::model::{Entry, STATED_AT, Values};

/// What a part is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Technology {
    /// Normally-on SiC JFET switched through its source by a low-voltage silicon MOSFET.
    Cascode,
    /// Planar or trench SiC MOSFET.
    SicMosfet,
    /// Superjunction silicon MOSFET.
    SuperjunctionMosfet,
    /// Low-voltage silicon MOSFET.
    LowVoltageMosfet,
    /// SiC Schottky diode.
    SicSchottkyDiode,
    /// Silicon PiN diode.
    SiliconPinDiode,
    /// Metal-oxide varistor.
    Varistor,
    /// Not stated.
    Unstated,
}

impl Technology {
    /// Key in a part file, and the technology in words.
    pub const ALL: &'static [(&'static str, Self, &'static str)] = &[
        ("cascode", Self::Cascode, "SiC JFET and low-voltage Si MOSFET"),
        ("sic-mosfet", Self::SicMosfet, "SiC MOSFET"),
        ("superjunction-mosfet", Self::SuperjunctionMosfet, "superjunction Si MOSFET"),
        ("low-voltage-mosfet", Self::LowVoltageMosfet, "low-voltage Si MOSFET"),
        ("sic-schottky-diode", Self::SicSchottkyDiode, "SiC Schottky diode"),
        ("silicon-pin-diode", Self::SiliconPinDiode, "Si PiN diode"),
        ("varistor", Self::Varistor, "metal-oxide varistor"),
        ("unstated", Self::Unstated, "not stated"),
    ];

    /// The technology of a key.
    pub fn of_key(key: &str) -> Option<Self> {
        Self::ALL.iter().find(|t| t.0 == key).map(|t| t.1)
    }

    /// What a kind of the catalogue alone determines.
    pub fn of_kind(kind: &str) -> Self {
        // Its key is that of the kind.
        Self::of_key(kind).unwrap_or(Self::Unstated)
    }

    /// Keys of all.
    pub const KEYS: [&'static str; Self::ALL.len()] = {
        let mut keys = [""; Self::ALL.len()];
        let mut k = 0;
        while k < keys.len() {
            keys[k] = Self::ALL[k].0;
            k += 1;
        }
        keys
    };

    /// Key in a part file.
    pub fn key(self) -> &'static str {
        Self::ALL.iter().find(|t| t.1 == self).map_or("unstated", |t| t.0)
    }

    /// In words.
    pub fn words(self) -> &'static str {
        Self::ALL.iter().find(|t| t.1 == self).map_or("not stated", |t| t.2)
    }
}

/// Semiconductor of a die.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum Material {
    /// Silicon carbide, polytype 4H.
    #[serde(rename = "4h-sic")]
    SiliconCarbide,
    /// Silicon.
    #[serde(rename = "si")]
    Silicon,
}

impl Material {
    /// Key in a part file.
    pub const ALL: &'static [(&'static str, Self)] =
        &[("4h-sic", Self::SiliconCarbide), ("si", Self::Silicon)];

    /// Key in a part file.
    pub fn key(self) -> &'static str {
        Self::ALL.iter().find(|m| m.1 == self).map_or("si", |m| m.0)
    }

    /// Its name among the materials of layers.
    pub fn layer(self) -> &'static str {
        match self {
            Self::SiliconCarbide => "silicon-carbide-4h",
            Self::Silicon => "silicon",
        }
    }
}

/// A die.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Die {
    /// As the model calls it ("jfet", "mosfet", "diode").
    pub name: String,
    /// Area, m².
    pub area: f64,
    /// Thickness, m.
    pub thickness: Option<f64>,
    /// Depth of the heated volume from its face, m.
    pub heated_depth: Option<f64>,
    /// Semiconductor.
    pub material: Option<Material>,
}

/// The package.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Package {
    /// Outline in words.
    pub outline: String,
    /// Length, m.
    pub length: Option<f64>,
    /// Width, m.
    pub width: Option<f64>,
    /// Height, m.
    pub height: Option<f64>,
    /// Shortest distance along the insulation between drain and source or heatsink, m.
    pub creepage: Option<f64>,
    /// Shortest distance through air between drain and source or heatsink, m.
    pub clearance: Option<f64>,
}

/// Transient thermal impedance of a die against the case: Z(t) = Σ R·(1 − e^(−t/τ)).
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Impedance {
    /// The die that is heated.
    pub die: String,
    /// The die that it stands on, against which the terms are; `None`: against the case.
    pub on: Option<String>,
    /// R in K/W and τ in s of each term.
    pub terms: Vec<(f64, f64)>,
}

/// How heat leaves the part.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Thermal {
    /// Thermal resistance from the hottest junction to the case, K/W.
    pub junction_case: Option<f64>,
    /// Temperature of the dies at which the impedances hold, °C; stated, they follow conductivity and heat capacity in
    /// runs.
    pub temperature: Option<f64>,
    /// Transient impedances; a die comes after the one that it stands on.
    pub impedance: Vec<Impedance>,
}

/// One piece of the on-resistance.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Piece {
    /// What it is ("channel", "drift", "substrate", "contacts", "package").
    pub name: String,
    /// The die that it belongs to; `None`: the package.
    pub die: Option<String>,
    /// At 25 °C, Ω (a specific resistance is divided by the die's area when the part is read).
    pub resistance: f64,
    /// Specific resistance at 25 °C, Ω·m², where it was stated so.
    pub specific: Option<f64>,
    /// It scales as (T/298.15 K) to this power.
    pub exponent: f64,
}

/// What the on-resistance is made of.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Budget {
    /// The pieces, from the drain's terminal to the source's.
    pub pieces: Vec<Piece>,
}

/// How the parameters of a part spread from one piece to the next, or how well they are known.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Spread {
    /// Parameters and their standard deviations, in the parameter's SI unit (K for a temperature).
    pub deviations: Vec<(&'static str, f64)>,
    /// Pairs of parameters and their correlation coefficients; others are independent.
    pub correlations: Vec<(&'static str, &'static str, f64)>,
}

/// A part.
#[derive(Clone, Debug, Serialize)]
pub struct Part {
    /// Name under which it was asked for.
    pub name: String,
    /// One line that says what it is.
    pub title: String,
    /// Where the numbers come from.
    pub source: String,
    /// Kind of the catalogue.
    pub kind: &'static str,
    /// What it is made of.
    pub technology: Technology,
    /// Whether it is invented, not a product.
    pub invented: bool,
    /// Parameters of its kind; defaults are filled in.
    #[serde(skip)]
    pub values: Values,
    /// Which of them its file gives.
    #[serde(skip)]
    pub given: BTreeSet<&'static str>,
    /// Dies.
    pub dies: Vec<Die>,
    /// The package.
    pub package: Option<Package>,
    /// How heat leaves it.
    #[serde(flatten)]
    pub thermal: Thermal,
    /// What the on-resistance is made of.
    #[serde(skip)]
    pub budget: Option<Budget>,
    /// Curves and numbers of its data sheet.
    #[serde(skip)]
    pub curves: Vec<Curve>,
    /// How its parameters spread.
    #[serde(skip)]
    pub spread: Spread,
    /// Ratings that its laws do not know.
    pub ratings: Ratings,
}

impl Part {
    /// The model of its kind. Panics on a kind that is not in the catalogue: a part is made with one that is.
    pub fn entry(&self) -> &'static Entry {
        catalogue().iter().find(|e| e.kind == self.kind).expect("a kind of the catalogue")
    }

    /// Parameters that its model needs and that it does not give.
    pub fn missing(&self) -> Vec<&'static str> {
        let needed = self.entry().params.iter().filter(|p| p.default.is_none() && !p.optional);
        needed.map(|p| p.key).filter(|key| !self.values.0.contains_key(key)).collect()
    }

    /// A die by its name.
    pub fn die(&self, name: &str) -> Option<&Die> {
        self.dies.iter().find(|d| d.name == name)
    }

    /// Highest junction temperature allowed, °C, where the part states one.
    pub fn hottest(&self) -> Option<f64> {
        self.values.maybe("maximum-temperature")
    }

    /// Rated blocking voltage, V; where none is stated, the breakdown voltage of the (outer) die.
    pub fn rated_voltage(&self) -> Option<f64> {
        let outer = self.entry().blocking().map_or("", |die| die.prefix);
        self.values.maybe("rated-voltage").or_else(|| self.values.maybe(&format!("{outer}breakdown-voltage")))
    }

    /// The largest drain current that its output and transfer curves cover, A; `None` where it has neither.
    pub fn known_current(&self) -> Option<f64> {
        let covers = |c: &&Curve| matches!(c.quantity, Quantity::Output | Quantity::Transfer);
        let points = self.curves.iter().filter(covers).flat_map(|c| &c.points);
        points.map(|p| p.1.abs()).reduce(f64::max)
    }

    /// How far its on-resistance spreads, as a share of it: three standard deviations of the on-resistances of its dies,
    /// correlated as stated. `None` where it states none.
    pub fn resistance_spread(&self) -> Option<f64> {
        let is_resistance = |key: &str| key.ends_with("on-resistance");
        let all: Vec<(&str, f64)> =
            self.spread.deviations.iter().copied().filter(|d| is_resistance(d.0)).collect();
        let numbers = self.values.0.iter().filter(|(key, _)| is_resistance(key));
        let total: f64 = numbers.filter_map(|(key, _)| self.values.maybe(key)).sum();
        if all.is_empty() || total <= 0.0 {
            return None;
        }
        let correlation = |a: &str, b: &str| {
            let of = |c: &&(&str, &str, f64)| (c.0 == a && c.1 == b) || (c.0 == b && c.1 == a);
            if a == b { 1.0 } else { self.spread.correlations.iter().find(of).map_or(0.0, |c| c.2) }
        };
        let pairs = all.iter().flat_map(|a| all.iter().map(move |b| correlation(a.0, b.0) * a.1 * b.1));
        Some(3.0 * pairs.sum::<f64>().max(0.0).sqrt() / total)
    }

    /// The lowest and the highest gate-source voltage that the gate tolerates, V.
    pub fn gate_limits(&self) -> Option<(f64, f64)> {
        let of = |key: &str| self.values.maybe(&format!("{}{key}", self.gate_prefix()));
        let upper = of("gate-limit")?;
        Some((of("gate-limit-negative").unwrap_or(-upper), upper))
    }

    /// What the parameters of the die that the gate drives begin with: "mosfet-" where it is one of two, else nothing.
    pub fn gate_prefix(&self) -> &'static str {
        self.entry().driven().map_or("", |die| die.prefix)
    }
}

impl Budget {
    /// Resistance of each piece at a junction temperature (°C), Ω.
    pub fn at(&self, celsius: f64) -> Vec<(&str, f64)> {
        let warm = (celsius + crate::model::CELSIUS) / STATED_AT;
        self.pieces.iter().map(|p| (p.name.as_str(), p.resistance * warm.powf(p.exponent))).collect()
    }
}
