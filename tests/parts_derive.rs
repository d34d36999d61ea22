//! Derived parts: what a change of area does to every quantity, and files that read back.

use joulestep_models::capacitances::output_charge;
use joulestep_models::model::Value;
use joulestep_models::operating;
use joulestep_models::part::{Derivation, DeriveError, Part, derive};

use crate::common::program::{describe, joulestep};
use crate::thermal_closed_forms::assert_close;

fn part(name: &str) -> Part {
    let open = |_: &std::path::Path| Err(std::io::ErrorKind::NotFound.into());
    joulestep::input::parts::load(name, &open).map_or_else(|_| panic!("shipped"), |l| l.part)
}

fn on_resistance(part: &Part, celsius: f64) -> f64 {
    let gate = part.values.maybe(&format!("{}on-gate-voltage", part.gate_prefix())).unwrap();
    operating::resistance(part.entry(), &part.values, gate, 1e-2, celsius).unwrap()
}

/// Equal current density (elementary): R·A, Q/A and R_th·A do not depend on the area.
#[test]
fn resistance_times_area_and_charge_per_area_stay() {
    // The middle node of a cascode that is off lies where a closed channel and a leakage balance; the share of the package
    // in the resistance does not scale, so that it moves by some hundred microvolts.
    for (name, near) in [("mosfet-sic-700v-12m", 1e-9), ("cascode-700v-22m", 2e-5)] {
        let original = part(name);
        let package: f64 = original
            .budget
            .iter()
            .flat_map(|b| &b.pieces)
            .filter(|p| p.die.is_none())
            .map(|p| p.resistance)
            .sum();
        let (made, changed) =
            derive(&original, &Derivation { area: Some(0.4), ..Derivation::default() }).unwrap();
        for celsius in [25.0, 150.0] {
            let (before, after) = (on_resistance(&original, celsius), on_resistance(&made, celsius));
            // The package's share stays; the parameters have it within the dies' resistances, which rise alike.
            let warm = before / on_resistance(&original, 25.0);
            let exact = (before - package * warm) / 0.4 + package * warm;
            assert_close("R", after, exact, 2e-3);
        }
        let charge = |p: &Part| output_charge(p.entry(), &p.values, &[400.0], 25.0).unwrap()[0].charge;
        assert_close("Q_oss", charge(&made), 0.4 * charge(&original), near);
        assert_close("A", made.dies[0].area, 0.4 * original.dies[0].area, 1e-12);
        let z = |p: &Part| p.thermal.impedance[0].terms.clone();
        for (a, b) in z(&made).iter().zip(z(&original)) {
            assert_close("R_th", a.0, b.0 / 0.4, 1e-12);
            assert_close("tau", a.1, b.1, 1e-15);
        }
        assert!(changed.iter().all(|c| c.before.is_some() && !c.rule.is_empty()));
        assert!(!changed.iter().any(|c| c.unit == "H" || c.unit == "V"), "{changed:?}");
    }
}

#[test]
fn a_stated_resistance_is_met() {
    let original = part("cascode-700v-7m");
    let how = Derivation { resistance: Some(12e-3), ..Derivation::default() };
    let (made, _) = derive(&original, &how).unwrap();
    let sum = |p: &Part| p.values.number("jfet-on-resistance") + p.values.number("mosfet-on-resistance");
    assert_close("R", sum(&made), 12e-3, 1e-12);
    let budget: f64 = made.budget.unwrap().pieces.iter().map(|p| p.resistance).sum();
    let before: f64 = original.budget.as_ref().unwrap().pieces.iter().map(|p| p.resistance).sum();
    // The pieces of the original sum to its resistance within what its file says.
    assert_close("pieces", budget / 12e-3, before / sum(&original), 2e-2);
    let too_small = Derivation { resistance: Some(1e-4), ..Derivation::default() };
    assert!(matches!(derive(&original, &too_small), Err(DeriveError::Package { .. })));
}

/// A set value is that value, and loses the spread of the one before.
#[test]
fn a_set_parameter_is_as_stated() {
    let mut original = part("cascode-700v-7m");
    original.spread.deviations = vec![("mosfet-gate-resistance", 0.1), ("jfet-pinch-off", 0.2)];
    let set = vec![("mosfet-gate-resistance", Value::Number(1.0))];
    let (made, changed) = derive(&original, &Derivation { set, ..Derivation::default() }).unwrap();
    assert_eq!(made.values.number("mosfet-gate-resistance"), 1.0);
    assert_eq!((changed.len(), changed[0].rule, changed[0].before), (1, "set", Some(2.02)));
    assert_eq!(made.spread.deviations, [("jfet-pinch-off", 0.2)]);
}

#[test]
fn the_file_reads_back_and_states_its_origin() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("derived.toml");
    let path = file.to_str().expect("UTF-8");
    let json = describe(&[
        "parts",
        "derive",
        "cascode-700v-7m",
        "--resistance",
        "12 mohm",
        "--set",
        "mosfet-gate-resistance=1 ohm",
        "--file",
        path,
        "--json",
    ]);
    let value = |name: &str| {
        let all = json["answers"].as_array().expect("answers");
        all.iter().find(|a| a["name"] == name).expect(name)["value"].as_f64().expect("a number")
    };
    assert_close("R", value("resistance.cold.after"), 12e-3, 2e-3);
    let text = std::fs::read_to_string(&file).expect("the file");
    let head = text.lines().next().expect("a line");
    for words in ["Derived from cascode-700v-7m", "scaled in area to 12", "mosfet-gate-resistance set to 1"] {
        assert!(head.contains(words), "{head}");
    }
    let shown = describe(&["parts", "show", path, "--json"]);
    assert_eq!(shown["params"]["mosfet-gate-resistance"]["value"], 1.0);
    assert!(shown["source"].as_str().expect("a source").starts_with("Derived from"));
    let again = joulestep(&["parts", "derive", "cascode-700v-7m", "--area", "2", "--file", path]);
    assert_eq!(again.code, 4, "{}", again.err);
    for (args, expected) in [
        (&["--set", "mosfet-gate-resistence=1 ohm"][..], "did you mean `mosfet-gate-resistance`?"),
        (&["--set", "mosfet-gate-resistance=1 V"], "mosfet-gate-resistance: "),
        (&["--set", "mosfet-gate-resistance"], "KEY=QUANTITY"),
        (&["--area", "2", "--resistance", "1 mohm"], "one of the two"),
        (&["--resistance", "0.1 mohm"], "more than that of the package"),
        (&[], "nothing that is to differ"),
    ] {
        let done = joulestep(&[&["parts", "derive", "cascode-700v-7m"], args].concat());
        assert!(done.code == 2 && done.err.contains(expected), "{args:?}: {}", done.err);
    }
}
