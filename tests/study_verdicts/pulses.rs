//! The double pulse.

use joulestep::judge::Level;
use joulestep_models::arrangement::double_pulse::{Bench, Point, run_as};
use serde_json::Value;

use crate::common::folder::Folder;
use crate::double_pulse::point_row;

const PART: &str = include_str!("../data/study_verdicts/mosfet.toml");

fn fixture(rated: &str) -> Folder {
    Folder::new(&[("fixture.toml", &PART.replace("750 V", rated))])
}

fn describe(rated: &str, more: &[&str]) -> (i32, Value) {
    fixture(rated).json(&[&["double-pulse", "@fixture.toml"], more].concat())
}

/// Energies, charges, times and peaks against the same pulses with bounds a sixteenth as wide and steps half as long.
#[test]
fn a_double_pulse_knows_how_wrong_its_numbers_are() {
    let (_, report) = describe("750 V", &["--current", "20 A", "--gate-resistance", "20 ohm"]);
    let row = &point_row(&report, 0);
    let folder = fixture("750 V");
    let path = folder.path("fixture.toml");
    let open = joulestep::input::keys::include::open;
    let part =
        joulestep::input::parts::load(&path, &open).map(|l| l.part).unwrap_or_else(|_| panic!("no part"));
    let bench = Bench::new(18.0, 0.0);
    let point = Point { current: 20.0, voltage: 400.0, gate_resistance: 20.0, celsius: 25.0 };
    let o =
        run_as(&part, &part, &bench, &point, &mut |setup, _| Level(-1).apply(setup)).expect("a finer run");
    let recovery = o.recovery.expect("a recovery");
    let (mut good, mut low, mut least) = (0, 0, f64::INFINITY);
    for (key, truth) in [
        ("turn_on_energy", o.on.energy),
        ("turn_off_energy", o.off.energy),
        ("recovery_energy", recovery.energy),
        ("recovery_charge", recovery.charge),
        ("recovery_current", recovery.peak.0),
        ("turn_on_delay", o.on.delay),
        ("rise_time", o.on.time),
        ("turn_off_delay", o.off.delay),
        ("fall_time", o.off.time),
        ("peak_voltage", o.off.peak_voltage.0),
        ("peak_current", o.on.peak_current.0),
        ("turn_on_energy_whole", o.on.whole),
        ("turn_off_energy_whole", o.off.whole),
    ] {
        let (x, e) = (row[key].as_f64().unwrap(), row[&format!("{key}_error")].as_f64().unwrap());
        let off = (x - truth).abs();
        println!("{key:24} {x:10.4e} off {off:8.1e} ± {e:8.1e} {:8.2}", e / off);
        (good, low) =
            (good + usize::from(e <= 5.0 * off && e >= 0.5 * off), low + usize::from(e < 0.25 * off));
        least = f64::min(least, e / off);
    }
    println!("{good} from half to five times, {low} below a quarter, the least {least:.2}");
    // With faster gates estimates are worse: at 5 ohm three of these are below a quarter, because the three
    // computations agree by chance on what steps at their finest length leave.
    assert!(low <= 1, "{low} of 13 below a quarter, the least {least:.2}");
}

/// Both devices are held against their ratings, at the junction temperature that the point states.
#[test]
fn a_double_pulse_is_judged_at_every_point() {
    let points = ["--current", "10 A,30 A", "--gate-resistance", "10 ohm", "--temperature", "75 degC"];
    let (code, report) = describe("750 V", &points);
    assert_eq!((code, &report["verdict"]), (0, &Value::from("passes")), "{}", report["answers"]);
    let rated = |report: &Value, name: &str| {
        let name = format!("rating.{name}.largest");
        let all = report["answers"].as_array().unwrap();
        let answer = all.iter().find(|a| a["name"] == name.as_str()).unwrap_or_else(|| panic!("no {name}"));
        (answer["value"].as_f64().unwrap(), answer["error"].as_f64().unwrap())
    };
    let (celsius, error) = rated(&report, "part.mosfet.temperature");
    assert!(celsius == 75.0 && error < 1e-9, "{celsius} ± {error}");
    let ends = |k: usize| {
        let row = point_row(&report, k);
        let of = |key: &str| row[key].as_f64().unwrap();
        assert!((of("upper.voltage.largest") / of("peak_upper_voltage") - 1.0).abs() < 1e-3);
        (of("peak_upper_voltage"), of("peak_upper_voltage_error"))
    };
    let (small, large) = (ends(0), ends(1));
    assert!(large.0 - large.1 > small.0 + small.1 + 2.0, "{small:?} {large:?}");
    // A rating between the two: the smaller current keeps it, the larger one does not, nor do both together.
    let volts = format!("{} V", 0.5 * (small.0 + large.0));
    for (current, verdict) in [("10 A", "passes"), ("30 A", "fails"), ("10 A,30 A", "fails")] {
        let points = [&["--current", current], &points[2..]].concat();
        let (code, report) = super::pulses::describe(&volts, &points);
        let expected = if verdict == "passes" { 0 } else { 1 };
        assert_eq!((code, &report["verdict"]), (expected, &Value::from(verdict)), "{}", report["answers"]);
    }
    // Within its error: neither.
    let (x, e) = rated(&report, "upper.voltage");
    let unsure = fixture(&format!("{:.9} V", x + 0.5 * e));
    let done = unsure.ask(&[&["double-pulse", "@fixture.toml"], &points[..]].concat());
    let (code, text) = (done.code, done.out);
    assert!(code == 5 && text.contains("verdict: not proven"), "{code} {text}");
    assert!(text.contains("largest upper.voltage"), "{text}");
}
