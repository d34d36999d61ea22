//! Sobol indices: which input moves an output, alone and with all its interactions.
//!
//! Estimators of Saltelli, Annoni, Azzini, Campolongo, Ratto & Tarantola, "Variance based sensitivity analysis of model
//! output", Computer Physics Communications 181 (2010), table 2: first order (b) and, after Jansen (1999), total (f).

use std::collections::BTreeMap;

use crate::batch::plan::Sampling;
use crate::batch::row::{Row, Status};
use crate::batch::variant::PlannedBatch;

/// Indices of one output by the inputs in their order.
#[derive(Clone, Debug, PartialEq)]
pub struct Indices {
    /// Share of the variance that goes with each input alone.
    pub first: Vec<f64>,
    /// Share of the variance that would remain if all other inputs were known.
    pub total: Vec<f64>,
    /// Base points that all their variants were run for.
    pub points: usize,
}

/// Estimates the indices from values in the order of [`crate::batch::sample::sensitivity`]: for each base point
/// f(A), f(B), f(AB₁) … f(ABₖ). Base points with a value that is not finite are left out. `None` where fewer than two
/// are left or the output does not vary.
pub fn estimate(values: &[f64], inputs: usize) -> Option<Indices> {
    let whole: Vec<&[f64]> =
        values.chunks_exact(inputs + 2).filter(|point| point.iter().all(|x| x.is_finite())).collect();
    let n = whole.len() as f64;
    if whole.len() < 2 || inputs == 0 {
        return None;
    }
    let mean = whole.iter().map(|p| p[0] + p[1]).sum::<f64>() / (2.0 * n);
    let variance =
        whole.iter().map(|p| (p[0] - mean).powi(2) + (p[1] - mean).powi(2)).sum::<f64>() / (2.0 * n);
    // Round-off alone is no variance.
    if variance <= (1e-14 * mean.abs()).powi(2) {
        return None;
    }
    // Centred values: the estimator is the same in the mean and scatters less.
    let first =
        |i: usize| whole.iter().map(|p| (p[1] - mean) * (p[2 + i] - p[0])).sum::<f64>() / (n * variance);
    let total =
        |i: usize| whole.iter().map(|p| (p[0] - p[2 + i]).powi(2)).sum::<f64>() / (2.0 * n * variance);
    Some(Indices {
        first: (0..inputs).map(first).collect(),
        total: (0..inputs).map(total).collect(),
        points: whole.len(),
    })
}

/// Indices of every output that varies, with the output's number; empty where the sampling is not for them.
pub fn of_rows(study: &PlannedBatch, rows: &BTreeMap<usize, Row>) -> Vec<(usize, Indices)> {
    if !matches!(study.plan.sampling, Sampling::Sensitivity { .. }) {
        return Vec::new();
    }
    let value = |variant: usize, output: usize| match rows.get(&variant) {
        Some(row) if row.status == Status::Done => row.outputs[output],
        _ => f64::NAN,
    };
    let of_output = |output: usize| {
        let values: Vec<f64> = (0..study.count()).map(|variant| value(variant, output)).collect();
        estimate(&values, study.plan.inputs.len()).map(|indices| (output, indices))
    };
    (0..study.outputs.len()).filter_map(of_output).collect()
}
