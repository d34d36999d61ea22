//! Device laws against published formulas and closed forms.

use crate::common::ref1::{Duty, ref1};
use crate::common::statics::solve;

/// REF-1's specification: the middle node stands at 6.99901 V before the first edge; its reference solution has
/// 6.999010137 V, and 7.00001013e-6 A through all three inductors.
#[test]
fn ref1_rests_where_its_reference_solution_starts() {
    let r = ref1::<f64>(Duty::DoublePulse).unwrap();
    let s = solve(&r.circuit);
    let [v1, v2, v3, v4, v5, v6, v7] = r.nodes.map(|n| s.v(n));
    assert!((v3 - 6.999010137).abs() < 1e-9, "middle node {v3}");
    for v in [v1, v2, v7] {
        assert!((v - 399.9999999).abs() < 1e-7);
    }
    assert!((v4 - 7.00001013e-9).abs() < 1e-15 && v5 == 0.0 && (v6 - v4).abs() < 1e-15);
    for id in r.inductors {
        assert!((s.branch(id, 0) - 7.00001013e-6).abs() < 1e-13, "{:e}", s.branch(id, 0));
    }
}
