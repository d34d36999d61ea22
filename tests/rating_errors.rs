//! Errors and verdicts of ratings and impedances: ± against closed forms and against much finer computations, the rule
//! on what is required, parts that contradict their package.

use joulestep::judge::{Uncertainty, grid_convergence_up_to};
use joulestep_engine::thermal::modal::Modal;
use joulestep_engine::thermal::network::{FosterTerm, Network};
use joulestep_models::rating::pulse::Shape;
use joulestep_models::rating::surge::{Outcome, STEPS, Surge};
use joulestep_models::rating::{Carried, Conducts, HeatPath};
use serde_json::Value;

use crate::common::answers::{answer, plus_minus, rows, value};
use crate::common::program::{describe, joulestep};

/// R₀(1 + a·T) on one R_th–C_th: a constant current warms it by a closed form.
struct Linear;

const R0: f64 = 0.008;
const A: f64 = 0.006;
const R_TH: f64 = 1.2;
const TAU: f64 = 0.6;

impl Conducts for Linear {
    fn dies(&self) -> usize {
        1
    }
    fn carry(&self, amperes: f64, celsius: &[f64]) -> Option<Carried> {
        Some(Carried::one(amperes * R0 * (1.0 + A * celsius[0]), amperes))
    }
    fn hottest_known(&self) -> f64 {
        1e9
    }
}

fn path() -> HeatPath {
    let term = FosterTerm { resistance: R_TH, time_constant: TAU };
    let network = Network::foster("die", &[term], 0.0).expect("a network");
    HeatPath::new(Modal::new(&network).expect("modes"), &["die"]).expect("a path")
}

/// ± of steps of order four, halved twice.
fn estimated(found: [f64; 3]) -> Uncertainty {
    grid_convergence_up_to(16.0, found)
}

/// How the error of a number compares with what is reported: between a quarter at the least and five times at the most.
fn covers(what: &str, error: f64, report: &Uncertainty) {
    let report = report.plus_minus().expect("an estimate");
    println!("{what}: off by {error:.3e}, ± {report:.3e}, {:.2} times", report / error);
    assert!(report >= 0.5 * error && report <= 5.0 * error, "{what}: off by {error:.3e}, ± {report:.3e}");
}

/// C·T' = I²R₀(1 + a·T) − T/R_th from T = 0: T = T_∞(1 − e^(−t/τ')), T_∞ = B/(1 − a·B), B = I²R₀R_th, τ' = τ/(1 − a·B)
/// (elementary). The rise at a current; the largest current and the longest pulse follow from it by its inverse.
#[test]
fn the_errors_of_a_pulse_are_those_of_its_closed_form() {
    let path = path();
    let rise = |i: f64, t: f64| {
        let b = i * i * R0 * R_TH;
        b / (1.0 - A * b) * (1.0 - (-t * (1.0 - A * b) / TAU).exp())
    };
    for (i, t) in [(60.0, 0.6), (100.0, 0.1), (160.0, 0.3)] {
        let surge =
            |hottest: f64, steps: usize| Surge::new(&Linear, &path, hottest, &[0.0]).with_steps(steps);
        let found = [1, 2, 4].map(|coarse| {
            let Outcome::Held(peaks) = surge(1e4, STEPS / coarse).pulse(Shape::Square, i, t) else {
                panic!("held")
            };
            peaks.celsius[0]
        });
        covers("rise", (found[0] - rise(i, t)).abs(), &estimated(found));
        // The limit is the exact rise, so the largest current is `i` and the longest pulse `t`.
        let hottest = rise(i, t);
        let found = [1, 2, 4].map(|coarse| surge(hottest, STEPS / coarse).largest(Shape::Square, t).current);
        covers("current", (found[0] - i).abs(), &estimated(found));
        let found = [1, 2, 4].map(|coarse| surge(hottest, STEPS / coarse).ride_through(i, 1e4).0);
        covers("longest", (found[0] - t).abs(), &estimated(found));
    }
}

/// The crest of a half sine lies between the ends of steps: the heat of a constant resistance, I²R·sin²(πt/w), through
/// R_th–C_th has a closed form, whose largest value is sought here in a million points.
#[test]
fn a_crest_between_steps_is_not_missed() {
    struct Constant;
    impl Conducts for Constant {
        fn dies(&self) -> usize {
            1
        }
        fn carry(&self, amperes: f64, _: &[f64]) -> Option<Carried> {
            Some(Carried::one(amperes * R0, amperes))
        }
        fn hottest_known(&self) -> f64 {
            1e9
        }
    }
    let path = path();
    for (i, w) in [(80.0, 0.5), (120.0, 1.7)] {
        let p = i * i * R0;
        let omega = 2.0 * std::f64::consts::PI / w;
        // sin² = (1 − cos ωt)/2; each part through the one time constant.
        let at = |t: f64| {
            let decay = (-t / TAU).exp();
            let x = omega * TAU;
            let wave = ((omega * t).cos() + x * (omega * t).sin() - decay) / (1.0 + x * x);
            0.5 * p * R_TH * (1.0 - decay - wave)
        };
        let exact = (0..=1_000_000).map(|k| at(w * f64::from(k) * 1e-6)).fold(0.0, f64::max);
        let found = [1, 2, 4].map(|coarse| {
            let mut surge = Surge::new(&Constant, &path, 1e4, &[0.0]).with_steps(STEPS / coarse);
            let Outcome::Held(peaks) = surge.pulse(Shape::HalfSine, i, w) else { panic!("held") };
            peaks.celsius[0]
        });
        let error = (found[0] - exact).abs();
        let report = estimated(found).plus_minus().expect("an estimate");
        println!("off by {error:.3e}, ± {report:.3e}");
        assert!(error < 2e-4 * exact && report >= 0.25 * error, "off by {error:.3e}, ± {report:.3e}");
    }
}

const PART: [&str; 6] = ["rating", "cascode-700v-22m", "--interface", "0.3 K/W", "--points", "5"];

/// A part's numbers with ± against the same in two rounds of finer steps and tables.
#[test]
fn the_errors_of_a_rating_cover_a_much_finer_one() {
    let more = ["--shape", "half-sine", "--fault", "150 A", "--json"];
    let report = describe(&[&PART[..], &more].concat());
    let fine = self::describe(&[&PART[..], &more, &["--prove"]].concat());
    assert_eq!(report["verdict"], "not judged");
    assert_eq!(fine["notes"][0], "proven by 2 rounds of finer steps, tables and meshes");
    let number = |v: &Value| v.as_f64().expect("a number");
    for (a, b) in rows(&report, "surge").iter().zip(rows(&fine, "surge")) {
        // Where the part saturates, drop and heat are no definite numbers; the largest drop of a half sine is read at
        // the ends of steps, and its error is not told.
        let saturates = a["limited_by"] == "saturation";
        assert_eq!(saturates, b["limited_by"] == "saturation");
        for row in [a, b] {
            for key in ["drop", "energy", "energy_error"] {
                assert_eq!(saturates, row[key].is_null(), "{key}: {row}");
            }
            assert!(row.get("drop_error").is_none());
            for key in ["current_error_kind", "i2t_error_kind"].iter().filter(|_| saturates) {
                assert_eq!(row[key], "not converging", "{row}");
            }
        }
        let keys = ["current", "i2t", "energy"];
        for key in keys.into_iter().take(if saturates { 2 } else { 3 }) {
            let error = (number(&a[key]) - number(&b[key])).abs();
            let ends = number(&a[&format!("{key}_error")]);
            println!("{key} at {} s: {error:.3e}, ± {ends:.3e}", a["width"]);
            assert!(ends >= 0.5 * error && number(&b[&format!("{key}_error")]) < ends, "{key}: {a} {b}");
        }
    }
    let longest = "fault.1.longest";
    let error = (value(&report, longest) - value(&fine, longest)).abs();
    assert!(plus_minus(&report, longest) >= 0.5 * error, "{error}");
    let bare = self::describe(&[&PART[..], &["--no-estimate", "--json"]].concat());
    assert_eq!(answer(&bare, "continuous.current")["error_kind"], "bare");
    assert!(rows(&bare, "surge")[0].get("current_error").is_none());
}

/// What is required is judged by the one rule: kept, exceeded, and not proven within the error.
#[test]
fn what_is_required_passes_fails_or_is_not_proven() {
    // A junction ends it; at 150 A the part saturates, and its error is large.
    let found = describe(&[&PART[..], &["--fault", "100 A", "--json"]].concat());
    let (longest, error) = (value(&found, "fault.1.longest"), plus_minus(&found, "fault.1.longest"));
    assert!(error > 0.0 && error < 0.01 * longest, "{longest} ± {error}");
    for (times, code, words) in [
        (-3.0, 0, "verdict: passes"),
        (0.3, 5, "verdict: not proven"),
        (-0.3, 5, "(required-time)  not proven"),
        (3.0, 1, "verdict: fails"),
    ] {
        let time = format!("{} s", longest + times * error);
        let done = joulestep(&[&PART[..], &["--fault", "100 A", "--required-time", &time]].concat());
        assert_eq!(done.code, code, "{}{}", done.out, done.err);
        assert!(done.out.contains(words), "{}", done.out);
    }
    // Proof settles what the error left open: half of it is far beyond what is left after two rounds.
    let time = format!("{} s", longest - 3.0 * error);
    let proof = ["--fault", "100 A", "--required-time", &time, "--prove"];
    let done = joulestep(&[&PART[..], &proof].concat());
    assert_eq!(done.code, 0, "{}{}", done.out, done.err);
    let current = ["--required-current", "10 A", "--no-estimate"];
    let done = joulestep(&[&PART[..], &current].concat());
    assert!(done.code == 0 && done.out.contains("verdict: passes, without error estimate"), "{}", done.out);
}

/// Dies that contradict each other leave every verdict not proven, but a failure stands.
#[test]
fn a_part_that_contradicts_its_package_proves_nothing() {
    let (_folder, on) = crate::says_what_it_does::smaller_die();
    let base = ["rating", "cascode-700v-7m", "--on", &on, "--cells", "5000", "--points", "2"];
    for (more, code) in [
        (&[][..], 5),
        (&["--required-current", "1 A"][..], 5),
        (&["--required-current", "500 A"][..], 1),
        (&["--parallel", "2", "--total", "20 A"][..], 5),
    ] {
        let done = joulestep(&[&base[..], &["--no-estimate"], more].concat());
        assert_eq!(done.code, code, "{more:?}: {}{}", done.out, done.err);
        assert!(done.out.contains("describe different dies"), "{}", done.out);
    }
}

/// ± of impedances, against a mesh of ten times the cells, and the errors of a rating on the package against its own.
#[test]
fn the_error_of_a_mesh_covers_a_finer_one() {
    let of = |cells: &str| describe(&["impedance", "board-sj-620v-49m", "--cells", cells, "--json"]);
    let (coarse, fine) = (of("12000"), of("100000"));
    let rows = |t: &Value| t["tables"]["impedance"]["rows"].as_array().unwrap().clone();
    let of = |row: &Value, name: &str| row[name].as_f64().unwrap();
    for (a, b) in rows(&coarse).iter().zip(&rows(&fine)) {
        let (za, zb) = (of(a, "mosfet.to_boundary"), of(b, "mosfet.to_boundary"));
        let error = of(a, "mosfet.to_boundary_error");
        assert!(error >= 0.5 * (za - zb).abs(), "{za} ± {error}, finer {zb}");
    }
    let steady = |t: &Value| {
        let answers = t["answers"].as_array().unwrap();
        answers.iter().find(|a| a["name"] == "mosfet.to_boundary").unwrap().clone()
    };
    let (a, b) = (steady(&coarse), steady(&fine));
    let (off, error) = ((of(&a, "value") - of(&b, "value")).abs(), of(&a, "error"));
    println!("steady: off by {off:.3e}, ± {error:.3e}");
    assert!(error >= 0.5 * off);
}

/// The dead time of least loss is known as far as the list tells: to its neighbours, and no further than losses differ
/// by more than their errors. A short one shoots through or turns on hard, a long one conducts in the diode (`common
/// practice, no source`).
#[test]
fn the_least_dead_time_is_known_to_its_neighbours() {
    let base = ["dead-time", "mosfet-sic-700v-12m", "--current", "20 A", "--json", "--dead-time"];
    let found = describe(&[&base[..], &["20 ns,60 ns,100 ns,400 ns"]].concat());
    // At 60 ns it still turns on hard and loses much more: the least lies between 60 and 400 ns.
    let best = answer(&found, "best.dead-time");
    assert_eq!(best["value"], 100e-9);
    assert!((plus_minus(&found, "best.dead-time") - 300e-9).abs() < 1e-15, "{best}");
    // In the midst of the list.
    assert_eq!(best["remark"], "");
    let error = plus_minus(&found, "best.losses");
    assert!(error > 0.0 && error < 0.01 * value(&found, "best.losses"), "{error}");
    let bare = describe(&[&base[..], &["60 ns", "--no-estimate"]].concat());
    assert!(rows(&bare, "energies")[0].get("losses_error").is_none());
}
