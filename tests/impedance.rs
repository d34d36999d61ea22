//! The command that tells thermal impedances, on packages and on points.

use serde_json::Value;

use crate::common::answers::{answer, rows, value};
use crate::common::program::joulestep;

fn run(args: &[&str]) -> (i32, String, String) {
    let done = joulestep(args);
    (done.code, done.out, done.err)
}

fn json(args: &[&str]) -> Value {
    let (code, out, err) = run(args);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    serde_json::from_str(&out).expect("JSON")
}

fn column(report: &Value, table: &str, name: &str) -> Vec<f64> {
    let number = |row: &Value| row[name].as_f64().unwrap_or_else(|| panic!("no {name} in {row}"));
    rows(report, table).iter().map(number).collect()
}

#[test]
fn a_package_is_reported_whole() {
    let report = json(&["impedance", "board-sj-620v-49m", "--cells", "9000", "--per-decade", "5", "--json"]);
    for path in ["to_case", "to_boundary"] {
        let name = format!("mosfet.{path}");
        let time = column(&report, "impedance", "time");
        assert!((time[0] - 1e-6).abs() < 1e-12 && (time[time.len() - 1] - 1e3).abs() < 1e-6);
        assert_eq!(time.len(), 46);
        let z = column(&report, "impedance", &name);
        assert!(z.windows(2).all(|w| w[1] >= w[0]) && z[0] > 0.0);
        let steady = value(&report, &name);
        assert!((z[z.len() - 1] / steady - 1.0).abs() < 1e-3);
        let error = answer(&report, &name);
        assert!(error["error"].as_f64().unwrap() > 0.0 && error["error_kind"] != "bare", "{error}");
        // Repeated pulses lie between the single pulse and steady power, and at least at duty times the resistance.
        for duty in [0.01, 0.02, 0.05, 0.1, 0.2, 0.5] {
            let peaks = column(&report, &format!("pulses.{name}"), &format!("duty_{duty}"));
            for (peak, z) in peaks.iter().zip(&z) {
                assert!(*peak >= z * (1.0 - 1e-9) && *peak >= duty * steady && *peak <= steady * 1.001);
            }
        }
        let words = name.replace(['.', '_'], " ");
        let sum = |table: &str, name: &str| -> f64 {
            let mine = rows(&report, table).iter().filter(|r| r["path"] == words.as_str());
            mine.filter_map(|r| r[name].as_f64()).sum()
        };
        for (table, name) in [
            ("coefficients", "foster_resistance"),
            ("coefficients", "cauer_resistance"),
            ("modes", "resistance"),
        ] {
            let sum = sum(table, name);
            assert!((sum / steady - 1.0).abs() < 0.05, "{table} {name}: {sum} {steady}");
        }
        assert!(column(&report, "accuracy", "largest_error").iter().all(|e| *e > 0.0));
        let function = column(&report, "structure", &name);
        assert!(function.windows(2).all(|w| w[1] >= w[0]) && function.len() == 9);
    }
}

#[test]
fn two_packages_are_held_against_one_another() {
    let folder = tempfile::tempdir().unwrap();
    let picture = folder.path().join("both.svg");
    let report = json(&[
        "impedance",
        "board-700v-7m",
        "--against",
        "board-700v-7m-soldered",
        "--cells",
        "20000",
        "--plot",
        picture.to_str().unwrap(),
        "--json",
    ]);
    // Early on only the die counts, which both have in the same size: the ratio of the first line is 1.
    for path in ["to_case", "to_boundary"] {
        let ratio = column(&report, "ratio", &format!("jfet.{path}"))[0];
        assert!((ratio - 1.0).abs() < 0.05, "{ratio}");
        let steady = value(&report, &format!("ratio.jfet.{path}"));
        let both = ["", "against."].map(|p| value(&report, &format!("{p}jfet.{path}")));
        assert!((steady * both[1] / both[0] - 1.0).abs() < 1e-9, "{steady} {both:?}");
    }
    // What one die does to the other is what that does to it: conduction is reciprocal (Carslaw & Jaeger, 1959).
    let [a, b] = ["jfet.from_mosfet", "mosfet.from_jfet"].map(|name| value(&report, name));
    assert!((a / b - 1.0).abs() < 1e-6, "{a} {b}");
    let mutual = column(&report, "mutual", "mosfet.from_jfet.to_boundary");
    assert!((mutual[mutual.len() - 1] / a - 1.0).abs() < 1e-3);
    assert!(report["definitions"]["Foster and Cauer"].as_str().unwrap().contains("not layers"));
    let svg = std::fs::read_to_string(picture).unwrap();
    assert!(svg.starts_with("<svg") && svg.contains("structure function"));
}

/// Points of the Foster chain (worked with exact fractions): the fit passes them, its resistances sum up to
/// the whole, and the ladder has the same impedance.
#[test]
fn measured_points_are_fitted() {
    let z = |t: f64| {
        let terms = [(0.05, 0.0002), (0.15, 0.003), (0.3, 0.05), (0.5, 1.5)];
        terms.iter().map(|(r, tau)| r * (1.0 - f64::exp(-t / tau))).sum::<f64>()
    };
    // Published values of that chain.
    for (t, expected) in [(0.0001, 0.0252237845641144), (0.1, 0.491645922513207), (10.0, 0.99936368309933)] {
        assert!((z(t) / expected - 1.0).abs() < 1e-8);
    }
    let points =
        (-40..=10).map(|k| 10f64.powf(f64::from(k) / 10.0)).map(|t| format!("{t:.6e}, {:.6e}\n", z(t)));
    let text = format!("time in s, impedance in K/W\n# invented\n{}", points.collect::<String>());
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("measured.csv");
    std::fs::write(&file, text).unwrap();
    let file = file.to_str().unwrap();
    let report = json(&["impedance", "--points", file, "--json"]);
    assert!(value(&report, "largest_error") < 2e-3, "{report}");
    assert!((value(&report, "steady_resistance") - 1.0).abs() < 1e-2);
    assert!(value(&report, "round_trip") < 1e-9);
    let few = json(&["impedance", "--points", file, "--terms", "4", "--json"]);
    let terms = column(&few, "coefficients", "foster_time_constant");
    assert!(terms.len() == 4 && value(&few, "largest_error") < 1e-2, "{few}");
    let slowest = terms[3];
    assert!((slowest / 1.5 - 1.0).abs() < 0.1, "{slowest}");
    let (_, out, _) = run(&["impedance", "--points", file]);
    assert!(out.contains("Foster terms are not layers"), "{out}");
}

#[test]
fn what_cannot_be_an_impedance_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("p.csv");
    let path = file.to_str().unwrap();
    for (text, line, expected) in [
        (
            "1e-3 0.1\n1e-2 0.3\n1e-1 0.2\n1 0.5\n",
            3,
            "point 3: the impedance falls from 0.3 K/W to 0.2 K/W at 0.1 s",
        ),
        ("1e-3 0.1\n1e-2 0.3\n1e-2 0.4\n", 3, "point 3: 0.01 s does not come after 0.01 s"),
        ("1e-3 0.1\n1e-2 -0.3\n1 1\n", 2, "point 2: 0.01 s, -0.3 K/W"),
        ("t z\n1e-3 0.1\n1e-2 much\n", 3, "`1e-2 much` is not a pair of numbers"),
        ("1e-3 0.1\n1e-2 nan\n1 1\n", 2, "point 2"),
        ("", 1, "at least 3"),
    ] {
        std::fs::write(&file, text).unwrap();
        let (code, out, err) = run(&["impedance", "--points", path]);
        let at = format!("p.csv:{line}:1");
        let report = err.contains(expected) && err.contains(&at);
        assert!(code == 2 && out.is_empty() && report, "{text}: {code} {err}");
    }
    let (code, _, err) = run(&["impedance", "--points", "no-such-file.csv"]);
    assert!(code == 2 && err.contains("no such file"), "{err}");
    for wrong in [&["--points", path, "--against", "board-700v-7m"][..], &["board-700v-7m", "--points", path]]
    {
        assert_eq!(run(&[&["impedance"], wrong].concat()).0, 2);
    }
    let (code, _, err) = run(&["impedance", "board-sj-620v-49n"]);
    assert!(code == 2 && err.contains("did you mean `board-sj-620v-49m`?"), "{err}");
    let (code, out, _) = run(&["impedance", "board-sj-620v-49n", "--json"]);
    assert!(code == 2 && out.contains("board-sj-620v-49m"), "{out}");
    assert_eq!(run(&["impedance"]).0, 2);
    let (code, _, err) = run(&["impedance", "board-700v-7m", "--cells", "1000"]);
    assert!(code == 2 && err.contains("at most 1000 are allowed"), "{err}");
}

/// The schema of packages accepts what is shipped.
#[test]
fn the_schema_knows_shipped_packages() {
    let schema = json(&["schema", "package"]);
    let validator = crate::common::schema::validator_for(&schema).expect("a schema");
    for (name, text) in joulestep_models::package::shipped() {
        let value: toml::Value = toml::from_str(text).unwrap();
        let value = serde_json::to_value(value).unwrap();
        let held = validator.validate(&value);
        assert!(held.is_ok(), "{name}: {held:?}");
    }
}
