//! Heat paths of a component's own, ratings of leads, and parts that contradict their package.

use std::path::Path;

use serde_json::Value;

use crate::common::program::{Done, joulestep};
use crate::common::typed::with;

/// A MOSFET that is on, under a constant current.
fn scenario(folder: &Path, part: &str, heat: &str, thermal: &str) -> Done {
    let text = format!(
        r#"format = 2
{}{}
[[component]]
name = "Q1"
part = "{part}"
pins = ["drain", "gate", "gnd"]
{heat}
{thermal}
[steps]
end = "2 ms"
[record]
signals = ["Q1.current"]
"#,
        with("load", "current-source", ["gnd", "drain"], "value", "60 A"),
        with("gate", "voltage-source", ["gate", "gnd"], "value", "16 V")
    );
    let path = folder.join("scenario.toml");
    std::fs::write(&path, text).expect("written");
    let [path, out] = [path, folder.join("out.h5")].map(|p| p.to_str().expect("UTF-8").to_string());
    joulestep(&["run", &path, "--out", &out, "--json", "--force", "--quiet"])
}

const SINK: &str = "[[thermal.boundary]]\nname = \"sink\"\ntemperature = \"40 degC\"\n";

fn junctions(done: &Done) -> Value {
    let json: Value = serde_json::from_str(&done.out).unwrap_or_else(|_| panic!("{}{}", done.out, done.err));
    json["tables"]["junctions"]["rows"].clone()
}

fn text_of(name: &str) -> &'static str {
    joulestep_models::parts::shipped().iter().find(|p| p.0 == name).expect("shipped").1
}

fn impedance() -> (String, String) {
    let text = text_of("mosfet-sic-700v-12m");
    let table = text.split("[[thermal.impedance]]").nth(1).expect("an impedance");
    let line = |key: &str| table.lines().find(|l| l.starts_with(key)).expect(key).to_string();
    (line("resistance"), line("time-constant"))
}

/// The same numbers as the chain that one would type.
#[test]
fn a_parts_own_impedance_needs_no_retyping() {
    let folder = tempfile::tempdir().expect("a folder");
    // Without the temperature at which the impedance holds the die does not follow its material.
    let text = text_of("mosfet-sic-700v-12m").replace("temperature = \"100 degC\"\n", "");
    std::fs::write(folder.path().join("linear.toml"), text).expect("written");
    let part = "linear.toml";
    let own = "[[thermal.part]]\nof = \"Q1\"\nend = \"sink\"\n";
    let found = scenario(folder.path(), part, "", &format!("{SINK}{own}"));
    let (resistance, time) = impedance();
    let chain = format!(
        "[[thermal.chain]]\nname = \"die\"\nkind = \"foster\"\nend = \"sink\"\n{resistance}\n{time}\n"
    );
    let typed = scenario(folder.path(), part, "heat = \"die\"", &format!("{SINK}{chain}"));
    assert_eq!(found.code, 0, "{}{}", found.out, found.err);
    assert_eq!(junctions(&found), junctions(&typed));
    // Through an interface it is hotter, as through a node of one's own.
    let warmer = format!("{SINK}{own}interface = \"2 K/W\"\n");
    let warmer = scenario(folder.path(), part, "", &warmer);
    let node = "[[thermal.node]]\nname = \"case\"\ncapacitance = 0\n[[thermal.link]]\nfrom = \"case\"\nto = \"sink\"\nresistance = \"2 K/W\"\n";
    let chain = chain.replace("\"sink\"", "\"case\"");
    let typed = scenario(folder.path(), part, "heat = \"die\"", &format!("{SINK}{node}{chain}"));
    assert_eq!(junctions(&warmer), junctions(&typed));
    assert_ne!(junctions(&warmer), junctions(&found));
}

#[test]
fn a_package_of_a_component_takes_its_dies() {
    let folder = tempfile::tempdir().expect("a folder");
    let package = "[[thermal.package]]\nname = \"board\"\npackage = \"board-sj-620v-49m\"\n";
    let part = "mosfet-sj-620v-49m";
    let own = scenario(folder.path(), part, "", &format!("{package}of = \"Q1\"\n"));
    let named = scenario(folder.path(), part, "heat = \"board-mosfet\"", package);
    assert!(!junctions(&own).is_null());
    assert_eq!(junctions(&own), junctions(&named));
}

#[test]
fn wrong_owners_are_reported_where_they_stand() {
    let folder = tempfile::tempdir().expect("a folder");
    let part = "mosfet-sic-700v-12m";
    let own = |of: &str| format!("{SINK}[[thermal.part]]\nof = \"{of}\"\nend = \"sink\"\n");
    for (heat, thermal, expected) in [
        ("", own("Q2"), "there is no component `Q2`"),
        ("", own("load"), "`load` has no part"),
        ("heat = \"Q1-mosfet\"", own("Q1"), "`Q1` states `heat` too"),
        ("", format!("{}[[thermal.part]]\nof = \"Q1\"\nend = \"sink\"\n", own("Q1")), "two "),
        (
            "",
            own("Q1").replace("end = \"sink\"", "end = \"case\""),
            "there is no thermal node, chain or boundary `case`",
        ),
    ] {
        let done = scenario(folder.path(), part, heat, &thermal);
        let all = format!("{}{}", done.out, done.err);
        assert!(done.code == 2 && all.contains(expected), "{expected}: {all}");
    }
}

fn with_ratings(folder: &Path, ratings: &str) -> String {
    let text = text_of("mosfet-sic-700v-12m");
    // In place of those that the part states.
    let (head, rest) = text.split_once("[ratings]\n").expect("ratings");
    let rest = &rest[rest.find("\n[").expect("another table")..];
    let text = format!("{head}[ratings]\n{ratings}\n{rest}");
    std::fs::write(folder.join("rated.toml"), text).expect("written");
    "rated.toml".into()
}

/// What leads carry is judged in runs and in ratings.
#[test]
fn leads_are_judged() {
    let folder = tempfile::tempdir().expect("a folder");
    let own = format!("{SINK}[[thermal.part]]\nof = \"Q1\"\nend = \"sink\"\n");
    for (ratings, code) in [("lead-current = \"50 A\"", 1), ("lead-current = \"70 A\"", 0)] {
        let part = with_ratings(folder.path(), ratings);
        let done = scenario(folder.path(), &part, "", &own);
        assert!(
            done.code == code && done.out.contains("Q1.lead-current"),
            "{ratings}: {} {}",
            done.code,
            done.out
        );
    }
    let ratings = "lead-current = \"30 A\"\nlead-pulse-current = \"90 A\"\nlead-pulse-width = \"1 ms\"";
    with_ratings(folder.path(), ratings);
    let path = folder.path().join("rated.toml");
    let part = path.to_str().expect("UTF-8");
    let args =
        ["rating", part, "--from", "100 us", "--to", "100 s", "--points", "2", "--fault", "60 A", "--json"];
    let json: Value = serde_json::from_str(&joulestep(&args).out).expect("JSON");
    let all = json["answers"].as_array().expect("answers");
    let of = |name: &str| all.iter().find(|a| a["name"] == name).expect(name);
    assert_eq!(
        (of("continuous.current")["value"].as_f64(), of("continuous.current")["remark"].as_str()),
        (Some(30.0), Some("limited by: leads"))
    );
    let rows = json["tables"]["surge"]["rows"].as_array().expect("rows");
    let current = |k: usize| rows[k]["current"].as_f64().expect("a current");
    assert!((current(0) - 90.0).abs() < 1e-9 && (current(1) - 30.0).abs() < 1e-6, "{rows:?}");
    assert_eq!(rows[0]["limited_by"], "leads");
    // I²·(1 − e^(−t/τ)) = 30² with the time constant of the stated pulse.
    let tau = -1e-3 / (1.0 - 1.0f64 / 9.0).ln();
    let longest = -tau * (1.0 - 0.25f64).ln();
    let found = of("fault.1.longest")["value"].as_f64().expect("a time");
    assert!((found / longest - 1.0).abs() < 1e-9, "{found} {longest}");
    for (ratings, expected) in [
        ("lead-pulse-current = \"90 A\"", "together"),
        (
            "lead-current = \"90 A\"\nlead-pulse-current = \"80 A\"\nlead-pulse-width = \"1 ms\"",
            "a pulse above",
        ),
    ] {
        with_ratings(folder.path(), ratings);
        let done = joulestep(&["parts", "show", part]);
        assert!(done.code == 2 && done.err.contains(expected), "{}", done.err);
    }
}

/// A case that does not fit into the outline that the part states.
#[test]
fn a_package_larger_than_the_part_is_a_doubt() {
    let folder = tempfile::tempdir().expect("a folder");
    let text =
        joulestep_models::parts::shipped().iter().find(|p| p.0 == "cascode-700v-7m").expect("shipped").1;
    let text = text.replacen("length = \"12.4 mm\"", "length = \"8.5 mm\"", 1);
    let text = text.replacen("width = \"10.2 mm\"", "width = \"8 mm\"", 1);
    let path = folder.path().join("small.toml");
    std::fs::write(&path, text).expect("written");
    let part = path.to_str().expect("UTF-8");
    let base = ["--on", "board-700v-7m", "--cells", "5000", "--points", "2", "--no-runaway", "--no-estimate"];
    let done = joulestep(&[&["rating", part], &base[..]].concat());
    assert!(done.out.contains("the case, layer `slug`"), "{}{}", done.out, done.err);
    let done = joulestep(&[&["rating", "cascode-700v-7m"], &base[..]].concat());
    assert!(!done.out.contains("doubt"), "{}", done.out);
}

/// From a fault on, what the part allows once is judged in place of its highest junction temperature, which holds until
/// then.
#[test]
fn a_fault_is_judged_by_the_single_event_limit() {
    let folder = tempfile::tempdir().expect("a folder");
    let fault = |marked: bool| {
        let mark = if marked { "fault = true\n" } else { "" };
        format!(
            r#"[[thermal.boundary]]
name = "sink"
temperature = "171 degC"
[[thermal.part]]
of = "Q1"
end = "sink"
{}{}
[[event]]
at = "10 us"
what = "close"
switch = "S1"
{mark}"#,
            with("S1", "switch", ["aside", "gnd"], "on-resistance", "1 Mohm"),
            with("R1", "resistor", ["drain", "aside"], "resistance", "1 Mohm")
        )
    };
    for (limit, marked, code, failed) in [
        ("300 degC", true, 0, ""),
        ("300 degC", false, 1, "Q1.mosfet.temperature"),
        ("176 degC", true, 1, "Q1.mosfet.single-event-temperature"),
    ] {
        let part = with_ratings(folder.path(), &format!("single-event-temperature = \"{limit}\""));
        let done = scenario(folder.path(), &part, "", &fault(marked));
        assert_eq!(done.code, code, "{limit} {marked}: {}{}", done.out, done.err);
        let json: Value = serde_json::from_str(&done.out).expect("JSON");
        let hottest = junctions(&done)[0]["hottest"].as_f64().expect("a temperature");
        assert!((176.0..200.0).contains(&hottest), "{hottest}");
        let all = json["answers"].as_array().expect("answers");
        let failing: Vec<&str> =
            all.iter().filter(|a| a["ruling"] == "EXCEEDED").filter_map(|a| a["name"].as_str()).collect();
        assert_eq!(failing.is_empty(), failed.is_empty(), "{failing:?}");
        assert!(failing.iter().all(|name| name.contains(failed)), "{failing:?}");
    }
}
