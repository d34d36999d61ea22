//! Closed-loop control, modulation, load steps, Miller clamp, desaturation and saturation, each against a closed form.

mod gates;
mod saturation;

use std::f64::consts::TAU;
use std::path::Path;

use joulestep::input::scenario::build::build;
use joulestep::input::scenario::resolve::read;
use joulestep_engine::recorder::{Event, EventKind, InMemory};
use joulestep_engine::run::setup::Setup;

use crate::common::folder::Folder;
use crate::common::typed::{follower, set, with};

/// What a scenario records.
struct Recorded {
    memory: InMemory<f64>,
    /// Energy that each component stores more at the end than at the start, J.
    stored: Vec<(String, f64)>,
    dissipated: Vec<(String, f64)>,
    relative: f64,
    steps: u64,
}

impl Recorded {
    fn of(text: &str) -> Self {
        let scenario = read(Path::new("s.toml"), &|_| Ok(text.to_string()));
        let scenario = scenario.unwrap_or_else(|e| panic!("{e:?}"));
        let ready = build(&scenario).unwrap_or_else(|r| panic!("{}", r.text_in("s")));
        let setup: Setup<f64> = ready.setup;
        let mut run = setup.ready().unwrap();
        let mut memory = InMemory::default();
        run.advance(scenario.steps.end, &mut memory).unwrap();
        run.finish(&mut memory);
        let ledger = run.ledger();
        let of = |get: fn(&joulestep_engine::accounts::ledger::Entry<f64>) -> f64| {
            ledger.entries.iter().map(|e| (e.name.clone(), get(e))).collect()
        };
        Self {
            memory,
            stored: of(|e| e.stored),
            dissipated: of(|e| e.dissipated),
            relative: ledger.relative(),
            steps: run.counters().steps,
        }
    }

    /// Channel `k` at an instant, on the straight line between samples.
    fn at(&self, k: usize, t: f64) -> f64 {
        let n = self.memory.time.partition_point(|x| *x < t).clamp(1, self.memory.time.len() - 1);
        let (a, b) = (self.memory.time[n - 1], self.memory.time[n]);
        let (x, y) = (self.memory.samples[n - 1][k], self.memory.samples[n][k]);
        if b > a { x + (y - x) * (t - a) / (b - a) } else { y }
    }

    fn events(&self, kind: EventKind) -> Vec<&Event> {
        self.memory.events.iter().filter(|e| e.kind == kind).collect()
    }
}

/// A choke and a resistance from the node `out` to ground.
fn rl() -> String {
    let choke = with("choke", "inductor", ["out", "load"], "inductance", "1 mH");
    let load = with("load", "resistor", ["load", "gnd"], "resistance", "0.5 ohm");
    format!("format = 2\n{choke}{load}[record]\nsignals = [\"choke.current\", \"voltage(out)\"]\n")
}

/// Natural frequency and damping of the loop.
const NATURAL: f64 = TAU * 1e3;
const DAMPING: f64 = 0.5;

/// Step response of the loop of L di/dt + R i = u and u = P e + I ∫e dt: (P s + I)/(L s² + (R + P) s + I), so
/// ω² = I/L, 2ζω = (R + P)/L, and 1 − e^(−σt)·(cos ω_d t + (σ − P/L)/ω_d·sin ω_d t) (inverse transform of a second-order
/// system with a zero: Ogata, Modern Control Engineering, ch. 5; from memory).
fn response(t: f64, gain: f64) -> f64 {
    let sigma = DAMPING * NATURAL;
    let damped = NATURAL * (1.0 - DAMPING * DAMPING).sqrt();
    1.0 - (-sigma * t).exp() * ((damped * t).cos() + (sigma - gain / 1e-3) / damped * (damped * t).sin())
}

/// P in V/A and I in V/(A s).
fn gains() -> (f64, f64) {
    (2.0 * DAMPING * NATURAL * 1e-3 - 0.5, 1e-3 * NATURAL * NATURAL)
}

/// A source that the controller sets: the current follows the closed form within the half period that sampling delays
/// it, so the error halves with the period.
#[test]
fn a_current_loop_answers_a_step_as_a_second_order_system() {
    let (p, i) = gains();
    let error = |frequency: f64| {
        let text = format!(
            r#"{}{}{}
[[controller]]
name = "loop"
kind = "pi"
watches = "choke.current"
set-point = "0 A"
proportional = "{p} V/A"
integral = "{i} V/(A s)"
frequency = "{frequency} Hz"
source = "drive"
[steps]
end = "1.6 ms"
method = "piecewise"
"#,
            rl(),
            with("drive", "voltage-source", ["out", "gnd"], "driven-from", "0 V"),
            set("loop", "100 us", "10 A", "0 s"),
        );
        let found = Recorded::of(&text);
        let away = (1..140).map(|k| 1e-5 * f64::from(k)).map(|t| {
            let x = found.at(0, 1e-4 + t);
            (x - 10.0 * response(t, p)).abs()
        });
        away.fold(0.0, f64::max) / 10.0
    };
    let (slow, fast) = (error(2.5e5), error(5e5));
    // Half a period late at the steepest slope: P/L·T/2 of the step.
    assert!(fast < 0.6 * p / 1e-3 / 5e5, "{fast}");
    assert!((1.7..2.3).contains(&(slow / fast)), "{slow} and {fast}");
}

/// The same loop by the duty of ideal switches: gains over the supply's voltage. Samples lie between the pulses, where
/// the ripple is zero, so the samples follow the closed form.
#[test]
fn a_current_loop_by_pulses_follows_the_same_response() {
    let (p, i) = gains();
    let (supply, frequency) = (200.0, 2e5);
    let text = format!(
        r#"{}{}{}{}{}
[[controller]]
name = "loop"
kind = "pi"
watches = "choke.current"
set-point = "5 A"
proportional = "{} 1/A"
integral = "{} 1/(A s)"
initial = {}
frequency = "{frequency} Hz"
output = "high"
complement = "low"
[steps]
end = "2.5 ms"
method = "piecewise"
"#,
        rl(),
        follower("upper", ["bus", "out"], "high"),
        follower("lower", ["out", "gnd"], "low"),
        with("supply", "voltage-source", ["bus", "gnd"], "value", &format!("{supply} V")),
        set("loop", "1 ms", "10 A", "0 s"),
        p / supply,
        i / supply,
        5.0 * 0.5 / supply
    );
    let found = Recorded::of(&text);
    // At rest before the step (the loop has forgotten its start), and at 0.2 ms, 0.4 ms, ... after it.
    let period = 1.0 / frequency;
    for k in [0, 40, 60, 80, 120, 160, 200, 280] {
        let t = f64::from(k) * period;
        let x = found.at(0, 1e-3 + t);
        let expected = 5.0 + 5.0 * if k == 0 { 0.0 } else { response(t, p) };
        // Sampling delays by half a period: P/L·T/2 of the step at the steepest.
        assert!((x - expected).abs() < 5.0 * 0.6 * p / 1e-3 * period + 0.01, "{t}: {x} and {expected}");
    }
    let (end, expected) = (found.at(0, 2.5e-3), 5.0 + 5.0 * response(1.5e-3, p));
    assert!((end - expected).abs() < 0.01, "{end} and {expected}");
}

/// The periodic state of a loop that is closed is where its set-point is, not where its integral began: by pulses of ideal
/// switches into a choke and a resistance, the mean current is the set-point (samples lie where the ripple is zero).
#[test]
fn the_periodic_state_of_a_loop_is_at_its_set_point() {
    let (p, i) = gains();
    let text = format!(
        r#"{}{}{}{}
[[controller]]
name = "loop"
kind = "pi"
watches = "choke.current"
set-point = "8 A"
proportional = "{} 1/A"
integral = "{} 1/(A s)"
frequency = "200 kHz"
output = "high"
complement = "low"
[cycle]
source = ["supply"]
load = ["load"]
[steps]
end = "10 us"
method = "piecewise"
"#,
        rl(),
        follower("upper", ["bus", "out"], "high"),
        follower("lower", ["out", "gnd"], "low"),
        with("supply", "voltage-source", ["bus", "gnd"], "value", "200 V"),
        p / 200.0,
        i / 200.0,
    );
    let folder = Folder::scenario(&text);
    let (code, found) = folder.json(&["cycle", "@s.toml", "--no-estimate", "--closing", "1e-6"]);
    assert_eq!(code, 0, "{found}");
    let of = |what: &str| {
        let all = crate::common::answers::rows(&found, "balance");
        all.iter().find(|r| r["what"] == what).unwrap()["power"].as_f64().unwrap()
    };
    // I²·R of the mean, and of a ripple of V·D·(1 − D)/(f·L) = 20 mA.
    let expected = 0.5 * 64.0;
    assert!((of("output") / expected - 1.0).abs() < 1e-3, "{}", of("output"));
    let mean = 0.5
        * ["least", "largest"]
            .map(|end| crate::common::answers::value(&found, &format!("choke.current.{end}")))
            .iter()
            .sum::<f64>();
    assert!((mean - 8.0).abs() < 2e-3, "{mean}");
}

/// The fundamental of a half bridge: modulation index times half of the supply (Holmes & Lipo 2003, ch. 3), and legs
/// whose sines are a third of a period apart are so.
#[test]
fn sine_modulation_gives_its_fundamental() {
    let (carrier, fundamental, index) = (20e3, 100.0, 0.8);
    let leg = |name: &str, phase: f64| {
        let [upper, lower, load, high, low] =
            ["upper", "lower", "load", "high", "low"].map(|what| format!("{name}-{what}"));
        format!(
            r#"{}{}{}
[[controller]]
name = "{name}"
kind = "sine-pwm"
frequency = "{carrier} Hz"
fundamental = "{fundamental} Hz"
modulation = {index}
phase = "{phase} deg"
output = "{high}"
complement = "{low}"
"#,
            follower(&upper, ["bus+", name], &high),
            follower(&lower, [name, "bus-"], &low),
            with(&load, "resistor", [name, "gnd"], "resistance", "10 ohm"),
        )
    };
    let text = format!(
        r#"format = 2
{}{}{}{}
[steps]
end = "10 ms"
method = "piecewise"
[record]
signals = ["voltage(a)", "voltage(b)"]
"#,
        with("positive", "voltage-source", ["bus+", "gnd"], "value", "200 V"),
        with("negative", "voltage-source", ["gnd", "bus-"], "value", "200 V"),
        leg("a", 0.0),
        leg("b", 120.0)
    );
    let found = Recorded::of(&text);
    let time = &found.memory.time;
    let harmonic = |k: usize| {
        let mut sums = (0.0, 0.0);
        for n in 1..time.len() {
            let (a, b) = (time[n - 1], time[n]);
            let x = 0.5 * (found.memory.samples[n - 1][k] + found.memory.samples[n][k]);
            // ∫ of a constant times sine and cosine.
            let w = TAU * fundamental;
            sums.0 += x * ((w * a).cos() - (w * b).cos()) / w;
            sums.1 += x * ((w * b).sin() - (w * a).sin()) / w;
        }
        (2.0 * fundamental * sums.0, 2.0 * fundamental * sums.1)
    };
    let [a, b] = [harmonic(0), harmonic(1)];
    for (k, x) in [a, b].iter().enumerate() {
        let amplitude = x.0.hypot(x.1);
        assert!((amplitude / (index * 200.0) - 1.0).abs() < 2e-3, "{k}: {amplitude}");
    }
    let degrees = (b.1.atan2(b.0) - a.1.atan2(a.0)).to_degrees().rem_euclid(360.0);
    assert!((degrees - 120.0).abs() < 0.2, "{degrees}");
}

/// A load that steps, and one that ramps: R·I·(1 − e^(−t/τ)), and R·(I/T)·(t − τ·(1 − e^(−t/τ))) (first order; Dorf &
/// Svoboda).
#[test]
fn loads_step_and_ramp() {
    let text = |over: &str| {
        let store = with("store", "capacitor", ["out", "gnd"], "capacitance", "1 uF");
        let damping = with("damping", "resistor", ["out", "gnd"], "resistance", "100 ohm");
        let load = with("load", "current-source", ["gnd", "out"], "driven-from", "0 A");
        let event = set("load", "50 us", "2 A", over);
        format!(
            "format = 2\n{store}{damping}{load}{event}[steps]\nend = \"500 us\"\n\
             [record]\nsignals = [\"voltage(out)\"]\n"
        )
    };
    let (tau, r) = (1e-4, 100.0);
    let step = Recorded::of(&text("0 s"));
    let ramp = Recorded::of(&text("500 us"));
    for k in 1..45 {
        let t = 1e-5 * f64::from(k);
        let gone = 1.0 - (-t / tau).exp();
        let found = step.at(0, 5e-5 + t);
        assert!((found - 2.0 * r * gone).abs() < 2e-3, "{t}: {found}");
        let expected = r * 2.0 / 5e-4 * (t - tau * gone);
        let found = ramp.at(0, 5e-5 + t);
        assert!((found - expected).abs() < 2e-3, "{t}: {found} and {expected}");
    }
    assert!(step.at(0, 4.9e-5).abs() < 1e-9 && step.relative < 1e-5, "{}", step.relative);
    let told = step.events(EventKind::Scheduled);
    assert!(told.iter().any(|e| e.subject == "load" && e.note == "value steps"), "{told:?}");
}

#[test]
fn what_cannot_be_set_is_refused() {
    let base = format!(
        "{}{}[steps]\nend = \"1 ms\"\n",
        rl(),
        with("s", "voltage-source", ["out", "gnd"], "value", "1 V")
    );
    let check = |more: &str, why: &str| {
        Folder::scenario(&format!("{base}{more}")).refuses(2, &["check", "@s.toml"], why)
    };
    check(
        "[[event]]\nat = \"0 s\"\nwhat = \"set\"\nof = \"s\"\nvalue = \"2 V\"\n",
        "has no value that can be set",
    );
    let pi = "[[controller]]\nname = \"loop\"\nkind = \"pi\"\nwatches = \"choke.current\"\nset-point = \"1 A\"\nfrequency = \"1 kHz\"\n";
    check(&format!("{pi}proportional = \"1 V/A\"\nsource = \"s\"\n"), "has no value that can be set");
    check(&format!("{pi}proportional = \"1 V/A\"\noutput = \"x\"\n"), "proportional");
    check(&format!("{pi}proportional = \"1 1/A\"\n"), "the line that it switches");
    check(&format!("{pi}proportional = \"1 1/A\"\noutput = \"x\"\nmost = 2\n"), "expected 0 to 1");
}
