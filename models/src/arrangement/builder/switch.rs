//! A switch's place: the part that was chosen for it with its gate's drive, or an ideal switch; and its snubber.

use joulestep_engine::circuit::graph::NodeId;
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::control::drive::{Gate, Output};

use super::{Builder, Done, Element, Place, Role};
use crate::arrangement::double_pulse::has_kelvin;
use crate::lookup::find;
use crate::merit::{is_diode, is_switch, stated_gate};
use crate::model::{Built, Value, Values, bad};
use crate::part::Part;

impl Builder<'_> {
    fn part(&self, place: &str) -> Option<&Part> {
        self.parts.get(place).or_else(|| self.parts.get(""))
    }

    /// Puts a switch, or the diode that the place was given, between two nodes. `None`: a diode, without a gate.
    ///
    /// # Errors
    /// When a part or value is refused.
    pub fn add_switch(&mut self, name: &str, [high, low]: [NodeId; 2]) -> Done<Option<Gate<f64>>> {
        let celsius = self.number("junction-temperature");
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
                    let drive = own..self.circuit.components.len();
                    self.note(name, [high, low], &built, Some(drive));
                    self.snubber(name, [high, low])?;
                    let element =
                        Element { name: name.to_string(), kind: part.kind, role: Role::Switch, built };
                    self.layout.elements.push(element);
                    return Ok(Some(gate));
                } else {
                    let what = format!("part {} is a {}, neither switch nor diode", part.name, part.kind);
                    return Err(bad(name, what));
                }
            }
        };
        self.note(name, [high, low], &built, gate.is_some().then_some(0..0));
        self.layout.elements.push(Element { name: name.to_string(), kind, role, built });
        self.snubber(name, [high, low])?;
        Ok(gate)
    }

    /// Keeps a device's place, with the components of its gate's drive.
    fn note(&mut self, name: &str, nodes: [NodeId; 2], built: &Built, gate: Option<std::ops::Range<usize>>) {
        let line = gate.as_ref().map(|_| name.to_string());
        let place = Place::of(name, nodes, built, gate.is_some());
        self.layout.places.push(Place { gate: gate.into_iter().flatten().collect(), line, ..place });
    }

    fn gate(&mut self, name: &str, part: &Part, gate: NodeId, reference: NodeId) -> Done<Gate<f64>> {
        let on = self.values.maybe("gate-on").or_else(|| stated_gate(part));
        let on = on
            .ok_or_else(|| bad(name, format!("part {} states no gate voltage: give `gate-on`", part.name)))?;
        let off = self.number("gate-off");
        if let Some((low, high)) = part.gate_limits()
            && let Some(v) = [on, off].into_iter().find(|v| !(low..=high).contains(v))
        {
            let what = format!("a gate voltage of {v} V, but the part tolerates {low} V to {high} V");
            return Err(bad(name, what));
        }
        let r_on = self.number("gate-resistance");
        let r_off = self.values.maybe("gate-off-resistance").unwrap_or(r_on);
        let edge = self.number("gate-edge");
        let output =
            Output { on, off, r_on, r_off, r_soft: 4.0 * r_off, rise: edge, fall: edge, starts_on: false };
        Gate::add(self.circuit, &format!("{name}.drive"), gate, reference, output)
    }

    /// A switch of two resistances with an ideal diode against it that drops 0.2 V.
    fn ideal(&mut self, name: &str, [high, low]: [NodeId; 2]) -> Done<(Built, Gate<f64>)> {
        let (on, off) = (1.0 / self.number("switch-resistance"), 1e-8);
        let choice = self.circuit.choice(vec![on, off, off], 1);
        let id = self.circuit.chosen_resistor(name, "switch", high, low, choice)?;
        let diode = find("ideal-diode").map_err(|_| bad(name, "there is no kind `ideal-diode`"))?;
        let mut values = Values::with_defaults(diode.params);
        for (key, x) in [("forward-voltage", 0.2), ("on-resistance", 1e-4), ("off-resistance", 1e8)] {
            values.0.insert(key, Value::Number(x));
        }
        let against = (diode.build)(self.circuit, &format!("{name}.diode"), &[low, high], &values)?;
        let backward = against.quantities.iter().find(|q| q.0 == "current").map(|q| q.2.clone());
        let mut current = vec![(1.0, Probe::Conduction(id, 0))];
        current.extend(backward.map(|p| (-1.0, p)));
        let mut components = vec![id];
        components.extend(&against.components);
        let heat = components.iter().map(|&c| (1.0, Probe::Power(c))).collect();
        let built = Built {
            dies: vec![("switch", components.clone())],
            components,
            quantities: vec![
                ("voltage", "voltage over the switch", Probe::Voltage(high, low)),
                ("current", "current into the switch and its diode", Probe::Sum(current)),
                ("power", "power dissipated", Probe::Sum(heat)),
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
            clamp: None,
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
        if let Some(place) = self.layout.places.last_mut() {
            place.snubber = all;
        }
        Ok(())
    }
}
