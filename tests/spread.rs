//! `run --spread`: against the law of propagation in closed form, and against a batch of the same distributions.

use std::fs;
use std::path::Path;

use joulestep::judge::Spread;
use joulestep::output::result::ResultFile;
use serde_json::Value;

use crate::common::answers::rows;
use crate::common::folder::Folder;
use crate::common::program::{Done, joulestep};

/// 1 V onto a resistor and a capacitor that are parts, for one time constant of the nominal ones.
const SCENARIO: &str = r#"
format = 2
component = [
    { name = "supply", kind = "voltage-source", pins = ["in", "gnd"], value = "1 V" },
    { name = "R1", part = "r.toml", pins = ["in", "out"] },
    { name = "C1", part = "c.toml", pins = ["out", "gnd"] },
]
[steps]
end = "1 ms"
base = "10 us"
start = "stated"
[[limit]]
name = "top"
signal = "voltage(out)"
max = "LIMIT"
"#;
const R: &str = "kind = \"resistor\"\n[params]\nresistance = \"1 kohm\"\n";
const C: &str = "kind = \"capacitor\"\n[params]\ncapacitance = \"1 uF\"\n";
const OF_R: &str = "[[spread]]\nparameter = \"resistance\"\nrelative = \"2 %\"\n";
const OF_C: &str = "[[spread]]\nparameter = \"capacitance\"\ndeviation = \"10 nF\"\n";

fn folder(limit: &str, of_r: &str, of_c: &str) -> Folder {
    let (r, c) = (format!("{R}{of_r}"), format!("{C}{of_c}"));
    Folder::new(&[("s.toml", &SCENARIO.replace("LIMIT", limit)), ("r.toml", &r), ("c.toml", &c)])
}

fn run(folder: &Folder, more: &[&str]) -> Done {
    folder.ask(&[&["run", "@s.toml", "--out", "@s.h5", "--force", "--quiet"], more].concat())
}

fn json(done: &Done) -> Value {
    serde_json::from_str(&done.out).unwrap_or_else(|e| panic!("{e}: {}{}", done.out, done.err))
}

fn number<'a>(report: &'a Value, name: &str) -> &'a Value {
    let all = rows(report, "spread");
    all.iter().find(|n| n["number"] == name).unwrap_or_else(|| panic!("no {name}: {all:?}"))
}

/// v = 1 − e^(−T/RC) at T = RC: ∂v/∂ln R = ∂v/∂ln C = −e⁻¹, so u(v) = e⁻¹·√(0.02² + 0.01²) V (JCGM 100:2008, 5.1.2).
/// The limits lie between v, v + 3u and beyond.
#[test]
fn a_charge_through_parts_spreads_by_the_law_of_propagation() {
    let (v, u) = (1.0 - (-1.0f64).exp(), (-1.0f64).exp() * 0.02f64.hypot(0.01));
    for (limit, nominal, with) in [(v + 4.0 * u, 0, 0), (v + 2.0 * u, 0, 5), (v - 0.1 * u, 1, 1)] {
        let folder = folder(&format!("{limit:.9} V"), OF_R, OF_C);
        let bare = run(&folder, &[]);
        assert_eq!(bare.code, nominal, "{}{}", bare.out, bare.err);
        assert!(
            bare.out.contains(", nominal part\n") && !bare.out.contains("Spread of the input"),
            "{}",
            bare.out
        );
        let done = run(&folder, &["--spread", "--json"]);
        assert_eq!(done.code, with, "{}{}", done.out, done.err);
        let report = json(&done);
        let own = number(&report, "limit.top.largest");
        assert_eq!(own["kind"], "linear");
        assert_eq!(own["by"], "component.R1.resistance");
        let deviation = own["deviation"].as_f64().unwrap();
        println!("u(v) = {deviation:.6} V, closed form {u:.6} V");
        assert!((deviation / u - 1.0).abs() < 1e-3);
        assert_eq!(report["input"], "with 3 standard deviations of 2 inputs");
        // The file says the same, and the text.
        let file = ResultFile::open(Path::new(&folder.path("s.h5"))).unwrap();
        let summary = file.summary().unwrap().unwrap();
        let kept = summary.answers.iter().find(|s| s.name == "limit.top.largest").unwrap();
        assert_eq!(kept.spread, Some(Spread::Linear { deviation }));
        assert_eq!(summary.input, report["input"].as_str().unwrap());
        assert_eq!(summary.verdict().word(), report["verdict"].as_str().unwrap());
        let text = run(&folder, &["--spread"]).out;
        assert!(
            text.contains("Spread of the input")
                && text.contains(", with 3 standard deviations of 2 inputs\n")
        );
        // And the report.
        assert_eq!(folder.ask(&["report", "@s.h5", "-o", "@s.md"]).code, 0);
        let page = fs::read_to_string(folder.path("s.md")).unwrap();
        assert!(
            page.contains("Spread of the input") && page.contains("3 standard deviations of 2 inputs"),
            "{page}"
        );
    }
}

/// The shipped plan of tolerances: what is called linear has the batch's standard deviation within 15 %, and what has
/// not says that it is not linear.
#[test]
fn the_shipped_tolerances_spread_as_their_batch_does() {
    let folder = Folder::new(&[]);
    let text = |name: &str| folder.path(name);
    let plan = "examples/inrush-tolerances.toml";
    let batch = joulestep(&["batch", plan, "--out", &text("t.h5"), "--quiet", "--json"]);
    let batch = json(&batch);
    let args =
        ["run", "examples/inrush-chains.toml", "--spread", plan, "--out", &text("s.h5"), "--quiet", "--json"];
    let report = json(&joulestep(&args));
    let (mut linear, mut bent) = (Vec::new(), 0);
    for own in rows(&report, "spread") {
        let of_batch = batch["outputs"].as_array().unwrap().iter().find(|o| o["name"] == own["number"]);
        let Some(of_batch) = of_batch else { continue };
        match own["kind"].as_str().unwrap() {
            "linear" if own["deviation"] != 0.0 => {
                let share = own["deviation"].as_f64().unwrap() / of_batch["deviation"].as_f64().unwrap();
                println!("{}: {share:.3} of the batch's deviation", own["number"]);
                assert!((share - 1.0).abs() <= 0.15, "{}: {share}", own["number"]);
                linear.push(own["number"].as_str().unwrap());
            }
            "not linear" => bent += 1,
            _ => {}
        }
    }
    println!("{bent} numbers are not linear");
    for name in ["limit.inrush-current.largest", "breaker.mosfet.hottest", "bank.stored"] {
        assert!(linear.contains(&name), "{name}: {linear:?}");
    }
}

/// A capacitor's energy after charging from ±: with the source at 0 V it goes as the square of the voltage, which no
/// standard deviation to first order tells.
#[test]
fn a_square_is_not_linear() {
    let folder = folder("1 V", "", "");
    let plan = "format = 2\nscenario = \"s.toml\"\nsampling = { kind = \"monte-carlo\", variants = 9 }\n\
                vary = [{ value = \"component.supply.value\", kind = \"normal\", mean = \"0 V\", deviation = \"1 mV\" }]\n";
    fs::write(folder.path("p.toml"), plan).unwrap();
    fs::write(folder.path("s.toml"), SCENARIO.replace("\"1 V\"", "\"0 V\"").replace("LIMIT", "1 V")).unwrap();
    let done = run(&folder, &["--spread", "@p.toml", "--json"]);
    let report = json(&done);
    assert_eq!(number(&report, "C1.stored")["kind"], "not linear");
    assert!(number(&report, "C1.stored")["why"].as_str().unwrap().contains("second differences"));
    // The largest voltage has a kink there: zero on one side.
    assert_eq!(number(&report, "limit.top.largest")["kind"], "not linear");
    assert_eq!(done.code, 5);
}

#[test]
fn what_cannot_be_spread_is_reported() {
    let here = |of_r: &str, more: &[&str]| {
        let folder = folder("1 V", of_r, "");
        let plan = "format = 2\nscenario = \"s.toml\"\nsampling = { kind = \"grid\" }\n\
                    vary = [{ value = \"component.supply.value\", kind = \"values\", values = [1, 2] }]\n";
        fs::write(folder.path("grid.toml"), plan).unwrap();
        fs::write(folder.path("other.toml"), plan.replace("s.toml", "other-s.toml")).unwrap();
        fs::copy(folder.path("s.toml"), folder.path("other-s.toml")).unwrap();
        let done = run(&folder, more);
        assert_eq!(done.code, 2, "{}{}", done.out, done.err);
        done.err
    };
    let report = here("", &["--spread"]);
    assert!(
        report.contains("no part of a component states a spread") && report.contains("[[spread]]"),
        "{report}"
    );
    let report = here("", &["--spread", "@grid.toml"]);
    assert!(report.contains("stated values") && report.contains("a plan of distributions"), "{report}");
    let report = here("", &["--spread", "@other.toml"]);
    assert!(
        report.contains("varies") && report.contains("other-s.toml") && report.contains("expected a plan of"),
        "{report}"
    );
    for (of_r, found) in [
        (
            "[[spread]]\nparameter = \"resistence\"\nrelative = 0.1\n",
            "r.toml:5:13: part.spread[1].parameter: [params] gives no number",
        ),
        ("[[spread]]\nparameter = \"resistance\"\ndeviation = \"1 V\"\n", "r.toml:6:13"),
        ("[[spread]]\nparameter = \"resistance\"\n", "not one of `deviation` and `relative`"),
        (
            "[[spread]]\nparameter = \"resistance\"\nrelative = 0.1\n[[correlation]]\nbetween = [\"resistance\", \"x\"]\ncoefficient = 0.5\n",
            "no pair of parameters that spread",
        ),
    ] {
        let report = here(of_r, &[]);
        assert!(report.contains(found), "{found}\n{report}");
    }
}

/// What an extraction knows of its parameters stands in the part file that it writes, and comes back.
#[test]
fn a_part_file_keeps_deviations_and_correlations() {
    let folder = Folder::new(&[]);
    let path = folder.path("p.toml");
    let done = joulestep(&["parts", "extract", "examples/points-sic-mosfet.toml", "--part", &path, "--json"]);
    assert_eq!(done.code, 0, "{}", done.err);
    let report = json(&done);
    let part = joulestep::input::parts::load(&path, &joulestep::input::keys::include::open).unwrap().part;
    let threshold = rows(&report, "parameters").iter().find(|p| p["parameter"] == "threshold").unwrap();
    let kept = part.spread.deviations.iter().find(|d| d.0 == "threshold").unwrap().1;
    assert!((kept / threshold["standard_error"].as_f64().unwrap() - 1.0).abs() < 1e-8);
    let pairs = &part.spread.correlations;
    assert!(
        !pairs.is_empty() && pairs.iter().all(|(a, b, r)| a != b && (0.1..=1.0).contains(&r.abs())),
        "{pairs:?}"
    );
    let again = folder.path("again.toml");
    fs::write(&again, joulestep::input::parts::write::toml(&part, "")).unwrap();
    let again = joulestep::input::parts::load(&again, &joulestep::input::keys::include::open).unwrap().part;
    assert_eq!(again.spread, part.spread);
}
