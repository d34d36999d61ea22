//! Drives, protections, controllers, events and waivers: what one key says against the others.

use super::Resolve;
use crate::input::keys::fields::Fields;
use crate::input::scenario::resolved::{Controller, Criterion, Drive, Event, Protection, Task, Waiver, What};
use crate::input::scenario::sections::{Hysteretic, InverseTime, Level, Pwm};

impl Resolve<'_> {
    pub(super) fn drive(&mut self, f: &Fields) -> Option<Drive> {
        let d = Drive::read(f)?;
        if d.on == d.off {
            self.wrong(f, Drive::off, "the levels `on` and `off` are equal", "two levels");
        }
        if d.complement_gate.is_some() != d.complement_return.is_some() {
            let has =
                if d.complement_gate.is_some() { Drive::complement_gate } else { Drive::complement_return };
            let expected = "both `complement-gate` and `complement-return`, or none";
            self.wrong(f, has, "one end of a second gate", expected);
        }
        Some(d)
    }

    pub(super) fn protection(&mut self, f: &Fields) -> Option<Protection> {
        let p = Protection::read(f)?;
        match &p.kind {
            Criterion::Level(level) if level.blanking_drive.is_none() => {
                for key in [Level::blanking, Level::only_on].into_iter().filter(|k| f.has(k)) {
                    let found = "nothing says after whose turn-on";
                    self.wrong(f, key, found, "a drive under `blanking-drive`");
                }
            }
            Criterion::InverseTime(InverseTime { rated, pick_up, .. }) if rated > pick_up => {
                let found = format!("`rated` is {rated} A, above `pick-up` of {pick_up} A");
                self.wrong(f, InverseTime::rated, found, "at most the pick-up current");
            }
            _ => {}
        }
        if p.retries > 0 && !f.has(Protection::retry_after) {
            let found = "missing, but `retries` is above zero".to_string();
            let (span, key) = (f.span_of(Protection::retries), f.key(Protection::retry_after));
            self.report(span, key, found, "a time such as \"1 ms\"");
        }
        Some(p)
    }

    pub(super) fn controller(&mut self, f: &Fields) -> Option<Controller> {
        let c = Controller::read(f)?;
        let of_source = matches!(&c.kind, Task::Pi(pi) if pi.source.is_some());
        let without = of_source || matches!(&c.kind, Task::Switch(_));
        if without == c.output.is_some() {
            let (found, expected) = match (without, of_source) {
                (true, true) => ("both `output` and `source`", "one of the two"),
                (true, false) => ("a switch has no line of its own", "no `output`"),
                (false, _) => ("missing", "the line that it switches"),
            };
            self.report(f.span_of(Controller::output), f.key(Controller::output), found, expected);
            return None;
        }
        let complement = match &c.kind {
            Task::Pwm(pwm) => pwm.complement.as_ref(),
            Task::SinePwm(sine) => sine.complement.as_ref(),
            Task::Pi(pi) => pi.complement.as_ref(),
            Task::Hysteretic(_) | Task::Switch(_) => None,
        };
        // Called the same in all kinds.
        match complement {
            None if f.has(Pwm::dead_time) => {
                let found = "nothing is on while the output is off";
                self.wrong(f, Pwm::dead_time, found, "a line under `complement`, or no dead time");
            }
            Some(_) if of_source => {
                let expected = "a line under `output`, or no complement";
                self.wrong(f, Pwm::complement, "a complement of a source", expected);
            }
            Some(line) if c.output.as_ref().is_some_and(|output| output.name == line.name) => {
                let found = format!("`{}` is the output itself", line.name);
                self.wrong(f, Pwm::complement, found, "another line");
            }
            _ => {}
        }
        match &c.kind {
            Task::Hysteretic(h) => {
                let (has, lacks) = match (&h.done_signal, &h.done_at) {
                    (Some(_), None) => (Hysteretic::done_signal, Hysteretic::done_at),
                    (None, Some(_)) => (Hysteretic::done_at, Hysteretic::done_signal),
                    _ => return Some(c),
                };
                self.wrong(f, has, format!("given without `{}`", lacks.name), "both or none");
            }
            Task::SinePwm(_) | Task::Pi(_) | Task::Switch(_) => {}
            Task::Pwm(Pwm { duty, phase, .. }) => {
                if *duty > 1.0 {
                    self.wrong(f, Pwm::duty, format!("`{duty}` is above 1"), "0 to 1, or \"30 %\"");
                }
                if *phase >= 1.0 {
                    let found = format!("`{phase}` is a whole period or more");
                    self.wrong(f, Pwm::phase, found, "a share of the period below 1");
                }
            }
        }
        Some(c)
    }

    pub(super) fn event(&mut self, f: &Fields) -> Option<Event> {
        let event = Event::read(f)?;
        if matches!(event.what, What::Note) && event.note.is_none() {
            self.report(&f.span, f.key(Event::note), "missing", "the words of the note");
        }
        Some(event)
    }

    pub(super) fn waiver(&mut self, f: &Fields) -> Option<Waiver> {
        let mut waiver = Waiver::read(f)?;
        waiver.reason.name = waiver.reason.name.trim().to_string();
        if waiver.reason.name.is_empty() {
            self.wrong(f, Waiver::reason, "no words", "why the rating does not count");
        }
        Some(waiver)
    }
}
