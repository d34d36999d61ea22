//! Measured points of a thermal impedance.

use joulestep_engine::thermal::convert::{cauer_to_foster, foster_to_cauer};
use joulestep_engine::thermal::fit::{Fit, FitError, fit};
use joulestep_engine::thermal::network::CauerCell;

/// Points, the Foster network through them, and its Cauer ladder.
#[derive(Clone, Debug)]
pub struct Points {
    /// (s, K/W).
    pub points: Vec<(f64, f64)>,
    /// The fit.
    pub fit: Fit,
    /// The ladder with the same impedance.
    pub cells: Vec<CauerCell>,
    /// Largest relative difference of resistances and time constants after going to the ladder and back.
    pub round_trip: f64,
}

/// What is wrong with a file of points.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PointsError {
    /// A line that is no pair of numbers.
    #[error("line {line}: `{text}` is not a pair of numbers; expected seconds and K/W")]
    NotAPair {
        /// Its number.
        line: usize,
        /// What stands there.
        text: String,
    },
    /// Points that no impedance has.
    #[error("line {line}: {error}")]
    Fit {
        /// Line of the point.
        line: usize,
        /// What is wrong.
        error: FitError,
    },
    /// The fit cannot be converted.
    #[error("the fit cannot be converted: {0}")]
    Convert(String),
}

/// Reads points and fits them with at most `most` terms. A first line of words is taken for a heading.
///
/// # Errors
/// [`PointsError`], with the line.
pub fn read_points(text: &str, most: Option<usize>) -> Result<Points, PointsError> {
    let mut points = Vec::new();
    let mut lines = Vec::new();
    for (k, typed) in text.lines().enumerate() {
        let content = typed.split('#').next().unwrap_or("").trim().trim_start_matches('\u{feff}');
        if content.is_empty() {
            continue;
        }
        let words: Vec<&str> = content
            .split(|c: char| matches!(c, ',' | ';') || c.is_whitespace())
            .filter(|w| !w.is_empty())
            .collect();
        let numbers: Vec<f64> = words.iter().filter_map(|w| w.parse().ok()).collect();
        match (words.len(), numbers.as_slice()) {
            (2, [time, impedance]) => {
                points.push((*time, *impedance));
                lines.push(k + 1);
            }
            (_, []) if points.is_empty() && lines.is_empty() => {}
            _ => {
                let text: String = content.chars().take(40).collect();
                return Err(PointsError::NotAPair { line: k + 1, text });
            }
        }
    }
    let fit = fit(&points, most).map_err(|error| {
        let point = match error {
            FitError::TooFew { .. } => points.len(),
            FitError::NotPositive { point, .. }
            | FitError::NotLater { point, .. }
            | FitError::Falls { point, .. } => point,
        };
        let line = point.checked_sub(1).and_then(|k| lines.get(k).copied()).unwrap_or(1);
        PointsError::Fit { line, error }
    })?;
    let convert = |e: joulestep_engine::thermal::error::ThermalError| PointsError::Convert(e.to_string());
    let cells = foster_to_cauer(&fit.terms).map_err(convert)?;
    let back = cauer_to_foster(&cells).map_err(convert)?;
    let round_trip = fit
        .terms
        .iter()
        .zip(&back)
        .flat_map(|(a, b)| [b.resistance / a.resistance - 1.0, b.time_constant / a.time_constant - 1.0]);
    let round_trip = round_trip.map(f64::abs).fold(0.0, f64::max);
    Ok(Points { points, fit, cells, round_trip })
}
