//! Channel currents that several transistors share.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::scalar::Scalar;

use crate::model::STATED_AT;

/// Electrons' highest velocity in 4H-SiC goes as the inverse of 1 + a·exp(T/b): a, and b in K (Roschke & Schwierz, IEEE
/// Trans. Electron Devices 48 (2001) 1442; from memory). Silicon has 0.8 in place of 0.6 (Jacoboni et al., Solid-State
/// Electron. 20 (1977) 77; from memory): at 175 °C what follows from it differs by 2 %.
const VELOCITY: [f64; 2] = [0.6, 600.0];

/// The highest velocity at 25 °C over that at a temperature in K.
pub fn slowing<L: Lane>(kelvin: L) -> L {
    let [a, b] = VELOCITY;
    let slow = |t: L| L::splat(1.0) + L::splat(a) * (t * L::splat(1.0 / b)).exp();
    slow(kelvin) / slow(L::splat(STATED_AT))
}

/// The square law, the same with drain and source exchanged: K·(u·v − v²/2)·(1 + λ|vds|) with u the gate's overdrive
/// against the lower of the two ends and v = min(|vds|, u), and nothing for u ≤ 0 (Shichman & Hodges, IEEE JSSC SC-3
/// (1968) 285). Arguments: vds and vgs in V, threshold or pinch-off in V, K in A/V², λ in 1/V. C¹, also at vds = 0.
#[inline(always)]
pub fn square_law<L: Lane, S: Scalar<L>>(vds: S, vgs: S, threshold: L, k: L, lambda: L) -> S {
    let (zero, one, half) = (L::splat(0.0), L::splat(1.0), L::splat(0.5));
    let (d, g) = (vds.value(), vgs.value());
    let back = d.lt(zero);
    let size = d.abs();
    let over = (L::select(back, g - d, g) - threshold).max(zero);
    let v = size.min(over);
    let kv = k * v;
    let shape = (over - half * v) * kv;
    let stretch = one + lambda * size;
    let i = shape * stretch;
    // By the overdrive and by the size of vds; where v = u, the channel is saturated and over − v is zero.
    let by_over = kv * stretch;
    let by_size = k * (over - v) * stretch + shape * lambda;
    let by_vds = by_size + L::select(back, by_over, zero);
    let by_vgs = L::select(back, -by_over, by_over);
    vds.joined(vgs, L::select(back, -i, i), [by_vds, by_vgs])
}

/// w·ln(1 + e^(x/w)): the overdrive that x volts above threshold leave, going smoothly to zero over the width w. What
/// lies more than 40 widths away (4e-18 of the width) is dropped, so that a channel clearly on or off costs nothing.
#[inline(always)]
pub fn overdrive<L: Lane, S: Scalar<L>>(x: S, width: L, inverse_width: L) -> S {
    let (zero, one) = (L::splat(0.0), L::splat(1.0));
    let y = x.value() * inverse_width;
    let ahead = y.gt(zero);
    let head = x.value().max(zero);
    let step = L::select(ahead, one, zero);
    let far = y.abs().ge(L::splat(40.0));
    if L::all(far) {
        return x.mapped(head, step);
    }
    let e = (-y.abs()).exp();
    let (w, double) = (one + e, L::splat(2.0) + e);
    let both = one / (w * double);
    // ln(1 + e) = 2·artanh(s) with s = e/(2 + e) ≤ 1/3, by its series (sixteen terms: the next is below 2e-17), paired
    // so that the chain is short.
    let s = e * w * both;
    let inverse = double * both;
    let z = s * s;
    let (z2, c) = (z * z, |k: usize| L::splat(1.0 / (2 * k + 1) as f64));
    let (z4, pair) = (z2 * z2, |k: usize| c(k) + z * c(k + 1));
    let (z8, four) = (z4 * z4, |k: usize| pair(k) + z2 * pair(k + 2));
    let series = (four(0) + z4 * four(4)) + z8 * (four(8) + z4 * four(12));
    let tail = (s + s) * series;
    let value = L::select(far, head, head + width * tail);
    let slope = L::select(far, step, inverse * L::select(ahead, one, e));
    x.mapped(value, slope)
}
