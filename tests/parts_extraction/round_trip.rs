//! Points that a model made give its parameters back; with noise, within bounds.

use joulestep_models::extract::{Extraction, Why};
use joulestep_models::merit::Conditions;
use joulestep_models::merit::recovery::Ramp;
use joulestep_models::part::{Curve, Part, Quantity, Technology, Variable};

use super::made::{
    DIODE_KNOWN, MOSFET_KNOWN, cascode, cascode_known, curve, diode, extracted, mosfet, noisy, part, with,
};
use crate::common::catalogued::shipped;

/// Relative difference of each fitted parameter from the one that made the points.
fn differences(made: &Part, found: &Extraction) -> Vec<(&'static str, f64)> {
    let one = |f: &joulestep_models::extract::Fitted| {
        let was = made.values.maybe(f.key).expect("it was there");
        (f.key, (f.value / was - 1.0).abs())
    };
    found.fitted.iter().map(one).collect()
}

/// Without noise: every parameter within a tolerance, and as many parameters as expected.
fn comes_back(made: &Part, known: &[&'static str], count: usize, tolerance: f64) {
    let found = extracted(made, known);
    assert!(found.converged);
    let differences = differences(made, &found);
    let wrong: Vec<_> = differences.iter().filter(|d| d.1.is_nan() || d.1 > tolerance).collect();
    assert!(wrong.is_empty(), "{wrong:?}");
    assert_eq!(differences.len(), count, "{differences:?} {:?}", found.doubts);
    assert!(found.curves.iter().all(|c| c.rms < 1e-8 && !c.line.is_empty()));
}

/// With 2 % of noise: every parameter within four of its standard errors (a normal deviation passes that once in
/// 16 000), these within fixed bounds, and residuals as large as
/// the noise.
fn survives(made: &Part, known: &[&'static str], bounds: &[(&str, f64)]) {
    for seed in [1, 2, 3] {
        let found = extracted(&noisy(made.clone(), 0.02, seed), known);
        for (f, (key, d)) in found.fitted.iter().zip(differences(made, &found)) {
            let was = made.values.maybe(key).unwrap();
            // The standard error of a logarithm is that of the value while it is small.
            let size =
                if f.value * was > 0.0 { (f.value / was).ln().abs() * f.value.abs() } else { d * was.abs() };
            assert!(size < 4.0 * f.error, "seed {seed}: {key} {} was {was}, error {}", f.value, f.error);
            if let Some((_, bound)) = bounds.iter().find(|b| b.0 == key) {
                assert!(d < *bound, "seed {seed}: {key} is off by {d}");
            }
        }
        let fitted: Vec<&str> = found.fitted.iter().map(|f| f.key).collect();
        assert!(bounds.iter().all(|b| fitted.contains(&b.0)), "seed {seed}: {fitted:?} {:?}", found.doubts);
        let points: usize = made.curves.iter().map(|c| c.points.len()).sum();
        let spare = (points - found.fitted.len()) as f64;
        let squares = found.curves.iter().map(|c| c.rms * c.rms * made.curves[c.curve].points.len() as f64);
        let ratio = squares.sum::<f64>() / (0.02 * 0.02 * spare);
        // χ² over its degrees of freedom, within four standard deviations of its cube root (Wilson & Hilferty 1931).
        let (mean, width) = (1.0 - 2.0 / (9.0 * spare), 4.0 * (2.0 / (9.0 * spare)).sqrt());
        assert!((ratio.cbrt() - mean).abs() < width, "seed {seed}: {ratio} with {spare} degrees of freedom");
    }
}

#[test]
fn a_mosfet_comes_back() {
    comes_back(&mosfet(), &MOSFET_KNOWN, 20, 1e-9);
}

#[test]
fn a_mosfet_survives_noise() {
    let bounds = [
        ("on-resistance", 0.04),
        ("resistance-exponent", 0.08),
        ("threshold", 0.03),
        ("threshold-drift", 0.2),
        ("leakage-conductance", 0.08),
        ("gate-source-capacitance", 0.04),
        ("gate-drain-capacitance", 0.12),
        ("drain-source-capacitance", 0.15),
        ("depletion-exponent", 0.06),
        ("body-lifetime", 0.2),
    ];
    survives(&mosfet(), &MOSFET_KNOWN, &bounds);
}

#[test]
fn a_diode_comes_back() {
    // A microampere of leakage behind 8 mohm is the difference of two currents of 50 kA: a part in 1e7 is lost.
    comes_back(&diode(), &DIODE_KNOWN, 10, 1e-6);
}

#[test]
fn a_diode_survives_noise() {
    let bounds = [
        ("series-resistance", 0.35),
        ("capacitance", 0.08),
        ("depletion-exponent", 0.06),
        ("breakdown-voltage", 0.06),
    ];
    survives(&diode(), &DIODE_KNOWN, &bounds);
}

#[test]
fn a_cascode_comes_back_as_two_dies() {
    let made = cascode();
    comes_back(&made, &cascode_known(&made), 24, 1e-9);
}

#[test]
fn a_cascode_survives_noise() {
    let bounds = [
        ("jfet-on-resistance", 0.04),
        ("jfet-resistance-exponent", 0.06),
        ("jfet-saturation-current", 0.05),
        ("jfet-pinch-off", 0.02),
        ("mosfet-threshold", 0.01),
        ("mosfet-on-resistance", 0.3),
        ("mosfet-gate-source-capacitance", 0.04),
        ("jfet-gate-drain-capacitance", 0.12),
    ];
    let made = cascode();
    survives(&made, &cascode_known(&made), &bounds);
}

/// A superjunction's output capacitance falls by two decades around one voltage.
#[test]
fn pillars_come_back() {
    use Quantity as Q;
    use Variable as V;
    let mut made = shipped("mosfet-sj-620v-49m");
    made.curves.clear();
    assert_eq!(made.technology, Technology::SuperjunctionMosfet);
    let volts = [0.5, 2.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 50.0, 100.0, 200.0, 400.0, 600.0];
    let made = with(
        made,
        vec![
            curve(Q::OutputCapacitance, V::Voltage, &[], &volts),
            curve(Q::TransferCapacitance, V::Voltage, &[], &volts),
        ],
    );
    let of_charge = |k: &&'static str| {
        k.contains("capacitance")
            || k.starts_with("pillar")
            || ["depletion-exponent", "built-in-voltage"].contains(k)
    };
    let known: Vec<&'static str> =
        made.given.iter().copied().filter(|k| !of_charge(k) || *k == "gate-source-capacitance").collect();
    comes_back(&made, &known, 8, 1e-9);
}

/// Curves at one temperature say nothing of temperature: the parameters are named, and the curve that would tell.
#[test]
fn what_points_do_not_determine_is_reported() {
    let mut made = mosfet();
    made.curves.retain(|c| {
        matches!(c.quantity, Quantity::Transfer | Quantity::Output) && c.conditions.temperature == Some(25.0)
    });
    let found = extracted(&made, &MOSFET_KNOWN);
    let doubt =
        |key: &str| found.doubts.iter().find(|d| d.key == key).unwrap_or_else(|| panic!("{key} is not told"));
    for key in ["resistance-exponent", "threshold-drift"] {
        assert_eq!(doubt(key).why, Why::NotDetermined);
        assert!(doubt(key).settled_by.contains("temperature"), "{}", doubt(key).settled_by);
        assert!(found.fitted.iter().all(|f| f.key != key));
    }
    // What was determined is as right as before.
    let wrong: Vec<_> = differences(&made, &found).into_iter().filter(|d| d.1 > 1e-6).collect();
    assert!(wrong.is_empty() && found.fitted.len() == 3, "{wrong:?} {:?}", found.fitted);
}

/// One point on a line of two unknowns: the resistance of both dies is known in sum only.
#[test]
fn two_parameters_that_points_cannot_distinguish_are_reported_together() {
    let mut made = cascode();
    made.curves.retain(|c| c.quantity == Quantity::OnResistance && c.against == Variable::Temperature);
    let known: Vec<&'static str> = made
        .given
        .iter()
        .copied()
        .filter(|k| !["jfet-on-resistance", "mosfet-on-resistance"].contains(k))
        .collect();
    let found = extracted(&made, &known);
    let doubt = found.doubts.iter().find(|d| d.key.ends_with("-on-resistance")).expect("one of them");
    let with = doubt.with.expect("its partner");
    assert!(with.0.ends_with("-on-resistance") && with.1 < -0.95, "{doubt:?}");
}

#[test]
fn foster_terms_of_an_impedance_become_part_of_it() {
    let made = [(0.02, 2e-4), (0.07, 5e-3), (0.21, 6e-2)];
    let mut points = curve(Quantity::TransientImpedance, Variable::Time, &[], &[]);
    points.points = (0..22)
        .map(|k| 1e-5 * 10f64.powf(0.22 * f64::from(k)))
        .map(|t| (t, made.iter().map(|(r, tau)| r * (1.0 - (-t / tau).exp())).sum()))
        .collect();
    let mut requested = part("mosfet", Technology::SicMosfet, &[("on-resistance", 0.02), ("threshold", 3.0)]);
    requested.curves.push(points);
    let found = extracted(&requested, &["on-resistance", "threshold"]).part;
    assert_eq!(found.thermal.impedance[0].die, "mosfet");
    for (a, b) in found.thermal.impedance[0].terms.iter().zip(made) {
        assert!((a.0 / b.0 - 1.0).abs() < 1e-4 && (a.1 / b.1 - 1.0).abs() < 1e-4, "{a:?} {b:?}");
    }
    assert!((found.thermal.junction_case.unwrap() / 0.3 - 1.0).abs() < 1e-4);
}

/// Data sheets state the recovered charge with the capacitive part in it: lifetimes come back from such points too, and
/// what the model says of them is what a run of the current ramp brings back.
#[test]
fn recovery_charge_with_its_capacitive_part() {
    let mut made = mosfet();
    for curve in made.curves.iter_mut().filter(|c| c.quantity == Quantity::RecoveryCharge) {
        curve.capacitive = true;
    }
    let curves = std::mem::take(&mut made.curves);
    let made = with(made, curves);
    let charge = |part: &Part| {
        part.curves.iter().find(|c| c.quantity == Quantity::RecoveryCharge).unwrap().points[1].1
    };
    let output = joulestep_models::capacitances::output_charge(made.entry(), &made.values, &[400.0], 25.0)
        .unwrap()[0]
        .charge;
    assert!((charge(&made) - charge(&mosfet()) - output).abs() < 1e-6 * output);
    comes_back(&made, &MOSFET_KNOWN, 20, 1e-4);
    // 40 A at 1000 A/µs into 400 V. The run also has the capacitance's charge between the forward drop and zero.
    let mut part = shipped("mosfet-sic-700v-12m");
    let held = [(Variable::Current, 40.0), (Variable::Voltage, 400.0)];
    let requested = Curve {
        capacitive: true,
        ..curve(Quantity::RecoveryCharge, Variable::CurrentRate, &held, &[3e8, 1e9])
    };
    part.curves.clear();
    let part = with(part, vec![requested]);
    let ramp = Ramp::of(&Conditions::default(), 40.0);
    let run = joulestep_models::merit::recovery::ramp(&part, &ramp).unwrap();
    let ratio = run.charge / charge(&part);
    println!("{:e} C by the closed forms, {:e} C by the run", charge(&part), run.charge);
    assert!((1.0..1.05).contains(&ratio), "{ratio}");
}
