//! The program: list, show, extract; files that it writes and refuses; schemas.

use std::path::Path;

use joulestep::input::parts::write;
use joulestep_engine::units::{people, people_digits};
use serde_json::Value;

use super::made::{DIODE_KNOWN, diode};
use crate::common::program::{describe, joulestep};

#[test]
fn every_shipped_part_is_listed_and_shown() {
    let list = describe(&["parts", "list", "--json"]);
    let parts = list["parts"].as_array().expect("a list");
    assert_eq!(parts.len(), joulestep_models::parts::shipped().len());
    let text = joulestep(&["parts", "list"]).out;
    for part in parts {
        let name = part["name"].as_str().unwrap();
        assert!(text.contains(name));
        assert_eq!(part["invented"], true, "{name}");
        assert!(part["title"].as_str().unwrap().contains("invented"), "{name}");
        let shown = describe(&["parts", "show", name, "--json"]);
        assert_eq!(shown["missing"], serde_json::json!([]), "{name}");
        // What the model says, not what the file says: the stated on-resistance comes out of the operating point.
        if let Some(r) = part["on_resistance"].as_f64() {
            let of = |v: &Value| v["name"] == "on-resistance";
            let value = shown["values"].as_array().unwrap().iter().find(|v| of(v)).expect("it is there");
            assert_eq!(value["at_25"].as_f64(), Some(r));
            assert!(value["at_working"].as_f64().unwrap() > r);
        }
    }
    let hot = describe(&["parts", "show", "cascode-700v-7m", "--temperature", "150 degC", "--json"]);
    assert_eq!(hot["working_temperature"], 150.0);
    let output = joulestep(&["parts", "show", "cascode-700v-7n"]);
    assert_eq!(output.code, 2);
    assert!(output.err.contains("did you mean `cascode-700v-7m`?"));
    assert_eq!(joulestep(&["parts", "show", "cascode-700v-7m", "--temperature", "5 V"]).code, 2);
    assert_eq!(joulestep(&["parts", "show", "none.toml"]).code, 4);
}

/// Points → part file → `run`; the written file says the same as the report, and is not replaced unasked.
#[test]
fn an_extracted_part_runs() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name).to_str().expect("UTF-8").to_string();
    let mut requested = diode();
    requested.given = DIODE_KNOWN.iter().copied().collect();
    std::fs::write(path("points.toml"), write::toml(&requested, "made by a model")).expect("written");
    let report =
        describe(&["parts", "extract", &path("points.toml"), "--part", &path("part.toml"), "--json"]);
    let converged = |a: &&Value| a["name"] == "converged";
    assert_eq!(report["answers"].as_array().unwrap().iter().find(converged).unwrap()["value"], 1.0);
    let rows = |table: &str| report["tables"][table]["rows"].as_array().unwrap();
    let parameters = rows("parameters");
    assert_eq!(parameters.len(), 10);
    let part = describe(&["parts", "show", &path("part.toml"), "--json"]);
    for p in parameters {
        let key = p["parameter"].as_str().unwrap();
        let (value, written) = (p["value"].as_f64().unwrap(), part["params"][key]["value"].as_f64().unwrap());
        assert!((written / value - 1.0).abs() < 1e-8, "{key}: {value} {written}");
        // Nine digits of the points are worth as much of a parameter as its own certainty leaves of them.
        let was = requested.values.maybe(key).unwrap();
        assert!((value / was - 1.0).abs() < 1e-5, "{key}: {value}, was {was}");
    }
    // For a plot: the points as they were, the model there, and a line.
    let curve = &rows("curves")[0];
    assert_eq!(curve["quantity"], "diode-drop");
    let first = |table: &str| rows(table).iter().filter(|r| r["curve"] == 1.0).collect::<Vec<_>>();
    assert_eq!(first("points").len() as f64, curve["points"].as_f64().unwrap());
    assert!(first("points").iter().all(|p| p["model"].as_f64().is_some()));
    let line = first("lines");
    assert!(line.len() > 20 && line.windows(2).all(|w| w[0]["x"].as_f64() < w[1]["x"].as_f64()));
    // Written once.
    let again = joulestep(&["parts", "extract", &path("points.toml"), "--part", &path("part.toml")]);
    assert_eq!(again.code, 4);
    assert!(again.err.contains("--force"));
    let over =
        joulestep(&["parts", "extract", &path("points.toml"), "--part", &path("points.toml"), "--force"]);
    assert_eq!(over.code, 4, "the points are precious");
    let text =
        joulestep(&["parts", "extract", &path("points.toml"), "--part", &path("part.toml"), "--force"]);
    let text = text.out;
    assert!(text.contains("series-resistance") && text.contains("warning: `saturation-current`"), "{text}");
    let scenario = r#"
        format = 2
        component = [
            { name = "supply", kind = "voltage-source", pins = ["a", "gnd"], value = "10 V" },
            { name = "R1", kind = "resistor", pins = ["a", "b"], resistance = "1 ohm" },
            { name = "D1", part = "part.toml", pins = ["b", "gnd"] },
        ]
        [steps]
        end = "10 us"
        base = "1 us"
        [record]
        signals = ["voltage(b)"]
    "#;
    std::fs::write(path("scenario.toml"), scenario).expect("written");
    let account = describe(&["run", &path("scenario.toml"), "--out", &path("result.h5"), "--json"]);
    assert_eq!(account["outcome"], "done");
}

/// The schemas, by an implementation that is not ours, on every shipped part and on broken ones.
#[test]
fn schemas_of_part_and_points_files() {
    let of =
        |what: &str| crate::common::schema::validator_for(&describe(&["schema", what])).expect("a schema");
    let json = |content: &str| -> Value {
        let table: toml::Table = content.parse().expect("TOML");
        serde_json::to_value(table).expect("JSON")
    };
    let (part, points) = (of("part"), of("points"));
    for (name, text) in joulestep_models::parts::shipped() {
        let held = part.validate(&json(text));
        assert!(held.is_ok(), "{name}: {held:?}");
    }
    let example = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/points-sic-mosfet.toml");
    let good = std::fs::read_to_string(example).expect("the example");
    let held = points.validate(&json(&good));
    assert!(held.is_ok(), "{held:?}");
    for (from, to) in [
        ("quantity = \"transfer\"", "quantity = \"transfers\""),
        ("kind = \"mosfet\"", "kind = \"mosfett\""),
        ("[die.mosfet]\narea", "[die.mosfet]\naera"),
        ("points = [", "point = ["),
        ("technology = \"sic-mosfet\"", "technology = \"sic\""),
    ] {
        let broken = good.replacen(from, to, 1);
        assert_ne!(broken, good, "{from}");
        assert!(!points.is_valid(&json(&broken)), "{to} is accepted");
    }
}

/// The example's points are rounded to three digits and wrong by up to 0.6 %: the fit is as good as they are. The
/// picture has a sign for every point.
#[test]
fn the_example_is_fitted_and_drawn() {
    let folder = tempfile::tempdir().expect("a folder");
    let picture = folder.path().join("fit.svg");
    let picture = picture.to_str().expect("UTF-8");
    let report =
        describe(&["parts", "extract", "examples/points-sic-mosfet.toml", "--plot", picture, "--json"]);
    let curves = report["tables"]["curves"]["rows"].as_array().unwrap();
    assert_eq!(curves.len(), 17);
    for curve in curves.iter().filter(|c| c["worst_at"] != "kept as data") {
        assert!(curve["rms"].as_f64().unwrap() < 0.01, "{curve}");
    }
    let picture = std::fs::read_to_string(picture).expect("a picture");
    assert!(picture.starts_with("<svg") && picture.contains("gate voltage -5.00 V"));
    for quantity in ["on resistance", "transfer capacitance", "transient impedance"] {
        assert!(picture.contains(quantity), "{quantity}");
    }
}

/// Whatever stands in a points file, the program ends with an exit code of its own.
#[test]
fn hostile_points_are_refused_or_fitted_without_a_panic() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("points.toml");
    let mut requested = diode();
    requested.given = DIODE_KNOWN.iter().copied().collect();
    let good = write::toml(&requested, "made by a model").into_bytes();
    let mut seed: u64 = 5;
    let mut counts = [0; 2];
    for _ in 0..150 {
        let mut bytes = good.clone();
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let at = (seed >> 33) as usize % good.len();
        match seed >> 61 {
            0 => bytes.truncate(at),
            1 => bytes[at] = (seed >> 20) as u8,
            2 => drop(bytes.splice(at..(at + 2).min(good.len()), *b"e9")),
            3 => drop(bytes.splice(at..(at + 2).min(good.len()), *b"-9")),
            _ => bytes[at] = b'0' + ((seed >> 20) % 10) as u8,
        }
        std::fs::write(&path, bytes).expect("written");
        let args = ["joulestep", "parts", "extract", path.to_str().expect("UTF-8")].map(Into::into);
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let code = joulestep::run(args, &mut out, &mut err);
        assert!(matches!(code, 0 | 2 | 4), "{code} {}", String::from_utf8_lossy(&err));
        assert!(!err.contains(&0x1b) && !out.contains(&0x1b), "a control character reached the terminal");
        counts[usize::from(code != 0)] += 1;
    }
    // Both kinds were among them.
    assert!(counts.iter().all(|n| *n > 10), "{counts:?}");
}

#[test]
fn every_broken_points_file_gets_its_errors_and_no_other() {
    crate::broken_scenarios::corpus_gets_its_errors("tests/broken/points", &["parts", "extract"], 15);
}

/// The shipped points with 1 % of noise: bounded work, and a report that holds what the points do not determine. The
/// frozen file made a search for an operating point go to and fro without end.
#[test]
fn noisy_points_end_in_an_honest_report() {
    let open = |path: &Path| std::fs::read_to_string(path);
    let Ok(loaded) = joulestep::input::parts::points(Path::new("examples/points-sic-mosfet.toml"), &open)
    else {
        panic!("shipped")
    };
    let Ok(frozen) =
        joulestep::input::parts::points(Path::new("tests/data/points_sic_mosfet_noise_4.toml"), &open)
    else {
        panic!("frozen")
    };
    let noisy = [1, 4].map(|seed| super::made::noisy(loaded.part.clone(), 0.01, seed));
    for part in noisy.iter().chain([&frozen.part]) {
        let found = joulestep_models::extract::extract(part, &loaded.start).expect("it can be fitted");
        let doubted: Vec<&str> = found.doubts.iter().map(|d| d.key).collect();
        println!("converged: {}; in doubt: {doubted:?}", found.converged);
        assert!(found.fitted.len() > 15, "{} fitted", found.fitted.len());
        for f in &found.fitted {
            // What is reported as fitted and not doubted is known to a quarter.
            let sure = f.error.is_finite() && f.error.abs() < 0.5 * f.value.abs();
            assert!(sure || doubted.contains(&f.key), "{} {} ± {} is not doubted", f.key, f.value, f.error);
        }
        let off = |c: &joulestep_models::extract::CurveFit| c.rms;
        let worst = found.curves.iter().filter(|c| !c.model.is_empty()).map(off).fold(0.0, f64::max);
        assert!(worst < 0.1, "a curve is off by {worst}");
    }
}

/// Text and JSON of the commands about parts are one value: every number that people read is one that programs read.
#[test]
fn what_people_read_of_parts_is_what_programs_read() {
    let list = describe(&["parts", "list", "--json"]);
    let text = joulestep(&["parts", "list"]).out;
    let shown = |x: &Value, unit: &str| x.as_f64().map_or("-".into(), |x| people(x, unit));
    for part in list["parts"].as_array().unwrap() {
        let name = part["name"].as_str().unwrap();
        let line = text.lines().find(|l| l.split_whitespace().next() == Some(name)).expect("a line");
        let columns = [("rated_voltage", "V"), ("on_resistance", "ohm"), ("maximum_temperature", "degC")];
        let cells = columns.map(|(key, unit)| shown(&part[key], unit)).join("  ");
        let blanks = |s: &str| s.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(blanks(line).contains(&blanks(&cells)), "{cells} is not in {line}");

        let (read, json) =
            (joulestep(&["parts", "show", name]).out, describe(&["parts", "show", name, "--json"]));
        let says = |key: &str, text: &str| {
            let mut lines = read.lines().filter(|l| l.split_whitespace().next() == Some(key));
            assert!(lines.any(|l| l.contains(text)), "{name}: {text} is not beside {key} in\n{read}");
        };
        for (key, param) in json["params"].as_object().unwrap() {
            if let (Some(x), unit) = (param["value"].as_f64(), param["unit"].as_str().unwrap()) {
                says(key, &people_digits(x, unit, 5));
            }
        }
        for value in json["values"].as_array().unwrap() {
            let (key, unit) = (value["name"].as_str().unwrap(), value["unit"].as_str().unwrap());
            for at in ["at_25", "at_working"] {
                says(key, &shown(&value[at], unit));
            }
        }
        for piece in json["resistance"].as_array().unwrap() {
            for text in ["resistance", "at_working"].map(|at| shown(&piece[at], "ohm")) {
                assert!(read.contains(&text), "{name}: {text} of a piece is not in\n{read}");
            }
        }
        let curves = json["curves"].as_array().unwrap().len();
        assert_eq!(read.lines().filter(|l| l.contains(" points; ")).count(), curves, "{name}");
    }
}
