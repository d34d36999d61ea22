//! The charge of reverse recovery that charge control gives for a current ramp.

use crate::model::{CELSIUS, STATED_AT, Values};

/// Lifetime and transit time (s) at a junction temperature (°C) of a diode, of a MOSFET's body diode, or of that of a
/// cascode's MOSFET, where the values give them.
pub fn times(values: &Values, celsius: f64) -> Option<(f64, f64)> {
    let prefix = ["", "body-", "mosfet-body-"]
        .into_iter()
        .find(|p| values.maybe(&format!("{p}lifetime")).is_some())?;
    let number = |key: &str| values.maybe(&format!("{prefix}{key}"));
    let warm = (celsius + CELSIUS) / STATED_AT;
    let time = |time: &str, exponent: &str| Some(number(time)? * warm.powf(number(exponent).unwrap_or(0.0)));
    Some((time("lifetime", "lifetime-exponent")?, time("transit-time", "transit-exponent")?))
}

/// ∫ of the reverse current, C, after `forward` amperes fall at `rate` A/s, for a lifetime τ and a transit time T_M
/// (s): Lauritzen & Ma, IEEE Trans. Power Electron. 6 (1991) 188 (from memory, re-derived). While the junction
/// conducts, dq_M/dt = i − q_M/τ with i = I − a·t from q_M = τI; at t₁ the junction is empty, q_M = −T_M·i; from there
/// the current decays with 1/(1/τ + 1/T_M). The charge of the depletion layer is not in it.
pub fn charge(forward: f64, rate: f64, lifetime: f64, transit: f64) -> f64 {
    let zero = forward / rate;
    let stored = |t: f64| rate * lifetime * (zero + lifetime - t - lifetime * (-t / lifetime).exp());
    // q_M + T_M·i falls from (τ + T_M)·I; it is below zero a little after q_M alone would be.
    let left = |t: f64| stored(t) + transit * rate * (zero - t);
    let (mut a, mut b) = (zero, zero + lifetime);
    for _ in 0..200 {
        let middle = 0.5 * (a + b);
        if left(middle) > 0.0 { a = middle } else { b = middle }
    }
    let peak = rate * (0.5 * (a + b) - zero);
    let decay = lifetime * transit / (lifetime + transit);
    peak * peak / (2.0 * rate) + peak * decay
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The same by stepping the two equations.
    #[test]
    fn the_closed_form_is_the_integral() {
        let (forward, rate, lifetime, transit) = (50.0, 1e9, 80e-9, 20e-9);
        let (mut q, mut t, mut reverse) = (lifetime * forward, 0.0, 0.0);
        let dt = 2e-13;
        while t < 1.5e-6 {
            let ramp = forward - rate * t;
            let held = q + transit * ramp < 0.0;
            let i = if held { -q / transit } else { ramp };
            let slope = |q: f64, i: f64| i - q / lifetime;
            let half = q + 0.5 * dt * slope(q, i);
            let i_half = if held { -half / transit } else { ramp - 0.5 * rate * dt };
            q += dt * slope(half, i_half);
            t += dt;
            reverse += (-i).max(0.0) * dt;
        }
        let closed = charge(forward, rate, lifetime, transit);
        assert!((closed / reverse - 1.0).abs() < 1e-4, "{closed} {reverse}");
    }
}
