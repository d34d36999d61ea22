//! What a batch says of its errors: columns beside the outputs, and the verdicts that follow.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::atomic::AtomicBool;

use joulestep::batch::errors::Errors;
use joulestep::batch::statistics::gather;
use joulestep::batch::variant::PlannedBatch;
use joulestep::judge::{Verdict, exit_code, over_all};
use serde_json::Value;

use super::program::{Folder, cells};
use super::subjects::{plan, table};
use crate::common::answers::{plus_minus, value};
use crate::common::program::describe;

/// 40 resistors of 0.9 kΩ to 1.1 kΩ at 1 µF.
fn resistors(estimate: &str) -> Folder {
    let plan = format!(
        "estimate = \"{estimate}\"\n[sampling]\nkind = \"sobol-sequence\"\nvariants = 40\nseed = 2\n\
         [[vary]]\nname = \"R\"\nvalue = \"component.R1.resistance\"\nkind = \"uniform\"\nlower = \"0.9 kohm\"\n\
         upper = \"1.1 kohm\"\n[[output]]\nname = \"rms\"\nsignal = \"voltage(out)\"\nmeasure = \"rms\"\n"
    );
    Folder::new(&plan)
}

fn column(folder: &Folder, csv: &str, name: &str) -> Vec<f64> {
    let (header, rows) = cells(&folder.path(csv));
    let at = header.iter().position(|h| h == name).unwrap_or_else(|| panic!("no column {name}: {header:?}"));
    rows.iter().map(|row| row[at].parse().unwrap_or(f64::NAN)).collect()
}

/// End of the runs, s.
const END: f64 = 8e-3;

/// Rms voltage by the time constant.
fn rms(tau: f64) -> f64 {
    let decay = |k: f64| tau / k * -(-k * END / tau).exp_m1() / END;
    (1.0 - 2.0 * decay(1.0) + decay(2.0)).sqrt()
}

/// Energy lost, by the time constant, with 1 µF and 1 V.
fn lost(tau: f64) -> f64 {
    0.5e-6 * -(-2.0 * END / tau).exp_m1()
}

/// The capacitor's rms voltage over T = 8 ms is √(1 − 2(τ/T)(1 − e^(−T/τ)) + (τ/2T)(1 − e^(−2T/τ))) V, the energy lost
/// in the resistor (C/2)(1 − e^(−2T/τ)) V². Of the estimates at least 95 % must be half to five times the true error,
/// none below a quarter, where they are more than rounding; the error of a column is the largest of every sixteenth
/// variant.
#[test]
fn the_error_of_a_column_is_the_largest_of_every_sixteenth_variant() {
    let all = resistors("all");
    let done = all.batch("t.h5", &["--csv", &all.text("t.csv"), "--lanes", "1"]);
    assert_eq!(done.code, 0, "{}", done.err);
    let exact: [fn(f64) -> f64; 2] = [rms, lost];
    let names = [("rms [V]", "rms.error [V]"), ("R1.dissipated [J]", "R1.dissipated.error [J]")];
    for ((name, of_error), exact) in names.into_iter().zip(exact) {
        let (values, errors) = (column(&all, "t.csv", name), column(&all, "t.csv", of_error));
        let mut shares = Vec::new();
        for ((x, e), r) in values.iter().zip(&errors).zip(column(&all, "t.csv", "R [ohm]")) {
            shares.push(e / (x - exact(r * 1e-6)).abs());
        }
        shares.sort_by(f64::total_cmp);
        println!("{name}: ± is {:.2} to {:.2} times the true error", shares[0], shares[shares.len() - 1]);
        let within = shares.iter().filter(|s| (0.5..=5.0).contains(*s)).count();
        assert!(shares[0] >= 0.25 && 100 * within >= 95 * shares.len(), "{name}: {shares:?}");
    }
    let some = resistors("sixteenth");
    let done = some.batch("t.h5", &["--csv", &some.text("t.csv"), "--lanes", "1", "--json"]);
    assert_eq!(done.code, 0, "{}", done.err);
    let report: Value = serde_json::from_str(&done.out).unwrap();
    assert_eq!(report["estimated_variants"], 3);
    let (header, _) = cells(&some.path("t.csv"));
    let mut columns = 0;
    for name in header.iter().filter(|h| h.contains(".error")) {
        let own = column(&all, "t.csv", name);
        let largest = [0, 16, 32].map(|k| own[k]).into_iter().fold(0.0, f64::max);
        assert!(column(&some, "t.csv", name).iter().all(|e| e.to_bits() == largest.to_bits()), "{name}");
        columns += 1;
    }
    let outputs = report["outputs"].as_array().unwrap();
    assert_eq!(columns, outputs.len() - 2, "all but the ledger's two");
    assert_eq!(outputs[0]["error"]["kind"], "within");
    assert_eq!(outputs[0]["error"]["plus_minus"], column(&some, "t.csv", "rms.error [V]")[0]);
    // Without estimates there are no such columns.
    let none = resistors("none");
    let done = none.batch("t.h5", &["--csv", &none.text("t.csv"), "--lanes", "1"]);
    assert!(done.code == 0 && done.out.contains("Errors: not estimated"), "{}{}", done.out, done.err);
    let (header, _) = cells(&none.path("t.csv"));
    assert!(header.iter().all(|h| !h.contains(".error")), "{header:?}");
    for name in ["rms [V]", "limit.current.largest [A]"] {
        assert_eq!(column(&none, "t.csv", name), column(&some, "t.csv", name));
    }
}

/// 1 V / R is the current; the limit of 1.2 mA lies at 833.3 Ω. At exactly V/R nothing is proven.
#[test]
fn a_verdict_within_the_error_is_not_proven_and_the_yield_is_of_all() {
    let plan = |resistances: &str| {
        format!(
            "[sampling]\nkind = \"grid\"\n[[vary]]\nname = \"R\"\nvalue = \"component.R1.resistance\"\nkind = \"values\"\n\
             values = [{resistances}]\n[[vary]]\nvalue = \"limit.current.max\"\nkind = \"values\"\nvalues = [\"1 mA\"]\n"
        )
    };
    for (resistances, code, counts) in [
        ("900, 1000, 1100, -1", 1, [1, 4, 1, 1, 1]),
        ("1000, 1100", 5, [1, 2, 0, 1, 0]),
        ("1050, 1100", 0, [2, 2, 0, 0, 0]),
    ] {
        let folder = Folder::new(&plan(resistances));
        let done = folder.batch("t.h5", &["--json"]);
        assert_eq!(done.code, code, "{resistances}: {}{}", done.out, done.err);
        let report: Value = serde_json::from_str(&done.out).unwrap();
        let found = [
            &report["yield"]["variants"],
            &report["yield"]["of"],
            &report["fails"],
            &report["not_proven"],
            &report["not_judged"],
        ];
        assert_eq!(found.map(|n| n.as_u64().unwrap()), counts, "{resistances}");
    }
}

/// Rows that no estimate was made of prove nothing where the plan asks for estimates.
#[test]
fn a_column_without_an_error_proves_nothing() {
    const SCENARIO: &str = "format = 2\n\
        component = [{ name = \"supply\", kind = \"voltage-source\", pins = [\"a\", \"gnd\"], value = \"1 V\" },\n\
        { name = \"R1\", kind = \"resistor\", pins = [\"a\", \"gnd\"], resistance = \"1 ohm\" }]\n\
        steps = { end = \"1 us\", base = \"20 ns\" }\nlimit = [{ name = \"i\", signal = \"R1.current\", max = \"2 A\" }]\n";
    const PLAN: &str = "format = 2\nscenario = \"s.toml\"\nsampling = { kind = \"grid\" }\n\
        vary = [{ value = \"component.R1.resistance\", kind = \"values\", values = [1, 2] }]\n";
    let open = |path: &Path| match path.to_str() {
        Some("p.toml") => Ok(PLAN.to_string()),
        _ => Ok(SCENARIO.to_string()),
    };
    let study = PlannedBatch::read(Path::new("p.toml"), &open).unwrap();
    let stop = AtomicBool::new(false);
    let mut bare: BTreeMap<_, _> = (0..2).map(|k| (k, study.run(k, &stop).unwrap())).collect();
    assert!(bare.values().all(|row| row.verdict == Verdict::Passes));
    let errors = Errors::of(&study, &bare);
    errors.judge(&study, &mut bare);
    assert!(bare.values().all(|row| row.verdict == Verdict::NotProven));
    assert_eq!(exit_code(None, over_all(bare.values().map(|row| row.verdict))), 5);
    let report = gather(&study, &bare, &errors);
    assert_eq!((report.passes.unwrap().hits, report.not_proven, report.limits[0].not_proven), (0, 2, 2));
    // With them they pass.
    let mut rows: BTreeMap<_, _> = (0..2).map(|k| (k, study.run_alone(k, &stop).unwrap().row)).collect();
    Errors::of(&study, &rows).judge(&study, &mut rows);
    assert!(rows.values().all(|row| row.verdict == Verdict::Passes), "{rows:?}");
    assert!(rows[&0].estimate.is_some() && rows[&1].estimate.is_none());
}

/// Variants of a rating know their errors: they and the rating itself agree within them, and a bound within the error
/// is not proven, one beyond it is kept or exceeded.
#[test]
fn variants_of_a_rating_know_their_errors() {
    let rated =
        describe(&["rating", "cascode-700v-22m", "--interface", "0.3 K/W", "--points", "2", "--json"]);
    let current = value(&rated, "continuous.current");
    let error = plus_minus(&rated, "continuous.current");
    let (mut found, mut own) = (current, 1.0);
    for (off, code) in [(-2.0, 0), (-20.0, 0), (0.2, 5), (20.0, 1)] {
        let folder = plan(&format!(
            r#"
[rating]
part = "cascode-700v-22m"
interface = "0.3 K/W"
[[limit]]
name = "enough"
output = "continuous.current"
min = "{:.9} A"
[sampling]
kind = "grid"
[[vary]]
name = "heatsink"
value = "rating.heatsink"
kind = "values"
values = ["45 degC"]
"#,
            found + off * own
        ));
        let done = folder.batch("t.h5", &["--csv", &folder.text("t.csv")]);
        assert_eq!(done.code, code, "{off}: {}{}", done.out, done.err);
        let (c, _) = table(&folder, "t.csv");
        (found, own) = (c["continuous.current"][0], c["continuous.current.error"][0]);
        println!("{found} A ± {own:.2e} A, of the rating itself {current} A ± {error:.2e} A");
        assert!(own > 0.0 && (found - current).abs() <= own + error, "{found} {own}");
    }
}
