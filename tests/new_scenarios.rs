//! Scenarios that `new` writes: each is right and runs, and nothing that exists is replaced.

use std::fs;

use serde_json::Value;

use crate::common::program::joulestep;

#[test]
fn every_scenario_to_begin_with_is_right_and_passes() {
    let folder = tempfile::tempdir().unwrap();
    let listed = joulestep(&["new", "--list", "--json"]);
    let listed: Value = serde_json::from_str(&listed.out).unwrap();
    let names: Vec<&str> = listed.as_array().unwrap().iter().map(|s| s["name"].as_str().unwrap()).collect();
    assert_eq!(names, ["breaker", "leg", "own-part"]);
    for name in names {
        let path =
            |ending: &str| folder.path().join(format!("{name}.{ending}")).to_str().unwrap().to_string();
        let done = joulestep(&["new", name, "--out", &path("toml")]);
        assert_eq!(done.code, 0, "{}{}", done.out, done.err);
        let text = fs::read_to_string(path("toml")).unwrap();
        assert!(text.lines().filter(|l| l.contains('#')).count() > 6, "{name} explains itself");
        let again = joulestep(&["new", name, "--out", &path("toml")]);
        assert_eq!(again.code, 4, "{}", again.out);
        assert!(again.err.contains("exists and is left as it is"), "{}", again.err);
        assert_eq!(joulestep(&["check", &path("toml")]).code, 0);
        let run = joulestep(&["run", &path("toml"), "--out", &path("h5"), "--json"]);
        let account: Value = serde_json::from_str(&run.out).unwrap_or_else(|e| panic!("{e}: {}", run.err));
        assert_eq!((run.code, &account["verdict"]), (0, &Value::from("passes")), "{name}: {account:#}");
    }
}

/// What an editor shows of a kind: its pins and what of it can be recorded; of a value that may be left out its default,
/// where there is one.
#[test]
fn the_schema_tells_pins_signals_and_defaults_of_every_kind() {
    let schema: Value = serde_json::from_str(&joulestep(&["schema"]).out).unwrap();
    let kinds = schema["properties"]["component"]["items"]["anyOf"].as_array().unwrap();
    assert!(kinds.len() > 15, "{}", kinds.len());
    for kind in kinds {
        let name = &kind["properties"]["kind"]["const"];
        let words = kind["description"].as_str().unwrap();
        assert!(words.contains("Signals: NAME."), "{name}: {words}");
        let mut pins = &kind["properties"]["pins"];
        if let Some(shared) = pins["$ref"].as_str() {
            pins = &schema["$defs"][shared.trim_start_matches("#/$defs/")];
        }
        assert!(pins["description"].as_str().unwrap().starts_with("nodes of "), "{name}: {pins}");
    }
    let resistor = kinds.iter().find(|k| k["properties"]["kind"]["const"] == "resistor").unwrap();
    assert_eq!(resistor["properties"]["temperature-coefficient"]["default"], "0 1/K");
}
