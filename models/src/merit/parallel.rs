//! How many devices in parallel carry a current from a heatsink.

use serde::Serialize;

use super::{MeritError, operating};
use crate::operating::{AtRest, Feed, OperatingError};
use crate::part::Part;

/// What the devices are to carry.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Duty {
    /// Direct current through all of them together, A.
    pub current: f64,
    /// Temperature of the heatsink, °C.
    pub heatsink: f64,
    /// Thermal resistance from each case to the heatsink, K/W.
    pub interface: f64,
    /// Highest junction temperature to be reached, °C; `None`: the part's own.
    #[serde(skip)]
    pub hottest: Option<f64>,
}

/// The steady state of one of them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Steady {
    /// Devices in parallel.
    pub number: u32,
    /// Current of each, A.
    pub current: f64,
    /// Voltage drop, V.
    pub drop: f64,
    /// Heat of each, W.
    pub power: f64,
    /// Junction temperature, °C.
    pub junction: f64,
    /// Junction temperature that it must not pass, °C.
    pub hottest: f64,
}

/// Most devices that are tried.
pub const MOST: u32 = 4096;

/// The steady state of `number` equal devices that share the current equally: T_j = T_s + (R_th(j-c) + R_interface)·P,
/// P = (I/n)·V(I/n, T_j) with the drop of the part's own model. The lower of two solutions is taken, found by
/// iterating from the heatsink's temperature: the heat grows with the temperature, so the iteration rises to it.
/// `None` where there is none below the highest junction temperature (or the part cannot carry the current at all).
///
/// # Errors
/// [`MeritError`]: the part states no thermal resistance or no highest junction temperature.
pub fn steady(part: &Part, gate: f64, duty: &Duty, number: u32) -> Result<Option<Steady>, MeritError> {
    let lacks = |what: &str| MeritError::Lacks { part: part.name.clone(), what: what.into() };
    let case = super::thermal_resistance(part).ok_or_else(|| lacks("it states no thermal resistance"))?;
    let hottest = duty
        .hottest
        .or_else(|| part.hottest())
        .ok_or_else(|| lacks("it states no highest junction temperature"))?;
    let current = duty.current / f64::from(number);
    let mut junction = duty.heatsink;
    for _ in 0..500 {
        let rest = match AtRest::new(part.entry(), &part.values, gate, Feed::Current(current), junction) {
            Ok(rest) => rest,
            // More than it saturates at: the model blocks until it breaks down, or has no operating point.
            Err(OperatingError::NoPoint(_)) => return Ok(None),
            Err(other) => return Err(operating(part)(other)),
        };
        let drop = rest.voltage();
        let power = current * drop;
        let next = duty.heatsink + (case + duty.interface) * power;
        // Written so that a temperature that is not a number ends it too.
        let stays = next <= hottest;
        if !stays {
            return Ok(None);
        }
        if (next - junction).abs() < 1e-4 {
            return Ok(Some(Steady { number, current, drop, power, junction: next, hottest }));
        }
        junction = next;
    }
    Ok(None)
}

/// The least number of devices whose steady state stays within the highest junction temperature; `None` where
/// [`MOST`] are not enough.
///
/// # Errors
/// As [`steady`].
pub fn needed(part: &Part, gate: f64, duty: &Duty) -> Result<Option<Steady>, MeritError> {
    let (mut low, mut high) = (0, 1);
    let mut best = loop {
        if let Some(found) = steady(part, gate, duty, high)? {
            break found;
        }
        if high >= MOST {
            return Ok(None);
        }
        (low, high) = (high, 2 * high);
    };
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        match steady(part, gate, duty, middle)? {
            Some(found) => (high, best) = (middle, found),
            None => low = middle,
        }
    }
    Ok(Some(best))
}
