//! What models of two pins with a branch current become.

use joulestep_engine::circuit::graph::{ComponentId, NodeId};
use joulestep_engine::circuit::probe::Probe;

use super::Built;

impl Built {
    /// An inductor of any law between its pins: its current is the component's first own unknown, and its winding the
    /// die `inductor`.
    pub(crate) fn inductor(id: ComponentId, pins: &[NodeId]) -> Self {
        Self {
            components: vec![id],
            dies: vec![("inductor", vec![id])],
            quantities: vec![
                ("voltage", "voltage of the first pin against the second", Probe::Voltage(pins[0], pins[1])),
                ("current", "current from the first pin to the second", Probe::Branch(id, 0)),
                ("power", "power dissipated", Probe::Power(id)),
            ],
            ..Self::default()
        }
    }
}
