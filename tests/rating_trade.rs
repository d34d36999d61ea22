//! `rating`, as a user runs it: facts of the trade on the shipped parts and package stacks, bad input.

use serde_json::Value;

use crate::common::program::{joulestep as run, told};

fn rated(more: &[&str]) -> Value {
    let mut arguments = vec![
        "rating",
        "stack-750v-5m4",
        "mosfet-superjunction-650v-40m",
        "--on",
        "board-750v-5m4",
        "--on",
        "board-superjunction",
        "--heatsink",
        "50 degC",
        "--json",
        "--cells",
        "12000",
    ];
    arguments.extend(more);
    told(&arguments)
}

fn of<'a>(told: &'a Value, part: &str) -> Vec<&'a Value> {
    told["curve"].as_array().expect("rows").iter().filter(|r| r["part"] == part).collect()
}

/// Facts of the trade (`common practice, no source`): with the heatsink at 50 °C and junctions up to 175 °C, a 750 V
/// stack of 5.4 mΩ in a leadless package takes over 500 A for half a millisecond and about 90 A for ever; its thermal
/// I²t limit is about eight times that of a superjunction device of 40 mΩ with a lower highest temperature in the same
/// outline. The shipped parts come within the bounds asserted here: 85 A for ever, and 470 A for half a millisecond, where
/// the JFET begins to saturate.
#[test]
fn the_very_low_ohmic_stack_is_rated_as_the_trade_knows_it() {
    let told = rated(&["--from", "0.5 ms", "--to", "100 s", "--points", "3"]);
    let [stack, other] = ["stack-750v-5m4", "mosfet-superjunction-650v-40m"].map(|p| of(&told, p));
    let surge = stack[0]["current"].as_f64().unwrap();
    assert!((440.0..560.0).contains(&surge), "{surge} A for half a millisecond");
    let forever = told["ratings"][0]["continuous"]["current"].as_f64().unwrap();
    assert!((80.0..100.0).contains(&forever), "{forever} A for ever");
    let margin = told["ratings"][0]["continuous"]["loop_gain"].as_f64().unwrap();
    assert!(margin > 0.0 && margin < 1.0);
    assert!(told["ratings"][0]["runaway_current"].as_f64().unwrap() > forever);
    for (a, b) in stack.iter().zip(&other) {
        let ratio = a["square_integral"].as_f64().unwrap() / b["square_integral"].as_f64().unwrap();
        assert!((5.5..9.5).contains(&ratio), "I²t {ratio} times");
    }
    let last = stack[2]["square_integral"].as_f64().unwrap() / other[2]["square_integral"].as_f64().unwrap();
    assert!((7.0..9.0).contains(&last), "I²t {last} times at 100 s");
}

/// A longer pulse, a hotter heatsink, a current before the pulse: each leaves less.
#[test]
fn what_heats_more_carries_less() {
    let currents = |more: &[&str]| -> Vec<f64> {
        let told = rated(&[&["--from", "1 ms", "--to", "10 s", "--points", "4"], more].concat());
        of(&told, "stack-750v-5m4").iter().map(|r| r["current"].as_f64().unwrap()).collect()
    };
    let usual = currents(&[]);
    assert!(usual.windows(2).all(|w| w[1] < w[0]), "{usual:?}");
    let later = currents(&["--before", "20 A"]);
    assert!(usual.iter().zip(&later).all(|(a, b)| b < a), "{usual:?} {later:?}");
    // Half a sine of the same base and an exponential of that time constant heat less than the square.
    for shape in ["half-sine", "exponential"] {
        assert!(usual.iter().zip(&currents(&["--shape", shape])).all(|(a, b)| b > a), "{shape}");
    }
}

#[test]
fn bad_input_is_refused_in_words() {
    for (arguments, words) in [
        (&["--heatsink", "180 degC"][..], "not below the highest junction temperature of 175 °C"),
        (&["--hottest", "300 degC"], "beyond its highest junction temperature"),
        (&["--heatsink", "50 K/W"], "--heatsink"),
        (&["--from", "1 s", "--to", "1 ms"], "expected --to above --from"),
        (&["--before", "500 A"], "more than it carries for ever"),
        (&["--on", "board-750v-5m5"], "board-750v-5m4"),
        (&["--on", "board-750v-5m4", "--on", "board-superjunction"], "once for all, or once for each"),
        (&["--gate-on", "40 V"], "its gate tolerates"),
    ] {
        let out = run(&[&["rating", "stack-750v-5m4"], arguments].concat());
        let told = out.err.clone();
        let told = told.split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(out.code, 2, "{arguments:?}: {told}");
        assert!(told.contains(words), "{arguments:?}: {told}");
    }
    let out = run(&["rating", "varistor-400v-bus"]);
    assert_eq!(out.code, 2, "{}", out.err);
}
