//! Where two transient thermal impedances of one part on two interfaces part: the dual-interface evaluation of the
//! thermal resistance from junction to case (JESD51-14, 2010, section 4: transient dual interface measurement, by the
//! derivatives of the impedances).
//!
//! With z = ln t and a(z) = Z_th, δ = (da₁/dz − da₂/dz)/(Z₁(∞) − Z₂(∞)) is nothing while the heat has not reached the
//! interface. What is read is Z₁ where δ rises, for good until its maximum, above the line 0.0045 W/K·Z + 0.003.

/// Slope of the separation criterion, W/K, and its value at zero resistance.
const CRITERION: [f64; 2] = [0.0045, 0.003];
/// Half the span of ln t over which a derivative is taken: a tenth of a decade of time has half as many points.
const HALF: f64 = 0.5;
/// Points of a local parabola, at least.
const LEAST: usize = 4;

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
}

/// Evaluates two curves, (s, K/W) with rising times each; the first is the one on the worse interface, or they change
/// places.
///
/// # Errors
/// [`SeparationError`].
pub fn separation(a: &[(f64, f64)], b: &[(f64, f64)]) -> Result<Separation, SeparationError> {
    let end = |c: &[(f64, f64)]| c.last().map_or(0.0, |p| p.1);
    let (worse, better) = if end(a) >= end(b) { (a, b) } else { (b, a) };
    let (first, last) = match (worse, better) {
        ([w, .., w1], [b, .., b1]) => (w.0.max(b.0), w1.0.min(b1.0)),
        _ => return Err(SeparationError::TooFew(0)),
    };
    let times: Vec<f64> = worse.iter().map(|p| p.0).filter(|t| (first..=last).contains(t)).collect();
    if times.len() < 12 {
        return Err(SeparationError::TooFew(times.len()));
    }
    let steady = end(worse) - end(better);
    if steady < 0.05 * end(worse) {
        return Err(SeparationError::Alike(end(worse), end(better)));
    }
    let at = |time: f64| {
        let ((z1, slope1), (z2, slope2)) = (local(worse, time)?, local(better, time)?);
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
fn local(points: &[(f64, f64)], time: f64) -> Option<(f64, f64)> {
    let near = |half: f64| {
        let all = points.iter().map(move |p| ((p.0 / time).ln(), p.1));
        all.filter(move |p| p.0.abs() <= half).collect::<Vec<_>>()
    };
    let mut chosen = near(HALF);
    // Sparse points: a wider view.
    for wider in [2.0, 4.0] {
        if chosen.len() < LEAST {
            chosen = near(wider * HALF);
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
