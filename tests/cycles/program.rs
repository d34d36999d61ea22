//! The commands `cycle` and `dead-time`, and the example of every arrangement.

use crate::common::program::{describe as json, joulestep};

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
        let number = |key: &str| found[key].as_f64().unwrap();
        println!("{name}: {} {}", number("closing_error"), number("balance_residual"));
        assert!(number("closing_error") <= 1e-5, "{name}: {found}");
        assert!(number("balance_residual").abs() <= 1e-4, "{name}: {found}");
        let sum = |rows: &str, key: &str| -> f64 {
            found[rows].as_array().unwrap().iter().map(|r| r[key].as_f64().unwrap()).sum()
        };
        let all = sum("switches", "sum") + sum("others", "loss");
        assert!((all - number("losses")).abs() <= 1e-9 * number("input").abs(), "{name}: {found}");
    }
    // Those that do not repeat: the ledger of the run, over what was turned over.
    for name in ["bidirectional-breaker", "precharge", "inductive-break"] {
        let out = folder.path().join(format!("{name}.h5")).display().to_string();
        let path = format!("examples/ferry-{name}.toml");
        let found = json(&["run", &path, "--out", &out, "--json", "--no-estimate"]);
        let residual = found["ledger_residual_relative"].as_f64();
        assert!(residual.is_some_and(|r| r.abs() <= 1e-4), "{name}: {residual:?}");
    }
}

/// Input, output and losses are summed on their own; temperatures and losses agree (T = T_sink + P·R_th).
#[test]
fn the_buck_in_its_steady_state() {
    let found = json(&["cycle", "examples/ferry-buck.toml", "--json"]);
    let number = |key: &str| found[key].as_f64().unwrap();
    assert!(number("closing_error") < 1e-5 && number("balance_residual").abs() < 1e-4, "{found}");
    assert!(number("periods_run") < 60.0, "{found}");
    let given = number("input") + number("gate_sources");
    assert!(((given - number("output") - number("losses")) / given).abs() < 1e-4);
    assert!((0.9..1.0).contains(&number("efficiency")));
    let switches = found["switches"].as_array().unwrap();
    let sum: f64 = switches.iter().map(|s| s["sum"].as_f64().unwrap()).sum();
    assert!((sum + number("passive") + number("clamp") - number("losses")).abs() < 1e-9 * given);
    let die = &found["temperatures"][0];
    let of = |key: &str| die[key].as_f64().unwrap();
    // 0.045 + 0.38 + 0.45 K/W above a heatsink of 45 degC.
    assert!((of("mean") - 45.0 - 0.875 * of("power")).abs() < 0.02, "{die}");
    assert!(of("ripple") > 0.0 && of("least") < of("mean") && of("mean") < of("largest"));
}

#[test]
fn the_dead_time_of_a_leg() {
    // At 8 ohm more than the output charge flows through the lower switch (125 nC more, here 78 nC), and coarser runs
    // tell turn-on energies that differ by 3 %: they are then given 10 %.
    let found = json(&[
        "dead-time",
        "cascode-700v-22m",
        "--dead-time",
        "40 ns,250 ns",
        "--current",
        "20 A",
        "--gate-resistance",
        "15 ohm",
        "--json",
    ]);
    let rows = found["rows"].as_array().unwrap();
    assert_eq!(rows.len(), 2);
    assert_eq!(rows[1]["lower_turn_on"], "soft");
    // The integral diodes' loss grows with the dead time (common practice, no source).
    assert!(rows[1]["diode_energy"].as_f64() > rows[0]["diode_energy"].as_f64());
    let best = &found["best"][0];
    let q = found["output_charge"].as_f64().unwrap();
    assert!((best["estimate"].as_f64().unwrap() - 2.0 * q / 20.0).abs() < 1e-15);
    // Charge balance alone is a lower bound: gates take their time on top.
    assert!(best["soft_from"].as_f64() > best["estimate"].as_f64());
    // Numbers have their errors, and the least at the edge of a list has none.
    for key in ["losses", "turn_on_energy", "conduction_energy"] {
        let [value, error] = ["", "_error"].map(|end| rows[1][&format!("{key}{end}")].as_f64().unwrap());
        assert!(error > 0.0 && error < 0.01 * value, "{key}: {value} ± {error}");
    }
    assert!(best["least_loss_dead_time_error"].is_null() && best["at_edge_of_list"] == "yes", "{best}");
    // The same from a scenario, and what is refused.
    let scenario =
        ["dead-time", "examples/ferry-buck.toml", "--dead-time", "100 ns", "--current", "10 A", "--csv"];
    assert_eq!(joulestep(&scenario).code, 0);
    let long = ["dead-time", "cascode-700v-22m", "--dead-time", "6 us", "--current", "10 A"];
    assert_eq!(joulestep(&long).code, 2);
    assert_eq!(joulestep(&["cycle", "examples/ferry-breaker.toml"]).code, 2);
    assert_eq!(joulestep(&["cycle", "examples/ferry-precharge.toml"]).code, 2);
}
