//! Drives, protections, controllers and the sequence.

use joulestep_engine::circuit::graph::LineId;
use joulestep_engine::control::Controller;
use joulestep_engine::control::board::Board;
use joulestep_engine::control::crossing::Sense;
use joulestep_engine::control::detect::{self, Blanking, Cooling};
use joulestep_engine::control::drive::{self, Delays, Gate, Output};
use joulestep_engine::control::hysteretic::{self, Hysteretic};
use joulestep_engine::control::let_through::{CLEARED, LetThrough};
use joulestep_engine::control::protection::{Protection, Retry, Settings};
use joulestep_engine::control::pwm::{self, Pwm};
use joulestep_engine::control::relay::Relay;
use joulestep_engine::control::sequence::{Deed, ScheduledEvent, Sequence};

use super::Build;
use crate::diagnostic::{Diagnostic, nearest, worded};
use crate::input::keys::conform::one_of;
use crate::input::keys::fields::Named;
use crate::input::scenario::resolved::{self, Criterion, Drive, Task, What};
use crate::input::scenario::sections::{Line, Switch};

pub(super) type Logic = Box<dyn Controller<f64>>;

/// The gates of a drive.
type Gates = (Gate<f64>, Option<Gate<f64>>);

impl Build<'_> {
    /// Adds the outputs of the drives to the circuit.
    pub(super) fn gates(&mut self) -> Vec<Option<Gates>> {
        let scenario = self.scenario;
        scenario.drives.iter().map(|d| self.gate(d)).collect()
    }

    fn gate(&mut self, d: &Drive) -> Option<Gates> {
        let r_off = d.off_resistance.unwrap_or(d.on_resistance);
        let mut output = Output {
            on: d.on,
            off: d.off,
            r_on: d.on_resistance,
            r_off,
            r_soft: d.soft_resistance.unwrap_or(r_off),
            rise: d.edge,
            fall: d.edge,
            starts_on: d.starts_on,
        };
        let first = self.one_gate(d, &d.name.name, &d.gate, &d.r#return, output)?;
        let second = d.complement_gate.as_ref().zip(d.complement_return.as_ref());
        let Some((gate, reference)) = second else { return Some((first, None)) };
        output.starts_on = false;
        let second = self.one_gate(d, &format!("{}.complement", d.name.name), gate, reference, output)?;
        Some((first, Some(second)))
    }

    fn one_gate(
        &mut self,
        d: &Drive,
        name: &str,
        gate: &Named,
        reference: &Named,
        output: Output<f64>,
    ) -> Option<Gate<f64>> {
        let (gate, reference) = (self.circuit.node(&gate.name), self.circuit.node(&reference.name));
        let added = Gate::add(&mut self.circuit, name, gate, reference, output);
        let clamped = |g: Gate<f64>| match d.clamp_resistance {
            Some(r) => g.clamped(&mut self.circuit, (gate, reference), r, d.clamp_below),
            None => Ok(g),
        };
        added.and_then(clamped).map_err(|error| self.error(&d.name, "drive", &error)).ok()
    }

    /// All logic in the order in which it looks: sequence, controllers, protections, drives.
    pub(super) fn controllers(&mut self, gates: Vec<Option<Gates>>, board: &mut Board<f64>) -> Vec<Logic> {
        let scenario = self.scenario;
        let mut all: Vec<Logic> = Vec::new();
        all.extend(self.sequence(board));
        self.laid_logic(true, board, &mut all);
        // What follows a line looks after what sets it.
        let follows = |c: &&resolved::Controller| matches!(c.kind, Task::Switch(_));
        let (late, early): (Vec<_>, Vec<_>) = scenario.controllers.iter().partition(follows);
        all.extend(early.into_iter().filter_map(|c| self.controller(c, board)));
        all.extend(scenario.protections.iter().filter_map(|g| self.protection(g, board)));
        all.extend(late.into_iter().filter_map(|c| self.controller(c, board)));
        for (spec, gates) in scenario.drives.iter().zip(gates) {
            let Some((mut first, second)) = gates else { continue };
            first.state = Some(board.add_line(&spec.name.name));
            let command = board.add_line(&spec.command.name);
            let inhibits = spec.inhibit.iter().map(|l| board.add_line(&l.name)).collect();
            let delay = |own: Option<f64>| own.unwrap_or(spec.delay);
            let (on, off) = (delay(spec.on_delay), delay(spec.off_delay));
            let delays = Delays { on, off, dead: spec.dead_time };
            let drive = drive::Drive::new(&spec.name.name, command, inhibits, delays, first);
            let drive = drive.and_then(|d| match second {
                Some(mut second) => {
                    second.state = Some(board.add_line(&second.name));
                    d.complemented(second)
                }
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
                What::LineOn(Line { line }) | What::LineOff(Line { line }) => {
                    let on = matches!(h.what, What::LineOn(_));
                    let words = if on { "line turns on" } else { "line turns off" };
                    (line.name.clone(), words, Deed::Set(board.add_line(&line.name), on))
                }
                What::Close(Switch { switch }) | What::Open(Switch { switch }) => {
                    let closed = matches!(h.what, What::Close(_));
                    let words = if closed { "switch closes" } else { "switch opens" };
                    let Some(choice) = self.switch(switch) else { continue };
                    (switch.name.clone(), words, Deed::Choose(choice, usize::from(closed)))
                }
                What::Set(set) => {
                    let Some((deed, words)) = self.set(set) else { continue };
                    (set.of.name.clone(), words, deed)
                }
                What::Note => (String::new(), "", Deed::Note),
            };
            let own = h.note.as_ref().map_or("", |n| &n.name);
            let note = if own.is_empty() { words } else { own }.to_string();
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

    fn controller(&mut self, spec: &resolved::Controller, board: &mut Board<f64>) -> Option<Logic> {
        let name = &spec.name.name;
        // Only what sets a source has no line.
        let output = spec.output.as_ref().map(|line| board.add_line(&line.name));
        let command = output.unwrap_or(LineId(u32::MAX));
        let run = spec.run.as_ref().map(|l| board.add_line(&l.name));
        let made = match &spec.kind {
            Task::Hysteretic(h) => {
                let probe = self.signal(&h.watches, board)?.probe;
                let unit = probe.unit();
                let (lower, upper) = (self.measure(&h.lower, unit)?, self.measure(&h.upper, unit)?);
                let until = match h.done_signal.as_ref().zip(h.done_at.as_ref()) {
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
                    min_on: h.shortest_on,
                    min_off: h.shortest_off,
                    delay: h.delay,
                    until,
                };
                Hysteretic::new(name, settings).map(|h| Box::new(h) as Logic)
            }
            Task::Pwm(p) => {
                let complement = p.complement.as_ref().map(|l| (board.add_line(&l.name), p.dead_time));
                let duty =
                    if p.ramp > 0.0 { vec![(0.0, 0.0), (p.ramp, p.duty)] } else { vec![(0.0, p.duty)] };
                let (frequency, phase) = (p.frequency, p.phase);
                let settings = pwm::Settings { command, complement, run, frequency, phase, duty };
                Pwm::new(name, settings).map(|p| Box::new(p) as Logic)
            }
            Task::Switch(s) => {
                let (line, choice) = (board.add_line(&s.follows.name), self.switch(&s.switch)?);
                Ok(Box::new(Relay::new(name, line, choice)) as Logic)
            }
            Task::SinePwm(sine) => self.sine(name, sine, (command, run), board),
            Task::Pi(pi) => self.regulator(name, pi, (output, run), board)?,
        };
        made.map_err(|error| self.error(&spec.name, "controller", &error)).ok()
    }

    fn protection(&mut self, spec: &resolved::Protection, board: &mut Board<f64>) -> Option<Logic> {
        let probe = self.signal(&spec.watches, board)?.probe;
        let unit = probe.unit();
        // The level that distinguishes a fault's current from others is the one that trips, where that is a current.
        let from;
        let criterion = match &spec.kind {
            Criterion::Level(l) => {
                let threshold = self.measure(&l.threshold, unit)?;
                let sense = match l.sense.as_str() {
                    "below" => Sense::Below,
                    "magnitude" => Sense::Magnitude,
                    _ => Sense::Above,
                };
                from = (unit == "A" && sense != Sense::Below && threshold > 0.0).then_some(threshold);
                let blanking = l.blanking_drive.as_ref().map(|drive| Blanking {
                    line: board.add_line(&drive.name),
                    time: l.blanking,
                    only_on: l.only_on,
                });
                let (probe, filter) = (probe.clone(), l.filter);
                detect::Criterion::Level(detect::Level { probe, sense, threshold, blanking, filter })
            }
            Criterion::Desaturation(d) => {
                from = None;
                let (line, time) = (board.add_line(&d.drive.name), d.blanking);
                detect::Criterion::Level(detect::Level {
                    probe: probe.clone(),
                    sense: Sense::Above,
                    threshold: self.measure(&d.threshold, unit)?,
                    blanking: Some(Blanking { line, time, only_on: true }),
                    filter: d.filter,
                })
            }
            Criterion::InverseTime(i) => {
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
                from = Some(i.pick_up);
                detect::Criterion::InverseTime(detect::InverseTime {
                    probe: probe.clone(),
                    pick_up: i.pick_up,
                    rated: i.rated,
                    limit: i.limit,
                    cooling: Cooling::TimeConstant(i.cooling_time),
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
            retry: Retry { number: spec.retries as u32, wait: spec.retry_after, healthy: spec.healthy_after },
            reset: spec.reset.as_ref().map(|l| board.add_line(&l.name)),
            let_through: from.map(|from| LetThrough { probe, from, fraction: CLEARED }),
        };
        Protection::new(&spec.name.name, settings)
            .map(|g| Box::new(g) as Logic)
            .map_err(|error| self.error(&spec.name, "protection", &error))
            .ok()
    }
}
