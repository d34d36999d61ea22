//! One three-dimensional case against an independent general-purpose finite-element library: scikit-fem 12.0.2 with
//! quadratic hexahedra and SciPy 1.17.1, 25 November 2026. The script built the quarter model below on its own mesh
//! (34 × 34 × 24 elements less the empty ones, graded to all edges by cosines, 116 841 unknowns), assembled
//! ∫ k ∇u·∇v + s ∫ ρc u·v + ∫ h u·v and solved for the mean temperature of the heated volume under 1 W there.

use joulestep_engine::thermal::field::body::{Body, Face, Film};
use joulestep_engine::thermal::field::mesh::Sizing;
use joulestep_engine::thermal::field::reduce::Span;
use joulestep_engine::thermal::field::study::study;
use joulestep_engine::thermal::network::Boundary;

use super::{ROOM, block, port, substance};

/// (s in 1/s, rise per watt in K/W of power growing as e^(s·t)), of the whole; s = 0 is the steady state.
/// On half as many elements along each axis: 0.933021, 0.403135, 0.109100, 0.0142805, 0.00412031.
const ELEMENTS: [(f64, f64); 5] = [
    (0.0, 0.933318559137444),
    (1.0, 0.4033821977195212),
    (1e2, 0.10921714074826916),
    (1e4, 0.01428505846162852),
    (1e5, 0.004124577044239627),
];

/// Die of silicon carbide (5 × 6 × 0.15 mm, its top 10 µm heated but for a rim of 0.3 mm) on 30 µm of attach, on
/// 10 × 10 × 0.5 mm of copper, on 30 × 30 × 5 mm of aluminium, 2000 W/(m²·K) below: a quarter of it.
fn quarter() -> Body {
    let mut body = Body::default();
    for [k, rho, c] in
        [[200.0, 2700.0, 900.0], [390.0, 8930.0, 385.0], [180.0, 8500.0, 235.0], [330.0, 3210.0, 690.0]]
    {
        body.substances.push(substance(k, rho, c));
    }
    let mm = 1e-3;
    for (k, (name, [x, y, from, to])) in [
        ("plate", [15.0, 15.0, 0.0, 5.0]),
        ("copper", [5.0, 5.0, 5.0, 5.5]),
        ("attach", [2.5, 3.0, 5.5, 5.53]),
        ("die", [2.5, 3.0, 5.53, 5.68]),
    ]
    .into_iter()
    .enumerate()
    {
        body.blocks.push(block(name, [0.0, 0.0, from * mm], [x * mm, y * mm, to * mm], k));
    }
    body.ports.push(port("die", [0.0, 0.0, 5.67 * mm], [2.2 * mm, 2.7 * mm, 5.68 * mm]));
    body.films.push(Film { block: 0, face: Face::Bottom, coefficient: 2000.0, boundary: 0 });
    body.boundaries.push(Boundary { name: "below".into(), temperature: 0.0 });
    body
}

/// Within 1 %, and within the error that the study of the mesh states, at every s.
#[test]
fn agrees_with_finite_elements() {
    // Power that grows in 10 µs has come to nine tenths within 30 µs, and to a tenth within one.
    let sizing = Sizing {
        shortest_time: 3e-7,
        growth: 0.9,
        across: 12.0,
        through: 0.5,
        division: 4,
        ..Sizing::default()
    };
    let study = study(&quarter(), &sizing, &Span::default(), ROOM).expect("it converges");
    let terms = study.finest.network.foster_terms(0, 0);
    println!("{:?}, order {:?}", study.levels, study.order);
    for (s, expected) in ELEMENTS {
        // A quarter of the body with 1 W is the whole with 4 W.
        let found = terms.iter().map(|t| t.resistance / (1.0 + s * t.time_constant)).sum::<f64>() / 4.0;
        let error = found / expected - 1.0;
        // Times that weigh in at this s.
        let times = [0.1, 0.3, 1.0, 3.0].map(|x| if s > 0.0 { x / s } else { 1e9 });
        let cells = times.iter().map(|t| study.mesh_error(*t, 0)).fold(0.0, f64::max);
        let stated = cells + study.finest.error;
        println!(
            "s = {s}: {found:.6} K/W, elements {expected:.6}: {:.2} %, stated {:.2} %",
            100.0 * error,
            100.0 * stated
        );
        assert!(error.abs() < 0.01 && error.abs() < stated, "s = {s}: {error}, stated {stated}");
    }
}
