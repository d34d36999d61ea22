//! What arrangements are laid out on: a circuit, the devices chosen for its places, and the logic that works them.

use std::collections::BTreeMap;

use joulestep_engine::circuit::graph::{Circuit, GROUND, NodeId};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::control::Controller;
use joulestep_engine::control::board::Board;
use joulestep_engine::control::drive::{Delays, Drive, Gate, Output};
use joulestep_engine::run::setup::Setup;
use joulestep_engine::trouble::CircuitTrouble;

use super::double_pulse::has_kelvin;
use crate::lookup::find;
use crate::merit::{is_diode, is_switch, stated_gate};
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
pub struct Fitting {
    /// Its name.
    pub name: String,
    /// Kind of the catalogue.
    pub kind: &'static str,
    /// What it is there for.
    pub role: Role,
    /// What it became.
    pub built: Built,
}

/// A place for a switch, and what a loss account needs to know of it.
#[derive(Clone, Debug)]
pub struct Place {
    /// Its name; a line of this name tells the gate's state where it has a gate.
    pub name: String,
    /// Its own components.
    pub own: Vec<usize>,
    /// Components of its gate's drive.
    pub gate: Vec<usize>,
    /// Components of its snubber.
    pub snubber: Vec<usize>,
    /// Voltage over it, V.
    pub voltage: Probe,
    /// Current into it, A.
    pub current: Probe,
    /// The place that turns on when this one has turned off.
    pub partner: Option<String>,
    /// Whether it has a gate.
    pub gated: bool,
}

/// Makes a controller once the lines can be named.
pub type Logic =
    Box<dyn FnOnce(&mut Board<f64>) -> Result<Box<dyn Controller<f64>>, CircuitTrouble> + Send + Sync>;

/// An arrangement laid out: everything but the circuit.
#[derive(Default)]
pub struct Laid {
    /// Its pieces, in order.
    pub fittings: Vec<Fitting>,
    /// Its switches' places.
    pub places: Vec<Place>,
    /// Modulators and sequences: they look first.
    pub modulators: Vec<Logic>,
    /// Gate drives: they look last.
    pub drives: Vec<Logic>,
    /// Time after which the control repeats, s; `None`: it does not.
    pub period: Option<f64>,
}

impl std::fmt::Debug for Laid {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let mut told = f.debug_struct("Laid");
        told.field("fittings", &self.fittings).field("places", &self.places).field("period", &self.period);
        told.finish_non_exhaustive()
    }
}

impl Laid {
    /// A piece by its name.
    pub fn fitting(&self, name: &str) -> Option<&Fitting> {
        self.fittings.iter().find(|f| f.name == name)
    }

    /// A quantity of a piece: `("choke", "current")`.
    pub fn quantity(&self, name: &str, quantity: &str) -> Option<Probe> {
        let all = &self.fitting(name)?.built.quantities;
        all.iter().find(|q| q.0 == quantity).map(|q| q.2.clone())
    }

    /// Takes the logic, modulators first.
    ///
    /// # Errors
    /// When a controller refuses its settings.
    pub fn logic(&mut self, board: &mut Board<f64>) -> Result<Vec<Box<dyn Controller<f64>>>, CircuitTrouble> {
        let modulators = std::mem::take(&mut self.modulators);
        let drives = std::mem::take(&mut self.drives);
        modulators.into_iter().chain(drives).map(|make| make(board)).collect()
    }

    /// A setup with the logic in place and default steps.
    ///
    /// # Errors
    /// When a controller refuses its settings.
    pub fn setup(&mut self, circuit: Circuit<f64>) -> Result<Setup<f64>, CircuitTrouble> {
        let mut setup = Setup::new(circuit);
        setup.controllers = self.logic(&mut setup.board)?;
        if let Some(period) = self.period {
            // As coarse as a choke's straight lines allow, and no coarser than usual.
            setup.steps.base = setup.steps.base.min(period / 20.0);
        }
        Ok(setup)
    }
}

/// Lays pieces into a circuit. Parameters are those of the arrangement; places without a part get an ideal switch.
#[derive(Debug)]
pub struct Bed<'a> {
    /// The circuit.
    pub circuit: &'a mut Circuit<f64>,
    /// Parameters of the arrangement.
    pub values: &'a Values<f64>,
    /// Parts by place; the one under "" serves where none is named.
    pub parts: &'a BTreeMap<String, Part>,
    /// What was laid so far.
    pub laid: Laid,
}

type Done<T = ()> = Result<T, CircuitTrouble>;

impl Bed<'_> {
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
        let entry = find::<f64>(kind).map_err(|_| bad(name, format!("there is no kind `{kind}`")))?;
        let mut values = Values::with_defaults(entry.params);
        values.0.extend(given.iter().map(|&(key, x)| (key, Value::Number(x))));
        let built = (entry.build)(self.circuit, name, pins, &values)?;
        let fitting = Fitting { name: name.to_string(), kind: entry.kind, role, built: built.clone() };
        self.laid.fittings.push(fitting);
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

    fn part(&self, place: &str) -> Option<&Part> {
        self.parts.get(place).or_else(|| self.parts.get(""))
    }

    /// Puts a switch, or the diode that the place was given, between two nodes. `None`: a diode, without a gate.
    ///
    /// # Errors
    /// When a part or value is refused.
    pub fn place(&mut self, name: &str, [high, low]: [NodeId; 2]) -> Done<Option<Gate<f64>>> {
        let celsius = self.number("junction-temperature");
        let first = self.circuit.components.len();
        let part = self.part(name).cloned();
        let (built, kind, gate, role) = match &part {
            None => {
                let (built, gate) = self.ideal(name, [high, low])?;
                (built, "switch", Some(gate), Role::Switch)
            }
            Some(part) => {
                if let Some(key) = part.missing().first() {
                    return Err(bad(name, format!("part {}: `{key}` is not given", part.name)));
                }
                let mut values = part.values.clone();
                values.0.insert("junction-temperature", Value::Number(celsius));
                if is_diode(part) {
                    let built = (part.entry().build)(self.circuit, name, &[low, high], &values)?;
                    (built, part.kind, None, Role::Diode)
                } else if is_switch(part) {
                    let gate = self.circuit.node(&format!("{name}-gate"));
                    let mut pins = vec![high, gate, low];
                    let mut reference = low;
                    if self.number("kelvin-source") != 0.0 && has_kelvin(part) {
                        reference = self.circuit.node(&format!("{name}-kelvin"));
                        pins.push(reference);
                    }
                    let built = (part.entry().build)(self.circuit, name, &pins, &values)?;
                    let own = self.circuit.components.len();
                    let gate = self.gate(name, part, gate, reference)?;
                    let drive = (own..self.circuit.components.len()).collect();
                    self.note(name, first..own, drive, &built, true);
                    self.snubber(name, [high, low])?;
                    let fitting =
                        Fitting { name: name.to_string(), kind: part.kind, role: Role::Switch, built };
                    self.laid.fittings.push(fitting);
                    return Ok(Some(gate));
                } else {
                    let what = format!("part {} is a {}, neither switch nor diode", part.name, part.kind);
                    return Err(bad(name, what));
                }
            }
        };
        let own = self.circuit.components.len();
        self.note(name, first..own, Vec::new(), &built, gate.is_some());
        self.laid.fittings.push(Fitting { name: name.to_string(), kind, role, built });
        self.snubber(name, [high, low])?;
        Ok(gate)
    }

    fn note(
        &mut self,
        name: &str,
        own: std::ops::Range<usize>,
        gate: Vec<usize>,
        built: &Built,
        gated: bool,
    ) {
        let probe = |quantity: &str, sign: f64| {
            let found = built.quantities.iter().find(|q| q.0 == quantity);
            // A diode's quantities count from anode to cathode.
            found.map_or(Probe::Sum(Vec::new()), |q| Probe::Sum(vec![(sign, q.2.clone())]))
        };
        let sign = if gated { 1.0 } else { -1.0 };
        self.laid.places.push(Place {
            name: name.to_string(),
            own: own.collect(),
            gate,
            snubber: Vec::new(),
            voltage: probe("voltage", sign),
            current: probe("current", sign),
            partner: None,
            gated,
        });
    }

    fn gate(&mut self, name: &str, part: &Part, gate: NodeId, reference: NodeId) -> Done<Gate<f64>> {
        let on = self.values.maybe("gate-on").or_else(|| stated_gate(part));
        let on = on.ok_or_else(|| bad(name, format!("part {} states no gate voltage: give `gate-on`", part.name)))?;
        let off = self.number("gate-off");
        if let Some(bound) = part.gate_limit()
            && let Some(v) = [on, off].into_iter().find(|v| v.abs() > bound)
        {
            return Err(bad(name, format!("a gate voltage of {v} V, but the part tolerates {bound} V")));
        }
        let r_on = self.number("gate-resistance");
        let r_off = self.values.maybe("gate-off-resistance").unwrap_or(r_on);
        let edge = self.number("gate-edge");
        let output =
            Output { on, off, r_on, r_off, r_soft: 4.0 * r_off, rise: edge, fall: edge, starts_on: false };
        Gate::add(self.circuit, &format!("{name}.drive"), gate, reference, output)
    }

    /// A switch of two resistances with a diode against it that drops about 0.2 V.
    fn ideal(&mut self, name: &str, [high, low]: [NodeId; 2]) -> Done<(Built, Gate<f64>)> {
        let (on, off) = (1.0 / self.number("switch-resistance"), 1e-8);
        let choice = self.circuit.choice(vec![on, off, off], 1);
        let id = self.circuit.chosen_resistor(name, "switch", high, low, choice)?;
        let diode = find::<f64>("diode").map_err(|_| bad(name, "there is no kind `diode`"))?;
        let mut values = Values::with_defaults(diode.params);
        for (key, x) in [("saturation-current", 1e-6), ("emission", 0.5), ("series-resistance", 1e-4)] {
            values.0.insert(key, Value::Number(x));
        }
        let against = (diode.build)(self.circuit, &format!("{name}.diode"), &[low, high], &values)?;
        let backward = against.quantities.iter().find(|q| q.0 == "current").map(|q| q.2.clone());
        let mut current = vec![(1.0, Probe::Conduction(id, 0))];
        current.extend(backward.map(|p| (-1.0, p)));
        let mut components = vec![id];
        components.extend(&against.components);
        let heat = components.iter().map(|&c| (1.0, Probe::Heat(c))).collect();
        let built = Built {
            dies: vec![("switch", components.clone())],
            components,
            quantities: vec![
                ("voltage", "voltage over the switch", Probe::Voltage(high, low)),
                ("current", "current into the switch and its diode", Probe::Sum(current)),
                ("heat", "power turned into heat", Probe::Sum(heat)),
            ],
            ..Built::default()
        };
        let wave = self.circuit.wave(Wave::Driven(0.0));
        let edge = self.number("gate-edge");
        let gate = Gate {
            name: format!("{name}.drive"),
            wave,
            choice,
            on: 1.0,
            off: 0.0,
            rise: edge,
            fall: edge,
            starts_on: false,
            state: None,
        };
        Ok((built, gate))
    }

    fn snubber(&mut self, name: &str, [high, low]: [NodeId; 2]) -> Done {
        let c = self.number("snubber-capacitance");
        if c == 0.0 {
            return Ok(());
        }
        let first = self.circuit.components.len();
        let given = [("capacitance", c), ("series-resistance", self.number("snubber-resistance"))];
        self.add(Role::Snubber, "capacitor", &format!("{name}-snubber"), &[high, low], &given)?;
        let all = (first..self.circuit.components.len()).collect();
        if let Some(place) = self.laid.places.last_mut() {
            place.snubber = all;
        }
        Ok(())
    }

    /// A leg: `first` follows the command, `second` its complement with the dead time between them. Each is a place
    /// with its two nodes.
    ///
    /// # Errors
    /// When a part or value is refused.
    pub fn leg(&mut self, command: &str, first: (&str, [NodeId; 2]), second: (&str, [NodeId; 2])) -> Done {
        let gates = (self.place(first.0, first.1)?, self.place(second.0, second.1)?);
        for (one, other) in [(first.0, second.0), (second.0, first.0)] {
            if let Some(place) = self.laid.places.iter_mut().find(|p| p.name == one) {
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
        self.laid.drives.push(Box::new(move |board: &mut Board<f64>| {
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
