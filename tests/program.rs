//! The program on whole scenarios, as a user runs it: account, result file, exit codes, schema.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use joulestep::output::result::ResultFile;
use serde_json::Value;

use crate::common::answers::{answer, rows, value};
use crate::common::folder::{Folder, rc};
use crate::common::program::{joulestep, without_event_limits};

const FERRY: &str = "examples/ferry-breaker.toml";

/// A folder with a scenario of this text in it, and the paths of the scenario and of a result file beside it.
fn scenario(content: &str) -> (Folder, String, String) {
    let folder = Folder::scenario(content);
    let (path, out) = (folder.path("s.toml"), folder.path("s.h5"));
    (folder, path, out)
}

fn ferry() -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(FERRY)).expect("the example")
}

#[test]
fn the_shipped_scenario_does_the_main_job() {
    let (_folder, _, out) = scenario("");
    let run = joulestep(&["run", FERRY, "--out", &out, "--json"]);
    assert_eq!(run.code, 0, "{}", run.err);
    let account: Value = serde_json::from_str(&run.out).expect("JSON");
    assert_eq!((&account["outcome"], &account["verdict"]), (&Value::from("done"), &Value::from("passes")));
    assert!(value(&account, "ledger_residual_relative") < 1e-4);
    // Charged in pulses, then on; the fault trips, one retry, lock-out, in this order.
    let events = rows(&account, "events");
    let wanted = ["event", "control", "edge", "control", "event", "event", "trip", "edge"];
    let wanted = wanted.iter().chain(&["cleared", "retry", "edge", "trip", "lock-out", "edge", "cleared"]);
    let mut kinds = events.iter().map(|e| e["kind"].as_str().unwrap());
    for kind in wanted {
        assert!(kinds.any(|k| k == *kind), "no `{kind}` where it belongs");
    }
    assert!(kinds.all(|k| k == "clamp"), "nothing turns on after the lock-out");
    // Charge of the bank against ∫i dt: the battery's energy is what the ledger says it delivered.
    let file = ResultFile::open(Path::new(&out)).expect("a result file");
    assert!(file.complete());
    let last = file.samples() - 1;
    assert_eq!(file.time(last..last + 1).unwrap(), [0.015]);
    let current = file.window("breaker.current", last..last + 1).unwrap()[0];
    assert!(current.abs() < 0.1, "{current} A after the lock-out");
    // Junctions only ever warm above the heatsink that they stand on.
    let jfet = file.temperature("jfet", 0..file.thermal_samples()).unwrap();
    let hottest = jfet.iter().copied().fold(f64::MIN, f64::max);
    assert!(jfet.iter().all(|&t| t > 47.999), "below the heatsink");
    // No part is driven beyond its ratings, the freewheel diode included.
    assert_eq!(answer(&account, "rating.freewheel.voltage.least")["ruling"], "kept");
    let judged = account["answers"].as_array().unwrap().iter().filter(|a| a["limit"] != "");
    assert!(judged.clone().all(|a| a["ruling"] == "kept" || !a["waived"].is_null()), "{account}");
    let report = rows(&account, "junctions")[0]["hottest"].as_f64().unwrap();
    // The file has the temperatures at exchanges, which end when the laws lag by half a kelvin; the account looks at
    // every step.
    assert!(report >= hottest && report - hottest < 1.0, "{hottest} and {report}");
    let named = |(path, _): &(PathBuf, String)| path == Path::new("shipped/cascode-700v-7m.toml");
    assert!(file.about().inputs.files.iter().any(named), "parts are among the inputs");
}

#[test]
fn the_text_of_a_run_fits_its_columns_and_names_its_definitions() {
    let (_folder, path, out) =
        scenario(&without_event_limits(&ferry()).replace("end = \"15 ms\"", "end = \"0.4 ms\""));
    let run = joulestep(&["run", &path, "--out", &out, "--quiet"]);
    assert_eq!(run.code, 0, "{}", run.err);
    assert!(run.err.is_empty());
    let account = run.out;
    // Quantities have remarks, which may be long.
    for line in account.lines().skip_while(|l| !l.starts_with("Events")).filter(|l| !l.starts_with("written"))
    {
        assert!(line.chars().count() <= 110, "{line}");
    }
    for heading in ["Events", "Extremes", "Junctions", "Energies", "conditions", "definitions"] {
        assert!(account.lines().any(|l| l.split(':').next() == Some(heading)), "{heading}");
    }
    assert!(account.contains("(rating)") && account.contains("(limit)"));
    assert!(account.contains("verdict: passes"));
    assert!(account.contains("least and largest value at the end of any step"));
}

/// v(t) = V (1 − e^(−t/RC)) and the energies of charging from zero: the source delivers V·q, the capacitor keeps
/// ½Cv² (any textbook of circuits, from memory).
#[test]
fn an_rc_circuit_charges_by_its_closed_form() {
    let more = "[steps]\nend = \"2 ms\"\nbase = \"20 us\"\nfinest = \"0.625 us\"\nvoltage-error = \"1 uV\"\n\
                [record]\nsignals = [\"voltage(out)\"]\n";
    let (_folder, path, out) = scenario(&rc(more));
    let run = joulestep(&["run", &path, "--out", &out, "--json"]);
    assert_eq!(run.code, 0, "{}", run.err);
    let file = ResultFile::open(Path::new(&out)).expect("a result file");
    let (t, v) =
        (file.time(0..file.samples()).unwrap(), file.window("voltage(out)", 0..file.samples()).unwrap());
    for (t, v) in t.iter().zip(&v) {
        let exact = 10.0 * (1.0 - (-t / 1e-3).exp());
        assert!((v - exact).abs() < 1e-5, "at {t}: {v}, {exact}");
    }
    let account: Value = serde_json::from_str(&run.out).expect("JSON");
    let energy = |name: &str, what: &str| {
        rows(&account, "energies").iter().find(|e| e["component"] == name).unwrap()[what].as_f64().unwrap()
    };
    let end = 10.0 * (1.0 - (-2.0f64).exp());
    assert!((energy("supply", "delivered") - 10.0 * 1e-6 * end).abs() < 1e-10);
    assert!((energy("C1", "stored") - 0.5 * 1e-6 * end * end).abs() < 1e-10);
    assert_eq!(account["verdict"], "not judged");
}

#[test]
fn a_limit_that_is_exceeded_fails_with_exit_code_1() {
    let more = "[steps]\nend = \"2 ms\"\nbase = \"20 us\"\n[[limit]]\nname = \"top\"\nsignal = \"voltage(out)\"\nmax = \"5 V\"\n";
    let (_folder, path, out) = scenario(&rc(more));
    let run = joulestep(&["run", &path, "--out", &out]);
    assert_eq!(run.code, 1, "{}", run.err);
    let account = run.out;
    assert!(account.contains("verdict: fails") && account.contains("EXCEEDED"), "{account}");
    assert!(account.contains("limit"), "the crossing is an event");
    let file = ResultFile::open(Path::new(&out)).expect("a result file");
    assert!(file.complete(), "the run itself came to its end");
}

#[test]
fn a_result_that_cannot_be_written_is_an_input_output_error() {
    let more = "[steps]\nend = \"1 ms\"\nbase = \"20 us\"\n";
    let (folder, path, out) = scenario(&rc(more));
    folder.refuses(4, &["run", "@s.toml", "--out", "@none/x.h5"], "none/x.h5");
    folder.refuses(4, &["run", "@s.toml", "--out", "@", "--force"], "directory");
    // Nothing is replaced without being asked to.
    std::fs::write(&out, "precious").unwrap();
    folder.refuses(4, &["run", "@s.toml", "--out", "@s.h5"], "--force");
    assert_eq!(std::fs::read_to_string(&out).unwrap(), "precious");
    assert_eq!(joulestep(&["run", &path, "--out", &out, "--force"]).code, 0);
    // The scenario itself is safe too.
    assert_eq!(joulestep(&["run", &path, "--out", &path]).code, 4);
}

/// A diode without breakdown or leakage cannot carry a reverse current: no operating point at the start, and none after
/// the source has turned round. The first leaves no result file; the second closes what was computed, incomplete.
#[test]
fn equations_without_a_solution_end_with_exit_code_3() {
    let reversed = |course: &str| {
        format!(
            "format = 2\n[[component]]\nname = \"source\"\nkind = \"current-source\"\npins = [\"gnd\", \"k\"]\n{course}\n\
             [[component]]\nname = \"D1\"\nkind = \"diode\"\npins = [\"gnd\", \"k\"]\n\
             saturation-current = \"1 nA\"\n[steps]\nend = \"10 us\"\nbase = \"10 ns\"\n"
        )
    };
    let (_folder, path, out) = scenario(&reversed("value = \"1 A\""));
    let run = joulestep(&["run", &path, "--out", &out]);
    assert_eq!(run.code, 3, "{}", run.err);
    assert!(run.err.contains("`k`"), "{}", run.err);
    let course = "points = [[\"0 s\", \"-1 A\"], [\"4 us\", \"-1 A\"], [\"6 us\", \"1 A\"]]";
    let (_folder, path, out) = scenario(&reversed(course));
    let run = joulestep(&["run", &path, "--out", &out]);
    assert_eq!(run.code, 3, "{}", run.err);
    let report = run.err + &run.out;
    assert!(report.contains("t = 0.00000") || report.contains("5.0000"), "the instant is named: {report}");
    let file = ResultFile::open(Path::new(&out)).expect("a result file");
    assert!(!file.complete());
    let last = file.samples() - 1;
    let end = file.time(last..last + 1).unwrap()[0];
    assert!(end > 4e-6 && end < 5.1e-6, "computed until {end} s");
}

/// What the account tells of a run that fails is finite, or said in words: after steps that ran away, and where the
/// first instant has no solution.
#[test]
fn the_account_of_a_failure_holds_no_number_that_is_none() {
    let fails = |course: &str, more: &str| {
        let content = format!(
            "format = 2\n[[component]]\nname = \"source\"\nkind = \"current-source\"\npins = [\"gnd\", \"k\"]\n{course}\n\
             [[component]]\nname = \"D1\"\nkind = \"diode\"\npins = [\"gnd\", \"k\"]\n\
             saturation-current = \"1 nA\"\n{more}[steps]\nend = \"10 us\"\nbase = \"10 ns\"\n\
             [record]\nsignals = [\"voltage(k)\", \"D1.current\"]\n\
             [[limit]]\nname = \"top\"\nsignal = \"voltage(k)\"\nmax = \"5 V\"\n"
        );
        let (_folder, path, out) = scenario(&content);
        let run = joulestep(&["run", &path, "--out", &out]);
        assert_eq!(run.code, 3, "{}", run.out);
        let report = run.out + &run.err;
        let none = |word: &&str| ["inf", "-inf", "NaN"].contains(&word.trim_matches(['(', ')', ',', ';']));
        assert_eq!(report.split_whitespace().filter(none).count(), 0, "{report}");
        // So does the report.
        let page = format!("{out}.md");
        let made = joulestep(&["report", &out, "-o", &page]);
        assert_eq!(made.code, 0, "{}", made.err);
        let page = std::fs::read_to_string(page).expect("a report");
        let result =
            page.split("Scenario and part data").next().unwrap_or_default().replace(['*', '−', '('], " ");
        assert_eq!(result.split_whitespace().filter(none).count(), 0, "{result}");
        report
    };
    fails("points = [[\"0 s\", \"-1 A\"], [\"4 us\", \"-1 A\"], [\"6 us\", \"1 A\"]]", "");
    let opens = "[[component]]\nname = \"S1\"\nkind = \"switch\"\npins = [\"k\", \"gnd\"]\ninitial-state = 1\n\
                 off-resistance = \"1.7e308 ohm\"\n[[event]]\nat = \"0 s\"\nwhat = \"open\"\nswitch = \"S1\"\n";
    let report = fails("value = \"1 A\"", opens);
    // The state it began with keeps the limit; a run that did not come to its end proves nothing.
    assert!(report.contains("verdict: not proven"), "{report}");
}

#[test]
fn a_broken_scenario_makes_no_result_file() {
    let (_folder, path, out) = scenario(&rc("[steps]\nend = \"1 ms\"\nbase = \"0 s\"\n"));
    let run = joulestep(&["run", &path, "--out", &out]);
    assert_eq!(run.code, 2);
    assert!(!Path::new(&out).exists());
}

/// Ctrl-C: the file is closed, holds what was computed, and says that it is not complete.
#[cfg(unix)]
#[test]
fn an_interrupted_run_closes_its_file() {
    let long = "[steps]\nend = \"100 s\"\nbase = \"1 us\"\n[record]\nsignals = [\"voltage(out)\"]\ninterval = \"1 ms\"\n";
    let (_folder, path, out) = scenario(&rc(long));
    let child = Command::new(env!("CARGO_BIN_EXE_joulestep"))
        .args(["run", &path, "--out", &out, "--json"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program runs");
    // The file appears when the handler is about to be set; a moment later the run is under way.
    for _ in 0..200 {
        if Path::new(&out).exists() {
            break;
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    std::thread::sleep(Duration::from_millis(500));
    let killed = Command::new("kill").args(["-INT", &child.id().to_string()]).status().expect("kill runs");
    assert!(killed.success());
    let output = child.wait_with_output().expect("it ends");
    assert_eq!(output.status.code(), Some(130), "{output:?}");
    let account: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(account["outcome"], "interrupted");
    let reached = value(&account, "reached");
    assert!(reached > 0.0 && reached < 100.0, "{reached}");
    let file = ResultFile::open(Path::new(&out)).expect("a result file");
    assert!(!file.complete());
    assert!(file.samples() > 0);
}

/// The schema, by an implementation that is not ours (draft 2020-12), on the shipped scenario and on broken ones.
#[test]
fn the_schema_accepts_the_shipped_scenario_and_refuses_broken_ones() {
    let output = joulestep(&["schema"]);
    assert_eq!(output.code, 0);
    let schema: Value = serde_json::from_str(&output.out).expect("JSON");
    let validator = crate::common::schema::validator_for(&schema).expect("a schema");
    let json = |content: &str| -> Value {
        let table: toml::Table = content.parse().expect("TOML");
        serde_json::to_value(table).expect("JSON")
    };
    let good = json(&ferry());
    let held = validator.validate(&good);
    assert!(held.is_ok(), "{held:?}");
    let base = rc("[steps]\nend = \"1 ms\"\nbase = \"20 us\"\n");
    assert!(validator.is_valid(&json(&base)));
    for (from, to) in [
        ("resistance = \"1 kohm\"", "resistence = \"1 kohm\""),
        ("resistance = \"1 kohm\"", "resistance = -1"),
        ("resistance = \"1 kohm\"\n", ""),
        ("kind = \"resistor\"", "kind = \"resistr\""),
        ("name = \"R1\"", "name = \"R 1\""),
        ("format = 2", "format = 3"),
        ("base = \"20 us\"", "base = true"),
        ("[steps]", "[stpes]"),
    ] {
        let broken = base.replacen(from, to, 1);
        assert_ne!(broken, base);
        assert!(!validator.is_valid(&json(&broken)), "{to} is accepted");
    }
}

#[test]
fn completions_name_the_commands() {
    for shell in ["bash", "zsh", "fish"] {
        let output = joulestep(&["completions", shell]);
        assert_eq!(output.code, 0);
        let script = output.out;
        assert!(["run", "check", "schema"].iter().all(|verb| script.contains(verb)), "{shell}");
    }
    assert_eq!(joulestep(&["completions", "none"]).code, 2);
}

/// Words of format 1 on the command line are refused with their new ones.
#[test]
fn an_old_command_is_refused_with_its_new_name() {
    let run = joulestep(&["duty", "examples/ferry-mission.toml"]);
    let err = run.err;
    assert_eq!(run.code, 2, "{err}");
    assert!(err.contains("`duty` is called `mission` since format 2"), "{err}");
}
