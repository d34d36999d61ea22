//! The double pulse: its pulse widths against the R-L circuit, its energies against charge balance, and the command
//! around it.

use joulestep_models::arrangement::double_pulse::{Bench, Outcome, Point, SIGNALS, first_pulse, run};
use joulestep_models::capacitances::output_charge;
use joulestep_models::part::Part;
use serde_json::Value;

use crate::common::catalogued::shipped;
use crate::common::program::{joulestep, joulestep_with};
use crate::common::rig::near;

/// Width of the first pulse of an R-L circuit (derived; the test: IEC 60747-8 and -9, from memory), and how the current
/// droops while the upper diode carries it.
#[test]
fn pulse_width_and_droop() {
    for ([volts, load, r, amperes, drop, off], width, second) in [
        ([400.0, 1e-4, 0.05, 20.0, 1.5, 5e-6], 5.00626043623706e-06, 19.875156119873),
        ([600.0, 5e-5, 0.02, 100.0, 1.8, 3e-6], 8.34725316378658e-06, 99.7721367452964),
    ] {
        near("t1", first_pulse(load, r, amperes, volts), width, 1e-6);
        // L·di/dt = −V_f − R·i, as the vector has it; the run below is held to the same formula.
        let droop = (amperes + drop / r) * (-r * off / load).exp() - drop / r;
        near("I2", droop, second, 1e-6);
    }
    near("no resistance", first_pulse(1e-4, 0.0, 20.0, 400.0), 5e-6, 1e-12);
    assert!(first_pulse(1e-4, 1.0, 500.0, 400.0).is_nan());
}

fn at(part: &Part, upper: &Part, on: f64, point: Point) -> Outcome {
    run(part, upper, &Bench::new(on, 0.0), &point).unwrap()
}

fn point(current: f64, celsius: f64) -> Point {
    Point { current, voltage: 400.0, gate_resistance: 5.0, celsius }
}

/// The run reaches the current asked for by the formula of the R-L circuit, and droops by the same formula with the
/// drop that the upper device has at that current.
#[test]
fn the_current_asked_for_is_switched() {
    let part = shipped("mosfet-sic-700v-12m");
    let diode = shipped("diode-sic-700v-50a");
    let o = at(&part, &diode, 18.0, point(40.0, 25.0));
    // The part's resistance rises a little with the current; turn-off itself takes time.
    near("I at turn-off", o.switched.0, 40.0, 2e-3);
    let drop = joulestep_models::merit::diode_drop(&diode, o.switched.0, 0.0, 25.0).unwrap();
    // After the edge the current goes on rising until the switch has turned off: between v_DS = 10 % and i_D = 10 %.
    let droop = drop * (o.edges.on - o.edges.off) / o.load;
    let rise = |until: f64| 400.0 * (until - o.edges.off) / o.load;
    let [least, most] = [o.off.limits.0, o.off.limits.1].map(|t| o.switched.0 + rise(t) - droop);
    assert!((least..most).contains(&o.switched.1), "{least} A, {} A, {most} A", o.switched.1);
    assert!(o.ledger.relative() < 1e-5, "ledger {}", o.ledger.relative());
    assert!(o.on.peak_current.0 > 40.0 && o.off.peak_voltage.0 > 400.0);
}

/// Charge balance of the output capacitances (a hard half-bridge swing of two switches loses Q_oss·V; derived, and
/// common practice): at a small current E_on + E_off, edge to edge, is the upper device's Q·V − E and the part's own E,
/// with the overlap and the recovery on top, and never less.
#[test]
fn hard_switching_costs_the_charge_of_the_upper_device() {
    let diode = shipped("diode-sic-700v-50a");
    for (name, on) in [("mosfet-sic-700v-12m", 16.0), ("cascode-700v-22m", 10.0)] {
        let part = shipped(name);
        // Long enough for the loop's ringing with the diode's capacitance to die away.
        let bench = Bench { second_pulse: 10e-6, ..Bench::new(on, 0.0) };
        // So slow that the loop's ringing does not drive the upper diode into avalanche, which takes what is counted
        // here.
        let slow = Point { gate_resistance: 30.0, ..point(4.0, 25.0) };
        let o = run(&part, &diode, &bench, &slow).unwrap();
        let charge = |p: &Part| output_charge(p.entry(), &p.values, &[400.0], 25.0).unwrap()[0];
        let (own, upper) = (charge(&part), charge(&diode));
        let least = upper.charging_loss() + own.energy;
        // Conduction of the second pulse, whose current is not small any more at its end, is no switching energy.
        let conducted = o.waveforms.time.iter().position(|&t| t >= o.edges.on + 2e-6).unwrap();
        let work = |k: usize| o.waveforms.samples[k][SIGNALS.iter().position(|s| *s == "work").unwrap()];
        let sum = o.on.whole + o.off.whole - (work(o.waveforms.time.len() - 1) - work(conducted));
        println!("{name}: {sum:e} J, charge balance {least:e} J");
        assert!(sum > 0.98 * least, "{name}: {sum:e} J are less than {least:e} J");
        assert!(sum < 2.5 * least, "{name}: {sum:e} J, charge balance {least:e} J");
        // The diode has no stored charge: what it takes from zero current on is its output charge (and what the
        // capacitance holds between the forward drop and zero).
        near("Q of the upper diode", o.upper_whole.unwrap().0, upper.charge, 0.05);
    }
}

/// More current, a larger gate resistance and a hotter recovering diode all cost energy (common practice, no source).
#[test]
fn energies_go_as_the_trade_expects() {
    let part = shipped("mosfet-sic-700v-12m");
    let pin = shipped("diode-si-600v-25a");
    let of = |current, gate_resistance, celsius| {
        let p = Point { current, gate_resistance, celsius, voltage: 400.0 };
        at(&part, &pin, 18.0, p)
    };
    let usual = of(20.0, 10.0, 25.0);
    assert!(of(40.0, 10.0, 25.0).on.energy > usual.on.energy);
    assert!(of(20.0, 30.0, 25.0).on.energy > usual.on.energy);
    assert!(of(20.0, 30.0, 25.0).off.energy > usual.off.energy);
    let hot = of(20.0, 10.0, 125.0);
    assert!(hot.on.energy > usual.on.energy && hot.upper_whole.unwrap().0 > usual.upper_whole.unwrap().0);
    assert!(of(20.0, 30.0, 25.0).on.current_slope < usual.on.current_slope);
}

/// A row of each table together: the numbers of a point of the grid.
pub fn point_row(report: &Value, k: usize) -> serde_json::Map<String, Value> {
    let tables = ["energies", "times", "slopes", "ratings", "rest"];
    let row = |table: &str| report["tables"][table]["rows"][k].as_object().cloned().unwrap_or_default();
    tables.into_iter().flat_map(row).collect()
}

const GRID: [&str; 7] = [
    "double-pulse",
    "cascode-700v-22m",
    "--current",
    "10 A,20 A,30 A",
    "--temperature",
    "25 degC,125 degC",
    "--json",
];

/// The table is the same to the last bit whatever the number of threads, in the order of the grid, and states its
/// definitions and units.
#[test]
fn the_table_does_not_hang_on_threads() {
    let one = joulestep_with(&GRID, &[("RAYON_NUM_THREADS", "1")]);
    let many = joulestep_with(&GRID, &[("RAYON_NUM_THREADS", "5")]);
    // What the verdict is of a bare loop of 20 nH is no matter here; that both find the same is.
    assert!(matches!(one.code, 0 | 1 | 5), "{}", one.err);
    assert_eq!((one.code, &one.out), (many.code, &many.out));
    let report: Value = serde_json::from_str(&one.out).unwrap();
    let count = report["tables"]["energies"]["rows"].as_array().unwrap().len();
    let rows: Vec<_> = (0..count).map(|k| point_row(&report, k)).collect();
    let requested: Vec<(f64, f64)> =
        rows.iter().map(|r| (r["temperature"].as_f64().unwrap(), r["current"].as_f64().unwrap())).collect();
    let grid = [(25.0, 10.0), (25.0, 20.0), (25.0, 30.0), (125.0, 10.0), (125.0, 20.0), (125.0, 30.0)];
    assert_eq!(requested, grid);
    assert_eq!(report["tables"]["energies"]["units"]["turn_on_energy"], "J");
    assert!(report["definitions"]["E_on"].as_str().unwrap().contains("IEC 60747-8"));
    assert!(rows.iter().all(|r| r["ledger_residual_relative"].as_f64().unwrap() < 1e-4));
}

/// The waveforms behind a number are kept: the energy stored with a point is the difference of its recorded work
/// between the limits of the definition.
#[test]
fn waveforms_are_kept() {
    let folder = tempfile::tempdir().unwrap();
    let to = folder.path().join("points");
    let path = to.to_str().unwrap();
    let args =
        ["double-pulse", "mosfet-sic-700v-12m", "--current", "20 A", "--waveforms", path, "--pictures", path];
    let done = joulestep(&[&args[..], &["--json"]].concat());
    assert!(matches!(done.code, 0 | 1 | 5), "{}", done.err);
    let report: Value = serde_json::from_str(&done.out).unwrap();
    let row = point_row(&report, 0);
    let file = joulestep::output::result::ResultFile::open(&to.join("point-0001.h5")).unwrap();
    // A single point's numbers are answers under their plain names.
    let named = |a: &&Value| a["name"] == "turn_on_energy";
    let answer = report["answers"].as_array().unwrap().iter().find(named).unwrap().clone();
    assert_eq!((&answer["value"], &answer["error"]), (&row["turn_on_energy"], &row["turn_on_energy_error"]));
    assert!(file.complete() && file.about().inputs.files[0].1.contains("IEC 60747-8"));
    let n = file.samples();
    let (time, work) = (file.time(0..n).unwrap(), file.window("work", 0..n).unwrap());
    let signal = joulestep_engine::measure::signal::Signal::new(&time, &work).unwrap();
    let of = |key: &str| row[key].as_f64().unwrap();
    let energy = signal.at(of("turn_on_to")) - signal.at(of("turn_on_from"));
    near("E_on", energy, of("turn_on_energy"), 1e-12);
    for name in ["point-0001.svg", "energies.svg"] {
        assert!(std::fs::read_to_string(to.join(name)).unwrap().starts_with("<svg"));
    }
    // A second run does not overwrite.
    let again = joulestep(&args);
    assert_eq!(again.code, 4);
    assert!(again.err.contains("exists"), "{}", again.err);
}

#[test]
fn what_cannot_be_pulsed_is_refused() {
    let base = |part: &'static str| vec!["double-pulse", part, "--current", "20 A"];
    for (args, expected) in [
        (base("cascode-700v-21"), "no shipped part is named"),
        (base("diode-sic-700v-50a"), "has no gate"),
        ([base("cascode-700v-22m"), vec!["--voltage", "900 V"]].concat(), "rated voltage"),
        (
            [base("cascode-700v-22m"), vec!["--temperature", "200 degC"]].concat(),
            "highest junction temperature",
        ),
        ([base("cascode-700v-22m"), vec!["--gate-on", "25 V"]].concat(), "gate"),
        ([base("cascode-700v-22m"), vec!["--gate-resistance", "0 ohm"]].concat(), "above zero"),
        ([base("cascode-700v-22m"), vec!["--pause", "2 A"]].concat(), "pause"),
        ([base("cascode-700v-22m"), vec!["--upper", "varistor-400v-rail"]].concat(), "neither a switch"),
        ([base("mosfet-sic-700v-12m"), vec!["--kelvin"]].concat(), "no Kelvin source pin"),
        (vec!["double-pulse", "cascode-700v-22m", "--current", "1 MA"], "cannot be reached"),
    ] {
        let done = joulestep(&args);
        assert_eq!(done.code, 2, "{args:?}: {}{}", done.out, done.err);
        let err = done.err.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(err.contains(expected), "{args:?}: {}", done.err);
    }
}
