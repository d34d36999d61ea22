//! What repeats in a circuit of the user's own, as an arrangement is described: its switches' places, and what each piece
//! is there for.

use joulestep_engine::circuit::graph::{Body, ComponentId, NodeId};
use joulestep_models::arrangement::builder::{Element, Place, Role};
use joulestep_models::model::Built;

use super::Build;

impl Build<'_> {
    /// Describes the scenario's own components; their drives are in the circuit.
    pub(super) fn repeats(&mut self) {
        let Some(spec) = &self.scenario.cycle else { return };
        let places = self.own_places();
        let snubs = |built: &Built| {
            let of = |c: &ComponentId| places.iter().any(|p| p.snubber.contains(&(c.0 as usize)));
            built.components.iter().any(of)
        };
        let role = |name: &String, built: &Built| match places.iter().find(|p| p.name == *name) {
            Some(place) if place.line.is_some() => Role::Switch,
            Some(_) => Role::Diode,
            None if spec.source.contains(name) => Role::Source,
            None if spec.load.contains(name) => Role::Load,
            None if built.clamps.is_some() => Role::Clamp,
            None if snubs(built) => Role::Snubber,
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
        let mut places: Vec<Place> = Vec::new();
        for one in &all {
            let Some(placed) = self.find_placed(&one.name) else { continue };
            // The resistances of a drive are counted once, were there two devices at it; so are snubbers.
            let drive = one.drive.as_deref().filter(|drive| !driven.contains(drive));
            driven.extend(drive);
            let nodes = [one.high, one.low];
            let snubber = match places.iter().any(|p| p.nodes == nodes) {
                true => Vec::new(),
                false => self.snubber_of(nodes),
            };
            places.push(Place {
                gate: drive.map_or(Vec::new(), |drive| self.pieces_of(drive)),
                snubber,
                partner: one.partner(&all).map(|p| p.name.clone()),
                line: one.drive.clone(),
                ..Place::of(&one.name, nodes, &placed.built, one.gated)
            });
        }
        places
    }

    /// Components of capacitances across a device, each perhaps behind a resistance.
    fn snubber_of(&self, nodes: [NodeId; 2]) -> Vec<usize> {
        let named = |role: &[String], name: &String| role.contains(name);
        let spec = self.scenario.cycle.as_ref();
        let mut all = Vec::new();
        for c in &self.scenario.components {
            let name = &c.name.name;
            let pins: Option<Vec<NodeId>> = c.nodes.iter().map(|n| self.circuit.find_node(&n.name)).collect();
            let across = pins.is_some_and(|pins| match pins[..] {
                [a, b] => [a, b] == nodes || [b, a] == nodes,
                _ => false,
            });
            if !across || spec.is_some_and(|s| named(&s.source, name) || named(&s.load, name)) {
                continue;
            }
            let own = self.find_placed(name).map_or(&[][..], |p| &p.built.components);
            let linear = |id: &ComponentId| match &self.circuit.components[id.0 as usize].body {
                Body::Linear(l) => {
                    (l.branches.is_empty() && l.s.is_empty() && l.choice.is_none()).then_some(l)
                }
                Body::Device(_) => None,
            };
            let pieces: Option<Vec<_>> = own.iter().map(linear).collect();
            if pieces.is_some_and(|all| all.iter().any(|l| l.capacitance().is_some())) {
                all.extend(own.iter().map(|id| id.0 as usize));
            }
        }
        all
    }

    /// The components of a drive's output.
    fn pieces_of(&self, drive: &str) -> Vec<usize> {
        let [level, resistor] = ["level", "resistor"].map(|what| format!("{drive}.{what}"));
        let all = self.circuit.components.iter().enumerate();
        all.filter(|(_, c)| c.name == level || c.name == resistor).map(|(k, _)| k).collect()
    }
}
