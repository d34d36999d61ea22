//! A converter by pieces and by the implicit method, and circuits that cannot be stepped by pieces.

use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::control::drive::{Delays, Drive};
use joulestep_engine::control::pwm::{Pwm, Settings};
use joulestep_engine::control::sequence::Deed;
use joulestep_engine::run::setup::{Piecewise, Refusal, Setup, Start};
use joulestep_engine::step::bounds::Bounds;

use super::closed_forms::diode;
use crate::common::rig::{gate, near, sequence, supply, v};

/// A buck converter with a filter on either side: six states, a switch and an ideal diode.
fn converter() -> (Setup<f64>, Vec<Probe>) {
    let mut c = Circuit::new();
    let (plus, _) = supply(&mut c, "plus", Wave::Constant(48.0));
    let [input, x, middle, out] = ["in", "x", "middle", "out"].map(|n| c.node(n));
    let l1 = c.inductor("L1", plus, input, 2e-6, 5e-3, Some(0.0)).unwrap();
    c.capacitor("C1", input, GROUND, 10e-6, Some(48.0)).unwrap();
    let choice = c.choice(vec![1e3, 1e-7, 1e-7], 1);
    c.chosen_resistor("S", "switch", input, x, choice).unwrap();
    diode(&mut c, "D", [GROUND, x], 0.4);
    let l2 = c.inductor("L2", x, middle, 20e-6, 10e-3, Some(0.0)).unwrap();
    c.capacitor("C2", middle, GROUND, 22e-6, Some(20.0)).unwrap();
    let l3 = c.inductor("L3", middle, out, 1e-6, 2e-3, Some(0.0)).unwrap();
    c.capacitor("C3", out, GROUND, 22e-6, Some(20.0)).unwrap();
    c.resistor("R", out, GROUND, 4.0).unwrap();
    let wave = c.wave(Wave::Driven(0.0));
    let mut setup = Setup::new(c);
    setup.start = Start::Stated;
    let command = setup.board.add_line("command");
    let settings = Settings {
        command,
        complement: None,
        run: None,
        frequency: 200e3,
        phase: 0.0,
        duty: vec![(0.0, 0.45)],
    };
    setup.controllers.push(Box::new(Pwm::new("pwm", settings).unwrap()));
    let drive = Drive::new("drive", command, Vec::new(), Delays::default(), gate("S", wave, choice)).unwrap();
    setup.controllers.push(Box::new(drive));
    let probes = vec![Probe::Branch(l1, 0), Probe::Branch(l2, 0), Probe::Branch(l3, 0), v(middle), v(out)];
    (setup, probes)
}

/// Both ways give the same waveforms and the same ledger.
#[test]
fn a_converter_by_pieces_and_by_the_implicit_method() {
    let end = 103e-6;
    let (mut setup, probes) = converter();
    setup.steps.base = 0.5e-6;
    let mut pieces = setup.ready().unwrap();
    pieces.advance(end, &mut ()).unwrap();
    let (mut setup, _) = converter();
    setup.piecewise = Piecewise::Never;
    setup.steps.base = 1e-7;
    setup.steps.finest = 14;
    setup.bounds = Bounds::stated(1e-5, 1e-5);
    let mut implicit = setup.ready().unwrap();
    implicit.advance(end, &mut ()).unwrap();
    for probe in &probes {
        near(&format!("{probe:?}"), pieces.read(probe), implicit.read(probe), 1e-5);
    }
    let (one, other) = (pieces.ledger(), implicit.ledger());
    assert!(one.relative() < 1e-11, "{}", one.relative());
    for (a, b) in one.entries.iter().zip(&other.entries) {
        for (what, x, y) in [
            ("delivered", a.delivered, b.delivered),
            ("dissipated", a.dissipated, b.dissipated),
            ("stored", a.stored, b.stored),
        ] {
            let off = (x - y).abs() / other.turnover;
            assert!(off < 1e-6, "{} {what}: {x:e} and {y:e}", a.name);
        }
    }
    let work = pieces.counters();
    assert!(work.steps < 400 && work.iterations == 0, "{work:?}");
}

/// The result does not depend on the step, nor on where a run was put aside.
#[test]
fn steps_of_any_length_are_exact() {
    let end = 101e-6;
    let finish = |base: f64, stops: &[f64]| {
        let (mut setup, probes) = converter();
        setup.steps.base = base;
        let mut run = setup.ready().unwrap();
        for &stop in stops.iter().chain([&end]) {
            run.advance(stop, &mut ()).unwrap();
            let saved = run.save();
            run.advance(stop + 3.3e-6, &mut ()).unwrap();
            run.restore(&saved);
        }
        let heat: f64 = run.ledger().entries.iter().map(|e| e.dissipated).sum();
        (probes.iter().map(|p| run.read(p)).collect::<Vec<_>>(), heat)
    };
    let (fine, heat) = finish(2e-8, &[]);
    for (coarse, other) in [finish(0.9e-6, &[]), finish(0.31e-6, &[17.1e-6, 63.3e-6])] {
        for (a, b) in fine.iter().zip(&coarse) {
            assert!((a - b).abs() < 1e-8 * 48.0, "{a} {b}");
        }
        near("heat", other, heat, 1e-8);
    }
}

/// What does not fit is refused where it was asked for, and goes by the method where it was not.
#[test]
fn circuits_that_do_not_fit() {
    let build = |how: Piecewise, what: u32| {
        let mut c = Circuit::new();
        let (plus, _) = supply(&mut c, "plus", Wave::Constant(10.0));
        let out = c.node("out");
        diode(&mut c, "D", [plus, out], 0.0);
        c.resistor("R", out, GROUND, 10.0).unwrap();
        match what {
            0 => drop(c.capacitor("C", plus, GROUND, 1e-6, None).unwrap()),
            _ => {
                let knee = crate::common::laws::Knee { at: 5.0, g_on: 1.0, g_off: 1e-9 };
                c.law("Z", "clamp", &[out, GROUND], knee, 300.0).unwrap();
            }
        }
        let mut setup = Setup::new(c);
        setup.piecewise = how;
        setup.ready()
    };
    for (what, why) in [(0, "determines"), (1, "`Z` is not piecewise linear")] {
        match build(Piecewise::Always, what) {
            Err(Refusal::Setup(text)) => assert!(text.contains(why), "{text}"),
            other => panic!("{what}: {other:?}"),
        }
        let mut run = build(Piecewise::WherePossible, what).unwrap();
        assert!(run.stepper().pieces().is_none());
        run.advance(1e-5, &mut ()).unwrap();
    }
}

/// A line that a sequence sets ends a step to the tick.
#[test]
fn a_switch_is_thrown_at_its_instant() {
    let mut c = Circuit::new();
    let (plus, _) = supply(&mut c, "plus", Wave::Constant(10.0));
    let [a, out] = ["a", "out"].map(|n| c.node(n));
    let choice = c.choice(vec![1e-9, 1e3], 0);
    c.chosen_resistor("S", "switch", plus, a, choice).unwrap();
    diode(&mut c, "D", [a, out], 0.0);
    c.resistor("R", out, GROUND, 1.0).unwrap();
    c.capacitor("C", out, GROUND, 1e-3, Some(0.0)).unwrap();
    let mut setup = Setup::new(c);
    setup.start = Start::Stated;
    let at = 3.123_456_7e-6;
    sequence(&mut setup, &[(at, Deed::Choose(choice, 1))]);
    let mut run = setup.ready().unwrap();
    run.advance(5e-6, &mut ()).unwrap();
    // 1.001 mohm against 1 ohm, and 1 mF (elementary).
    let series = 1e-3 + 1e-6;
    let (top, tau) = (10.0 / (1.0 + series), 1e-3 * series / (1.0 + series));
    near("voltage", run.read(&v(out)), top * (1.0 - (-(5e-6 - at) / tau).exp()), 1e-8);
}
