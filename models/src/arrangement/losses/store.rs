//! The charge that a switch's capacitances hold at its high side, at a recorded instant: ∫ v dQ over it is the energy
//! that they take, quasi-statically E_oss.

use joulestep_engine::circuit::graph::{Body, Component, ComponentId, GROUND, HeatId, NodeId};
use joulestep_engine::circuit::law::{Device, stamp_len};
use joulestep_engine::circuit::probe::{Channel, Probe};
use joulestep_engine::run::setup::Setup;

/// A component that holds charge.
#[derive(Debug)]
enum Holder {
    /// A device with the columns of its pins and of its own unknowns, and its high-side ports.
    Device {
        law: Box<dyn Device<f64>>,
        heat: Option<HeatId>,
        pins: Vec<usize>,
        own: Vec<usize>,
        high: Vec<bool>,
    },
    /// A capacitance between two columns; which of its ends is the high side (0: none).
    Capacitor { farads: f64, pins: [usize; 2], sign: f64 },
}

/// The capacitances of one place, its snubber's among them.
#[derive(Debug, Default)]
pub(super) struct Store {
    holders: Vec<Holder>,
}

/// Nodes that leads and resistances join to the high side.
fn high_side(components: &[Component<f64>], own: &[usize], [high, low]: [NodeId; 2]) -> Vec<NodeId> {
    let mut found = vec![high];
    let mut k = 0;
    while k < found.len() {
        for c in own.iter().map(|&c| &components[c]) {
            if !(c.is_inductance() || c.is_resistance()) || !c.pins.contains(&found[k]) {
                continue;
            }
            for &pin in &c.pins {
                if pin != low && !found.contains(&pin) {
                    found.push(pin);
                }
            }
        }
        k += 1;
    }
    found
}

impl Store {
    /// Of these components of the setup's circuit, between two nodes; adds the channels it reads.
    pub fn new(setup: &mut Setup<f64>, name: &str, own: &[usize], between: [NodeId; 2]) -> Self {
        let mut wanted: Vec<Probe> = Vec::new();
        let first = setup.channels.len();
        let mut column = |probe: Probe| {
            let at = wanted.iter().position(|w| *w == probe);
            first
                + at.unwrap_or_else(|| {
                    wanted.push(probe);
                    wanted.len() - 1
                })
        };
        let components = &setup.circuit.components;
        let high = high_side(components, own, between);
        let mut holders = Vec::new();
        for &k in own {
            let c = &components[k];
            let mut pins = || c.pins.iter().map(|&n| column(Probe::Voltage(n, GROUND))).collect::<Vec<_>>();
            match &c.body {
                Body::Device(law) => {
                    let pins = pins();
                    let internals = law.internals();
                    let own =
                        (0..internals).map(|j| column(Probe::Branch(ComponentId(k as u32), j))).collect();
                    let ports = law.locals() - internals;
                    let high = c.pins[..=ports].iter().map(|n| high.contains(n)).collect();
                    holders.push(Holder::Device { law: law.boxed(), heat: c.heat, pins, own, high });
                }
                Body::Linear(linear) => {
                    let Some(farads) = linear.capacitance() else { continue };
                    let ends = [high.contains(&c.pins[0]), high.contains(&c.pins[1])];
                    let sign = f64::from(u8::from(ends[0])) - f64::from(u8::from(ends[1]));
                    let pins = pins();
                    holders.push(Holder::Capacitor { farads, pins: [pins[0], pins[1]], sign });
                }
            }
        }
        for (k, probe) in wanted.into_iter().enumerate() {
            let name = format!("account.{name}.store-{k}");
            setup.channels.push(Channel { long_name: name.clone(), name, probe });
        }
        Self { holders }
    }

    /// Moves the devices that have a heat input to its temperature, °C.
    pub fn set_temperatures(&mut self, celsius: &[f64]) {
        for holder in &mut self.holders {
            if let Holder::Device { law, heat: Some(h), .. } = holder
                && let Some(t) = celsius.get(h.0 as usize)
            {
                law.set_temperature(t + joulestep_engine::run::setup::ZERO_CELSIUS);
            }
        }
    }

    /// Charge at the high side, C.
    pub fn charge(&self, sample: &[f64]) -> f64 {
        let one = |holder: &Holder| match holder {
            Holder::Device { law, pins, own, high, .. } => {
                let u = locals(sample, pins, own);
                let mut out = vec![0.0; stamp_len(u.len())];
                law.values(&u, &mut out);
                let ports = pins.len() - 1;
                let q = &out[u.len()..u.len() + ports];
                // The last pin holds minus the sum of the others.
                let last = if high[ports] { -q.iter().sum::<f64>() } else { 0.0 };
                last + q.iter().zip(high).filter(|(_, h)| **h).map(|(q, _)| q).sum::<f64>()
            }
            Holder::Capacitor { farads, pins, sign } => sign * farads * (sample[pins[0]] - sample[pins[1]]),
        };
        self.holders.iter().map(one).sum()
    }
}

/// Local unknowns of a device at a sample: pins against the last one, then its own.
fn locals(sample: &[f64], pins: &[usize], own: &[usize]) -> Vec<f64> {
    let (last, ports) = (sample[pins[pins.len() - 1]], &pins[..pins.len() - 1]);
    ports.iter().map(|&p| sample[p] - last).chain(own.iter().map(|&p| sample[p])).collect()
}
