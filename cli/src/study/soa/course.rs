//! The course of a run, laid over the chart.

use joulestep_models::rating::MOST_DIES;
use joulestep_models::rating::area::allowed;
use joulestep_models::rating::output::Output;
use joulestep_models::rating::trajectory::{Nearest, Sample, hottest, nearest};

use super::Asked;
use super::Options;
use super::compute::Charted;
use crate::input::keys::fields::Named;
use crate::input::keys::shape::Key;
use crate::output::result::ResultFile;
use crate::study::{Question, StudyError};

/// A course as recorded.
pub(super) struct Course {
    /// The switch.
    pub name: String,
    pub samples: Vec<Sample>,
}

/// A course over a chart.
#[derive(Clone, Debug)]
pub(super) struct Laid {
    pub name: String,
    /// As drawn: where it is close to itself, points are left out.
    pub drawn: Vec<(f64, f64)>,
    /// Against each width of the chart; none where the course is shorter.
    pub by_width: Vec<Option<Nearest>>,
    /// Against what the leads carry at any instant.
    pub leads: Option<Nearest>,
    /// The largest voltage, and when.
    pub voltage: (f64, f64),
    /// Hottest of each die, and when.
    pub junctions: [(f64, f64); MOST_DIES],
    /// Duration, s.
    pub lasts: f64,
    pub count: usize,
    /// The same from every second sample: the even ones, the odd ones.
    pub halves: Vec<Self>,
}

impl Laid {
    /// The least of all margins, and the width that it is against (0: at every instant).
    pub fn least(&self, widths: &[f64]) -> Option<(f64, Nearest)> {
        let by_width = self.by_width.iter().zip(widths).filter_map(|(n, w)| Some((*w, (*n)?)));
        let all = by_width.chain(self.leads.map(|n| (0.0, n)));
        all.min_by(|a, b| a.1.margin.total_cmp(&b.1.margin))
    }

    /// What the samples may have a number of the course wrong by: the larger difference to every second sample, as if it fell
    /// with their distance (Roache 1994, order one).
    pub fn sampling(&self, of: impl Fn(&Self) -> f64) -> f64 {
        let difference = |half: &Self| {
            let x = (of(half) - of(self)).abs();
            if x.is_nan() { f64::INFINITY } else { 1.25 * x }
        };
        self.halves.iter().map(difference).fold(0.0, f64::max)
    }
}

/// Reads the course of a question.
pub(super) fn read(q: &Question) -> Result<Option<Course>, StudyError> {
    let Some(path) = q.paths(Asked::run).first() else { return Ok(None) };
    let asked = q.asked(Asked::read)?;
    let name = asked.component.as_ref().map(|n| n.name.as_str());
    let signal = |own: Option<Named>, key: Key, quantity: &str| -> Result<String, StudyError> {
        let own = own.map(|n| n.name);
        own.or_else(|| Some(format!("{}.{quantity}", name?))).ok_or_else(|| {
            q.wrong(
                Asked::run,
                format!("neither `component` nor `{}` beside it", key.name),
                "the name of the switch in it",
            )
        })
    };
    let names = [
        signal(asked.voltage_signal, Asked::voltage_signal, "voltage")?,
        signal(asked.current_signal, Asked::current_signal, "current")?,
    ];
    let refused = |e: crate::output::result::ResultError| StudyError::Output(e.to_string());
    let file = ResultFile::open(path).map_err(refused)?;
    for name in &names {
        if !file.channels().iter().any(|c| c.name == *name) {
            let known: Vec<&str> = file.channels().iter().map(|c| c.name.as_str()).collect();
            let found = format!("`{name}` is not recorded in `{}`", path.display());
            let expected =
                format!("a recorded signal ([record] of the scenario), one of {}", known.join(", "));
            return Err(q.wrong(Asked::run, found, expected));
        }
    }
    let all = 0..file.samples();
    let time = file.time(all.clone()).map_err(refused)?;
    let [volts, current] = [0, 1].map(|k: usize| file.window(&names[k], all.clone()));
    let (volts, current) = (volts.map_err(refused)?, current.map_err(refused)?);
    let samples = time.iter().zip(&volts).zip(&current);
    let samples: Vec<Sample> =
        samples.map(|((&time, &volts), &current)| Sample { time, volts, current }).collect();
    if samples.len() < 2 {
        let found = format!("{} samples in `{}`", samples.len(), path.display());
        return Err(q.wrong(Asked::run, found, "a run with a course"));
    }
    Ok(Some(Course { name: name.unwrap_or("switch").to_string(), samples }))
}

/// Voltages and currents at which the shares of the dies are tabulated.
const SHARES: usize = 20;

/// Shares of the dies in the heat at a voltage and a current, by a table over both in logarithms.
fn shares(charted: &Charted, top: [f64; 2]) -> impl Fn(f64, f64) -> [f64; MOST_DIES] + use<> {
    let dies = charted.law.dies();
    let axis = move |x: f64, top: f64| (1.0 + (x / top).max(1e-4).ln() / 1e4f64.ln()) * (SHARES - 1) as f64;
    let value = |k: usize, top: f64| top * (1e4f64.ln() * (k as f64 / (SHARES - 1) as f64 - 1.0)).exp();
    let first: [f64; MOST_DIES] = std::array::from_fn(|k| if k == 0 { 1.0 } else { 0.0 });
    let cold = charted.path.cold();
    let mut table = vec![first; SHARES * SHARES];
    if dies > 1 {
        for v in 0..SHARES {
            for i in 0..SHARES {
                let point = charted.law.held(value(v, top[0]), value(i, top[1]), cold);
                table[v * SHARES + i] = point.map_or(first, |p| p.share);
            }
        }
    }
    move |volts, current| {
        let at = [axis(volts, top[0]), axis(current, top[1])].map(|x| x.clamp(0.0, (SHARES - 1) as f64));
        let k = at.map(|x| (x.floor() as usize).min(SHARES - 2));
        let [x, y] = [at[0] - k[0] as f64, at[1] - k[1] as f64];
        let of = |a: usize, b: usize, d: usize| table[(k[0] + a) * SHARES + k[1] + b][d];
        std::array::from_fn(|d| {
            (1.0 - x) * ((1.0 - y) * of(0, 0, d) + y * of(0, 1, d))
                + x * ((1.0 - y) * of(1, 0, d) + y * of(1, 1, d))
        })
    }
}

/// Lays a course over a chart, with errors that of half its samples too.
pub(super) fn laid(course: &Course, charted: &Charted, options: &Options, errors: bool) -> Laid {
    let laid = lay(course, charted, options);
    if !errors {
        return laid;
    }
    let half = |first: usize| {
        let samples = course.samples.iter().copied().skip(first).step_by(2).collect();
        lay(&Course { name: course.name.clone(), samples }, charted, options)
    };
    let halves = if course.samples.len() > 3 { vec![half(0), half(1)] } else { Vec::new() };
    Laid { halves, ..laid }
}

/// Lays a course over a chart.
fn lay(course: &Course, charted: &Charted, options: &Options) -> Laid {
    let samples = &course.samples;
    let by_width = charted.lines.iter().map(|line| {
        let lasts = samples[samples.len() - 1].time - samples[0].time;
        if line.width > lasts {
            return None;
        }
        nearest(samples, line.width, &|v| allowed(&line.border, v))
    });
    let leads = charted.part.ratings.lead_limit(0.0);
    let top = |of: fn(&Sample) -> f64| samples.iter().map(of).fold(0.0, f64::max);
    let tops = [top(|s| s.volts), top(|s| s.current)];
    let most = samples.iter().max_by(|a, b| a.volts.total_cmp(&b.volts));
    let share = shares(charted, tops.map(|x| x.max(1e-3)));
    Laid {
        name: course.name.clone(),
        drawn: drawn(samples),
        by_width: by_width.collect(),
        leads: leads.is_finite().then(|| nearest(samples, 0.0, &|_| leads)).flatten(),
        voltage: most.map_or((f64::NAN, f64::NAN), |s| (s.volts, s.time)),
        junctions: hottest(samples, &charted.path, charted.law.dies(), &share),
        lasts: samples[samples.len() - 1].time - samples[0].time,
        count: samples.len(),
        halves: Vec::new(),
    }
    .within(options)
}

impl Laid {
    /// Points below the chart are not drawn.
    fn within(mut self, options: &Options) -> Self {
        let from = options.grid.first().copied().unwrap_or(0.0);
        self.drawn.iter_mut().filter(|p| p.0 < 0.2 * from).for_each(|p| *p = (f64::NAN, f64::NAN));
        self.drawn.dedup_by(|a, b| a.0.is_nan() && b.0.is_nan());
        self
    }
}

/// Points that differ by what an eye can see on a chart of decades.
fn drawn(samples: &[Sample]) -> Vec<(f64, f64)> {
    let mut out: Vec<(f64, f64)> = Vec::new();
    for s in samples {
        let forwards = s.volts > 0.0 && s.current > 0.0;
        let next = if forwards { (s.volts, s.current) } else { (f64::NAN, f64::NAN) };
        let near = |a: f64, b: f64| (a / b).ln().abs() < 0.01;
        let same = out
            .last()
            .is_some_and(|l| (l.0.is_nan() && next.0.is_nan()) || (near(l.0, next.0) && near(l.1, next.1)));
        if !same {
            out.push(next);
        }
    }
    out
}
