//! The technologies side by side: what the trade knows of them must come out of the invented parts through the real
//! models. Facts without another source are common practice, no source.

use joulestep_models::budget::{places, shares};
use joulestep_models::operating::Feed;
use joulestep_models::part::{Part, Technology};

use crate::common::rig::near;
use crate::common::technologies::{
    drift_doping, of_kind, on_gate, on_resistance, rest, ship, specific, square_millimetres,
};

/// Asserts that a number lies between two bounds, and prints it.
fn between(what: &str, x: f64, low: f64, high: f64) {
    println!("{what}: {x:.4} of {low} to {high}");
    assert!((low..=high).contains(&x), "{what}: {x} is not between {low} and {high}");
}

fn sic_mosfets() -> Vec<Part> {
    of_kind("mosfet").into_iter().filter(|p| p.technology == Technology::SicMosfet).collect()
}

/// Common practice, no source: at 125 °C a cascode has about 1.7 times its on-resistance at 25 °C. Its name states the
/// latter.
#[test]
fn a_cascode_when_hot() {
    for part in of_kind("cascode") {
        let cold = on_resistance(&part, 25.0);
        let stated =
            part.name.rsplit('-').next().unwrap().trim_end_matches('m').parse::<f64>().unwrap() * 1e-3;
        near(&format!("{} cold", part.name), cold, stated, 0.01);
        near(&format!("{} hot", part.name), on_resistance(&part, 125.0) / cold, 1.7, 0.05);
    }
}

/// Common practice, no source: at 700 V the JFET's specific on-resistance is less than half of the best SiC MOSFET's at
/// 25 °C and about two thirds at 150 °C; at 1300 V the advantage is about 1.7 times at 25 °C and 1.3 times at 150 °C.
#[test]
fn specific_on_resistance_of_jfet_and_sic_mosfet() {
    for (volts, cold, hot) in [(700.0, [0.35, 0.5], [0.6, 0.73]), (1300.0, [0.556, 0.625], [0.714, 0.833])] {
        let class = |parts: Vec<Part>| {
            let same: Vec<Part> = parts.into_iter().filter(|p| p.rated_voltage() == Some(volts)).collect();
            assert!(!same.is_empty());
            same
        };
        for (celsius, [low, high]) in [(25.0, cold), (150.0, hot)] {
            let best =
                class(sic_mosfets()).iter().map(|p| specific(p, celsius)).fold(f64::INFINITY, f64::min);
            for cascode in class(of_kind("cascode")) {
                let jfet = specific(&cascode, celsius);
                let what = format!("{} at {celsius} °C, {jfet:.3} of {best:.3} mohm cm²", cascode.name);
                between(&what, jfet / best, low, high);
            }
        }
    }
}

/// Common practice, no source: a SiC MOSFET's channel holds 40 % to 65 % of its resistance, its drift layer 10 % to 35
/// %; a cascode's MOSFET about a tenth. In the model, the channel is what the gate can still change.
#[test]
fn shares_of_the_on_resistance() {
    for part in sic_mosfets() {
        let pieces = shares(&part, 25.0).unwrap();
        let of = |name: &str| pieces.iter().find(|p| p.name == name).unwrap().share;
        between(&format!("{}: channel", part.name), of("channel"), 0.4, 0.65);
        between(&format!("{}: drift", part.name), of("drift"), 0.1, 0.35);
        // Channel resistance goes as 1/(Vgs − Vth): raising the overdrive by a factor leaves the rest.
        let volts = |gate: f64| rest(&part, gate, Feed::Current(0.1), 25.0).voltage();
        let (on, threshold) = (on_gate(&part), part.values.number("threshold"));
        let (weak, strong) = (volts(threshold + 0.5 * (on - threshold)), volts(on));
        near(&format!("{}: channel by the gate", part.name), (weak - strong) / strong, of("channel"), 0.01);
    }
    for part in of_kind("cascode") {
        let pieces = shares(&part, 25.0).unwrap();
        let mosfet: f64 = pieces.iter().filter(|p| p.die.as_deref() == Some("mosfet")).map(|p| p.share).sum();
        between(&format!("{}: MOSFET", part.name), mosfet, 0.07, 0.13);
    }
}

/// The pieces sum to what the part has between its pins: at 25 °C to rounding of the part file, over temperature as
/// far as the model's one or two powers of the temperature follow the pieces' many: 1.5 % up to 150 °C, 3 % at −25 °C.
#[test]
fn budgets_sum_to_the_on_resistance() {
    for part in of_kind("cascode").iter().chain(&of_kind("mosfet")) {
        for (celsius, bound) in [(25.0, 3e-3), (-25.0, 0.03), (75.0, 0.015), (125.0, 0.015), (150.0, 0.015)] {
            let pieces = shares(part, celsius).unwrap();
            let sum: f64 = pieces.iter().map(|p| p.resistance).sum();
            near(&format!("{} at {celsius} °C", part.name), sum, on_resistance(part, celsius), bound);
            near("shares", pieces.iter().map(|p| p.share).sum(), 1.0, 1e-12);
        }
    }
}

/// Common practice, no source: with the gate off, a SiC MOSFET's body diode drops 3 V to 5 V, and a cascode's integral
/// diode a third to a quarter of that, in the same class at the same current density of the outer die: 3 A/mm², a third
/// to a half of what such dies carry at most, as data sheets state the drop.
#[test]
fn drop_of_the_integral_diode() {
    let drop = |part: &Part, die: &str, gate: f64, celsius: f64| {
        let amperes = 3.0 * square_millimetres(part, die);
        -rest(part, gate, Feed::Current(-amperes), celsius).voltage()
    };
    let mut compared = 0;
    for mosfet in sic_mosfets() {
        for gate in [0.0, -5.0] {
            let volts = drop(&mosfet, "mosfet", gate, 25.0);
            between(&format!("{} at {gate} V", mosfet.name), volts, 3.0, 5.0);
        }
        for cascode in of_kind("cascode").iter().filter(|s| s.rated_voltage() == mosfet.rated_voltage()) {
            let ratio = drop(cascode, "jfet", 0.0, 25.0) / drop(&mosfet, "mosfet", -5.0, 25.0);
            between(&format!("{} against {}", cascode.name, mosfet.name), ratio, 0.25, 1.0 / 3.0);
            compared += 1;
        }
    }
    assert!(compared >= 4);
}

/// A negative gate turns the channel's third-quadrant help off, so the drop cannot fall; hot, the
/// junction's part falls.
#[test]
fn body_diode_of_a_sic_mosfet_follows_gate_and_temperature() {
    for part in sic_mosfets() {
        let area = square_millimetres(&part, "mosfet");
        let drop = |gate, density: f64, celsius| {
            -rest(&part, gate, Feed::Current(-density * area), celsius).voltage()
        };
        assert!(drop(-5.0, 8.0, 25.0) >= drop(0.0, 8.0, 25.0));
        assert!(drop(on_gate(&part), 8.0, 25.0) < 0.5 * drop(-5.0, 8.0, 25.0), "{}", part.name);
        assert!(drop(-5.0, 0.05, 150.0) < drop(-5.0, 0.05, 25.0) - 0.1, "{}", part.name);
    }
}

/// Two-part law: the on-resistance of a SiC MOSFET rises less than the drift region's mobility falls, and at a low gate
/// voltage, where the channel counts for more, it rises least.
#[test]
fn a_sic_mosfets_resistance_follows_temperature_in_two_parts() {
    for part in sic_mosfets() {
        let rise = |gate: f64| {
            let volts = |celsius| rest(&part, gate, Feed::Current(1.0), celsius).voltage();
            volts(150.0) / volts(25.0)
        };
        let (full, low) = (rise(on_gate(&part)), rise(10.0));
        println!("{}: {full:.3} at full, {low:.3} at low gate", part.name);
        assert!(full > 1.2 && full < 1.6 && low < full - 0.1, "{}: {full} {low}", part.name);
    }
}

/// Where the dies stand: no one-dimensional die below its unipolar limit and none above twenty times it; the JFET
/// nearer than the MOSFET; a superjunction below silicon's limit.
#[test]
fn dies_against_the_unipolar_limit() {
    for part in of_kind("cascode").iter().chain(&of_kind("mosfet")) {
        let places = places(part);
        assert_eq!(places.len(), part.dies.len(), "{}", part.name);
        for place in places {
            let what = format!("{}: {} at {} V", part.name, place.die, place.blocks);
            match part.technology {
                Technology::SuperjunctionMosfet => between(&what, place.ratio(), 0.05, 0.5),
                _ => between(&what, place.ratio(), 1.0, 20.0),
            }
        }
    }
}

/// Parts of one technology and class are one die in several sizes: resistance, capacitance, leakage, saturation current
/// and thermal resistance go with the area.
#[test]
fn sizes_of_a_die() {
    let pairs = [
        ("cascode-700v-7m", "cascode-700v-22m", "jfet"),
        ("cascode-1300v-12m", "cascode-1300v-48m", "jfet"),
        ("mosfet-sic-1300v-19m", "mosfet-sic-1300v-82m", "mosfet"),
    ];
    for (large, small, die) in pairs.map(|(a, b, die)| (ship(a), ship(b), die)) {
        let ratio = square_millimetres(&large, die) / square_millimetres(&small, die);
        let name = format!("{} and {}", large.name, small.name);
        near(&format!("{name}: R·A"), specific(&large, 25.0), specific(&small, 25.0), 0.03);
        let prefix = if die == "jfet" { "jfet-" } else { "" };
        for key in ["gate-source-capacitance", "gate-drain-capacitance", "drain-source-capacitance"] {
            let of = |p: &Part| p.values.number(&format!("{prefix}{key}"));
            near(&format!("{name}: {key}"), of(&large) / of(&small), ratio, 0.05);
        }
        let leakage = |p: &Part| p.values.number(&format!("{prefix}leakage-conductance"));
        near(&format!("{name}: leakage"), leakage(&large) / leakage(&small), ratio, 0.06);
        let saturation = |p: &Part| rest(p, on_gate(p), Feed::Voltage(200.0), 25.0).current();
        near(&format!("{name}: saturation"), saturation(&large) / saturation(&small), ratio, 0.06);
        // Heat spreads below a small die: its resistance grows less than its area shrinks, more than its edge does.
        let heat = |p: &Part| p.thermal.junction_case.unwrap();
        between(&format!("{name}: Rth"), heat(&small) / heat(&large), ratio.sqrt(), ratio);
        for part in [&large, &small] {
            for impedance in &part.thermal.impedance {
                assert!(part.die(&impedance.die).is_some());
                let sum: f64 = impedance.terms.iter().map(|t| t.0).sum();
                assert!(impedance.die != die || (sum / heat(part) - 1.0).abs() < 0.01);
            }
        }
    }
}

/// The output capacitance of a SiC die at its working voltage is the depletion layer's of its drift region, C/A = ε/W
/// with W = √(2εV/qN) (Sze & Ng, Physics of Semiconductor Devices, 3rd ed., eq. 2.20; ε_r = 9.7 of 4H-SiC), somewhat
/// more because wells and gates fold it. Dopings: the comments of the part files.
#[test]
fn output_capacitance_is_a_depletion_layers() {
    for part in of_kind("cascode").into_iter().chain(sic_mosfets()) {
        let rated = part.rated_voltage().unwrap();
        let volts = 0.55 * rated;
        let width = (2.0 * 9.7 * 8.8541878128e-12 * volts / (1.602176634e-19 * drift_doping(&part))).sqrt();
        let planar = 9.7 * 8.8541878128e-12 / width * joulestep_models::merit::blocking_area(&part).unwrap();
        let found =
            joulestep_models::capacitances::capacitances(part.entry(), &part.values, volts, 25.0).unwrap();
        between(&format!("{}: C_oss over planar", part.name), found.output / planar, 1.0, 1.5);
    }
}

/// At equal on-resistance a cascode holds less charge and energy in its output capacitance than a SiC MOSFET of its
/// class, as its die is smaller (common practice, no source).
#[test]
fn output_energy_of_cascode_and_sic_mosfet() {
    for (cascode, mosfet, volts) in [
        ("cascode-700v-22m", "mosfet-sic-700v-12m", 400.0),
        ("cascode-1300v-12m", "mosfet-sic-1300v-19m", 800.0),
    ] {
        let product = |name: &str| {
            let part = ship(name);
            let output =
                joulestep_models::capacitances::output_charge(part.entry(), &part.values, &[volts], 25.0)
                    .unwrap();
            on_resistance(&part, 25.0) * output[0].energy
        };
        between(&format!("{cascode} over {mosfet}: R·E_oss"), product(cascode) / product(mosfet), 0.3, 0.9);
    }
}

/// Every shipped part says that it is invented and what it is made of; every semiconductor has dies and a thermal
/// resistance; classes from 620 V to 1300 V and 7 mΩ to 115 mΩ are there.
#[test]
fn shipped_parts_are_complete() {
    let mut switches = Vec::new();
    for (name, _) in joulestep_models::parts::shipped() {
        let part = ship(name);
        assert!(part.invented && part.technology != Technology::Unstated, "{name}");
        assert!(part.missing().is_empty(), "{name}: {:?}", part.missing());
        if part.technology == Technology::Varistor {
            continue;
        }
        assert!(!part.dies.is_empty() && part.package.is_some(), "{name}");
        assert!(part.dies.iter().all(|d| d.material.is_some() && d.thickness.is_some()), "{name}");
        assert!(
            part.thermal.junction_case.is_some() && part.thermal.impedance.len() == part.dies.len(),
            "{name}"
        );
        if part.kind != "diode" && part.technology != Technology::LowVoltageMosfet {
            switches.push((part.rated_voltage().unwrap(), on_resistance(&part, 25.0)));
        }
    }
    assert!(switches.len() >= 8);
    for volts in [620.0, 700.0, 900.0, 1300.0] {
        assert!(switches.iter().filter(|s| s.0 == volts).count() >= 2, "{volts} V");
    }
    assert!(switches.iter().any(|s| s.1 < 7.1e-3) && switches.iter().any(|s| s.1 > 89e-3));
    assert!(switches.iter().all(|s| (6.9e-3..116e-3).contains(&s.1)), "{switches:?}");
}
