//! Heat coupled within an error bound: whole runs against runs coupled as finely as steps allow, and against closed
//! forms.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use joulestep::input::scenario::build::build;
use joulestep::input::scenario::resolve::read;
use joulestep_engine::circuit::graph::{Circuit, GROUND, HeatId};
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::run::coupling::{Cause, CouplingError};
use joulestep_engine::run::setup::Setup;
use joulestep_engine::run::time_loop::Run;
use joulestep_engine::step::schedule::Steps;
use joulestep_engine::thermal::modal::Modal;
use joulestep_engine::thermal::network::{Boundary, FosterMatrixTerm, FosterTerm, Network, NetworkBuilder};
use joulestep_engine::thermal::run::Thermal;
use joulestep_models::devices::resistor::WarmResistor;
use joulestep_models::model::STATED_AT;

/// A run of a scenario to its end, and its hottest JFET, °C.
fn hottest(path: &Path, text: &str, coupling: Option<(f64, f64)>) -> (Run<f64>, f64) {
    let open = |p: &Path| if p == path { Ok(text.to_string()) } else { std::fs::read_to_string(p) };
    let scenario = read(path, &open).expect("the scenario is right");
    let mut ready = build(&scenario).expect("it can be built");
    if let Some((error, longest)) = coupling {
        (ready.setup.heat_error, ready.setup.coupling) = (error, longest);
    }
    let mut run = ready.setup.ready().expect("it starts");
    run.advance(scenario.steps.end, &mut ()).expect("it runs");
    run.finish(&mut ());
    let watches = run.watcher().watches().iter().zip(run.watcher().seen());
    let found = watches.into_iter().find(|(w, _)| w.name == "breaker.jfet.temperature");
    let peak = found.expect("the temperature is watched").1.largest;
    (run, peak)
}

fn data(name: &str) -> (PathBuf, String) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/heat_coupling").join(name);
    let text = std::fs::read_to_string(&path).expect("the file is there");
    (path, text)
}

fn kelvin(run: &Run<f64>, input: usize, lane: usize) -> f64 {
    match run.coupling_error(input, lane) {
        Some(CouplingError::Kelvin(k)) => k,
        other => panic!("no estimate: {other:?}"),
    }
}

/// The default against a run whose laws follow the network within 20 mK, and every 20 ns at least.
fn against_fine(what: &str, path: &Path, text: &str) -> Run<f64> {
    let (run, found) = hottest(path, text, None);
    let (fine, truth) = hottest(path, text, Some((0.02, 20e-9)));
    let input = run.thermal().unwrap().modal().inputs().iter().position(|i| i.ends_with("jfet")).unwrap();
    let (c, f, error) = (run.counters(), fine.counters(), kelvin(&run, input, 0));
    println!("{what}: {found:.2} °C ± {error:.2} K, fine {truth:.2} °C\n  {c:?}\n  {f:?}");
    assert!((found - truth).abs() < 1.0, "{what}: {found} °C for {truth} °C");
    assert!(error < 3.0 && (found - truth).abs() < error.max(0.5), "{what}: {error} K");
    let heat = run.thermal().unwrap();
    assert!(heat.residual().abs() < 1e-9 && run.ledger().relative() < 1e-4);
    run
}

/// The case of the ferry breaker: with an interval of 10 µs its JFET showed 137 °C.
#[test]
fn the_ferry_breaker_trips_at_700_a() {
    let (path, text) = data("ferry.toml");
    let run = against_fine("ferry", &path, &text);
    assert!(run.counters().couplings <= 2000, "{:?}", run.counters());
}

/// The trip with the times in <> scaled.
fn scaled(text: &str, scale: f64) -> String {
    let pieces = text.split(['<', '>']).enumerate().map(|(k, piece)| match k % 2 {
        0 => piece.to_string(),
        _ => format!("{:.6}", scale * piece.parse::<f64>().expect("a number")),
    });
    pieces.collect()
}

/// A trip, one ten times slower and one ten times faster: 68.5 °C, 68.6 °C and 92.9 °C with an interval of 10 µs.
#[test]
fn trips_at_other_speeds() {
    let (path, text) = data("trip.toml");
    for (scale, finest) in [(10.0, "1 ns"), (1.0, "1 ns"), (0.1, "0.125 ns")] {
        let scaled = scaled(&text, scale).replace("1 ns", finest);
        let run = against_fine(&format!("trip, {scale}"), &path, &scaled);
        assert!(run.counters().couplings <= 2000, "{:?}", run.counters());
    }
    // The fastest warms by 3 K in a nanosecond: where all steps are as long, the run says that they are too long.
    let (run, _) = hottest(&path, &scaled(&text, 0.1).replace("1.024 us", "1 ns"), None);
    assert_eq!(run.coupling_error(0, 0), Some(CouplingError::NotBounded(Cause::StepsTooLong)));
}

/// A current through R0·(1 + a·ΔT) on one R, C.
fn heater(current: f64, longest: f64) -> Setup<f64> {
    let (r0, a, rth, cth) = (0.008, 0.006, 1.2, 0.5);
    let mut c = Circuit::new();
    let node = c.node("a");
    let wave = c.wave(Wave::Constant(current));
    c.current_source("I", GROUND, node, wave).unwrap();
    let law = WarmResistor { resistance: r0, coefficient: a };
    let r = c.law("R", "resistor", &[node, GROUND], law, STATED_AT).unwrap();
    c.heats(r, HeatId(0));
    let network = Network::foster("R", &[FosterTerm::from_capacitance(rth, cth)], 25.0).unwrap();
    let mut setup = Setup::new(c);
    setup.steps = Steps { base: 1e-3, finest: 8, hold_off: 2 };
    setup.coupling = longest;
    setup.thermal = Some(Thermal::new(Arc::new(Modal::new(&network).unwrap())));
    setup
}

/// Rise after 0.6 s of a constant current through that heater: C·dθ/dt = I²R0·(1 + aθ) − θ/R, a linear equation, so
/// θ = I²R0/k·(1 − e^(−k·t/C)) with k = 1/R − a·I²R0 (derived; elementary).
fn rise(current: f64) -> f64 {
    let power = current * current * 0.008;
    let k = 1.0 / 1.2 - 0.006 * power;
    -power / k * (-k * 0.6 / 0.5).exp_m1()
}

/// Single runs: the temperature within the estimate and the bound, also where it runs away (160 A: 1/k is negative),
/// and whatever the bound is.
#[test]
fn a_heater_against_its_closed_form() {
    for (current, bound) in [(60.0, 1.0), (120.0, 1.0), (160.0, 1.0), (160.0, 8.0), (160.0, 0.1)] {
        let mut setup = heater(current, f64::INFINITY);
        setup.heat_error = bound;
        let mut run = setup.ready().unwrap();
        run.advance(0.6, &mut ()).unwrap();
        run.finish(&mut ());
        let (found, expected, error) = (run.celsius()[0] - 25.0, rise(current), kelvin(&run, 0, 0));
        let c = run.counters();
        println!(
            "{current} A within {bound} K: {found:.4} K ± {error:.4}, expected {expected:.4}, {} couplings, {} steps",
            c.couplings, c.steps
        );
        assert!((found - expected).abs() <= error.min(bound), "{found} {expected} {error}");
        // An estimate, no excuse: a tenth of the bound for what heats steadily, amplified where it runs away.
        assert!(error < bound, "{error} K for {bound} K");
        assert!(run.thermal().unwrap().residual().abs() < 1e-9);
    }
}

/// A stated longest interval is kept; without much heat it is what ends intervals.
#[test]
fn the_longest_interval_is_kept() {
    let mut run = heater(1.0, 10e-3).ready().unwrap();
    run.advance(0.6, &mut ()).unwrap();
    assert_eq!(run.counters().couplings, 60);
    let mut run = heater(1.0, f64::INFINITY).ready().unwrap();
    run.advance(0.6, &mut ()).unwrap();
    assert_eq!(run.counters().couplings, 0);
    run.finish(&mut ());
    assert_eq!(run.counters().couplings, 1);
    assert!((run.celsius()[0] - 25.0 - rise(1.0)).abs() < 1e-4);
}

/// Heat that warms a second junction through a mutual term takes its steps back too, and counts in its estimate.
#[test]
fn mutual_heating_is_seen() {
    let mut setup = heater(160.0, f64::INFINITY);
    let term = FosterMatrixTerm { time_constant: 0.6, resistances: vec![1.2, 1.1, 1.1, 1.2] };
    let boundary = Boundary { name: "board".into(), temperature: 25.0 };
    let network = Network::foster_matrix(&["R", "beside"], vec![term], boundary).unwrap();
    setup.thermal = Some(Thermal::new(Arc::new(Modal::new(&network).unwrap())));
    let mut run = setup.ready().unwrap();
    run.advance(0.6, &mut ()).unwrap();
    run.finish(&mut ());
    let beside = run.celsius()[1] - 25.0;
    let (expected, error) = (rise(160.0) * 1.1 / 1.2, kelvin(&run, 1, 0));
    assert!((beside - expected).abs() <= error && error < 1.0, "{beside} {expected} {error}");
}

/// A path without heat capacity follows the power at once: no interval is short enough, and the run says so. So it does
/// where the finest step is too long.
#[test]
fn what_is_not_bounded_is_reported() {
    let mut setup = heater(60.0, f64::INFINITY);
    let network = NetworkBuilder::new()
        .boundary("sink", 25.0)
        .node("case", 0.5)
        .node("R", 0.0)
        .resistance("R", "case", 0.3)
        .resistance("case", "sink", 0.9)
        .input("R", "R")
        .build()
        .unwrap();
    setup.thermal = Some(Thermal::new(Arc::new(Modal::new(&network).unwrap())));
    let mut run = setup.ready().unwrap();
    run.advance(0.1, &mut ()).unwrap();
    assert_eq!(run.coupling_error(0, 0), Some(CouplingError::NotBounded(Cause::AnswersAtOnce)));
    let mut setup = heater(2000.0, f64::INFINITY);
    setup.steps.finest = 1;
    let mut run = setup.ready().unwrap();
    run.advance(2e-3, &mut ()).unwrap();
    assert_eq!(run.coupling_error(0, 0), Some(CouplingError::NotBounded(Cause::StepsTooLong)));
    // Nothing is reported where nothing is known.
    assert_eq!(run.coupling_error(1, 0), None);
}
