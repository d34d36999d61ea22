//! The dead time of a leg in a circuit of the user's own: against the shipped leg of the same parts, against `cycle`, and
//! against charge balance and volt-seconds.

use serde_json::Value;

use super::converters::near;
use crate::common::answers::{answer, plus_minus, rows, value};
use crate::common::folder::Folder;
use crate::common::program::describe;
use crate::common::typed::{component, with};

/// The half-bridge of the study, piece by piece, with what it feeds and what lies over its switches.
fn leg(part: &str, gate: &str, more: &str) -> String {
    let (kelvin, upper, lower) = match part {
        "cascode-700v-22m" => (true, "upper-kelvin", "lower-kelvin"),
        _ => (false, "mid", "gnd"),
    };
    let pin = |name: &str| if kelvin { format!(", \"{name}\"") } else { String::new() };
    format!(
        "format = 2\n{}{}[[component]]\nname = \"upper\"\npart = \"{part}\"\npins = [\"bus\", \"upper-gate\", \"mid\"{}]\n\
         [[component]]\nname = \"lower\"\npart = \"{part}\"\npins = [\"mid\", \"lower-gate\", \"gnd\"{}]\n\
         [[controller]]\nname = \"modulator\"\nkind = \"pwm\"\noutput = \"pulse\"\nfrequency = \"100 kHz\"\n\
         duty = 0.5\n\
         [[drive]]\nname = \"leg\"\ncommand = \"pulse\"\ngate = \"upper-gate\"\nreturn = \"{upper}\"\n\
         complement-gate = \"lower-gate\"\ncomplement-return = \"{lower}\"\n{gate}\n\
         on-resistance = \"5 ohm\"\nedge = \"5 ns\"\ndead-time = \"60 ns\"\n\
         [cycle]\nsource = [\"supply\"]\nload = [\"load\"]\n\
         [steps]\nend = \"20 us\"\nbase = \"500 ns\"\n{more}",
        with("supply", "voltage-source", ["feed", "gnd"], "value", "400 V"),
        component(
            "loop",
            "inductor",
            ["feed", "bus"],
            "inductance = \"20 nH\"\nseries-resistance = \"5 mohm\""
        ),
        pin(upper),
        pin(lower)
    )
}

const CASCODES: &str = "on = \"10 V\"\noff = \"0 V\"";
const MOSFETS: &str = "on = \"16 V\"\noff = \"-4 V\"";
/// A constant current out of the leg.
fn constant() -> String {
    with("load", "current-source", ["mid", "gnd"], "value", "20 A")
}

fn number(row: &Value, key: &str) -> f64 {
    row[key].as_f64().unwrap_or_else(|| panic!("{key} of {row}"))
}

/// A leg of the same parts on the same load is the leg of the study, at every dead time; what is told of it agrees
/// within the errors that both tell, or a thousandth where turn-ons end within a step.
#[test]
fn a_leg_of_its_own_components_is_the_shipped_one() {
    let folder = Folder::scenario(&leg("cascode-700v-22m", CASCODES, &constant()));
    let times = ["--dead-time", "40 ns,250 ns"];
    let (_, own) = folder.json(&[&["dead-time", "--scenario", "@s.toml"][..], &times].concat());
    let shipped =
        describe(&[&["dead-time", "cascode-700v-22m", "--current", "20 A", "--json"][..], &times].concat());
    for k in 0..2 {
        let [a, b] = [&own, &shipped].map(|r| &rows(r, "energies")[k]);
        for key in ["losses", "conduction_energy", "diode_energy", "recovery_energy", "turn_on_energy"] {
            let error = number(a, &format!("{key}_error")) + number(b, &format!("{key}_error"));
            let (x, y) = (number(a, key), number(b, key));
            assert!((x - y).abs() <= error.max(1e-3 * y), "{key}: {x} and {y}, ± {error}");
        }
        let [a, b] = [&own, &shipped].map(|r| &rows(r, "transitions")[k]);
        assert_eq!((&a["lower_turn_on"], &a["upper_turn_on"]), (&b["lower_turn_on"], &b["upper_turn_on"]));
        near(number(a, "lower_swing"), number(b, "lower_swing"), 1e-3, "swing");
        near(number(a, "commutation_charge"), number(b, "commutation_charge"), 5e-3, "charge");
        near(number(a, "current"), 20.0, 1e-3, "current");
        // Each cause by device sums to the leg's.
        let switches = rows(&own, "devices").iter().skip(2 * k).take(2);
        let sum: f64 = switches.map(|row| number(row, "dead_time_diode")).sum();
        near(sum, number(&rows(&own, "energies")[k], "diode_energy"), 1e-9, "diodes of both");
    }
    // By the voltage that the leg blocks at the gate's edge, and by the supply's.
    near(value(&own, "estimate"), value(&shipped, "estimate"), 1e-2, "charge balance");
    assert_eq!(value(&own, "soft-from"), value(&shipped, "soft-from"));
}

/// A buck: conversion and losses at each dead time are those that `cycle` finds of the shipped arrangement.
#[test]
fn the_dead_time_of_a_buck_is_that_of_the_shipped_arrangement() {
    let folder = tempfile::tempdir().unwrap();
    let [shipped, own] = super::own::both(folder.path(), "");
    let times = "60 ns,150 ns";
    let found = describe(&["dead-time", "--scenario", &own, "--dead-time", times, "--no-estimate", "--json"]);
    let text = std::fs::read_to_string(&shipped).unwrap();
    for (k, time) in ["60 ns", "150 ns"].into_iter().enumerate() {
        std::fs::write(&shipped, text.replace("dead-time = \"60 ns\"", &format!("dead-time = \"{time}\"")))
            .unwrap();
        let cycle = describe(&["cycle", &shipped, "--no-estimate", "--json"]);
        let row = &rows(&found, "energies")[k];
        near(number(row, "losses") * 100e3, value(&cycle, "losses"), 1e-3, "losses");
        near(number(row, "efficiency"), value(&cycle, "efficiency"), 1e-5, "efficiency");
        let switches = rows(&cycle, "losses");
        for (own, other) in rows(&found, "devices").iter().skip(2 * k).zip(switches) {
            assert_eq!(own["switch"], other["switch"]);
            near(number(own, "sum") * 100e3, number(other, "sum"), 2e-3, "a switch");
        }
    }
    // Its peak of current carries on in the diode: 10 A and half the ripple of V·D·(1 − D)/(f·L) = 5 A.
    near(number(&rows(&found, "transitions")[0], "current"), 12.5, 0.02, "current");
}

/// A constant current I takes the charge that a capacitance C more holds in C·V/I more time; the rest of the swing, the
/// gate's delay among it, stays. The estimate is (Q_oss of both + C·V)/I.
#[test]
fn charge_balance_of_a_constant_current() {
    let (volts, amperes) = (400.0, 20.0);
    let swing = |farads: f64| {
        let values = format!("capacitance = \"{farads:e} F\"\nseries-resistance = \"0.1 ohm\"");
        let more = constant() + &component("snubber", "capacitor", ["gnd", "mid"], &values);
        let folder = Folder::scenario(&leg("mosfet-sic-700v-12m", MOSFETS, &more));
        let words = ["dead-time", "--scenario", "@s.toml", "--dead-time", "700 ns", "--no-estimate"];
        let (_, found) = folder.json(&words);
        assert_eq!(rows(&found, "transitions")[0]["lower_turn_on"], "soft");
        (value(&found, "swing"), value(&found, "estimate"))
    };
    let [(short, few), (long, many)] = [10e-9, 20e-9].map(swing);
    // To 5 % of the voltage.
    near(long - short, 0.95 * 10e-9 * volts / amperes, 1e-2, "C·V/I");
    near(many - few, 10e-9 * volts / amperes, 1e-2, "estimate");
    assert!(short > 0.95 * few, "{short} {few}");
}

/// Through an inductance into half of the supply the current reverses a quarter of a period after the node has begun to
/// swing, and half of the swing (volt-seconds; solved in `leg`): the upper bound of soft switching, read from a dead time
/// that ends long before it, in the shipped leg as in one of its own.
#[test]
fn the_current_reverses_where_volt_seconds_say() {
    let choke = "inductance = \"50 uH\"\nseries-resistance = \"50 mohm\"";
    let load = component("choke", "inductor", ["mid", "out"], choke)
        + &with("load", "voltage-source", ["out", "gnd"], "value", "200 V");
    let folder = Folder::scenario(&leg("cascode-700v-22m", CASCODES, &load));
    let quarter = 2.5e-6;
    let (_, own) =
        folder.json(&["dead-time", "--scenario", "@s.toml", "--dead-time", "0.3 us,3.1 us", "--no-estimate"]);
    let shipped = describe(&[
        "dead-time",
        "cascode-700v-22m",
        "--inductance",
        "50 uH",
        "--dead-time",
        "0.3 us",
        "--no-estimate",
        "--json",
    ]);
    assert_eq!(value(&shipped, "soft-until"), quarter);
    for row in [&rows(&own, "transitions")[0], &rows(&shipped, "transitions")[0]] {
        for side in ["lower", "upper"] {
            assert_eq!(row[format!("{side}_turn_on")], "soft");
            let [swing, reversal] = ["swing", "reversal"].map(|key| number(row, &format!("{side}_{key}")));
            // The diode's drop of a few volts beside 200 V shortens it.
            near(reversal, quarter + 0.5 * swing, 0.03, side);
        }
    }
    // The bound is read from the longest dead time that keeps it.
    let until = value(&own, "soft-until");
    near(until, quarter, 0.04, "soft until");
    // A ringing leg comes back from time to time; after 3.1 us it is high up.
    let late = &rows(&own, "transitions")[1];
    assert!(late["lower_turn_on"] != "soft" && late["upper_turn_on"] != "soft", "{late}");
    assert!(answer(&own, "soft-from")["remark"].as_str().unwrap().contains("no longer at 3.1"), "{own}");
}

/// Beyond the current's reversal the leg rings on until the gate's edge, and coarse steps close the period badly: they
/// begin at the state as stated, and every number has its error.
#[test]
fn beyond_the_reversal_numbers_have_their_errors() {
    let found = describe(&[
        "dead-time",
        "cascode-700v-22m",
        "--inductance",
        "50 uH",
        "--dead-time",
        "3.5 us",
        "--json",
    ]);
    let losses = value(&found, "best.losses");
    let error = plus_minus(&found, "best.losses");
    assert!(error > 0.0 && error < 0.02 * losses, "{losses} ± {error}");
    for row in rows(&found, "devices") {
        assert!(row["sum_error"].as_f64().is_some_and(f64::is_finite), "{row}");
    }
}

/// Several legs are named by their midpoints, and vary together; what belongs to the shipped leg is refused.
#[test]
fn legs_are_chosen_by_their_midpoints() {
    let two = "examples/ferry-interleaved.toml";
    let of = |more: &[&str]| {
        let words = ["dead-time", "--scenario", two, "--dead-time", "60 ns", "--no-estimate", "--json"];
        crate::common::program::joulestep(&[&words[..], more].concat())
    };
    for (more, why) in [
        (&[][..], "legs at `a-mid`, `b-mid`"),
        (&["--midpoint", "c-mid"], "no leg has its midpoint at `c-mid`"),
        (&["--midpoint", "a-mid", "--current", "20 A"], "the circuit has its load"),
        (&["--midpoint", "a-mid", "--voltage", "300 V"], "its value in the scenario"),
        (&["--midpoint", "a-mid", "cascode-700v-22m"], "its value in the scenario"),
    ] {
        let done = of(more);
        let report = done.out + &done.err;
        assert!(done.code == 2 && report.contains(why), "{more:?}: {report}");
    }
    let both: Value = serde_json::from_str(&of(&["--midpoint", "b-mid", "--midpoint", "a-mid"]).out).unwrap();
    let devices = rows(&both, "devices");
    assert_eq!(devices.len(), 4);
    let sum = |name: &str| number(devices.iter().find(|r| r["switch"] == name).unwrap(), "sum");
    // What is varied in both alike leaves them alike.
    near(sum("a-upper"), sum("b-upper"), 1e-3, "legs");
    let folder = Folder::scenario(&crate::common::folder::rc("[steps]\nend = \"1 ms\"\n"));
    folder.refuses(2, &["dead-time", "--scenario", "@s.toml", "--dead-time", "60 ns"], "[cycle]");
}

/// A batch varies the circuit's own values, and judges by limits of the plan: a larger load current swings faster, as
/// charge balance says.
#[test]
fn a_batch_varies_the_values_of_the_circuit() {
    let plan = "format = 2\n\
                vary = [{ name = \"load\", value = \"scenario.component.load.value\", kind = \"values\", values = [\"10 A\", \"20 A\"] }]\n\
                [dead-time]\nscenario = \"s.toml\"\ndead-time = [\"100 ns\", \"250 ns\"]\n\
                [sampling]\nkind = \"grid\"\n\
                [[limit]]\nname = \"few\"\noutput = \"losses.2\"\nmax = \"1 J\"\n";
    let scenario = leg("cascode-700v-22m", CASCODES, &constant());
    let folder = Folder::new(&[("s.toml", &scenario), ("plan.toml", plan)]);
    let done = folder.ask(&["batch", "@plan.toml", "--out", "@t.h5", "--csv", "@t.csv", "--quiet"]);
    assert_eq!(done.code, 0, "{}{}", done.out, done.err);
    let text = std::fs::read_to_string(folder.path("t.csv")).unwrap();
    let lines: Vec<Vec<&str>> = text.lines().map(|l| l.split(',').collect()).collect();
    let column = |name: &str| {
        let k = lines[0].iter().position(|h| h.split(" [").next() == Some(name)).unwrap_or_else(|| {
            panic!("no column {name}: {:?}", lines[0]);
        });
        [1, 2].map(|row| lines[row][k].parse::<f64>().unwrap())
    };
    let [slow, fast] = column("estimate");
    near(slow, 2.0 * fast, 5e-3, "estimate as 1/I");
    let [few, many] = column("losses.2");
    assert!(many > few);
    let (_, alone) =
        folder.json(&["dead-time", "--scenario", "@s.toml", "--dead-time", "100 ns,250 ns", "--no-estimate"]);
    near(many, value(&alone, "losses.2"), 1e-9, "the command");
}
