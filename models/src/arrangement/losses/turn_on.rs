//! A turn-on in a leg, and the dead time before it: from when on, and up to when, it would have been soft.

use super::ON_SHARE;

/// What a leg does at one recorded instant of a dead time.
#[derive(Clone, Copy, Debug)]
pub(super) struct Instant {
    /// s.
    pub time: f64,
    /// Over the switch that turns on next, V.
    pub voltage: f64,
    /// Over its partner, V.
    pub partner: f64,
    /// Out of the node between them, A.
    pub current: f64,
}

/// A turn-on. Times count from the partner's turn-off edge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TurnOn {
    /// Voltage over the switch at its gate's edge, V.
    pub voltage: f64,
    /// What both switches of the leg block together when the partner turns off, V: what rings after an edge has come to rest.
    pub leg: f64,
    /// Current out of the node between them when the partner turns off, A.
    pub current: f64,
    /// When the voltage over the switch has fallen to [`ON_SHARE`] of what the leg blocks, s; not a number where it has
    /// not before the switch turns on.
    pub soft_from: f64,
    /// When the current reverses and begins to take the node back, s: as seen, or where the straight line of the current
    /// through the dead time comes to zero; not a number where it does not go there, or the node has not swung.
    pub reverses: f64,
}

impl TurnOn {
    /// Share of the leg's voltage that is over the switch when it turns on.
    pub fn share(&self) -> f64 {
        self.voltage / self.leg
    }

    /// From the partner's turn-off edge to the switch's own; `None` without either.
    pub(super) fn of(dead_time: &[Instant]) -> Option<Self> {
        let (begin, end) = (dead_time.first()?, dead_time.last()?);
        let leg = begin.voltage + begin.partner;
        let level = ON_SHARE * leg;
        let since = |t: f64| t - begin.time;
        // Where a straight line between two instants comes to zero.
        let zero = |a: (f64, f64), b: (f64, f64)| a.0 + (b.0 - a.0) * a.1 / (a.1 - b.1);
        let crossing = |from: usize, of: &dyn Fn(&Instant) -> f64| {
            let pairs = dead_time.windows(2).enumerate().skip(from);
            let mut met = pairs.filter(|(_, w)| of(&w[0]) > 0.0 && of(&w[1]) <= 0.0);
            met.next().map(|(k, w)| (k + 1, since(zero((w[0].time, of(&w[0])), (w[1].time, of(&w[1]))))))
        };
        let swung = if begin.voltage <= level { Some((0, 0.0)) } else { crossing(0, &|i| i.voltage - level) };
        let mut found = Self {
            voltage: end.voltage,
            leg,
            current: begin.current,
            soft_from: f64::NAN,
            reverses: f64::NAN,
        };
        let Some((k, from)) = swung else { return Some(found) };
        found.soft_from = from;
        let sign = begin.current.signum();
        // Until the diode conducts, a current out of the leg flows into capacitances that may lie beside the switches.
        let conducts = dead_time.iter().skip(k).position(|i| i.voltage < 0.0).map_or(k, |n| k + n);
        found.reverses = match crossing(conducts, &|i| sign * i.current) {
            Some((_, at)) => at,
            None => {
                let (a, b) = (dead_time[conducts.min(dead_time.len() - 1)], end);
                let meets = since(zero((a.time, a.current), (b.time, b.current)));
                if sign * (a.current - b.current) > 0.0 { meets } else { f64::NAN }
            }
        };
        Some(found)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A current of 10 A that falls by 1 A/us moves a node of 400 V in 4 us through C = 80 nF (t = C·V/I but for the
    /// 20 % by which the current has fallen: C·V = I·t − t²/2·1 A/us), stays and takes it back after 10 us.
    fn course(until: f64) -> Vec<Instant> {
        let at = |k: u32| {
            let us = until * f64::from(k) / 200.0;
            let charge = (10.0 * us - 0.5 * us * us) / 32.0;
            let back = 0.5 * (us - 10.0).max(0.0).powi(2) / 32.0;
            let share = (1.0 - charge).max(0.0).max(back.min(1.0) * f64::from(u8::from(us > 10.0)));
            let voltage = if share > 0.0 { 400.0 * share } else { -1.0 };
            Instant { time: 1.0 + 1e-6 * us, voltage, partner: 400.0 - voltage, current: 10.0 - us }
        };
        (0..=200).map(at).collect()
    }

    #[test]
    fn bounds_of_a_soft_turn_on() {
        assert_eq!(TurnOn::of(&[]), None);
        let hard = TurnOn::of(&course(2.0)).unwrap();
        assert!(hard.voltage > 100.0 && hard.soft_from.is_nan() && hard.reverses.is_nan());
        // 95 % of the charge: 30.4 = 10·t − t²/2.
        let expected = 1e-6 * (10.0 - (100.0f64 - 60.8).sqrt());
        for until in [6.0, 14.0] {
            let found = TurnOn::of(&course(until)).unwrap();
            assert!((found.soft_from - expected).abs() < 2e-9, "{found:?}");
            assert!((found.reverses - 10e-6).abs() < 1e-9, "{found:?}");
            assert_eq!((found.current, found.leg), (10.0, 400.0));
        }
        // What grows never reverses.
        let grows = |t: f64| Instant { time: t, voltage: -1.0, partner: 401.0, current: 10.0 + t };
        assert!(TurnOn::of(&[grows(0.0), grows(1.0)]).unwrap().reverses.is_nan());
    }
}
