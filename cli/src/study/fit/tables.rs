//! Tables and figure of a fit.

use joulestep_models::extract::certainty::Certainty;

use super::begin::{Begin, Parameter};
use super::problem::Fitted;
use crate::output::answer::{Study, StudyTable, overlay};
use crate::output::table::{OF_ROW, Rows, UNIT};

pub(super) fn study(
    begin: &Begin,
    fitted: &Fitted,
    (errors, certain): (&[f64], &Certainty),
    noise: &[f64],
) -> Study {
    let all: Vec<(usize, &Parameter)> = begin.parameters.iter().enumerate().collect();
    let parameters = Rows::of(&all)
        .text("parameter", |(_, p)| p.path.path.clone())
        .text(UNIT, |(_, p)| p.path.unit.clone())
        .number("start", "start", OF_ROW, |(_, p)| p.start)
        .number("value", "fitted", OF_ROW, |(k, _)| fitted.values[*k])
        .number("standard_error", "standard error", OF_ROW, |(k, _)| errors[*k])
        .number("relative", "relative", "1", |(k, p)| {
            Some((errors[*k] / fitted.values[*k]).abs()).filter(|_| !p.linear)
        })
        .table();
    let pairs = all.iter().flat_map(|(k, p)| all[..*k].iter().map(move |(j, q)| (*k, *p, *j, *q)));
    let correlations = Rows::of(pairs)
        .text("parameter", |(_, p, ..)| p.path.path.clone())
        .text("with", |(.., q)| q.path.path.clone())
        .number("correlation", "correlation", "1", |(k, _, j, _)| certain.correlation[*k][*j])
        .table();
    let channels = fitted.overlays.iter().zip(&fitted.rests).zip(noise);
    let channels = Rows::of(channels)
        .text("signal", |((o, _), _)| o.name())
        .text(UNIT, |((o, _), _)| o.unit.clone())
        .number("noise", "noise", OF_ROW, |(_, noise)| **noise)
        .number("rms_over_noise", "rms over noise", "1", |((o, _), noise)| o.rms() / **noise)
        .number("correlation", "correlation", "1", |((_, rest), _)| rest.correlation)
        .number("enlarged", "errors enlarged", "1", |((_, rest), _)| rest.enlarged())
        .table();
    Study {
        tables: vec![
            StudyTable::new("parameters", "Fitted values", 1, parameters),
            overlay::table(&fitted.overlays),
            StudyTable::new("noise", "What is left of each channel", 1, channels),
            StudyTable::new("correlations", "Correlations of the fitted values", 2, correlations),
            overlay::residuals(&fitted.overlays),
        ],
        figures: vec![overlay::figure("Measured, and the fitted run", &fitted.overlays)],
        definitions: DEFINITIONS.map(|(a, b)| (a.to_string(), b.to_string())).to_vec(),
        conditions: vec![
            "The circuit is taken as right but for the fitted values; what it lacks goes into them.".into(),
            "Noise is taken as the same over a channel, without correlation between channels.".into(),
        ],
        ..Study::default()
    }
}

const DEFINITIONS: [(&str, &str); 4] = [
    (
        "standard error",
        "square root of the diagonal of the inverse of JᵀJ, J the derivatives of the residuals over their noise",
    ),
    (
        "noise",
        "standard deviation of a channel as stated, else root of the sum of its squared residuals over its degrees of \
         freedom",
    ),
    ("correlation of a channel", "of its residuals with those one sample later"),
    (
        "errors enlarged",
        "√((1 + ρ)/(1 − ρ)) of a channel whose residuals correlate by ρ, more than two standard deviations above 0",
    ),
];
