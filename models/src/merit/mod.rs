//! Figures of merit: what a switch's on-resistance costs in area, charge and energy. Smaller is better.
//!
//! Everything comes from the part's own model: resistances and drops from operating points found by the engine, output
//! charge and energy from its capacitances, gate charge from the charges at two operating points, recovery from a run.
//! Products by trade usage; Huang, IEEE Electron Device Lett. 25 (2004) 298 (from memory).

pub mod parallel;
pub mod recovery;

use serde::Serialize;

use crate::capacitances::{OutputCharge, output_charge};
use crate::model::OnGate;
use crate::operating::{AtRest, Feed, OperatingError, resistance};
use crate::part::Part;
use recovery::RecoveryError;

/// Channel drop at 25 °C that sets the test current where none is asked for, V.
pub const TEST_DROP: f64 = 0.2;
/// Current density that sets it for a part without a gate, A/m².
pub const TEST_DENSITY: f64 = 1e6;

/// Why a figure cannot be had.
#[derive(Debug, thiserror::Error)]
pub enum MeritError {
    /// A condition is outside the part's own limits.
    #[error("{part}: {found}; expected {expected}")]
    Limit {
        /// Name of the part.
        part: String,
        /// What was requested.
        found: String,
        /// What is possible.
        expected: String,
    },
    /// The part does not hold what is needed.
    #[error("{part}: {what}")]
    Lacks {
        /// Name of the part.
        part: String,
        /// What it lacks.
        what: String,
    },
    /// No operating point.
    #[error("{part}: {error}")]
    Operating {
        /// Name of the part.
        part: String,
        /// Why.
        error: OperatingError,
    },
    /// The simulated recovery failed.
    #[error("{part}: {error}")]
    Recovery {
        /// Name of the part.
        part: String,
        /// Why.
        error: Box<RecoveryError>,
    },
}

/// Under what the figures are taken; the same for all parts that are compared. Temperatures are junction temperatures
/// in °C, gate voltages are from gate to source in V.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Conditions {
    /// Junction temperature, °C.
    #[serde(skip)]
    pub celsius: f64,
    /// Blocking voltage of the output charge and of the recovery, V.
    pub voltage: f64,
    /// Rate at which the diode's current falls, A/s.
    pub rate: f64,
    /// Test current, A; `None`: the current at which the channel drops [`TEST_DROP`] at 25 °C and, of a part without a
    /// gate, [`TEST_DENSITY`] times the area of its die.
    #[serde(rename = "test_current")]
    pub current: Option<f64>,
    /// Gate-source voltage that turns on, V; `None`: the one at which the part states its on-resistance.
    pub gate_on: Option<f64>,
    /// Gate-source voltage that turns off, V.
    pub gate_off: f64,
}

impl Default for Conditions {
    /// 25 °C, 400 V, 1000 A/µs, gate off at 0 V.
    fn default() -> Self {
        Self { celsius: 25.0, voltage: 400.0, rate: 1e9, current: None, gate_on: None, gate_off: 0.0 }
    }
}

/// The figures of a part; `None` where the part has none (a diode no gate, a part without die data no area).
#[derive(Clone, Debug, PartialEq)]
pub struct Figures {
    /// Name of the part.
    pub part: String,
    /// Junction temperature, °C.
    pub celsius: f64,
    /// Test current, A.
    pub current: f64,
    /// Gate-source voltage that turns on, V.
    pub gate_on: Option<f64>,
    /// On-resistance, Ω.
    pub resistance: Option<f64>,
    /// Area of the die that blocks, m².
    pub area: Option<f64>,
    /// Output charge and energy at the stated voltage.
    pub output: OutputCharge,
    /// Charge into the gate, C.
    pub gate_charge: Option<f64>,
    /// Recovery charge of the (integral) diode, C.
    pub recovery_charge: f64,
    /// Its peak reverse current, A.
    pub recovery_current: f64,
    /// Drop of the (integral) diode with the gate off, V.
    pub diode_drop: f64,
    /// Thermal resistance from junction to case, K/W.
    pub thermal_resistance: Option<f64>,
}

/// One figure: its name, how it is defined, and how it is read from [`Figures`].
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Figure {
    /// Key in files.
    #[serde(skip)]
    pub key: &'static str,
    /// Symbol.
    pub symbol: &'static str,
    /// Unit symbol of the value.
    pub unit: &'static str,
    /// Unit in which it is printed for people, and how many of it make the value's unit.
    #[serde(skip)]
    pub shown: (&'static str, f64),
    /// Definition with its conditions.
    pub definition: &'static str,
    /// The value.
    #[serde(skip)]
    pub value: fn(&Figures) -> Option<f64>,
}

/// The figures, in the order in which they are printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        key: "on_resistance",
        symbol: "R_on",
        unit: "ohm",
        shown: ("mΩ", 1e3),
        definition: "drain-source voltage over drain current, gate on, at the test current",
        value: |f| f.resistance,
    },
    Figure {
        key: "on_resistance_area",
        symbol: "R_on·A",
        unit: "ohm m^2",
        shown: ("mΩ·cm²", 1e7),
        definition: "times the area A of the die that blocks",
        value: |f| Some(f.resistance? * f.area?),
    },
    Figure {
        key: "on_resistance_output_energy",
        symbol: "R_on·E_oss",
        unit: "ohm J",
        shown: ("mΩ·µJ", 1e9),
        definition: "times E_oss, the integral of v·C_oss dv from 0 to V, gate at the source",
        value: |f| Some(f.resistance? * f.output.energy),
    },
    Figure {
        key: "on_resistance_output_capacitance",
        symbol: "R_on·C_o(tr)",
        unit: "ohm F",
        shown: ("mΩ·nF", 1e12),
        definition: "times C_o(tr), the time-related equivalent Q_oss/V; Q_oss: integral of C_oss dv from 0 to V",
        value: |f| Some(f.resistance? * f.output.time_related()),
    },
    Figure {
        key: "on_resistance_recovery_charge",
        symbol: "R_on·Q_rr",
        unit: "ohm C",
        shown: ("mΩ·nC", 1e12),
        definition: "times Q_rr of the integral diode, gate off: the test current ramped down at the stated rate into V, \
                     from zero current to 2 % of the reverse peak; capacitive charge included, leads left out",
        value: |f| Some(f.resistance? * f.recovery_charge),
    },
    Figure {
        key: "on_resistance_gate_charge",
        symbol: "R_on·Q_g",
        unit: "ohm C",
        shown: ("mΩ·nC", 1e12),
        definition: "times Q_g, the charge into the gate from gate off at V to gate on at the test current",
        value: |f| Some(f.resistance? * f.gate_charge?),
    },
    Figure {
        key: "diode_drop",
        symbol: "V_SD",
        unit: "V",
        shown: ("V", 1.0),
        definition: "drop of the (integral) diode at the test current, gate off",
        value: |f| Some(f.diode_drop),
    },
    Figure {
        key: "thermal_resistance",
        symbol: "R_th(j-c)",
        unit: "K/W",
        shown: ("K/W", 1.0),
        definition: "from the hottest junction to the case, as the part states it",
        value: |f| f.thermal_resistance,
    },
];

/// Whether the part has a gate, and its pins begin with the drain.
pub fn is_switch(part: &Part) -> bool {
    part.entry().is_switch()
}

/// Whether the part conducts one way only, from anode to cathode.
pub fn is_diode(part: &Part) -> bool {
    part.entry().is_diode()
}

/// Gate-source voltage at which the part states its on-resistance, V.
pub fn stated_gate(part: &Part) -> Option<f64> {
    match part.entry().driven()?.on? {
        OnGate::At(volts) => Some(volts),
        OnGate::Key(key) => part.values.maybe(key),
    }
}

/// Area of the die that blocks, m².
pub fn blocking_area(part: &Part) -> Option<f64> {
    part.die(part.entry().blocking()?.name).map(|d| d.area)
}

/// Thermal resistance from junction to case: as stated, or the largest sum of a transient impedance's terms, K/W.
pub fn thermal_resistance(part: &Part) -> Option<f64> {
    let sum = |i: &crate::part::Impedance| i.terms.iter().map(|t| t.0).sum::<f64>();
    part.thermal.junction_case.or_else(|| part.thermal.impedance.iter().map(sum).reduce(f64::max))
}

/// Checks temperature, voltage and gate against the part's own limits.
///
/// # Errors
/// [`MeritError::Limit`], [`MeritError::Lacks`].
pub fn check(part: &Part, c: &Conditions) -> Result<(), MeritError> {
    let limit =
        |found: String, expected: String| Err(MeritError::Limit { part: part.name.clone(), found, expected });
    if !is_switch(part) && !is_diode(part) {
        let what = format!("it is a {}, neither a switch with a gate nor a diode", part.kind);
        return Err(MeritError::Lacks { part: part.name.clone(), what });
    }
    if let Some(key) = part.missing().first() {
        let what = format!("its file does not give `{key}`, which its model needs");
        return Err(MeritError::Lacks { part: part.name.clone(), what });
    }
    if let Some(hottest) = part.hottest().filter(|&h| c.celsius > h) {
        let found = format!("{} °C is beyond its highest junction temperature", c.celsius);
        return limit(found, format!("at most {hottest} °C"));
    }
    if c.celsius <= -150.0 {
        return limit(format!("{} °C", c.celsius), "a temperature above -150 °C".into());
    }
    if let Some(rated) = part.rated_voltage().filter(|&r| c.voltage > r) {
        return limit(format!("{} V is beyond its rated voltage", c.voltage), format!("at most {rated} V"));
    }
    if let (true, Some((low, high))) = (is_switch(part), part.gate_limits()) {
        let requested = [c.gate_on.unwrap_or(0.0), c.gate_off];
        if let Some(v) = requested.into_iter().find(|v| !(low..=high).contains(v)) {
            let found = format!("a gate voltage of {v} V is beyond what its gate tolerates");
            return limit(found, format!("{low} V to {high} V"));
        }
    }
    Ok(())
}

pub(crate) fn operating(part: &Part) -> impl Fn(OperatingError) -> MeritError + '_ {
    |error| MeritError::Operating { part: part.name.clone(), error }
}

/// Gate-source voltage that turns the part on under these conditions, V; `None` for a part without a gate.
///
/// # Errors
/// When the part states none and none is asked for.
pub fn gate_on(part: &Part, c: &Conditions) -> Result<Option<f64>, MeritError> {
    if !is_switch(part) {
        return Ok(None);
    }
    let what = "neither the conditions nor the part state a gate voltage that turns it on".to_string();
    c.gate_on
        .or_else(|| stated_gate(part))
        .map(Some)
        .ok_or(MeritError::Lacks { part: part.name.clone(), what })
}

/// The current under which the part is tested, A.
///
/// # Errors
/// [`MeritError`]: no operating point; a diode whose area is not known.
pub fn test_current(part: &Part, c: &Conditions) -> Result<f64, MeritError> {
    if let Some(current) = c.current {
        return Ok(current);
    }
    if let Some(gate) = gate_on(part, c)? {
        let at = |gate| {
            let rest = AtRest::new(part.entry(), &part.values, gate, Feed::Voltage(TEST_DROP), 25.0);
            Ok(rest.map_err(operating(part))?.current())
        };
        let current = at(gate)?;
        let stated = stated_gate(part).map_or(Ok(current), at)?;
        return if current > BARELY * stated { Ok(current) } else { Err(closed(part, gate)) };
    }
    let what = "its file gives no area of the die, from which the test current would follow; \
                expected a test current";
    let lacks = || MeritError::Lacks { part: part.name.clone(), what: what.into() };
    Ok(TEST_DENSITY * blocking_area(part).ok_or_else(lacks)?)
}

/// Below this part of the current at the stated gate voltage, the channel counts as closed.
const BARELY: f64 = 1e-2;

fn closed(part: &Part, gate: f64) -> MeritError {
    MeritError::Limit {
        part: part.name.clone(),
        found: format!("a gate voltage of {gate} V does not turn it on"),
        expected: "a gate voltage well above its threshold".into(),
    }
}

/// Refuses a test current that the channel does not carry as a resistance: beyond its saturation the drop is no
/// on-resistance any more.
///
/// # Errors
/// [`MeritError::Limit`]; no operating point.
pub fn carries(part: &Part, gate: f64, current: f64, celsius: f64) -> Result<(), MeritError> {
    let at = |i| resistance(part.entry(), &part.values, gate, i, celsius).map_err(operating(part));
    let (small, requested) = (at(1e-3 * current)?, at(current)?);
    if requested < 3.0 * small {
        return Ok(());
    }
    Err(MeritError::Limit {
        part: part.name.clone(),
        found: format!(
            "at {gate} V on its gate and {celsius} °C, {current} A saturates it (a drop of {:.3} V)",
            requested * current
        ),
        expected: "a test current that it carries as a resistance".into(),
    })
}

/// Drop of the diode, or of a switch's integral diode with its gate off, at a forward current (A), V.
///
/// # Errors
/// No operating point.
pub fn diode_drop(part: &Part, current: f64, gate_off: f64, celsius: f64) -> Result<f64, MeritError> {
    // A switch's integral diode conducts from source to drain.
    let sign = if is_diode(part) { 1.0 } else { -1.0 };
    let rest = AtRest::new(part.entry(), &part.values, gate_off, Feed::Current(sign * current), celsius);
    Ok(sign * rest.map_err(operating(part))?.voltage())
}

/// Charge into the gate between two operating points: gate off and V between drain and source; gate on and the test
/// current. It is what a gate current would have to bring whatever the way between them, because charge is a function
/// of the voltages. C.
fn gate_charge(part: &Part, c: &Conditions, on: f64, current: f64) -> Result<f64, MeritError> {
    let rest = |gate, feed| AtRest::new(part.entry(), &part.values, gate, feed, c.celsius);
    let off = rest(c.gate_off, Feed::Voltage(c.voltage)).map_err(operating(part))?;
    let on = rest(on, Feed::Current(current)).map_err(operating(part))?;
    Ok(on.gate_charge() - off.gate_charge())
}

/// The figures of a part under conditions.
///
/// # Errors
/// [`MeritError`].
pub fn figures(part: &Part, c: &Conditions) -> Result<Figures, MeritError> {
    check(part, c)?;
    let (entry, values, current) = (part.entry(), &part.values, test_current(part, c)?);
    let on = gate_on(part, c)?;
    on.map_or(Ok(()), |gate| carries(part, gate, current, c.celsius))?;
    let resistance = on.map(|g| resistance(entry, values, g, current, c.celsius));
    let output = output_charge(entry, values, &[c.voltage], c.celsius).map_err(operating(part))?;
    let recovered = recovery::ramp(part, &recovery::Ramp::of(c, current))
        .map_err(|t| MeritError::Recovery { part: part.name.clone(), error: Box::new(t) })?;
    let lacks = || MeritError::Lacks { part: part.name.clone(), what: "no output charge".into() };
    Ok(Figures {
        part: part.name.clone(),
        celsius: c.celsius,
        current,
        gate_on: on,
        resistance: resistance.transpose().map_err(operating(part))?,
        area: blocking_area(part),
        output: output.last().copied().ok_or_else(lacks)?,
        gate_charge: on.map(|g| gate_charge(part, c, g, current)).transpose()?,
        recovery_charge: recovered.charge,
        recovery_current: recovered.peak.0,
        diode_drop: diode_drop(part, current, c.gate_off, c.celsius)?,
        thermal_resistance: thermal_resistance(part),
    })
}
