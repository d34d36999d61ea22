//! The command that tells thermal impedances, on packages and on points.

use std::ffi::OsString;

use serde_json::Value;

fn run(args: &[&str]) -> (u8, String, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let args = std::iter::once("joulestep").chain(args.iter().copied()).map(OsString::from);
    let code = joulestep::run(args, &mut out, &mut err);
    (code, String::from_utf8(out).unwrap(), String::from_utf8(err).unwrap())
}

fn json(args: &[&str]) -> Value {
    let (code, out, err) = run(args);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    serde_json::from_str(&out).expect("JSON")
}

fn numbers(value: &Value) -> Vec<f64> {
    value
        .as_array()
        .unwrap_or_else(|| panic!("no list: {value}"))
        .iter()
        .map(|x| x.as_f64().unwrap())
        .collect()
}

#[test]
fn a_package_is_reported_whole() {
    let report = json(&["impedance", "board-sj-620v-49m", "--cells", "9000", "--json"]);
    let package = &report["packages"][0];
    assert_eq!(package["dies"][0], "mosfet");
    for path in ["junction_to_case", "junction_to_boundary"] {
        let path = &package[path];
        let time = numbers(&path["time"]);
        assert!((time[0] - 1e-6).abs() < 1e-12 && (time[time.len() - 1] - 1e3).abs() < 1e-6);
        let die = &path["dies"][0];
        let z = numbers(&die["impedance"]);
        assert!(z.windows(2).all(|w| w[1] >= w[0]) && z[0] > 0.0);
        let steady = die["steady_resistance"].as_f64().unwrap();
        assert!((z[z.len() - 1] / steady - 1.0).abs() < 1e-3);
        // Repeated pulses lie between the single pulse and steady power, and at least at duty times the resistance.
        for family in die["pulses"].as_array().unwrap() {
            let duty = family["duty"].as_f64().unwrap();
            for (peak, z) in numbers(&family["peak"]).iter().zip(&z) {
                assert!(*peak >= z * (1.0 - 1e-9) && *peak >= duty * steady && *peak <= steady * 1.001);
            }
        }
        let sum = |list: &str| -> f64 {
            die[list].as_array().unwrap().iter().map(|t| t["resistance"].as_f64().unwrap()).sum()
        };
        for list in ["foster", "cauer", "foster_all_modes"] {
            assert!((sum(list) / steady - 1.0).abs() < 0.05, "{list}: {} {steady}", sum(list));
        }
        assert!(die["largest_error"].as_f64().unwrap() > 0.0);
        let function = numbers(&die["structure_function"]["capacitance"]);
        assert!(function.windows(2).all(|w| w[1] >= w[0]));
    }
}

#[test]
fn two_packages_are_held_against_one_another() {
    let folder = tempfile::tempdir().unwrap();
    let picture = folder.path().join("both.svg");
    let (code, out, err) = run(&[
        "impedance",
        "board-700v-7m",
        "--against",
        "board-700v-7m-soldered",
        "--cells",
        "20000",
        "--svg",
        picture.to_str().unwrap(),
    ]);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    for expected in ["junction to case", "between dies", "jfet against jfet", "Foster terms are not layers"] {
        assert!(out.contains(expected), "no `{expected}` in\n{out}");
    }
    // Early on only the die counts, which both have in the same size: the ratio of the first line is 1.
    let ratios = out.split("jfet against jfet").nth(1).unwrap();
    let first = ratios.lines().find(|l| l.contains(" 1 µs")).unwrap();
    let ratio: f64 = first.split_whitespace().nth(2).unwrap().parse().unwrap();
    assert!((ratio - 1.0).abs() < 0.05, "{first}");
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
    assert!(report["largest_error"].as_f64().unwrap() < 2e-3, "{report}");
    assert!((report["steady_resistance"].as_f64().unwrap() - 1.0).abs() < 1e-2);
    assert!(report["round_trip_difference"].as_f64().unwrap() < 1e-9);
    let few = json(&["impedance", "--points", file, "--terms", "4", "--json"]);
    let terms = few["foster"].as_array().unwrap();
    assert!(terms.len() == 4 && few["largest_error"].as_f64().unwrap() < 1e-2, "{few}");
    let slowest = terms[3]["time_constant"].as_f64().unwrap();
    assert!((slowest / 1.5 - 1.0).abs() < 0.1, "{slowest}");
    let (_, out, _) = run(&["impedance", "--points", file]);
    assert!(out.contains("Foster terms are not layers"), "{out}");
}

#[test]
fn what_cannot_be_an_impedance_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("p.csv");
    let path = file.to_str().unwrap();
    for (text, expected) in [
        (
            "1e-3 0.1\n1e-2 0.3\n1e-1 0.2\n1 0.5\n",
            "line 3: point 3: the impedance falls from 0.3 K/W to 0.2 K/W at 0.1 s",
        ),
        ("1e-3 0.1\n1e-2 0.3\n1e-2 0.4\n", "line 3: point 3: 0.01 s does not come after 0.01 s"),
        ("1e-3 0.1\n1e-2 -0.3\n1 1\n", "line 2: point 2: 0.01 s, -0.3 K/W; expected two positive numbers"),
        ("t z\n1e-3 0.1\n1e-2 much\n", "line 3: `1e-2 much` is not a pair of numbers"),
        ("1e-3 0.1\n1e-2 nan\n1 1\n", "line 2: point 2"),
        ("", "0 points; expected at least 3"),
    ] {
        std::fs::write(&file, text).unwrap();
        let (code, out, err) = run(&["impedance", "--points", path]);
        assert!(code == 2 && out.is_empty() && err.contains(expected), "{text}: {code} {err}");
    }
    let (code, _, err) = run(&["impedance", "--points", "no-such-file.csv"]);
    assert!(code == 4 && err.contains("no such file"), "{err}");
    let (code, _, err) = run(&["impedance", "board-sj-620v-49n"]);
    assert!(code == 2 && err.contains("did you mean `board-sj-620v-49m`?"), "{err}");
    let (code, out, _) = run(&["impedance", "board-sj-620v-49n", "--json"]);
    assert!(code == 2 && out.contains("\"board-sj-620v-49m\""), "{out}");
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
