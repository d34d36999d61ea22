//! The commands `cycle` and `dead-time`, and the example of every arrangement.

use std::collections::BTreeMap;

use crate::common::answers::{self, rows, value};
use crate::common::catalogued::shipped;
use crate::common::folder::Folder;
use crate::common::program::{describe as json, joulestep, words};

/// Every arrangement has an example that is right.
#[test]
fn every_arrangement_has_an_example() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("examples");
    let mut texts = Vec::new();
    for file in std::fs::read_dir(folder).unwrap() {
        let path = file.unwrap().path();
        if path.extension().is_some_and(|e| e == "toml") {
            texts.push((path.display().to_string(), std::fs::read_to_string(&path).unwrap()));
        }
    }
    for arrangement in joulestep_models::arrangement::shipped() {
        let line = format!("kind = \"{}\"", arrangement.kind);
        let found = texts.iter().find(|t| t.1.contains(&format!("[arrangement]\n{line}")));
        let (path, _) = found.unwrap_or_else(|| panic!("no example of {}", arrangement.kind));
        assert_eq!(json(&["check", path, "--json"])["valid"], true);
    }
}

/// Every example closes: input, output, losses and storage, each summed on its own, to 1e-4 of the input; with a period
/// of the fundamental at 1 kHz in place of 50 Hz where cascodes are modulated, and a load that forgets within it.
#[test]
fn every_arrangement_balances() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["buck", "boost", "half-bridge", "resonant", "dual-active-bridge", "totem-pole", "inverter"] {
        let mut path = format!("examples/ferry-{name}.toml");
        if name == "inverter" {
            let text = std::fs::read_to_string(&path).unwrap();
            let mut short = text.clone();
            for (long, brief) in [
                ("fundamental-frequency = \"50 Hz\"", "fundamental-frequency = \"1 kHz\""),
                ("load-inductance = \"5 mH\"", "load-inductance = \"0.5 mH\""),
            ] {
                assert!(short.contains(long));
                short = short.replace(long, brief);
            }
            path = folder.path().join("inverter.toml").display().to_string();
            std::fs::write(&path, short).unwrap();
        }
        let found = json(&["cycle", &path, "--json", "--no-estimate"]);
        let number = |key: &str| rows(&found, "search")[0][key].as_f64().unwrap();
        println!("{name}: {} {}", number("closing_error"), number("residual"));
        assert!(number("closing_error") <= 1e-5, "{name}: {found}");
        assert!(number("residual").abs() <= 1e-4, "{name}: {found}");
        let sum = |table: &str, key: &str| -> f64 {
            rows(&found, table).iter().map(|r| r[key].as_f64().unwrap()).sum()
        };
        let all = sum("losses", "sum") + sum("others", "loss");
        let input = balance(&found, "input");
        assert!((all - value(&found, "losses")).abs() <= 1e-9 * input.abs(), "{name}: {found}");
    }
    // Those that do not repeat: the ledger of the run, over what was turned over.
    for name in ["bidirectional-breaker", "precharge", "inductive-break"] {
        let out = folder.path().join(format!("{name}.h5")).display().to_string();
        let path = format!("examples/ferry-{name}.toml");
        let found = json(&["run", &path, "--out", &out, "--json", "--no-estimate"]);
        let residual = value(&found, "ledger_residual_relative");
        assert!(residual.abs() <= 1e-4, "{name}: {residual}");
    }
}

/// A power of the balance.
fn balance(found: &serde_json::Value, what: &str) -> f64 {
    let row = rows(found, "balance").iter().find(|r| r["what"] == what);
    row.and_then(|r| r["power"].as_f64()).unwrap_or_else(|| panic!("no {what}: {found}"))
}

/// Input, output and losses are summed on their own; temperatures and losses agree (T = T_sink + P·R_th).
#[test]
fn the_buck_in_its_steady_state() {
    let found = json(&["cycle", "examples/ferry-buck.toml", "--json"]);
    let number = |key: &str| rows(&found, "search")[0][key].as_f64().unwrap();
    assert!(number("closing_error") < 1e-5 && number("residual").abs() < 1e-4, "{found}");
    assert!(number("periods") < 60.0, "{found}");
    let power = |what: &str| balance(&found, what);
    let given = power("input") + power("gate drives");
    assert!(((given - power("output") - power("losses")) / given).abs() < 1e-4);
    assert!((0.9..1.0).contains(&value(&found, "efficiency")));
    let sum: f64 = rows(&found, "losses").iter().map(|s| s["sum"].as_f64().unwrap()).sum();
    let other = power("of which other than switches") + power("of which clamp");
    assert!((sum + other - value(&found, "losses")).abs() < 1e-9 * given);
    let die = &rows(&found, "temperatures")[0];
    let of = |key: &str| die[key].as_f64().unwrap();
    // 0.045 + 0.38 + 0.45 K/W above a heatsink of 45 degC.
    assert!((of("mean") - 45.0 - 0.875 * of("power")).abs() < 0.02, "{die}");
    assert!(of("ripple") > 0.0 && of("least") < of("mean") && of("mean") < of("largest"));
}

#[test]
fn the_dead_time_of_a_leg() {
    // At 8 ohm more than the output charge flows through the lower switch (125 nC more, here 78 nC), and coarser runs
    // tell turn-on energies that differ by 3 %: they are then given 10 %.
    let found = json(&words(
        "dead-time cascode-700v-22m --dead-time '40 ns,250 ns' --current '20 A' --gate-resistance '15 ohm' --json",
    ));
    let rows = answers::rows(&found, "energies");
    assert_eq!(rows.len(), 2);
    assert_eq!(answers::rows(&found, "transitions")[1]["lower_turn_on"], "soft");
    // The integral diodes' loss grows with the dead time (common practice, no source).
    assert!(rows[1]["diode_energy"].as_f64() > rows[0]["diode_energy"].as_f64());
    // The output charge of the part at 400 V and 25 °C.
    let parts = BTreeMap::from([(String::new(), shipped("cascode-700v-22m"))]);
    let leg = joulestep_models::arrangement::dead_time::LegUnderTest { parts, given: Vec::new() };
    let charges = joulestep_models::arrangement::dead_time::estimate(&leg, 400.0, 25.0).unwrap();
    let (q, _) = charges.expect("a charge");
    let balance = value(&found, "estimate");
    assert!((balance - 2.0 * q / 20.0).abs() < 1e-15);
    let report = format!("lower switch {0}, upper {0}.", joulestep_engine::units::people(q, "C"));
    assert!(found["conditions"].as_array().unwrap().iter().any(|c| c.as_str().unwrap().ends_with(&report)));
    // Charge balance alone is a lower bound: gates take their time on top.
    assert!(value(&found, "soft-from") > balance);
    // Numbers have their errors, and the least at the edge of a list has none.
    for key in ["losses", "turn_on_energy", "conduction_energy"] {
        let [value, error] = ["", "_error"].map(|end| rows[1][&format!("{key}{end}")].as_f64().unwrap());
        assert!(error > 0.0 && error < 0.01 * value, "{key}: {value} ± {error}");
    }
    let best = answers::answer(&found, "best.dead-time");
    assert!(
        best["error"].is_null() && best["remark"].as_str().unwrap().contains("at the end of the list"),
        "{best}"
    );
    // The same from a scenario, and what is refused.
    let scenario =
        "dead-time --scenario examples/ferry-buck.toml --dead-time '100 ns' --current '10 A' --csv";
    assert_eq!(joulestep(&words(scenario)).code, 0);
    let long = ["dead-time", "cascode-700v-22m", "--dead-time", "6 us", "--current", "10 A"];
    assert_eq!(joulestep(&long).code, 2);
    assert_eq!(joulestep(&["cycle", "examples/ferry-breaker.toml"]).code, 2);
    assert_eq!(joulestep(&["cycle", "examples/ferry-precharge.toml"]).code, 2);
}

/// A long run comes to the state that is told to repeat: the largest choke current of the shipped totem pole rises from
/// period to period (the choke forgets with a time constant of 33 ms) until it stands. Its control begins otherwise than
/// it repeats: before the first edge there is no dead time.
#[test]
fn a_long_run_comes_to_the_state_that_repeats() {
    let text = std::fs::read_to_string("examples/ferry-totem-pole.toml").unwrap();
    let long = text.replace("end = \"40 ms\"", "end = \"160 ms\"");
    assert_ne!(long, text);
    let (code, run) = Folder::scenario(&long).json(&["run", "@s.toml", "--no-estimate"]);
    assert_eq!(code, 0, "{run}");
    let found = json(&["cycle", "examples/ferry-totem-pole.toml", "--json"]);
    let [told, expected] = [&found, &run].map(|report| value(report, "limit.choke-current.largest"));
    assert!((told - expected).abs() < 1e-6 * expected, "{told} and {expected}");
}
