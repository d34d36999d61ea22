//! What repeats in a circuit of the user's own.

use joulestep_engine::units::people_digits;

use super::Resolve;
use crate::input::keys::fields::{Fields, Named};
use crate::input::scenario::resolved::{ArrangementSpec, ComponentSpec, Controller, CycleSpec, Task};
use crate::input::scenario::sections::Repeat;

impl Resolve<'_> {
    pub(super) fn cycle(
        &mut self,
        f: &Fields,
        arrangement: Option<&ArrangementSpec>,
        components: &[Option<ComponentSpec>],
        controllers: &[Controller],
    ) -> Option<CycleSpec> {
        if let Some(arrangement) = arrangement {
            let found = format!("beside the [arrangement] `{}`", arrangement.kind.name);
            self.report(
                &f.span,
                "cycle",
                found,
                "either: an arrangement has its own period, source and load",
            );
        }
        let repeat = Repeat::read(f)?;
        let known: Vec<&str> = components.iter().flatten().map(|c| c.name.name.as_str()).collect();
        let complete = components.iter().all(Option::is_some);
        for (key, names) in [(Repeat::source, &repeat.source), (Repeat::load, &repeat.load)] {
            for named in names.iter().filter(|n| complete && !known.contains(&n.name.as_str())) {
                self.unknown(named, f.key(key), "component", known.iter().copied());
            }
        }
        for both in repeat.load.iter().filter(|l| repeat.source.iter().any(|s| s.name == l.name)) {
            let found = format!("`{}` is a source too", both.name);
            self.report(&both.span, f.key(Repeat::load), found, "either a source or a load");
        }
        let pwm = controllers.iter().filter_map(|c| match &c.kind {
            Task::Pwm(pwm) => Some((&c.name, pwm.frequency)),
            Task::Pi(pi) => Some((&c.name, pi.frequency)),
            Task::SinePwm(sine) => Some((&c.name, sine.fundamental)),
            Task::Hysteretic(_) | Task::Switch(_) => None,
        });
        let slowest = pwm.clone().map(|p| p.1.recip()).reduce(f64::max);
        let fastest = pwm.clone().map(|p| p.1).reduce(f64::max);
        let Some(period) = repeat.period.or(slowest) else {
            let found = "no `period`, and no controller of kind `pwm`";
            self.report(&f.span, f.key(Repeat::period), found, "the time after which the control repeats");
            return None;
        };
        for (name, frequency) in pwm {
            let ratio = frequency * period;
            if (ratio - ratio.round()).abs() > 1e-9 * ratio || ratio < 0.5 {
                let one = people_digits(frequency.recip(), "s", 7);
                let found = format!(
                    "{} against {one} of the controller `{}`",
                    people_digits(period, "s", 7),
                    name.name
                );
                self.wrong(f, Repeat::period, found, "a multiple of the period of every controller");
            }
        }
        let names = |all: Vec<Named>| all.into_iter().map(|n| n.name).collect();
        Some(CycleSpec {
            source: names(repeat.source),
            load: names(repeat.load),
            period,
            frequency: fastest.unwrap_or(period.recip()),
        })
    }
}
