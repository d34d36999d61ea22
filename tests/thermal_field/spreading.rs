//! Heat that spreads: rectangular sources on plates.

use joulestep_engine::thermal::field::body::{Body, Face, Film};
use joulestep_engine::thermal::field::mesh::Sizing;
use joulestep_engine::thermal::field::reduce::Span;
use joulestep_engine::thermal::field::study::study;
use joulestep_engine::thermal::network::Boundary;

use super::{ROOM, assert_close, block, port, solved, substance};

fn cooled_below(mut body: Body, coefficient: f64) -> Body {
    body.films.push(Film { block: 0, face: Face::Bottom, coefficient, boundary: 0 });
    body.boundaries.push(Boundary { name: "below".into(), temperature: 0.0 });
    body
}

/// Where only the steady state is asked for.
fn steady() -> Span {
    Span { shortest: 1.0, longest: 10.0, tolerance: 1.0 }
}

fn plates(division: usize) -> Sizing {
    Sizing { shortest_time: 1.0, growth: 0.7, across: 10.0, through: 6.0, division, limit: 150_000 }
}

/// Centred rectangular source on a rectangular channel of one or two layers, mean temperature of the source.
/// Yovanovich, Muzychka & Culham, J. Thermophys. Heat Transfer 13 (1999) 495; Muzychka, Culham & Yovanovich, J.
/// Electron. Packag. 125 (2003) 178 (from memory); tolerance 5e-3. The stated error covers the distance.
#[test]
fn centred_source_on_a_channel() {
    // Half lengths a, b of the source, c, d of the channel; layers from the top (thickness, conductivity).
    struct Case {
        half: [f64; 4],
        layers: &'static [[f64; 2]],
        h: f64,
        one_dimensional: f64,
        spreading: f64,
    }
    let cases = [
        Case {
            half: [0.0025, 0.0025, 0.0125, 0.0125],
            layers: &[[0.003, 390.0]],
            h: 2000.0,
            one_dimensional: 0.812307692307692,
            spreading: 0.224016520065119,
        },
        Case {
            half: [0.001, 0.002, 0.01, 0.015],
            layers: &[[0.001, 390.0], [0.005, 200.0]],
            h: 1500.0,
            one_dimensional: 1.15705128205128,
            spreading: 0.444342223197713,
        },
    ];
    for case in cases {
        let [a, b, c, d] = case.half;
        // A quarter, with a quarter of the heat.
        let mut body = Body::default();
        let mut z = 0.0;
        for [thick, k] in case.layers.iter().rev() {
            body.substances.push(substance(*k, 3000.0, 500.0));
            let number = body.blocks.len();
            body.blocks.push(block(&format!("layer {number}"), [0.0, 0.0, z], [c, d, z + thick], number));
            z += thick;
        }
        body.ports.push(port("source", [0.0, 0.0, z], [a, b, z]));
        let body = cooled_below(body, case.h);
        let study = study(&body, &plates(5), &steady(), ROOM).expect("it converges");
        let found = study.finest.network.steady_resistance(0, 0) / 4.0;
        let exact = case.one_dimensional + case.spreading;
        assert_close("whole", found, exact, 5e-3);
        assert_close("spreading", found - case.one_dimensional, case.spreading, 5e-3);
        let stated = study.mesh_error(1e9, 0);
        assert!((found / exact - 1.0).abs() <= stated, "stated {stated}, is {}", found / exact - 1.0);
        assert!(study.order.is_some_and(|p| p > 1.0), "{:?}", study.order);
    }
}

/// Two eccentric rectangular sources on one plate, self and mutual. Muzychka, Culham & Yovanovich 2003 (influence
/// coefficients; from memory); tolerance 5e-3, reciprocity to round-off.
#[test]
fn two_eccentric_sources() {
    let (length, width, thick) = (0.04, 0.03, 0.003);
    let mut body = Body::default();
    body.substances.push(substance(200.0, 2700.0, 900.0));
    body.blocks.push(block("plate", [0.0; 3], [length, width, thick], 0));
    for (name, [x, y, dx, dy]) in [("s1", [0.01, 0.015, 0.004, 0.004]), ("s2", [0.0275, 0.012, 0.005, 0.004])]
    {
        let low = [x - dx / 2.0, y - dy / 2.0, thick];
        body.ports.push(port(name, low, [x + dx / 2.0, y + dy / 2.0, thick]));
    }
    let body = cooled_below(body, 800.0);
    let network = solved(&body, &plates(3), &steady()).network;
    let r = |i: usize, j: usize| network.steady_resistance(i, j);
    assert_close("R11", r(0, 0), 1.81659795686757, 5e-3);
    assert_close("R22", r(1, 1), 1.71298692968931, 5e-3);
    assert_close("R12", r(0, 1), 0.896212473262072, 5e-3);
    assert_eq!(r(0, 1), r(1, 0));
}
