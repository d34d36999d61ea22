//! Channel currents that several transistors share.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::scalar::Scalar;

/// The square law, the same with drain and source exchanged: K·(u·v − v²/2)·(1 + λ|vds|) with u the gate's overdrive
/// against the lower of the two ends and v = min(|vds|, u), and nothing for u ≤ 0 (Shichman & Hodges, IEEE JSSC SC-3
/// (1968) 285). Arguments: vds and vgs in V, threshold or pinch-off in V, K in A/V², λ in 1/V. C¹, also at vds = 0.
#[inline(always)]
pub fn square_law<L: Lane, S: Scalar<L>>(vds: S, vgs: S, threshold: L, k: L, lambda: L) -> S {
    let zero = L::splat(0.0);
    let back = vds.value().lt(zero);
    let size = S::select(back, -vds, vds);
    let over = (S::select(back, vgs - vds, vgs) - threshold).at_least(zero);
    let v = S::select(size.value().lt(over.value()), size, over);
    let i = (over - v * L::splat(0.5)) * v * (size * lambda + L::splat(1.0)) * k;
    S::select(back, -i, i)
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
    let w = one + e;
    let inverse = one / w;
    // ln(1 + e) with the rounding of 1 + e given back, so that the tail keeps its digits (Kahan's trick).
    let tail = w.ln() + (e - (w - one)) * inverse;
    let value = L::select(far, head, head + width * tail);
    let slope = L::select(far, step, inverse * L::select(ahead, one, e));
    x.mapped(value, slope)
}
