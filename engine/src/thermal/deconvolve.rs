//! The spectrum of time constants of a measured impedance, by deconvolution: what its structure function is made of.
//!
//! With z = ln t, da/dz = ∫R(ζ)·w(z − ζ) dζ, w(x) = exp(x − e^x): every time constant e^ζ shows as one and the same
//! pulse (Székely & Van Bien, Solid-State Electron. 31 (1988) 1363). R(ζ) ≥ 0 is found by Bayesian iteration
//! (Richardson, J. Opt. Soc. Am. 62 (1972) 55; Lucy, Astron. J. 79 (1974) 745), as JESD51-14 describes it: what is there at
//! first is multiplied, so nothing becomes negative, and few iterations leave noise alone.

use super::network::FosterTerm;

/// Time constants per decade.
const PER_DECADE: f64 = 20.0;
/// By how much time constants go beyond the first and the last point, in units of ln t.
const BEYOND: [f64; 2] = [2.0, 1.0];
/// Shares of the whole resistance below this are none.
const NOTHING: f64 = 1e-12;

/// How one time constant shows in da/dz, at a distance in ln t.
fn pulse(x: f64) -> f64 {
    (x - x.exp()).exp()
}

/// The spectrum of a curve that ends at `end` K/W, from its slope da/dz at a time (s), over the times from `first` to
/// `last`, after so many iterations.
pub(super) fn spectrum(
    slope: impl Fn(f64) -> Option<f64>,
    (first, last): (f64, f64),
    end: f64,
    iterations: usize,
) -> Vec<FosterTerm> {
    let step = 10f64.ln() / PER_DECADE;
    let even = |from: f64, to: f64| {
        let count = ((to - from) / step).floor().max(0.0) as usize;
        (0..=count).map(move |k| from + step * k as f64)
    };
    let (first, last) = (first.ln(), last.ln());
    let seen: Vec<(f64, f64)> =
        even(first, last).filter_map(|z| Some((z, slope(z.exp())?.max(0.0)))).collect();
    let places: Vec<f64> = even(first - BEYOND[0], last + BEYOND[1]).collect();
    let weights: Vec<Vec<f64>> =
        seen.iter().map(|(z, _)| places.iter().map(|zeta| step * pulse(z - zeta)).collect()).collect();
    let mut norm = vec![0.0; places.len()];
    for row in &weights {
        norm.iter_mut().zip(row).for_each(|(n, w)| *n += w);
    }
    let mut density = vec![end / (places.len() as f64 * step); places.len()];
    let mut factor = vec![0.0; places.len()];
    for _ in 0..iterations {
        factor.fill(0.0);
        for (row, (_, slope)) in weights.iter().zip(&seen) {
            let now: f64 = row.iter().zip(&density).map(|(w, r)| w * r).sum();
            let by = slope / now.max(f64::MIN_POSITIVE);
            factor.iter_mut().zip(row).for_each(|(f, w)| *f += w * by);
        }
        for (r, (f, n)) in density.iter_mut().zip(factor.iter().zip(&norm)) {
            *r *= f / n.max(f64::MIN_POSITIVE);
        }
    }
    let sum: f64 = density.iter().sum();
    let terms = places.iter().zip(&density).filter(|(_, r)| **r > NOTHING * sum);
    terms.map(|(z, r)| FosterTerm { resistance: end * r / sum, time_constant: z.exp() }).collect()
}
