//! Buck and boost against Erickson & Maksimovic, Fundamentals of Power Electronics (from memory), and against exact
//! periodic states of the ideal switched circuit by matrix exponential (computed outside).

use std::collections::BTreeMap;

use joulestep_engine::circuit::graph::Circuit;
use joulestep_engine::circuit::probe::Channel;
use joulestep_engine::cycle::steady::{Effort, Steady, steady};
use joulestep_engine::recorder::InMemory;
use joulestep_engine::run::time_loop::Run;
use joulestep_models::arrangement::find;
use joulestep_models::part::Part;

pub struct Cycle {
    pub steady: Steady,
    pub run: Run<f64>,
    memory: InMemory<f64>,
}

/// An arrangement in its periodic steady state, one period recorded from there.
pub fn cycle(
    kind: &str,
    given: &[(&str, f64)],
    parts: &BTreeMap<String, Part>,
    read: &[(&str, &str)],
) -> Cycle {
    let arrangement = find(kind).expect("it is shipped");
    let values = arrangement.values(given).expect("good values");
    let mut circuit = Circuit::new();
    let mut layout = arrangement.build(&mut circuit, &values, parts).expect("it can be built");
    let period = layout.period.expect("it repeats");
    let channel = |&(name, quantity): &(&str, &str)| Channel {
        name: format!("{name}.{quantity}"),
        long_name: String::new(),
        probe: layout.quantity(name, quantity).expect("a quantity"),
    };
    let channels = read.iter().map(channel).collect();
    let mut setup = layout.setup(circuit).expect("logic");
    setup.channels = channels;
    // Extremes are read off samples: fine ones.
    setup.steps.base = setup.steps.base.min(period / 1000.0);
    setup.steps.finest = 5;
    let mut run = setup.ready().expect("a start");
    let steady = steady(&mut run, period, Effort::default(), &mut ()).expect("a steady state");
    run.new_account();
    let mut memory = InMemory::default();
    let end = run.state().t + period;
    run.advance(end, &mut memory).expect("a period");
    Cycle { steady, run, memory }
}

impl Cycle {
    pub fn column(&self, k: usize) -> Vec<(f64, f64)> {
        self.memory.time.iter().zip(&self.memory.samples).map(|(&t, s)| (t, s[k])).collect()
    }
    pub fn mean(&self, k: usize) -> f64 {
        let c = self.column(k);
        area(&c) / (c[c.len() - 1].0 - c[0].0)
    }
    fn rms(&self, k: usize) -> f64 {
        let c = self.column(k);
        (squares(&c) / (c[c.len() - 1].0 - c[0].0)).sqrt()
    }
    fn extremes(&self, k: usize) -> (f64, f64) {
        let c = self.column(k);
        c.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), &(_, y)| (a.min(y), b.max(y)))
    }
}

const IDEAL: [(&str, f64); 5] = [
    ("loop-inductance", 0.0),
    ("loop-resistance", 0.0),
    ("dead-time", 0.0),
    ("switch-resistance", 1e-6),
    ("choke-resistance", 0.0),
];

/// Diodes that stand for ideal ones: 0.2 V at 10 A.
fn diode() -> Part {
    let text = "kind = \"diode\"\n[params]\nsaturation-current = \"1 uA\"\nideality = 0.51\n";
    joulestep::input::parts::load("diode.toml", &|_| Ok(text.to_string())).expect("a part").part
}

pub fn near(found: f64, expected: f64, relative: f64, what: &str) {
    assert!((found / expected - 1.0).abs() <= relative, "{what}: {found}, expected {expected}");
}

/// Exact periodic state of the ideal switched LC (matrix exponential); means from V = D·V_in.
#[test]
fn buck_in_continuous_conduction() {
    let cases = [
        ([400.0, 0.5, 2e-4, 2e-5, 20.0, 5e4], [4.98955788158624, 15.0104421184138, 1.25323061594017, 200.0]),
        (
            [800.0, 0.35, 1.2e-4, 1e-5, 16.0, 1e5],
            [9.90471854617501, 25.0953926789225, 1.89980205641962, 280.0],
        ),
    ];
    for ([vin, d, l, c, r, f], [i_min, i_max, v_pp, v]) in cases {
        let given = [
            &IDEAL[..],
            &[
                ("supply-voltage", vin),
                ("duty", d),
                ("choke", l),
                ("capacitance", c),
                ("load-resistance", r),
                ("frequency", f),
            ],
        ]
        .concat();
        let found = cycle("synchronous-buck", &given, &BTreeMap::new(), &BUCK);
        assert!(found.steady.closing < 1e-5 && found.steady.periods <= 8, "{:?}", found.steady);
        assert!(found.run.ledger().relative() < 1e-4, "{}", found.run.ledger().relative());
        let (low, high) = found.extremes(0);
        near(low, i_min, 1e-4, "smallest current");
        near(high, i_max, 1e-4, "largest current");
        let (low, high) = found.extremes(1);
        near(high - low, v_pp, 1e-4, "ripple");
        near(found.mean(1), v, 1e-4, "output");
        // The upper switch's current is a trapezoid, but for the bend that the output's ripple gives it: rms
        // √(D(a² + ab + b²)/3), mean D(a + b)/2 (Erickson & Maksimovic, appendix A).
        near(found.rms(2), (d * (i_min * i_min + i_min * i_max + i_max * i_max) / 3.0).sqrt(), 1e-3, "rms");
        near(found.mean(2), d * (i_min + i_max) / 2.0, 1e-3, "mean of the switch");
    }
}

const BUCK: [(&str, &str); 3] = [("choke", "current"), ("load", "voltage"), ("upper", "current")];

/// The shapes alone (Erickson & Maksimovic, appendix A; from memory).
#[test]
fn rms_and_mean_of_a_trapezoid() {
    for [a, b, d, rms, mean] in
        [[8.0, 12.0, 0.4, 6.36657940603377, 4.0], [0.0, 30.0, 0.5, 12.2474487139159, 7.5]]
    {
        let points = [(0.0, a), (d, b), (d, 0.0), (1.0, 0.0)];
        near(squares(&points).sqrt(), rms, 1e-9, "rms");
        near(area(&points), mean, 1e-9, "mean");
    }
}

/// ∫ y dt and ∫ y² dt of straight lines between points.
fn area(points: &[(f64, f64)]) -> f64 {
    points.windows(2).map(|w| 0.5 * (w[1].0 - w[0].0) * (w[0].1 + w[1].1)).sum()
}
fn squares(points: &[(f64, f64)]) -> f64 {
    let piece = |a: f64, b: f64| (a * a + a * b + b * b) / 3.0;
    points.windows(2).map(|w| (w[1].0 - w[0].0) * piece(w[0].1, w[1].1)).sum()
}

/// The boost, derived from the same circuit: V = V_in/(1 − D), Δi = V_in·D/(L·f), and the input carries the output's
/// power.
#[test]
fn boost_in_continuous_conduction() {
    let (vin, d, l, r, f) = (200.0, 0.6, 3e-4, 50.0, 50e3);
    let more = [
        ("supply-voltage", vin),
        ("duty", d),
        ("choke", l),
        // Large, as the formulas want it.
        ("capacitance", 1e-3),
        ("load-resistance", r),
        ("frequency", f),
    ];
    let given = [&IDEAL[..], &more].concat();
    let found =
        cycle("synchronous-boost", &given, &BTreeMap::new(), &[("choke", "current"), ("load", "voltage")]);
    near(found.mean(1), vin / (1.0 - d), 1e-4, "output");
    near(found.mean(0), vin / (1.0 - d) / r / (1.0 - d), 1e-3, "mean current of the choke");
    let (low, high) = found.extremes(0);
    near(high - low, vin * d / (l * f), 1e-4, "ripple");
    assert!(found.steady.closing < 1e-5, "{:?}", found.steady);
}

/// M = 2/(1 + √(1 + 4K/D²)), K = 2L/(RT) in discontinuous conduction (Erickson & Maksimovic, ch. 5; from memory).
#[test]
fn buck_in_discontinuous_conduction() {
    let cases = [
        ([24.0, 0.3, 5e-6, 50.0, 100e3], [20.2159012611179, 2.27045924332927]),
        ([48.0, 0.45, 1e-6, 20.0, 250e3], [43.2, 8.64]),
    ];
    for ([vin, d, l, r, f], [v, peak]) in cases {
        let more = [
            ("supply-voltage", vin),
            ("duty", d),
            ("choke", l),
            ("capacitance", 1e-4),
            // Damps the choke against the switches' capacitances when its current ends.
            ("snubber-capacitance", 20e-12),
            ("snubber-resistance", 300.0),
            ("load-resistance", r),
            ("frequency", f),
        ];
        let given = [&IDEAL[..], &more].concat();
        let parts = BTreeMap::from([("lower".to_string(), diode())]);
        let found = cycle("synchronous-buck", &given, &parts, &[("choke", "current"), ("load", "voltage")]);
        near(found.mean(1), v, 2e-3, "output");
        // The peak is the small difference of two voltages: what the diode's drop moves, it moves more.
        let (_, high) = found.extremes(0);
        near(high, peak, 1e-2, "peak current");
        // The current rests for the rest of the period, but for the ringing that the snubber damps.
        let idle: f64 = found
            .column(0)
            .windows(2)
            .filter(|w| w[0].1.abs() < 0.05 * peak)
            .map(|w| (w[1].0 - w[0].0) * f)
            .sum();
        assert!(idle > 0.4, "not discontinuous: at rest for {idle} of the period");
    }
}

/// Boost: M = (1 + √(1 + 4D²/K))/2, K = 2L/(RT) (Erickson & Maksimovic, ch. 5; from memory), peak current V_in·D·T/L;
/// with an ideal diode, by pieces.
#[test]
fn boost_in_discontinuous_conduction() {
    for [vin, d, l, r, f] in [[24.0, 0.4, 4e-6, 100.0, 100e3], [48.0, 0.6, 2e-6, 150.0, 200e3]] {
        let k = 2.0 * l * f / r;
        let m = (1.0 + f64::sqrt(1.0 + 4.0 * d * d / k)) / 2.0;
        assert!(k < d * (1.0 - d) * (1.0 - d), "not discontinuous");
        let more = [
            ("supply-voltage", vin),
            ("duty", d),
            ("choke", l),
            ("capacitance", 1e-4),
            ("load-resistance", r),
            ("frequency", f),
        ];
        let text =
            "kind = \"ideal-diode\"\n[params]\non-resistance = \"10 uohm\"\noff-resistance = \"1 Gohm\"\n";
        let part =
            joulestep::input::parts::load("diode.toml", &|_| Ok(text.to_string())).expect("a part").part;
        let parts = BTreeMap::from([("upper".to_string(), part)]);
        let given = [&IDEAL[..], &more].concat();
        let found = cycle("synchronous-boost", &given, &parts, &[("choke", "current"), ("load", "voltage")]);
        near(found.mean(1), m * vin, 1e-3, "output");
        near(found.extremes(0).1, vin * d / (l * f), 1e-4, "peak current");
        let ledger = found.run.ledger().relative();
        assert!(ledger < 1e-7 && found.steady.closing < 1e-5, "{ledger} {:?}", found.steady);
    }
}
