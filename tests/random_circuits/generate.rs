//! Valid circuits by chance: every seed makes one, the same on every machine.
//!
//! A tree of resistors, windings and ideal-switch-free paths reaches every node from ground, so none floats; sources
//! stand behind a resistance, so no loop of ideal sources arises. What is added then has values over twelve decades,
//! all of them such that time constants below the shortest steps and above the end of the run occur.

use joulestep_engine::circuit::graph::{ChoiceId, Circuit, GROUND, NodeId};
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::control::sequence::{Deed, ScheduledEvent, Sequence};
use joulestep_engine::run::setup::Setup;
use joulestep_models::lookup::find;
use joulestep_models::model::{Value, Values};

/// Simulated time, s.
pub const END: f64 = 20e-6;

/// A generator of numbers: SplitMix64 (Steele, Lea & Flood, OOPSLA 2014).
struct Chance(u64);

impl Chance {
    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// In [0, 1).
    fn share(&mut self) -> f64 {
        (self.bits() >> 11) as f64 * 0.5f64.powi(53)
    }

    /// Evenly on a logarithmic scale.
    fn between(&mut self, least: f64, most: f64) -> f64 {
        least * (most / least).powf(self.share())
    }

    fn below(&mut self, n: usize) -> usize {
        (self.bits() % n as u64) as usize
    }
}

/// A circuit that grows.
struct Growing {
    circuit: Circuit<f64>,
    nodes: Vec<NodeId>,
    chance: Chance,
    switches: Vec<(String, ChoiceId)>,
    count: usize,
}

impl Growing {
    fn name(&mut self, kind: &str) -> String {
        self.count += 1;
        format!("{kind}{}", self.count)
    }

    fn any(&mut self) -> NodeId {
        self.nodes[self.chance.below(self.nodes.len())]
    }

    /// Two different nodes.
    fn two(&mut self) -> [NodeId; 2] {
        let a = self.any();
        loop {
            let b = self.any();
            if a != b {
                return [a, b];
            }
        }
    }

    fn resistor(&mut self, a: NodeId, b: NodeId) {
        let (name, r) = (self.name("R"), self.chance.between(1e-4, 1e8));
        self.circuit.resistor(&name, a, b, r).unwrap();
    }

    fn inductor(&mut self, a: NodeId, b: NodeId) {
        let (name, l) = (self.name("L"), self.chance.between(1e-12, 1.0));
        let r = self.chance.between(1e-4, 10.0);
        self.circuit.inductor(&name, a, b, l, r, None).unwrap();
    }

    fn capacitor(&mut self) {
        let (name, c, [a, b]) = (self.name("C"), self.chance.between(1e-15, 1e-3), self.two());
        self.circuit.capacitor(&name, a, b, c, None).unwrap();
    }

    /// A source behind a resistance.
    fn source(&mut self) {
        let (name, to) = (self.name("V"), self.any());
        let at = self.circuit.node(&name);
        let volts = self.chance.between(0.1, 1000.0);
        let wave = match self.chance.below(3) {
            0 => Wave::Constant(volts),
            1 => Wave::Sine {
                offset: 0.0,
                amplitude: volts,
                frequency: self.chance.between(1e3, 1e6),
                phase: 0.0,
                delay: 0.0,
            },
            _ => {
                let rise = self.chance.between(1e-9, 5e-6);
                let (on, off) = (1e-6, 10e-6);
                Wave::Points(vec![(on, 0.0), (on + rise, volts), (off, volts), (off + rise, 0.0)])
            }
        };
        let wave = self.circuit.wave(wave);
        self.circuit.voltage_source(&name, at, GROUND, wave).unwrap();
        let (name, r) = (self.name("R"), self.chance.between(1e-2, 1e4));
        self.circuit.resistor(&name, at, to, r).unwrap();
    }

    fn switch(&mut self) {
        let (name, [a, b]) = (self.name("S"), self.two());
        let on = self.chance.between(1e-4, 1.0);
        let choice = self.circuit.choice(vec![1e-7, 1.0 / on], self.chance.below(2));
        self.circuit.chosen_resistor(&name, "switch", a, b, choice).unwrap();
        self.switches.push((name, choice));
    }

    fn of_catalogue(&mut self, kind: &str, nodes: &[NodeId], given: &[(&'static str, f64)]) {
        let entry = find(kind).unwrap();
        let mut values = Values::with_defaults(entry.params);
        values.0.extend(given.iter().map(|&(key, x)| (key, Value::Number(x))));
        let name = self.name("X");
        (entry.build)(&mut self.circuit, &name, nodes, &values).unwrap();
    }

    fn diode(&mut self) {
        let pins = self.two();
        let given = [
            ("saturation-current", self.chance.between(1e-18, 1e-6)),
            ("series-resistance", self.chance.between(1e-4, 1.0)),
            ("capacitance", self.chance.between(1e-15, 1e-8)),
        ];
        self.of_catalogue("diode", &pins, &given);
    }

    /// A gate that is driven through a resistance, between a node and its source.
    fn gate(&mut self, source: NodeId) -> NodeId {
        let (name, level) = (self.name("G"), self.name("D"));
        let [gate, at] = [&name, &level].map(|n| self.circuit.node(n));
        let (on, edge) = (self.chance.between(1e-6, 8e-6), self.chance.between(1e-9, 1e-7));
        let points = vec![(on, 0.0), (on + edge, 15.0), (on + 5e-6, 15.0), (on + 5e-6 + edge, 0.0)];
        let wave = self.circuit.wave(Wave::Points(points));
        self.circuit.voltage_source(&level, at, source, wave).unwrap();
        let r = self.chance.between(0.1, 100.0);
        self.circuit.resistor(&name, at, gate, r).unwrap();
        gate
    }

    fn transistor(&mut self) {
        let [drain, source] = self.two();
        let gate = self.gate(source);
        let given = [
            ("threshold", 2.0 + 3.0 * self.chance.share()),
            ("transconductance-factor", self.chance.between(1e-2, 1e2)),
            ("gate-source-capacitance", self.chance.between(1e-13, 1e-8)),
            ("gate-drain-capacitance", self.chance.between(1e-14, 1e-9)),
            ("drain-source-capacitance", self.chance.between(1e-13, 1e-8)),
        ];
        self.of_catalogue("square-law-mosfet", &[drain, gate, source], &given);
    }

    fn cascode(&mut self) {
        let [drain, source] = self.two();
        let gate = self.gate(source);
        let given = [
            ("jfet-on-resistance", self.chance.between(2e-3, 0.2)),
            ("jfet-saturation-current", self.chance.between(20.0, 1000.0)),
            ("jfet-pinch-off", -5.0 - 5.0 * self.chance.share()),
            ("mosfet-on-resistance", self.chance.between(0.5e-3, 20e-3)),
            ("mosfet-threshold", 2.0 + 2.0 * self.chance.share()),
        ];
        self.of_catalogue(CASCODE, &[drain, gate, source], &given);
    }
}

/// Kind of the cascode in the catalogue.
const CASCODE: &str = "cascode";

/// The circuit of a seed with its events, ready to be made ready.
pub fn setup(seed: u64) -> Setup<f64> {
    let mut g = Growing {
        circuit: Circuit::new(),
        nodes: vec![GROUND],
        chance: Chance(seed),
        switches: Vec::new(),
        count: 0,
    };
    for k in 0..3 + g.chance.below(20) {
        let near = g.any();
        let node = g.circuit.node(&format!("n{k}"));
        if g.chance.below(4) == 0 {
            g.inductor(node, near)
        } else {
            g.resistor(node, near)
        }
        g.nodes.push(node);
    }
    for _ in 0..1 + g.chance.below(3) {
        g.source();
    }
    let size = g.nodes.len();
    for _ in 0..g.chance.below(size) {
        g.capacitor();
    }
    for _ in 0..g.chance.below(4) {
        let [a, b] = g.two();
        if g.chance.below(2) == 0 { g.inductor(a, b) } else { g.resistor(a, b) }
    }
    for _ in 0..g.chance.below(4) {
        g.diode();
    }
    for _ in 0..g.chance.below(3) {
        g.switch();
    }
    if g.chance.below(2) == 0 {
        g.transistor();
    }
    if g.chance.below(3) == 0 {
        g.cascode();
    }
    let mut events = Vec::new();
    for (name, choice) in std::mem::take(&mut g.switches) {
        for option in [1, 0] {
            let at = g.chance.between(1e-6, END);
            let (subject, note) = (name.clone(), "is thrown".to_string());
            events.push(ScheduledEvent { at, subject, note, deed: Deed::Choose(choice, option) });
        }
    }
    let mut setup = Setup::new(g.circuit).lasting(END);
    setup.controllers.push(Box::new(Sequence::new("sequence", events).unwrap()));
    setup
}
