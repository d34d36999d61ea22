//! Devices in parallel that differ: how they share a current, cold, in the steady state, and while they heat.

use super::{Carried, Conducts, HeatPath, MOST_DIES};
use crate::model::Value;
use crate::part::Part;

/// One of several devices in parallel, each on its own path to a common heatsink.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Share {
    /// Its current, A.
    pub current: f64,
    /// Junction temperatures, °C.
    pub celsius: [f64; MOST_DIES],
    /// Heat of its dies, W.
    pub power: [f64; MOST_DIES],
}

/// A part whose on-resistance is lower by a share, and whose threshold is lower by `threshold`, V. The model states its
/// resistance at a gate voltage whatever the threshold, so the channel of a lower threshold gets the resistance that
/// its overdrive makes of it: R ~ 1/(v_GS − V_th).
pub fn deviating(part: &Part, resistance: f64, threshold: f64) -> Part {
    let mut other = part.clone();
    let prefix = part.gate_prefix();
    let of = |key: &str| part.values.maybe(&format!("{prefix}{key}"));
    let drift = of("drift-share").unwrap_or(0.0);
    let channel = match (of("on-gate-voltage"), of("threshold")) {
        (Some(gate), Some(own)) if gate > own => (gate - own) / (gate - own + threshold),
        _ => 1.0,
    };
    for (key, value) in &mut other.values.0 {
        if let Value::Number(x) = value {
            if key.ends_with("on-resistance") {
                *x *= 1.0 - resistance;
            }
            match key.strip_prefix(prefix).unwrap_or("") {
                "on-resistance" => *x *= drift + (1.0 - drift) * channel,
                "threshold" => *x -= threshold,
                _ => {}
            }
        }
    }
    other
}

/// Drops and currents agree to this fraction.
const EXACT: f64 = 1e-11;
/// Rounds of the temperatures.
const ROUNDS: usize = 2000;

/// The currents of devices at given junction temperatures with one drop for all, so that they sum to `total`, A.
/// `None`: they saturate.
pub fn split<C: Conducts>(
    parts: &[C],
    total: f64,
    celsius: &[[f64; MOST_DIES]],
) -> Option<Vec<(f64, Carried)>> {
    // The current of one device at a drop: the inverse of its law.
    let current_at = |k: usize, drop: f64| -> f64 {
        let (mut low, mut high) = (0.0, total);
        let at = |i: f64| parts[k].carry(i, &celsius[k][..parts[k].dies()]).map(|c| c.drop);
        if at(high).is_some_and(|d| d <= drop) {
            return high;
        }
        for _ in 0..200 {
            let middle = 0.5 * (low + high);
            match at(middle) {
                Some(d) if d <= drop => low = middle,
                _ => high = middle,
            }
            if high - low <= EXACT * total {
                break;
            }
        }
        0.5 * (low + high)
    };
    let sum_at = |drop: f64| (0..parts.len()).map(|k| current_at(k, drop)).sum::<f64>();
    let (mut low, mut high) = (0.0, 1e-3);
    while sum_at(high) < total {
        (low, high) = (high, 2.0 * high);
        if high > 1e4 {
            return None;
        }
    }
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if sum_at(middle) < total {
            low = middle
        } else {
            high = middle
        }
        if high - low <= EXACT * high {
            break;
        }
    }
    let drop = 0.5 * (low + high);
    let currents = (0..parts.len()).map(|k| current_at(k, drop));
    let carried = |(k, i): (usize, f64)| parts[k].carry(i, &celsius[k][..parts[k].dies()]).map(|c| (i, c));
    currents.enumerate().map(carried).collect()
}

/// The steady state of devices in parallel: each on its own resistances from the dies to the heatsink (K/W, rise of
/// die a per watt in die b), the heatsink at `sink` °C plus `common` K/W times the heat of all. `None`: there is none.
#[inline(never)]
pub fn steady<C: Conducts>(
    parts: &[C],
    resistances: &[[[f64; MOST_DIES]; MOST_DIES]],
    (sink, common): (f64, f64),
    total: f64,
) -> Option<Vec<Share>> {
    let mut celsius = vec![[sink; MOST_DIES]; parts.len()];
    for _ in 0..ROUNDS {
        let shares = split(parts, total, &celsius)?;
        let all: f64 = shares.iter().map(|s| s.1.power.iter().sum::<f64>()).sum();
        let mut moved: f64 = 0.0;
        for (k, (_, carried)) in shares.iter().enumerate() {
            for a in 0..parts[k].dies() {
                let own: f64 = (0..parts[k].dies()).map(|b| resistances[k][a][b] * carried.power[b]).sum();
                let next = sink + common * all + own;
                let known = next <= parts[k].hottest_known();
                if !known {
                    return None;
                }
                moved = moved.max((next - celsius[k][a]).abs());
                celsius[k][a] = next;
            }
        }
        if moved < 1e-8 {
            let share = |(k, (current, carried)): (usize, (f64, Carried))| Share {
                current,
                celsius: celsius[k],
                power: carried.power,
            };
            return Some(shares.into_iter().enumerate().map(share).collect());
        }
    }
    None
}

/// While they heat from the cold start, each on its own copy of the path (a heatsink that they share would have to be
/// in it): the shares at ascending times, s, with `steps` steps from each time to the next. Ends where they saturate.
#[inline(never)]
pub fn course<C: Conducts>(
    parts: &[C],
    path: &HeatPath,
    total: f64,
    times: &[f64],
    steps: usize,
) -> Vec<(f64, Vec<Share>)> {
    let mut heaters: Vec<_> = parts.iter().map(|_| path.start(&[])).collect();
    let mut celsius = vec![[0.0; MOST_DIES]; parts.len()];
    celsius.iter_mut().for_each(|c| c[..path.cold().len()].copy_from_slice(path.cold()));
    let mut out = Vec::new();
    let mut then = 0.0;
    for &t in times {
        // Each with the split at its start: currents move slowly.
        for _ in 0..steps {
            let Some(shares) = split(parts, total, &celsius) else { return out };
            let dt = (t - then) / steps as f64;
            for (j, (_, carried)) in shares.iter().enumerate() {
                let dies = parts[j].dies();
                heaters[j].advance(dt, &path.powers(&carried.power[..dies]));
                path.read(&heaters[j], &mut celsius[j][..dies]);
            }
        }
        then = t;
        let Some(shares) = split(parts, total, &celsius) else { return out };
        let share = |(j, (current, carried)): (usize, (f64, Carried))| Share {
            current,
            celsius: celsius[j],
            power: carried.power,
        };
        out.push((t, shares.into_iter().enumerate().map(share).collect()));
    }
    out
}
