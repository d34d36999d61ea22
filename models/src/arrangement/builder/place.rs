//! A place for a switch, of an arrangement or of a circuit of the user's own.

use joulestep_engine::circuit::graph::{Body, Circuit, NodeId};
use joulestep_engine::circuit::probe::Probe;

use crate::model::Built;

/// A place for a switch, and what a loss account needs to know of it.
#[derive(Clone, Debug)]
pub struct Place {
    /// Its name.
    pub name: String,
    /// Its own components.
    pub own: Vec<usize>,
    /// Components of its gate's drive.
    pub gate: Vec<usize>,
    /// Components of its snubber.
    pub snubber: Vec<usize>,
    /// Its high and its low side.
    pub nodes: [NodeId; 2],
    /// Voltage over it, V.
    pub voltage: Probe,
    /// Current into it, A.
    pub current: Probe,
    /// The place that turns on when this one has turned off.
    pub partner: Option<String>,
    /// The line that shows its gate's state; `None`: it has no gate.
    pub line: Option<String>,
}

impl Place {
    /// That of a device between its high and its low side, without drive, snubber and partner. `gated`: whether it has a
    /// gate.
    pub fn of(name: &str, nodes: [NodeId; 2], built: &Built, gated: bool) -> Self {
        // A diode's quantities count from anode to cathode.
        let sign = if gated { 1.0 } else { -1.0 };
        let probe = |quantity: &str| {
            let found = built.quantities.iter().find(|q| q.0 == quantity);
            found.map_or(Probe::Sum(Vec::new()), |q| Probe::Sum(vec![(sign, q.2.clone())]))
        };
        Self {
            name: name.to_string(),
            own: built.components.iter().map(|c| c.0 as usize).collect(),
            gate: Vec::new(),
            snubber: Vec::new(),
            nodes,
            voltage: probe("voltage"),
            current: probe("current"),
            partner: None,
            line: None,
        }
    }

    /// Sign by which the current into this place less that into its partner is the current out of the node between
    /// them.
    pub fn out_of_the_leg(&self, partner: &Self) -> f64 {
        if self.nodes[1] == partner.nodes[0] { 1.0 } else { -1.0 }
    }

    /// Capacitance of its snubber, F.
    pub fn snubber_capacitance(&self, circuit: &Circuit<f64>) -> f64 {
        let farads = |k: &usize| match &circuit.components[*k].body {
            Body::Linear(linear) => linear.capacitance().unwrap_or(0.0),
            Body::Device(_) => 0.0,
        };
        self.snubber.iter().map(farads).sum()
    }
}
