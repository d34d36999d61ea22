//! `rating`, as a user runs it: facts of the trade on the shipped parts and packages, bad input.

use serde_json::Value;

use crate::common::answers::{rows, value};
use crate::common::program::{describe, joulestep as run};

/// The cascode on its board, and the superjunction device where it is asked for.
fn rated(heatsink: &str, both: bool, more: &[&str]) -> Value {
    let mut arguments = vec!["rating", "cascode-700v-7m", "--on", "board-700v-7m", "--heatsink", heatsink];
    if both {
        arguments.extend(["mosfet-sj-620v-49m", "--on", "board-sj-620v-49m"]);
    }
    arguments.extend(["--json", "--cells", "12000"]);
    arguments.extend(more);
    describe(&arguments)
}

fn of<'a>(report: &'a Value, part: &str) -> Vec<&'a Value> {
    rows(report, "surge").iter().filter(|r| r["part"] == part).collect()
}

/// Facts of the trade (`common practice, no source`): with the heatsink at 25 °C, where data sheets state such
/// currents, and junctions up to 175 °C, a cascode of a few milliohms takes for half a millisecond more than four times
/// what it takes continuously; its thermal I²t limit is about eight times that of a superjunction device of seven times
/// the resistance with a lower highest temperature in the same outline. That ratio belongs to pulses so long that the
/// whole heat path is warm. In a shorter one die and slug count, of which no fact of the trade tells: the shipped parts
/// then come to 7 to 9.
///
/// A hotter heatsink leaves less rise, ΔT, and I²·R = ΔT/Zth at the same highest temperature: currents fall with √ΔT.
/// For ever that is exact but for the package's conductivities and the share of the two dies, hence 2 %; in a pulse the
/// resistance on the way there counts too, and it is higher from 50 °C.
#[test]
fn the_very_low_ohmic_cascode_is_rated_as_the_trade_knows_it() {
    let pulses = ["--from", "0.5 ms", "--to", "100 s", "--points", "3"];
    let [report, hotter] = ["25 degC", "50 degC"].map(|heatsink| rated(heatsink, true, &pulses));
    let [cascode, other] = ["cascode-700v-7m", "mosfet-sj-620v-49m"].map(|p| of(&report, p));
    let surge = |row: &Value| row["current"].as_f64().unwrap();
    let of_cascode = |report: &Value, name: &str| value(report, &format!("cascode-700v-7m.{name}"));
    let forever = |report: &Value| of_cascode(report, "continuous.current");
    let [short, long] = [surge(cascode[0]), forever(&report)];
    println!("{short:.0} A for half a millisecond, {long:.0} A for ever");
    assert!((4.0..7.0).contains(&(short / long)), "{short} A for half a millisecond, {long} A for ever");
    let left = (f64::from(175 - 50) / f64::from(175 - 25)).sqrt();
    for fallen in
        [surge(of(&hotter, "cascode-700v-7m")[0]) / surge(cascode[0]), forever(&hotter) / forever(&report)]
    {
        assert!((fallen / left - 1.0).abs() < 0.02, "{fallen} of the current is left, expected {left}");
    }
    for report in [&report, &hotter] {
        let margin = of_cascode(report, "continuous.loop-gain");
        assert!(margin > 0.0 && margin < 1.0);
        assert!(of_cascode(report, "runaway.current") > forever(report));
    }
    let ratios: Vec<f64> = cascode
        .iter()
        .zip(&other)
        .map(|(a, b)| a["i2t"].as_f64().unwrap() / b["i2t"].as_f64().unwrap())
        .collect();
    assert!((7.5..8.5).contains(&ratios[2]), "I²t {} times at 100 s", ratios[2]);
    assert!(ratios.iter().all(|r| (7.0..9.0).contains(r)), "I²t {ratios:?} times");
}

/// A longer pulse, a hotter heatsink, a current before the pulse: each leaves less.
#[test]
fn what_heats_more_carries_less() {
    let currents = |more: &[&str]| -> Vec<f64> {
        let report =
            rated("50 degC", false, &[&["--from", "1 ms", "--to", "10 s", "--points", "4"], more].concat());
        of(&report, "cascode-700v-7m").iter().map(|r| r["current"].as_f64().unwrap()).collect()
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
        (&["--heatsink", "180 degC"][..], "expected from -100 degC to below 175 degC"),
        (&["--hottest", "300 degC"], "above the highest junction temperature of cascode-700v-7m (175 °C)"),
        (&["--heatsink", "50 K/W"], "heatsink: `50 K/W` is a thermal resistance"),
        (&["--from", "1 s", "--to", "1 ms"], "expected `to` above `from`"),
        (&["--before", "500 A"], "exceeds the continuous rating"),
        (&["--on", "board-700v-7n"], "board-700v-7m"),
        (&["--on", "board-700v-7m", "--on", "board-sj-620v-49m"], "one for all, or one for each"),
        (&["--gate-on", "40 V"], "its gate withstands"),
    ] {
        let out = run(&[&["rating", "cascode-700v-7m"], arguments].concat());
        let report = out.err.clone();
        let report = report.split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(out.code, 2, "{arguments:?}: {report}");
        assert!(report.contains(words), "{arguments:?}: {report}");
    }
    let out = run(&["rating", "varistor-400v-rail"]);
    assert_eq!(out.code, 2, "{}", out.err);
}
