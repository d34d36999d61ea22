//! Closed-loop control, sine modulation, and values that events set.

use joulestep_engine::circuit::graph::{LineId, WaveId};
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::control::board::Board;
use joulestep_engine::control::carrier::{self, Carrier};
use joulestep_engine::control::centred::Lines;
use joulestep_engine::control::regulator::{Output, Regulator, Settings};
use joulestep_engine::control::sequence::Deed;
use joulestep_engine::error::CircuitError;
use joulestep_models::model::Shape;

use super::Build;
use super::control::Logic;
use crate::diagnostic::{Diagnostic, nearest};
use crate::input::keys::conform::one_of;
use crate::input::keys::fields::Named;
use crate::input::scenario::resolved::Task;
use crate::input::scenario::sections::{Pi, Set, SinePwm};

/// The parameter of a source that something sets.
const DRIVEN: &str = "driven-from";

impl Build<'_> {
    /// Courses for the set-points, before the circuit is compiled.
    pub(super) fn set_points(&mut self) {
        for c in &self.scenario.controllers {
            if matches!(c.kind, Task::Pi(_)) {
                let wave = self.circuit.wave(Wave::Driven(0.0));
                self.set_points.insert(c.name.name.clone(), (wave, "1"));
            }
        }
    }

    /// Gives them their values and units, which are those of the signals.
    pub(super) fn begin_set_points(&mut self, board: &mut Board<f64>) {
        let scenario = self.scenario;
        for c in &scenario.controllers {
            let Task::Pi(pi) = &c.kind else { continue };
            let Some(found) = self.signal(&pi.watches, board) else { continue };
            let unit = found.probe.unit();
            let Some(value) = self.measure(&pi.set_point, unit) else { continue };
            if let Some(course) = self.set_points.get_mut(&c.name.name) {
                course.1 = unit;
                board.begin(course.0, value);
            }
        }
    }

    /// The course of a source that may be set, and its unit.
    fn driven_source(&mut self, named: &Named, key: &str) -> Option<(WaveId, &'static str)> {
        let course = |p: &super::Placed| {
            let wave = p.built.waves.iter().find(|w| w.0 == "value").map(|w| w.1)?;
            let driven = matches!(self.circuit.waves[wave.0 as usize], Wave::Driven(_));
            driven.then_some((wave, p.kind))
        };
        let found = self.find_placed(&named.name).and_then(course);
        let Some((wave, kind)) = found else {
            let sources = self.placed.iter().filter(|p| course(p).is_some()).map(|p| p.name.as_str());
            let names: Vec<&str> = sources.chain(self.set_points.keys().map(String::as_str)).collect();
            let expected = match names.is_empty() {
                true => format!("a source with `{DRIVEN}`"),
                false => one_of(&names),
            };
            let what = format!("`{}` has no value that can be set", named.name);
            let hint = nearest(&named.name, names.iter().copied());
            self.diagnostics.push(Diagnostic::new(&named.span, key, what, expected).suggest(hint));
            return None;
        };
        let params = joulestep_models::lookup::find(kind).map_or(&[][..], |entry| entry.params);
        let unit = params.iter().find(|p| p.key == DRIVEN).map_or("1", |p| match p.shape {
            Shape::Number(unit) => unit,
            _ => "1",
        });
        Some((wave, unit))
    }

    /// What an event sets, and in words.
    pub(super) fn set(&mut self, set: &Set) -> Option<(Deed, &'static str)> {
        let of_controller = self.set_points.get(&set.of.name).copied();
        let (wave, unit) = match of_controller {
            Some(found) => found,
            None => self.driven_source(&set.of, "event.of")?,
        };
        let value = self.measure(&set.value, unit)?;
        let words = match (of_controller, set.over > 0.0) {
            (Some(_), false) => "set-point steps",
            (Some(_), true) => "set-point ramps",
            (None, false) => "value steps",
            (None, true) => "value ramps",
        };
        Some((Deed::Course(wave, value, set.over), words))
    }

    /// Sine-modulated pulses.
    pub(super) fn sine(
        &mut self,
        name: &str,
        sine: &SinePwm,
        (command, run): (LineId, Option<LineId>),
        board: &mut Board<f64>,
    ) -> Result<Logic, CircuitError> {
        let complement = sine.complement.as_ref().map(|l| (board.add_line(&l.name), sine.dead_time));
        let settings = carrier::Settings {
            lines: Lines { command, complement },
            run,
            frequency: sine.frequency,
            mean: sine.mean,
            amplitude: 0.5 * sine.modulation,
            fundamental: sine.fundamental,
            phase: sine.phase,
            folded: false,
        };
        Carrier::new(name, settings).map(|c| Box::new(c) as Logic)
    }

    /// A proportional-integral controller; `None` where something was wrong and is reported.
    pub(super) fn regulator(
        &mut self,
        name: &str,
        pi: &Pi,
        (output, run): (Option<LineId>, Option<LineId>),
        board: &mut Board<f64>,
    ) -> Option<Result<Logic, CircuitError>> {
        let probe = self.signal(&pi.watches, board)?.probe;
        let of_signal = probe.unit();
        let (output, unit, limits) = match (&pi.source, output) {
            (Some(source), _) => {
                let (wave, unit) = self.driven_source(source, "controller.source")?;
                (Output::Course(wave), unit, (f64::NEG_INFINITY, f64::INFINITY))
            }
            (None, Some(command)) => {
                let complement = pi.complement.as_ref().map(|l| (board.add_line(&l.name), pi.dead_time));
                (Output::Duty(Lines { command, complement }), "1", (0.0, 1.0))
            }
            (None, None) => return None,
        };
        // Gains in the output's unit over the signal's.
        let (proportional, integral) = (format!("{unit}/{of_signal}"), format!("{unit}/({of_signal} s)"));
        let mut or = |typed: &Option<_>, unit: &str, none: f64| match typed {
            Some(typed) => self.measure(typed, unit),
            None => Some(none),
        };
        let settings = Settings {
            integral: or(&pi.integral, &integral, 0.0)?,
            least: or(&pi.least, unit, limits.0)?,
            most: or(&pi.most, unit, limits.1)?,
            initial: or(&pi.initial, unit, 0.0)?,
            proportional: self.measure(&pi.proportional, &proportional)?,
            set_point: self.set_points.get(name)?.0,
            frequency: pi.frequency,
            probe,
            output,
            run,
        };
        Some(Regulator::new(name, settings).map(|r| Box::new(r) as Logic))
    }
}
