//! What can be asked of a network without running it.

use super::super::network::FosterTerm;
use super::Modal;
use crate::arithmetic::lane::Lane;

impl<L: Lane> Modal<L> {
    /// (V of one input · V of another), mode by mode.
    fn pairs(&self, at: usize, from: usize) -> impl Iterator<Item = (L, L)> + '_ {
        let n = self.rates.len();
        let (a, b) = (&self.ports[at * n..(at + 1) * n], &self.ports[from * n..(from + 1) * n]);
        a.iter().zip(b).zip(&self.rates).map(|((a, b), rate)| (*a * *b, *rate))
    }

    /// Transient thermal impedance Z_th(t), K/W: rise of input `at` after `t` seconds of 1 W at input `from` (equal:
    /// self, else mutual). Zero for t < 0. Panics on an input that does not exist.
    #[inline(never)]
    pub fn step_response(&self, t: f64, at: usize, from: usize) -> L {
        if t < 0.0 {
            return L::default();
        }
        let mut z = self.direct[at * self.inputs.len() + from];
        for (product, rate) in self.pairs(at, from) {
            z += product / rate * approach(rate * L::splat(t));
        }
        z
    }

    /// Steady-state resistance, K/W: rise of input `at` per watt at input `from`. Panics on an input that does not
    /// exist.
    #[inline(never)]
    pub fn steady_resistance(&self, at: usize, from: usize) -> L {
        let direct = self.direct[at * self.inputs.len() + from];
        self.pairs(at, from).fold(direct, |sum, (product, rate)| sum + product / rate)
    }

    /// Steady-state resistance matrix, K/W, row-major: entry (i, j) is the rise of input i per watt at input j.
    #[inline(never)]
    pub fn steady_resistances(&self) -> Vec<L> {
        let m = self.inputs.len();
        (0..m * m).map(|k| self.steady_resistance(k / m, k % m)).collect()
    }

    /// Thermal impedance for power varying as cos(ωt), K/W, as real and imaginary part of
    /// Σ v·v/(λ + jω) + D. `omega` in rad/s. Panics on an input that does not exist.
    #[inline(never)]
    pub fn impedance(&self, omega: f64, at: usize, from: usize) -> (L, L) {
        let mut re = self.direct[at * self.inputs.len() + from];
        let mut im = L::default();
        let w = L::splat(omega);
        for (product, rate) in self.pairs(at, from) {
            let square = rate * rate + w * w;
            re += product * rate / square;
            im += -(product * w / square);
        }
        (re, im)
    }
}

impl Modal<f64> {
    /// The Foster terms of the rise of input `at` from heat at input `from`, fastest first; terms of zero resistance
    /// left out. Self terms are positive; a mutual term may be negative. Panics on an input that does not exist.
    pub fn foster_terms(&self, at: usize, from: usize) -> Vec<FosterTerm> {
        let direct =
            FosterTerm { resistance: self.direct[at * self.inputs.len() + from], time_constant: 0.0 };
        let delayed = self
            .pairs(at, from)
            .map(|(product, rate)| FosterTerm { resistance: product / rate, time_constant: 1.0 / rate });
        std::iter::once(direct).chain(delayed).filter(|t| t.resistance != 0.0).collect()
    }
}

/// 1 − e^(−x) for x ≥ 0, to its own digits however small x is: for x < 1 as x·(1 − lag) with the series
/// lag = x/2! − x²/3! + … (remainder below 1e-17), which does not cancel; above, the closed form.
#[inline]
pub(in super::super) fn approach<L: Lane>(x: L) -> L {
    let one = L::splat(1.0);
    let s = x.min(one);
    let mut series = L::splat(1.0 / 19.0);
    for k in (2..19).rev() {
        series = (one - s * series) * L::splat(1.0 / k as f64);
    }
    // Now series = 1/2 − s/6 + s²/24 − …
    let near = s * (one - s * series);
    L::select(L::lt(x, one), near, one - (-x).exp())
}
