//! Temperature and the power it changes, coupled interval by interval: fixed points, runaway, transients, ratings.
//! Each check names its source; `derived` are elementary, and were cross-checked numerically.

use joulestep_engine::thermal::convert::foster_to_cauer;
use joulestep_engine::thermal::network::{FosterTerm, Network};
use joulestep_engine::thermal::run::Thermal;

use crate::thermal_closed_forms::{assert_close, foster, modal, terms};

/// Settles the temperature under a power that follows it, interval by interval.
fn settle(heat: &mut Thermal<f64>, dt: f64, power: impl Fn(f64) -> f64) -> f64 {
    for _ in 0..100_000 {
        let before = heat.temperatures()[0];
        heat.advance(dt, &[power(before)]);
        if (heat.temperatures()[0] - before).abs() < 1e-12 * before.abs() {
            break;
        }
    }
    heat.temperatures()[0]
}

/// Fixed point with a linear temperature coefficient (derived), tolerance 1e-6; and the runaway current.
#[test]
fn fixed_point_with_a_linear_coefficient() {
    // R0, a, T0, Ta, Rth, I; T, P, I_runaway.
    let cases = [
        ([0.008, 0.006, 25.0, 40.0, 1.2, 60.0], [87.525232135648, 39.60436011304, 131.761569173682]),
        ([0.002, 0.005, 25.0, 85.0, 0.5, 150.0], [117.957746478873, 65.9154929577465, 447.213595499958]),
    ];
    for ([r0, a, t0, ta, rth, i], [t, p, runaway]) in cases {
        let cells = foster_to_cauer(&terms(&[0.3 * rth, 0.7 * rth], &[0.01, 1.0])).unwrap();
        let mut heat = Thermal::new(modal(&Network::cauer("junction", &cells, ta).unwrap()));
        let power = |i: f64| move |t: f64| i * i * r0 * (1.0 + a * (t - t0));
        let found = settle(&mut heat, 0.1, power(i));
        assert_close("T", found, t, 1e-6);
        assert_close("P", power(i)(found), p, 1e-6);
        // Just below the bound it settles (far up), just above it leaves every bound.
        let below = settle(&mut heat, 0.5, power(0.95 * runaway));
        let b = (0.95 * runaway).powi(2) * r0 * rth;
        assert_close("T near the bound", below, (ta + b * (1.0 - a * t0)) / (1.0 - a * b), 1e-6);
        heat.start_steady(&[0.0]);
        for _ in 0..10_000 {
            let now = heat.temperatures()[0];
            heat.advance(0.5, &[power(1.02 * runaway)(now)]);
        }
        assert!(heat.temperatures()[0] > 1e6);
    }
}

/// Fixed point and runaway with R = R0·(T/T0)ⁿ in kelvin (derived, tangency), tolerance 1e-6.
#[test]
fn fixed_point_with_a_power_law() {
    // R0, n, T0, Ta, Rth, I; T, T*, I*.
    let cases = [
        ([0.008, 2.4, 300.0, 313.15, 1.0, 70.0], [384.073300469577, 536.828571428571, 83.1782838857068]),
        ([0.004, 2.7, 300.0, 350.0, 0.4, 150.0], [473.281433734973, 555.882352941176, 156.00422717875]),
    ];
    for ([r0, n, t0, ta, rth, i], [t, t_limit, i_limit]) in cases {
        let network = Network::foster("junction", &terms(&[rth], &[0.2]), ta - 273.15).unwrap();
        let mut heat = Thermal::new(modal(&network));
        let power = |i: f64| move |t: f64| i * i * r0 * ((t + 273.15) / t0).powf(n);
        assert_close("T", settle(&mut heat, 0.05, power(i)) + 273.15, t, 1e-6);
        // Approaching the limit from below the temperature stays under T*; 0.1 % above there is no fixed point.
        heat.start_steady(&[0.0]);
        let below = settle(&mut heat, 0.2, power(0.999 * i_limit)) + 273.15;
        assert!(below < t_limit && below > 0.9 * t_limit, "{below} {t_limit}");
        heat.start_steady(&[0.0]);
        for _ in 0..2_000 {
            let now = heat.temperatures()[0];
            if now > 10.0 * t_limit {
                break;
            }
            heat.advance(0.2, &[power(1.001 * i_limit)(now)]);
        }
        assert!(heat.temperatures()[0] > 10.0 * t_limit);
    }
}

/// Constant current through R0·(1 + a·ΔT) on one R, C: a linear equation with a changed time constant (derived),
/// tolerance 1e-4. Power held over each coupling interval: first order; extrapolated from two intervals: second.
#[test]
fn coupled_transient() {
    let (r0, a, rth, cth, end) = (0.008, 0.006, 1.2, 0.5, 0.6);
    for (i, rise, energy) in
        [(60.0, 23.8651561079724, 18.6789218494215), (160.0, 314.505490922165, 229.683513880423)]
    {
        let run = |intervals: usize, order: usize| {
            let mut heat = foster(&[FosterTerm::from_capacitance(rth, cth)], 0.0);
            let power = |t: f64| i * i * r0 * (1.0 + a * t);
            let mut last = power(0.0);
            for k in 0..intervals {
                let now = power(heat.temperatures()[0]);
                // Mid-interval power by a straight line through this and the last instant.
                let used = if order == 2 && k > 0 { now + 0.5 * (now - last) } else { now };
                last = now;
                heat.advance(end / intervals as f64, &[used]);
            }
            assert!(heat.residual().abs() < 1e-11 * heat.heat_in()[0]);
            [heat.temperatures()[0] / rise - 1.0, heat.heat_in()[0] / energy - 1.0]
        };
        for which in 0..2 {
            let first = [run(400, 1)[which], run(800, 1)[which], run(1600, 1)[which]];
            for pair in first.windows(2) {
                assert!((pair[0] / pair[1] - 2.0).abs() < 0.02, "{i} A: {first:?}");
            }
            // Richardson's limit of a first-order sequence.
            assert!((2.0 * first[2] - first[1]).abs() < 1e-5, "{i} A: {first:?}");
            let second = [run(400, 2)[which], run(800, 2)[which], run(1600, 2)[which]];
            for pair in second.windows(2) {
                assert!((pair[0] / pair[1] - 4.0).abs() < 0.1, "{i} A: {second:?}");
            }
            assert!(second[2].abs() < 1e-4, "{i} A: {second:?}");
        }
    }
}

/// Continuous current at T_jmax (definition used by device standards, derived), tolerance 1e-6.
#[test]
fn continuous_current() {
    let (r25, n, tjm, tref, rth) = (0.006, 2.2, 448.15, 373.15, 0.35);
    let mut heat = foster(&terms(&[0.1, 0.25], &[0.002, 0.3]), tref - 273.15);
    assert_close("R_th", heat.modal().steady_resistance(0, 0), rth, 1e-12);
    let power = heat.start_holding(&[tjm - 273.15]).unwrap()[0];
    assert_close("P", power, 214.285714285714, 1e-6);
    let hot = r25 * f64::powf(tjm / 298.15, n);
    assert_close("R hot", hot, 0.0147070694058094, 1e-6);
    let current = (power / hot).sqrt();
    assert_close("I", current, 120.707300800531, 1e-6);
    // The current found holds the junction at T_jmax: a fixed point of the coupled system.
    let end = settle(&mut heat, 0.05, |t| current * current * r25 * ((t + 273.15) / 298.15).powf(n));
    assert_close("T_j", end, tjm - 273.15, 1e-6);
}
