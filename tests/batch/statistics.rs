//! Bounds against SciPy, Sobol indices against a published closed form.

use std::f64::consts::PI;

use joulestep::batch::indices::estimate;
use joulestep::batch::sample::sensitivity;
use joulestep::batch::statistics::clopper_pearson;

/// SciPy 1.17.1: `beta.ppf(a, k, n - k + 1)` and `beta.ppf(1 - a, k + 1, n - k)`, a = (1 - confidence) / 2.
#[test]
fn clopper_pearson_bounds_are_those_of_scipy() {
    let cases = [
        (0, 20, 0.95, 0.0, 0.1684334709830853),
        (20, 20, 0.95, 0.8315665290169147, 1.0),
        (3, 20, 0.95, 0.032070937185463715, 0.37892682654531396),
        (950, 1000, 0.95, 0.9346095120845064, 0.9626646023953382),
        (9990, 10000, 0.99, 0.9978614365175614, 0.9996282095607157),
        (1, 2, 0.9, 0.025320565519103604, 0.9746794344808963),
    ];
    for (k, n, confidence, lower, upper) in cases {
        let found = clopper_pearson(k, n, confidence);
        assert!((found.0 - lower).abs() < 1e-11 && (found.1 - upper).abs() < 1e-11, "{k} of {n}: {found:?}");
    }
}

/// Ishigami & Homma (1990): f = sin x₁ + a sin² x₂ + b x₃⁴ sin x₁ on (−π, π)³. With a = 7, b = 0.1 its variance is
/// a²/8 + bπ⁴/5 + b²π⁸/18 + 1/2; V₁ = (1 + bπ⁴/5)²/2, V₂ = a²/8, V₁₃ = b²π⁸ (1/18 − 1/50) (Saltelli et al., Global
/// Sensitivity Analysis: The Primer, 2008).
#[test]
fn ishigami_indices_are_those_of_the_closed_form() {
    let (a, b) = (7.0, 0.1);
    let base = 1 << 14;
    let points = sensitivity(base, 3, 1);
    let f = |u: &[f64]| {
        let x: Vec<f64> = u.iter().map(|u| PI * (2.0 * u - 1.0)).collect();
        x[0].sin() + a * x[1].sin().powi(2) + b * x[2].powi(4) * x[0].sin()
    };
    let mut values: Vec<f64> = points.chunks(3).map(f).collect();
    let (p4, p8) = (PI.powi(4), PI.powi(8));
    let v1 = 0.5 * (1.0 + b * p4 / 5.0).powi(2);
    let v2 = a * a / 8.0;
    let v13 = b * b * p8 * (1.0 / 18.0 - 1.0 / 50.0);
    let variance = v1 + v2 + v13;
    assert!((variance - (a * a / 8.0 + b * p4 / 5.0 + b * b * p8 / 18.0 + 0.5)).abs() < 1e-12);
    let first = [v1, v2, 0.0].map(|v| v / variance);
    let total = [v1 + v13, v2, v13].map(|v| v / variance);
    let found = estimate(&values, 3).unwrap();
    println!("first {:.4?} (exact {first:.4?}), total {:.4?} (exact {total:.4?})", found.first, found.total);
    assert_eq!(found.points, base);
    for k in 0..3 {
        assert!((found.first[k] - first[k]).abs() < 5e-3, "first of {k}: {}, {}", found.first[k], first[k]);
        assert!((found.total[k] - total[k]).abs() < 5e-3, "total of {k}: {}, {}", found.total[k], total[k]);
    }
    // A failed variant takes its base point with it, no more.
    values[7] = f64::NAN;
    assert_eq!(estimate(&values, 3).unwrap().points, base - 1);
    assert!(estimate(&vec![2.0; 50], 3).is_none());
}
