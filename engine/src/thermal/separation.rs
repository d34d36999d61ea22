//! Where two transient thermal impedances of one part on two interfaces part: the dual-interface evaluation of the
//! thermal resistance from junction to case (JESD51-14, 2010, section 4: transient dual interface measurement), by both
//! of its ways.
//!
//! **By derivatives.** With z = ln t and a(z) = Z_th, δ = (da₁/dz − da₂/dz)/(Z₁(∞) − Z₂(∞)) is nothing while the heat has not reached the
//! interface. What is read is Z₁ where δ rises, for good until its maximum, above the line 0.0045 W/K·Z + 0.003.
//!
//! **By structure functions.** Thermal resistance against heat capacitance from the junction outwards is the same for both
//! up to the interface. What is read is where the resistances at one heat capacitance differ, for good until the largest
//! difference, by a share of what the ends differ by.

use super::convert::foster_to_cauer;
use super::deconvolve::spectrum;
use super::pulses::structure_function;

/// Slope of the separation criterion, W/K, and its value at zero resistance.
const CRITERION: [f64; 2] = [0.0045, 0.003];
/// Half the span of ln t over which a derivative is taken: a tenth of a decade of time has half as many points.
const HALF: f64 = 0.5;
/// The same before a deconvolution, which smooths by itself.
const NARROW: f64 = 0.25;
/// Points of a local parabola, at least.
const LEAST: usize = 4;

/// Share of the difference of the ends at which structure functions have parted.
const PARTED: f64 = 0.03;
/// Iterations of a deconvolution.
const ITERATIONS: usize = 1000;
/// Places at which structure functions are compared.
const PLACES: usize = 2000;

/// One instant of both curves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Instant {
    /// s.
    pub time: f64,
    /// Z_th on the first and the second interface, K/W.
    pub impedances: [f64; 2],
    /// δ.
    pub difference: f64,
}

impl Instant {
    /// What δ is held against here.
    pub fn criterion(&self) -> f64 {
        CRITERION[0] * self.impedances[0] + CRITERION[1]
    }
}

/// Where they part.
#[derive(Debug, Clone, PartialEq)]
pub struct Separation {
    /// R_th,JC, K/W.
    pub resistance: f64,
    /// The same with half the criterion and twice it, K/W; not a number where δ does not cross it.
    pub between: [f64; 2],
    /// When, s.
    pub time: f64,
    /// Both curves at common times.
    pub course: Vec<Instant>,
}

/// Why they do not tell a resistance.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum SeparationError {
    /// Too few common times.
    #[error("the two curves have {0} points in their common time; expected at least 12")]
    TooFew(usize),
    /// They end at one resistance.
    #[error(
        "the two curves end at {0:.4} K/W and {1:.4} K/W; expected interfaces that differ by at least 5 %"
    )]
    Alike(f64, f64),
    /// They never part, or are apart from the beginning.
    #[error("the difference of the derivatives does not rise through the criterion {0}")]
    NoCrossing(&'static str),
    /// Their structure functions do not part, or are apart from the junction on.
    #[error("the structure functions {0}")]
    NotParting(&'static str),
}

/// Two curves that can be compared.
struct Pair<'a> {
    worse: &'a [(f64, f64)],
    better: &'a [(f64, f64)],
    /// Common times, s.
    span: (f64, f64),
    times: Vec<f64>,
    /// By how much their ends differ, K/W.
    steady: f64,
}

impl<'a> Pair<'a> {
    fn new(a: &'a [(f64, f64)], b: &'a [(f64, f64)]) -> Result<Self, SeparationError> {
        let end = |c: &[(f64, f64)]| c.last().map_or(0.0, |p| p.1);
        let (worse, better) = if end(a) >= end(b) { (a, b) } else { (b, a) };
        let span = match (worse, better) {
            ([w, .., w1], [b, .., b1]) => (w.0.max(b.0), w1.0.min(b1.0)),
            _ => return Err(SeparationError::TooFew(0)),
        };
        let times: Vec<f64> = worse.iter().map(|p| p.0).filter(|t| (span.0..=span.1).contains(t)).collect();
        if times.len() < 12 {
            return Err(SeparationError::TooFew(times.len()));
        }
        let steady = end(worse) - end(better);
        if steady < 0.05 * end(worse) {
            return Err(SeparationError::Alike(end(worse), end(better)));
        }
        Ok(Self { worse, better, span, times, steady })
    }
}

/// Evaluates two curves, (s, K/W) with rising times each, by their derivatives; the first is the one on the worse
/// interface, or they change places.
///
/// # Errors
/// [`SeparationError`].
pub fn separation(a: &[(f64, f64)], b: &[(f64, f64)]) -> Result<Separation, SeparationError> {
    let Pair { worse, better, times, steady, .. } = Pair::new(a, b)?;
    let at = |time: f64| {
        let ((z1, slope1), (z2, slope2)) = (local(worse, time, HALF)?, local(better, time, HALF)?);
        let difference = (slope1 - slope2) / steady;
        Some(Instant { time, impedances: [z1, z2], difference })
    };
    let course: Vec<Instant> = times.into_iter().filter_map(at).collect();
    if course.len() < LEAST {
        return Err(SeparationError::TooFew(course.len()));
    }
    let (resistance, time) = crossing(&course, 1.0)?;
    let other = |factor: f64| crossing(&course, factor).map_or(f64::NAN, |found| found.0);
    Ok(Separation { resistance, time, between: [other(0.5), other(2.0)], course })
}

/// Where the structure functions of two curves part.
#[derive(Debug, Clone, PartialEq)]
pub struct Parting {
    /// R_th,JC, K/W: the mean of both at the place.
    pub resistance: f64,
    /// Heat capacitance from the junction to there, J/K.
    pub capacitance: f64,
    /// The resistance with half the share and twice it, K/W; not a number where the difference does not cross it.
    pub between: [f64; 2],
    /// The same share after half as many iterations of the deconvolution, K/W.
    pub blurred: f64,
    /// Thermal resistance (K/W) and heat capacitance (J/K) from the junction: on the worse interface and on the better.
    pub functions: [Vec<(f64, f64)>; 2],
}

/// Evaluates two curves as [`separation`] does, by their cumulative structure functions.
///
/// # Errors
/// [`SeparationError`].
pub fn structures(a: &[(f64, f64)], b: &[(f64, f64)]) -> Result<Parting, SeparationError> {
    let pair = Pair::new(a, b)?;
    let functions = |iterations: usize| {
        [pair.worse, pair.better].map(|curve| {
            let slope = |time: f64| Some(local(curve, time, NARROW)?.1);
            let terms = spectrum(slope, pair.span, curve.last().map_or(0.0, |p| p.1), iterations);
            structure_function(&foster_to_cauer(&terms).unwrap_or_default())
        })
    };
    let found = functions(ITERATIONS);
    let (resistance, capacitance) = parting(&found, PARTED * pair.steady)?;
    let with = |of: &[Vec<(f64, f64)>; 2], factor: f64| {
        parting(of, factor * PARTED * pair.steady).map_or(f64::NAN, |found| found.0)
    };
    let blurred = with(&functions(ITERATIONS / 2), 1.0);
    let between = [with(&found, 0.5), with(&found, 2.0)];
    Ok(Parting { resistance, capacitance, between, blurred, functions: found })
}

/// Mean resistance and heat capacitance where the first structure function is last below the second plus `apart` K/W before
/// their largest difference.
fn parting(functions: &[Vec<(f64, f64)>; 2], apart: f64) -> Result<(f64, f64), SeparationError> {
    let [worse, better] = functions;
    let (low, high) = match (worse.as_slice(), better.as_slice()) {
        ([a, .., a1], [b, .., b1]) => (a.1.max(b.1).ln(), a1.1.min(b1.1).ln()),
        _ => return Err(SeparationError::TooFew(worse.len().min(better.len()))),
    };
    let place = |k: usize| {
        let capacitance = (low + (high - low) * k as f64 / PLACES as f64).exp();
        (capacitance, functions.each_ref().map(|f| resistance_at(f, capacitance)))
    };
    let places: Vec<(f64, [f64; 2])> = (0..=PLACES).map(place).collect();
    let over = |p: &(f64, [f64; 2])| p.1[0] - p.1[1] - apart;
    let most = places.iter().enumerate().max_by(|a, b| over(a.1).total_cmp(&over(b.1)));
    let peak = most.map_or(0, |m| m.0);
    if over(&places[peak]) <= 0.0 {
        return Err(SeparationError::NotParting("do not part"));
    }
    let Some(k) = (0..peak).rev().find(|k| over(&places[*k]) <= 0.0) else {
        return Err(SeparationError::NotParting("are apart from the junction on"));
    };
    let (capacitance, [worse, better]) = places[k];
    Ok((0.5 * (worse + better), capacitance))
}

/// Thermal resistance of a structure function at a heat capacitance, straight over its logarithm between points.
fn resistance_at(function: &[(f64, f64)], capacitance: f64) -> f64 {
    let after = function.partition_point(|p| p.1 < capacitance).clamp(1, function.len() - 1);
    let ((r0, c0), (r1, c1)) = (function[after - 1], function[after]);
    let share = ((capacitance / c0).ln() / (c1 / c0).ln()).clamp(0.0, 1.0);
    if share.is_finite() { r0 + share * (r1 - r0) } else { r0 }
}

/// Z₁ and the time where δ last rises through so many times the criterion before its maximum.
fn crossing(course: &[Instant], factor: f64) -> Result<(f64, f64), SeparationError> {
    let over = |i: &Instant| i.difference - factor * i.criterion();
    let most = course.iter().enumerate().max_by(|a, b| a.1.difference.total_cmp(&b.1.difference));
    let peak = most.map_or(0, |m| m.0);
    if over(&course[peak]) <= 0.0 {
        return Err(SeparationError::NoCrossing("anywhere: the curves do not part"));
    }
    let Some(k) = (0..peak).rev().find(|k| over(&course[*k]) <= 0.0) else {
        return Err(SeparationError::NoCrossing(
            "within the points: the curves are apart from their beginning",
        ));
    };
    let (low, high) = (&course[k], &course[k + 1]);
    let share = over(low) / (over(low) - over(high));
    let between = |a: f64, b: f64| a + share * (b - a);
    Ok((between(low.impedances[0], high.impedances[0]), between(low.time.ln(), high.time.ln()).exp()))
}

/// Value and slope against ln t of the parabola through the points near a time (least squares); `None` where there are too
/// few of them.
fn local(points: &[(f64, f64)], time: f64, half: f64) -> Option<(f64, f64)> {
    let near = |half: f64| {
        let all = points.iter().map(move |p| ((p.0 / time).ln(), p.1));
        all.filter(move |p| p.0.abs() <= half).collect::<Vec<_>>()
    };
    let mut chosen = near(half);
    // Sparse points: a wider view.
    for wider in [2.0, 4.0] {
        if chosen.len() < LEAST {
            chosen = near(wider * half);
        }
    }
    if chosen.len() < LEAST {
        return None;
    }
    let mut normal = nalgebra::Matrix3::zeros();
    let mut right = nalgebra::Vector3::zeros();
    for (x, y) in chosen {
        let powers = nalgebra::Vector3::new(1.0, x, x * x);
        normal += powers * powers.transpose();
        right += powers * y;
    }
    let found = normal.lu().solve(&right)?;
    Some((found[0], found[1]))
}
