//! Periodic sources with jumps: no jump may be lost, whatever the method, the number of periods, and whether period and
//! corners have an end in binary. Energies of pieces of e-functions and of straight lines are elementary (integrated in
//! closed form below).

use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::measure::signal::Signal;
use joulestep_engine::recorder::InMemory;
use joulestep_engine::run::setup::{Piecewise, Setup, Start};
use joulestep_engine::run::time_loop::Run;
use joulestep_engine::step::bounds::Bounds;
use joulestep_engine::step::method::{ESDIRK4, TR_BDF2};
use joulestep_engine::step::schedule::Steps;
use proptest::prelude::*;

use crate::common::rig::{channel, column, near, supply, v};

/// How a circuit is stepped.
const WAYS: [&str; 3] = ["tr-bdf2", "esdirk4", "piecewise"];

fn stepped(circuit: Circuit<f64>, way: &str) -> Setup<f64> {
    let mut setup = Setup::new(circuit);
    setup.steps = Steps { base: 1e-6, finest: 5, hold_off: 2 };
    setup.piecewise = if way == "piecewise" { Piecewise::Always } else { Piecewise::Never };
    setup.method = if way == "tr-bdf2" { &TR_BDF2 } else { &ESDIRK4 };
    setup
}

fn square(volt: f64, period: f64, on: f64) -> Wave<f64> {
    Wave::Periodic { period, points: vec![(0.0, volt), (on, volt), (on, 0.0), (period, 0.0)] }
}

fn delivered(run: &Run<f64>) -> f64 {
    let ledger = run.ledger();
    ledger.entries.iter().find(|e| e.name == "source-plus").unwrap().delivered
}

/// 100 V for 5.4 µs of 20 µs on 1 Ω: 10 kW · 0.27 · 2 ms = 5.4 J.
#[test]
fn a_square_wave_heats_a_resistor_by_its_duty() {
    for way in WAYS {
        let mut c = Circuit::new();
        let (plus, _) = supply(&mut c, "plus", square(100.0, 20e-6, 5.4e-6));
        c.resistor("R", plus, GROUND, 1.0).unwrap();
        let mut run = stepped(c, way).ready().unwrap();
        run.advance(2e-3, &mut ()).unwrap();
        near(way, delivered(&run), 5.4, 1e-9);
        // 100 jumps down, 99 up; a last one up where the end's rounding lets it.
        assert!((199..=200).contains(&run.counters().jumps), "{way}: {} jumps", run.counters().jumps);
    }
}

/// The same wave on R and L: from corner to corner i = i∞ + (i₀ − i∞)·e^(−t/τ), and the source gives V·∫i dt while on.
#[test]
fn a_square_wave_on_a_winding_gives_what_its_e_functions_say() {
    let (volt, period, on) = (100.0, 20e-6, 5.4e-6);
    for (ohm, henry) in [(0.5, 2e-6), (1.0, 50e-6)] {
        let (tau, mut i, mut exact) = (henry / ohm, 0.0_f64, 0.0);
        for _ in 0..100 {
            for (level, time) in [(volt, on), (0.0, period - on)] {
                let end = level / ohm;
                let fades = -f64::exp_m1(-time / tau);
                exact += level * (end * time + (i - end) * tau * fades);
                i = end + (i - end) * (1.0 - fades);
            }
        }
        for way in WAYS {
            let mut c = Circuit::new();
            let (plus, _) = supply(&mut c, "plus", square(volt, period, on));
            let l = c.inductor("L", plus, GROUND, henry, ohm, Some(0.0)).unwrap();
            let mut setup = stepped(c, way);
            setup.start = Start::Stated;
            setup.steps.finest = 12;
            setup.bounds = Bounds::stated(1e-6, 1e-6);
            let mut run = setup.ready().unwrap();
            run.advance(2e-3, &mut ()).unwrap();
            // The methods' own errors: of order 4 and 2.
            let within = match way {
                "piecewise" => 1e-9,
                "esdirk4" => 1e-7,
                _ => 2e-5,
            };
            near(&format!("{way}, {ohm} ohm"), delivered(&run), exact, within);
            near("current", run.read(&Probe::Branch(l, 0)), i, 10.0 * within);
        }
    }
}

/// A hundred thousand periods of a length without an end in binary.
#[test]
fn no_energy_is_lost_in_a_hundred_thousand_periods() {
    let mut c = Circuit::new();
    let (plus, _) = supply(&mut c, "plus", square(100.0, 20e-6, 5.4e-6));
    c.resistor("R", plus, GROUND, 1.0).unwrap();
    let mut run = stepped(c, "piecewise").ready().unwrap();
    run.advance(2.0, &mut ()).unwrap();
    near("energy", delivered(&run), 5400.0, 1e-9);
    assert!((199_999..=200_000).contains(&run.counters().jumps));
}

/// ∫ x dt and ∫ x² dt of straight lines between points (elementary).
fn integrals(points: &[(f64, f64)]) -> [f64; 2] {
    let each = points.windows(2).map(|w| {
        let (h, a, b) = (w[1].0 - w[0].0, w[0].1, w[1].1);
        [0.5 * h * (a + b), h * (a * a + a * b + b * b) / 3.0]
    });
    each.fold([0.0; 2], |s, x| [s[0] + x[0], s[1] + x[1]])
}

/// A course of levels (`steps`) or of straight lines and jumps through some corners of a period.
fn course(corners: &[(u32, i32)], period: f64, steps: bool) -> Vec<(f64, f64)> {
    let mut at: Vec<(f64, f64)> =
        corners.iter().map(|c| (f64::from(c.0) / 1000.0 * period, f64::from(c.1))).collect();
    at.sort_by(|a, b| a.0.total_cmp(&b.0));
    if !steps {
        return at;
    }
    let mut last = at[0].1;
    let mut out = Vec::new();
    for (t, x) in at {
        out.extend([(t, last), (t, x)]);
        last = x;
    }
    out
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, failure_persistence: None, ..ProptestConfig::default() })]

    /// Mean, square and energy of random periodic courses on 2 Ω, by every way, against the exact integral over whole
    /// periods; from the ledger, from the run's integrals and from the samples.
    #[test]
    fn random_periodic_courses_have_their_exact_means(
        corners in proptest::collection::vec((0u32..=1000, -50i32..=50), 1..6),
        period in prop_oneof![Just(20e-6), Just(7e-6), Just(1e-5), 3e-6..40e-6],
        steps in any::<bool>(),
        periods in 1u32..12,
    ) {
        let points = course(&corners, period, steps);
        // Constant before the first and after the last point of a period.
        let (first, last) = (points[0].1, points[points.len() - 1].1);
        let whole: Vec<(f64, f64)> =
            [(0.0, first)].into_iter().chain(points.iter().copied()).chain([(period, last)]).collect();
        let [mean, square] = integrals(&whole).map(|x| x * f64::from(periods));
        let end = f64::from(periods) * period;
        let largest = points.iter().map(|p| p.1.abs()).fold(0.0, f64::max).max(1.0);
        for way in WAYS {
            // The square of a slope is beyond the weights of order 2.
            if way == "tr-bdf2" && !steps {
                continue;
            }
            let mut c = Circuit::new();
            let (plus, id) = supply(&mut c, "plus", Wave::Periodic { period, points: points.clone() });
            c.resistor("R", plus, GROUND, 2.0).unwrap();
            let given = Probe::Sum(vec![(-1.0, Probe::Branch(id, 0))]);
            let mut setup = stepped(c, way);
            setup.steps.base = 1e-7;
            setup.channels = vec![channel("v", v(plus)), channel("i", given.clone())];
            setup.integrals = vec![(v(plus), v(plus)), (v(plus), given)];
            let mut run = setup.ready().unwrap();
            let mut memory = InMemory::default();
            run.advance(end, &mut memory).unwrap();
            let [volts, amperes] = [0, 1].map(|k| column(&memory.samples, k));
            let s = |x| Signal::new(&memory.time, x).unwrap();
            let (volts, amperes) = (s(&volts), s(&amperes));
            for (what, found, exact, size) in [
                ("energy by the ledger", delivered(&run), 0.5 * square, largest * largest),
                ("∫v² by the run", run.integral(0), square, largest * largest),
                ("energy by the run", run.integral(1), 0.5 * square, largest * largest),
                ("∫v by samples", volts.integral(0.0, end), mean, largest),
                ("∫v² by samples", volts.product(&volts, 0.0, end), square, largest * largest),
                ("energy by samples", volts.product(&amperes, 0.0, end), 0.5 * square, largest * largest),
            ] {
                prop_assert!((found - exact).abs() <= 1e-9 * size * end, "{way}: {what} {found}, expected {exact}");
            }
            prop_assert!(memory.time.windows(2).all(|w| w[0] < w[1]), "instants rise");
        }
    }
}
