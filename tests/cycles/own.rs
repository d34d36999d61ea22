//! Circuits of the user's own in `cycle` and `mission`, against the shipped arrangement of the same pieces.

use super::converters::near;
use crate::common::answers::{rows, value};
use crate::common::program::{describe, joulestep};

/// The shipped buck's example, and the same with its circuit written out; heat, steps and limits are the example's.
pub(super) fn both(folder: &std::path::Path, more: &str) -> [String; 2] {
    let shipped = std::fs::read_to_string("examples/ferry-buck.toml").unwrap();
    let (circuit, rest) = shipped.split_at(shipped.find("# Heat of every die").unwrap());
    let rest = rest.replace(", \"line(upper)\", \"line(lower)\"", "");
    let own = std::fs::read_to_string("tests/data/own-buck.toml").unwrap();
    [("shipped", circuit), ("own", own.as_str())].map(|(name, circuit)| {
        let path = folder.join(format!("{name}.toml")).display().to_string();
        std::fs::write(
            &path,
            format!(
                "{circuit}\n{rest}\n{}",
                more.replace(
                    "LOAD",
                    match name {
                        "own" => "load.resistance",
                        _ => "load-resistance",
                    }
                )
            ),
        )
        .unwrap();
        path
    })
}

#[test]
fn a_buck_of_its_own_components_is_the_shipped_one() {
    let folder = tempfile::tempdir().unwrap();
    let [shipped, own] =
        both(folder.path(), "").map(|path| describe(&["cycle", &path, "--json", "--no-estimate"]));
    for name in ["efficiency", "losses", "upper-jfet.largest", "lower-mosfet.largest"] {
        near(value(&own, name), value(&shipped, name), 1e-6, name);
    }
    // V/V_in = D in continuous conduction, less the drops (Erickson & Maksimovic, Fundamentals of Power Electronics,
    // ch. 2; from memory): half of 400 V, of which 20 ohm take 2 kW.
    let output =
        rows(&own, "balance").iter().find(|r| r["what"] == "output").unwrap()["power"].as_f64().unwrap();
    assert!((0.97..1.0).contains(&(output / 2000.0)), "{output}");
    for (one, other) in rows(&own, "losses").iter().zip(rows(&shipped, "losses")) {
        assert_eq!(one["switch"], other["switch"]);
        for phase in [
            "conduction",
            "turn_on",
            "capacitive",
            "turn_off",
            "dead_time_diode",
            "recovery",
            "gate_drive",
            "snubber",
        ] {
            // One of them is zero.
            let [one, other] = [one, other].map(|row| 1.0 + row[phase].as_f64().unwrap());
            near(one, other, 1e-6, phase);
        }
    }
}

#[test]
fn a_mission_moves_the_load_of_a_circuit_of_its_own() {
    let folder = tempfile::tempdir().unwrap();
    let mission = "[mission]\nlength = \"20 ms\"\n[[mission.segment]]\nparameter = \"LOAD\"\n\
                   points = [[\"0 s\", \"40 ohm\"], [\"10 ms\", \"20 ohm\"]]\n";
    let [shipped, own] = both(folder.path(), mission).map(|path| {
        describe(&["mission", &path, "--json", "--no-estimate", "--closing", "1e-4", "--resolve", "20"])
    });
    for name in ["upper-jfet.largest", "lower-jfet.largest", "energy.output", "energy.losses"] {
        near(value(&own, name), value(&shipped, name), 1e-5, name);
    }
    assert!(value(&own, "upper-jfet.largest") > 45.5);
}

/// Two legs half a period apart at D = 0.5: what one choke's current gains the other's loses, and the ripple of the
/// output vanishes (common practice, no source); each leg loses the same.
#[test]
fn interleaved_legs_cancel_their_ripple() {
    let found = describe(&["cycle", "examples/ferry-interleaved.toml", "--json", "--no-estimate"]);
    let [high, low] =
        ["largest", "least"].map(|which| value(&found, &format!("limit.output-ripple.{which}")));
    assert!(high - low < 0.05, "{high} {low}");
    let swing = value(&found, "a-choke.current.largest") - value(&found, "a-choke.current.least");
    // V·D·(1 − D)/(f·L) of each.
    near(swing, 400.0 * 0.25 / (100e3 * 200e-6), 0.02, "ripple of a choke");
    near(value(&found, "a-upper-jfet.largest"), value(&found, "b-upper-jfet.largest"), 1e-4, "legs");
    assert_eq!(found["verdict"], "passes");
    // What does not say what repeats is refused by name.
    let refused = joulestep(&["cycle", "examples/ferry-breaker.toml"]);
    assert_eq!(refused.code, 2);
    assert!(refused.err.contains("no [cycle]"), "{}", refused.err);
}
