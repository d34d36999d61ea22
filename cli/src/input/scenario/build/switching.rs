//! Which devices have switching energies: those whose gate a drive of the scenario moves, each with the other device of
//! its leg.

use joulestep_engine::circuit::graph::NodeId;
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::run::switching::SwitchMeter;
use joulestep_models::lookup::find;

use super::Build;

/// A device that blocks voltage between two nodes.
struct Blocks {
    name: String,
    high: NodeId,
    low: NodeId,
    /// Of the high side against the low side.
    voltage: Probe,
    /// Into the high side.
    current: Probe,
    /// Subject of its drive's edges, where it has a drive.
    drive: Option<String>,
}

impl Build<'_> {
    /// The devices with a drive. `work` of each is asked for by [`measure`].
    pub(super) fn switches(&self) -> Vec<SwitchMeter> {
        let all: Vec<Blocks> = self.laid().chain(self.placed_by_user()).collect();
        let meter = |one: &Blocks| {
            let partner = |other: &&Blocks| other.high == one.low || other.low == one.high;
            let mut partners = all.iter().filter(partner);
            // Two or more: which of them takes the current over is not known beforehand.
            let partner = partners.next().filter(|_| partners.next().is_none());
            Some(SwitchMeter {
                device: one.name.clone(),
                drive: one.drive.clone()?,
                voltage: one.voltage.clone(),
                current: one.current.clone(),
                work: Probe::Sum(Vec::new()),
                partner: partner.map(|p| (p.voltage.clone(), p.current.clone())),
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
            Blocks {
                name: place.name.clone(),
                high: place.nodes[0],
                low: place.nodes[1],
                voltage: place.voltage.clone(),
                current: place.current.clone(),
                drive: gate.then(|| format!("{}.drive", place.name)),
            }
        })
    }

    /// Those of the scenario's own components.
    fn placed_by_user(&self) -> impl Iterator<Item = Blocks> {
        self.scenario.components.iter().filter_map(|c| {
            let placed = self.find_placed(&c.name.name)?;
            let node = |pin: &str| {
                let k = c.entry.pins.iter().position(|p| *p == pin)?;
                Some(&c.nodes.get(k)?.name)
            };
            let quantity = |name: &str, sign: f64| {
                let found = placed.built.quantities.iter().find(|q| q.0 == name)?;
                Some(Probe::Sum(vec![(sign, found.2.clone())]))
            };
            // A diode's quantities count from anode to cathode.
            let (high, low, sign) = match (node("drain"), node("cathode")) {
                (Some(drain), _) => (drain, node("source")?, 1.0),
                (_, Some(cathode)) => (cathode, node("anode")?, -1.0),
                _ => return None,
            };
            Some(Blocks {
                name: c.name.name.clone(),
                high: self.circuit.find_node(high)?,
                low: self.circuit.find_node(low)?,
                voltage: quantity("voltage", sign)?,
                current: quantity("current", sign)?,
                drive: node("gate").and_then(|gate| self.drive_of(gate)),
            })
        })
    }

    /// Subject of the edges of the drive at a node.
    fn drive_of(&self, gate: &str) -> Option<String> {
        self.scenario.drives.iter().find_map(|d| {
            let second = d.complement.as_ref().is_some_and(|c| c.0.name == gate);
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
