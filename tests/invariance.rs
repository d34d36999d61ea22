//! What must not change, whatever the numbering, the neighbours in other lanes, or an interruption.

mod conserved;
mod lanes;
mod restored;

use joulestep_engine::circuit::graph::{Body, Circuit, Component, GROUND, NodeId};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::recorder::InMemory;
use joulestep_engine::run::setup::Setup;

use crate::common::laws::Knee;
use crate::common::ref1::{Duty, Ref1, ref1};
use crate::common::rig::{channel, column, fixed, tight, v};

/// The same circuit with nodes and components in another order (the k-th of n goes to place k·stride mod n).
fn renumbered(c: &Circuit<f64>, stride: usize) -> (Circuit<f64>, Vec<NodeId>) {
    let places = |n: usize| -> Vec<usize> { (0..n).map(|k| (k * stride) % n).collect() };
    let inner = c.nodes.len() - 1;
    let mut out = Circuit::new();
    let mut order = vec![0; inner];
    places(inner).into_iter().enumerate().for_each(|(k, place)| order[place] = k);
    let mut node = vec![GROUND; c.nodes.len()];
    for k in order {
        node[k + 1] = out.node(&c.nodes[k + 1]);
    }
    out.waves = c.waves.clone();
    out.choices = c.choices.clone();
    let mut order = vec![0; c.components.len()];
    places(c.components.len()).into_iter().enumerate().for_each(|(k, place)| order[place] = k);
    for k in order {
        let part = &c.components[k];
        let body = match &part.body {
            Body::Linear(l) => Body::Linear(l.clone()),
            Body::Device(d) => Body::Device(d.boxed()),
        };
        let pins = part.pins.iter().map(|p| node[p.0 as usize]).collect();
        out.add(Component {
            name: part.name.clone(),
            kind: part.kind,
            pins,
            body,
            heat: part.heat,
            stated: part.stated,
        })
        .unwrap();
    }
    (out, node)
}

/// Another numbering, another elimination order, other roundings: the same waveforms within 1e-9 of the bus voltage,
/// through both pulses.
#[test]
fn numbering_does_not_matter() {
    let solve = |circuit: Circuit<f64>, nodes: &[NodeId]| {
        let mut setup = Setup::new(circuit);
        setup.steps = fixed(1e-9);
        setup.tolerance = Some(tight());
        setup.channels = nodes.iter().map(|n| channel("v", v(*n))).collect();
        let mut memory = InMemory::default();
        setup.ready().unwrap().advance(5.2e-6, &mut memory).unwrap();
        memory
    };
    let Ref1 { circuit, nodes, .. } = ref1::<f64>(Duty::DoublePulse).unwrap();
    // 9 nodes and 11 components: strides without a common divisor.
    let strides = [2, 5, 7];
    let (inner, parts) = (circuit.nodes.len() - 1, circuit.components.len());
    let others: Vec<_> = strides.iter().map(|&s| renumbered(&circuit, s)).collect();
    let gcd = |mut a: usize, mut b: usize| {
        while b > 0 {
            (a, b) = (b, a % b);
        }
        a
    };
    assert!(strides.iter().all(|&s| gcd(s, inner) == 1 && gcd(s, parts) == 1), "{inner} {parts}");
    let first = solve(circuit, &nodes);
    for (other, places) in others {
        let mapped: Vec<NodeId> = nodes.iter().map(|n| places[n.0 as usize]).collect();
        let second = solve(other, &mapped);
        assert_eq!(first.time, second.time);
        let pairs = first.samples.iter().flatten().zip(second.samples.iter().flatten());
        let worst = pairs.map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        println!("renumbered: {worst:e} V");
        assert!(worst < 400.0 * 1e-9, "{worst:e}");
    }
}

/// Two equal branches between the same nodes carry equal currents at all times.
#[test]
fn symmetric_circuits_stay_symmetric() {
    let mut r = ref1::<f64>(Duty::DoublePulse).unwrap();
    let mut coils = Vec::new();
    for k in 0..2 {
        // Switch node to ground: an inductor and a clamp of 300 V behind it, twice.
        let inner = r.circuit.node(&format!("twin{k}"));
        coils.push(r.circuit.inductor(&format!("Lt{k}"), r.nodes[1], inner, 5e-9, 0.1, None).unwrap());
        let knee = Knee { at: 300.0, g_on: 0.5, g_off: 1e-6 };
        r.circuit.law(&format!("T{k}"), "clamp", &[inner, GROUND], knee, 300.0).unwrap();
    }
    let mut setup = Setup::new(r.circuit);
    setup.channels = coils.iter().map(|l| channel("i", Probe::Branch(*l, 0))).collect();
    let mut memory = InMemory::default();
    setup.ready().unwrap().advance(r.end, &mut memory).unwrap();
    let (a, b) = (column(&memory.samples, 0), column(&memory.samples, 1));
    let largest = a.iter().fold(0.0f64, |m, x| m.max(x.abs()));
    let apart = a.iter().zip(&b).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
    println!("largest {largest:.2} A, apart {apart:.1e} A in {} samples", a.len());
    assert!(largest > 10.0 && apart < 1e-9 * largest, "{largest} {apart:e}");
}
