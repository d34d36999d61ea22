//! Steady states: the continuous current, the margin to thermal runaway, the current beyond which there is none.

use super::{Carried, Conducts, HeatPath, MOST_DIES};

/// A steady state.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Steady {
    /// Current, A.
    pub current: f64,
    /// Junction temperatures, °C.
    pub celsius: [f64; MOST_DIES],
    /// Drop and heat.
    pub carried: Carried,
    /// Thermal loop gain dP/dT·Z_th: 1 = runaway. How much a small rise of the junctions returns as heat
    /// (largest eigenvalue of R_th·∂P/∂T). At 1 there is no steady state any more.
    pub loop_gain: f64,
}

/// Iterations before it is taken for none; each doubles the digits, but for close to the last steady state.
const ROUNDS: usize = 200;
/// Change of a junction temperature at which it has been found, K.
const FOUND: f64 = 1e-9;
/// Step of the derivative with respect to temperature, K.
const STEP: f64 = 0.05;
/// The current is found to this fraction.
const EXACT: f64 = 1e-9;

/// ∂(rise of die a)/∂(temperature of die b); `None` where the part saturates.
type Slopes = [[f64; MOST_DIES]; MOST_DIES];

/// The steady state at a current, A, with further losses in each die, W (of switching): T = T_cold + R_th·P(I, T).
/// Newton's iteration from the cold end rises to the lower of the solutions: heat grows ever faster with temperature,
/// so no tangent reaches beyond it. `None` where there is no solution within the temperatures at which the law is
/// known, or the part saturates.
#[inline(never)]
pub fn steady<C: Conducts + ?Sized>(
    part: &C,
    path: &HeatPath,
    current: f64,
    further: &[f64],
) -> Option<Steady> {
    let dies = part.dies();
    let mut celsius = [0.0; MOST_DIES];
    celsius[..dies].copy_from_slice(path.cold());
    for _ in 0..ROUNDS {
        let carried = part.carry(current, &celsius[..dies])?;
        let m = slopes(part, path, current, &celsius[..dies])?;
        let mut left = [0.0; MOST_DIES];
        for (a, left) in left.iter_mut().enumerate().take(dies) {
            let heat = |d: usize| carried.power[d] + further.get(d).copied().unwrap_or(0.0);
            let rise: f64 = (0..dies).map(|d| path.resistance(a, d) * heat(d)).sum();
            *left = path.cold()[a] + rise - celsius[a];
        }
        let loop_gain = largest_eigenvalue(&m);
        if left.iter().all(|r| r.abs() < FOUND) {
            return Some(Steady { current, celsius, carried, loop_gain });
        }
        let stable = loop_gain < 1.0;
        if !stable {
            // The curve of the heat is as steep as the straight line of the heat path, and still above it.
            return None;
        }
        // (1 − M)·Δ = left.
        let [a, b, c, d] = [1.0 - m[0][0], -m[0][1], -m[1][0], 1.0 - m[1][1]];
        let determinant = a * d - b * c;
        let change = [(d * left[0] - b * left[1]) / determinant, (a * left[1] - c * left[0]) / determinant];
        for k in 0..dies {
            celsius[k] += change[k];
            let known = celsius[k] <= part.hottest_known();
            if !known {
                return None;
            }
        }
        if change.iter().all(|x| x.abs() < FOUND) {
            let carried = part.carry(current, &celsius[..dies])?;
            return Some(Steady { current, celsius, carried, loop_gain });
        }
    }
    None
}

fn slopes<C: Conducts + ?Sized>(part: &C, path: &HeatPath, current: f64, celsius: &[f64]) -> Option<Slopes> {
    let dies = part.dies();
    let heat = |k: usize, shift: f64| {
        let mut at = [0.0; MOST_DIES];
        at[..dies].copy_from_slice(celsius);
        at[k] += shift;
        part.carry(current, &at[..dies]).map(|c| c.power)
    };
    let mut m = [[0.0; MOST_DIES]; MOST_DIES];
    for b in 0..dies {
        let (up, down) = (heat(b, STEP)?, heat(b, -STEP)?);
        for (a, row) in m.iter_mut().enumerate().take(dies) {
            row[b] = (0..dies).map(|d| path.resistance(a, d) * (up[d] - down[d]) / (2.0 * STEP)).sum();
        }
    }
    Some(m)
}

/// Both eigenvalues of a matrix of two rows are real where its off-diagonal entries have one sign.
fn largest_eigenvalue(m: &Slopes) -> f64 {
    let (half, determinant) = (0.5 * (m[0][0] + m[1][1]), m[0][0] * m[1][1] - m[0][1] * m[1][0]);
    half + (half * half - determinant).max(0.0).sqrt()
}

/// The largest current for which `good` holds of its steady state, A; `None` where even a microampere is too much.
fn largest(
    good: impl Fn(&Steady) -> bool,
    state: impl Fn(f64) -> Option<Steady>,
) -> Option<(f64, Option<Steady>)> {
    let held = |i: f64| state(i).filter(|s| good(s));
    let (mut low, mut high) = (0.0, 1e-6);
    let mut best = None;
    while let Some(s) = held(high) {
        best = Some(s);
        (low, high) = (high, 2.0 * high);
        if high > 1e7 {
            return Some((low, best));
        }
    }
    best?;
    while high - low > EXACT * high {
        let middle = 0.5 * (low + high);
        match held(middle) {
            Some(s) => (low, best) = (middle, Some(s)),
            None => high = middle,
        }
    }
    Some((low, best))
}

/// The continuous current: the largest whose steady junctions stay within `hottest`, °C. `None` where the boundary
/// alone is hotter.
#[inline(never)]
pub fn continuous<C: Conducts + ?Sized>(
    part: &C,
    path: &HeatPath,
    hottest: f64,
    further: &[f64],
) -> Option<Steady> {
    let within = |s: &Steady| s.celsius[..part.dies()].iter().all(|&t| t <= hottest);
    largest(within, |i| steady(part, path, i, further)).and_then(|found| found.1)
}

/// The current beyond which no steady state exists, A, whatever the junctions might stand: runaway, or saturation, or
/// (where the law is known no further) the current that reaches that temperature.
#[inline(never)]
pub fn runaway<C: Conducts + ?Sized>(part: &C, path: &HeatPath, further: &[f64]) -> Option<f64> {
    largest(|_| true, |i| steady(part, path, i, further)).map(|found| found.0)
}
