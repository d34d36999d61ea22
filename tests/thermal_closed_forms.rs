//! Heat networks against closed forms. The numbers were computed independently (mpmath, SciPy, exact fractions);
//! each check names its source, `from memory` where the source was not at hand.

use std::sync::Arc;

use joulestep_engine::thermal::convert::{cauer_to_foster, foster_to_cauer};
use joulestep_engine::thermal::modal::Modal;
use joulestep_engine::thermal::network::{CauerCell, FosterTerm, Network, NetworkBuilder};
use joulestep_engine::thermal::run::Thermal;

pub fn assert_close(what: &str, found: f64, expected: f64, tolerance: f64) {
    let error = (found / expected - 1.0).abs();
    assert!(error <= tolerance, "{what}: found {found}, expected {expected}, relative error {error:.2e}");
}

pub fn terms(resistances: &[f64], time_constants: &[f64]) -> Vec<FosterTerm> {
    resistances
        .iter()
        .zip(time_constants)
        .map(|(resistance, time_constant)| FosterTerm {
            resistance: *resistance,
            time_constant: *time_constant,
        })
        .collect()
}

pub fn modal(network: &Network) -> Arc<Modal<f64>> {
    Arc::new(Modal::new(network).unwrap())
}

pub fn foster(terms: &[FosterTerm], temperature: f64) -> Thermal<f64> {
    Thermal::new(modal(&Network::foster("junction", terms, temperature).unwrap()))
}

/// The chain of T10p1, T11p1 and T12p1.
fn four_terms() -> Vec<FosterTerm> {
    terms(&[0.05, 0.15, 0.3, 0.5], &[0.0002, 0.003, 0.05, 1.5])
}

fn two_terms() -> Vec<FosterTerm> {
    terms(&[0.1, 0.4], &[0.001, 0.1])
}

struct Conversion {
    terms: Vec<FosterTerm>,
    cells: &'static [(f64, f64)],
    impedance: &'static [(f64, f64)],
}

/// Foster to Cauer, worked with exact fractions (network synthesis, Cauer 1926; Guillemin; JESD51-14 annex uses
/// the same step: from memory), tolerance 1e-8.
fn conversions() -> [Conversion; 3] {
    [
        Conversion {
            terms: four_terms(),
            cells: &[
                (0.0740772674032166, 0.00326441784548422),
                (0.1674904012727, 0.0168152516396461),
                (0.294177879646007, 0.158856389553351),
                (0.464254451678076, 3.04549397732598),
            ],
            impedance: &[
                (0.0001, 0.0252237845641144),
                (0.001, 0.0984570263188602),
                (0.01, 0.252351921947),
                (0.1, 0.491645922513207),
                (1.0, 0.743291439865358),
                (10.0, 0.99936368309933),
            ],
        },
        Conversion {
            terms: two_terms(),
            cells: &[(0.108116753298681, 0.00961538461538462), (0.391883246701319, 0.245461648340436)],
            impedance: &[(0.001, 0.0671921223831885), (0.1, 0.352848223531423)],
        },
        Conversion {
            terms: terms(&[0.01, 0.02, 0.05, 0.12, 0.3], &[1e-05, 0.0002, 0.004, 0.06, 0.9]),
            cells: &[
                (0.0123663114387798, 0.000896995066527134),
                (0.0241525313289553, 0.008627052075095),
                (0.0641594066352988, 0.0643303000383012),
                (0.143680259715385, 0.411846441452742),
                (0.255641490881581, 2.99356546043441),
            ],
            impedance: &[
                (1e-05, 0.0074447926266391),
                (0.001, 0.0432417756645702),
                (0.1, 0.208883132614487),
                (1.0, 0.40124209672433),
            ],
        },
    ]
}

#[test]
fn foster_to_cauer_and_back() {
    for case in conversions() {
        let cells = foster_to_cauer(&case.terms).unwrap();
        assert_eq!(cells.len(), case.cells.len());
        for (k, (cell, (r, c))) in cells.iter().zip(case.cells).enumerate() {
            assert_close(&format!("R{}", k + 1), cell.resistance, *r, 1e-8);
            assert_close(&format!("C{}", k + 1), cell.capacitance, *c, 1e-8);
        }
        let of_terms = modal(&Network::foster("junction", &case.terms, 25.0).unwrap());
        let of_cells = modal(&Network::cauer("junction", &cells, 25.0).unwrap());
        for (t, z) in case.impedance {
            assert_close(&format!("Foster Z({t} s)"), of_terms.step_response(*t, 0, 0), *z, 1e-8);
            assert_close(&format!("Cauer Z({t} s)"), of_cells.step_response(*t, 0, 0), *z, 1e-8);
        }
        for (found, given) in cauer_to_foster(&cells).unwrap().iter().zip(&case.terms) {
            assert_close("R back", found.resistance, given.resistance, 1e-8);
            assert_close("τ back", found.time_constant, given.time_constant, 1e-8);
        }
    }
}

/// Pulse trains, exact geometric sums (derived), tolerance 1e-4; held here to 1e-12, as an exact advance must.
#[test]
fn pulse_trains() {
    struct Train {
        terms: Vec<FosterTerm>,
        /// Period s, duty, pulses, power W.
        train: (f64, f64, usize, f64),
        /// Quasi-steady maximum and minimum, and the end of the last of the pulses from cold, K.
        expected: (f64, f64, f64),
        /// The handbook rule D·R + (1 − D)·Z(T + tp) + Z(tp) − Z(T) (from memory, JESD24 era), K.
        handbook: f64,
    }
    let cases = [
        Train {
            terms: four_terms(),
            train: (0.001, 0.3, 50, 80.0),
            expected: (26.4103171136871, 22.4314617510222, 12.1337176580094),
            handbook: 26.7295608547931,
        },
        Train {
            terms: two_terms(),
            train: (0.02, 0.5, 20, 100.0),
            expected: (30.9987135204706, 19.0012864795294, 30.614100351592),
            handbook: 31.73891500936,
        },
    ];
    for case in cases {
        let (period, duty, pulses, power) = case.train;
        let (on, off) = (duty * period, (1.0 - duty) * period);
        let mut heat = foster(&case.terms, 0.0);
        for _ in 1..pulses {
            heat.advance(on, &[power]);
            heat.advance(off, &[0.0]);
        }
        heat.advance(on, &[power]);
        assert_close("end of the last pulse", heat.temperatures()[0], case.expected.2, 1e-12);
        // Quasi-steady: start near the mean and go on for thirty of the slowest time constants.
        heat.start_steady(&[duty * power]);
        let slowest = case.terms.iter().fold(0.0_f64, |t, term| t.max(term.time_constant));
        let mut highest = 0.0;
        for _ in 0..(30.0 * slowest / period) as usize {
            heat.advance(on, &[power]);
            highest = heat.temperatures()[0];
            heat.advance(off, &[0.0]);
        }
        assert_close("maximum", highest, case.expected.0, 1e-12);
        assert_close("minimum", heat.temperatures()[0], case.expected.1, 1e-12);
        let z = |t| heat.modal().step_response(t, 0, 0);
        let r = heat.modal().steady_resistance(0, 0);
        let rule = power * (duty * r + (1.0 - duty) * z(period + on) + z(on) - z(period));
        assert_close("handbook rule", rule, case.handbook, 1e-12);
    }
}

/// Ripple from P = P0·(1 − cos 2ωt), complex thermal impedance (derived), tolerance 1e-5.
#[test]
fn ripple_at_twice_line_frequency() {
    let cases = [
        (four_terms(), 60.0, 50.0, [13.6511045474209, 60.0, -0.759807932263114]),
        (two_terms(), 100.0, 400.0, [4.0586707482351, 50.0, -1.3819915404991]),
    ];
    for (terms, p0, f, [ripple, mean, phase]) in cases {
        let mut heat = foster(&terms, 0.0);
        let omega = 4.0 * std::f64::consts::PI * f;
        let (re, im) = heat.modal().impedance(omega, 0, 0);
        assert_close("ripple", 2.0 * p0 * re.hypot(im), ripple, 1e-5);
        assert_close("phase", im.atan2(re), phase, 1e-5);
        assert_close("mean", p0 * heat.modal().steady_resistance(0, 0), mean, 1e-5);
        // The same by intervals of constant power, each the mean of its interval, from the first harmonic of the
        // temperatures at their ends: second order in the interval.
        let slowest = terms.iter().fold(0.0_f64, |t, term| t.max(term.time_constant));
        let errors = [64_usize, 128, 256].map(|per_period| {
            let dt = 1.0 / (2.0 * f * per_period as f64);
            let angle = |k: usize| omega * dt * k as f64;
            let powers: Vec<f64> = (0..per_period)
                .map(|k| p0 * (1.0 - (angle(k + 1).sin() - angle(k).sin()) / (omega * dt)))
                .collect();
            heat.start_steady(&[p0]);
            for _ in 0..(25.0 * slowest * 2.0 * f) as usize {
                powers.iter().for_each(|p| heat.advance(dt, &[*p]));
            }
            let (mut cos, mut sin) = (0.0, 0.0);
            for (k, p) in powers.iter().enumerate() {
                heat.advance(dt, &[*p]);
                cos += heat.temperatures()[0] * angle(k + 1).cos();
                sin += heat.temperatures()[0] * angle(k + 1).sin();
            }
            4.0 * cos.hypot(sin) / per_period as f64 / ripple - 1.0
        });
        assert!(errors[2].abs() < 2e-4, "{errors:?}");
        assert!(errors.windows(2).all(|e| (e[0] / e[1] - 4.0).abs() < 0.1), "{errors:?}");
        // Richardson's limit of a second-order sequence, to the tolerance of the check.
        assert!(((4.0 * errors[2] - errors[1]) / 3.0).abs() < 1e-5, "{errors:?}");
    }
}

/// First law on a ladder after a pulse (derived; numbers by matrix exponential), tolerance 1e-5.
#[test]
fn heat_stored_and_drained() {
    let cells =
        [(0.002, 0.05), (0.02, 0.15), (0.5, 0.4)].map(|(c, r)| CauerCell { capacitance: c, resistance: r });
    for ambient in [0.0, 40.0] {
        let mut heat = Thermal::new(modal(&Network::cauer("die", &cells, ambient).unwrap()));
        heat.advance(0.005, &[200.0]);
        assert_close("T1 after the pulse", heat.temperatures()[0] - ambient, 33.3197880517242, 1e-5);
        heat.advance(0.015, &[0.0]);
        assert_close("T1 later", heat.temperatures()[0] - ambient, 2.02155540184593, 1e-5);
        assert_close("heat stored", heat.stored(), 0.934171191702624, 1e-5);
        assert_close("heat out", heat.heat_out()[0], 0.0658288082973726, 1e-5);
        assert_close("heat in", heat.heat_in()[0], 1.0, 1e-15);
        assert!(heat.residual().abs() < 1e-15, "{:e}", heat.residual());
        // From the temperatures of the nodes, asked for by name.
        let node = |name| heat.node_temperature(heat.modal().node(name).unwrap()) - ambient;
        let sum = 0.002 * node("die") + 0.02 * node("die.2") + 0.5 * node("die.3");
        assert_close("Σ C·T", sum, 0.934171191702624, 1e-5);
    }
}

/// A slab (thickness m, conductivity W/(m·K), density kg/m³, specific heat J/(kg·K)) of area A as n cells: half
/// of a cell's capacitance stands at each face (second order in the cell's thickness).
fn slabs(area: f64, layers: &[([f64; 4], usize)], film: f64) -> Vec<CauerCell> {
    let mut cells = Vec::new();
    let mut carried = 0.0;
    for ([d, k, rho, c], n) in layers {
        let step = d / *n as f64;
        for _ in 0..*n {
            let capacitance = rho * c * step * area;
            let resistance = step / (k * area);
            cells.push(CauerCell { capacitance: carried + 0.5 * capacitance, resistance });
            carried = 0.5 * capacitance;
        }
    }
    // The last face: its half cell behind a film (0: held at the boundary's temperature).
    if film > 0.0 {
        cells.push(CauerCell { capacitance: carried, resistance: 1.0 / (film * area) });
    }
    cells
}

/// Finite slab heated on one face (Carslaw & Jaeger sec. 3.8 and 3.11: from memory), tolerance 1e-3.
#[test]
fn ladders_converge_to_a_finite_slab() {
    // q, k, ρ, c, L, t; rise with an isothermal and with an insulated back, steady rise.
    let cases = [
        ([1e6, 390.0, 8930.0, 385.0, 0.002, 0.01], [3.06261400750613, 3.10045000048473, 5.12820512820513]),
        ([2e7, 390.0, 8930.0, 385.0, 0.0003, 0.0001], [6.16282617597022, 6.16330124525947, 15.3846153846154]),
    ];
    for ([q, k, rho, c, length, t], [isothermal, insulated, steady]) in cases {
        let layer = [length, k, rho, c];
        let errors = |n: usize| {
            let held = modal(&Network::cauer("face", &slabs(1.0, &[(layer, n)], 0.0), 0.0).unwrap());
            // Insulated: a film so weak that its heat is below the tolerance by many orders.
            let free = modal(&Network::cauer("face", &slabs(1.0, &[(layer, n)], 1e-6), 0.0).unwrap());
            assert_close("steady", q * held.steady_resistance(0, 0), steady, 1e-12);
            [
                q * held.step_response(t, 0, 0) / isothermal - 1.0,
                q * free.step_response(t, 0, 0) / insulated - 1.0,
            ]
        };
        let (coarse, fine) = (errors(20), errors(40));
        for which in 0..2 {
            assert!(fine[which].abs() < 1e-3, "{fine:?}");
            assert!((coarse[which] / fine[which] - 4.0).abs() < 0.1, "{coarse:?} {fine:?}");
        }
    }
}

/// Composite slab (Maillet et al., Thermal Quadrupoles, Wiley 2000: from memory; numbers by Laplace inversion,
/// cross-checked by finite volumes), tolerance 5e-3.
#[test]
fn a_ladder_of_layers() {
    let sic = |d, k| [d, k, 3210.0, 690.0];
    let silver = [4e-05, 180.0, 8500.0, 235.0];
    let copper = |d| [d, 390.0, 8930.0, 385.0];
    let first = [(sic(0.0002, 370.0), 80), (silver, 8), (copper(0.001), 40)];
    let z = [
        (1e-06, 0.00246352601637511),
        (1e-05, 0.00779035328682911),
        (0.0001, 0.024731560789203),
        (0.001, 0.0764065628802894),
        (0.01, 0.227101282578519),
        (0.1, 0.513687077175707),
    ];
    check_layers(1.6e-05, &first, 200000.0, &z, 0.520429082929083);
    let solder = [6e-05, 58.0, 7400.0, 220.0];
    let pad = [0.0002, 3.0, 2500.0, 1000.0];
    let aluminium = [0.005, 200.0, 2700.0, 900.0];
    let second = [(sic(0.0001, 330.0), 50), (solder, 12), (copper(0.0015), 30), (pad, 10), (aluminium, 15)];
    let z = [
        (1e-06, 0.0046374422924304),
        (1e-05, 0.0146659233027396),
        (0.0001, 0.0530760327131859),
        (0.001, 0.193539336712013),
        (0.01, 0.462680272289547),
        (0.1, 2.05259163797594),
        (1.0, 9.54502837699544),
    ];
    check_layers(9e-06, &second, 50000.0, &z, 12.9833703971635);
}

fn check_layers(area: f64, layers: &[([f64; 4], usize)], film: f64, z: &[(f64, f64)], steady: f64) {
    let network = NetworkBuilder::new()
        .boundary("coolant", 20.0)
        .ladder("die", &slabs(area, layers, film), "coolant")
        .build()
        .unwrap();
    let package = modal(&network);
    assert_close("R_th", package.steady_resistance(0, 0), steady, 1e-12);
    for (t, expected) in z {
        assert_close(&format!("Z({t} s)"), package.step_response(*t, 0, 0), *expected, 5e-3);
    }
}
