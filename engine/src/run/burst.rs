//! Times for which a quantity is above a level, one after the other, and what each comes to: the avalanches of a die.

use super::gauge::Reading;
use crate::circuit::probe::Probe;

/// When a burst lasts, and what its value is referred to.
#[derive(Clone, Debug, PartialEq)]
pub struct Burst {
    /// It lasts while this is above the level.
    pub over: Probe,
    /// The level.
    pub level: f64,
    /// Junction temperature at its start; `None`: the value stands as it is.
    pub referred: Option<Referred>,
}

/// A value stated for one junction temperature: at another one it is multiplied by ((T_max − T_stated)/(T_max − T))², since
/// a pulse of constant power heats as the root of its time, and what it may heat by is T_max − T (Blackburn, PESC 1988;
/// from memory).
#[derive(Clone, Debug, PartialEq)]
pub struct Referred {
    /// Junction temperature, °C; `None`: `else_at`.
    pub temperature: Option<Probe>,
    /// Junction temperature where none is read, °C.
    pub else_at: f64,
    /// The temperature for which the value is stated, °C.
    pub stated_at: f64,
    /// The highest junction temperature, °C.
    pub hottest: f64,
}

impl Referred {
    /// The factor at a junction temperature, °C; within a kelvin of the highest, and above it, that of a kelvin below.
    pub fn factor(&self, celsius: f64) -> f64 {
        ((self.hottest - self.stated_at) / (self.hottest - celsius).max(1.0)).powi(2)
    }
}

/// What is taken of each burst.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Taken {
    /// By how much the probe rises (a running integral: an energy), the largest of all.
    Rise,
    /// The same where there is more than one: a single one counts nothing.
    RepeatedRise,
    /// The largest size of the probe within.
    Peak,
}

impl Reading {
    /// With the bursts of another stretch of time.
    pub fn take(&mut self, other: &Self) {
        self.count = self.count.saturating_add(other.count);
        self.largest = self.largest.max(other.largest);
        self.least = self.largest;
        self.open |= other.open;
    }
}

/// The bursts of a run so far.
#[derive(Clone, Debug)]
pub(super) struct Bursts {
    taken: Taken,
    burst: Burst,
    /// Value and factor at the start of the one that lasts.
    since: Option<(f64, f64)>,
    count: u32,
    largest: f64,
}

impl Bursts {
    pub(super) fn new(taken: Taken, burst: &Burst) -> Self {
        Self { taken, burst: burst.clone(), since: None, count: 0, largest: 0.0 }
    }

    /// What is read beside the probe itself: what is to be above the level, and the junction temperature.
    pub(super) fn probes(&self) -> impl Iterator<Item = &Probe> {
        let temperature = self.burst.referred.as_ref().and_then(|r| r.temperature.as_ref());
        [&self.burst.over].into_iter().chain(temperature)
    }

    /// Takes in the end of a step: the probe before it and now; `beside`: the values of [`Bursts::probes`].
    pub(super) fn look(&mut self, before: f64, now: f64, beside: &[f64]) {
        let lasts = beside[0] > self.burst.level;
        if lasts && self.since.is_none() {
            let referred = self.burst.referred.as_ref();
            let factor = referred.map_or(1.0, |r| r.factor(beside.get(1).copied().unwrap_or(r.else_at)));
            self.since = Some((before, factor));
            self.count += 1;
        }
        let Some((start, factor)) = self.since else { return };
        let value = match self.taken {
            Taken::Peak if lasts => now.abs(),
            Taken::Peak => 0.0,
            Taken::Rise | Taken::RepeatedRise => (now - start) * factor,
        };
        self.largest = self.largest.max(value);
        if !lasts {
            self.since = None;
        }
    }

    /// Counts anew; what lasts counts from here.
    pub(super) fn forget(&mut self) {
        (self.since, self.count, self.largest) = (None, 0, 0.0);
    }

    /// How many there were, the largest value, and whether one lasts.
    pub(super) fn reading(&self) -> (u32, f64, bool) {
        let counts = self.taken != Taken::RepeatedRise || self.count > 1;
        (self.count, if counts { self.largest } else { 0.0 }, self.since.is_some())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Half of the permissible rise left: a quarter of the energy.
    #[test]
    fn a_hot_die_takes_less() {
        let referred = Referred { temperature: None, else_at: 25.0, stated_at: 25.0, hottest: 175.0 };
        assert_eq!(referred.factor(25.0), 1.0);
        assert_eq!(referred.factor(100.0), 4.0);
        assert_eq!(referred.factor(500.0), 22_500.0);
    }
}
