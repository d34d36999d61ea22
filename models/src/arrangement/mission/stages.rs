//! The two ways through a stretch: cycle by cycle, and by leaps.

use std::f64::consts::PI;

use super::follow::{Follower, Key, RUNAWAY, SHARE, rise};
use super::leap::{glide, ramp, set_boundaries};
use super::profile::Side;
use super::{MissionError, MissionEvent};

/// Share of the tolerance below which the rest of an electrical settling is jumped over.
const NEGLIGIBLE: f64 = 0.05;
/// A settling that was resolved between the same loads serves again while temperatures differ by less than this, K.
const ALIKE: f64 = 15.0;
/// Expected change of temperature over a first leap, K: before slopes are known, and when they are.
const FIRST: (f64, f64) = (3.0, 40.0);
/// Periods in the shortest leap that is taken back.
const SHORTEST: f64 = 4.0;

impl Follower<'_, '_> {
    /// Resolves the electrical settling after a step, cycle by cycle; gives the instant reached. The site stands in the
    /// state that the step met, and the model holds the steady cycle there.
    pub(super) fn settle(
        &mut self,
        before: &Key,
        round: f64,
        from: f64,
        end: f64,
    ) -> Result<f64, MissionError> {
        let names = (before.clone(), self.key.clone());
        let now = self.network.temperatures();
        let alike = |then: &[f64]| now.iter().zip(then).all(|(a, b)| (a - b).abs() <= ALIKE);
        let known = self.settlings.get(&names).filter(|s| alike(&s.0)).map(|s| s.1.clone());
        let begin = now.to_vec();
        let (left, turn) = self.site.slowest.unwrap_or((0.0, 0.0));
        // Cycles whose power counts for what is left: half a turn of what oscillates.
        let window = if turn > 1e-3 { (PI / turn).ceil().min(1000.0) as usize } else { 1 }.max(3);
        let lasts = (1.0 / (1.0 - left.min(1.0 - 1e-6))).max(1.0) * self.period;
        let negligible = NEGLIGIBLE * self.options.tolerance;
        let mut over: Vec<Vec<f64>> = Vec::new();
        let mut t = from;
        let reused = known.is_some();
        let most = known.as_ref().map_or(self.options.resolve as usize, Vec::len);
        let mut rest = f64::INFINITY;
        let mut first_seen = None;
        let mut most_over = vec![0.0; begin.len()];
        while over.len() < most && t + self.period <= end {
            if over.len() % 64 == 63 && !self.listener.go_on(t) {
                break;
            }
            let celsius = self.network.temperatures().to_vec();
            let steady = self.model.power(t, &celsius);
            let power: Vec<f64> = match &known {
                Some(known) => steady.iter().zip(&known[over.len()]).map(|(p, d)| p + d).collect(),
                None => {
                    self.site.hold(&celsius);
                    let error = |what| MissionError::Cycle { time: t, what };
                    let cycle = self.site.cycle().map_err(error)?;
                    self.look(t, &cycle);
                    self.add_balance(cycle.balance, self.period);
                    cycle.power
                }
            };
            if reused {
                self.add_balance(self.balance, self.period);
            }
            over.push(power.iter().zip(&steady).map(|(p, s)| p - s).collect());
            t = self.pass_cycle(round, t, power);
            if !reused && over.len() >= window {
                let last = &over[over.len() - window..];
                let most = |k: usize| last.iter().map(|o| o[k].abs()).fold(0.0, f64::max);
                most_over = (0..begin.len()).map(most).collect();
                let mut requested = self.rest.clone();
                requested.advance(lasts, &most_over);
                let seen = rise(&requested, &self.rest);
                let first = *first_seen.get_or_insert(seen);
                // What is seen holds the drift of the temperatures too; the electrical part dies away as the slowest
                // disturbance does (with a margin of three).
                let dies = 3.0 * first * left.powf((over.len() - window) as f64);
                rest = seen.min(dies);
                if rest <= negligible {
                    most_over.iter_mut().for_each(|o| *o *= (dies / seen).min(1.0));
                    break;
                }
            }
        }
        let count = over.len();
        if reused {
            self.out.work.reused += count as u64;
            return Ok(t);
        }
        self.out.work.resolved += count as u64;
        self.listener.event(t, MissionEvent::Resolved(count as u32));
        if t + self.period <= end {
            self.wrong.advance(lasts, &most_over);
            self.out.work.jumps += u32::from(rest > negligible);
            if rest > negligible {
                self.listener.event(t, MissionEvent::Jumped(rest));
            }
        }
        self.estimate();
        self.settlings.insert(names, (begin, over));
        Ok(t)
    }

    /// A cycle of this mean power passes.
    fn pass_cycle(&mut self, round: f64, t: f64, power: Vec<f64>) -> f64 {
        let next = t + self.period;
        set_boundaries(&mut self.network, self.profile, 0.5 * (t + next) - round, Side::After);
        self.network.advance(self.period, &power);
        self.wrong.advance(self.period, &vec![0.0; power.len()]);
        let estimate = self.estimate();
        let celsius = self.network.temperatures().to_vec();
        self.report(next, celsius, power, estimate);
        next
    }

    fn add_balance(&mut self, watts: [f64; 3], span: f64) {
        self.out.balance.iter_mut().zip(watts).for_each(|(sum, p)| *sum += p * span);
    }

    /// Every cycle from here to the end of the stretch; the last one is cut where the stretch ends.
    pub(super) fn every_cycle(
        &mut self,
        round: f64,
        from: f64,
        end: f64,
        moving: bool,
    ) -> Result<bool, MissionError> {
        let mut t = from;
        while t + 1e-6 * self.period < end {
            if self.out.work.resolved.is_multiple_of(64) && !self.listener.go_on(t) {
                return Ok(false);
            }
            if moving && t > from {
                let now = self.profile.parameters(t - round, Side::After);
                let electrical = self.site.electrical();
                self.move_to(&now, t, false)?;
                self.site
                    .start_from(&electrical)
                    .map_err(|what| MissionError::Numerical { time: t, what })?;
            }
            self.site.hold(self.network.temperatures());
            let cycle = self.site.cycle().map_err(|what| MissionError::Cycle { time: t, what })?;
            self.out.work.resolved += 1;
            self.look(t, &cycle);
            let whole = self.period;
            let span = whole.min(end - t);
            self.add_balance(cycle.balance, span);
            self.period = span;
            self.pass_cycle(round, t, cycle.power);
            self.period = whole;
            t += span;
        }
        Ok(true)
    }

    /// The first leap of a stretch: as far as temperatures are expected to move little.
    fn first_leap(&self, round: f64, from: f64, end: f64) -> f64 {
        let unknown = self.model.per_kelvin.iter().all(|g| *g == 0.0);
        let most = if unknown { FIRST.0 } else { FIRST.1 };
        let mut span = end - from;
        while span > SHORTEST * self.period {
            let mut probe = self.network.clone();
            glide(&mut probe, self.profile, (round, from, from + span), self.period, &|t, c| {
                self.model.power(t, c)
            });
            if rise(&probe, &self.network) <= most {
                break;
            }
            span *= 0.5;
        }
        span
    }

    /// Leaps to the end of the stretch; false where the listener stopped.
    pub(super) fn leaps(
        &mut self,
        round: f64,
        from: f64,
        end: f64,
        moving: bool,
    ) -> Result<bool, MissionError> {
        let allowed = SHARE * self.options.tolerance;
        let mut t = from;
        let mut span = self.first_leap(round, from, end);
        while end - t > 1e-9 * self.period {
            if !self.listener.go_on(t) {
                return Ok(false);
            }
            let rest = end - t;
            // No crumb is left for a last leap.
            let to = if span >= rest || rest - span < SHORTEST * self.period { end } else { t + span };
            span = to - t;
            let mut probe = self.network.clone();
            let model = self.model.clone();
            glide(&mut probe, self.profile, (round, t, to), self.period, &|t, c| model.power(t, c));
            let found = probe.temperatures().to_vec();
            let hottest = found.iter().fold(f64::NEG_INFINITY, |a, &b| a.max(b));
            let short = span <= SHORTEST * self.period;
            if hottest.is_nan() || hottest > RUNAWAY {
                if short {
                    return Err(MissionError::Runaway { time: t, celsius: hottest });
                }
                span *= 0.25;
                continue;
            }
            if moving {
                let then = self.profile.parameters(to - round, Side::Before);
                self.move_to(&then, to, false)?;
            }
            let cycle = self.steady(to, &found)?;
            let expected = self.model.power(to, &found);
            let missed: Vec<f64> = cycle.power.iter().zip(&expected).map(|(p, e)| p - e).collect();
            let sizes: Vec<f64> = missed.iter().map(|x| x.abs()).collect();
            let mut requested = self.rest.clone();
            ramp(&mut requested, span, &sizes);
            let error = rise(&requested, &self.rest);
            let factor = 0.9 * (allowed / error.max(1e-12)).sqrt();
            let cycles = span / self.period;
            if error > allowed && !short {
                self.out.work.taken_back += 1;
                self.listener.event(t, MissionEvent::TakenBack(cycles, error));
                self.learn(to, &found, &missed, moving);
                span *= factor.clamp(0.1, 0.7);
                continue;
            }
            let doubt: Vec<f64> = match moving {
                true => sizes.iter().zip(self.lag(span, &cycle.power)).map(|(a, b)| a + b).collect(),
                false => sizes,
            };
            self.take(round, (t, to), &missed, &doubt, &cycle.balance);
            self.learn(to, &found, &missed, moving);
            // The cycle was solved a hair beside the corrected temperatures.
            let now = self.network.temperatures().to_vec();
            self.model.rebase(to, cycle.power.clone(), found);
            let power = self.model.power(to, &now);
            self.model.rebase(to, power, now);
            self.solved(to, &cycle);
            self.out.work.leaps += 1;
            self.listener.event(to, MissionEvent::Leapt(cycles, error));
            t = to;
            span *= factor.clamp(0.3, 8.0);
        }
        Ok(true)
    }

    fn learn(&mut self, t: f64, celsius: &[f64], missed: &[f64], moving: bool) {
        match moving {
            true => self.model.learn_in_time(t, missed),
            false => self.model.learn(celsius, missed),
        }
    }

    /// While parameters move, the circuit lags behind its periodic state by about what its slowest disturbance lasts:
    /// the power (W) that this may be wrong by at the end of a leap.
    fn lag(&self, span: f64, power: &[f64]) -> Vec<f64> {
        let left = self.site.slowest.map_or(0.0, |s| s.0);
        let lasts = self.period / (1.0 - left.min(1.0 - 1e-6));
        let share = (lasts / span).min(1.0);
        power.iter().zip(&self.model.power).map(|(a, b)| share * (a - b).abs()).collect()
    }

    /// Takes a leap: the extrapolated power with what was missed, growing over it. `doubt`
    /// is the power (W) that may be wrong at its end.
    fn take(
        &mut self,
        round: f64,
        (from, to): (f64, f64),
        missed: &[f64],
        doubt: &[f64],
        balance: &[f64; 3],
    ) {
        let model = self.model.clone();
        let power = |t: f64, celsius: &[f64]| -> Vec<f64> {
            let share = (t - from) / (to - from);
            model.power(t, celsius).iter().zip(missed).map(|(p, m)| p + share * m).collect()
        };
        let way = glide(&mut self.network, self.profile, (round, from, to), self.period, &power);
        ramp(&mut self.wrong, to - from, doubt);
        let estimate = self.estimate();
        for reached in way {
            self.report(reached.time, reached.celsius, reached.power, estimate);
        }
        let mean: [f64; 3] = std::array::from_fn(|k| 0.5 * (self.balance[k] + balance[k]));
        self.add_balance(mean, to - from);
        // A straight line between two cycles errs by a twelfth of the change where the slope changes by as much as
        // itself.
        let twelfth = (to - from) / 12.0;
        for (error, (then, now)) in self.out.balance_error.iter_mut().zip(self.balance.iter().zip(balance)) {
            *error += twelfth * (now - then).abs();
        }
    }
}
