//! Long missions: leaps against every cycle resolved at a known error, a mission of a million cycles, and the periodic
//! steady state by shooting against running to it.
//!
//! `cargo bench --bench mission`

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Instant;

use joulestep_engine::circuit::graph::{Circuit, HeatId};
use joulestep_engine::cycle::keeper::keepers;
use joulestep_engine::cycle::steady::{Effort, steady};
use joulestep_engine::error::CircuitError;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::step::bounds::Bounds;
use joulestep_engine::step::schedule::Steps;
use joulestep_engine::thermal::convert::foster_to_cauer;
use joulestep_engine::thermal::modal::Modal;
use joulestep_engine::thermal::network::{FosterTerm, NetworkBuilder};
use joulestep_engine::thermal::run::Thermal;
use joulestep_models::arrangement::builder::CircuitLayout;
use joulestep_models::arrangement::find;
use joulestep_models::arrangement::mission::profile::{Begin, Of, Profile, Segment};
use joulestep_models::arrangement::mission::{Followed, Options, follow};
use joulestep_models::part::Part;

/// The buck of the ferry: cascodes with nanosecond edges, snubbers, 100 kHz. Both JFETs are heated; `slow` stretches
/// the thermal time constants.
fn buck(load: f64, slow: f64) -> Result<(CircuitLayout, Setup<f64>), CircuitError> {
    let arrangement = find("synchronous-buck").expect("it is shipped");
    let given = [
        ("load-resistance", load),
        ("dead-time", 60e-9),
        ("gate-resistance", 8.0),
        ("choke-resistance", 10e-3),
        ("snubber-capacitance", 150e-12),
        ("snubber-resistance", 8.0),
    ];
    let parts: BTreeMap<String, Part> = [(String::new(), part())].into();
    let mut circuit = Circuit::new();
    let mut layout = arrangement.build(&mut circuit, &arrangement.values(&given)?, &parts)?;
    for (k, place) in ["upper", "lower"].into_iter().enumerate() {
        let dies = layout.element(place).map(|f| f.built.dies.clone()).unwrap_or_default();
        for (_, components) in dies.iter().filter(|d| d.0 == "jfet") {
            components.iter().for_each(|&c| circuit.heats(c, HeatId(k as u32)));
        }
    }
    let terms = [(0.06, 200e-6), (0.42, 8e-3), (0.15, 0.4)];
    let terms = terms.map(|(resistance, tau)| FosterTerm { resistance, time_constant: tau * slow });
    let cells = foster_to_cauer(&terms).expect("a ladder");
    let network = NetworkBuilder::new().boundary("plate", 50.0);
    let network = network.ladder("upper", &cells, "plate").ladder("lower", &cells, "plate");
    let network = network.build().expect("a network");
    let mut setup = layout.setup(circuit)?;
    setup.steps = Steps { base: 0.5e-6, finest: 9, hold_off: 2 };
    setup.bounds = Bounds::stated(0.1, 0.1);
    setup.thermal = Some(Thermal::new(Arc::new(Modal::new(&network).expect("modes"))));
    Ok((layout, setup))
}

fn part() -> Part {
    match joulestep::input::parts::load("cascode-700v-22m", &joulestep::input::keys::include::open) {
        Ok(loaded) => loaded.part,
        Err(_) => panic!("it is shipped"),
    }
}

/// Two steps of the load.
fn mission(length: f64) -> Profile {
    let points = vec![(0.3 * length, 20.0), (0.3 * length, 8.0), (0.7 * length, 8.0), (0.7 * length, 12.0)];
    Profile {
        length,
        rounds: 1,
        begin: Begin::Rest,
        segments: vec![Segment { of: Of::Parameter(0), points }],
    }
}

fn timed(profile: &Profile, slow: f64, options: Options) -> (Followed, f64) {
    let began = Instant::now();
    let found = follow(profile, &mut |v| buck(v[0], slow), &options, &mut ()).expect("it is followed");
    (found, began.elapsed().as_secs_f64())
}

/// Largest difference of the temperatures at the instants of the first course, K.
fn apart(a: &Followed, b: &Followed) -> f64 {
    let mut worst = 0.0f64;
    for i in &a.course {
        let k = b.course.partition_point(|j| j.time < i.time).clamp(1, b.course.len() - 1);
        let (p, q) = (&b.course[k - 1], &b.course[k]);
        let share = ((i.time - p.time) / (q.time - p.time)).clamp(0.0, 1.0);
        for ((x, y), z) in i.celsius.iter().zip(&p.celsius).zip(&q.celsius) {
            worst = worst.max((x - y - share * (z - y)).abs());
        }
    }
    worst
}

fn leaps() {
    let profile = mission(50e-3);
    let (every, long) = timed(&profile, 1.0, Options { every_cycle: true, ..Options::default() });
    println!("50 ms, {} cycles, every one resolved: {long:.2} s", every.work.resolved);
    for tolerance in [1.0, 0.1, 0.01] {
        let (leapt, short) = timed(&profile, 1.0, Options { tolerance, ..Options::default() });
        println!(
            "  leaps, tolerance {tolerance} K: {short:.3} s ({:.0} times as fast), {} cycles solved, {} of them in settlings, {} leaps, {} taken back; estimated error {:.4} K, found {:.4} K",
            long / short,
            leapt.work.solved,
            leapt.work.resolved,
            leapt.work.leaps,
            leapt.work.taken_back,
            leapt.work.estimate,
            apart(&leapt, &every),
        );
    }
    let (leapt, short) = timed(&mission(10.0), 5.0, Options::default());
    let per_cycle = long / every.work.resolved as f64;
    println!(
        "10 s, {:.0} cycles: {short:.3} s, {} cycles solved, {} leaps; estimated error {:.4} K; every cycle would take {:.0} s ({:.0} times as long)",
        leapt.work.cycles,
        leapt.work.solved,
        leapt.work.leaps,
        leapt.work.estimate,
        per_cycle * leapt.work.cycles,
        per_cycle * leapt.work.cycles / short,
    );
}

/// From the same start at fixed temperatures: shooting, and running until a period changes nothing by more.
fn shooting() {
    println!("\nperiodic steady state at a load of 8 ohm, closing error 1e-5");
    let run = || buck(8.0, 1.0).expect("a circuit").1.ready().expect("a start");
    let period = 10e-6;
    let mut shot = run();
    shot.hold(&[80.0, 80.0]);
    let began = Instant::now();
    let found = steady(&mut shot, period, Effort::default(), &mut ()).expect("it closes");
    let short = began.elapsed().as_secs_f64();
    println!("  shooting: {:.3} s, {} periods, closing error {:.1e}", short, found.periods, found.closing);
    let mut plain = run();
    plain.hold(&[80.0, 80.0]);
    let kept = keepers(plain.system());
    let largest =
        |unit: &str| found.kept.iter().filter(|k| k.0.unit == unit).map(|k| k.1.abs()).fold(1.0, f64::max);
    let scales: Vec<f64> = kept.iter().map(|k| largest(k.unit)).collect();
    let goal: Vec<f64> = found.kept.iter().map(|k| k.1).collect();
    let began = Instant::now();
    let mut periods = 0;
    loop {
        periods += 1;
        plain.advance(f64::from(periods) * period, &mut ()).expect("it runs");
        let now: Vec<f64> = kept.iter().map(|k| k.read(&plain)).collect();
        let off =
            now.iter().zip(&goal).zip(&scales).map(|((a, b), s)| ((a - b) / s).abs()).fold(0.0, f64::max);
        if off < 1e-4 || periods == 20_000 {
            let long = began.elapsed().as_secs_f64();
            println!(
                "  running: {long:.3} s, {periods} periods until within {off:.1e} of it: {:.1} times as long",
                long / short
            );
            break;
        }
    }
}

fn main() {
    leaps();
    shooting();
}
