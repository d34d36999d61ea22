//! Foster terms of a transient thermal impedance: Z(t) = Σ R·(1 − e^(−t/τ)), fitted to points.

use crate::extract::least_squares::{Problem, minimise};

/// The most terms that are tried.
const MOST: usize = 8;
/// A further term must make the sum of squares smaller by this factor.
const WORTH: f64 = 0.5;

/// Z at an instant t (s), K/W.
pub fn impedance(terms: &[(f64, f64)], t: f64) -> f64 {
    terms.iter().map(|(r, tau)| -r * (-t / tau).exp_m1()).sum()
}

struct Terms<'p> {
    points: &'p [(f64, f64)],
}

fn terms(u: &[f64]) -> Vec<(f64, f64)> {
    u.chunks_exact(2).map(|c| (c[0].clamp(-300.0, 300.0).exp(), c[1].clamp(-300.0, 300.0).exp())).collect()
}

impl Problem for Terms<'_> {
    fn residuals(&mut self, u: &[f64]) -> Vec<f64> {
        let terms = terms(u);
        self.points.iter().map(|&(t, z)| impedance(&terms, t) / z - 1.0).collect()
    }
}

/// As many terms as the points support, time constants ascending. Two coordinates a term, so there are at most half as
/// many terms as points; none for fewer than two points.
pub fn fit(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let (Some(first), Some(last)) = (points.first(), points.last()) else { return Vec::new() };
    let mut best: Option<(f64, Vec<(f64, f64)>)> = None;
    for n in 1..=(points.len() / 2).min(MOST) {
        // Time constants spread over the times of the points, the rise of Z shared as the points have it.
        let ratio = (last.0 / first.0).max(1.0 + 1e-9).ln();
        let knots: Vec<f64> = (0..n).map(|k| first.0 * (ratio * (k as f64 + 0.5) / n as f64).exp()).collect();
        let mut start = Vec::new();
        let mut before = 0.0;
        for (k, tau) in knots.iter().enumerate() {
            let bound = if k + 1 < n { (tau * knots[k + 1]).sqrt() } else { last.0 };
            let reached = points.iter().take_while(|p| p.0 <= bound).last().map_or(before, |p| p.1);
            start.extend([(reached - before).max(1e-3 * last.1).ln(), tau.ln()]);
            before = reached;
        }
        let mut problem = Terms { points };
        let found = minimise(&mut problem, &start, 200);
        let sum: f64 = problem.residuals(&found.u).iter().map(|r| r * r).sum();
        if best.as_ref().is_some_and(|b| sum > WORTH * b.0 || b.0 < 1e-20 * points.len() as f64) {
            break;
        }
        best = Some((sum, terms(&found.u)));
    }
    let mut out = best.map(|b| b.1).unwrap_or_default();
    out.sort_by(|a, b| a.1.total_cmp(&b.1));
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn terms_come_back() {
        let made = [(0.03, 1e-4), (0.06, 2e-3), (0.11, 4e-2)];
        let points: Vec<_> = (0..25)
            .map(|k| 1e-5 * 10f64.powf(f64::from(k) * 0.2))
            .map(|t| (t, impedance(&made, t)))
            .collect();
        let found = fit(&points);
        assert_eq!(found.len(), 3, "{found:?}");
        for (a, b) in found.iter().zip(made) {
            assert!((a.0 / b.0 - 1.0).abs() < 1e-6 && (a.1 / b.1 - 1.0).abs() < 1e-6, "{found:?}");
        }
    }
}
