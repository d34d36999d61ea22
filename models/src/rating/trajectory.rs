//! A course of voltage and current over a safe operating area: where it comes nearest to which border, and how hot it
//! makes the junctions.

use super::{Ahead, HeatPath, MOST_DIES};

/// A sample of a course.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample {
    /// When, s.
    pub time: f64,
    /// Drain-source voltage, V.
    pub volts: f64,
    /// Drain current, A.
    pub current: f64,
}

/// Where a course comes nearest to a border.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Nearest {
    /// Current of the border over that of the course.
    pub margin: f64,
    /// When, s.
    pub time: f64,
    /// There, V.
    pub volts: f64,
    /// There, A.
    pub current: f64,
}

/// The least margin of a course against the border of a pulse width, s. A border is passed by a course that stays
/// above it for longer than its width; so the margin is the least, over all stretches of that width, of the largest
/// ratio of allowed current to current within the stretch. A width of zero asks of every instant. `None` where the course
/// is shorter than the width, or never conducts forwards.
#[inline(never)]
pub fn nearest(course: &[Sample], width: f64, allowed: &dyn Fn(f64) -> f64) -> Option<Nearest> {
    let ratio = |s: &Sample| {
        let conducts = s.volts > 0.0 && s.current > 0.0;
        if conducts { allowed(s.volts) / s.current } else { f64::INFINITY }
    };
    let ratios: Vec<f64> = course.iter().map(ratio).collect();
    // Numbers of samples in the stretch whose ratios fall: the first is its largest (Lemire's sliding maximum).
    let mut falling: std::collections::VecDeque<usize> = std::collections::VecDeque::new();
    let mut best: Option<Nearest> = None;
    let mut end = 0;
    for (k, sample) in course.iter().enumerate() {
        let until = sample.time + width;
        if course.last()?.time < until {
            break;
        }
        while end < course.len() && (course[end].time <= until || end <= k) {
            while falling.back().is_some_and(|&b| ratios[b] <= ratios[end]) {
                falling.pop_back();
            }
            falling.push_back(end);
            end += 1;
        }
        while falling.front().is_some_and(|&f| f < k) {
            falling.pop_front();
        }
        let &worst = falling.front()?;
        let margin = ratios[worst];
        if margin.is_finite() && best.is_none_or(|b| margin < b.margin) {
            let at = course[worst];
            best = Some(Nearest { margin, time: at.time, volts: at.volts, current: at.current });
        }
    }
    best
}

/// The hottest of each junction, °C, and when, s: the heat v·i of the course, straight between samples, through the
/// path from its boundary temperature; dies whose properties follow their temperature are followed at each sample. `share` gives the shares of the dies at a voltage and a current.
#[inline(never)]
pub fn hottest(
    course: &[Sample],
    path: &HeatPath,
    dies: usize,
    share: &dyn Fn(f64, f64) -> [f64; MOST_DIES],
) -> [(f64, f64); MOST_DIES] {
    let heat = |s: &Sample| share(s.volts, s.current).map(|x| x * s.volts * s.current);
    let mut thermal = path.start(&[]);
    let mut celsius = vec![0.0; dies];
    path.read(&thermal, &mut celsius);
    let begin = course.first().map_or(0.0, |s| s.time);
    let mut top: [(f64, f64); MOST_DIES] =
        std::array::from_fn(|k| (celsius.get(k).copied().unwrap_or(f64::NEG_INFINITY), begin));
    let mut before = course.first().map_or([0.0; MOST_DIES], heat);
    let mut ahead = Ahead::default();
    for pair in course.windows(2) {
        let now = heat(&pair[1]);
        let dt = pair[1].time - pair[0].time;
        if dt > 0.0 {
            let mean: [f64; MOST_DIES] = std::array::from_fn(|k| 0.5 * (before[k] + now[k]));
            thermal.advance(dt, &path.powers(&mean[..dies]));
            if !path.follow(&mut thermal, &mut ahead, dt, &mut celsius) {
                path.read(&thermal, &mut celsius);
            }
            for (top, t) in top.iter_mut().zip(&celsius) {
                if *t > top.0 {
                    *top = (*t, pair[1].time);
                }
            }
        }
        before = now;
    }
    top
}
