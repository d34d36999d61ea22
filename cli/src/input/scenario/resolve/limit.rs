//! Limits.

use super::Resolve;
use crate::input::keys::fields::{Fields, Typed};
use crate::input::keys::shape::Key;
use crate::input::scenario::resolved::{LimitSpec, Stated};
use crate::input::scenario::sections::limit::{Bound, Counted, Limit};
use crate::judge::Bounded;

// Bounds and intervals are called the same in all kinds.
const MAX: Key = Counted::max;
const MIN: Key = Counted::min;
const FROM: Key = Counted::from;
const TO: Key = Counted::to;

impl Resolve<'_> {
    /// A limit; `end` is that of the run, s.
    pub(super) fn limit(&mut self, f: &Fields, end: f64) -> Option<LimitSpec> {
        let limit = Limit::read(f)?;
        let mut spec = LimitSpec {
            name: limit.name,
            span: f.span.clone(),
            of: Bounded::of_word(&f.kind),
            subject: None,
            signal: None,
            level: None,
            interval: (f64::NEG_INFINITY, f64::INFINITY),
            min: None,
            max: None,
        };
        let of_signal = |bound: Option<Typed>| bound.map(Stated::OfSignal);
        let count = |bound: Option<i64>| bound.map(|n| Stated::Number(n as f64));
        let number = |bound: Option<f64>| bound.map(Stated::Number);
        let mut interval = (None, None);
        match limit.kind {
            Some(Bound::Signal(l)) => {
                spec.signal = Some(l.signal);
                (spec.min, spec.max) = (of_signal(l.min), of_signal(l.max));
            }
            Some(Bound::Trips(l) | Bound::Retries(l) | Bound::LockOuts(l)) => {
                spec.subject = Some(l.protection);
                (spec.min, spec.max, interval) = (count(l.min), count(l.max), (l.from, l.to));
            }
            Some(Bound::ClearingTime(l)) => {
                spec.subject = Some(l.protection);
                (spec.min, spec.max, interval) = (number(l.min), number(l.max), (l.from, l.to));
            }
            Some(Bound::LetThrough(l)) => {
                (spec.subject, spec.signal) = (Some(l.protection), l.signal);
                (spec.min, spec.max, interval) = (number(l.min), number(l.max), (l.from, l.to));
            }
            Some(Bound::Energy(l)) => {
                spec.subject = Some(l.component);
                (spec.min, spec.max, interval) = (number(l.min), number(l.max), (l.from, l.to));
            }
            Some(Bound::TimeAbove(l)) => {
                (spec.signal, spec.level) = (Some(l.signal), Some(l.level));
                (spec.min, spec.max, interval) = (number(l.min), number(l.max), (l.from, l.to));
            }
            None => {}
        }
        // A bound that was wrong is reported already.
        let wrong = self.diagnostics.iter().any(|d| d.key.starts_with(&format!("{}.", f.path)));
        if spec.max.is_none() && spec.min.is_none() && !wrong {
            self.report(&f.span, f.key(MAX), "neither `max` nor `min` is given", "a bound");
        }
        if let (Some(Stated::Number(min)), Some(Stated::Number(max))) = (&spec.min, &spec.max)
            && min > max
        {
            self.wrong(f, MIN, "`min` is above `max`", "a lower bound below the upper one");
        }
        let (from, to) = (interval.0.unwrap_or(f64::NEG_INFINITY), interval.1.unwrap_or(f64::INFINITY));
        for (key, at) in [(FROM, from), (TO, to)] {
            if at.is_finite() && at > end {
                let found = format!("{at} s is after the end of the run ({end} s)");
                self.wrong(f, key, found, "an instant within the run");
            }
        }
        if from >= to {
            self.wrong(f, TO, "`to` is not after `from`", "an instant after `from`");
        }
        spec.interval = (from, to);
        Some(spec)
    }
}
