//! Networks held against one another over time.

use super::Span;
use crate::thermal::compact::Compact;

/// Times per decade at which networks are compared.
const PER_DECADE: f64 = 8.0;

/// Times over a span, [`PER_DECADE`] in each decade.
pub(super) fn times(span: &Span) -> Vec<f64> {
    let decades = (span.longest / span.shortest).log10().max(0.0);
    let count = (decades * PER_DECADE).ceil() as usize;
    (0..=count).map(|k| span.shortest * 10f64.powf(k as f64 / PER_DECADE)).collect()
}

/// Largest difference of two networks over some times in what heat at a port does to any port, relative to the self
/// impedance of the heated one.
pub(super) fn difference(a: &Compact, b: &Compact, heated: &[bool], times: &[f64]) -> f64 {
    let mut largest = 0.0_f64;
    for t in times {
        for from in (0..heated.len()).filter(|p| heated[*p]) {
            let own = b.step_response(*t, from, from);
            for at in 0..heated.len() {
                let change = a.step_response(*t, at, from) - b.step_response(*t, at, from);
                largest = largest.max(change.abs() / own);
            }
        }
    }
    largest
}

/// Without modes that no heat input excites: what each left out does to any port is below `share` of the self
/// impedance that the faster ones make up, over the number of modes. Dropping modes keeps a network passive.
pub(super) fn trim(network: &Compact, heated: &[bool], share: f64) -> Compact {
    let (m, n) = (network.ports.len(), network.time_constants.len());
    let bound = share / n as f64;
    let mut faster: Vec<f64> = (0..m).map(|i| network.direct[i * m + i]).collect();
    let mut kept = Vec::new();
    for k in 0..n {
        let rise = |i: usize| network.rises[i * n + k];
        let largest = (0..m).map(|i| rise(i).abs()).fold(0.0, f64::max);
        let seen = |i: usize| (rise(i) * largest).abs() > bound * (faster[i] + rise(i).powi(2));
        if (0..m).any(|i| heated[i] && seen(i)) {
            kept.push(k);
        }
        (0..m).for_each(|i| faster[i] += rise(i).powi(2));
    }
    let columns = |list: &[f64]| -> Vec<f64> {
        list.chunks_exact(n).flat_map(|row| kept.iter().map(|k| row[*k])).collect()
    };
    Compact {
        time_constants: kept.iter().map(|k| network.time_constants[*k]).collect(),
        rises: columns(&network.rises),
        follows: columns(&network.follows),
        ..network.clone()
    }
}
