//! A small static solver for the checks of laws: dense Newton, damped, with a ramp of the sources. It shares nothing
//! with the engine's solvers but the circuit.

use joulestep_engine::circuit::graph::{Body, Circuit, ComponentId, NodeId};
use joulestep_engine::circuit::law::stamp_len;
use nalgebra::{DMatrix, DVector};

/// A static solution.
#[derive(Clone, Debug)]
pub struct Static {
    x: DVector<f64>,
    branch_of: Vec<usize>,
}

impl Static {
    /// Voltage of a node, V.
    pub fn v(&self, node: NodeId) -> f64 {
        if node.0 == 0 { 0.0 } else { self.x[node.0 as usize - 1] }
    }
    /// Current of a component's branch, A.
    pub fn branch(&self, component: ComponentId, k: usize) -> f64 {
        self.x[self.branch_of[component.0 as usize] + k]
    }
    /// Conduction current into a device's pin, A.
    pub fn conduction(&self, circuit: &Circuit<f64>, id: ComponentId, pin: usize) -> f64 {
        let component = &circuit.components[id.0 as usize];
        let Body::Device(device) = &component.body else { panic!("`{}` is no device", component.name) };
        let p = device.locals();
        let ports = p - device.internals();
        let last = self.v(component.pins[ports]);
        let pin_voltages = component.pins[..ports].iter().map(|pin| self.v(*pin) - last);
        let u: Vec<f64> = pin_voltages.chain((0..p - ports).map(|k| self.branch(id, k))).collect();
        let mut out = vec![0.0; 2 * p];
        device.values(&u, &mut out);
        if pin < ports { out[pin] } else { -out[..ports].iter().sum::<f64>() }
    }
}

struct Equations<'a> {
    circuit: &'a Circuit<f64>,
    branch_of: Vec<usize>,
    n: usize,
}

impl Equations<'_> {
    fn assemble(&self, x: &DVector<f64>, scale: f64) -> (DVector<f64>, DMatrix<f64>) {
        let mut f = DVector::zeros(self.n);
        let mut jacobian = DMatrix::zeros(self.n, self.n);
        let nodes = self.circuit.nodes.len() - 1;
        for k in 0..nodes {
            jacobian[(k, k)] += 1e-15;
        }
        for (number, component) in self.circuit.components.iter().enumerate() {
            let pins = component.pins.len();
            let place = |k: usize| {
                if k >= pins {
                    return Some(self.branch_of[number] + k - pins);
                }
                (component.pins[k].0 as usize).checked_sub(1)
            };
            match &component.body {
                Body::Linear(linear) => {
                    let mut g = linear.g.clone();
                    if let Some(choice) = linear.choice {
                        let choice = &self.circuit.choices[choice.0 as usize];
                        let s = choice.options[choice.initial];
                        g.extend([(0, 0, s), (0, 1, -s), (1, 0, -s), (1, 1, s)]);
                    }
                    for (r, c, value) in g {
                        if let (Some(r), Some(c)) = (place(r), place(c)) {
                            f[r] += value * x[c];
                            jacobian[(r, c)] += value;
                        }
                    }
                    for &(r, wave, gain) in &linear.s {
                        if let Some(r) = place(r) {
                            f[r] += gain * scale * self.circuit.waves[wave.0 as usize].at(0.0);
                        }
                    }
                }
                Body::Device(device) => {
                    // Local unknowns: pins against the last pin, then the device's own.
                    let p = device.locals();
                    let ports = p - device.internals();
                    let last = ports;
                    let at = |k: usize| place(k).map_or(0.0, |k| x[k]);
                    let local = |k: usize| if k < ports { k } else { k + 1 };
                    let own = |k: usize| at(local(k)) - if k < ports { at(last) } else { 0.0 };
                    let u: Vec<f64> = (0..p).map(own).collect();
                    let mut out = vec![0.0; stamp_len(p)];
                    device.evaluate(&u, &mut out);
                    for r in (0..p).chain([p]) {
                        // Row p is the last pin's: minus the sum of the other pins'.
                        let Some(row) = place(if r < p { local(r) } else { last }) else { continue };
                        let (sign, from) = if r < p { (1.0, r..r + 1) } else { (-1.0, 0..ports) };
                        f[row] += from.clone().map(|k| sign * out[k]).sum::<f64>();
                        for s in 0..p {
                            let slope: f64 = from.clone().map(|k| sign * out[2 * p + k * p + s]).sum();
                            if let Some(c) = place(local(s)) {
                                jacobian[(row, c)] += slope;
                            }
                            if let Some(c) = place(last).filter(|_| s < ports) {
                                jacobian[(row, c)] -= slope;
                            }
                        }
                    }
                }
            }
        }
        (f, jacobian)
    }

    fn newton(&self, x: &mut DVector<f64>, scale: f64, limit: f64) -> bool {
        let nodes = self.circuit.nodes.len() - 1;
        let mut calm = 0;
        for _ in 0..3000 {
            let (f, jacobian) = self.assemble(x, scale);
            let Some(step) = jacobian.lu().solve(&f) else { return false };
            let largest = step.rows(0, nodes).amax();
            let damping = if largest > limit { limit / largest } else { 1.0 };
            *x -= &step * damping;
            if damping == 1.0 && largest < 1e-11 * (1.0 + x.amax()) {
                calm += 1;
                if calm == 3 {
                    return true;
                }
            }
        }
        false
    }
}

/// The static solution with every source at its value at t = 0.
pub fn solve(circuit: &Circuit<f64>) -> Static {
    let mut branch_of = Vec::new();
    let mut n = circuit.nodes.len() - 1;
    for component in &circuit.components {
        branch_of.push(n);
        n += match &component.body {
            Body::Linear(linear) => linear.branches.len(),
            Body::Device(device) => device.internals(),
        };
    }
    let equations = Equations { circuit, branch_of, n };
    for (steps, limit) in [(1, 20.0), (40, 2.0), (400, 0.3)] {
        let mut x = DVector::zeros(n);
        if (1..=steps).all(|k| equations.newton(&mut x, k as f64 / steps as f64, limit)) {
            return Static { x, branch_of: equations.branch_of };
        }
    }
    panic!("no static solution");
}
