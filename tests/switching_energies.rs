//! Energies of the switching events of a run against the double pulse of the same circuit, which measures by the limits
//! of IEC 60747-8 on waveforms of its own; both devices of a leg; what has no energy says why.

use std::fs;
use std::path::Path;

use crate::common::technologies::ship;
use joulestep::output::result::ResultFile;
use joulestep_models::arrangement::double_pulse::{Bench, Point, run};
use serde_json::Value;

use crate::common::answers::rows;
use crate::common::program::{describe, joulestep};

const PART: &str = "mosfet-sic-700v-12m";

/// The circuit of the double pulse as a scenario; the gate's edges at stated instants.
fn scenario(load: f64, [on, off, again, end]: [f64; 4]) -> String {
    let line =
        |at: f64, what: &str| format!("[[event]]\nat = \"{at:e} s\"\nwhat = \"{what}\"\nline = \"on\"\n");
    let edges = [line(on, "line-on"), line(off, "line-off"), line(again, "line-on")].concat();
    format!(
        r#"
format = 2
[[component]]
name = "supply"
kind = "voltage-source"
pins = ["supply", "gnd"]
value = "400 V"
[[component]]
name = "loop"
kind = "inductor"
pins = ["supply", "bus"]
inductance = "20 nH"
series-resistance = "5 mohm"
[[component]]
name = "load"
kind = "inductor"
pins = ["bus", "mid"]
inductance = "{load:e} H"
[[component]]
name = "upper"
part = "{PART}"
pins = {{ drain = "bus", gate = "upper-gate", source = "mid" }}
[[component]]
name = "upper-gate-resistor"
kind = "resistor"
pins = ["upper-gate", "mid"]
resistance = "10 ohm"
[[component]]
name = "lower"
part = "{PART}"
pins = {{ drain = "mid", gate = "gate", source = "gnd" }}
[[drive]]
name = "drive"
gate = "gate"
return = "gnd"
command = "on"
on = "16 V"
off = "0 V"
on-resistance = "10 ohm"
edge = "5 ns"
{edges}
[steps]
end = "{end:e} s"
base = "200 ns"
[[limit]]
signal = "lower.voltage"
max = "600 V"
"#
    )
}

fn close(what: &str, run: (f64, f64), pulse: (f64, f64)) {
    let off = (run.0 - pulse.0).abs();
    println!(
        "{what}: {} ± {:.1e} J, double pulse {} ± {:.1e} J, off by {off:.1e}",
        run.0, run.1, pulse.0, pulse.1
    );
    assert!(off <= run.1 + pulse.1, "{what}: {run:?} for {pulse:?}");
    // What is compared is known well enough to mean something.
    assert!(pulse.1 < 0.05 * pulse.0 && run.1 < 0.05 * run.0, "{what}: {run:?} {pulse:?}");
}

#[test]
fn energies_of_a_run_are_those_of_the_double_pulse() {
    let part = ship(PART);
    let (bench, volts) = (Bench::new(16.0, 0.0), 400.0);
    let point = Point { current: 20.0, voltage: volts, gate_resistance: 10.0, celsius: 25.0 };
    let pulse = run(&part, &part, &bench, &point).expect("it runs");
    let told = describe(&[
        "double-pulse",
        PART,
        "--current",
        "20 A",
        "--voltage",
        "400 V",
        "--gate-resistance",
        "10 ohm",
        "--json",
        "-q",
    ]);
    let of_pulse = |name: &str| {
        let all = told["answers"].as_array().unwrap();
        let found = all.iter().find(|a| a["name"] == name).unwrap();
        (found["value"].as_f64().unwrap(), found["error"].as_f64().unwrap())
    };
    let e = pulse.edges;
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_string();
    fs::write(path("s.toml"), scenario(pulse.load, [e.first_on, e.off, e.on, e.end])).unwrap();
    let args = ["run", &path("s.toml"), "--out", &path("s.h5"), "--force", "-q"];
    let account = describe(&[&args[..], &["--json"]].concat());
    let first = rows(&account, "switching").clone();
    let of_run = |kind: &str, at: f64| {
        let same = |s: &&Value| s["event"] == kind && (s["time"].as_f64().unwrap() - at).abs() < 1e-9;
        let found = first.iter().find(same).unwrap_or_else(|| panic!("{kind} {at}: {first:?}"));
        let error = found["energy_error"].as_f64().unwrap_or(f64::NAN);
        (found["energy"].as_f64().unwrap(), error, found["current"].as_f64().unwrap())
    };
    let (off, on) = (of_run("turn-off", e.off), of_run("turn-on", e.on));
    assert!((off.2 / pulse.switched.0 - 1.0).abs() < 1e-3 && (on.2 / pulse.switched.1 - 1.0).abs() < 1e-3);
    close("E_off", (off.0, off.1), of_pulse("turn_off_energy"));
    close("E_on", (on.0, on.1), of_pulse("turn_on_energy"));
    // The first turn-on switches no current: it has no energy, and says why.
    let none = first.iter().find(|s| s["event"] == "turn-on").unwrap();
    assert!(none["energy"].is_null() && !none["reason"].as_str().unwrap().is_empty(), "{none}");
    // Sums, the text, and the rows of the file say the same.
    let sum =
        |kind: &str| rows(&account, "switching_sums").iter().find(|s| s["event"] == kind).unwrap().clone();
    assert_eq!(
        (sum("turn-on")["count"].as_f64(), sum("turn-on")["measured"].as_f64()),
        (Some(2.0), Some(1.0))
    );
    assert_eq!(sum("turn-off")["total"].as_f64(), Some(off.0));
    let text = joulestep(&args);
    assert!(
        text.out.contains("Switching energies") && text.out.contains("turned on without current"),
        "{}",
        text.out
    );
    let steps = ResultFile::open(Path::new(&path("s.h5"))).unwrap().steps().unwrap();
    let row = steps.kind.iter().position(|k| k == "turn-off").unwrap();
    assert_eq!((steps.subject[row].as_str(), steps.energy[row]), ("lower", off.0));
    assert!(steps.begin[row] > e.off && steps.end[row] > steps.begin[row] && steps.end[row] < e.on);
}

/// A leg that `new` writes: both devices have their events, the one that switches hard has energies, and of the other,
/// which turns on and off without voltage, each says why it has none.
#[test]
fn both_devices_of_a_leg_are_told_of() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_string();
    assert_eq!(joulestep(&["new", "leg", "--out", &path("leg.toml")]).code, 0);
    let account = describe(&["run", &path("leg.toml"), "--out", &path("leg.h5"), "--json", "--no-estimate"]);
    let all = rows(&account, "switching_sums");
    for (device, kind) in
        [("upper", "turn-on"), ("upper", "turn-off"), ("lower", "turn-on"), ("lower", "turn-off")]
    {
        let found = all.iter().find(|s| s["device"] == device && s["event"] == kind);
        let found = found.unwrap_or_else(|| panic!("{device} {kind}: {all:?}"));
        println!("{found}");
        let (count, measured) = (found["count"].as_f64().unwrap(), found["measured"].as_f64().unwrap());
        assert!(
            count >= 1.0 && (measured == count || !found["reason"].as_str().unwrap().is_empty()),
            "{found}"
        );
        if device == "upper" && kind == "turn-off" {
            assert!(measured >= 1.0, "{found}");
        }
    }
}
