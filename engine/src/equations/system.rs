//! The numbered equations of a circuit: immutable, shared by all runs on it.

use crate::arithmetic::lane::Lane;
use crate::circuit::graph::{Body, ChoiceId, Circuit, ComponentId, HeatId, NodeId, WaveId};
use crate::circuit::law::{Device, stamp_len};
use crate::error::Cause;

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
}

impl Placed {
    /// The local unknowns where the solution is `x`: port voltages against the last pin, then the device's own.
    pub fn locals_at<L: Lane>(&self, x: &[L]) -> Vec<L> {
        let base = x[self.reference as usize];
        let local =
            |(k, &j): (usize, &u32)| if k < self.ports { x[j as usize] - base } else { x[j as usize] };
        self.locals.iter().enumerate().map(local).collect()
    }
}

/// Heat in a linear component, as a form in the unknowns.
#[derive(Clone, Copy, Debug)]
pub enum Dissipator<L> {
    /// `g·(x[a] − x[b])²`.
    Across(u32, u32, L),
    /// The same with a chosen conductance.
    Chosen(u32, u32, ChoiceId),
    /// `w·x[a]·x[b]`.
    Product(u32, u32, L),
}

impl<L> Dissipator<L> {
    /// What it is a form of: unknowns and the choice.
    fn places(&self) -> (u8, u32, u32, Option<ChoiceId>) {
        match *self {
            Self::Across(a, b, _) => (0, a, b, None),
            Self::Chosen(a, b, choice) => (1, a, b, Some(choice)),
            Self::Product(a, b, _) => (2, a, b, None),
        }
    }
}

/// Which unknown is which: node voltages and own unknowns (branch currents, devices' own) in their natural order, and
/// their places in solution vectors, inner ones first.
#[derive(Debug)]
struct Places {
    position: Vec<u32>,
    /// Natural number of each component's first own unknown, and one past the last component's.
    first_own: Vec<usize>,
    inner: usize,
}

impl Places {
    fn new<L: Lane>(circuit: &Circuit<L>) -> Self {
        let nodes = circuit.nodes.len() - 1;
        let mut first_own = vec![nodes];
        let mut touched = vec![false; nodes];
        for component in &circuit.components {
            let own = match &component.body {
                Body::Linear(l) => l.branches.len(),
                Body::Device(d) => {
                    component.pins.iter().filter(|p| p.0 > 0).for_each(|p| touched[p.0 as usize - 1] = true);
                    d.internals()
                }
            };
            touched.resize(touched.len() + own, matches!(component.body, Body::Device(_)));
            first_own.push(touched.len());
        }
        let inner = touched.iter().filter(|t| **t).count();
        let (mut next_inner, mut next_outer) = (0, inner as u32);
        let place = |t: &bool| {
            let next = if *t { &mut next_inner } else { &mut next_outer };
            *next += 1;
            *next - 1
        };
        Self { position: touched.iter().map(place).collect(), first_own, inner }
    }

    fn of_node(&self, node: NodeId) -> u32 {
        if node.0 == 0 { self.position.len() as u32 } else { self.position[node.0 as usize - 1] }
    }

    fn of_own(&self, component: usize, k: usize) -> u32 {
        self.position[self.first_own[component] + k]
    }

    fn own_count(&self, component: usize) -> usize {
        self.first_own[component + 1] - self.first_own[component]
    }
}

/// The equations of a circuit: d/dt q(x) + f(x, t) = 0.
#[derive(Debug)]
pub struct System<L: Lane> {
    /// The circuit they belong to.
    pub circuit: Circuit<L>,
    /// Number of unknowns; solution vectors have one entry more, for ground, which stays zero.
    pub n: usize,
    /// The first so many unknowns are touched by nonlinear devices ("inner"), the others by linear components only.
    pub inner: usize,
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
    /// Names of the unknowns.
    pub names: Vec<String>,
    places: Places,
}

impl<L: Lane> System<L> {
    /// Numbers the unknowns and lists the entries. Checks nothing: see [`topology`](crate::circuit::topology).
    #[inline(never)]
    pub fn new(circuit: Circuit<L>) -> Self {
        let places = Places::new(&circuit);
        let n = places.position.len();
        let mut system = Self {
            n,
            inner: places.inner,
            is_voltage: vec![false; n],
            judged: vec![false; n],
            g: Vec::new(),
            c: Vec::new(),
            sources: Vec::new(),
            source_owner: Vec::new(),
            chosen: Vec::new(),
            dissipators: Vec::new(),
            devices: Vec::new(),
            names: vec![String::new(); n],
            places,
            circuit: Circuit::new(),
        };
        for (k, name) in circuit.nodes[1..].iter().enumerate() {
            let at = system.places.position[k] as usize;
            system.names[at] = name.clone();
            system.is_voltage[at] = true;
            system.judged[at] = true;
        }
        for (k, component) in circuit.components.iter().enumerate() {
            let id = ComponentId(k as u32);
            let pins: Vec<u32> = component.pins.iter().map(|p| system.places.of_node(*p)).collect();
            let own = |j: usize| system.places.of_own(k, j);
            match &component.body {
                Body::Linear(linear) => {
                    let unknown = |local: usize| match pins.get(local) {
                        Some(p) => *p,
                        None => own(local - pins.len()),
                    };
                    for (j, branch) in linear.branches.iter().enumerate() {
                        system.names[own(j) as usize] = format!("{} {branch}", component.name);
                    }
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
                    let internals = device.internals();
                    let ports = device.locals() - internals;
                    let internal: Vec<u32> = (0..internals).map(own).collect();
                    for (j, &at) in internal.iter().enumerate() {
                        system.names[at as usize] = format!("{} internal {j}", component.name);
                    }
                    system.devices.push(Placed {
                        component: id,
                        locals: pins[..ports].iter().copied().chain(internal).collect(),
                        ports,
                        reference: pins[ports],
                    });
                }
            }
        }
        system.circuit = circuit;
        system
    }

    /// Number of energy accounts: one per device, per dissipator, per source term, in this order.
    pub fn accounts(&self) -> usize {
        self.devices.len() + self.dissipators.len() + self.sources.len()
    }

    /// Index of a node's voltage in solution vectors (`n` for ground).
    pub fn unknown_of_node(&self, node: NodeId) -> usize {
        self.places.of_node(node) as usize
    }

    /// Index of a component's own unknown number `k` in solution vectors.
    pub fn own_unknown(&self, component: ComponentId, k: usize) -> usize {
        self.places.of_own(component.0 as usize, k) as usize
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
    #[inline(never)]
    pub fn devices_at(&self, kelvin: &[L]) -> Vec<Box<dyn Device<L>>> {
        let mut devices = self.devices();
        for ((device, placed), t) in devices.iter_mut().zip(&self.devices).zip(kelvin) {
            if self.heat_of(placed).is_some() {
                device.set_temperature(*t);
            }
        }
        devices
    }

    /// Stamp of every device where the solution is `x`: i, q, ∂i/∂u, ∂q/∂u.
    #[inline(never)]
    pub fn stamps(&self, devices: &[Box<dyn Device<L>>], x: &[L]) -> Vec<Vec<L>> {
        let mut stamps = Vec::with_capacity(devices.len());
        for (device, placed) in devices.iter().zip(&self.devices) {
            let u = placed.locals_at(x);
            let mut stamp = vec![L::splat(0.0); stamp_len(u.len())];
            device.evaluate(&u, &mut stamp);
            stamps.push(stamp);
        }
        stamps
    }

    /// Why Newton's iteration finds no end at `x`, where an unknown still moves by `update`: what the slopes of the
    /// devices next to it tell.
    pub(crate) fn cause_at(&self, devices: &[Box<dyn Device<L>>], x: &[L], k: usize, update: f64) -> Cause {
        let (mut falls, mut largest) = (false, None);
        for (placed, stamp) in self.devices.iter().zip(self.stamps(devices, x)) {
            if placed.reference as usize != k && !placed.locals.contains(&(k as u32)) {
                continue;
            }
            let p = placed.locals.len();
            for lane in 0..L::WIDTH {
                let slope = |row: usize, column: usize| stamp[2 * p + row * p + column].lane(lane);
                let row = |j: usize| (0..placed.ports).map(|l| slope(j, l)).sum::<f64>();
                let own = (0..placed.ports).map(|j| slope(j, j)).chain([(0..placed.ports).map(row).sum()]);
                for own in own {
                    falls |= own < 0.0;
                    largest = Some(own.abs().max(largest.unwrap_or(0.0)));
                }
            }
        }
        match largest {
            _ if falls => Cause::FallingSlope,
            Some(slope) if slope < SATURATED && (update.is_nan() || update >= RUNS_AWAY) => Cause::Saturated,
            _ => Cause::Unknown,
        }
    }

    /// Conductance of each choice with these options.
    pub fn chosen(&self, options: &[usize]) -> impl Iterator<Item = L> {
        self.circuit.choices.iter().zip(options).map(|(choice, &k)| choice.options[k])
    }

    /// Whether the equations of another system have the same form: entries and accounts in the same places.
    pub fn has_form_of<K: Lane>(&self, other: &System<K>) -> bool {
        let places = |d: &Dissipator<L>| d.places();
        let other_places = |d: &Dissipator<K>| d.places();
        let placed = |p: &Placed| (p.component, p.locals.clone(), p.ports, p.reference);
        (self.n, self.inner, &self.chosen) == (other.n, other.inner, &other.chosen)
            && self.g.iter().map(|e| (e.0, e.1)).eq(other.g.iter().map(|e| (e.0, e.1)))
            && self.c.iter().map(|e| (e.0, e.1)).eq(other.c.iter().map(|e| (e.0, e.1)))
            && self.sources.iter().map(|e| (e.0, e.1)).eq(other.sources.iter().map(|e| (e.0, e.1)))
            && self.devices.iter().map(placed).eq(other.devices.iter().map(placed))
            && self
                .dissipators
                .iter()
                .map(|(c, d)| (*c, places(d)))
                .eq(other.dissipators.iter().map(|(c, d)| (*c, other_places(d))))
    }

    /// Whether there are devices and all of them are valves.
    pub fn has_valves(&self) -> bool {
        let devices = self.devices();
        !devices.is_empty() && devices.iter().all(|d| d.valve().is_some())
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
        let owner =
            |c: &usize| (0..self.places.own_count(*c)).any(|j| self.places.of_own(*c, j) as usize == unknown);
        let own = (0..self.circuit.components.len()).find(owner);
        match own {
            Some(k) => self.circuit.components[k].name.clone(),
            None => self.circuit.components.iter().find(at_node).map_or_else(String::new, |c| c.name.clone()),
        }
    }
}

/// A conductance of a device that carries no more, S; and a change of a voltage that shows it, V.
const SATURATED: f64 = 1e-9;
const RUNS_AWAY: f64 = 1e3;

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
