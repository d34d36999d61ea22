//! `parts compare` and `parts resistance`: what is printed is what the figures are, in every format.

use serde_json::Value;

use crate::common::answers;
use crate::common::program::joulestep;
use crate::common::rig::near;

const PARTS: [&str; 3] = ["cascode-700v-22m", "mosfet-sic-700v-12m", "diode-sic-700v-50a"];

fn compare(more: &[&str]) -> crate::common::program::Done {
    joulestep(&[&["parts", "compare"], &PARTS[..], more].concat())
}

#[test]
fn formats_agree_and_the_reference_is_one() {
    let json = compare(&["--json", "--reference", "mosfet-sic-700v-12m"]);
    assert_eq!(json.code, 0, "{}", json.err);
    let report: Value = serde_json::from_str(&json.out).unwrap();
    let rows_of = |table: &str| report["tables"][table]["rows"].as_array().unwrap().clone();
    let (rows, relative, from) = (rows_of("figures"), rows_of("relative"), rows_of("made-of"));
    assert_eq!([rows.len(), relative.len(), from.len()], [6; 3]);
    let keys = |row: &Value| -> Vec<String> { row.as_object().unwrap().keys().cloned().collect() };
    for row in relative.iter().filter(|r| r["part"] == "mosfet-sic-700v-12m") {
        for figure in keys(row).iter().filter(|k| !matches!(k.as_str(), "part" | "temperature")) {
            assert_eq!(row[figure], 1.0, "{figure}");
        }
    }
    // A diode has no on-resistance, which is said and not made up.
    let diode = rows.iter().find(|r| r["part"] == PARTS[2]).unwrap();
    assert!(diode["on_resistance"].is_null() && diode["diode_drop"].as_f64().unwrap() > 0.5);
    // The products are products.
    for (row, from) in rows.iter().zip(&from).filter(|r| !r.0["on_resistance"].is_null()) {
        let of = |row: &Value, key: &str| row[key].as_f64().unwrap();
        let product = of(row, "on_resistance") * of(from, "gate_charge");
        near("R·Q_g", of(row, "on_resistance_gate_charge"), product, 1e-12);
        let charge = of(from, "output_capacitance_time_related") * 400.0;
        near("C_o(tr)·V", charge, of(from, "output_charge"), 1e-12);
    }
    // The answers are the table's rows at the working temperature.
    for answer in report["answers"].as_array().unwrap() {
        let (part, key) = answer["name"].as_str().unwrap().split_once('.').unwrap();
        let row = rows.iter().find(|r| r["part"] == part && r["temperature"] == 125.0).unwrap();
        assert_eq!(row[key], answer["value"], "{part} {key}");
    }
    let csv = compare(&["--csv", "--reference", "mosfet-sic-700v-12m"]).out;
    let lines: Vec<&str> = csv.split_terminator("\r\n").collect();
    assert_eq!(lines.len(), 7);
    let column = lines[0].split(',').position(|h| h == "on_resistance (ohm)").unwrap();
    let first: f64 = lines[1].split(',').nth(column).unwrap().parse().unwrap();
    assert_eq!(Some(first), rows[0]["on_resistance"].as_f64());
    let text = compare(&[]).out;
    for part in [
        "R_on·E_oss",
        "at 125.0 °C",
        "relative to cascode-700v-22m",
        "conditions",
        "definitions",
        "V = 400 V",
    ] {
        assert!(text.contains(part), "{part} in\n{text}");
    }
}

#[test]
fn a_number_in_parallel_comes_with_its_law() {
    let args = ["--current", "200 A", "--heatsink", "80 degC", "--interface", "0.3 K/W"];
    let text = compare(&args).out;
    assert!(text.contains("Devices in parallel carry 200 A in all, heatsink at 80.0 °C"), "{text}");
    assert!(
        text.contains("T_j = T_heatsink + (R_th(j-c) + R_interface)·I·V(I, T_j)")
            && text.contains("no switch")
    );
    let report: Value = serde_json::from_str(&compare(&[&args[..], &["--json"]].concat()).out).unwrap();
    let rows = &report["tables"]["parallel"]["rows"];
    assert!(rows[0]["number"].as_f64().unwrap() >= 1.0 && rows[0]["junction"].as_f64().unwrap() <= 175.0);
    assert!(rows[2]["number"].is_null());
    let named = |a: &&Value| a["name"] == format!("{}.devices_in_parallel", PARTS[0]);
    let answer = report["answers"].as_array().unwrap().iter().find(named).unwrap().clone();
    assert_eq!(answer["value"], rows[0]["number"]);
}

#[test]
fn charts_are_written_once() {
    let folder = tempfile::tempdir().unwrap();
    for command in ["compare", "resistance"] {
        let path = folder.path().join(format!("{command}.svg"));
        let args = ["parts", command, PARTS[0], PARTS[1], "--plot", path.to_str().unwrap()];
        let done = joulestep(&args);
        assert_eq!(done.code, 0, "{}", done.err);
        let picture = std::fs::read_to_string(&path).unwrap();
        assert!(picture.starts_with("<svg") && picture.contains(PARTS[1]), "{command}");
        let again = joulestep(&args);
        assert_eq!(again.code, 4, "{}", again.err);
        assert_eq!(joulestep(&[&args[..], &["--force"]].concat()).code, 0);
    }
}

/// On-resistance against temperature, relative to 25 °C, and the pieces of the budget.
#[test]
fn resistance_against_temperature() {
    let range = ["--from", "25 degC", "--step", "50 K", "--json"];
    let done = joulestep(&[&["parts", "resistance"], &PARTS[..2], &range].concat());
    assert_eq!(done.code, 0, "{}", done.err);
    let report: Value = serde_json::from_str(&done.out).unwrap();
    let rows = answers::rows(&report, "resistance");
    assert_eq!(rows.len(), 8);
    for row in rows.iter().filter(|r| r["temperature"] == 25.0) {
        near("relative", row["on_resistance_relative"].as_f64().unwrap(), 1.0, 1e-12);
    }
    // Common practice, no source: at 125 °C a cascode has about 1.7 times its on-resistance at 25 °C.
    let hot = rows.iter().find(|r| r["part"] == PARTS[0] && r["temperature"] == 125.0).unwrap();
    near("cascode", hot["on_resistance_relative"].as_f64().unwrap(), 1.7, 0.04);
    let budgets = answers::rows(&report, "budget");
    for part in [PARTS[0], PARTS[1]] {
        let shares = budgets.iter().filter(|p| p["part"] == part).map(|p| p["cold_share"].as_f64().unwrap());
        near("shares", shares.sum(), 1.0, 1e-9);
    }
    assert!(!answers::rows(&report, "unipolar-limit").is_empty());
    let text = joulestep(&["parts", "resistance", PARTS[0]]).out;
    assert!(
        text.contains("On-resistance budgets at 25 °C and 125.0 °C") && text.contains("unipolar limit"),
        "{text}"
    );
}

#[test]
fn what_cannot_be_compared_is_refused() {
    for (args, expected) in [
        (vec!["parts", "compare", "cascode-700v-21"], "no shipped part is named"),
        (vec!["parts", "compare", PARTS[0], "--reference", PARTS[1]], "not among the parts compared"),
        (vec!["parts", "compare", PARTS[0], PARTS[0]], "named twice"),
        (vec!["parts", "compare", PARTS[0], "--temperature", "200 degC"], "highest junction temperature"),
        (vec!["parts", "compare", PARTS[0], "--temperature", "125 V"], "temperature"),
        (vec!["parts", "compare", PARTS[0], "--voltage", "800 V"], "rated voltage"),
        (vec!["parts", "compare", PARTS[0], "--current", "20 A"], "heatsink"),
        (vec!["parts", "compare", "varistor-400v-rail"], "neither a switch"),
        (vec!["parts", "compare", PARTS[0], "--gate-on", "1 V"], "does not turn it on"),
        (vec!["parts", "compare", PARTS[0], "--test-current", "10 kA"], "saturates it"),
        (vec!["parts", "resistance", PARTS[0], "--test-current", "10 kA"], "saturates it"),
        (vec!["parts", "compare", PARTS[0], "--current", "-5 A", "--heatsink", "80 degC"], "above zero"),
        (vec!["parts", "compare", PARTS[0], "--current", "5 A", "--heatsink", "-300 degC"], "above -150"),
        (vec!["parts", "resistance", "diode-sic-700v-50a"], "has no gate"),
        (
            vec!["parts", "resistance", PARTS[0], "--from", "100 degC", "--to", "50 degC"],
            "an end above the start",
        ),
        (vec!["parts", "resistance", PARTS[0], "--step", "0.01 K"], "at most 1000"),
        (vec!["parts", "resistance", PARTS[0], "--from", "180 degC", "--to", "190 degC"], "beyond"),
    ] {
        let done = joulestep(&args);
        assert_eq!(done.code, 2, "{args:?}: {}{}", done.out, done.err);
        let err = done.err.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(err.contains(expected), "{args:?}: {}", done.err);
    }
}
