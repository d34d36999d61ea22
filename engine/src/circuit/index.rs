//! Where the equations ask for the derivative of a source's course: a capacitor across a voltage source, an inductor in
//! series with a current source, and whatever loops and cutsets come to the same.
//!
//! The equations then have index 2: the current of such a source, or the voltage across it, is C·dv/dt or L·di/dt of a
//! given course. (Loops of capacitances and voltage sources, cutsets of inductances and current sources: Estévez Schwarz
//! & Tischendorf, Int. J. Circ. Theor. Appl. 28 (2000) 131.) A source that never changes asks for nothing, and
//! inductances in series share their voltage by constant coefficients: these count for no harm.

use super::topology::{Groups, ends, join_pins, node_of, present};
use crate::arithmetic::lane::Lane;
use crate::circuit::graph::{Body, Circuit, Component, Linear};
use crate::circuit::law::{Device, Joins};
use crate::circuit::wave::Wave;

/// Voltages at which laws are asked whether they have charges, V.
const PROBES: [f64; 3] = [-3.0, 0.25, 7.0];

/// The first component whose course, or whose control, is to be derived in time.
#[inline(never)]
pub fn of_index_two<L: Lane>(circuit: &Circuit<L>) -> Option<&str> {
    across_charge(circuit).or_else(|| beside_flux(circuit))
}

/// A voltage source that closes a loop with capacitances (and others).
fn across_charge<L: Lane>(circuit: &Circuit<L>) -> Option<&str> {
    let mut groups = Groups::new(circuit.nodes.len());
    let mut changing = Vec::new();
    for component in &circuit.components {
        match &component.body {
            Body::Device(device) => join_charges(component, device.as_ref(), &mut groups),
            Body::Linear(linear) => {
                let pins = component.pins.len();
                let charged = |p: &usize| linear.c.iter().any(|e| e.0 == *p && e.1 < pins && present(e.2));
                join_pins(component, (0..pins).filter(charged), &mut groups);
                for b in (0..linear.branches.len()).filter(|&b| fixes_voltage(linear, pins + b)) {
                    let ends = ends(linear, pins, b);
                    let controlled =
                        linear.g.iter().any(|e| e.0 == pins + b && !ends.contains(&e.1) && present(e.2));
                    if controlled || moves(circuit, linear, pins + b) {
                        changing.push((component, ends));
                    } else {
                        join_pins(component, ends.into_iter(), &mut groups);
                    }
                }
            }
        }
    }
    changing.into_iter().find_map(|(component, ends)| {
        let nodes: Vec<usize> = ends.iter().map(|&p| node_of(component, p)).collect();
        let closes = nodes.windows(2).any(|pair| !groups.join(pair[0], pair[1]));
        closes.then_some(component.name.as_str())
    })
}

/// A current source between parts of the circuit that only inductances and current sources connect.
fn beside_flux<L: Lane>(circuit: &Circuit<L>) -> Option<&str> {
    let mut groups = Groups::new(circuit.nodes.len());
    for component in &circuit.components {
        match &component.body {
            Body::Device(device) => {
                join_charges(component, device.as_ref(), &mut groups);
                match device.joins() {
                    Joins::All => join_pins(component, 0..component.pins.len(), &mut groups),
                    Joins::Groups(lists) => {
                        lists.iter().for_each(|list| join_pins(component, list.iter().copied(), &mut groups));
                    }
                }
            }
            Body::Linear(linear) => {
                let pins = component.pins.len();
                let held = |p: &usize| {
                    let own = |e: &(usize, usize, L)| e.0 == *p && e.1 == *p && present(e.2);
                    linear.c.iter().any(own) || linear.g.iter().any(own)
                };
                join_pins(component, (0..pins).filter(held), &mut groups);
                if linear.choice.is_some() {
                    join_pins(component, 0..2, &mut groups);
                }
                let changes = |row: usize| linear.c.iter().any(|e| e.0 == row && present(e.2));
                for b in (0..linear.branches.len()).filter(|&b| !changes(pins + b)) {
                    join_pins(component, ends(linear, pins, b).into_iter(), &mut groups);
                }
            }
        }
    }
    circuit.components.iter().find_map(|component| {
        let Body::Linear(linear) = &component.body else { return None };
        let pins = component.pins.len();
        // By a course, or by a voltage or current elsewhere.
        let driven = |p: &usize| {
            let own = linear.g.iter().any(|e| e.0 == *p && e.1 == *p && present(e.2));
            let elsewhere = |e: &(usize, usize, L)| e.1 < pins || !ends(linear, pins, e.1 - pins).contains(p);
            let controlled = linear.g.iter().any(|e| e.0 == *p && present(e.2) && elsewhere(e));
            moves(circuit, linear, *p) || !own && controlled
        };
        let mut roots = (0..pins).filter(driven).map(|p| groups.root(node_of(component, p)));
        let first = roots.next()?;
        roots.any(|other| other != first).then_some(component.name.as_str())
    })
}

/// Whether a row's source term changes in time.
fn moves<L: Lane>(circuit: &Circuit<L>, linear: &Linear<L>, row: usize) -> bool {
    let constant = |wave: usize| matches!(circuit.waves[wave], Wave::Constant(_));
    linear.s.iter().any(|&(r, wave, gain)| r == row && present(gain) && !constant(wave.0 as usize))
}

/// Whether a branch says nothing about its own current.
fn fixes_voltage<L: Lane>(linear: &Linear<L>, row: usize) -> bool {
    let own = |e: &(usize, usize, L)| e.0 == row && e.1 == row && present(e.2);
    !linear.g.iter().any(own) && !linear.c.iter().any(|e| e.0 == row && present(e.2))
}

/// Joins pins between which a device has charge.
fn join_charges<L: Lane>(component: &Component<L>, device: &dyn Device<L>, groups: &mut Groups) {
    let (p, ports) = (device.locals(), device.locals() - device.internals());
    let mut stamp = vec![L::splat(0.0); crate::circuit::law::stamp_len(p)];
    let mut charged = vec![false; ports + 1];
    for volt in PROBES {
        let u: Vec<L> = (0..p).map(|k| L::splat(volt * (1.0 + 0.1 * k as f64))).collect();
        device.evaluate(&u, &mut stamp);
        for k in 0..ports {
            for j in 0..ports {
                let slope = stamp[2 * p + p * p + k * p + j].abs();
                if L::any(slope.gt(L::splat(0.0))) {
                    charged[k] = true;
                    charged[j] = true;
                    charged[ports] = true;
                }
            }
        }
    }
    join_pins(component, (0..=ports).filter(|&k| charged[k]), groups);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::graph::{GROUND, WaveId};

    fn sine(c: &mut Circuit<f64>) -> WaveId {
        c.wave(Wave::Sine { offset: 0.0, amplitude: 1.0, frequency: 1.0, phase: 0.0, delay: 0.0 })
    }

    #[test]
    fn a_capacitor_across_a_source() {
        for (constant, resistance, expected) in
            [(false, false, Some("V")), (true, false, None), (false, true, None)]
        {
            let mut c = Circuit::new();
            let [a, b] = ["a", "b"].map(|n| c.node(n));
            let wave = if constant { c.wave(Wave::Constant(1.0)) } else { sine(&mut c) };
            c.voltage_source("V", a, GROUND, wave).unwrap();
            if resistance {
                c.resistor("R", a, b, 1.0).unwrap();
            }
            let top = if resistance { b } else { a };
            // Two in series close the loop as one does.
            let middle = c.node("middle");
            c.capacitor("C1", top, middle, 1.0, None).unwrap();
            c.capacitor("C2", middle, GROUND, 1.0, None).unwrap();
            assert_eq!(of_index_two(&c), expected, "{constant} {resistance}");
        }
    }

    #[test]
    fn an_inductor_in_series_with_a_source() {
        for (constant, beside, expected) in
            [(false, false, Some("I")), (true, false, None), (false, true, None)]
        {
            let mut c = Circuit::new();
            let [a, b] = ["a", "b"].map(|n| c.node(n));
            let wave = if constant { c.wave(Wave::Constant(1.0)) } else { sine(&mut c) };
            c.current_source("I", GROUND, a, wave).unwrap();
            c.inductor("L", a, b, 1.0, 0.5, None).unwrap();
            c.resistor("R", b, GROUND, 1.0).unwrap();
            if beside {
                c.resistor("beside", a, GROUND, 1.0).unwrap();
            }
            assert_eq!(of_index_two(&c), expected, "{constant} {beside}");
        }
    }

    #[test]
    fn inductors_in_series_and_sources_in_parallel_are_no_harm() {
        let mut c = Circuit::new();
        let [a, b] = ["a", "b"].map(|n| c.node(n));
        let wave = sine(&mut c);
        c.voltage_source("V", a, GROUND, wave).unwrap();
        c.inductor("L1", a, b, 1.0, 0.5, None).unwrap();
        c.inductor("L2", b, GROUND, 1.0, 0.5, None).unwrap();
        c.current_source("I", GROUND, a, wave).unwrap();
        assert_eq!(of_index_two(&c), None);
    }
}
