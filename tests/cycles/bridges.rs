//! Bridges against their published relations.

use std::collections::BTreeMap;
use std::f64::consts::{PI, SQRT_2, TAU};

use super::converters::{cycle, near};

const STIFF: [(&str, f64); 4] =
    [("loop-inductance", 0.0), ("loop-resistance", 0.0), ("dead-time", 0.0), ("switch-resistance", 1e-4)];

/// Amplitude of a harmonic of samples over a whole period, straight between them.
fn harmonic(points: &[(f64, f64)], period: f64) -> f64 {
    let (mut re, mut im) = (0.0, 0.0);
    for w in points.windows(2) {
        let ((t0, a), (t1, b)) = (w[0], w[1]);
        for (share, weight) in [(0.0, 1.0), (0.5, 4.0), (1.0, 1.0)] {
            let (t, y) = (t0 + share * (t1 - t0), a + share * (b - a));
            let angle = TAU * (t - points[0].0) / period;
            re += weight / 6.0 * (t1 - t0) * y * angle.cos();
            im += weight / 6.0 * (t1 - t0) * y * angle.sin();
        }
    }
    2.0 / period * f64::hypot(re, im)
}

/// Series-resonant tank: amplitude of the load's fundamental = (2V/π)·R/|R + j(ωL − 1/ωC)| (Erickson & Maksimovic,
/// ch. 19; from memory): below, at and above resonance. A tank is linear, so this holds for each harmonic exactly.
#[test]
fn gain_of_the_resonant_tank() {
    let (v, l, c, r) = (400.0, 25e-6, 100e-9, 10.0);
    let resonance = 1.0 / (TAU * f64::sqrt(l * c));
    for share in [0.8, 1.0, 1.4] {
        let f: f64 = share * resonance;
        let more = [
            ("frequency", f),
            ("resonant-inductance", l),
            ("resonant-capacitance", c),
            ("load-resistance", r),
            ("resonant-resistance", 0.0),
        ];
        let found = cycle(
            "series-resonant-half-bridge",
            &[&STIFF[..], &more].concat(),
            &BTreeMap::new(),
            &[("load", "voltage")],
        );
        let reactance = TAU * f * l - 1.0 / (TAU * f * c);
        let expected = 2.0 * v / PI * r / r.hypot(reactance);
        near(harmonic(&found.column(0), 1.0 / f), expected, 2e-3, "fundamental of the load");
        assert!(found.steady.closing < 1e-5);
    }
}

/// Power of the dual active bridge: P = V₁·V₂·φ(1 − 2φ)/(f·L), φ in periods (De Doncker, Divan & Kheraluwala 1991; from
/// memory).
#[test]
fn power_of_the_dual_active_bridge() {
    let (v1, v2, l, f) = (400.0, 360.0, 40e-6, 100e3);
    for shift in [0.08, -0.15] {
        let more = [
            ("supply-voltage", v1),
            ("load-voltage", v2),
            ("transfer-inductance", l),
            ("transfer-resistance", 1e-3),
            ("phase-shift", shift),
            ("frequency", f),
        ];
        let found = cycle(
            "dual-active-bridge",
            &[&STIFF[..], &more].concat(),
            &BTreeMap::new(),
            &[("load", "current")],
        );
        let expected = v1 * v2 * shift * (1.0 - 2.0 * f64::abs(shift)) / (f * l);
        // 0.1 % of the inductance leaks from the transformer beside it.
        near(found.mean(0) * v2, expected, 5e-3, "power taken by the second side");
        assert!(found.run.ledger().relative() < 1e-4);
    }
}

/// Sine modulation: amplitude of the phase current = m·V/2 over |R + jωL| (Holmes & Lipo; from memory).
#[test]
fn fundamental_of_the_three_phase_inverter() {
    let (v, m, r, l, f) = (400.0, 0.8, 10.0, 5e-3, 50.0);
    let more = [
        ("modulation", m),
        ("load-resistance", r),
        ("load-inductance", l),
        ("frequency", 5e3),
        ("fundamental-frequency", f),
    ];
    let found = cycle(
        "three-phase-inverter",
        &[&STIFF[..], &more].concat(),
        &BTreeMap::new(),
        &[("a-load", "current"), ("b-load", "current")],
    );
    let expected = m * v / 2.0 / f64::hypot(r, TAU * f * l);
    near(harmonic(&found.column(0), 1.0 / f), expected, 5e-3, "phase a");
    near(harmonic(&found.column(1), 1.0 / f), expected, 5e-3, "phase b");
}

/// The totem pole draws the line current that its phasor asks for: P = V·I in open loop.
#[test]
fn line_current_of_the_totem_pole() {
    let more = [
        ("supply-voltage", 400.0),
        ("line-voltage", 230.0),
        ("line-current", 10.0),
        ("choke", 2e-3),
        ("frequency", 20e3),
    ];
    let found = cycle("totem-pole", &[&STIFF[..], &more].concat(), &BTreeMap::new(), &[("choke", "current")]);
    near(harmonic(&found.column(0), 0.02), 10.0 * SQRT_2, 2e-2, "line current");
}
