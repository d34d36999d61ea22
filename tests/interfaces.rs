//! Where two impedances part: the dual-interface evaluation, and structure functions, against closed forms.

use std::f64::consts::PI;

use joulestep_engine::thermal::convert::foster_to_cauer;
use joulestep_engine::thermal::modal::Modal;
use joulestep_engine::thermal::network::{CauerCell, FosterTerm, Network};
use joulestep_engine::thermal::pulses::differential_structure_function;
use joulestep_engine::thermal::separation::{Parting, Separation, SeparationError, separation, structures};

use crate::common::answers::value;
use crate::common::program::joulestep;

/// Eight points per decade and more, of a curve.
fn sampled(curve: impl Fn(f64) -> f64, from: i32, to: i32) -> Vec<(f64, f64)> {
    (20 * from..=20 * to).map(|k| 10f64.powf(f64::from(k) / 20.0)).map(|t| (t, curve(t))).collect()
}

/// A part of layers, each of a resistance and a heat capacitance in so many cells, on an interface.
fn stack(layers: &[(f64, f64, usize)], interface: f64) -> Modal<f64> {
    let cells = layers.iter().flat_map(|&(r, c, n)| {
        let one = CauerCell { capacitance: c / n as f64, resistance: r / n as f64 };
        std::iter::repeat_n(one, n)
    });
    let mut cells: Vec<CauerCell> = cells.collect();
    cells.last_mut().expect("a layer").resistance += interface;
    Modal::new(&Network::cauer("die", &cells, 25.0).unwrap()).unwrap()
}

fn evaluated(layers: &[(f64, f64, usize)], interfaces: [f64; 2]) -> Separation {
    let [a, b] = interfaces.map(|r| {
        let modal = stack(layers, r);
        sampled(|t| modal.step_response(t, 0, 0), -6, 3)
    });
    let found = separation(&a, &b).unwrap();
    // The order of the curves does not matter.
    assert_eq!(found, separation(&b, &a).unwrap());
    found
}

/// The same curves by their structure functions.
fn compared(layers: &[(f64, f64, usize)], interfaces: [f64; 2]) -> Parting {
    let [a, b] = interfaces.map(|r| {
        let modal = stack(layers, r);
        sampled(|t| modal.step_response(t, 0, 0), -6, 3)
    });
    let found = structures(&a, &b).unwrap();
    assert_eq!(found, structures(&b, &a).unwrap());
    found
}

/// R_th,JC by its making: the sum of the layers. Structure functions find it within 5 %, where an attach makes most of the
/// resistance and where thick copper does, of which the derivatives lose a third and more.
#[test]
fn structure_functions_find_the_resistance_to_the_case() {
    let attach = [(0.05, 1.5e-3, 20), (0.6, 3e-5, 8), (0.05, 0.15, 20)];
    let copper = [(0.05, 1.5e-3, 20), (0.1, 3e-5, 8), (0.25, 0.15, 20)];
    for (layers, exact, interfaces) in
        [(attach, 0.7, [0.7, 0.21]), (attach, 0.7, [0.35, 0.07]), (copper, 0.4, [0.4, 0.1])]
    {
        let found = compared(&layers, interfaces);
        let derivatives = evaluated(&layers, interfaces).resistance;
        println!(
            "{exact}: {} in {:?}, {} blurred; derivatives {derivatives}",
            found.resistance, found.between, found.blurred
        );
        assert!((found.resistance / exact - 1.0).abs() < 0.05, "{}", found.resistance);
        let whole: f64 = layers.iter().map(|l| l.1).sum();
        assert!((0.5..2.0).contains(&(found.capacitance / whole)), "{} {whole}", found.capacitance);
        // Each function ends where its curve does.
        for (function, interface) in found.functions.iter().zip(interfaces) {
            assert!((function.last().unwrap().0 / (exact + interface) - 1.0).abs() < 2e-3);
        }
    }
    assert!((evaluated(&copper, [0.4, 0.1]).resistance / 0.4) < 0.8);
}

/// A die on an attach that makes most of the resistance, on copper: R_th,JC = 0.05 + 0.6 + 0.05 K/W by its making. The
/// derivative criterion of JESD51-14 (from memory) is for such parts; 5 %.
#[test]
fn the_resistance_to_the_case_is_found() {
    let layers = [(0.05, 1.5e-3, 20), (0.6, 3e-5, 8), (0.05, 0.15, 20)];
    for (interfaces, most) in [([0.7, 0.21], 0.05), ([0.35, 0.07], 0.05)] {
        let found = evaluated(&layers, interfaces);
        println!("{} in {:?}", found.resistance, found.between);
        assert!((found.resistance / 0.7 - 1.0).abs() < most, "{}", found.resistance);
        assert!(found.between[0] < found.resistance && found.resistance < found.between[1]);
        assert!(found.time > 1e-3 && found.time < 0.1);
    }
}

/// The same through the program, in all of its words; an even plate, whose curves part before the heat is through, reads
/// low, as the definition says. Plate of resistance R and heat capacitance C on an interface: eigenvalues ζ·tan ζ = Bi
/// (Carslaw & Jaeger sec. 3.11, from memory).
#[test]
fn an_even_plate_reads_low() {
    let (r, c) = (0.5, 0.1);
    let plate = |interface: f64| {
        let biot = r / interface;
        let root = |n: u32| {
            let (mut low, mut high) = (f64::from(n) * PI, f64::from(n) * PI + 0.5 * PI);
            for _ in 0..80 {
                let x = 0.5 * (low + high);
                if x * x.sin() * x.cos().signum() < biot * x.cos().abs() { low = x } else { high = x }
            }
            low
        };
        let roots: Vec<f64> = (0..400).map(root).collect();
        move |t: f64| {
            let term = |z: &f64| {
                let weight = 2.0 * r * (z * z + biot * biot) / (z * z * (z * z + biot * biot + biot));
                weight * -(-z * z * t / (r * c)).exp_m1()
            };
            roots.iter().map(term).sum::<f64>()
        }
    };
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, interface: f64| {
        let curve = sampled(plate(interface), -5, 2);
        let lines: String = curve.iter().map(|(t, z)| format!("{t:e}, {z:e}\n")).collect();
        let path = folder.path().join(name);
        std::fs::write(&path, format!("s, K/W\n{lines}")).unwrap();
        path.to_str().unwrap().to_string()
    };
    let [dry, wet] = [write("dry.csv", 0.5), write("wet.csv", 0.1)];
    let args = ["impedance", "--points", &dry, "--other-interface", &wet, "--json"];
    let done = joulestep(&args);
    assert_eq!((done.code, done.err.as_str()), (0, ""), "{}", done.out);
    let json: serde_json::Value = serde_json::from_str(&done.out).unwrap();
    let found = value(&json, "junction_case");
    assert!((0.4..0.6).contains(&(found / r)), "{found}");
    // Its structure functions part where its resistance ends.
    let other = value(&json, "junction_case_by_structure");
    assert!((other / r - 1.0).abs() < 0.05, "{other}");
    assert!((value(&json, "difference") - (other - found)).abs() < 1e-12);
    assert!(json["tables"]["structure"]["rows"].as_array().unwrap().len() > 50);
    assert!(json["notes"][0].as_str().unwrap().contains("differ by more than their errors"), "{json}");
    assert!((value(&json, "end") - 1.0).abs() < 2e-3 && (value(&json, "other_end") - 0.6).abs() < 2e-3);
    assert!(json["tables"]["separation"]["rows"].as_array().unwrap().len() > 100);
    // One curve twice.
    let done = joulestep(&["impedance", "--points", &dry, "--other-interface", &dry]);
    assert!(done.code == 2 && done.err.contains("interfaces"), "{}{}", done.out, done.err);
    std::fs::write(folder.path().join("wet.csv"), "1, 0.1\n2, 0.2\n2, 0.3\n").unwrap();
    let done = joulestep(&args);
    assert!(
        done.code == 2 && done.out.contains("wet.csv") && done.out.contains("\"line\": 3"),
        "{}",
        done.out
    );
    let done = joulestep(&["impedance", "--other-interface", &wet]);
    assert!(done.code == 2 && done.err.contains("one curve only"), "{}", done.err);
}

#[test]
fn curves_that_do_not_part_tell_nothing() {
    let flat = |end: f64| sampled(move |t| end * t / (t + 1.0), -3, 3);
    assert!(matches!(separation(&flat(1.0), &flat(0.98)), Err(SeparationError::Alike(..))));
    assert!(matches!(structures(&flat(1.0), &flat(0.98)), Err(SeparationError::Alike(..))));
    assert!(matches!(structures(&flat(1.0)[..5], &flat(0.5)), Err(SeparationError::TooFew(_))));
    assert!(matches!(separation(&flat(1.0)[..5], &flat(0.5)), Err(SeparationError::TooFew(_))));
    // Apart from the beginning.
    let late = |end: f64| sampled(move |t| end * t / (t + 1.0), -1, 3);
    assert!(matches!(separation(&late(1.0), &late(0.5)), Err(SeparationError::NoCrossing(_))));
}

/// Of an even rod dC/dR is c·λ·A² everywhere: C/R of the whole (Székely & Van Bien 1988). The rod held at its end: τ =
/// RC/((n − ½)π)², R = 2R/((n − ½)π)² (Carslaw & Jaeger sec. 3.8, from memory); and with a layer of a tenth of the
/// conductivity in it, a tenth of dC/dR there.
#[test]
fn an_even_rod_has_an_even_differential_structure_function() {
    let (r, c) = (0.4, 0.05);
    let term = |n: u32| {
        let z = (f64::from(n) - 0.5) * PI;
        FosterTerm { resistance: 2.0 * r / (z * z), time_constant: r * c / (z * z) }
    };
    let terms: Vec<FosterTerm> = (1..=60).map(term).collect();
    let points = differential_structure_function(&foster_to_cauer(&terms).unwrap());
    let inside: Vec<_> = points.iter().filter(|p| p.0 > 0.05 * r && p.0 < 0.8 * r).collect();
    assert!(inside.len() > 10);
    for (at, slope) in inside {
        assert!((slope / (c / r) - 1.0).abs() < 0.05, "{at}: {slope} {}", c / r);
    }
    let cells =
        |r: f64, c: f64, n: usize| vec![CauerCell { capacitance: c / n as f64, resistance: r / n as f64 }; n];
    let ladder = [cells(0.1, 0.01, 50), cells(0.1, 0.001, 50), cells(0.1, 0.01, 50)].concat();
    let points = differential_structure_function(&ladder);
    let at = |share: f64| points.iter().find(|p| p.0 >= share).unwrap().1;
    for (place, exact) in [(0.05, 0.1), (0.15, 0.01), (0.25, 0.1)] {
        assert!((at(place) / exact - 1.0).abs() < 1e-9, "{place}: {}", at(place));
    }
}
