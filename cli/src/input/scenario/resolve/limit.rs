//! Limits.

use super::Resolve;
use crate::input::keys::fields::Fields;
use crate::input::scenario::resolved::{LimitSpec, Stated};
use crate::judge::Bounded;

impl Resolve<'_> {
    /// A limit; `end` is that of the run, s.
    pub(super) fn limit(&mut self, f: &Fields, end: f64) -> LimitSpec {
        let of = Bounded::of_word(&f.kind);
        let bound = |key: &str| match of {
            Bounded::Signal => Self::typed(f, key).map(Stated::OfSignal),
            _ => f.number(key).or(f.whole(key).map(|n| n as f64)).map(Stated::Number),
        };
        let (min, max) = (bound("min"), bound("max"));
        // A bound that was wrong is reported already.
        let wrong = self.diagnostics.iter().any(|d| d.key.starts_with(&format!("{}.", f.path)));
        if max.is_none() && min.is_none() && !wrong {
            self.report(&f.span, f.key("max"), "neither `max` nor `min` is given", "a bound");
        }
        if let (Some(Stated::Number(min)), Some(Stated::Number(max))) = (&min, &max)
            && min > max
        {
            let expected = "a lower bound below the upper one";
            self.report(f.span_of("min"), f.key("min"), "`min` is above `max`", expected);
        }
        let from = f.number("from").unwrap_or(f64::NEG_INFINITY);
        let to = f.number("to").unwrap_or(f64::INFINITY);
        for (key, at) in [("from", from), ("to", to)] {
            if at.is_finite() && at > end {
                let found = format!("{at} s is after the end of the run ({end} s)");
                self.report(f.span_of(key), f.key(key), found, "an instant within the run");
            }
        }
        if from >= to {
            self.report(f.span_of("to"), f.key("to"), "`to` is not after `from`", "an instant after `from`");
        }
        LimitSpec {
            name: f.text("name").unwrap_or("").to_string(),
            span: f.span.clone(),
            of,
            subject: f.named(if of == Bounded::Energy { "component" } else { "protection" }),
            signal: Self::signal(f, "signal"),
            level: Self::typed(f, "level"),
            interval: (from, to),
            min,
            max,
        }
    }
}
