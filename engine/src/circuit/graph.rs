//! Nodes and components.

use std::collections::BTreeMap;

use crate::arithmetic::lane::Lane;
use crate::circuit::law::Device;
use crate::circuit::wave::Wave;
use crate::error::CircuitError;

/// A node of the circuit; number 0 is ground, whose voltage is 0 V.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct NodeId(pub u32);
/// A component, in the order of addition.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct ComponentId(pub u32);
/// An independent source's course.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct WaveId(pub u32);
/// A choice among conductances (a switch, or the on and off resistors of a gate drive).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct ChoiceId(pub u32);
/// A heat input of the thermal network.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct HeatId(pub u32);

/// A logic line between controllers (a command, a trip).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct LineId(pub u32);

/// Ground.
pub const GROUND: NodeId = NodeId(0);

/// A linear component by its equations. Local unknowns: the pin voltages (absolute, V), then the branch currents of
/// its own (A). Row k of `G·x + d/dt(C·x) + Σ gain·wave(t)` is the current into pin k, or the branch equation (= 0).
///
/// With branch rows written with the sign that makes `G` skew where energy is only passed on, `xᵀGx` is the power
/// dissipated, `½xᵀCx` the energy stored and `xᵀs` the power taken from the outside: the ledger rests on that.
#[derive(Clone, Debug)]
pub struct Linear<L> {
    /// Names of the branch currents.
    pub branches: Vec<String>,
    /// Entries (row, column, value) of G.
    pub g: Vec<(usize, usize, L)>,
    /// Entries (row, column, value) of C.
    pub c: Vec<(usize, usize, L)>,
    /// Source terms (row, course, gain).
    pub s: Vec<(usize, WaveId, L)>,
    /// A conductance between the first two pins, chosen during the run.
    pub choice: Option<ChoiceId>,
}

impl<L> Default for Linear<L> {
    fn default() -> Self {
        Self { branches: Vec::new(), g: Vec::new(), c: Vec::new(), s: Vec::new(), choice: None }
    }
}

impl<L: Lane> Linear<L> {
    /// Its capacitance between the first two pins, F; `None`: it has none.
    pub fn capacitance(&self) -> Option<L> {
        self.c.iter().find(|e| (e.0, e.1) == (0, 0)).map(|e| e.2)
    }
}

/// What a component is made of.
#[derive(Debug)]
pub enum Body<L: Lane> {
    /// Constant coefficients.
    Linear(Linear<L>),
    /// A nonlinear device.
    Device(Box<dyn Device<L>>),
}

/// One component of the circuit.
#[derive(Debug)]
pub struct Component<L: Lane> {
    /// Unique name (reference designator).
    pub name: String,
    /// Kind, as in the catalogue ("resistor", "jfet", …).
    pub kind: &'static str,
    /// Nodes of its pins, in the order of the law.
    pub pins: Vec<NodeId>,
    /// Its equations.
    pub body: Body<L>,
    /// Where its heat goes and its temperature comes from.
    pub heat: Option<HeatId>,
    /// Stated initial state: capacitor voltage between the first two pins (V) or branch current (A).
    pub stated: Option<Stated<L>>,
}

impl<L: Lane> Component<L> {
    /// Whether it is a resistance between two pins.
    pub fn is_resistance(&self) -> bool {
        match &self.body {
            Body::Linear(l) => {
                self.pins.len() == 2
                    && l.branches.is_empty()
                    && l.c.is_empty()
                    && l.s.is_empty()
                    && l.choice.is_none()
            }
            Body::Device(device) => device.is_resistance(),
        }
    }

    /// Whether it is an inductance between two pins, perhaps with a resistance in series.
    pub fn is_inductance(&self) -> bool {
        match &self.body {
            Body::Linear(l) => {
                self.pins.len() == 2 && l.branches.len() == 1 && !l.c.is_empty() && l.s.is_empty()
            }
            Body::Device(_) => false,
        }
    }
}

/// A stated initial value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Stated<L> {
    /// Voltage between the first two pins, V.
    Voltage(L),
    /// Current of the branch with this number among the component's own, A.
    Current(usize, L),
}

/// A choice among conductances in S.
#[derive(Clone, Debug)]
pub struct Choice<L> {
    /// The conductances, S.
    pub options: Vec<L>,
    /// Number of the one that holds at the start.
    pub initial: usize,
}

/// Nodes, components, courses of sources and choices.
#[derive(Debug, Default)]
pub struct Circuit<L: Lane> {
    /// Node names; number 0 is ground.
    pub nodes: Vec<String>,
    /// Components.
    pub components: Vec<Component<L>>,
    /// Courses of the independent sources.
    pub waves: Vec<Wave<L>>,
    /// Choices among conductances.
    pub choices: Vec<Choice<L>>,
    pub(super) by_name: BTreeMap<String, NodeId>,
    /// Components by name.
    pub(super) named: BTreeMap<String, ComponentId>,
}

impl<L: Lane> Circuit<L> {
    /// A circuit with ground only, the node `gnd`.
    #[inline(never)]
    pub fn new() -> Self {
        let mut by_name = BTreeMap::new();
        by_name.insert("gnd".to_string(), GROUND);
        Self { nodes: vec!["gnd".to_string()], by_name, ..Self::default() }
    }

    /// The node of this name, made when it is new.
    #[inline(never)]
    pub fn node(&mut self, name: &str) -> NodeId {
        if let Some(&id) = self.by_name.get(name) {
            return id;
        }
        let id = NodeId(self.nodes.len() as u32);
        self.nodes.push(name.to_string());
        self.by_name.insert(name.to_string(), id);
        id
    }

    /// The node of this name, if there is one.
    pub fn find_node(&self, name: &str) -> Option<NodeId> {
        self.by_name.get(name).copied()
    }

    /// The component of this name, if there is one.
    pub fn find(&self, name: &str) -> Option<ComponentId> {
        self.named.get(name).copied()
    }

    /// Adds a component.
    ///
    /// # Errors
    /// When the name is taken.
    #[inline(never)]
    pub fn add(&mut self, component: Component<L>) -> Result<ComponentId, CircuitError> {
        if self.find(&component.name).is_some() {
            return Err(CircuitError::DuplicateName { name: component.name });
        }
        let id = ComponentId(self.components.len() as u32);
        self.named.insert(component.name.clone(), id);
        self.components.push(component);
        Ok(id)
    }

    /// Adds a source's course.
    pub fn wave(&mut self, wave: Wave<L>) -> WaveId {
        self.waves.push(wave);
        WaveId(self.waves.len() as u32 - 1)
    }

    /// Adds a choice among conductances (S).
    pub fn choice(&mut self, options: Vec<L>, initial: usize) -> ChoiceId {
        self.choices.push(Choice { options, initial });
        ChoiceId(self.choices.len() as u32 - 1)
    }
}
