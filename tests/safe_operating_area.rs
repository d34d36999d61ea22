//! Safe operating areas: closed forms of every border on Foster networks, courses of which all is known, the shipped
//! parts against their own impedances and operating points.

use joulestep_engine::thermal::modal::Modal;
use joulestep_engine::thermal::network::{FosterTerm, Network, NetworkBuilder};
use joulestep_models::operating::{AtRest, Feed};
use joulestep_models::part::Ratings;
use joulestep_models::rating::area::{Area, Border, Drifts, allowed};
use joulestep_models::rating::output::{Output, Point};
use joulestep_models::rating::trajectory::{Sample, hottest, nearest};
use joulestep_models::rating::{HeatPath, MOST_DIES};
use serde_json::Value;

use crate::common::answers::rows;
use crate::common::program::{describe, joulestep};
use crate::thermal_closed_forms::assert_close;

/// A switch of one die: resistance R·(1 + a·(T − 25)), saturation I·(1 − b·(T − 25)), drift c·I at the held gate.
#[derive(Clone, Copy)]
struct Switch {
    r: f64,
    a: f64,
    saturation: f64,
    b: f64,
    c: f64,
}

impl Output for Switch {
    fn dies(&self) -> usize {
        1
    }
    fn on(&self, volts: f64, celsius: &[f64]) -> Option<Point> {
        let rise = celsius[0] - 25.0;
        let current = (volts / (self.r * (1.0 + self.a * rise))).min(self.saturation * (1.0 - self.b * rise));
        Some(Point { current, share: [1.0, 0.0] })
    }
    fn held(&self, _: f64, amperes: f64, _: &[f64]) -> Option<Point> {
        Some(Point { current: amperes, share: [1.0, 0.0] })
    }
    fn drift(&self, _: f64, amperes: f64, _: &[f64]) -> Option<[f64; MOST_DIES]> {
        Some([self.c * amperes, 0.0])
    }
}

const TERMS: [(f64, f64); 3] = [(0.02, 30e-6), (0.135, 1.2e-3), (0.2, 80e-3)];
const COLD: f64 = 40.0;
const HOT: f64 = 175.0;

fn path() -> HeatPath {
    let term = |&(resistance, time_constant): &(f64, f64)| FosterTerm { resistance, time_constant };
    let terms: Vec<FosterTerm> = TERMS.iter().map(term).collect();
    HeatPath::new(Modal::new(&Network::foster("die", &terms, COLD).unwrap()).unwrap(), &["die"]).unwrap()
}

/// Z(t) = Σ R·(1 − e^(−t/τ)) (JESD51-14; IEC 60747-8 for the pulse, from memory).
fn z(t: f64) -> f64 {
    TERMS.iter().map(|(r, tau)| r * (1.0 - (-t / tau).exp())).sum()
}

fn switch() -> Switch {
    Switch { r: 8e-3, a: 6e-3, saturation: 500.0, b: 2e-3, c: 0.0 }
}

/// P·Z_th(t) = ΔT at every voltage and width, direct current included.
#[test]
fn a_rectangular_pulse_meets_the_junction_limit() {
    let (path, ratings, part) = (path(), Ratings::default(), switch());
    let area = Area { part: &part, path: &path, hottest: HOT, ratings: &ratings, drifts: None };
    for volts in [60.0, 200.0, 700.0] {
        for width in [1e-5, 1e-4, 1e-3, 1e-2, 0.1, f64::INFINITY] {
            let found = area.at(volts, width).unwrap();
            let exact = (HOT - COLD) / (volts * z(width));
            if exact < 200.0 {
                assert_eq!(found.border, Border::Junction(0));
                assert_close("I", found.current, exact, 1e-9);
                assert_close("T_j", found.celsius[0], HOT, 1e-9);
            }
        }
    }
}

/// V = I·R(T) and T = T₀ + V·I·Z together (derived: a quadratic), and the straight line of a constant resistance.
#[test]
fn the_resistive_border_heats_itself() {
    let (path, ratings) = (path(), Ratings::default());
    for (a, volts, width) in
        [(0.0, 0.5, 1.0), (6e-3, 0.2, 1e-3), (6e-3, 1.0, 1e-2), (6e-3, 1.0, f64::INFINITY)]
    {
        let part = Switch { a, ..switch() };
        let area = Area { part: &part, path: &path, hottest: HOT, ratings: &ratings, drifts: None };
        let found = area.at(volts, width).unwrap();
        let (p, q) = (part.r * (1.0 + a * (COLD - 25.0)), a * part.r * z(width) * volts);
        let exact = if q > 0.0 { (-p + (p * p + 4.0 * q * volts).sqrt()) / (2.0 * q) } else { volts / p };
        assert_eq!(found.border, Border::OnResistance);
        assert_close("I", found.current, exact, 1e-8);
    }
}

/// I = I_sat·(1 − b·(T − 25)) and T = T₀ + V·I·Z together (derived: linear).
#[test]
fn saturation_falls_with_its_own_heat() {
    let (path, ratings, part) = (path(), Ratings::default(), switch());
    let area = Area { part: &part, path: &path, hottest: HOT, ratings: &ratings, drifts: None };
    for (volts, width) in [(10.0, 1e-5), (20.0, 2e-5)] {
        let found = area.at(volts, width).unwrap();
        let cold = part.saturation * (1.0 - part.b * (COLD - 25.0));
        let exact = cold / (1.0 + part.saturation * part.b * volts * z(width));
        assert_eq!(found.border, Border::Saturation);
        assert_close("I", found.current, exact, 1e-8);
    }
}

/// The corner between a constant resistance and the junction: V²/R·Z = ΔT.
#[test]
fn the_corner_lies_where_both_borders_meet() {
    let (path, ratings, part) = (path(), Ratings::default(), Switch { a: 0.0, saturation: 1e6, ..switch() });
    let area = Area { part: &part, path: &path, hottest: HOT, ratings: &ratings, drifts: None };
    let volts: Vec<f64> = (0..20).map(|k| 0.1 * 10f64.powf(f64::from(k) / 5.0)).collect();
    for width in [1e-4, 1e-2] {
        let border = area.border(&volts, width).unwrap();
        let corner = border.windows(2).find(|w| w[0].border != w[1].border).unwrap()[0];
        assert_close("V", corner.volts, (part.r * (HOT - COLD) / z(width)).sqrt(), 2e-5);
        // Straight in logarithms between the points: exact on a power law.
        let at = allowed(&border, 300.0);
        assert_close("between points", at, (HOT - COLD) / (300.0 * z(width)), 1e-8);
    }
}

/// Two corners between two voltages: V = R·I_lead, and V·I_lead·Z = ΔT.
#[test]
fn every_corner_between_two_voltages_is_found() {
    let (path, part) = (path(), Switch { a: 0.0, saturation: 1e6, ..switch() });
    let ratings = Ratings { lead_current: Some(100.0), ..Ratings::default() };
    let area = Area { part: &part, path: &path, hottest: HOT, ratings: &ratings, drifts: None };
    let border = area.border(&[0.2, 700.0], 1e-3).unwrap();
    let kinds: Vec<Border> = border.iter().map(|c| c.border).collect();
    let [resistance, leads, junction] = [Border::OnResistance, Border::Leads, Border::Junction(0)];
    assert_eq!(kinds, [resistance, resistance, leads, leads, junction, junction]);
    assert_close("first", border[1].volts, part.r * 100.0, 2e-5);
    assert_close("second", border[3].volts, (HOT - COLD) / (100.0 * z(1e-3)), 2e-5);
}

/// Leads with one time constant: both ratings are met, and I²·(1 − e^(−t/τ)) is one number (derived).
#[test]
fn leads_limit_by_their_time_constant() {
    let ratings = Ratings {
        lead_current: Some(100.0),
        lead_pulse_current: Some(400.0),
        lead_pulse_width: Some(1e-3),
        ..Ratings::default()
    };
    let tau = ratings.lead_time_constant().unwrap();
    assert_close("the stated pulse", 100.0 / (1.0 - (-1e-3 / tau).exp()).sqrt(), 400.0, 1e-12);
    for (width, exact) in [(1e-5, 400.0), (1e-3, 400.0), (f64::INFINITY, 100.0)] {
        assert_close("limit", ratings.lead_limit(width), exact, 1e-12);
    }
    let at = ratings.lead_limit(5e-3);
    assert_close("one temperature", at * at * (1.0 - (-5e-3 / tau).exp()), 1e4, 1e-12);
    assert_close("its inverse", ratings.lead_time(at), 5e-3, 1e-9);
    let (path, part) = (path(), Switch { a: 0.0, ..switch() });
    let area = Area { part: &part, path: &path, hottest: HOT, ratings: &ratings, drifts: None };
    let found = area.at(2.0, f64::INFINITY).unwrap();
    assert_eq!((found.border, found.current), (Border::Leads, 100.0));
}

/// A single avalanche pulse: the stated current, or the stated energy as V·I·t (rectangular), whichever is less.
#[test]
fn avalanche_is_bounded_by_current_and_energy() {
    let both = Ratings { avalanche_current: Some(30.0), avalanche_energy: Some(0.3), ..Ratings::default() };
    for (width, exact) in [(1e-6, 30.0), (1e-4, 0.3 / (800.0 * 1e-4))] {
        assert_close("I", both.avalanche_limit(800.0, width).unwrap(), exact, 1e-12);
    }
    assert_eq!(Ratings::default().avalanche_limit(800.0, 1e-6), None);
}

/// A drift c of ln I: V·I·Z·c = 1 comes before the junction where c > 1/ΔT (Spirito et al. 2002, from memory).
#[test]
fn a_held_current_becomes_unstable() {
    let (path, ratings) = (path(), Ratings::default());
    for c in [0.02, 0.005] {
        let part = Switch { c, ..switch() };
        let drifts = Drifts::new(&part, 350.0, COLD, HOT).unwrap();
        let area = Area { part: &part, path: &path, hottest: HOT, ratings: &ratings, drifts: Some(&drifts) };
        let found = area.at(400.0, 1e-2).unwrap();
        let unstable = c * (HOT - COLD) > 1.0;
        let exact = if unstable { 1.0 / (400.0 * z(1e-2) * c) } else { (HOT - COLD) / (400.0 * z(1e-2)) };
        assert_eq!(found.border == Border::Instability, unstable);
        assert_close("I", found.current, exact, 1e-8);
    }
}

/// Two dies that share the heat, each on its own resistance: the first current at which either is at its limit. The
/// share of the second falls as the current rises, so that it has a hottest current of its own.
#[test]
fn the_first_limit_of_two_dies_counts() {
    struct Pair;
    impl Output for Pair {
        fn dies(&self) -> usize {
            2
        }
        fn on(&self, _: f64, _: &[f64]) -> Option<Point> {
            self.held(0.0, 200.0, &[])
        }
        fn held(&self, _: f64, amperes: f64, _: &[f64]) -> Option<Point> {
            let second = 0.9 * (1.0 - amperes.min(200.0) / 210.0);
            Some(Point { current: amperes.min(200.0), share: [1.0 - second, second] })
        }
        fn drift(&self, _: f64, _: f64, _: &[f64]) -> Option<[f64; MOST_DIES]> {
            None
        }
    }
    let builder = NetworkBuilder::new().boundary("sink", 25.0);
    let builder =
        builder.node("a", 1.0).node("b", 1.0).resistance("a", "sink", 0.1).resistance("b", "sink", 0.5);
    let network = builder.input("a", "a").input("b", "b").build().unwrap();
    let path = HeatPath::new(Modal::new(&network).unwrap(), &["a", "b"]).unwrap();
    let ratings = Ratings::default();
    let area = Area { part: &Pair, path: &path, hottest: 125.0, ratings: &ratings, drifts: None };
    // 0.5·V·I·0.9·(1 − I/210) = 100 of the second die, or 0.1·V·I·(1 − 0.9·(1 − I/210)) = 100 of the first.
    let found = area.at(6.0, f64::INFINITY).unwrap();
    let exact = 105.0 - (105.0f64.powi(2) - 210.0 * 100.0 / (0.5 * 6.0 * 0.9)).sqrt();
    assert_eq!(found.border, Border::Junction(1));
    assert_close("I", found.current, exact, 1e-7);
}

/// A rectangle of 2 ms, and half of it: against widths below its own it has the ratio of its current, against longer
/// ones none; its junction is T₀ + P·Z_th(2 ms).
#[test]
fn a_course_is_held_against_widths_and_by_superposition() {
    let at = |time: f64, volts: f64, current: f64| Sample { time, volts, current };
    let mut course = vec![at(0.0, 400.0, 0.0), at(1e-3 - 1e-9, 400.0, 0.0)];
    course.extend((0..=400).map(|k| at(1e-3 + 5e-6 * f64::from(k), 50.0, if k < 200 { 10.0 } else { 5.0 })));
    course.extend([at(3e-3 + 1e-9, 400.0, 0.0), at(10e-3, 400.0, 0.0)]);
    let border = |width: f64| move |volts: f64| (HOT - COLD) / (volts * z(width));
    for (width, current) in [(1e-5, 10.0), (9e-4, 10.0), (1.5e-3, 5.0)] {
        let found = nearest(&course, width, &border(width)).unwrap();
        assert_close("margin", found.margin, border(width)(50.0) / current, 1e-12);
        assert_close("its current", found.current, current, 1e-12);
    }
    assert!(nearest(&course, 2.5e-3, &border(2.5e-3)).is_none(), "it never stays that long");
    assert!(nearest(&course, 1.0, &border(1.0)).is_none(), "it is shorter");
    let share = |_: f64, _: f64| [1.0, 0.0];
    let steady: Vec<Sample> = course.iter().map(|s| Sample { current: s.current.min(5.0), ..*s }).collect();
    let [(celsius, time), _] = hottest(&steady, &path(), 1, &share);
    assert_close("T_j", celsius - COLD, 250.0 * z(2e-3), 3e-3);
    assert_close("when", time, 3e-3, 1e-3);
}

fn answer<'a>(json: &'a Value, name: &str) -> &'a Value {
    let all = json["answers"].as_array().expect("answers");
    all.iter().find(|a| a["name"] == name).unwrap_or_else(|| panic!("no {name}"))
}

/// Of shipped parts: direct current at the rated voltage by the sum of its Foster terms, and the current before it heats
/// by the engine's operating point, saturation of the JFET included.
#[test]
fn shipped_parts_meet_their_impedance_and_their_law() {
    let open = |_: &std::path::Path| Err(std::io::ErrorKind::NotFound.into());
    let part =
        |name| joulestep::input::parts::load(name, &open).map_or_else(|_| panic!("shipped"), |l| l.part);
    let base = ["--heatsink", "75 degC", "--points", "10", "--width", "1 ns", "--json", "--quiet"];
    let json = describe(&[&["soa", "mosfet-sic-700v-12m", "--no-instability"], &base[..]].concat());
    let sic = part("mosfet-sic-700v-12m");
    let terms: f64 = sic.thermal.impedance[0].terms.iter().map(|t| t.0).sum();
    let rated = sic.rated_voltage().unwrap();
    let exact = (sic.hottest().unwrap() - 75.0) / (rated * terms);
    assert_close("I at V_rated", answer(&json, "direct.at.1")["value"].as_f64().unwrap(), exact, 1e-7);
    let args = ["soa", "cascode-700v-7m", "--voltage", "20 V", "--no-instability"];
    let json = describe(&[&args, &base[..]].concat());
    let cascode = part("cascode-700v-7m");
    let rest = AtRest::new(cascode.entry(), &cascode.values, 10.0, Feed::Voltage(20.0), 75.0).unwrap();
    let found = answer(&json, "pulse.1.at.1");
    assert_eq!(found["remark"], "limited by: saturation");
    assert_close("I_sat", found["value"].as_f64().unwrap(), rest.current(), 1e-3);
    // Breakdown: 1 mA with the gate at its source, by the engine's operating point.
    let volts = answer(&json, "breakdown")["value"].as_f64().unwrap();
    let rest = AtRest::new(cascode.entry(), &cascode.values, 0.0, Feed::Voltage(volts), 75.0).unwrap();
    assert_close("I at breakdown", rest.current(), 1e-3, 1e-4);
    assert!(volts > 700.0 && volts < 1000.0, "{volts}");
}

/// The shipped short circuit laid over its breaker's chart: the junction, whose die follows its material here and there, is
/// that of the coupled run, but for the energy that v·i at the pins stores in the capacitances.
#[test]
fn a_run_is_laid_over_the_chart() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("short.h5");
    let path = file.to_str().expect("UTF-8");
    let part = "cascode-700v-7m";
    let scenario = "examples/ferry-short-circuit.toml";
    let run = describe(&["run", scenario, "--out", path, "--json", "--no-estimate"]);
    let jfet = rows(&run, "junctions").iter().find(|j| j["die"] == "breaker.jfet").expect("the JFET");
    let coupled = jfet["hottest"].as_f64().expect("a temperature");
    let base = ["soa", part, "--run", path, "--heatsink", "48 degC", "--interface", "0.3 K/W"];
    let more = ["--points", "10", "--width", "1 us", "--no-instability", "--json", "--component", "breaker"];
    let json = describe(&[&base[..], &more].concat());
    let value = |name: &str| answer(&json, name)["value"].as_f64().expect("a number");
    assert_close("rise", value("run.jfet") - 48.0, coupled - 48.0, 2.5e-2);
    assert!(value("run.margin") > 1.0 && json["verdict"] == "passes", "{json}");
    let rows = json["tables"]["margins"]["rows"].as_array().expect("rows");
    assert!(rows[1]["remark"] == "the run is shorter" && rows[1]["margin"].is_null(), "{rows:?}");
    let done = joulestep(&[&base[..], &more, &["--required-margin", "1000"]].concat());
    assert_eq!(done.code, 1, "{}", done.out);
    let done = joulestep(&[&base[..], &["--component", "freewheel"]].concat());
    assert!(done.code == 2 && done.err.contains("`freewheel.voltage` is not recorded"), "{}", done.err);
}

#[test]
fn what_cannot_be_charted_is_refused() {
    for (args, expected) in [
        (&["soa", "diode-sic-700v-50a"][..], "it has no gate"),
        (&["soa", "cascode-700v-7m", "--from", "900 V"], "a voltage below the rated one"),
        (&["soa", "cascode-700v-7m", "--voltage", "900 V"], "at most the rated voltage, 700 V"),
        (&["soa", "cascode-700v-7m", "--component", "Q1"], "no `run` beside it"),
        (&["soa", "cascode-700v-7m", "--heatsink", "180 degC"], "to below 175 degC"),
    ] {
        let done = joulestep(args);
        assert!(done.code == 2 && done.err.contains(expected), "{args:?}: {} {}", done.code, done.err);
    }
    let done = joulestep(&["soa", "cascode-700v-7m", "--run", "no-such.h5", "--component", "Q1"]);
    assert!(done.code == 4 && done.err.contains("no-such.h5"), "{} {}", done.code, done.err);
}
