//! The reduction against the full solution, and what it must keep.

use std::sync::Arc;

use joulestep_engine::thermal::field::body::{Body, Face, Film};
use joulestep_engine::thermal::field::iterate::Conjugate;
use joulestep_engine::thermal::field::mesh::{Mesh, Sizing};
use joulestep_engine::thermal::field::reduce::{Reduced, Span, reduce, reduce_for_others, reduce_near};
use joulestep_engine::thermal::field::surge::Surge;
use joulestep_engine::thermal::field::system::System;
use joulestep_engine::thermal::modal::Modal;
use joulestep_engine::thermal::network::Boundary;
use joulestep_engine::thermal::run::Thermal;
use nalgebra::{DMatrix, DVector, SymmetricEigen};

use super::{ROOM, assert_close, block, port, substance, system};

/// Two dies on copper on aluminium, cooled below and, at another temperature, on the bare top of the plate.
fn two_dies() -> Body {
    let mut body = Body::default();
    body.substances.push(substance(200.0, 2700.0, 900.0));
    body.substances.push(substance(390.0, 8930.0, 385.0));
    body.substances.push(substance(330.0, 3210.0, 690.0));
    let mm = 1e-3;
    let box_of = |x: f64, y: f64, z: f64, l: f64, w: f64, d: f64| {
        (
            [(x - l / 2.0) * mm, (y - w / 2.0) * mm, z * mm],
            [(x + l / 2.0) * mm, (y + w / 2.0) * mm, (z + d) * mm],
        )
    };
    for (name, (low, high), s) in [
        ("plate", box_of(0.0, 0.0, 0.0, 30.0, 20.0, 3.0), 0),
        ("slug", box_of(0.0, 0.0, 3.0, 12.0, 8.0, 0.5), 1),
        ("left", box_of(-2.5, 0.0, 3.5, 4.0, 4.0, 0.15), 2),
        ("right", box_of(3.0, 1.0, 3.5, 2.0, 3.0, 0.2), 2),
    ] {
        body.blocks.push(block(name, low, high, s));
    }
    for (name, (low, high)) in
        [("left", box_of(-2.5, 0.0, 3.64, 3.6, 3.6, 0.01)), ("right", box_of(3.0, 1.0, 3.69, 1.8, 2.8, 0.01))]
    {
        body.ports.push(port(name, low, high));
    }
    body.films.push(Film { block: 0, face: Face::Bottom, coefficient: 3000.0, boundary: 0 });
    body.films.push(Film { block: 0, face: Face::Top, coefficient: 20.0, boundary: 1 });
    body.boundaries.push(Boundary { name: "sink".into(), temperature: 50.0 });
    body.boundaries.push(Boundary { name: "air".into(), temperature: 50.0 });
    body
}

const COARSE: Sizing =
    Sizing { shortest_time: 1e-6, growth: 1.6, across: 8.0, through: 0.25, division: 1, limit: 200_000 };

fn coarse() -> System {
    system(&two_dies(), &COARSE)
}

/// Few enough cells for dense matrices.
fn few() -> System {
    system(&two_dies(), &Sizing { growth: 20.0, across: 1.0, through: 0.1, ..COARSE })
}

/// K + shift·C as a general library's dense matrix.
fn dense(system: &System, shift: f64) -> DMatrix<f64> {
    let mut matrix = DMatrix::zeros(system.cells(), system.cells());
    for (value, (i, j)) in system.matrix(shift).iter() {
        matrix[(i as usize, j as usize)] = *value;
    }
    matrix
}

fn reduced(system: &System) -> Reduced {
    reduce(system, &Span::default()).unwrap()
}

/// The compact network against all modes of all cells, over nine decades: within its stated error. The modes are those
/// of C^(−½)·K·C^(−½) by a general library's dense eigenvalues, exact for these cells at every time.
#[test]
fn the_stated_error_covers_the_full_solution() {
    let system = few();
    let reduced = reduced(&system);
    let cells = system.cells();
    assert!(reduced.error < 1e-3 && 4 * reduced.network.time_constants().len() < cells, "{reduced:?}");
    let conductance = dense(&system, 0.0);
    let root = (dense(&system, 1.0) - &conductance).diagonal().map(f64::sqrt);
    let scaled = DMatrix::from_fn(cells, cells, |i, j| conductance[(i, j)] / (root[i] * root[j]));
    let modes = SymmetricEigen::new(scaled);
    let shares: Vec<DVector<f64>> = (0..2)
        .map(|port| {
            let share = |cell: usize| system.shares().get(port, cell).copied().unwrap_or(0.0) / root[cell];
            modes.eigenvectors.tr_mul(&DVector::from_fn(cells, |cell, _| share(cell)))
        })
        .collect();
    let full = |t: f64, at: usize, from: usize| -> f64 {
        let term = |k: usize| {
            let rate = modes.eigenvalues[k];
            shares[at][k] * shares[from][k] * -(-rate * t).exp_m1() / rate
        };
        (0..cells).map(term).sum()
    };
    let mut worst = 0.0_f64;
    for t in (0..=180).map(|k| 1e-6 * 10f64.powf(f64::from(k) / 20.0)) {
        for (at, from) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
            let apart = full(t, at, from) - reduced.network.step_response(t, at, from);
            worst = worst.max(apart.abs() / full(t, from, from));
        }
    }
    println!(
        "{cells} cells, {} modes, stated {:.1e}, against all modes {worst:.1e}",
        reduced.network.time_constants().len(),
        reduced.error
    );
    assert!(worst < reduced.error, "{worst} {}", reduced.error);
}

/// Passive and monotone whatever is asked: positive time constants, positive own terms, rising own impedances, equal
/// mutual ones; also from a coarse reduction.
#[test]
fn compact_networks_are_passive_and_monotone() {
    let system = coarse();
    for tolerance in [1e-3, 1.0] {
        let network = reduce(&system, &Span { tolerance, ..Span::default() }).unwrap().network;
        assert!(network.time_constants().iter().all(|tau| *tau > 0.0));
        for die in 0..2 {
            assert!(network.foster_terms(die, die).iter().all(|t| t.resistance > 0.0));
            let mut last = 0.0;
            for k in 0..400 {
                let z = network.step_response(1e-8 * 10f64.powf(k as f64 / 30.0), die, die);
                assert!(z >= last, "falls at {k}");
                last = z;
            }
        }
        for t in [1e-5, 1e-2, 10.0] {
            assert_eq!(network.step_response(t, 0, 1), network.step_response(t, 1, 0));
        }
    }
}

/// Conjugate gradients against a general library's dense Cholesky factor, at shifts from the steady state to the
/// fastest.
#[test]
fn iteration_and_dense_factor_agree() {
    let system = few();
    let b: Vec<f64> = (0..system.cells()).map(|k| 1.0 + (k % 7) as f64).collect();
    for shift in [0.0, 1.0, 1e3, 1e6] {
        let factor = dense(&system, shift).cholesky().expect("positive definite");
        let direct = factor.solve(&DVector::from_column_slice(&b));
        let mut iterated = vec![0.0; b.len()];
        let count = Conjugate::new(&system, shift).solve(&system, &b, &mut iterated, 1e-12).unwrap();
        let apart = direct.iter().zip(&iterated).map(|(x, y)| (x / y - 1.0).abs()).fold(0.0, f64::max);
        assert!(apart < 1e-8 && count < 100, "shift {shift}: {apart} after {count}");
    }
}

/// Bodies of pieces with nothing between: each by itself, until a bridge joins them.
#[test]
fn pieces_apart_do_not_feel_one_another() {
    let mut body = Body::default();
    body.substances.push(substance(200.0, 2700.0, 900.0));
    for (k, x) in [0.0, 0.03].into_iter().enumerate() {
        body.blocks.push(block(["one", "other"][k], [x, 0.0, 0.0], [x + 0.02, 0.02, 0.004], 0));
        body.films.push(Film { block: k, face: Face::Bottom, coefficient: 500.0, boundary: 0 });
        body.ports.push(port(["a", "b"][k], [x, 0.0, 0.003], [x + 0.01, 0.01, 0.004]));
    }
    body.boundaries.push(Boundary { name: "sink".into(), temperature: 50.0 });
    body.blocks.push(block("bridge", [0.02, 0.0, 0.0], [0.03, 0.02, 0.004], 0));
    let sizing = Sizing { division: 1, ..Sizing::default() };
    for bridged in [true, false] {
        if !bridged {
            body.blocks.truncate(2);
        }
        let network = reduced(&system(&body, &sizing)).network;
        assert_eq!(network.steady_resistance(0, 1) > 1e-6 * network.steady_resistance(0, 0), bridged);
    }
}

/// First law (stored + given off = put in): of the compact network to round-off, with heat divided
/// among two boundaries; of the full solution too, whose stored heat the compact one reproduces.
#[test]
fn heat_is_accounted_for() {
    let system = coarse();
    let network = reduced(&system).network;
    let mut heat = Thermal::new(Arc::new(Modal::<f64>::of_compact(&network)));
    let body = two_dies();
    let mesh = Mesh::new(&body, &COARSE, ROOM).unwrap();
    let mut field = Surge::new(&body, &mesh, 50.0).unwrap();
    let dt = 1e-3;
    for step in 0..200 {
        let power = if step < 100 { [80.0, 20.0] } else { [0.0, 5.0] };
        field.advance(dt, &power).unwrap();
        heat.advance(dt, &power);
    }
    let given: f64 = heat.heat_in().iter().sum();
    assert_close("given", given, 100.0 * 100.0 * dt + 100.0 * 5.0 * dt, 1e-12);
    assert!(heat.residual().abs() < 1e-10 * given, "{}", heat.residual());
    assert_close("stored", heat.stored(), field.stored(50.0), 2e-3);
    assert_close("die", heat.temperatures()[0] - 50.0, field.temperature(0) - 50.0, 2e-3);
    // Of steady heat the small film on top gets little; both get all.
    heat.start_steady(&[50.0, 0.0]);
    heat.advance(10.0, &[50.0, 0.0]);
    let [below, above] = [heat.heat_out()[0], heat.heat_out()[1]];
    assert_close("both", below + above, 500.0, 1e-9);
    assert!(above > 0.0 && above < 0.02 * below, "{above} {below}");
}

/// A boundary's temperature passes through to the dies: from one uniform temperature to another, and a flow from the
/// warmer boundary to the colder.
#[test]
fn boundaries_move_the_dies() {
    let network = reduced(&coarse()).network;
    let mut heat = Thermal::new(Arc::new(Modal::<f64>::of_compact(&network)));
    assert_eq!(heat.temperatures(), [50.0, 50.0]);
    heat.set_boundary(0, 80.0);
    heat.set_boundary(1, 80.0);
    heat.advance(1e-6, &[0.0, 0.0]);
    assert!((heat.temperatures()[0] - 50.0).abs() < 0.05, "{}", heat.temperatures()[0]);
    heat.advance(1e4, &[0.0, 0.0]);
    assert!((heat.temperatures()[0] - 80.0).abs() < 1e-6 && (heat.temperatures()[1] - 80.0).abs() < 1e-6);
    heat.set_boundary(1, 20.0);
    heat.start_steady(&[0.0, 0.0]);
    heat.advance(1.0, &[0.0, 0.0]);
    assert!(heat.heat_out()[1] > 0.0 && heat.heat_out()[0] < 0.0);
    assert!((heat.heat_out()[0] + heat.heat_out()[1]).abs() < 1e-9);
}

/// Networks beside one another do not feel one another, and the account of both is that of each.
#[test]
fn networks_side_by_side() {
    let one = Modal::<f64>::of_compact(&reduced(&coarse()).network);
    let two = Modal::<f64>::of_compact(&reduced(&coarse()).network.at(&[20.0, 20.0]));
    let mut alone = Thermal::new(Arc::new(two.clone()));
    let mut both = Thermal::new(Arc::new(one.beside(&two)));
    assert_eq!(both.temperatures().len(), 4);
    both.advance(0.5, &[0.0, 0.0, 30.0, 10.0]);
    alone.advance(0.5, &[30.0, 10.0]);
    assert_eq!(&both.temperatures()[..2], &[50.0, 50.0]);
    for k in 0..2 {
        assert!((both.temperatures()[2 + k] - alone.temperatures()[k]).abs() < 1e-9);
    }
    assert!(both.residual().abs() < 1e-9);
    let flows = |heat: &Thermal<f64>, b: usize| heat.heat_out()[b];
    assert!(flows(&both, 0) == 0.0 && (flows(&both, 2) - flows(&alone, 0)).abs() < 1e-9);
}

/// A reduction that begins with what another body left: of other films and materials its network is that of a reduction
/// of its own, within the errors that both state, for a fraction of the work; the same body needs nothing new.
#[test]
fn a_reduction_begins_with_what_one_near_by_left() {
    let span = Span::default();
    let (own, near) = reduce_for_others(&coarse(), &span).unwrap();
    assert_eq!(own, reduced(&coarse()));
    let of = |film: f64, plate: f64, slug: f64| {
        let mut body = two_dies();
        body.films[0].coefficient *= film;
        body.substances[0] = substance(200.0 * plate, 2700.0, 900.0);
        body.substances[1] = substance(390.0, 8930.0, 385.0 * slug);
        system(&body, &COARSE)
    };
    for [film, plate, slug] in [[1.0, 1.0, 1.0], [0.5, 1.0, 1.0], [2.0, 0.8, 1.0], [1.1, 1.2, 1.3]] {
        let changed = of(film, plate, slug);
        let (there, alone) = (reduce_near(&changed, &span, &near).unwrap(), reduced(&changed));
        println!(
            "{film} {plate} {slug}: {} of {} iterations, {} of {} solutions, error {:.1e} ({:.1e})",
            there.iterations, alone.iterations, there.solutions, alone.solutions, there.error, alone.error
        );
        assert!(there.error <= 1.02 * span.tolerance);
        assert!(3 * there.solutions <= 2 * alone.solutions && 2 * there.iterations <= alone.iterations);
        let stated = there.error + alone.error;
        for k in 0..=90 {
            let t = 1e-6 * 10f64.powf(f64::from(k) / 10.0);
            for (at, from) in [(0, 0), (1, 1), (0, 1), (1, 0)] {
                let z = |of: &Reduced, at, from| of.network.step_response(t, at, from);
                let off = z(&there, at, from) - z(&alone, at, from);
                assert!(off.abs() <= stated * z(&alone, from, from), "{t} s, {at} {from}: {off:.1e}");
            }
        }
        for (at, from) in [(0, 0), (1, 1), (0, 1)] {
            let z = |of: &Reduced| of.network.steady_resistance(at, from);
            assert_close("steady", z(&there), z(&alone), 1e-7);
        }
    }
    // Of other cells: as if nothing had been left.
    assert_eq!(reduce_near(&few(), &span, &near).unwrap(), reduced(&few()));
}
