//! Signals by name: `voltage(a)`, `voltage(a, b)`, `Q1.current`, `Q1.middle`, `line(x)`, `temperature(INPUT)`.

use joulestep_engine::circuit::graph::{GROUND, NodeId};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::control::board::Board;
use joulestep_models::model::Range;

use super::Build;
use crate::diagnostic::{Diagnostic, nearest, worded};
use crate::input::keys::conform::one_of;
use crate::input::keys::fields::{Signal, Typed};
use crate::input::keys::{renamed, shape};

/// How a signal is written.
const GRAMMAR: &str =
    "`voltage(node)`, `voltage(node, node)`, `component.quantity`, `line(name)` or `temperature(heat input)`";

/// A signal that exists.
#[derive(Clone, Debug)]
pub(super) struct Found {
    /// As it is written in one form: `voltage(a,b)`.
    pub name: String,
    /// In words.
    pub long_name: String,
    /// Where it is read.
    pub probe: Probe,
}

impl Build<'_> {
    /// The signal of this name, or a diagnostic.
    pub(super) fn signal(&mut self, signal: &Signal, board: &mut Board<f64>) -> Option<Found> {
        match self.find(&signal.text, board) {
            Ok(found) => Some(found),
            Err((found, expected, suggestion)) => {
                let d = Diagnostic::new(&signal.span, &signal.key, found, expected);
                self.diagnostics.push(d.suggest(suggestion));
                None
            }
        }
    }

    fn find(&self, text: &str, board: &mut Board<f64>) -> Result<Found, shape::WrongValue> {
        let unreadable = || (format!("`{text}` is no signal"), GRAMMAR.to_string(), None);
        if let Some(new) = renamed::signal(text) {
            return Err((renamed::called(text, &new), format!("`{new}`"), None));
        }
        let text = text.trim();
        if let Some((function, rest)) = text.split_once('(') {
            let inside = rest.strip_suffix(')').ok_or_else(unreadable)?;
            let names: Vec<&str> = inside.split(',').map(str::trim).collect();
            return match (function.trim(), names.as_slice()) {
                ("voltage", [a]) => self.voltage(a, "gnd"),
                ("voltage", [a, b]) => self.voltage(a, b),
                ("line", [line]) => self.line(line, board),
                ("temperature", [input]) => self.temperature(input),
                _ => Err(unreadable()),
            };
        }
        let (component, quantity) = text.split_once('.').ok_or_else(unreadable)?;
        self.quantity(component, quantity)
    }

    fn node(&self, name: &str) -> Result<NodeId, shape::WrongValue> {
        self.circuit.find_node(name).ok_or_else(|| {
            if let Some(found) = shape::zero_as_ground(name) {
                return (found, format!("`{}`", shape::GROUND), None);
            }
            if !worded(&self.diagnostics) {
                return (format!("there is no node `{name}`"), String::new(), None);
            }
            let names = self.circuit.nodes.iter().map(String::as_str);
            let known: Vec<&str> = names.clone().filter(|n| !n.contains('.')).collect();
            (format!("there is no node `{name}`"), one_of(&known), nearest(name, names))
        })
    }

    fn voltage(&self, a: &str, b: &str) -> Result<Found, shape::WrongValue> {
        let (na, nb) = (self.node(a)?, self.node(b)?);
        let (name, long_name) = match nb {
            GROUND => (format!("voltage({a})"), format!("voltage of node {a}")),
            _ => (format!("voltage({a},{b})"), format!("voltage of node {a} against node {b}")),
        };
        Ok(Found { name, long_name, probe: Probe::Voltage(na, nb) })
    }

    fn quantity(&self, component: &str, quantity: &str) -> Result<Found, shape::WrongValue> {
        let Some(placed) = self.find_placed(component) else {
            if !worded(&self.diagnostics) {
                return Err((format!("there is no component `{component}`"), String::new(), None));
            }
            let names: Vec<&str> = self.placed.iter().map(|p| p.name.as_str()).collect();
            let near = nearest(component, names.iter().copied());
            return Err((format!("there is no component `{component}`"), one_of(&names), near));
        };
        let all = &placed.built.quantities;
        let Some((_, words, probe)) = all.iter().find(|q| q.0 == quantity) else {
            let names: Vec<&str> = all.iter().map(|q| q.0).collect();
            let found = format!("kind `{}` has no quantity `{quantity}`", placed.kind);
            return Err((found, one_of(&names), nearest(quantity, names.iter().copied())));
        };
        let (name, long_name) = (format!("{component}.{quantity}"), format!("{component}: {words}"));
        Ok(Found { name, long_name, probe: probe.clone() })
    }

    fn line(&self, line: &str, board: &mut Board<f64>) -> Result<Found, shape::WrongValue> {
        let lines = &self.lines;
        if !lines.contains(line) {
            if !worded(&self.diagnostics) {
                return Err((format!("there is no line `{line}`"), String::new(), None));
            }
            let names: Vec<&str> = lines.iter().map(String::as_str).collect();
            let near = nearest(line, names.iter().copied());
            return Err((format!("there is no line `{line}`"), one_of(&names), near));
        }
        let probe = Probe::Line(board.add_line(line));
        Ok(Found { name: format!("line({line})"), long_name: format!("state of line {line}"), probe })
    }

    fn temperature(&self, input: &str) -> Result<Found, shape::WrongValue> {
        let Some(&heat) = self.heat_inputs.get(input) else {
            let inputs = self.scenario.thermal.input_names();
            let inputs = if worded(&self.diagnostics) { inputs } else { Vec::new() };
            let near = nearest(input, inputs.iter().copied());
            return Err((format!("there is no heat input `{input}`"), one_of(&inputs), near));
        };
        let probe = Probe::Temperature(heat);
        Ok(Found {
            name: format!("temperature({input})"),
            long_name: format!("temperature of {input}"),
            probe,
        })
    }

    /// A quantity typed for a signal with this unit.
    pub(super) fn measure(&mut self, typed: &Typed, unit: &str) -> Option<f64> {
        typed.quantity(unit, Range::Any).map_err(|wrong| self.diagnostics.push(*wrong)).ok()
    }
}
