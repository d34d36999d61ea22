//! Inductors that saturate.

use super::Recorded;
use crate::common::answers::value;
use crate::common::folder::Folder;
use crate::common::typed::{component, follower};

/// A saturable inductor across a source, recorded.
fn across(source: &str, choke: &str, steps: &str) -> String {
    let pins = ["in", "gnd"];
    let knee = format!("inductance = \"1 mH\"\nsaturated-inductance = \"50 uH\"\n{choke}");
    format!(
        "format = 2\n{}{}[steps]\n{steps}\n[record]\nsignals = [\"choke.current\"]\n",
        component("supply", "voltage-source", pins, source),
        component("choke", "saturable-inductor", pins, &knee)
    )
}

/// A constant voltage winds up the flux: λ(i) = V·t, λ = L_s·i + (L₀ − L_s)·i/√(1 + (i/I_s)²). The stored energy is
/// ∫ i dλ, in closed form.
#[test]
fn a_saturable_inductor_follows_its_flux() {
    let (most, least, knee, volts): (f64, f64, f64, f64) = (1e-3, 5e-5, 10.0, 100.0);
    let flux = |i: f64| least * i + (most - least) * i / (1.0 + (i / knee).powi(2)).sqrt();
    let energy = |i: f64| {
        let x = 1.0 + (i / knee).powi(2);
        0.5 * least * i * i + (most - least) * knee * knee * (1.0 - 1.0 / x.sqrt())
    };
    let current = |wanted: f64| {
        let (mut low, mut high) = (0.0, 1e4);
        for _ in 0..200 {
            let middle = 0.5 * (low + high);
            if flux(middle) < wanted { low = middle } else { high = middle }
        }
        low
    };
    let text = |begin: &str, start: &str| {
        let choke = format!("saturation-current = \"10 A\"\n{begin}");
        across("value = \"100 V\"", &choke, &format!("end = \"200 us\"\nstart = \"{start}\""))
    };
    for (begin, start, first) in [
        ("initial-current = \"0 A\"", "stated", 0.0),
        ("initial-current = \"6 A\"", "stated", 6.0),
        ("initial-current = \"6 A\"", "stated\"\nmethod = \"rodas4", 6.0),
        ("initial-current = \"6 A\"", "operating-point", 6.0),
    ] {
        let found = Recorded::of(&text(begin, start));
        for k in 0..=20 {
            let t = 1e-5 * f64::from(k);
            let expected = current(flux(first) + volts * t);
            let x = found.at(0, t);
            assert!(
                (x - expected).abs() < 2e-3 * expected.max(1.0),
                "{begin} {start} {t}: {x} and {expected}"
            );
        }
        let end = current(flux(first) + volts * 2e-4);
        let stored = found.stored.iter().find(|e| e.0 == "choke").unwrap().1;
        let expected = energy(end) - energy(first);
        assert!((stored / expected - 1.0).abs() < 1e-4, "{stored} and {expected}");
        let lost = found.dissipated.iter().find(|e| e.0 == "choke").unwrap().1;
        assert!(lost.abs() < 1e-6 * expected && found.relative < 1e-4, "{lost}, {}", found.relative);
    }
}

/// One whose two inductances are equal is a linear one, and costs as few steps: its flux counts in the balance of energies
/// that each step must keep.
#[test]
fn an_inductor_that_does_not_saturate_costs_no_more_steps() {
    let pulse = r#"points = [["0 s", "0 V"], ["1 us", "100 V"], ["100 us", "100 V"], ["101 us", "0 V"]]"#;
    let steps = |kind: &str, more: &str| {
        let choke = component("choke", kind, ["in", "out"], &format!("inductance = \"1 mH\"\n{more}"));
        let text = format!(
            "format = 2\n{}{choke}{}[steps]\nend = \"500 us\"\n[record]\nsignals = [\"choke.current\"]\n",
            component("source", "voltage-source", ["in", "gnd"], pulse),
            component("load", "resistor", ["out", "gnd"], "resistance = \"10 ohm\""),
        );
        let found = Recorded::of(&text);
        assert!(found.relative < 1e-6, "{}", found.relative);
        found.steps as f64
    };
    let linear = steps("inductor", "");
    let other = steps("saturable-inductor", "saturated-inductance = \"1 mH\"\nsaturation-current = \"10 A\"");
    assert!(other < 2.0 * linear, "{other} and {linear}");
}

/// The periodic state of a buck of ideal switches whose choke's two inductances are equal is that of a linear one.
#[test]
fn the_periodic_state_knows_the_flux_of_a_choke() {
    let swing = |kind: &str, more: &str| {
        let choke = component("choke", kind, ["mid", "out"], &format!("inductance = \"100 uH\"\n{more}"));
        let text = [
            "format = 2\n".to_string(),
            component("supply", "voltage-source", ["bus", "gnd"], "value = \"100 V\""),
            follower("upper", ["bus", "mid"], "high"),
            follower("lower", ["mid", "gnd"], "low"),
            choke,
            component(
                "output",
                "capacitor",
                ["out", "gnd"],
                "capacitance = \"5 uF\"\ninitial-voltage = \"50 V\"",
            ),
            component("load", "resistor", ["out", "gnd"], "resistance = \"5 ohm\""),
            "[[controller]]\nname = \"modulator\"\nkind = \"pwm\"\noutput = \"high\"\ncomplement = \"low\"\n\
             frequency = \"100 kHz\"\nduty = 0.5\n\
             [cycle]\nsource = [\"supply\"]\nload = [\"load\"]\n[steps]\nend = \"10 us\"\nbase = \"50 ns\"\n\
             [record]\nsignals = [\"choke.current\"]\n"
                .to_string(),
        ];
        let (code, found) = Folder::scenario(&text.concat()).json(&["cycle", "@s.toml", "--no-estimate"]);
        assert_eq!(code, 0, "{found}");
        ["least", "largest"].map(|end| value(&found, &format!("choke.current.{end}")))
    };
    let linear = swing("inductor", "");
    let other =
        swing("saturable-inductor", "saturated-inductance = \"100 uH\"\nsaturation-current = \"10 A\"");
    for (x, y) in linear.iter().zip(other) {
        assert!((x - y).abs() < 1e-3, "{linear:?} and {other:?}");
    }
    // D·V/R = 10 A, and half of V·D·(1 − D)/(f·L) = 2.5 A to either side.
    assert!((linear[1] - 11.25).abs() < 0.02 && (linear[0] - 8.75).abs() < 0.02, "{linear:?}");
}

/// With a winding resistance and at rest it is that resistance; small signals see L₀: i = V/R·(1 − e^(−R·t/L₀)). Both
/// methods of order 4 book its energies, with about as many steps.
#[test]
fn a_saturable_inductor_is_linear_at_small_currents() {
    let mut steps = Vec::new();
    for method in ["esdirk4", "rodas4"] {
        let text = across(
            r#"points = [["0 s", "0 V"], ["0 s", "1 V"]]"#,
            "saturation-current = \"1 kA\"\nseries-resistance = \"10 ohm\"\ninitial-current = \"0 A\"",
            &format!("end = \"500 us\"\nstart = \"stated\"\nmethod = \"{method}\""),
        );
        let found = Recorded::of(&text);
        for k in 1..=50 {
            let t = 1e-5 * f64::from(k);
            let expected = 0.1 * (1.0 - (-t / 1e-4).exp());
            assert!(
                (found.at(0, t) - expected).abs() < 2e-6,
                "{method} {t}: {} and {expected}",
                found.at(0, t)
            );
        }
        let lost = found.dissipated.iter().find(|e| e.0 == "choke").unwrap().1;
        // V²/R·(T − 2τ(1 − e^(−T/τ)) + τ/2·(1 − e^(−2T/τ))), T = 5τ.
        let expected = 0.1 * 1e-4 * (5.0 - 2.0 * (1.0 - (-5f64).exp()) + 0.5 * (1.0 - (-10f64).exp()));
        assert!((lost / expected - 1.0).abs() < 1e-4, "{method}: {lost} and {expected}");
        steps.push(found.steps as f64);
    }
    assert!(steps[1] < 2.0 * steps[0], "{steps:?}");
}
