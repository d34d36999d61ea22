//! Cycles: the periodic steady state against running to it, and steps per second of a piecewise-linear converter.

use std::path::Path;
use std::time::Instant;

use joulestep::input::keys::include::open;
use joulestep::input::scenario::build::build;
use joulestep::input::scenario::resolve::read;
use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::control::drive::{Delays, Drive, Gate};
use joulestep_engine::control::pwm::{Pwm, Settings};
use joulestep_engine::cycle::keeper::keepers;
use joulestep_engine::cycle::steady::{Effort, steady};
use joulestep_engine::run::setup::{Piecewise, Setup, Start};
use joulestep_engine::run::time_loop::Run;
use joulestep_models::lookup::find;
use joulestep_models::model::{Value, Values};

/// Rounds, of which the best counts.
const ROUNDS: u32 = 5;

fn ready(example: &str) -> (Run<f64>, f64) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples").join(example);
    let scenario = read(&path, &open).unwrap_or_else(|_| panic!("{example} cannot be read"));
    let mut ready = build(&scenario).expect("it is a good scenario");
    ready.setup.thermal = None;
    ready.setup.channels.clear();
    ready.setup.watches.clear();
    let period = ready.layout.period.expect("it repeats");
    (ready.setup.ready().expect("a start"), period)
}

/// Seconds and periods to a closing error, by shooting and by running on until a period changes nothing more.
fn found(example: &str, closing: f64) {
    let (mut by_shooting, mut by_running) = (f64::INFINITY, f64::INFINITY);
    let (mut tries, mut periods, mut reached) = (0, 0, (0.0, 0.0));
    for _ in 0..ROUNDS {
        let (mut run, period) = ready(example);
        let clock = Instant::now();
        let effort = Effort { closing, ..Effort::default() };
        let found = steady(&mut run, period, effort, &mut ()).expect("a periodic state");
        by_shooting = by_shooting.min(clock.elapsed().as_secs_f64());
        (tries, reached.0) = (found.periods, found.closing);

        let (mut run, period) = ready(example);
        let kept = keepers(run.system());
        let clock = Instant::now();
        let begin = run.state().t;
        let mut then: Vec<f64> = Vec::new();
        for k in 1..100_000u32 {
            run.advance(begin + f64::from(k) * period, &mut ()).expect("a period");
            let now: Vec<f64> = kept.iter().map(|k| k.read(&run)).collect();
            let largest = |unit: &str| {
                let mine = kept.iter().zip(&now).filter(|(k, _)| k.unit == unit);
                mine.map(|(_, x)| x.abs()).fold(1.0, f64::max)
            };
            let (volts, amperes) = (largest("V"), largest("A"));
            let size = |k: usize, x: f64| x.abs() / if kept[k].unit == "V" { volts } else { amperes };
            let change = then.iter().zip(&now).enumerate().map(|(k, (a, b))| size(k, a - b));
            reached.1 = if then.is_empty() { f64::INFINITY } else { change.fold(0.0, f64::max) };
            (then, periods) = (now, k);
            if reached.1 <= closing {
                break;
            }
        }
        by_running = by_running.min(clock.elapsed().as_secs_f64());
    }
    println!(
        "{example}: shooting {tries} periods, {:.1} ms, closes to {:.1e}; running {periods} periods, {:.1} ms, changes by {:.1e}; ratio {:.1}",
        1e3 * by_shooting,
        reached.0,
        1e3 * by_running,
        reached.1,
        by_running / by_shooting
    );
}

/// A buck converter with a filter on either side: six states, a switch and an ideal diode, at 100 kHz.
fn converter(base: f64, how: Piecewise) -> Run<f64> {
    let mut c = Circuit::new();
    let [plus, input, x, middle, out] = ["plus", "in", "x", "middle", "out"].map(|n| c.node(n));
    let volts = c.wave(Wave::Constant(48.0));
    let l = |c: &mut Circuit<f64>, name: &str, a, b, henry, ohm| {
        c.inductor(name, a, b, henry, ohm, Some(0.0)).expect("an inductor");
    };
    let cap = |c: &mut Circuit<f64>, name: &str, a, farad, volt| {
        c.capacitor(name, a, GROUND, farad, Some(volt)).expect("a capacitor");
    };
    c.voltage_source("supply", plus, GROUND, volts).expect("a source");
    l(&mut c, "L1", plus, input, 2e-6, 5e-3);
    cap(&mut c, "C1", input, 10e-6, 48.0);
    let choice = c.choice(vec![1e3, 1e-7, 1e-7], 1);
    c.chosen_resistor("S", "switch", input, x, choice).expect("a switch");
    let entry = find("ideal-diode").expect("it is in the catalogue");
    let mut values = Values::with_defaults(entry.params);
    values.0.insert("forward-voltage", Value::Number(0.4));
    (entry.build)(&mut c, "D", &[GROUND, x], &values).expect("a diode");
    l(&mut c, "L2", x, middle, 40e-6, 10e-3);
    cap(&mut c, "C2", middle, 22e-6, 20.0);
    l(&mut c, "L3", middle, out, 1e-6, 2e-3);
    cap(&mut c, "C3", out, 22e-6, 20.0);
    c.resistor("R", out, GROUND, 4.0).expect("a load");
    let wave = c.wave(Wave::Driven(0.0));
    let mut setup = Setup::new(c);
    (setup.start, setup.piecewise, setup.steps.base) = (Start::Stated, how, base);
    let command = setup.board.add_line("command");
    let settings = Settings {
        command,
        complement: None,
        run: None,
        frequency: 100e3,
        phase: 0.0,
        duty: vec![(0.0, 0.45)],
    };
    let gate = Gate {
        name: "S".into(),
        wave,
        choice,
        on: 1.0,
        off: 0.0,
        rise: 1e-9,
        fall: 1e-9,
        starts_on: false,
        state: None,
        clamp: None,
    };
    setup.controllers.push(Box::new(Pwm::new("pwm", settings).expect("a modulator")));
    let drive = Drive::new("drive", command, Vec::new(), Delays::default(), gate).expect("a drive");
    setup.controllers.push(Box::new(drive));
    setup.ready().expect("a start")
}

fn steps_per_second(base: f64, how: Piecewise, end: f64) {
    let mut best = f64::INFINITY;
    let mut counters = joulestep_engine::accounts::counters::Counters::default();
    let mut residual = 0.0;
    for _ in 0..ROUNDS {
        let mut run = converter(base, how);
        run.advance(1e-3, &mut ()).expect("a start");
        let before = run.counters().steps;
        let clock = Instant::now();
        run.advance(1e-3 + end, &mut ()).expect("a run");
        best = best.min(clock.elapsed().as_secs_f64());
        counters = run.counters();
        counters.steps -= before;
        residual = run.ledger().relative();
    }
    println!(
        "{how:?}, base step {:.0} ns: {} steps in {:.1} ms, {:.2} million steps per second, {:.0} periods per ms, ledger {residual:.1e}",
        1e9 * base,
        counters.steps,
        1e3 * best,
        1e-6 * counters.steps as f64 / best,
        end * 100e3 / (1e3 * best),
    );
}

fn main() {
    println!("periodic steady state against running to it, closing 1e-5");
    for example in ["ferry-buck.toml", "ferry-boost.toml", "ferry-dual-active-bridge.toml"] {
        found(example, 1e-5);
    }
    println!("six-state converter");
    for base in [20e-9, 100e-9, 1e-6] {
        steps_per_second(base, Piecewise::Always, 100e-3);
    }
    steps_per_second(1e-6, Piecewise::Never, 2e-3);
}
