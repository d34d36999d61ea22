//! What repeats in a circuit of the user's own, as an arrangement is described: its switches' places, and what each piece
//! is there for.

use joulestep_engine::circuit::graph::ComponentId;
use joulestep_engine::circuit::probe::Probe;
use joulestep_models::arrangement::builder::{Element, Place, Role};
use joulestep_models::model::Built;

use super::Build;

impl Build<'_> {
    /// Describes the scenario's own components; their drives are in the circuit.
    pub(super) fn repeats(&mut self) {
        let Some(spec) = &self.scenario.cycle else { return };
        let places = self.own_places();
        let role = |name: &String, built: &Built| match places.iter().find(|p| p.name == *name) {
            Some(place) if place.line.is_some() => Role::Switch,
            Some(_) => Role::Diode,
            None if spec.source.contains(name) => Role::Source,
            None if spec.load.contains(name) => Role::Load,
            None if built.clamps.is_some() => Role::Clamp,
            None => Role::Passive,
        };
        let element = |p: &super::Placed| Element {
            name: p.name.clone(),
            kind: p.kind,
            role: role(&p.name, &p.built),
            built: p.built.clone(),
        };
        self.layout.elements = self.placed.iter().map(element).collect();
        self.layout.places = places;
        self.layout.period = Some(spec.period);
    }

    /// Devices that block, in the order of the scenario, each with the only other one at its high or low side.
    fn own_places(&self) -> Vec<Place> {
        let all: Vec<_> = self.placed_by_user().collect();
        let mut driven: Vec<&str> = Vec::new();
        let mut places = Vec::new();
        for one in &all {
            let Some(placed) = self.find_placed(&one.name) else { continue };
            // A diode's quantities count from anode to cathode.
            let sign = if one.gated { 1.0 } else { -1.0 };
            let current = placed.built.quantities.iter().find(|q| q.0 == "current");
            // The resistances of a drive are counted once, were there two devices at it.
            let drive = one.drive.as_deref().filter(|drive| !driven.contains(drive));
            driven.extend(drive);
            let numbers = |ids: &[ComponentId]| ids.iter().map(|c| c.0 as usize).collect();
            places.push(Place {
                name: one.name.clone(),
                own: numbers(&placed.built.components),
                gate: drive.map_or(Vec::new(), |drive| self.pieces_of(drive)),
                snubber: Vec::new(),
                nodes: [one.high, one.low],
                voltage: one.voltage.clone(),
                current: current.map_or(Probe::Sum(Vec::new()), |q| Probe::Sum(vec![(sign, q.2.clone())])),
                partner: one.partner(&all).map(|p| p.name.clone()),
                line: one.drive.clone(),
            });
        }
        places
    }

    /// The components of a drive's output.
    fn pieces_of(&self, drive: &str) -> Vec<usize> {
        let [level, resistor] = ["level", "resistor"].map(|what| format!("{drive}.{what}"));
        let all = self.circuit.components.iter().enumerate();
        all.filter(|(_, c)| c.name == level || c.name == resistor).map(|(k, _)| k).collect()
    }
}
