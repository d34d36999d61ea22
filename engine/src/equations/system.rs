//! The numbered equations of a circuit: immutable, shared by all runs on it.

use crate::arithmetic::lane::Lane;
use crate::circuit::graph::{Body, ChoiceId, Circuit, ComponentId, HeatId, NodeId, WaveId};
use crate::circuit::law::{Device, stamp_len};

/// A device in its place: which unknowns its local ones are.
#[derive(Debug)]
pub struct Placed {
    /// The component.
    pub component: ComponentId,
    /// Unknown of each local unknown (`n` for ground).
    pub locals: Vec<u32>,
    /// How many of the locals are port voltages (the rest are the device's own).
    pub ports: usize,
    /// Unknown of the last pin, against which the ports count (`n` for ground).
    pub reference: u32,
    /// Where its stamp begins in the stamp buffer.
    pub offset: usize,
}

/// Heat in a linear component, as a form in the unknowns.
#[derive(Clone, Copy, Debug)]
pub enum Dissipator<L> {
    /// g·(x[a] − x[b])².
    Across(u32, u32, L),
    /// The same with a chosen conductance.
    Chosen(u32, u32, ChoiceId),
    /// w·x[a]·x[b].
    Product(u32, u32, L),
}

/// The equations of a circuit: d/dt q(x) + f(x, t) = 0.
#[derive(Debug)]
pub struct System<L: Lane> {
    /// The circuit they belong to.
    pub circuit: Circuit<L>,
    /// Number of unknowns; solution vectors have one entry more, for ground, which stays zero.
    pub n: usize,
    /// Whether an unknown is a node voltage (else a current, or a device's own).
    pub is_voltage: Vec<bool>,
    /// Whether an unknown's local error counts for the step (currents of windings and all voltages do; currents of
    /// ideal sources and ammeters follow from the rest).
    pub judged: Vec<bool>,
    /// Entries (row, column, value) of the constant part of ∂f/∂x.
    pub g: Vec<(u32, u32, L)>,
    /// Entries of the constant part of ∂q/∂x.
    pub c: Vec<(u32, u32, L)>,
    /// Source terms (row, course, gain).
    pub sources: Vec<(u32, WaveId, L)>,
    /// Owner of each source term.
    pub source_owner: Vec<ComponentId>,
    /// Chosen conductances (choice, a, b).
    pub chosen: Vec<(ChoiceId, u32, u32)>,
    /// Heat of linear components.
    pub dissipators: Vec<(ComponentId, Dissipator<L>)>,
    /// Devices.
    pub devices: Vec<Placed>,
    /// Length of the stamp buffer.
    pub stamps: usize,
    /// Names of the unknowns.
    pub names: Vec<String>,
    /// First own unknown (branch current or device's own) of each component.
    pub first_own: Vec<u32>,
}

impl<L: Lane> System<L> {
    /// Numbers the unknowns and lists the entries. Checks nothing: see [`topology`](crate::circuit::topology).
    pub fn new(circuit: Circuit<L>) -> Self {
        let nodes = circuit.nodes.len() - 1;
        let own = circuit.components.iter().map(|c| match &c.body {
            Body::Linear(l) => l.branches.len(),
            Body::Device(d) => d.internals(),
        });
        let n = nodes + own.clone().sum::<usize>();
        let mut first_own = Vec::new();
        let mut next = nodes as u32;
        for count in own {
            first_own.push(next);
            next += count as u32;
        }
        let mut names: Vec<String> = circuit.nodes[1..].to_vec();
        let mut system = Self {
            n,
            is_voltage: (0..n).map(|k| k < nodes).collect(),
            judged: (0..n).map(|k| k < nodes).collect(),
            g: Vec::new(),
            c: Vec::new(),
            sources: Vec::new(),
            source_owner: Vec::new(),
            chosen: Vec::new(),
            dissipators: Vec::new(),
            devices: Vec::new(),
            stamps: 0,
            names: Vec::new(),
            first_own,
            circuit: Circuit::new(),
        };
        for (k, component) in circuit.components.iter().enumerate() {
            let id = ComponentId(k as u32);
            let pins: Vec<u32> = component.pins.iter().map(|p| Self::of_node(n, *p)).collect();
            match &component.body {
                Body::Linear(linear) => {
                    names.extend(linear.branches.iter().map(|b| format!("{} {b}", component.name)));
                    let unknown = |local: usize| match pins.get(local) {
                        Some(p) => *p,
                        None => system.first_own[k] + (local - pins.len()) as u32,
                    };
                    let place = |list: &[(usize, usize, L)]| -> Vec<(u32, u32, L)> {
                        list.iter().map(|&(r, c, x)| (unknown(r), unknown(c), x)).collect()
                    };
                    let (g, c) = (place(&linear.g), place(&linear.c));
                    let sources: Vec<_> = linear.s.iter().map(|&(r, w, x)| (unknown(r), w, x)).collect();
                    system.dissipators.extend(forms(&g, n).into_iter().map(|d| (id, d)));
                    for &(r, _, _) in c.iter().filter(|e| (e.0 as usize) < n) {
                        system.judged[r as usize] = true;
                    }
                    system.g.extend(g);
                    system.c.extend(c);
                    system.source_owner.extend(sources.iter().map(|_| id));
                    system.sources.extend(sources);
                    if let Some(choice) = linear.choice {
                        system.chosen.push((choice, pins[0], pins[1]));
                        system.dissipators.push((id, Dissipator::Chosen(pins[0], pins[1], choice)));
                    }
                }
                Body::Device(device) => {
                    let (p, own) = (device.locals(), device.internals());
                    names.extend((0..own).map(|j| format!("{} internal {j}", component.name)));
                    let ports = p - own;
                    let internal = (0..own).map(|j| system.first_own[k] + j as u32);
                    system.devices.push(Placed {
                        component: id,
                        locals: pins[..ports].iter().copied().chain(internal).collect(),
                        ports,
                        reference: pins[ports],
                        offset: system.stamps,
                    });
                    system.stamps += stamp_len(p);
                }
            }
        }
        system.names = names;
        system.circuit = circuit;
        system
    }

    fn of_node(n: usize, node: NodeId) -> u32 {
        if node.0 == 0 { n as u32 } else { node.0 - 1 }
    }

    /// Number of energy accounts: one per device, per dissipator, per source term, in this order.
    pub fn accounts(&self) -> usize {
        self.devices.len() + self.dissipators.len() + self.sources.len()
    }

    /// Index of a node's voltage in solution vectors (`n` for ground).
    pub fn unknown_of_node(&self, node: NodeId) -> usize {
        Self::of_node(self.n, node) as usize
    }

    /// Index of a component's own unknown number `k` in solution vectors.
    pub fn own_unknown(&self, component: ComponentId, k: usize) -> usize {
        self.first_own[component.0 as usize] as usize + k
    }

    /// Whether only linear components touch an unknown.
    pub fn is_outer(&self) -> Vec<bool> {
        let mut outer = vec![true; self.n + 1];
        for device in &self.devices {
            for &k in device.locals.iter().chain([&device.reference]) {
                outer[k as usize] = false;
            }
        }
        outer
    }

    /// Fresh copies of the devices, as the circuit has them.
    pub fn devices(&self) -> Vec<Box<dyn Device<L>>> {
        let bodies = self.devices.iter().map(|p| &self.circuit.components[p.component.0 as usize].body);
        bodies
            .filter_map(|b| match b {
                Body::Device(d) => Some(d.boxed()),
                Body::Linear(_) => None,
            })
            .collect()
    }

    /// Copies of the devices, those with a heat input at the given junction temperatures (K, one per device).
    pub fn devices_at(&self, kelvin: &[L]) -> Vec<Box<dyn Device<L>>> {
        let mut devices = self.devices();
        for ((device, placed), t) in devices.iter_mut().zip(&self.devices).zip(kelvin) {
            if self.heat_of(placed).is_some() {
                device.settle(*t);
            }
        }
        devices
    }

    /// The heat input a device is tied to.
    pub fn heat_of(&self, placed: &Placed) -> Option<HeatId> {
        self.circuit.components[placed.component.0 as usize].heat
    }

    /// The component of each energy account.
    pub fn account_owners(&self) -> Vec<ComponentId> {
        let devices = self.devices.iter().map(|d| d.component);
        let heat = self.dissipators.iter().map(|d| d.0);
        devices.chain(heat).chain(self.source_owner.iter().copied()).collect()
    }

    /// Name of an unknown ("ground" beyond the last).
    pub fn name(&self, unknown: usize) -> &str {
        self.names.get(unknown).map_or("ground", String::as_str)
    }

    /// Name of a nonlinear device that touches an unknown, else of any component that does.
    pub fn device_at(&self, unknown: usize) -> String {
        let touches = |p: &&Placed| p.reference as usize == unknown || p.locals.contains(&(unknown as u32));
        if let Some(p) = self.devices.iter().find(touches) {
            return self.circuit.components[p.component.0 as usize].name.clone();
        }
        let at_node = |c: &&crate::circuit::graph::Component<L>| {
            c.pins.iter().any(|p| self.unknown_of_node(*p) == unknown)
        };
        let own = self
            .first_own
            .iter()
            .rposition(|&f| f as usize <= unknown)
            .filter(|_| unknown >= self.circuit.nodes.len() - 1);
        match own {
            Some(k) => self.circuit.components[k].name.clone(),
            None => self.circuit.components.iter().find(at_node).map_or_else(String::new, |c| c.name.clone()),
        }
    }
}

/// The heat xᵀGx of a linear component in as few terms as possible. Skew parts pass energy on and drop out.
fn forms<L: Lane>(g: &[(u32, u32, L)], ground: usize) -> Vec<Dissipator<L>> {
    // Two pins with ±g: the square of their difference.
    if let [(a, _, x), (_, b, y), (b2, a2, z), (b3, b4, w)] = g {
        let across = a == a2 && b == b2 && b == b3 && b == b4 && a != b;
        if across && *y == -*x && *z == -*x && *w == *x {
            return vec![Dissipator::Across(*a, *b, *x)];
        }
    }
    let mut form: Vec<(u32, u32, L)> = Vec::new();
    for &(r, c, x) in g.iter().filter(|e| e.0 as usize != ground && e.1 as usize != ground) {
        let (a, b) = (r.min(c), r.max(c));
        match form.iter_mut().find(|f| (f.0, f.1) == (a, b)) {
            Some(f) => f.2 += x,
            None => form.push((a, b, x)),
        }
    }
    let zero = L::splat(0.0);
    form.into_iter().filter(|f| f.2 != zero).map(|(a, b, x)| Dissipator::Product(a, b, x)).collect()
}
