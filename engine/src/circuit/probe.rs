//! What can be read off a run: by controllers, meters and recorders.

use crate::circuit::graph::{ComponentId, HeatId, NodeId, WaveId};

/// A quantity at one instant.
#[derive(Clone, Debug, PartialEq)]
pub enum Probe {
    /// v_a − v_b, V.
    Voltage(NodeId, NodeId),
    /// A branch current of a component's own, by its number among them, A.
    Branch(ComponentId, usize),
    /// Conduction current into a pin (without the displacement current of its charges), A.
    Conduction(ComponentId, usize),
    /// Charge of a pin: the current into it is [`Probe::Conduction`] and what this changes by in time, C.
    Charge(ComponentId, usize),
    /// Power that a component dissipates, W.
    Power(ComponentId),
    /// Energy that a component has dissipated since the start, with the method's own weights, J.
    Energy(ComponentId),
    /// Value of a source's course, V or A.
    Wave(WaveId),
    /// A logic line as 0 or 1.
    Line(crate::circuit::graph::LineId),
    /// Temperature of a heat input, °C.
    Temperature(HeatId),
    /// Value so far of an integral asked for in the setup, by its number there: exact to the method's order, where an
    /// integral of recorded samples has the error of the straight lines between them. In the product of the two units;
    /// 0 where the setup asks for no such integral.
    Integral(usize),
    /// Weighted sum of others.
    Sum(Vec<(f64, Probe)>),
}

impl Probe {
    /// Unit symbol of the quantity.
    pub fn unit(&self) -> &'static str {
        match self {
            Self::Voltage(..) | Self::Wave(_) => "V",
            Self::Branch(..) | Self::Conduction(..) => "A",
            Self::Charge(..) => "C",
            Self::Power(_) => "W",
            Self::Line(_) => "1",
            Self::Temperature(_) => "degC",
            Self::Integral(_) | Self::Energy(_) => "J",
            Self::Sum(terms) => terms.first().map_or("1", |t| t.1.unit()),
        }
    }
}

/// A probe with the name under which it is recorded.
#[derive(Clone, Debug, PartialEq)]
pub struct Channel {
    /// Short name, a file's dataset name.
    pub name: String,
    /// What it is, in words.
    pub long_name: String,
    /// Where it is read.
    pub probe: Probe,
}
