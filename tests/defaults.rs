//! Default steps and bounds: what comes of a run that states only how long it lasts.

use std::path::PathBuf;

use joulestep::input::scenario::build::build;
use joulestep::input::scenario::resolve::read;
use joulestep_engine::circuit::graph::GROUND;
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::recorder::InMemory;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::step::bounds::Bounds;
use joulestep_engine::step::schedule::Steps;

use crate::common::reference::{Reference, difference};
use crate::common::rig::channel;
use crate::published_ivps::{Posed, posed};

fn scenario(steps: &str) -> Setup<f64> {
    let path = PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/ref1.toml"));
    let text = std::fs::read_to_string(&path).unwrap();
    let stated = "[steps]\nend = \"5.2 us\"\n";
    assert!(text.contains(&format!("{stated}\n[record]")), "the file states the end only");
    let text = text.replace(stated, &format!("{stated}{steps}"));
    let scenario = read(&path, &|_: &std::path::Path| Ok(text.clone())).expect("the scenario is right");
    build(&scenario).expect("it can be built").setup
}

/// REF-1 from a scenario file against its reference solution (see `common/reference.rs`): within 1 V rms at the switch
/// node and 1 % in both switching energies.
fn double_pulse(steps: &str) {
    let mut setup = scenario(steps);
    let node = |name: &str| setup.circuit.find_node(name).unwrap();
    let (switch, source, inner) = (node("switch"), node("source"), node("inner"));
    // i_D = iL − (v2 − v7)/Rs
    let load = Probe::Branch(setup.circuit.find("Lload").unwrap(), 0);
    let drain = Probe::Sum(vec![(1.0, load), (-50.0, Probe::Voltage(switch, inner))]);
    setup.integrals = vec![(Probe::Voltage(switch, source), drain)];
    setup.channels = vec![channel("v2", Probe::Voltage(switch, GROUND))];
    let mut run = setup.ready().unwrap();
    let mut memory = InMemory::default();
    let mut at = |t: f64| {
        run.advance(t, &mut memory).unwrap();
        run.integral(0)
    };
    let (a, b, c, _) = (at(2.2e-6), at(3.2e-6), at(4.2e-6), at(5.2e-6));
    let (e_off, e_on) = ((b - a) / 2.5520606779e-05 - 1.0, (c - b) / 0.00011326611366 - 1.0);
    let v2: Vec<f64> = memory.samples.iter().map(|s| s[0]).collect();
    let (max, rms) = difference(&Reference::load(), 1, &memory.time, &v2);
    let counters = run.counters();
    println!("{steps:?}: max {max:.3} rms {rms:.4} V, E_off {e_off:+.1e}, E_on {e_on:+.1e}, {counters:?}");
    assert!(rms < 1.0, "{rms} V");
    assert!(e_off.abs() < 0.01 && e_on.abs() < 0.01, "{e_off} {e_on}");
    assert_eq!(counters.stalled, 0);
}

#[test]
fn a_double_pulse_that_states_only_its_end_is_right() {
    double_pulse("");
}

#[test]
fn a_double_pulse_that_states_only_its_base_step_is_right() {
    double_pulse("base = \"1 us\"\n");
}

#[test]
fn library_and_program_share_their_defaults() {
    let program = scenario("");
    let library = Setup::new(joulestep_engine::circuit::graph::Circuit::<f64>::new()).lasting(5.2e-6);
    assert_eq!((program.steps, program.bounds), (library.steps, library.bounds));
    assert_eq!((program.method.name, program.tolerance), (library.method.name, library.tolerance));
    assert_eq!((program.heat_error, program.piecewise), (library.heat_error, library.piecewise));
    assert_eq!(library.bounds, Bounds::default());
    assert_eq!(scenario("base = \"1 us\"\n").steps, Steps::of_base(1e-6));
}

/// The largest difference from the published end values, in the largest value that each unknown had.
fn off(p: &Posed) -> f64 {
    let (setup, probes) = p.problem.setup();
    let mut setup = setup.lasting(p.end);
    setup.channels = probes.iter().map(|probe| channel("", probe.clone())).collect();
    let mut run = setup.ready().unwrap();
    let mut memory = InMemory::default();
    run.advance(p.end, &mut memory).unwrap();
    let mut worst = 0.0f64;
    for (k, (probe, answer)) in probes.iter().zip(&p.answer).enumerate() {
        let scale = p.problem.scale(k);
        let largest = memory.samples.iter().map(|s| (scale * s[k]).abs()).fold(0.0, f64::max);
        let found = scale * run.read(probe);
        println!("  {k}: {found:+.6e}, published {answer:+.6e}, largest {largest:.3e}");
        worst = worst.max((found - answer).abs() / largest);
    }
    println!("{}: off by {worst:.1e}, {:?}", p.name, run.counters());
    worst
}

/// The published initial-value problems (sources in `published_ivps.rs`) to 1 % of each unknown's largest value.
#[test]
fn published_problems_that_state_only_their_end_are_right() {
    let found: Vec<_> = posed().iter().map(|p| (p.name, off(p))).collect();
    assert!(found.iter().all(|(_, off)| *off < 0.01), "{found:?}");
}
