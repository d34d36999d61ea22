//! Sizing: hand calculations of devices in parallel, equal and with one that carries more; the program against the
//! rating.

use joulestep_engine::thermal::modal::Modal;
use joulestep_engine::thermal::network::{FosterTerm, Network};
use joulestep_models::part::Ratings;
use joulestep_models::rating::pulse::Shape;
use joulestep_models::rating::sizing::{Fails, Fleet, Pulse};
use joulestep_models::rating::{Carried, Conducts, HeatPath};
use serde_json::Value;

use crate::common::program::{describe, joulestep};
use crate::thermal_closed_forms::assert_close;

/// R₀·(1 + a·(T − 25)), up to a saturation.
#[derive(Clone, Copy)]
struct Resistor {
    r: f64,
    a: f64,
    saturation: f64,
}

impl Conducts for Resistor {
    fn dies(&self) -> usize {
        1
    }
    fn carry(&self, amperes: f64, celsius: &[f64]) -> Option<Carried> {
        let drop = amperes * self.r * (1.0 + self.a * (celsius[0] - 25.0));
        (amperes <= self.saturation).then(|| Carried::one(drop, amperes))
    }
    fn hottest_known(&self) -> f64 {
        1e9
    }
}

const R_TH: f64 = 0.8;
const TAU: f64 = 0.5;

fn path(sink: f64) -> HeatPath {
    let term = FosterTerm { resistance: R_TH, time_constant: TAU };
    HeatPath::new(Modal::new(&Network::foster("die", &[term], sink).unwrap()).unwrap(), &["die"]).unwrap()
}

fn fleet<'a>(
    laws: &'a [Resistor; 2],
    number: usize,
    path: &'a HeatPath,
    ratings: &'a Ratings,
) -> Fleet<'a, Resistor> {
    let [deviating, other] = laws;
    Fleet { deviating, other, number, path, shared: 0.0, hottest: 150.0, ratings, steps: 400 }
}

/// I²·R(T)·R_th of equal devices (derived): T = (T₀ + B·(1 − 25·a))/(1 − a·B) with B = (I/N)²·R₀·R_th; with a shared
/// resistance of the heatsink N times that beside it.
#[test]
fn equal_devices_by_hand() {
    let law = Resistor { r: 8e-3, a: 6e-3, saturation: 1e9 };
    let (path, ratings) = (path(55.0), Ratings::default());
    for (number, shared) in [(2, 0.0), (3, 0.0), (4, 0.1), (1, 0.05)] {
        let laws = [law; 2];
        let found = Fleet { shared, ..fleet(&laws, number, &path, &ratings) }.carry(120.0, &[]);
        let n = number as f64;
        let b = (120.0 / n).powi(2) * law.r * (R_TH + n * shared);
        let exact = (55.0 + b * (1.0 - 25.0 * law.a)) / (1.0 - law.a * b);
        let steady = found.steady.unwrap();
        assert_close("T_j", steady[0].celsius[0], exact, 1e-7);
        assert_close("I", steady[0].current, 120.0 / n, 1e-9);
        assert_eq!(found.fails.is_some(), exact > 150.0);
    }
}

/// One of less resistance carries more (coupled fixed point, derived, as of the sharing in the rating's checks).
#[test]
fn a_deviating_device_carries_more() {
    let laws = [8e-3, 10e-3].map(|r| Resistor { r, a: 7e-3, saturation: 1e9 });
    // There the resistances are stated at the heatsink's temperature.
    let path = path(25.0);
    let found = fleet(&laws, 2, &path, &Ratings::default()).carry(100.0, &[]).steady.unwrap();
    for (share, current, rise) in
        [(found[0], 54.9460679207625, 22.3442008632496), (found[1], 45.0539320792375, 18.3214949886758)]
    {
        assert_close("current", share.current, current, 1e-7);
        assert_close("rise", share.celsius[0] - 25.0, rise, 1e-7);
    }
    // Nine others share what is left equally, at one drop.
    let found = fleet(&laws, 10, &path, &Ratings::default()).carry(100.0, &[]).steady.unwrap();
    assert_close("sum", found[0].current + 9.0 * found[1].current, 100.0, 1e-9);
    let drop = |k: usize| found[k].power[0] / found[k].current;
    assert_close("one drop", drop(0), drop(1), 1e-9);
}

/// A pulse from hot by superposition (derived, constant resistance): T = T₀ + (I₀² + (I² − I₀²)·(1 − e^(−t/τ)))·R·R_th.
#[test]
fn a_pulse_from_the_steady_state() {
    let laws = [Resistor { r: 8e-3, a: 0.0, saturation: 1e9 }; 2];
    let (path, ratings) = (path(55.0), Ratings::default());
    let pulse = Pulse { shape: Shape::Square, current: 300.0, width: 0.1 };
    let found = fleet(&laws, 3, &path, &ratings).carry(90.0, &[pulse]);
    let (before, during) = (30.0f64.powi(2), 100.0f64.powi(2));
    let exact = 55.0 + (before + (during - before) * (1.0 - (-pulse.width / TAU).exp())) * 8e-3 * R_TH;
    let top = found.pulses[0].unwrap();
    assert_close("T_j", top[0].celsius[0], exact, 1e-6);
    assert_close("I", top[0].current, 100.0, 1e-9);
    assert_eq!(found.fails, None);
}

#[test]
fn what_fails_is_named() {
    let (path, ratings) = (path(55.0), Ratings::default());
    let laws = [Resistor { r: 8e-3, a: 6e-3, saturation: 150.0 }; 2];
    let square = |current: f64, width: f64| Pulse { shape: Shape::Square, current, width };
    let why = |number: usize, current: f64, pulses: &[Pulse]| {
        fleet(&laws, number, &path, &ratings).carry(current, pulses).fails
    };
    assert_eq!(why(1, 160.0, &[]), Some(Fails::NoSteadyState));
    assert_eq!(why(1, 95.0, &[]), Some(Fails::Steady(0)));
    assert_eq!(why(2, 60.0, &[square(200.0, 1e-3), square(310.0, 1e-3)]), Some(Fails::Saturation(1)));
    assert_eq!(why(2, 60.0, &[square(290.0, 1.0)]), Some(Fails::Pulse(0, 0)));
    let leads = Ratings { lead_current: Some(35.0), ..Ratings::default() };
    assert_eq!(fleet(&laws, 2, &path, &leads).carry(80.0, &[]).fails, Some(Fails::Leads));
    let found = fleet(&laws, 2, &path, &leads).carry(60.0, &[square(80.0, 1e-3)]);
    assert_eq!(found.fails, Some(Fails::LeadsInPulse(0)));
}

fn answer(json: &Value, name: &str) -> f64 {
    let all = json["answers"].as_array().expect("answers");
    let found = all.iter().find(|a| a["name"] == name).unwrap_or_else(|| panic!("no {name}"));
    found["value"].as_f64().unwrap_or(f64::NAN)
}

/// The number that does, and one less that does not, both as the rating has them in parallel.
#[test]
fn the_program_finds_the_smallest_number() {
    let (part, interface) = ("mosfet-sic-700v-12m", "0.5 K/W");
    let base = ["--interface", interface, "--heatsink", "55 degC", "--resistance-spread", "12 %", "--json"];
    let json = describe(&[&["sizing", part, "--current", "160 A", "--quiet"], &base[..]].concat());
    let number = answer(&json, &format!("{part}.number"));
    assert!((2.0..=7.0).contains(&number) && json["verdict"] == "passes", "{number}");
    for (n, does) in [(number, true), (number - 1.0, false)] {
        let n = format!("{n}");
        let args = ["rating", part, "--parallel", &n, "--total", "160 A", "--points", "2", "--no-runaway"];
        if n == "1" {
            continue;
        }
        let rating = describe(&[&args[..], &base].concat());
        let celsius = answer(&rating, "parallel.deviating.mosfet");
        assert_eq!(celsius <= 175.0, does, "{n}: {celsius}");
        if does {
            // Tables of other ranges: as near as their interpolation.
            assert_close("T_j", celsius, answer(&json, &format!("{part}.steady")), 1e-4);
            let current = answer(&rating, "parallel.deviating.current");
            assert_close("I", current, answer(&json, &format!("{part}.current")), 1e-4);
        }
    }
}

/// Three standard deviations of the sum of both dies' resistances, independent and fully correlated (JCGM 100:2008,
/// 5.1.2 and 5.2.2).
#[test]
fn the_spread_that_a_part_states() {
    let open = |_: &std::path::Path| Err(std::io::ErrorKind::NotFound.into());
    let Ok(loaded) = joulestep::input::parts::load("cascode-700v-7m", &open) else { panic!("shipped") };
    let mut part = loaded.part;
    assert_eq!(part.resistance_spread(), None);
    part.spread.deviations =
        vec![("jfet-on-resistance", 0.3e-3), ("jfet-pinch-off", 0.2), ("mosfet-on-resistance", 0.04e-3)];
    let total = part.values.number("jfet-on-resistance") + part.values.number("mosfet-on-resistance");
    let independent = 3.0 * (0.3f64.powi(2) + 0.04f64.powi(2)).sqrt() * 1e-3 / total;
    assert_close("independent", part.resistance_spread().unwrap(), independent, 1e-12);
    part.spread.correlations = vec![("mosfet-on-resistance", "jfet-on-resistance", 1.0)];
    assert_close("correlated", part.resistance_spread().unwrap(), 3.0 * 0.34e-3 / total, 1e-12);
}

#[test]
fn too_little_is_a_verdict_and_wrong_questions_are_refused() {
    let args = ["sizing", "mosfet-sj-620v-49m", "--current", "400 A", "--most", "2", "--json", "--quiet"];
    let done = joulestep(&args);
    let json: Value = serde_json::from_str(&done.out).expect("JSON");
    assert_eq!((done.code, json["verdict"].as_str()), (1, Some("fails")), "{}", done.out);
    for (args, expected) in [
        (&["--pulse", "800 A"][..], "1 peak and 0 widths"),
        (&["--width", "1 ms"], "0 peaks and 1 width"),
        (&["--resistance-spread", "100 %"], "below 100 %"),
        (&["--heatsink", "200 degC"], "to below 175 degC"),
    ] {
        let done = joulestep(&[&["sizing", "cascode-700v-7m", "--current", "10 A"], args].concat());
        assert!(done.code == 2 && done.err.contains(expected), "{args:?}: {}", done.err);
    }
}
