//! What a model tells of avalanches and surges, for ratings to judge.

use joulestep_engine::circuit::probe::Probe;

use super::Prefixed;

/// Ratings of what absorbs surges: one takes the energy, and the mean power carries it off.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Surge {
    /// Energy of a surge, J.
    pub energy: Option<f64>,
    /// Mean power of repeated surges, W.
    pub power: Option<f64>,
}

/// A junction that may go into avalanche.
#[derive(Clone, Debug)]
pub struct Avalanche {
    /// The die that it heats.
    pub die: &'static str,
    /// Reverse voltage of the junction.
    pub voltage: Probe,
    /// Breakdown voltage at 25 °C, V.
    pub breakdown: f64,
    /// Its relative change with temperature, 1/K.
    pub drift: f64,
    /// Current of the die.
    pub current: Probe,
    /// Junction temperature where no thermal network sets it, °C.
    pub celsius: f64,
    /// The highest junction temperature allowed, °C.
    pub hottest: f64,
}

impl Avalanche {
    /// Of a die that states its breakdown.
    pub(crate) fn of(die: &'static str, v: &Prefixed, voltage: Probe, current: Probe) -> Option<Self> {
        let number = |key: &str| v.values.number(key);
        Some(Self {
            die,
            voltage,
            breakdown: v.maybe("breakdown-voltage")?,
            drift: v.number("breakdown-drift"),
            current,
            celsius: number("junction-temperature"),
            hottest: number("maximum-temperature"),
        })
    }
}
