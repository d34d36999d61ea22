//! Variants in lanes: what each has alone, to the last bit, whatever runs beside it; what a torn journal leaves.

use std::fs;

use serde_json::Value;

use super::program::{Folder, TOLERANCES, cells};
use crate::common::program::joulestep;

/// The batch with its JSON, and the cells of its table.
fn run(folder: &Folder, name: &str, more: &[&str]) -> (Value, Vec<String>, Vec<Vec<String>>) {
    let csv = folder.text(&format!("{name}.csv"));
    let args: Vec<&str> = ["--csv", &csv, "--json"].into_iter().chain(more.iter().copied()).collect();
    let done = folder.batch(&format!("{name}.h5"), &args);
    assert!(done.code <= 1, "{}{}", done.out, done.err);
    let (header, rows) = cells(&folder.path(&format!("{name}.csv")));
    (serde_json::from_str(&done.out).unwrap(), header, rows)
}

/// The shipped plan (a breaker's inrush: package, diode, chains, ledger) and the shipped converter: every number of
/// every variant, errors and verdicts among them, has the bits that it has alone.
#[test]
fn shipped_scenarios_in_lanes_are_what_they_are_alone() {
    let examples = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("examples");
    let inrush = fs::read_to_string(examples.join("inrush-tolerances.toml")).unwrap();
    let inrush = inrush.replace("variants = 200", "variants = 20");
    let buck = r#"
format = 2
scenario = "ferry-buck.toml"
vary = [
    { value = "arrangement.load-resistance", kind = "uniform", lower = "18 ohm", upper = "24 ohm" },
    { value = "arrangement.gate-resistance", kind = "uniform", lower = "18 ohm", upper = "22 ohm" },
    { value = "thermal.boundary.heatsink.temperature", kind = "normal", mean = "45 degC", deviation = "10 K" },
]
output = [{ name = "mean-load", signal = "load.current", measure = "mean" }]
[sampling]
kind = "latin-hypercube"
variants = 9
"#;
    for (name, plan, variants) in [("inrush", inrush.as_str(), 20), ("buck", buck, 9)] {
        let folder = Folder::new("");
        for entry in fs::read_dir(&examples).unwrap() {
            let path = entry.unwrap().path();
            if path.extension().is_some_and(|e| e == "toml") {
                fs::copy(&path, folder.path(path.file_name().unwrap().to_str().unwrap())).unwrap();
            }
        }
        fs::write(folder.path("plan.toml"), plan).unwrap();
        let (_, _, alone) = run(&folder, "alone", &["--lanes", "1"]);
        for lanes in ["4", "8"] {
            let (report, _, rows) = run(&folder, &format!("in-{lanes}"), &["--lanes", lanes]);
            println!("{name}: {}", report["lanes"]);
            assert_eq!(report["lanes"]["in_lanes"], variants, "{name}: {}", report["lanes"]);
            assert!(rows == alone, "{name}: a variant in {lanes} lanes is not what it is alone");
            assert!(
                folder.bytes("alone.h5") == folder.bytes(&format!("in-{lanes}.h5")),
                "{name}: tables differ"
            );
        }
    }
}

/// A winding of 1 mH takes 10 V through R and a switch that a protection opens at 5 A: never above 2 Ω, else after
/// (L/R)·ln(1/(1 − 5R/10)), at another instant in every variant.
const PROTECTED: &str = r#"
format = 2
component = [
    { name = "supply", kind = "voltage-source", pins = ["in", "gnd"], value = "10 V" },
    { name = "R1", kind = "resistor", pins = ["in", "a"], resistance = "3 ohm" },
    { name = "L1", kind = "inductor", pins = ["a", "d"], inductance = "1 mH" },
    { name = "Q1", kind = "square-law-mosfet", pins = ["d", "g", "gnd"], threshold = "2 V", transconductance-factor = "100 A/V^2", gate-source-capacitance = "1 nF", drain-source-capacitance = "1 nF", breakdown-voltage = "60 V" },
]
drive = [{ name = "drive", gate = "g", return = "gnd", command = "on", inhibit = ["trip"], on = "10 V", off = "0 V", on-resistance = "10 ohm" }]
[[protection]]
name = "overcurrent"
kind = "level"
watches = "L1.current"
threshold = "5 A"
trip = "trip"
[[event]]
at = "10 us"
what = "line-on"
line = "on"
[steps]
end = "3 ms"
base = "10 us"
[record]
signals = ["L1.current", "voltage(d)"]
"#;

fn protected(resistances: &str) -> Folder {
    let folder = Folder::new("");
    fs::write(folder.path("rl.toml"), PROTECTED).unwrap();
    let plan = format!(
        "format = 2\nscenario = \"rl.toml\"\n[sampling]\nkind = \"grid\"\n[[vary]]\nname = \"R\"\nvalue = \"component.R1.resistance\"\nkind = \"values\"\nvalues = [{resistances}]\n[[output]]\nname = \"end\"\nsignal = \"L1.current\"\nmeasure = \"end\"\n"
    );
    fs::write(folder.path("plan.toml"), plan).unwrap();
    folder
}

/// Some variants trip, each at its own instant, or all do: none leaves its lane for it, and each has the bits that it has
/// alone.
#[test]
fn protections_trip_when_they_like() {
    for resistances in
        ["2.5, 2.6, 2.7, 1.0, 2.8, 2.9, 3.0, 3.1, 3.2, 3.3", "1.0, 1.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.7, 2.5"]
    {
        let folder = protected(resistances);
        let (_, _, alone) = run(&folder, "alone", &["--lanes", "1"]);
        let (report, header, lanes) = run(&folder, "lanes", &[]);
        assert_eq!(report["lanes"]["in_lanes"], lanes.len());
        println!("{}", report["lanes"]);
        assert!(alone == lanes, "a variant is not what it is alone");
        let largest = header.iter().position(|h| h == "L1.current.largest [A]").unwrap();
        for row in &lanes {
            let (r, end, most): (f64, f64, f64) =
                (row[1].parse().unwrap(), row[2].parse().unwrap(), row[largest].parse().unwrap());
            match r < 2.0 {
                true => assert!(end.abs() < 0.02 && (5.0..5.1).contains(&most), "{r}: {end} A, {most} A"),
                // The closed form of the charging winding; the switch has a few mOhm.
                false => {
                    let exact = 10.0 / r * (1.0 - (-2.99e-3 * r / 1e-3).exp());
                    assert!((end / exact - 1.0).abs() < 2e-3, "{r}: {end} A, {exact} A");
                }
            }
        }
    }
}

/// Values that decide the schedule (the end of a run) part nobody: a lane is free sooner, and the next variant has it.
#[test]
fn variants_with_other_ends_run_side_by_side() {
    let grid = r#"
vary = [
    { name = "R", value = "component.R1.resistance", kind = "values", values = ["900 ohm", "950 ohm", "1 kohm", "1.1 kohm", "1.2 kohm", "1.3 kohm", "1.4 kohm", "1.5 kohm"] },
    { name = "end", value = "steps.end", kind = "values", values = ["1 ms", "2 ms", "3 ms"] },
]
[sampling]
kind = "grid"
[[output]]
name = "reached"
signal = "voltage(out)"
measure = "end"
"#;
    let folder = Folder::new(grid);
    let (report, _, rows) = run(&folder, "t", &[]);
    assert_eq!(report["lanes"]["in_lanes"], 24);
    for row in &rows {
        let (r, end, v): (f64, f64, f64) =
            (row[1].parse().unwrap(), row[2].parse().unwrap(), row[3].parse().unwrap());
        let exact = 1.0 - (-end / (r * 1e-6)).exp();
        assert!((v - exact).abs() < 1e-4, "{r} ohm after {end} s: {v} V, {exact} V");
    }
    for shard in ["1/2", "2/2"] {
        assert!(folder.batch(&format!("{}.h5", &shard[..1]), &["--shard", shard]).code <= 1);
    }
    let [plan, a, b, all] = ["plan.toml", "1.h5", "2.h5", "all.h5"].map(|n| folder.text(n));
    assert!(joulestep(&["batch", "merge", &plan, &a, &b, "--out", &all]).code <= 1);
    assert!(folder.bytes("t.h5") == folder.bytes("all.h5"), "merged shards differ");
}

/// A journal torn by a full disk: the other rows are made anew in another company, and the table is the same.
#[test]
fn a_torn_journal_is_completed_with_the_same_bits() {
    let folder = Folder::new(TOLERANCES);
    assert!(folder.batch("whole.h5", &["--jobs", "1"]).code <= 1);
    let journal = String::from_utf8(folder.bytes("whole.h5.journal")).unwrap();
    let lines: Vec<&str> = journal.split_inclusive('\n').collect();
    for kept in [1, 4, 9, 14] {
        let torn = lines[..kept].concat() + &lines[kept][..lines[kept].len() / 2];
        fs::write(folder.path("torn.h5.journal"), torn).unwrap();
        let _ = fs::remove_file(folder.path("torn.h5"));
        let lanes = if kept == 4 { "4" } else { "8" };
        let done = folder.batch("torn.h5", &["--resume", "--lanes", lanes]);
        assert!(done.code <= 1, "{}", done.err);
        assert!(folder.bytes("whole.h5") == folder.bytes("torn.h5"), "cut after {kept} lines");
        let now = String::from_utf8(folder.bytes("torn.h5.journal")).unwrap();
        assert_eq!(now.lines().count(), 1001);
    }
    let plan = fs::read_to_string(folder.path("plan.toml")).unwrap();
    fs::write(folder.path("plan.toml"), plan.replacen("format = 2", "format = 2\nlanes = 3", 1)).unwrap();
    let refused = folder.batch("refused.h5", &[]);
    assert!(refused.code == 2 && refused.err.contains("1, 4 or 8"), "{}", refused.err);
}

/// Protections that trip at one instant (the blanking's end) on currents that differ: each variant has its own
/// let-through, from the mark on; while the winding charges i = (V/R)(1 − e^(−tR/L)), and ∫ i² dt of it is
/// elementary.
#[test]
fn every_variant_has_its_own_let_through() {
    let folder = protected("0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2");
    let blind = "trip = \"trip\"\nblanking = \"1 ms\"\nblanking-drive = \"drive\"\n";
    let text = PROTECTED
        .replace("trip = \"trip\"\n", blind)
        .replace("what = \"line-on\"\n", "what = \"line-on\"\nfault = true\n");
    fs::write(folder.path("rl.toml"), text).unwrap();
    let (_, _, alone) = run(&folder, "alone", &["--lanes", "1"]);
    let (report, header, lanes) = run(&folder, "lanes", &[]);
    assert_eq!(report["lanes"]["in_lanes"], 8, "{}", report["lanes"]);
    let at = header.iter().position(|h| h.starts_with("overcurrent.let-through")).unwrap();
    let number = |row: &[String], k: usize| row[k].parse::<f64>().unwrap();
    for (lane, alone) in lanes.iter().zip(&alone) {
        let (found, r) = (number(lane, at), number(lane, 1));
        assert_eq!(lane, alone, "{r} Ω");
        // It falls against 60 V less the source's 10 V: i³L/3V.
        let (tau, t) = (1e-3 / r, 1e-3_f64);
        let fade = |k: f64| tau / k * -(-k * t / tau).exp_m1();
        let rise = (10.0 / r).powi(2) * (t - 2.0 * fade(1.0) + fade(2.0));
        let peak = 10.0 / r * -(-t / tau).exp_m1();
        let fall = peak.powi(3) * 1e-3 / 3.0 / 50.0;
        assert!((found / (rise + fall) - 1.0).abs() < 0.02, "{r} Ω: {found} A²s, by hand {}", rise + fall);
    }
}
