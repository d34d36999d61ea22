//! Properties that every heat network must have.

mod errors;

use std::sync::Arc;

use nalgebra::{DMatrix, DVector};
use proptest::prelude::*;

use super::convert::{cauer_to_foster, foster_to_cauer};
use super::error::ThermalError;
use super::modal::{Modal, approach};
use super::network::{Boundary, CauerCell, FosterMatrixTerm, FosterTerm, Network, NetworkBuilder};
use super::run::Thermal;

/// A random tree of nodes with extra links, two boundaries, three heat inputs; some nodes without capacitance.
#[derive(Debug, Clone)]
struct Plan {
    /// Exponents of the capacitance (None: 0), parent, exponent of the resistance to it.
    nodes: Vec<(Option<f64>, usize, f64)>,
    extra: Vec<(usize, usize, f64)>,
    inputs: [usize; 3],
}

fn plan() -> impl Strategy<Value = Plan> {
    let node =
        (prop_oneof![1 => Just(None), 4 => (-5.0..3.0_f64).prop_map(Some)], 0..100_usize, -2.0..1.0_f64);
    let extra = (0..100_usize, 0..100_usize, -2.0..1.0_f64);
    (
        prop::collection::vec(node, 1..10),
        prop::collection::vec(extra, 0..6),
        prop::array::uniform3(0..100_usize),
    )
        .prop_map(|(nodes, extra, inputs)| Plan { nodes, extra, inputs })
}

impl Plan {
    fn name(&self, k: usize) -> String {
        if k < 2 { format!("sink{k}") } else { format!("n{}", k - 2) }
    }

    /// All values times those of `scale`, node by node.
    fn network(&self, scale: impl Fn(usize) -> f64) -> Network {
        let mut b = NetworkBuilder::new().boundary("sink0", 25.0).boundary("sink1", 60.0);
        for (k, (c, parent, r)) in self.nodes.iter().enumerate() {
            let name = self.name(k + 2);
            b = b.node(&name, c.map_or(0.0, |c| 10f64.powf(c) * scale(k)));
            b = b.resistance(&name, &self.name(parent % (k + 2)), 10f64.powf(*r) * scale(k + 1));
        }
        let places = self.nodes.len() + 2;
        for (k, (from, to, r)) in self.extra.iter().enumerate() {
            let (from, to) = (from % places, to % places);
            if from != to {
                b = b.resistance(&self.name(from), &self.name(to), 10f64.powf(*r) * scale(k + 3));
            }
        }
        for (k, node) in self.inputs.iter().enumerate() {
            b = b.input(&format!("die{k}"), &self.name(2 + node % self.nodes.len()));
        }
        b.build().unwrap()
    }

    /// Conductances and right-hand side of the steady state, straight from the parts.
    fn steady_by_elimination(&self, power: &[f64]) -> Vec<f64> {
        let n = self.nodes.len();
        let mut g = DMatrix::zeros(n, n);
        let mut rhs = DVector::zeros(n);
        let sinks = [25.0, 60.0];
        let mut link = |a: usize, b: usize, r: f64| {
            for (a, b) in [(a, b), (b, a)] {
                if a >= 2 {
                    g[(a - 2, a - 2)] += 1.0 / r;
                    if b >= 2 { g[(a - 2, b - 2)] -= 1.0 / r } else { rhs[a - 2] += sinks[b] / r }
                }
            }
        };
        for (k, (_, parent, r)) in self.nodes.iter().enumerate() {
            link(k + 2, parent % (k + 2), 10f64.powf(*r));
        }
        for (from, to, r) in &self.extra {
            let (from, to) = (from % (n + 2), to % (n + 2));
            if from != to {
                link(from, to, 10f64.powf(*r));
            }
        }
        for (input, p) in self.inputs.iter().zip(power) {
            rhs[input % n] += p;
        }
        g.lu().solve(&rhs).unwrap().iter().copied().collect()
    }
}

fn run(network: &Network) -> Thermal<f64> {
    Thermal::new(Arc::new(Modal::new(network).unwrap()))
}

fn close(a: f64, b: f64, tolerance: f64) -> bool {
    (a - b).abs() <= tolerance * a.abs().max(b.abs()).max(1.0)
}

const POWER: [f64; 3] = [12.0, 70.0, -3.0];

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Against nalgebra's LU of the nodal equations.
    #[test]
    fn steady_state_is_that_of_the_nodal_equations(plan in plan()) {
        let mut heat = run(&plan.network(|_| 1.0));
        heat.start_steady(&POWER);
        for (k, t) in plan.steady_by_elimination(&POWER).iter().enumerate() {
            prop_assert!(close(heat.node_temperature(k), *t, 1e-12), "{k}: {} {t}", heat.node_temperature(k));
        }
    }

    #[test]
    fn impedance_is_reciprocal_rising_and_passive(plan in plan()) {
        let modal = Modal::<f64>::new(&plan.network(|_| 1.0)).unwrap();
        let times: Vec<f64> = (-14..10).map(|k| 10f64.powf(0.5 * f64::from(k))).collect();
        for i in 0..3 {
            for j in 0..3 {
                let z: Vec<f64> = times.iter().map(|t| modal.step_response(*t, i, j)).collect();
                let end = modal.steady_resistance(i, j);
                let room = 1e-12 * modal.steady_resistance(i, i).max(modal.steady_resistance(j, j));
                prop_assert!(z.windows(2).all(|w| w[0] <= w[1] + room) && z[0] >= -room);
                prop_assert!(z[z.len() - 1] <= end + room);
                for t in &times {
                    let (there, back) = (modal.step_response(*t, i, j), modal.step_response(*t, j, i));
                    prop_assert!((there - back).abs() <= room);
                }
            }
        }
        // Passive: the real part of the impedance matrix has no eigenvalue below zero at any frequency.
        for omega in times.iter().map(|t| 1.0 / t) {
            let re = DMatrix::from_fn(3, 3, |i, j| modal.impedance(omega, i, j).0);
            let least = nalgebra::SymmetricEigen::new(re.clone()).eigenvalues.min();
            prop_assert!(least >= -1e-12 * re.amax(), "{least}");
        }
    }

    #[test]
    fn intervals_join_and_heat_balances(plan in plan(), a in -7.0..4.0_f64, b in -7.0..4.0_f64) {
        let (a, b) = (10f64.powf(a), 10f64.powf(b));
        let mut once = run(&plan.network(|_| 1.0));
        once.advance(1e-3, &[200.0, 0.0, 5.0]);
        let mut twice = once.clone();
        once.advance(a + b, &POWER);
        twice.advance(a, &POWER);
        twice.advance(b, &POWER);
        for (x, y) in once.temperatures().iter().zip(twice.temperatures()) {
            prop_assert!(close(*x, *y, 1e-13), "{x} {y}");
        }
        for (x, y) in once.heat_out().iter().zip(twice.heat_out()) {
            let size: f64 = once.heat_in().iter().chain(once.heat_out()).map(|q| q.abs()).sum();
            prop_assert!((x - y).abs() <= 1e-13 * size, "{x} {y}");
        }
        let size: f64 = twice.heat_in().iter().chain(twice.heat_out()).map(|q| q.abs()).sum();
        prop_assert!(twice.residual().abs() <= 1e-14 * (size + twice.stored().abs()), "{} of {size}", twice.residual());
        // What is stored, from the temperatures of the nodes (in °C: a rise is known to the round-off of 60 °C).
        let c = |k: usize| plan.nodes[k].0.map_or(0.0, |c| 10f64.powf(c));
        let stored: f64 = (0..plan.nodes.len()).map(|k| c(k) * (twice.node_temperature(k) - 25.0)).sum();
        let size: f64 = (0..plan.nodes.len()).map(|k| c(k) * (twice.node_temperature(k).abs() + 60.0)).sum();
        prop_assert!((stored - twice.stored()).abs() <= 1e-13 * size, "{stored} {}", twice.stored());
    }

    /// Foster to Cauer and back, time constants over twelve decades.
    #[test]
    fn foster_comes_back_from_cauer(
        logs in prop::collection::btree_set(-24..24_i32, 1..9),
        r in prop::collection::vec(-2.0..1.0_f64, 9),
    ) {
        let terms: Vec<FosterTerm> = logs
            .iter()
            .zip(&r)
            .map(|(l, r)| FosterTerm { resistance: 10f64.powf(*r), time_constant: 10f64.powf(0.25 * f64::from(*l)) })
            .collect();
        let cells = foster_to_cauer(&terms).unwrap();
        let total: f64 = terms.iter().map(|t| t.resistance).sum();
        prop_assert!(close(cells.iter().map(|c| c.resistance).sum::<f64>() / total, 1.0, 1e-13));
        let back = cauer_to_foster(&cells).unwrap();
        prop_assert_eq!(back.len(), terms.len());
        for (a, b) in terms.iter().zip(&back) {
            prop_assert!((a.time_constant / b.time_constant - 1.0).abs() < 1e-12, "{terms:?} {back:?}");
            prop_assert!((a.resistance - b.resistance).abs() < 1e-12 * a.resistance, "{terms:?} {back:?}");
        }
    }

    /// Random passive matrices: sums of rank-one terms.
    #[test]
    fn foster_matrices_balance_and_settle(
        columns in prop::collection::vec(prop::array::uniform3(0.01..1.0_f64), 2..6),
        dt in -5.0..3.0_f64,
    ) {
        let terms: Vec<FosterMatrixTerm> = columns
            .iter()
            .enumerate()
            .map(|(k, c)| FosterMatrixTerm {
                time_constant: if k == 0 { 0.0 } else { 1e-4 * 8f64.powi(k as i32) },
                resistances: (0..9).map(|e| c[e / 3] * c[e % 3] + if e % 4 == 0 { 0.1 } else { 0.0 }).collect(),
            })
            .collect();
        let network = foster(terms.clone()).unwrap();
        let mut heat = run(&network);
        let steady: Vec<f64> = (0..9).map(|e| terms.iter().map(|t| t.resistances[e]).sum()).collect();
        for (a, b) in heat.modal().steady_resistances().iter().zip(&steady) {
            prop_assert!(close(*a, *b, 1e-12));
        }
        for _ in 0..3 {
            heat.advance(10f64.powf(dt), &POWER);
        }
        let size = heat.heat_in().iter().map(|q| q.abs()).sum::<f64>();
        prop_assert!(heat.residual().abs() < 1e-12 * size);
        let power = heat.start_holding(&[90.0, 80.0, 85.0]).unwrap();
        prop_assert!(heat.temperatures().iter().zip([90.0, 80.0, 85.0]).all(|(a, b)| close(*a, b, 1e-12)));
        heat.advance(50.0, &power);
        prop_assert!(heat.temperatures().iter().zip([90.0, 80.0, 85.0]).all(|(a, b)| close(*a, b, 1e-11)));
    }
}

fn foster(terms: Vec<FosterMatrixTerm>) -> Result<Network, ThermalError> {
    let boundary = Boundary { name: "case".into(), temperature: 40.0 };
    Network::foster_matrix(&["a", "b", "c"], terms, boundary)
}

/// The platform's `exp_m1` is not ours.
#[test]
fn approach_keeps_its_digits() {
    for k in -120..12 {
        let x = 10f64.powf(0.1 * f64::from(k));
        assert!((approach(x) / -f64::exp_m1(-x) - 1.0).abs() < 1e-15, "{x}");
    }
    assert_eq!((approach(0.0), approach(1e300)), (0.0, 1.0));
}

#[test]
fn a_uniform_network_stays_exactly_there() {
    let cells =
        [CauerCell { capacitance: 1e-3, resistance: 0.1 }, CauerCell { capacitance: 50.0, resistance: 2.0 }];
    let mut heat = run(&Network::cauer("die", &cells, 37.3).unwrap());
    heat.advance(1e-6, &[0.0]);
    heat.advance(100.0, &[0.0]);
    assert_eq!(heat.temperatures(), [37.3]);
    assert_eq!(heat.heat_out(), [0.0]);
    assert_eq!(heat.residual(), 0.0);
}

#[test]
fn a_million_intervals_lose_no_heat() {
    let cells = [(1e-3, 0.1), (0.02, 0.2), (3.0, 1.0)]
        .map(|(capacitance, resistance)| CauerCell { capacitance, resistance });
    let network = Network::cauer("die", &cells, 25.0).unwrap();
    let (mut many, mut one) = (run(&network), run(&network));
    for _ in 0..1_000_000 {
        many.advance(1e-6, &[17.0]);
    }
    one.advance(1.0, &[17.0]);
    assert!(many.residual().abs() < 1e-14 * many.heat_in()[0], "{:e}", many.residual());
    assert!(close(many.temperatures()[0], one.temperatures()[0], 1e-13));
    assert!((many.heat_out()[0] / one.heat_out()[0] - 1.0).abs() < 1e-12);
}

#[test]
fn a_state_is_saved_and_restored_to_the_bit() {
    let terms = [FosterTerm { resistance: 0.4, time_constant: 0.1 }, FosterTerm::from_capacitance(0.1, 0.01)];
    let mut heat = run(&Network::foster("die", &terms, 25.0).unwrap());
    heat.advance(0.01, &[50.0]);
    let saved = heat.state().clone();
    heat.advance(0.02, &[10.0]);
    let (t, out) = (heat.temperatures()[0], heat.heat_out()[0]);
    heat.advance(5.0, &[99.0]);
    heat.restore(&saved);
    heat.advance(0.02, &[10.0]);
    assert_eq!(
        (heat.temperatures()[0].to_bits(), heat.heat_out()[0].to_bits()),
        (t.to_bits(), out.to_bits())
    );
}

#[test]
fn stated_starts() {
    let cells =
        [CauerCell { capacitance: 0.01, resistance: 0.1 }, CauerCell { capacitance: 0.5, resistance: 0.3 }];
    let network = NetworkBuilder::new()
        .boundary("ambient", 20.0)
        .node("joint", 0.0)
        .resistance("joint", "ambient", 1.0)
        .ladder("die", &cells, "joint")
        .build()
        .unwrap();
    let mut heat = run(&network);
    heat.start_nodes(&[-99.0, 80.0, 60.0]).unwrap();
    let at = |heat: &Thermal<f64>, name| heat.node_temperature(heat.modal().node(name).unwrap());
    assert!(close(at(&heat, "die"), 80.0, 1e-14) && close(at(&heat, "die.2"), 60.0, 1e-14));
    // Between 60 °C over 0.3 K/W and 20 °C over 1 K/W.
    assert!(close(at(&heat, "joint"), (60.0 / 0.3 + 20.0) / (1.0 / 0.3 + 1.0), 1e-14));
    assert!(close(heat.stored(), 0.01 * 60.0 + 0.5 * 40.0, 1e-14));
    heat.start_uniform(90.0).unwrap();
    assert!(close(at(&heat, "die"), 90.0, 1e-14) && close(heat.stored(), 0.51 * 70.0, 1e-14));
    assert_eq!(heat.residual(), 0.0);
    // A warmer boundary gives heat to the network: heat out is negative, and the account closes.
    heat.start_uniform(20.0).unwrap();
    heat.set_boundary(0, 50.0);
    heat.advance(1e4, &[0.0]);
    assert!(close(at(&heat, "die"), 50.0, 1e-13) && close(heat.heat_out()[0], -0.51 * 30.0, 1e-13));
}
