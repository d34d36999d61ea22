//! Long missions: temperatures against closed forms, leaps against runs in which every cycle is resolved.

use std::collections::BTreeMap;
use std::f64::consts::{PI, TAU};
use std::sync::Arc;

use joulestep_engine::circuit::graph::{Circuit, HeatId};
use joulestep_engine::cycle::rainflow::{Activation, Counted, UserLaw};
use joulestep_engine::error::CircuitError;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::step::schedule::Steps;
use joulestep_engine::thermal::convert::foster_to_cauer;
use joulestep_engine::thermal::modal::Modal;
use joulestep_engine::thermal::network::{FosterTerm, NetworkBuilder};
use joulestep_engine::thermal::run::Thermal;
use joulestep_models::arrangement::builder::CircuitLayout;
use joulestep_models::arrangement::find;
use joulestep_models::arrangement::mission::leap::glide;
use joulestep_models::arrangement::mission::profile::{Begin, Of, Profile, Segment};
use joulestep_models::arrangement::mission::ripple::{apart, harmonics, within};
use joulestep_models::arrangement::mission::{Followed, Options, Power, follow};

use super::converters::near;
use crate::common::answers::{rows, value};
use crate::common::program::{describe, joulestep};

/// One heat input behind Foster terms (K/W, s) on a boundary at 0 °C.
fn foster(terms: &[(f64, f64)]) -> Thermal<f64> {
    let terms: Vec<_> =
        terms.iter().map(|&(resistance, time_constant)| FosterTerm { resistance, time_constant }).collect();
    let cells = foster_to_cauer(&terms).unwrap();
    let network = NetworkBuilder::new().boundary("sink", 0.0).ladder("die", &cells, "sink").build().unwrap();
    Thermal::new(Arc::new(Modal::new(&network).unwrap()))
}

fn steady_profile(length: f64) -> Profile {
    Profile { length, rounds: 1, segments: Vec::new(), begin: Begin::Rest }
}

/// Power that is constant piece by piece: T(t) = Σ steps ΔP·Z_th(t − t_step), Z_th = Σ R(1 − e^(−t/τ)) (superposition;
/// transient thermal impedance as IEC 60747-9 defines it, from memory). Its
/// closed form is evaluated here.
#[test]
fn foster_terms_under_pieces_of_constant_power() {
    let terms = [(0.06, 200e-6), (0.42, 8e-3), (0.15, 0.4)];
    let pieces = [(0.0, 40.0), (0.02, 10.0), (0.5, 75.0), (0.504, 0.0)];
    let end = 0.7;
    let mut network = foster(&terms);
    let profile = steady_profile(end);
    let zth = |t: f64| terms.iter().map(|(r, tau)| r * (1.0 - (-t / tau).exp())).sum::<f64>();
    for (k, &(from, power)) in pieces.iter().enumerate() {
        let to = pieces.get(k + 1).map_or(end, |p| p.0);
        for reached in glide(&mut network, &profile, (0.0, from, to), 1e-5, &|_, _| vec![power]) {
            let mut before = 0.0;
            let mut rise = 0.0;
            for &(at, p) in &pieces[..=k] {
                rise += (p - before) * zth(reached.time - at);
                before = p;
            }
            assert!((reached.celsius[0] - rise).abs() < 1e-9 * 48.0, "{} s: {rise}", reached.time);
        }
    }
}

/// A power linear in the temperature, P = P₀(1 + αT), on one RC: T = T∞(1 − e^(−(1 − αRP₀)t/RC)) with
/// T∞ = RP₀/(1 − αRP₀) (closed form of the linear equation).
#[test]
fn a_leap_follows_power_that_grows_with_temperature() {
    let (r, tau, p0, alpha) = (0.5, 2.0, 40.0, 5e-3);
    let mut network = foster(&[(r, tau)]);
    let loop_gain = alpha * r * p0;
    let way = glide(&mut network, &steady_profile(6.0), (0.0, 0.0, 6.0), 1e-5, &|_, t| {
        vec![p0 * (1.0 + alpha * t[0])]
    });
    for reached in &way {
        let expected = r * p0 / (1.0 - loop_gain) * (1.0 - (-(1.0 - loop_gain) * reached.time / tau).exp());
        assert!((reached.celsius[0] - expected).abs() < 2e-3, "{}: {expected}", reached.celsius[0]);
    }
}

/// A square power of share D on one RC. Harmonic h: amplitude 2P·sin(πhD)/(πh), times |R/(1 + jωRC)|; range
/// PR(1 − a)(1 − b)/(1 − ab), a = e^(−DT/RC), b = e^(−(1−D)T/RC) (Fourier series and exponentials of a first-order
/// network, any textbook of circuits).
#[test]
fn ripple_of_a_first_order_network() {
    let (r, tau, p, d, period) = (0.4, 3e-3, 90.0, 0.3, 1e-3);
    let mut network = foster(&[(r, tau)]);
    let course: Power = vec![(d * period, vec![p]), ((1.0 - d) * period, vec![0.0])];
    for h in harmonics(network.modal(), &course, &[1, 2, 3, 7]) {
        let n = f64::from(h.number);
        let amplitude = 2.0 * p * (PI * n * d).sin().abs() / (PI * n);
        near(h.frequency, n / period, 1e-12, "frequency");
        near(h.power[0], amplitude, 1e-10, "harmonic of the power");
        near(
            h.temperature[0],
            amplitude * r / (1.0 + (TAU * n / period * tau).powi(2)).sqrt(),
            1e-10,
            "of the temperature",
        );
    }
    let (a, b) = ((-d * period / tau).exp(), (-(1.0 - d) * period / tau).exp());
    let range = p * r * (1.0 - a) * (1.0 - b) / (1.0 - a * b);
    let found = within(&mut network, &course)[0];
    near(found.largest - found.least, range, 1e-10, "range");
    near(apart(&mut network, &course, 1)[0].switching, range, 1e-10, "switching ripple");
    assert_eq!(apart(&mut network, &course, 1)[0].line, 0.0);
}

/// P = 2·P₀(1 − cos 2ωt) in the first half of every switching period, nothing in the second: the mean of the periods is
/// a closed form of circuits (P₀ = 60 W, 50 Hz: 2·P₀·|Z(j2ω)| = 13.6511045474209 K); at the switching frequency the
/// network of the last resistance and capacitance answers as above, in the period of most power.
#[test]
fn line_and_switching_ripple_stand_apart() {
    let terms = [(0.05, 0.0002), (0.15, 0.003), (0.3, 0.05), (0.5, 1.5)];
    let mut network = foster(&terms);
    let (p0, slots, line) = (60.0, 4000u32, 0.01);
    let slot = line / f64::from(slots);
    let mut course: Power = Vec::new();
    for k in 0..slots {
        let p = p0 * (1.0 - (TAU * (f64::from(k) + 0.5) / f64::from(slots)).cos());
        course.push((0.5 * slot, vec![2.0 * p]));
        course.push((0.5 * slot, vec![0.0]));
    }
    let found = apart(&mut network, &course, slots)[0];
    near(found.line, 13.6511045474209, 2e-4, "line ripple");
    // ΔP·t/C of a triangle about the mean, the slope Σ R/τ = 1/C at short times.
    let slope: f64 = terms.iter().map(|(r, tau)| r / tau).sum();
    near(found.switching, 2.0 * p0 * 0.5 * slot * slope, 1e-2, "switching ripple");
}

/// Palmgren 1924, Miner 1945: damages add. By hand: 3 cycles of 40 K and one half of 20 K with N = 1e4·(ΔT/20 K)^−3 are
/// 3/1250 + 0.5/1e4. With E = 0.8 eV and 80 °C against 100 °C: e^(0.8·11604.518·(1/353.15 − 1/373.15)) = 4.09.
#[test]
fn damage_by_the_users_law() {
    let counted = |range, mean, count| Counted { range, mean, count };
    let law = UserLaw { cycles: 1e4, range: 20.0, exponent: 3.0, activation: None };
    let all = [counted(40.0, 80.0, 3.0), counted(20.0, 10.0, 0.5)];
    near(law.damage(&all), 3.0 / 1250.0 + 0.5 / 1e4, 1e-12, "damage");
    let activation = Some(Activation { energy: 0.8 * 1.602_176_634e-19, reference: 100.0 });
    let warm = UserLaw { activation, ..law };
    near(warm.cycles_to_failure(20.0, 100.0), 1e4, 1e-12, "at the reference");
    // k/e = 8.617333262e-5 eV/K (CODATA 2018).
    let expected = 1e4 * f64::exp(0.8 / 8.617_333_262e-5 * (1.0 / 353.15 - 1.0 / 373.15));
    near(warm.cycles_to_failure(20.0, 80.0), expected, 1e-8, "20 K below");
}

/// A buck of ideal switches whose two dies are heated, load resistance and supply voltage given.
fn buck(values: &[f64]) -> Result<(CircuitLayout, Setup<f64>), CircuitError> {
    let arrangement = find("synchronous-buck").unwrap();
    let given = [
        ("load-resistance", values[0]),
        ("supply-voltage", values[1]),
        ("dead-time", 60e-9),
        ("switch-resistance", 20e-3),
        ("loop-inductance", 0.0),
    ];
    let mut circuit = Circuit::new();
    let mut layout = arrangement.build(&mut circuit, &arrangement.values(&given)?, &BTreeMap::new())?;
    for (k, place) in ["upper", "lower"].into_iter().enumerate() {
        for (_, components) in &layout.element(place).unwrap().built.dies {
            components.iter().for_each(|&c| circuit.heats(c, HeatId(k as u32)));
        }
    }
    let terms = [(0.2, 2e-3), (0.5, 20e-3)]
        .map(|(resistance, time_constant)| FosterTerm { resistance, time_constant });
    let cells = foster_to_cauer(&terms).unwrap();
    let network = NetworkBuilder::new().boundary("sink", 50.0);
    let network = network.ladder("upper", &cells, "sink").ladder("lower", &cells, "sink").build().unwrap();
    let mut setup = layout.setup(circuit)?;
    setup.steps = Steps { base: 0.5e-6, finest: 8, hold_off: 2 };
    setup.thermal = Some(Thermal::new(Arc::new(Modal::new(&network).unwrap())));
    Ok((layout, setup))
}

fn followed(profile: &Profile, options: Options) -> Followed {
    follow(profile, &mut |values| buck(values), &options, &mut ()).unwrap()
}

/// Load from 20 to 8 ohm, then a falling supply and a rising heatsink.
fn crossing() -> Profile {
    Profile {
        length: 20e-3,
        rounds: 1,
        begin: Begin::Rest,
        segments: vec![
            Segment { of: Of::Parameter(0), points: vec![(6e-3, 20.0), (6e-3, 8.0)] },
            Segment { of: Of::Parameter(1), points: vec![(14e-3, 400.0), (20e-3, 340.0)] },
            Segment { of: Of::Boundary(0), points: vec![(0.0, 50.0), (20e-3, 60.0)] },
        ],
    }
}

/// Temperature of an input between two instants of a course.
fn at(followed: &Followed, t: f64, input: usize) -> f64 {
    let k = followed.course.partition_point(|i| i.time < t).clamp(1, followed.course.len() - 1);
    let (a, b) = (&followed.course[k - 1], &followed.course[k]);
    let share = ((t - a.time) / (b.time - a.time)).clamp(0.0, 1.0);
    a.celsius[input] + share * (b.celsius[input] - a.celsius[input])
}

/// The leaps against the same mission with each of its 2000 cycles resolved; the estimate must cover the difference.
#[test]
fn leaps_against_every_cycle() {
    let profile = crossing();
    let leapt = followed(&profile, Options::default());
    let every = followed(&profile, Options { every_cycle: true, ..Options::default() });
    assert_eq!(every.work.resolved, 2000);
    assert!(leapt.work.leaps > 2 && leapt.work.solved < 1000, "{:?}", leapt.work);
    assert!(leapt.work.estimate < 0.1, "{:?}", leapt.work);
    for instant in &leapt.course {
        for input in 0..2 {
            let apart = (instant.celsius[input] - at(&every, instant.time, input)).abs();
            assert!(apart < 0.1 && apart < 2.0 * leapt.work.estimate + 5e-3, "{} s: {apart} K", instant.time);
        }
    }
    for (a, b) in leapt.energy.iter().zip(&every.energy).chain(leapt.balance.iter().zip(&every.balance)) {
        near(*a, *b, 5e-3, "energy");
    }
    // What is given is taken or lost, but for what the filter stores (40 mJ of 74 J when the supply has fallen).
    let [input, output, losses] = leapt.balance;
    assert!((input - output - losses).abs() < 3e-3 * input, "{:?}", leapt.balance);
}

/// The leaps against the engine's own run, coupled to the network every cycle, without any of this module.
#[test]
fn leaps_against_the_coupled_run() {
    let constant = |of, x| Segment { of: Of::Parameter(of), points: vec![(0.0, x)] };
    let profile = Profile { segments: vec![constant(0, 8.0), constant(1, 400.0)], ..steady_profile(10e-3) };
    let leapt = followed(&profile, Options::default());
    let (_, mut setup) = buck(&[8.0, 400.0]).unwrap();
    setup.coupling = 10e-6;
    let mut run = setup.ready().unwrap();
    run.advance(10e-3, &mut ()).unwrap();
    for (input, celsius) in run.celsius().iter().enumerate() {
        let found = leapt.course.last().unwrap().celsius[input];
        // The run begins off its periodic state: that is what remains between them.
        assert!((found - celsius).abs() < 0.1, "{found} {celsius}");
    }
}

/// The same numbers however often; a listener's stop leaves what was found.
#[test]
fn a_mission_repeats_to_the_bit_and_stops_when_asked() {
    struct Stop(u32);
    impl joulestep_models::arrangement::mission::Listener for Stop {
        fn go_on(&mut self, _: f64) -> bool {
            self.0 += 1;
            self.0 < 4
        }
    }
    let (a, b) = (followed(&crossing(), Options::default()), followed(&crossing(), Options::default()));
    assert_eq!(a.course, b.course);
    let stopped = follow(&crossing(), &mut |values| buck(values), &Options::default(), &mut Stop(0)).unwrap();
    assert!(!stopped.complete && stopped.course.len() < a.course.len());
    assert_eq!(stopped.course[..2], a.course[..2]);
}

/// The shipped example: tolerance kept, energies that close, temperatures that belong to the heat, a file and a chart.
#[test]
fn the_harbour_crossings() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name).display().to_string();
    let (h5, svg) = (file("mission.h5"), file("mission.svg"));
    let found = describe(&["mission", "examples/ferry-mission.toml", "--json", "--out", &h5, "--plot", &svg]);
    let number = |key: &str| rows(&found, "work")[0][key].as_f64().unwrap();
    assert_eq!(found["outcome"], "done");
    // The tolerance that it has unasked.
    assert!(number("estimated_error") <= 0.1, "{}", number("estimated_error"));
    assert!(number("cycles") > 1e8 && number("solved") < 2e4);
    let [input, output, losses] =
        ["input", "output", "losses"].map(|e| value(&found, &format!("energy.{e}")));
    assert!(((input - output - losses) / input).abs() < 1e-4, "{input} {output} {losses}");
    // Over whole rounds the air takes the heat: mean of the plate = mean of the air + R·P, within what is stored.
    let dies = rows(&found, "junctions");
    let power: f64 = dies.iter().map(|d| d["mean_power"].as_f64().unwrap()).sum();
    let upper = &dies[0];
    let expected = 29.5 + 0.35 * power + 0.875 * upper["mean_power"].as_f64().unwrap();
    assert!((upper["mean"].as_f64().unwrap() - expected).abs() < 0.1 * (expected - 29.5), "{upper}");
    lifetimes(&found);
    let stored = joulestep::output::result::ResultFile::open(std::path::Path::new(&h5)).unwrap();
    drop(stored);
    assert!(std::fs::read_to_string(&svg).unwrap().contains("upper-jfet"));
    // It is not replaced unasked; a scenario without a mission is refused.
    assert_eq!(joulestep(&["mission", "examples/ferry-mission.toml", "--out", &h5]).code, 4);
    assert_eq!(joulestep(&["mission", "examples/ferry-buck.toml"]).code, 2);
}

/// Weibull 1951: F = 1 − exp(−(t/η)^β), here with η the law's own life (63.2 % failed) and β = 2.5, eight missions a
/// day; the first of several fails as 1 − Π(1 − F). By hand from the damages.
fn lifetimes(found: &serde_json::Value) {
    let day = 86_400.0;
    let dies = ["upper-jfet", "upper-mosfet", "lower-jfet", "lower-mosfet"];
    let lives = dies.map(|die| day / 8.0 / value(found, &format!("{die}.damage")));
    let failed = |t: f64| 1.0 - lives.iter().map(|life| (-(t / life).powf(2.5)).exp()).product::<f64>();
    let table = rows(found, "lifetimes");
    for (row, life) in table.iter().zip(lives) {
        near(row["law"].as_f64().unwrap(), life, 1e-9, "by the law");
        let median = life * std::f64::consts::LN_2.powf(0.4);
        near(row["b50"].as_f64().unwrap(), median, 1e-9, "median");
    }
    let first = value(found, "lifetime");
    near(failed(first), 0.1, 1e-9, "B10 of the first to fail");
    near(table[4]["b10"].as_f64().unwrap(), first, 1e-12, "the same in the table");
}
