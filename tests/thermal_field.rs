//! The field solver against closed forms. Numbers were computed independently (mpmath, SciPy); each check names the
//! source of its formula, `from memory` where the source was not at hand.

mod compact;
mod finite_elements;
mod slabs;
mod spreading;
mod surge;

use joulestep_engine::thermal::field::body::{Block, Body, Face, Film, Port, Substance};
use joulestep_engine::thermal::field::mesh::{Mesh, Sizing};
use joulestep_engine::thermal::field::property::Law;
use joulestep_engine::thermal::field::reduce::{Reduced, Span, reduce};
use joulestep_engine::thermal::field::system::System;
use joulestep_engine::thermal::network::Boundary;

/// Room temperature, K: nothing here depends on temperature unless a check says so.
const ROOM: f64 = 300.0;

fn assert_close(what: &str, found: f64, expected: f64, tolerance: f64) {
    let error = (found / expected - 1.0).abs();
    assert!(error <= tolerance, "{what}: found {found}, expected {expected}, relative error {error:.2e}");
}

fn substance(k: f64, rho: f64, c: f64) -> Substance {
    let law = || Law::Constant(k);
    Substance { conductivity: [law(), law(), law()], heat_capacity: Law::Constant(rho * c) }
}

fn block(name: &str, low: [f64; 3], high: [f64; 3], substance: usize) -> Block {
    Block { name: name.into(), low, high, substance, contact: 0.0 }
}

fn port(name: &str, low: [f64; 3], high: [f64; 3]) -> Port {
    Port { name: name.into(), low, high, heated: true }
}

/// A layer of a slab: thickness, conductivity, density, specific heat capacity.
type Layer = [f64; 4];

/// Layers from the top, on a square of this area, heat on the whole top face; a film below at 0 °C.
fn slab(layers: &[Layer], area: f64, coefficient: f64) -> Body {
    let w = area.sqrt();
    let mut body = Body::default();
    let mut z = 0.0;
    for (k, [d, conductivity, rho, c]) in layers.iter().enumerate().rev() {
        body.substances.push(substance(*conductivity, *rho, *c));
        let number = body.substances.len() - 1;
        body.blocks.push(block(&format!("layer {k}"), [0.0, 0.0, z], [w, w, z + d], number));
        z += d;
    }
    body.films.push(Film { block: 0, face: Face::Bottom, coefficient, boundary: 0 });
    body.boundaries.push(Boundary { name: "below".into(), temperature: 0.0 });
    body.ports.push(port("top", [0.0, 0.0, z], [w, w, z]));
    body
}

/// One column of cells: a slab needs no more.
fn column(shortest_time: f64, division: usize) -> Sizing {
    Sizing { shortest_time, growth: 0.3, across: 0.1, through: 1.0, division, limit: 200_000 }
}

fn solved(body: &Body, sizing: &Sizing, span: &Span) -> Reduced {
    reduce(&system(body, sizing), span).expect("it converges")
}

fn system(body: &Body, sizing: &Sizing) -> System {
    let mesh = Mesh::new(body, sizing, ROOM).expect("a mesh");
    System::new(body, &mesh, ROOM).expect("a body that is right")
}
