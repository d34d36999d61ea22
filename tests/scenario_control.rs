//! Control and protection as scenario files say them, through the program: what it tells and what it records.

use std::path::Path;

use joulestep::output::result::ResultFile;
use serde_json::Value;

use crate::common::answers::rows;
use crate::common::folder::Folder;
use crate::common::rig::near;

/// Runs a scenario; its account and its result file.
fn ran(text: &str) -> (Value, ResultFile, Folder) {
    let folder = Folder::scenario(text);
    let (code, account) = folder.json(&["run", "@s.toml", "--out", "@s.h5"]);
    assert!(code <= 1, "{account}");
    let file = ResultFile::open(Path::new(&folder.path("s.h5"))).unwrap();
    (account, file, folder)
}

/// A load of 20 A; from 1 ms on 3.8 A/µs up to 400 A, from 1.1 ms on back to nothing at 1.2 ms.
fn fault(mark: &str) -> String {
    format!(
        r#"
format = 2
component = [
    {{ name = "source", kind = "current-source", pins = ["gnd", "a"], points = [["0 s", "20 A"], ["1 ms", "20 A"], ["1.1 ms", "400 A"], ["1.2 ms", "0 A"]] }},
    {{ name = "R1", kind = "resistor", pins = ["a", "gnd"], resistance = "1 ohm" }},
]
[[protection]]
name = "overcurrent"
kind = "level"
watches = "R1.current"
threshold = "280 A"
trip = "trip"
[[event]]
at = "1 ms"
what = "note"
note = "short circuit"
{mark}
[steps]
end = "1.5 ms"
base = "1 us"
[record]
signals = ["R1.current"]
"#
    )
}

/// ∫ i² dt where i goes straight from `a` to `b` (elementary: (b³ − a³)/3 over the slope).
fn straight(a: f64, b: f64, time: f64) -> f64 {
    time * (a * a + a * b + b * b) / 3.0
}

/// The event in which the fault is cleared.
fn cleared(account: &Value, number: usize) -> (f64, String) {
    let one = rows(account, "events").iter().filter(|e| e["kind"] == "cleared").nth(number).unwrap();
    (one["value"].as_f64().unwrap(), one["note"].as_str().unwrap().to_string())
}

/// The fall ends at a tenth of the threshold, 28 A; the rise begins at the mark, or at the threshold where there is
/// none.
#[test]
fn let_through_counts_from_the_fault_that_an_event_marks() {
    let fall = straight(400.0, 28.0, 93e-6);
    let (account, file, _folder) = ran(&fault("fault = true"));
    let (found, note) = cleared(&account, 0);
    near("from the fault", found, straight(20.0, 400.0, 100e-6) + fall, 1e-9);
    assert_eq!(note, "let-through I²t since the fault at 1.0000 ms, peak 400 A");
    let summary = file.summary().unwrap().unwrap();
    let kept = summary.answers.iter().find(|s| s.name == "overcurrent.let-through").unwrap();
    assert_eq!((kept.value, kept.unit.as_str()), (found, "A^2 s"));
    for mark in ["", "fault = false"] {
        let (account, _, _folder) = ran(&fault(mark));
        let (found, note) = cleared(&account, 0);
        near("above the threshold", found, straight(280.0, 400.0, 120.0 / 3.8e6) + fall, 1e-9);
        assert!(
            note.contains("above 280 A only") && note.contains("no start of a fault is marked"),
            "{note}"
        );
    }
}

/// The account gives the definition beside the number.
#[test]
fn the_account_says_what_let_through_is() {
    let done = Folder::scenario(&fault("fault = true")).ask(&["run", "@s.toml", "--out", "@s.h5"]);
    assert_eq!(done.code, 0, "{}", done.err);
    let one_line = done.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        one_line.contains("let-through I²t: ∫ i² dt of the protection's current from the start of the fault"),
        "{}",
        done.out
    );
}

/// The shipped breaker: what is reported is ∫ i² dt of the recorded current from the short circuit on, and of the
/// retry.
#[test]
fn the_shipped_breaker_lets_through_what_its_record_says() {
    let examples = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples");
    let text = std::fs::read_to_string(examples.join("ferry-breaker.toml")).unwrap();
    let (account, file, _folder) = ran(&text.replace("end = \"15 ms\"", "end = \"10.5 ms\""));
    let all = 0..file.samples();
    let (time, current) = (file.time(all.clone()).unwrap(), file.window("busbar.current", all).unwrap());
    assert!(time.windows(2).all(|w| w[0] < w[1]), "instants rise");
    let signal = joulestep_engine::measure::signal::Signal::new(&time, &current).unwrap();
    let events = file.events().unwrap();
    let starts = [9e-3, events.iter().find(|e| e.kind == "retry").unwrap().time];
    let ends = events.iter().filter(|e| e.kind == "cleared").map(|e| e.time);
    for (number, (begin, end)) in starts.into_iter().zip(ends).enumerate() {
        let (found, note) = cleared(&account, number);
        near(&note, found, signal.product(&signal, begin, end), 1e-4);
        assert!(note.contains(["since the fault at 9.0000 ms", "since the retry"][number]), "{note}");
    }
    let answers = account["answers"].as_array().unwrap();
    let rated = |name: &str| answers.iter().any(|a| a["name"] == format!("rating.{name}.largest"));
    assert!(rated("breaker.die-voltage") && !rated("breaker.voltage"));
}

/// 10 kHz, 30 %, 2 µs of dead time; both lines are recorded.
const COMPLEMENTED: &str = r#"
format = 2
component = [
    { name = "supply", kind = "voltage-source", pins = ["in", "gnd"], value = "10 V" },
    { name = "R1", kind = "resistor", pins = ["in", "gnd"], resistance = "1 ohm" },
]
[[controller]]
name = "modulator"
kind = "pwm"
output = "upper"
complement = "lower"
dead-time = "2 us"
frequency = "10 kHz"
duty = 0.3
[steps]
end = "1 ms"
base = "1 us"
[record]
signals = ["line(upper)", "line(lower)"]
"#;

/// The two lines of a run, with time in s.
fn lines(file: &ResultFile) -> (Vec<f64>, [Vec<f64>; 2]) {
    let all = 0..file.samples();
    let of = |line| file.window(line, all.clone()).unwrap();
    (file.time(all.clone()).unwrap(), ["line(upper)", "line(lower)"].map(of))
}

/// A second leg, half a period behind the first: the pulses of both are 30 µs long, 50 µs apart.
#[test]
fn a_phase_shifts_the_pulses_of_a_controller() {
    let both = COMPLEMENTED.replace("complement = \"lower\"\ndead-time = \"2 us\"\n", "").replace(
        "[steps]",
        "[[controller]]\nname = \"second\"\nkind = \"pwm\"\noutput = \"lower\"\nfrequency = \"10 kHz\"\n\
         duty = 0.3\nphase = \"50 %\"\n[steps]",
    );
    let (_, file, _folder) = ran(&both);
    let (time, [upper, lower]) = lines(&file);
    let mut seen = [0; 2];
    for ((t, upper), lower) in time.iter().zip(upper).zip(lower) {
        let into = (t % 100e-6) * 1e6;
        if [0.0, 30.0, 50.0, 80.0, 100.0].iter().any(|e| (into - e).abs() < 1e-3) {
            continue;
        }
        assert_eq!((upper == 1.0, lower == 1.0), (into < 30.0, (50.0..80.0).contains(&into)), "at {t} s");
        seen[0] += usize::from(upper == 1.0);
        seen[1] += usize::from(lower == 1.0);
    }
    assert!(seen[0] > 200 && seen[1] > 200, "{seen:?}");
    let wrong = Folder::scenario(&both.replace("50 %", "100 %")).ask(&["check", "@s.toml"]);
    assert!(wrong.code == 2 && (wrong.out + &wrong.err).contains("`1` is a whole period or more"));
}

#[test]
fn a_pwm_controller_sets_its_complement() {
    let text = COMPLEMENTED;
    let (_, file, _folder) = ran(text);
    let (time, [upper, lower]) = lines(&file);
    let mut seen = [0; 2];
    for ((t, upper), lower) in time.iter().zip(upper).zip(lower) {
        let into = (t % 100e-6) * 1e6;
        let edges = [0.0, 30.0, 32.0, 98.0, 100.0];
        if edges.iter().any(|e| (into - e).abs() < 1e-3) {
            continue;
        }
        // The complement begins with the first dead time after a pulse.
        let expected = (into < 30.0, (32.0..98.0).contains(&into));
        assert_eq!((upper == 1.0, lower == 1.0), expected, "at {t} s");
        seen[0] += usize::from(upper == 1.0);
        seen[1] += usize::from(lower == 1.0);
    }
    assert!(seen[0] > 200 && seen[1] > 400, "{seen:?}");
    // What makes no sense is reported.
    for (from, to, report) in [
        ("complement = \"lower\"\n", "", "nothing is on while the output is off"),
        ("complement = \"lower\"", "complement = \"upper\"", "`upper` is the output itself"),
    ] {
        let done = Folder::scenario(&text.replace(from, to)).ask(&["check", "@s.toml"]);
        assert!(done.code == 2 && (done.out + &done.err).contains(report), "no `{report}`");
    }
}
