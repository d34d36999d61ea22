//! What arrangements are built on: a circuit, the devices chosen for its places, and the logic that works them.

mod place;
mod switch;

use std::collections::BTreeMap;

use joulestep_engine::circuit::graph::{Circuit, GROUND, NodeId};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::control::Controller;
use joulestep_engine::control::board::Board;
use joulestep_engine::control::drive::{Delays, Drive, Gate};
use joulestep_engine::error::CircuitError;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::step::schedule::Steps;

pub use place::Place;

use crate::lookup::find;
use crate::model::{Built, Value, Values, bad};
use crate::part::Part;

/// Line that turns every gate of an arrangement off, softly, while something sets it.
pub const TRIP: &str = "trip";

/// What a piece of an arrangement is there for: the loss account sorts by it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// A switch with a gate (or an ideal one).
    Switch,
    /// A diode in a switch's place.
    Diode,
    /// What feeds energy in.
    Source,
    /// What takes the useful energy.
    Load,
    /// Inductors, transformers, capacitors, leads.
    Passive,
    /// Snubber of a switch.
    Snubber,
    /// Clamp.
    Clamp,
}

/// A piece as it was built.
#[derive(Clone, Debug)]
pub struct Element {
    /// Its name.
    pub name: String,
    /// Kind of the catalogue.
    pub kind: &'static str,
    /// What it is there for.
    pub role: Role,
    /// What it became.
    pub built: Built,
}

/// Makes a controller once the lines can be named.
pub type Logic =
    Box<dyn FnOnce(&mut Board<f64>) -> Result<Box<dyn Controller<f64>>, CircuitError> + Send + Sync>;

/// An arrangement built: everything but the circuit.
#[derive(Default)]
pub struct CircuitLayout {
    /// Its pieces, in order.
    pub elements: Vec<Element>,
    /// Its switches' places.
    pub places: Vec<Place>,
    /// Modulators and sequences: they look first.
    pub modulators: Vec<Logic>,
    /// Gate drives: they look last.
    pub drives: Vec<Logic>,
    /// Time after which the control repeats, s; `None`: it does not.
    pub period: Option<f64>,
    /// Time in which each switch goes on and off once, where the control repeats after several of these only, s.
    pub carrier: Option<f64>,
}

impl std::fmt::Debug for CircuitLayout {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let mut report = f.debug_struct("CircuitLayout");
        report.field("elements", &self.elements).field("places", &self.places).field("period", &self.period);
        report.finish_non_exhaustive()
    }
}

impl CircuitLayout {
    /// A piece by its name.
    pub fn element(&self, name: &str) -> Option<&Element> {
        self.elements.iter().find(|f| f.name == name)
    }

    /// A quantity of a piece: `("choke", "current")`.
    pub fn quantity(&self, name: &str, quantity: &str) -> Option<Probe> {
        let all = &self.element(name)?.built.quantities;
        all.iter().find(|q| q.0 == quantity).map(|q| q.2.clone())
    }

    /// Takes the logic, modulators first.
    ///
    /// # Errors
    /// When a controller refuses its settings.
    pub fn logic(&mut self, board: &mut Board<f64>) -> Result<Vec<Box<dyn Controller<f64>>>, CircuitError> {
        let modulators = std::mem::take(&mut self.modulators);
        let drives = std::mem::take(&mut self.drives);
        modulators.into_iter().chain(drives).map(|make| make(board)).collect()
    }

    /// A setup with the logic in place and default steps.
    ///
    /// # Errors
    /// When a controller refuses its settings.
    pub fn setup(&mut self, circuit: Circuit<f64>) -> Result<Setup<f64>, CircuitError> {
        let mut setup = Setup::new(circuit);
        setup.controllers = self.logic(&mut setup.board)?;
        if let Some(period) = self.period {
            // As coarse as a choke's straight lines allow, and no coarser than usual.
            setup.steps = Steps::of_base(setup.steps.base.min(period / 20.0));
        }
        Ok(setup)
    }
}

/// Builds pieces into a circuit. Parameters are those of the arrangement; places without a part get an ideal switch.
#[derive(Debug)]
pub struct Builder<'a> {
    /// The circuit.
    pub circuit: &'a mut Circuit<f64>,
    /// Parameters of the arrangement.
    pub values: &'a Values,
    /// Parts by place; the one under "" serves where none is named.
    pub parts: &'a BTreeMap<String, Part>,
    /// What was built so far.
    pub layout: CircuitLayout,
}

type Done<T = ()> = Result<T, CircuitError>;

impl Builder<'_> {
    /// A parameter.
    pub fn number(&self, key: &str) -> f64 {
        self.values.number(key)
    }

    /// Refuses a parameter outside two bounds, both excluded.
    ///
    /// # Errors
    /// When it is.
    pub fn within(&self, key: &str, low: f64, high: f64) -> Done<f64> {
        let x = self.number(key);
        if x > low && x < high {
            return Ok(x);
        }
        Err(bad(key, format!("`{key}` is {x}, expected between {low} and {high}")))
    }

    /// Adds a model of the catalogue under a role.
    ///
    /// # Errors
    /// When the model refuses.
    pub fn add(
        &mut self,
        role: Role,
        kind: &'static str,
        name: &str,
        pins: &[NodeId],
        given: &[(&'static str, f64)],
    ) -> Done<Built> {
        let entry = find(kind).map_err(|_| bad(name, format!("there is no kind `{kind}`")))?;
        let mut values = Values::with_defaults(entry.params);
        values.0.extend(given.iter().map(|&(key, x)| (key, Value::Number(x))));
        let built = entry.place(self.circuit, name, pins, &values)?;
        let element = Element { name: name.to_string(), kind: entry.kind, role, built: built.clone() };
        self.layout.elements.push(element);
        Ok(built)
    }

    /// The supply `supply` behind the loop's inductance and resistance; gives the node at the switches.
    ///
    /// # Errors
    /// When a value is refused.
    pub fn supply(&mut self, name: &str, bus: &str) -> Done<NodeId> {
        let volts = self.number("supply-voltage");
        self.fed(name, bus, volts)
    }

    /// The same of any voltage, V.
    ///
    /// # Errors
    /// When a value is refused.
    pub fn fed(&mut self, name: &str, bus: &str, volts: f64) -> Done<NodeId> {
        let (cell, at) = (self.circuit.node(name), self.circuit.node(bus));
        self.add(Role::Source, "voltage-source", name, &[cell, GROUND], &[("value", volts)])?;
        let (l, r) = (self.number("loop-inductance"), self.number("loop-resistance"));
        let lead = format!("{name}-loop");
        if l > 0.0 {
            let given = [("inductance", l), ("series-resistance", r)];
            self.add(Role::Passive, "inductor", &lead, &[cell, at], &given)?;
        } else {
            self.add(Role::Passive, "resistor", &lead, &[cell, at], &[("resistance", r.max(1e-6))])?;
        }
        Ok(at)
    }

    /// A leg: `first` follows the command, `second` its complement with the dead time between them. Each is a place
    /// with its two nodes.
    ///
    /// # Errors
    /// When a part or value is refused.
    pub fn leg(&mut self, command: &str, first: (&str, [NodeId; 2]), second: (&str, [NodeId; 2])) -> Done {
        let gates = (self.add_switch(first.0, first.1)?, self.add_switch(second.0, second.1)?);
        for (one, other) in [(first.0, second.0), (second.0, first.0)] {
            if let Some(place) = self.layout.places.iter_mut().find(|p| p.name == one) {
                place.partner = Some(other.to_string());
            }
        }
        let dead = self.number("dead-time");
        self.driven(command, first.0, gates.0, Some((second.0, gates.1)), dead)
    }

    /// One or two gates that follow a command.
    ///
    /// # Errors
    /// When the one that follows the command has no gate.
    pub fn driven(
        &mut self,
        command: &str,
        name: &str,
        gate: Option<Gate<f64>>,
        second: Option<(&str, Option<Gate<f64>>)>,
        dead: f64,
    ) -> Done {
        let Some(mut gate) = gate else {
            return Err(bad(name, "a diode stands here; expected a switch, which the control needs"));
        };
        let (command, name) = (command.to_string(), name.to_string());
        let second = second.and_then(|(name, gate)| Some((name.to_string(), gate?)));
        self.layout.drives.push(Box::new(move |board: &mut Board<f64>| {
            let inhibits = vec![board.add_line(TRIP)];
            gate.state = Some(board.add_line(&name));
            let line = board.add_line(&command);
            let delays = Delays { dead, ..Delays::default() };
            let mut drive = Drive::new(&format!("{name}.drive"), line, inhibits, delays, gate)?;
            if let Some((name, mut gate)) = second {
                gate.state = Some(board.add_line(&name));
                drive = drive.complemented(gate)?;
            }
            Ok(Box::new(drive) as Box<dyn Controller<f64>>)
        }));
        Ok(())
    }
}
