//! Every study varied by a plan: its answers are the columns.

use std::path::Path;

use joulestep::input::keys::shape::Form;
use joulestep::study::{CATALOGUE, Entry};
use serde_json::Value;

use super::{csv, requested};
use crate::common::program::joulestep;

/// The question as the table of a plan.
fn plan_of(entry: &'static Entry) -> String {
    let quoted = |x: &str| format!("{x:?}");
    let mut lines = vec![format!("[{}]", entry.section.name)];
    let mut args = entry.trial.args.iter().peekable();
    let mut files = Vec::new();
    while let Some(arg) = args.next() {
        let Some(name) = arg.strip_prefix("--") else {
            // A plan names files relative to itself.
            let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(arg);
            files.push(quoted(if path.is_file() { path.to_str().expect("UTF-8") } else { arg }));
            continue;
        };
        let key =
            entry.section.keys.iter().find(|k| k.name == name).unwrap_or_else(|| panic!("no key {name}"));
        let value = match key.form {
            Form::Flag => "true".to_string(),
            Form::Whole(..) => args.next().expect("a value").to_string(),
            Form::Quantities(..) => {
                let all: Vec<String> = args.next().expect("a value").split(',').map(quoted).collect();
                if all.len() == 1 { all[0].clone() } else { format!("[{}]", all.join(", ")) }
            }
            _ => quoted(args.next().expect("a value")),
        };
        lines.push(format!("{name} = {value}"));
    }
    if let Some(input) = entry.inputs.iter().find(|i| i.positional && !files.is_empty()) {
        lines.push(format!("{} = [{}]", input.key.name, files.join(", ")));
    }
    let (key, [a, b]) = entry.trial.vary;
    // A value of the scenario has its own path.
    let path = if key.contains('.') { key.to_string() } else { format!("{}.{key}", entry.section.name) };
    format!(
        "format = 2\nestimate = \"all\"\n{}\n[sampling]\nkind = \"grid\"\n[[vary]]\nname = \"varied\"\nvalue = \"{path}\"\n\
         kind = \"values\"\nvalues = [{a:?}, {b:?}]\n",
        lines.join("\n")
    )
}

#[test]
fn every_study_is_varied_by_a_plan() {
    for entry in CATALOGUE {
        let folder = tempfile::tempdir().expect("a folder");
        let path = |name: &str| folder.path().join(name).display().to_string();
        std::fs::write(path("plan.toml"), plan_of(entry)).expect("written");
        let done = joulestep(&[
            "batch",
            &path("plan.toml"),
            "--out",
            &path("t.h5"),
            "--csv",
            &path("t.csv"),
            "--json",
            "--quiet",
            "--allow-outside",
            env!("CARGO_MANIFEST_DIR"),
        ]);
        assert!([0, 1, 5].contains(&done.code), "{}: {}{}", entry.name, done.out, done.err);
        let report: Value = serde_json::from_str(&done.out).expect("JSON");
        let alone: Value = serde_json::from_str(&requested(entry, &["--json"]).out).expect("JSON");
        let names = |of: &Value| -> Vec<(String, String)> {
            let text = |v: &Value| v.as_str().expect("text").to_string();
            of.as_array().expect("a list").iter().map(|o| (text(&o["name"]), text(&o["unit"]))).collect()
        };
        // A count, or an error itself, need be no output; quantities of tables may be.
        let counts = |a: &&Value| a["error_kind"] == "within" && a["error"].as_f64() == Some(0.0);
        let answers = alone["answers"].as_array().expect("answers");
        let told = Value::Array(answers.iter().filter(|a| !counts(a)).cloned().collect());
        let outputs = names(&report["outputs"]);
        assert!(names(&told).iter().all(|n| outputs.contains(n)), "{}: {outputs:?}", entry.name);
        let (heads, rows) = csv(&std::fs::read_to_string(path("t.csv")).expect("a table"));
        assert_eq!(rows.len(), 2, "{}", entry.name);
        let mut moved = false;
        for a in told.as_array().expect("answers") {
            let name = a["name"].as_str().expect("a name");
            let bare = |h: &String| h.split(" [").next() == Some(name);
            let at = heads.iter().position(bare).unwrap_or_else(|| panic!("no column {name}: {heads:?}"));
            let [first, second] = [0, 1].map(|row: usize| rows[row][at].parse::<f64>().unwrap_or(f64::NAN));
            moved |= first.to_bits() != second.to_bits();
            let what = format!("{}: {name}: {first}, alone {}", entry.name, a["value"]);
            match a["value"].as_f64() {
                // Tables of laws may begin at other temperatures: as near as the errors say, and much nearer than a
                // percent.
                Some(x) => {
                    let close = (1e-6 * x.abs()).max(a["error"].as_f64().unwrap_or(0.0).min(1e-3 * x.abs()));
                    assert!((first - x).abs() <= close, "{what}");
                }
                None => assert!(!first.is_finite(), "{what}"),
            }
        }
        assert!(moved, "{}: `{}` moves nothing", entry.name, entry.trial.vary.0);
    }
}
