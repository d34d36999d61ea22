//! What one device costs: its values alone, with derivatives, and entered into the equations.

use std::hint::black_box;

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::circuit::graph::{Body, Circuit, NodeId};
use joulestep_engine::circuit::law::{Device, StampLocation, stamp_len};
use joulestep_engine::circuit::lockstep::DeviceLanes;
use wide::{f64x4, f64x8};

use crate::CALLS;
use crate::ROUNDS;
use crate::catalogued::{part, put};
use crate::nanoseconds;
use crate::ref1::{Duty, ref1};

/// Shipped parts with the production laws, and how many pins each has.
const PARTS: [(&str, usize); 3] =
    [("cascode-700v-7m", 3), ("diode-sic-700v-50a", 2), ("varistor-400v-rail", 2)];

/// Times of one device, ns for all lanes together.
#[derive(Clone, Copy)]
struct Times {
    values: f64,
    evaluate: f64,
    stamp: f64,
}

/// Prints the table.
pub fn print() {
    println!(
        "\ndevices, ns for all lanes together: values / with derivatives / entered; price of the derivatives"
    );
    println!(
        "{:<30}{:>4}{:>25}{:>25}{:>25}{:>20}",
        "device", "P", "1 lane", "4 lanes", "8 lanes", "price 1, 4, 8"
    );
    let rows = [measured::<f64>(), measured::<f64x4>(), measured::<f64x8>()];
    for (k, (name, locals, _)) in rows[0].iter().enumerate() {
        let times = [0, 1, 2].map(|lanes| rows[lanes][k].2);
        let cell = |t: Times| format!("{:.1} / {:.1} / {:.1}", t.values, t.evaluate, t.stamp);
        let price = times.map(|t| format!("{:.1}", t.evaluate / t.values)).join(", ");
        let [one, four, eight] = times.map(cell);
        println!("{name:<30}{locals:>4}{one:>25}{four:>25}{eight:>25}{price:>20}");
    }
}

/// Name, number of local unknowns and times of every device.
fn measured<L: DeviceLanes>() -> Vec<(String, usize, Times)> {
    let mut circuits = Vec::new();
    match ref1::<L>(Duty::DoublePulse) {
        Ok(r) => circuits.push(("REF-1", r.circuit)),
        Err(e) => println!("REF-1: {e}"),
    }
    for (name, pins) in PARTS {
        let mut circuit = Circuit::<f64>::new();
        let nodes: Vec<NodeId> = ["a", "b", "c"][..pins].iter().map(|n| circuit.node(n)).collect();
        let (kind, params) = part(name);
        put(&mut circuit, &kind, "X", &nodes, &params);
        match Circuit::lockstep::<L>(&vec![&circuit; L::WIDTH]) {
            Some(circuit) => circuits.push((name, circuit)),
            None => println!("{name}: not in {} lanes", L::WIDTH),
        }
    }
    let mut rows = Vec::new();
    for (from, circuit) in circuits {
        for component in &circuit.components {
            if let Body::Device(device) = &component.body {
                rows.push((format!("{from} {}", component.name), device.locals(), times(device.as_ref())));
            }
        }
    }
    rows
}

/// Half a volt in the first pin and more in the next: no law is at a corner there. (All laws compute both sides of
/// every choice, so the point matters little.)
fn times<L: Lane>(device: &dyn Device<L>) -> Times {
    let p = device.locals();
    let x: Vec<L> = (0..=p).map(|k| L::splat(if k == p { 0.0 } else { 0.5 + 0.3 * k as f64 })).collect();
    let locals: Vec<u32> = (0..p as u32).collect();
    let slots: Vec<u32> = (0..((p + 1) * (p + 1)) as u32).collect();
    let zero = L::splat(0.0);
    let (mut stamp, mut a, mut b) = (vec![zero; stamp_len(p)], vec![zero; slots.len()], vec![zero; p + 1]);
    let calls = CALLS / L::WIDTH;
    let infinite = f64::INFINITY;
    let mut best = Times { values: infinite, evaluate: infinite, stamp: infinite };
    for _ in 0..ROUNDS {
        best.values = best.values.min(nanoseconds(calls, || device.values(black_box(&x[..p]), &mut stamp)));
        best.evaluate =
            best.evaluate.min(nanoseconds(calls, || device.evaluate(black_box(&x[..p]), &mut stamp)));
        let location = StampLocation { locals: &locals, reference: p as u32, slots: &slots };
        let alpha = L::splat(1e9);
        best.stamp = best.stamp.min(nanoseconds(calls, || {
            device.stamp(&location, alpha, black_box(&x), &mut stamp, &mut a, &mut b);
        }));
    }
    best
}
