//! Circuits around parts, with drive and control, ready to run: each by name with parameters, and as a library
//! function.

mod breaker;
mod bridge;
pub mod builder;
pub mod cycle;
pub mod dead_time;
pub mod double_pulse;
mod keys;
mod leg;
pub mod losses;
pub mod mission;
mod resonant;

use std::collections::BTreeMap;

use joulestep_engine::circuit::graph::Circuit;
use joulestep_engine::error::CircuitError;

use crate::model::{Param, Value, Values, bad};
use crate::part::Part;
use builder::{Builder, CircuitLayout};

/// A line of the list of arrangements.
#[derive(Clone, Copy, Debug)]
pub struct Arrangement {
    /// Its name in a scenario.
    pub kind: &'static str,
    /// One line of help.
    pub help: &'static str,
    /// Parameters.
    pub params: &'static [Param],
    /// Places for switches.
    pub places: &'static [&'static str],
    /// Where its relations come from.
    pub source: &'static str,
    /// Lays it out.
    build: fn(&mut Builder<'_>) -> Result<(), CircuitError>,
}

/// Every arrangement.
pub const fn shipped() -> &'static [Arrangement] {
    &[
        leg::HALF_BRIDGE,
        leg::BUCK,
        leg::BOOST,
        bridge::TOTEM_POLE,
        bridge::INVERTER,
        resonant::RESONANT,
        resonant::DUAL_ACTIVE,
        breaker::BREAKER,
        breaker::PRECHARGE,
        breaker::BREAK,
    ]
}

/// The arrangement of this name.
pub fn find(kind: &str) -> Option<&'static Arrangement> {
    shipped().iter().find(|a| a.kind == kind)
}

impl Arrangement {
    /// Its parameters' defaults with some given, SI units.
    ///
    /// # Errors
    /// When a key is not among its parameters, or one that must be given is not.
    pub fn values(&self, given: &[(&str, f64)]) -> Result<Values, CircuitError> {
        let mut values = Values::with_defaults(self.params);
        for &(key, x) in given {
            let param = self.params.iter().find(|p| p.key == key);
            let param = param.ok_or_else(|| bad(self.kind, format!("there is no parameter `{key}`")))?;
            values.0.insert(param.key, Value::Number(x));
        }
        let missing =
            self.params.iter().find(|p| p.default.is_none() && !p.optional && !values.0.contains_key(p.key));
        missing.map_or(Ok(values), |p| Err(bad(self.kind, format!("`{}` is not given", p.key))))
    }

    /// Lays it into a circuit. `parts` by place; the one under "" serves where none is named, and without one the
    /// switches are ideal.
    ///
    /// # Errors
    /// When a value or a part does not fit.
    pub fn build(
        &self,
        circuit: &mut Circuit<f64>,
        values: &Values,
        parts: &BTreeMap<String, Part>,
    ) -> Result<CircuitLayout, CircuitError> {
        if let Some(place) = parts.keys().find(|p| !p.is_empty() && !self.places.contains(&p.as_str())) {
            return Err(bad(self.kind, format!("there is no place `{place}`")));
        }
        let mut builder = Builder { circuit, values, parts, layout: CircuitLayout::default() };
        (self.build)(&mut builder)?;
        Ok(builder.layout)
    }
}
