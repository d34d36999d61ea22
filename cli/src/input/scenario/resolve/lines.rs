//! Command lines: each that is read must be set by something.

use std::collections::BTreeSet;

use super::Resolve;
use crate::input::keys::fields::Named;
use crate::input::scenario::resolved::{Criterion, Scenario, Task, What};

impl Resolve<'_> {
    pub(super) fn lines(&mut self, scenario: &Scenario) {
        let set = set_lines(scenario);
        let known = || set.iter().map(String::as_str);
        let drives: BTreeSet<&str> = scenario.drives.iter().map(|d| d.name.name.as_str()).collect();
        let mut read: Vec<(&Named, String)> = Vec::new();
        for d in &scenario.drives {
            read.push((&d.command, format!("drive.{}.command", d.name.name)));
            read.extend(d.inhibit.iter().map(|l| (l, format!("drive.{}.inhibit", d.name.name))));
        }
        for c in &scenario.controllers {
            read.extend(c.run.iter().map(|l| (l, format!("controller.{}.run", c.name.name))));
            if let Task::Switch(s) = &c.kind {
                read.push((&s.follows, format!("controller.{}.follows", c.name.name)));
            }
        }
        for g in &scenario.protections {
            read.extend(g.reset.iter().map(|l| (l, format!("protection.{}.reset", g.name.name))));
            let drive = match &g.kind {
                Criterion::Level(level) => level.blanking_drive.as_ref().map(|d| (d, "blanking-drive")),
                Criterion::Desaturation(d) => Some((&d.drive, "drive")),
                Criterion::InverseTime(_) => None,
            };
            if let Some((drive, key)) = drive.filter(|d| !drives.contains(d.0.name.as_str())) {
                let key = format!("protection.{}.{key}", g.name.name);
                self.unknown(drive, key, "drive", drives.iter().copied());
            }
        }
        for (line, key) in read {
            if !set.contains(&line.name) {
                self.unknown(line, key, "event, controller, protection or drive that sets the line", known());
            }
        }
    }
}

/// Lines that something sets.
pub(crate) fn set_lines(scenario: &Scenario) -> BTreeSet<String> {
    let events = scenario.events.iter().filter_map(|h| match &h.what {
        What::LineOn(on) => Some(&on.line),
        What::LineOff(off) => Some(&off.line),
        _ => None,
    });
    let complements = scenario.controllers.iter().filter_map(|c| match &c.kind {
        Task::Pwm(pwm) => pwm.complement.as_ref(),
        Task::SinePwm(sine) => sine.complement.as_ref(),
        Task::Pi(pi) => pi.complement.as_ref(),
        Task::Hysteretic(_) | Task::Switch(_) => None,
    });
    let outputs = scenario.controllers.iter().filter_map(|c| c.output.as_ref()).chain(complements);
    let trips = scenario.protections.iter().map(|g| &g.trip);
    let places = scenario.arrangement.iter().flat_map(|a| a.arrangement.places);
    let states = scenario.drives.iter().map(|d| &d.name);
    let named = events.chain(outputs).chain(trips).chain(states).map(|n| n.name.clone());
    named.chain(places.map(ToString::to_string)).collect()
}
