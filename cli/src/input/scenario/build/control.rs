//! Drives, protections, controllers and the sequence.

use joulestep_engine::control::Controller;
use joulestep_engine::control::board::Board;
use joulestep_engine::control::crossing::Sense;
use joulestep_engine::control::detect::{Blanking, Cooling, Criterion, InverseTime, Level};
use joulestep_engine::control::drive::{Delays, Drive, Gate, Output};
use joulestep_engine::control::hysteretic::{self, Hysteretic};
use joulestep_engine::control::let_through::{CLEARED, LetThrough};
use joulestep_engine::control::protection::{Protection, Retry, Settings};
use joulestep_engine::control::pwm::{self, Pwm};
use joulestep_engine::control::sequence::{Deed, ScheduledEvent, Sequence};

use super::Build;
use crate::diagnostic::{Diagnostic, nearest, worded};
use crate::input::keys::conform::one_of;
use crate::input::keys::fields::Named;
use crate::input::scenario::resolved::{
    ControllerSpec, CriterionSpec, DriveSpec, ProtectionSpec, Task, What,
};

type Logic = Box<dyn Controller<f64>>;

/// The gates of a drive.
type Gates = (Gate<f64>, Option<Gate<f64>>);

impl Build<'_> {
    /// Adds the outputs of the drives to the circuit.
    pub(super) fn gates(&mut self) -> Vec<Option<Gates>> {
        let scenario = self.scenario;
        scenario.drives.iter().map(|d| self.gate(d)).collect()
    }

    fn gate(&mut self, d: &DriveSpec) -> Option<Gates> {
        let mut output = Output {
            on: d.on,
            off: d.off,
            r_on: d.on_resistance,
            r_off: d.off_resistance,
            r_soft: d.soft_resistance,
            rise: d.edge,
            fall: d.edge,
            starts_on: d.starts_on,
        };
        let first = self.one_gate(d, &d.name.name, &d.gate, &d.reference, output)?;
        let Some((gate, reference)) = &d.complement else { return Some((first, None)) };
        output.starts_on = false;
        let second = self.one_gate(d, &format!("{}.complement", d.name.name), gate, reference, output)?;
        Some((first, Some(second)))
    }

    fn one_gate(
        &mut self,
        d: &DriveSpec,
        name: &str,
        gate: &Named,
        reference: &Named,
        output: Output<f64>,
    ) -> Option<Gate<f64>> {
        let (gate, reference) = (self.circuit.node(&gate.name), self.circuit.node(&reference.name));
        Gate::add(&mut self.circuit, name, gate, reference, output)
            .map_err(|error| self.error(&d.name, "drive", &error))
            .ok()
    }

    /// All logic in the order in which it looks: sequence, controllers, protections, drives.
    pub(super) fn controllers(&mut self, gates: Vec<Option<Gates>>, board: &mut Board<f64>) -> Vec<Logic> {
        let scenario = self.scenario;
        let mut all: Vec<Logic> = Vec::new();
        all.extend(self.sequence(board));
        self.laid_logic(true, board, &mut all);
        all.extend(scenario.controllers.iter().filter_map(|c| self.controller(c, board)));
        all.extend(scenario.protections.iter().filter_map(|g| self.protection(g, board)));
        for (spec, gates) in scenario.drives.iter().zip(gates) {
            let Some((mut first, second)) = gates else { continue };
            first.state = Some(board.add_line(&spec.name.name));
            let command = board.add_line(&spec.command.name);
            let inhibits = spec.inhibit.iter().map(|l| board.add_line(&l.name)).collect();
            let delays = Delays { on: spec.on_delay, off: spec.off_delay, dead: spec.dead_time };
            let drive = Drive::new(&spec.name.name, command, inhibits, delays, first);
            let drive = drive.and_then(|d| match second {
                Some(second) => d.complemented(second),
                None => Ok(d),
            });
            match drive {
                Ok(drive) => all.push(Box::new(drive)),
                Err(error) => self.error(&spec.name, "drive", &error),
            }
        }
        self.laid_logic(false, board, &mut all);
        all
    }

    fn sequence(&mut self, board: &mut Board<f64>) -> Option<Logic> {
        let scenario = self.scenario;
        let mut events = Vec::new();
        for h in &scenario.events {
            let (subject, words, deed) = match &h.what {
                What::Line(line, state) => {
                    let words = if *state { "line turns on" } else { "line turns off" };
                    (line.name.clone(), words, Deed::Set(board.add_line(&line.name), *state))
                }
                What::Switch(switch, closed) => {
                    let words = if *closed { "switch closes" } else { "switch opens" };
                    let Some(choice) = self.switch(switch) else { continue };
                    (switch.name.clone(), words, Deed::Choose(choice, usize::from(*closed)))
                }
                What::Note => (String::new(), "", Deed::Note),
            };
            let note = if h.note.is_empty() { words.to_string() } else { h.note.clone() };
            events.push(ScheduledEvent { at: h.at, subject, note, deed });
            events.extend(h.fault.map(|stands| ScheduledEvent {
                at: h.at,
                subject: String::new(),
                note: String::new(),
                deed: Deed::Fault(stands),
            }));
        }
        // Times were checked to be finite.
        Sequence::new("sequence", events).ok().map(|s| Box::new(s) as Logic)
    }

    fn switch(&mut self, switch: &Named) -> Option<joulestep_engine::circuit::graph::ChoiceId> {
        let state = |p: &super::Placed| p.built.choices.iter().find(|c| c.0 == "state").map(|c| c.1);
        let found = self.find_placed(&switch.name).and_then(state);
        if found.is_none() {
            let all = if worded(&self.diagnostics) { &self.placed[..] } else { &[] };
            let names: Vec<&str> =
                all.iter().filter(|p| state(p).is_some()).map(|p| p.name.as_str()).collect();
            let near = nearest(&switch.name, names.iter().copied());
            let found = format!("`{}` is no switch", switch.name);
            let expected =
                if names.is_empty() { "a component of kind `switch`".into() } else { one_of(&names) };
            let d = Diagnostic::new(&switch.span, "event.switch", found, expected);
            self.diagnostics.push(d.suggest(near));
        }
        found
    }

    fn controller(&mut self, spec: &ControllerSpec, board: &mut Board<f64>) -> Option<Logic> {
        let name = &spec.name.name;
        let command = board.add_line(&spec.output.name);
        let run = spec.run.as_ref().map(|l| board.add_line(&l.name));
        let made = match &spec.task {
            Task::Hysteretic { watches, lower, upper, shortest_on, shortest_off, delay, done } => {
                let probe = self.signal(watches, board)?.probe;
                let unit = probe.unit();
                let (lower, upper) = (self.measure(lower, unit)?, self.measure(upper, unit)?);
                let until = match done {
                    Some((signal, at)) => {
                        let probe = self.signal(signal, board)?.probe;
                        let at = self.measure(at, probe.unit())?;
                        Some((probe, at))
                    }
                    None => None,
                };
                let settings = hysteretic::Settings {
                    probe,
                    lower,
                    upper,
                    command,
                    run,
                    min_on: *shortest_on,
                    min_off: *shortest_off,
                    delay: *delay,
                    until,
                };
                Hysteretic::new(name, settings).map(|h| Box::new(h) as Logic)
            }
            Task::Pwm { frequency, duty, ramp, phase, complement } => {
                let complement = complement.as_ref().map(|(line, dead)| (board.add_line(&line.name), *dead));
                let duty = if *ramp > 0.0 { vec![(0.0, 0.0), (*ramp, *duty)] } else { vec![(0.0, *duty)] };
                let settings =
                    pwm::Settings { command, complement, run, frequency: *frequency, phase: *phase, duty };
                Pwm::new(name, settings).map(|p| Box::new(p) as Logic)
            }
        };
        made.map_err(|error| self.error(&spec.name, "controller", &error)).ok()
    }

    fn protection(&mut self, spec: &ProtectionSpec, board: &mut Board<f64>) -> Option<Logic> {
        let probe = self.signal(&spec.watches, board)?.probe;
        let unit = probe.unit();
        // The level that distinguishes a fault's current from others is the one that trips, where that is a current.
        let from;
        let criterion = match &spec.criterion {
            CriterionSpec::Level { threshold, sense, filter, blanking } => {
                let threshold = self.measure(threshold, unit)?;
                let sense = match sense.as_str() {
                    "below" => Sense::Below,
                    "magnitude" => Sense::Magnitude,
                    _ => Sense::Above,
                };
                from = (unit == "A" && sense != Sense::Below && threshold > 0.0).then_some(threshold);
                let blanking = blanking.as_ref().map(|(drive, time, only_on)| Blanking {
                    line: board.add_line(&drive.name),
                    time: *time,
                    only_on: *only_on,
                });
                Criterion::Level(Level { probe: probe.clone(), sense, threshold, blanking, filter: *filter })
            }
            CriterionSpec::InverseTime { pick_up, rated, limit, cooling } => {
                if unit != "A" {
                    let found = format!("`{}` is no current", spec.watches.text);
                    self.report(
                        &spec.watches.span,
                        &spec.watches.key,
                        found,
                        "a current such as `L1.current`",
                    );
                    return None;
                }
                from = Some(*pick_up);
                Criterion::InverseTime(InverseTime {
                    probe: probe.clone(),
                    pick_up: *pick_up,
                    rated: *rated,
                    limit: *limit,
                    cooling: Cooling::TimeConstant(*cooling),
                })
            }
        };
        if from.is_some() {
            self.metered.push(spec.name.name.clone());
        }
        let settings = Settings {
            criteria: vec![criterion],
            delay: spec.delay,
            trip: board.add_line(&spec.trip.name),
            retry: Retry { number: spec.retries, wait: spec.retry_after, healthy: spec.healthy_after },
            reset: spec.reset.as_ref().map(|l| board.add_line(&l.name)),
            let_through: from.map(|from| LetThrough { probe, from, fraction: CLEARED }),
        };
        Protection::new(&spec.name.name, settings)
            .map(|g| Box::new(g) as Logic)
            .map_err(|error| self.error(&spec.name, "protection", &error))
            .ok()
    }
}
