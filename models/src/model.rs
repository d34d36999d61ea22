//! What a model is: its name, pins, parameters with units, and how it enters a circuit. Knows no model.

mod branch;
mod die;
mod stress;

use std::collections::BTreeMap;

use joulestep_engine::circuit::graph::{ChoiceId, Circuit, ComponentId, HeatId, NodeId, WaveId};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::error::CircuitError;

pub(crate) use die::Prefixed;
pub use die::{DieEntry, DieKind, OnGate};
pub use stress::{Avalanche, Surge};

/// 0 °C in K.
pub const CELSIUS: f64 = 273.15;
/// The temperature at which parts are stated, K (25 °C).
pub const STATED_AT: f64 = 298.15;
/// Boltzmann's constant over the elementary charge, V/K (exact in the SI of 2019).
pub const BOLTZMANN_OVER_CHARGE: f64 = 1.380_649e-23 / 1.602_176_634e-19;

/// What a parameter may be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// One number with this unit symbol ("ohm", "F", "V", "1" for a plain number, …).
    Number(&'static str),
    /// Pairs of numbers with these unit symbols.
    Table(&'static str, &'static str),
    /// A list of numbers with this unit symbol.
    List(&'static str),
}

/// Where a number must lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Range {
    /// Any finite number.
    Any,
    /// Above zero.
    Positive,
    /// Zero or above.
    NotNegative,
    /// Strictly between two bounds.
    Between(f64, f64),
}

/// One parameter of a model.
#[derive(Clone, Copy, Debug)]
pub struct Param {
    /// Key in a scenario or part file (kebab-case).
    pub key: &'static str,
    /// Number or table, with units.
    pub shape: Shape,
    /// Value where none is given; `None`: the parameter must be given. In SI units, temperatures in °C.
    pub default: Option<f64>,
    /// May be left out although it has no default value (the model then goes without).
    pub optional: bool,
    /// Where it must lie.
    pub range: Range,
    /// One line of help.
    pub help: &'static str,
}

/// Parameters, a row each: function of [`Param`], key, unit, default, range, help; `= X;` before, `+ X;` behind.
macro_rules! params {
    (prefix $p:literal; $($how:ident $key:literal, $($arg:expr),+;)*) => {
        [$($crate::model::Param::$how(concat!($p, $key), $($arg),+)),*]
    };
    ($(= $first:expr;)? $($how:ident $key:literal, $($arg:expr),+;)* $(+ $($whole:expr),+;)?) => {
        [$($first,)? $($crate::model::Param::$how($key, $($arg),+),)* $($($whole),+)?]
    };
}
pub(crate) use params;

impl Param {
    /// A number that must be given.
    pub const fn required(key: &'static str, unit: &'static str, range: Range, help: &'static str) -> Self {
        Self { key, shape: Shape::Number(unit), default: None, optional: false, range, help }
    }
    /// A number with a value where none is given.
    pub const fn with(
        key: &'static str,
        unit: &'static str,
        default: f64,
        range: Range,
        help: &'static str,
    ) -> Self {
        Self { key, shape: Shape::Number(unit), default: Some(default), optional: false, range, help }
    }
    /// A number that may be left out.
    pub const fn optional(key: &'static str, unit: &'static str, range: Range, help: &'static str) -> Self {
        Self { key, shape: Shape::Number(unit), default: None, optional: true, range, help }
    }
    /// A table of pairs that may be left out.
    pub const fn table(
        key: &'static str,
        units: [&'static str; 2],
        range: Range,
        help: &'static str,
    ) -> Self {
        let shape = Shape::Table(units[0], units[1]);
        Self { key, shape, default: None, optional: true, range, help }
    }
    /// A list of numbers; it may be left out where `optional`.
    pub const fn list(
        key: &'static str,
        unit: &'static str,
        optional: bool,
        range: Range,
        help: &'static str,
    ) -> Self {
        Self { key, shape: Shape::List(unit), default: None, optional, range, help }
    }
    /// Junction temperature of a device that no thermal network heats.
    pub const TEMPERATURE: Self = Self::with(
        "junction-temperature",
        "degC",
        25.0,
        Range::Between(-150.0, 500.0),
        "Junction temperature at the start, and throughout where no thermal network sets it",
    );
    /// The highest junction temperature allowed.
    pub const MAXIMUM: Self = Self::with(
        "maximum-temperature",
        "degC",
        175.0,
        Range::Any,
        "Highest junction temperature that the part allows",
    );
    /// Where exponential currents stop to be exponential.
    pub const LINEAR_ABOVE: Self = Self::with(
        "linear-above",
        "A",
        1e4,
        Range::Positive,
        "Current that the junctions never carry; above it their exponentials continue linearly",
    );
}

/// A parameter's value, in SI units.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// One number.
    Number(f64),
    /// Pairs.
    Table(Vec<(f64, f64)>),
    /// A list.
    List(Vec<f64>),
}

impl Range {
    /// Whether a number lies in it; what is not finite does not.
    pub fn holds(self, x: f64) -> bool {
        x.is_finite()
            && match self {
                Self::Any => true,
                Self::Positive => x > 0.0,
                Self::NotNegative => x >= 0.0,
                Self::Between(lower, upper) => x > lower && x < upper,
            }
    }

    fn words(self) -> String {
        match self {
            Self::Any => "a finite number".into(),
            Self::Positive => "above zero".into(),
            Self::NotNegative => "zero or above".into(),
            Self::Between(lower, upper) => format!("between {lower} and {upper}"),
        }
    }
}

/// The values of a model's parameters, defaults filled in. [`Entry::place`] checks them against the model's table.
#[derive(Clone, Debug, Default)]
pub struct Values(pub BTreeMap<&'static str, Value>);

impl Values {
    /// The defaults of a table of parameters.
    pub fn with_defaults(params: &[Param]) -> Self {
        let defaults = params.iter().filter_map(|p| Some((p.key, Value::Number(p.default?))));
        Self(defaults.collect())
    }
    /// Defaults and the values given, checked.
    ///
    /// # Errors
    /// As [`Values::check`], under the name of the component.
    pub fn of(
        component: &str,
        params: &[Param],
        given: impl IntoIterator<Item = (&'static str, Value)>,
    ) -> Result<Self, CircuitError> {
        let mut values = Self::with_defaults(params);
        values.0.extend(given);
        values.check(component, params)?;
        Ok(values)
    }

    /// Checks the values against a table of parameters.
    ///
    /// # Errors
    /// A key that is not in the table; a value of another shape than the table's, not finite or out of range; a key
    /// without value that is neither optional nor has a default.
    pub fn check(&self, component: &str, params: &[Param]) -> Result<(), CircuitError> {
        for (key, value) in &self.0 {
            let Some(param) = params.iter().find(|p| p.key == *key) else {
                return Err(bad(component, format!("there is no parameter `{key}`")));
            };
            let unfit = |x: f64| (!param.range.holds(x)).then_some(x);
            // A range is one of the ordinates; abscissae are finite.
            let wrong = match (param.shape, value) {
                (Shape::Number(_), Value::Number(x)) => unfit(*x),
                (Shape::List(_), Value::List(list)) => list.iter().find_map(|&x| unfit(x)),
                (Shape::Table(..), Value::Table(t)) => {
                    t.iter().find_map(|&(x, y)| if x.is_finite() { unfit(y) } else { Some(x) })
                }
                _ => {
                    return Err(bad(
                        component,
                        format!("`{key}` is a number, list or table in place of another"),
                    ));
                }
            };
            if let Some(x) = wrong {
                return Err(bad(component, format!("`{key}` is {x}, expected {}", param.range.words())));
            }
        }
        let lacking = |p: &&Param| p.default.is_none() && !p.optional && !self.0.contains_key(p.key);
        match params.iter().find(lacking) {
            Some(param) => Err(bad(component, format!("`{}` is missing", param.key))),
            None => Ok(()),
        }
    }
    /// A number that is given or has a default. Panics on a key without value: a mistake in the model, found by the
    /// catalogue's tests, since [`Entry::place`] refuses values that lack a key.
    pub fn number(&self, key: &str) -> f64 {
        self.maybe(key).unwrap_or_else(|| panic!("parameter `{key}` has no value"))
    }
    /// A number that may be left out.
    pub fn maybe(&self, key: &str) -> Option<f64> {
        match self.0.get(key) {
            Some(Value::Number(x)) => Some(*x),
            _ => None,
        }
    }
    /// A temperature given in °C, in K.
    pub fn kelvin(&self, key: &str) -> f64 {
        self.number(key) + CELSIUS
    }
    /// A table; empty when left out.
    pub fn table(&self, key: &str) -> &[(f64, f64)] {
        match self.0.get(key) {
            Some(Value::Table(t)) => t,
            _ => &[],
        }
    }
    /// A list; empty when left out.
    pub fn list(&self, key: &str) -> &[f64] {
        match self.0.get(key) {
            Some(Value::List(t)) => t,
            _ => &[],
        }
    }
}

/// Two tables of parameters one after the other; N = A + B.
pub(crate) const fn join<const A: usize, const B: usize, const N: usize>(
    a: [Param; A],
    b: [Param; B],
) -> [Param; N] {
    assert!(A + B == N, "the sum of the lengths");
    let mut out = [Param::TEMPERATURE; N];
    let mut k = 0;
    while k < N {
        out[k] = if k < A { a[k] } else { b[k - A] };
        k += 1;
    }
    out
}

/// Whether x lies above a bound; what is not a number does not.
pub(crate) fn above(x: f64, bound: f64) -> bool {
    x > bound
}

/// How far above its breakdown voltage an avalanche law is known: the voltage of a rated avalanche current lies about
/// 1.3 times above the rated voltage (common practice, no source).
const AVALANCHE: f64 = 1.3;

/// The largest blocking voltage for which a law is known, V: with breakdown data somewhat beyond them, without them the
/// rated voltage, since the law then blocks any voltage. Infinite where the part states neither.
pub(crate) fn known_voltage(breakdown: Option<f64>, rated: Option<f64>) -> f64 {
    let breakdown = breakdown.map(|v| AVALANCHE * v);
    breakdown.or(rated).unwrap_or(f64::INFINITY)
}

/// What a model became in the circuit.
#[derive(Clone, Debug, Default)]
pub struct Built {
    /// The components it made, in order.
    pub components: Vec<ComponentId>,
    /// Its dies: a name ("jfet") and the components that heat it and follow its temperature. A model without its
    /// own temperature has none.
    pub dies: Vec<(&'static str, Vec<ComponentId>)>,
    /// The highest junction temperature allowed of a die, °C.
    pub hottest: Vec<(&'static str, f64)>,
    /// Quantities a user may ask for by name ("current", "voltage", "middle"), with a description.
    pub quantities: Vec<(&'static str, &'static str, Probe)>,
    /// Courses of its sources, by parameter or role ("value"), for a drive or a sequence to take over.
    pub waves: Vec<(&'static str, WaveId)>,
    /// Choices among conductances that a sequence or a controller may throw ("state": 0 is off, 1 is on).
    pub choices: Vec<(&'static str, ChoiceId)>,
    /// Limits to watch, from the part's own data: a name, the probe, lower and upper bound.
    pub limits: Vec<(&'static str, Probe, f64, f64)>,
    /// Current of a clamp: that it begins to flow is an event.
    pub clamps: Option<Probe>,
    /// Ranges for which its law is known, in the same form; outside, its numbers are not to be trusted.
    pub known: Vec<(&'static str, Probe, f64, f64)>,
    /// Its junctions that may go into avalanche.
    pub avalanches: Vec<Avalanche>,
    /// What a surge may heat it by.
    pub surge: Surge,
}

/// The error of a component with a value.
pub fn bad(component: &str, what: impl Into<String>) -> CircuitError {
    CircuitError::BadValue { component: component.to_string(), what: what.into() }
}

/// How a model enters a circuit: name, nodes in the order of `pins`, values.
pub type Build = fn(&mut Circuit<f64>, &str, &[NodeId], &Values) -> Result<Built, CircuitError>;

/// One line of the catalogue.
#[derive(Clone, Copy, Debug)]
pub struct Entry {
    /// Kind in a scenario ("resistor").
    pub kind: &'static str,
    /// Pin names in order. At the end may stand pins that may be left out, marked `"kelvin?"`, or a single `"*"` for
    /// any number of further pins.
    pub pins: &'static [&'static str],
    /// Parameters.
    pub params: &'static [Param],
    /// One line of help.
    pub help: &'static str,
    /// Where its equations come from.
    pub source: &'static str,
    /// Its dies, from the drain's (or anode's) pin on; none of what no part is extracted or compared as.
    pub dies: &'static [DieEntry],
    /// Puts it into a circuit; takes for granted that pins and values fit, as [`Entry::place`] makes sure.
    pub build: Build,
}

impl Entry {
    /// Puts the model into a circuit under a name: `pins` in the order of the catalogue, `values` in SI units.
    ///
    /// # Errors
    /// Too few or too many pins; values that [`Values::check`] refuses; what the model itself refuses.
    pub fn place(
        &self,
        circuit: &mut Circuit<f64>,
        name: &str,
        pins: &[NodeId],
        values: &Values,
    ) -> Result<Built, CircuitError> {
        let least = self.needed_pins().len();
        let most = if self.open_ended() { usize::MAX } else { least + self.optional_pins().len() };
        if !(least..=most).contains(&pins.len()) {
            return Err(bad(name, format!("{} pins, expected {}", pins.len(), self.pins.join(", "))));
        }
        values.check(name, self.params)?;
        (self.build)(circuit, name, pins, values)
    }

    /// Pins that must be connected, in order.
    pub fn needed_pins(&self) -> Vec<&'static str> {
        self.pins.iter().copied().filter(|p| *p != "*" && !p.ends_with('?')).collect()
    }

    /// Pins that may be left out, in order; they follow the needed ones.
    pub fn optional_pins(&self) -> Vec<&'static str> {
        self.pins.iter().filter_map(|p| p.strip_suffix('?')).collect()
    }

    /// Whether any number of unnamed pins may follow.
    pub fn open_ended(&self) -> bool {
        self.pins.contains(&"*")
    }
}

/// Ties the dies of a built model to heat inputs, in the order of `Built::dies`.
pub fn heat(circuit: &mut Circuit<f64>, built: &Built, inputs: &[HeatId]) {
    for ((_, components), &input) in built.dies.iter().zip(inputs) {
        for &component in components {
            circuit.heats(component, input);
        }
    }
}
