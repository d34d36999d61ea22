//! Which devices have switching energies: those whose gate a drive of the scenario moves, each with the other device of
//! its leg.

use joulestep_engine::circuit::graph::{ComponentId, NodeId};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::run::switching::SwitchMeter;
use joulestep_models::lookup::find;

use super::Build;

/// A device that blocks voltage between two nodes.
pub(super) struct Blocks {
    pub(super) name: String,
    pub(super) high: NodeId,
    pub(super) low: NodeId,
    /// Of the high side against the low side.
    pub(super) voltage: Probe,
    /// Into the high side, without displacement, and its charge.
    current: Probe,
    charge: Probe,
    /// Whether it has a gate.
    pub(super) gated: bool,
    /// Subject of its drive's edges, where it has a drive, and the line of its gate's state.
    pub(super) drive: Option<String>,
}

impl Blocks {
    /// The other device of its leg; `None` where there are two or more, because which of them takes the current over is
    /// not known beforehand.
    pub(super) fn partner<'b>(&self, all: &'b [Self]) -> Option<&'b Self> {
        let mut partners = all.iter().filter(|other| other.high == self.low || other.low == self.high);
        partners.next().filter(|_| partners.next().is_none())
    }
}

impl Build<'_> {
    /// The devices with a drive. `work` of each is asked for by [`measure`].
    pub(super) fn switches(&self) -> Vec<SwitchMeter> {
        let all: Vec<Blocks> = self.laid().chain(self.placed_by_user()).collect();
        let meter = |one: &Blocks| {
            Some(SwitchMeter {
                device: one.name.clone(),
                drive: one.drive.clone()?,
                voltage: one.voltage.clone(),
                current: one.current.clone(),
                charge: one.charge.clone(),
                work: Probe::Sum(Vec::new()),
                partner: one.partner(&all).map(|p| (p.voltage.clone(), p.current.clone())),
            })
        };
        all.iter().filter_map(meter).collect()
    }

    /// Those of the arrangement.
    fn laid(&self) -> impl Iterator<Item = Blocks> {
        self.layout.places.iter().map(|place| {
            let kind = self.find_placed(&place.name).map(|p| p.kind);
            // An ideal switch loses nothing while it switches.
            let gate =
                kind.and_then(|kind| find(kind).ok()).is_some_and(|entry| entry.pins.contains(&"gate"));
            let own = place.own.iter().map(|&k| ComponentId(k as u32));
            let (current, charge) = self.taken_from(own, place.nodes[0]);
            Blocks {
                name: place.name.clone(),
                high: place.nodes[0],
                low: place.nodes[1],
                voltage: Probe::Voltage(place.nodes[0], place.nodes[1]),
                current,
                charge,
                gated: gate,
                drive: gate.then(|| format!("{}.drive", place.name)),
            }
        })
    }

    /// Those of the scenario's own components.
    pub(super) fn placed_by_user(&self) -> impl Iterator<Item = Blocks> {
        self.scenario.components.iter().filter_map(|c| {
            let placed = self.find_placed(&c.name.name)?;
            let node = |pin: &str| {
                let k = c.entry.pins.iter().position(|p| *p == pin)?;
                Some(&c.nodes.get(k)?.name)
            };
            let (high, low) = match (node("drain"), node("cathode")) {
                (Some(drain), _) => (drain, node("source")?),
                (_, Some(cathode)) => (cathode, node("anode")?),
                _ => return None,
            };
            let (high, low) = (self.circuit.find_node(high)?, self.circuit.find_node(low)?);
            let (current, charge) = self.taken_from(placed.built.components.iter().copied(), high);
            Some(Blocks {
                name: c.name.name.clone(),
                high,
                low,
                voltage: Probe::Voltage(high, low),
                current,
                charge,
                gated: node("gate").is_some(),
                drive: node("gate").and_then(|gate| self.drive_of(gate)),
            })
        })
    }

    /// Current (without displacement) and charge that components take from a node.
    fn taken_from(&self, own: impl Iterator<Item = ComponentId>, node: NodeId) -> (Probe, Probe) {
        let (mut current, mut charge) = (Vec::new(), Vec::new());
        for id in own {
            let pins = &self.circuit.components[id.0 as usize].pins;
            for pin in (0..pins.len()).filter(|&k| pins[k] == node) {
                current.push((1.0, Probe::Conduction(id, pin)));
                charge.push((1.0, Probe::Charge(id, pin)));
            }
        }
        (Probe::Sum(current), Probe::Sum(charge))
    }

    /// Subject of the edges of the drive at a node.
    fn drive_of(&self, gate: &str) -> Option<String> {
        self.scenario.drives.iter().find_map(|d| {
            let second = d.complement_gate.as_ref().is_some_and(|g| g.name == gate);
            match (d.gate.name == gate, second) {
                (true, _) => Some(d.name.name.clone()),
                (_, true) => Some(format!("{}.complement", d.name.name)),
                _ => None,
            }
        })
    }
}

/// Has a run measure the switching energies of these devices.
pub fn measure(setup: &mut Setup<f64>, switches: Vec<SwitchMeter>) {
    for mut meter in switches {
        setup.integrals.push((meter.voltage.clone(), meter.current.clone()));
        meter.work = Probe::Integral(setup.integrals.len() - 1);
        setup.switches.push(meter);
    }
}
