//! The least-squares problem: a run for each trial, its residuals at the instants of the records.

use std::sync::atomic::{AtomicU64, Ordering};

use joulestep_engine::error::SolverError;
use joulestep_engine::recorder::{Layout, Recorder};
use joulestep_engine::run::setup::Refusal as NoStart;
use joulestep_engine::run::time_loop::Ended;
use joulestep_models::extract::coordinates::Coordinate;
use joulestep_models::extract::least_squares::Problem;
use rayon::prelude::*;

use super::begin::{Begin, Parameter};
use super::{Asked, Context, Question, StudyError};
use crate::input::keys::fields::Content;
use crate::input::scenario::build::{Measured, build_with, measure};
use crate::input::scenario::sections::Root;
use crate::input::scenario::sections::measured::Record;
use crate::output::answer::overlay::Overlay;
use crate::progress::Rough;
use crate::study::measured::Followers;
use crate::study::question::Checked;
use crate::study::run::only_measured;

/// Half the step of differences in the coordinates: relative, for what is above zero. Central differences of a run that
/// is known to 2e-5 have their smallest error near the cube root of a few of that.
const DIFFERENCE: f64 = 5e-3;
/// Relative fall of the sum of squares that ends a search: runs know it no better.
const FALL: f64 = 1e-6;
/// Samples by which an instant moves for a change of one of its coordinate.
const SAMPLES: f64 = 5.0;
/// Noise that is assumed first, as a share of a channel's own spread; and the least that is believed.
const FIRST: f64 = 0.05;
const LEAST: f64 = 1e-6;
/// A residual where there is no run, in standard deviations.
const NO_RUN: f64 = 1e3;

/// What is left of a channel.
pub(super) struct Rest {
    /// Correlation of residuals with those one sample later.
    pub correlation: f64,
    count: usize,
}

impl Rest {
    fn of(overlay: &Overlay) -> Self {
        let r: Vec<f64> = overlay.residuals().collect();
        let both: f64 = r.windows(2).map(|w| w[0] * w[1]).sum();
        let all: f64 = r.iter().map(|x| x * x).sum();
        Self { correlation: if all > 0.0 { (both / all).clamp(-0.999, 0.999) } else { 0.0 }, count: r.len() }
    }

    /// Whether it is more than chance: beyond two standard deviations of what white noise has (Bartlett 1946).
    pub fn enlarges(&self) -> bool {
        self.correlation > 2.0 / (self.count.max(1) as f64).sqrt()
    }

    /// What a standard error grows by: for noise of first order n samples tell as much as n·(1 − ρ)/(1 + ρ) without
    /// correlation (Bayley & Hammersley, J. R. Stat. Soc. Suppl. 8 (1946) 184).
    pub fn enlarged(&self) -> f64 {
        if self.enlarges() { ((1.0 + self.correlation) / (1.0 - self.correlation)).sqrt() } else { 1.0 }
    }
}

/// What was found.
pub(super) struct Fitted {
    /// In the units of the paths.
    pub values: Vec<f64>,
    pub overlays: Vec<Overlay>,
    /// One for each overlay.
    pub rests: Vec<Rest>,
}

/// A channel at one trial: its instants, what was measured, what was simulated.
type Trial = Vec<Overlay>;

/// The problem at one level.
pub(super) struct Fitting<'a> {
    begin: &'a Begin,
    question: &'a Question,
    context: &'a Context<'a>,
    progress: &'a Rough,
    coordinates: Vec<Coordinate>,
    /// The scenario's tables without windows of the records: which samples count must not change on the way.
    checked: Checked,
    /// Samples that count, by channel.
    counted: Vec<Vec<bool>>,
    /// Standard deviation of each channel's noise.
    pub noise: Vec<f64>,
    /// Those that the scenario states.
    stated: Vec<Option<f64>>,
    runs: AtomicU64,
    most: u64,
    failed: Option<StudyError>,
}

/// Follows the run, and stops when asked.
struct Following<'a>(Followers, &'a Context<'a>);

impl Recorder<f64> for Following<'_> {
    fn begin(&mut self, _: &Layout) {}
    fn sample(&mut self, t: f64, values: &[f64]) {
        self.0.sample(t, values);
    }
    fn go_on(&mut self, _: f64) -> bool {
        !self.1.stop.load(Ordering::Relaxed)
    }
}

/// The tables without the windows of the records.
fn without_windows(checked: &Checked) -> Checked {
    let mut checked = checked.clone();
    let records = checked.fields.values.get_mut(Root::measured.name).map(|f| &mut f.content);
    if let Some(Content::Tables(records)) = records {
        for record in records {
            record.values.retain(|key, _| *key != Record::from.name && *key != Record::to.name);
        }
    }
    checked
}

impl<'a> Fitting<'a> {
    /// The problem of a question.
    ///
    /// # Errors
    /// A scenario that cannot be run as it stands; records without a sample within it.
    pub fn new(
        begin: &'a Begin,
        question: &'a Question,
        context: &'a Context<'a>,
        progress: &'a Rough,
    ) -> Result<Self, StudyError> {
        let scenario = question.scenario()?;
        let windowed = build_with(scenario, &context.reductions())?.measured;
        let mut fitting = Self {
            checked: without_windows(&begin.checked),
            begin,
            question,
            context,
            progress,
            coordinates: Vec::new(),
            counted: Vec::new(),
            noise: vec![1.0; windowed.len()],
            stated: windowed.iter().map(|m| m.noise).collect(),
            runs: AtomicU64::new(0),
            most: 1,
            failed: None,
        };
        let whole = fitting.simulate(&fitting.values(&[]))?;
        let end = scenario.steps.end;
        let within = |m: &Measured, all: &Overlay| -> Vec<bool> {
            let counts =
                |t: &f64| (0.0..=end).contains(t) && m.times.binary_search_by(|x| x.total_cmp(t)).is_ok();
            all.times.iter().map(counts).collect()
        };
        fitting.counted = windowed.iter().zip(&whole).map(|(m, all)| within(m, all)).collect();
        let counted: usize = fitting.counted.iter().flatten().filter(|c| **c).count();
        let count = begin.parameters.len();
        if counted <= count {
            let found = format!("{counted} samples within the run for {count} values");
            return Err(question.wrong(
                Asked::scenario,
                found,
                "records with more samples than values to fit",
            ));
        }
        let spread = |o: &Overlay| {
            let mean = o.measured.iter().sum::<f64>() / o.measured.len().max(1) as f64;
            let square = o.measured.iter().map(|x| (x - mean).powi(2)).sum::<f64>();
            (square / o.measured.len().max(1) as f64).sqrt().max(f64::MIN_POSITIVE)
        };
        let spreads: Vec<f64> = whole.iter().map(spread).collect();
        let each = fitting.stated.iter().zip(&spreads);
        fitting.noise = each.map(|(stated, spread)| stated.unwrap_or(FIRST * spread)).collect();
        let apart = whole
            .iter()
            .filter(|o| o.times.len() > 1)
            .map(|o| (o.times[o.times.len() - 1] - o.times[0]) / (o.times.len() - 1) as f64);
        let apart = apart.fold(f64::INFINITY, f64::min);
        let largest = spreads.iter().copied().fold(0.0, f64::max);
        let coordinate = |p: &Parameter| match (p.linear, p.path.unit.as_str()) {
            (true, "s") => Coordinate::Scaled(SAMPLES * apart),
            (true, "1") => Coordinate::Scaled(1.0),
            (true, _) => Coordinate::Scaled(largest),
            (false, _) if p.start > 0.0 => Coordinate::Logarithm,
            (false, _) => Coordinate::Scaled(p.start.abs()),
        };
        fitting.coordinates = begin.parameters.iter().map(coordinate).collect();
        // What searches cost as a rule: a trial and a Jacobian each time.
        fitting.most = (8 * (2 * count + 1)) as u64;
        Ok(fitting)
    }

    /// Coordinates of the values that the scenario has.
    pub fn start(&self) -> Vec<f64> {
        self.coordinates.iter().zip(&self.begin.parameters).map(|(c, p)| c.of(p.start)).collect()
    }

    fn values(&self, u: &[f64]) -> Vec<f64> {
        match u {
            [] => self.begin.parameters.iter().map(|p| p.start).collect(),
            u => self.coordinates.iter().zip(u).map(|(c, u)| c.back(*u)).collect(),
        }
    }

    /// Slope of a value by its coordinate.
    pub fn slope(&self, k: usize, u: &[f64]) -> f64 {
        self.coordinates[k].slope(u[k]).abs()
    }

    /// Runs so far.
    pub fn runs(&self) -> u64 {
        self.runs.load(Ordering::Relaxed)
    }

    /// Whether nobody asked to stop.
    pub fn goes_on(&self) -> bool {
        self.failed.is_none() && self.context.go_on().is_ok()
    }

    /// What ended the search.
    ///
    /// # Errors
    /// The stop that the user asked for, or another end that is not the fault of a trial's values.
    pub fn failed(&self) -> Result<(), StudyError> {
        self.context.go_on()?;
        self.failed.clone().map_or(Ok(()), Err)
    }

    /// Every channel, all samples, with these values.
    fn simulate(&self, values: &[f64]) -> Result<Trial, StudyError> {
        self.runs.fetch_add(1, Ordering::Relaxed);
        let mut checked = self.checked.clone();
        for (p, value) in self.begin.parameters.iter().zip(values) {
            p.path.set(&mut checked.fields, *value).map_err(StudyError::Refused)?;
        }
        let question = Question::of(self.question.entry, &checked);
        let question = question.map_err(StudyError::Invalid)?;
        let scenario = question.scenario()?;
        let mut ready = build_with(scenario, &self.context.reductions())?;
        measure(&mut ready.setup, Vec::new());
        let (mut setup, mut measured) = (ready.setup, ready.measured);
        only_measured(&mut setup, &mut measured);
        self.context.level.apply(&mut setup);
        setup.halt = Some(crate::signals::stopped());
        let mut run = setup.ready()?;
        let mut following = Following(Followers::new(measured), self.context);
        match run.advance(scenario.steps.end, &mut following) {
            Ok(Ended::Reached) => Ok(following.0.held()),
            Ok(Ended::Stopped) | Err(SolverError::Interrupted) => Err(StudyError::Interrupted),
            Err(error) => Err(NoStart::Start(error).into()),
        }
    }

    /// The samples that count.
    fn counting(&self, trial: Trial) -> Trial {
        let of = |(mut o, counted): (Overlay, &Vec<bool>)| {
            for column in [&mut o.times, &mut o.measured, &mut o.simulated] {
                let mut k = 0;
                column.retain(|_| {
                    k += 1;
                    counted[k - 1]
                });
            }
            o
        };
        trial.into_iter().zip(&self.counted).map(of).collect()
    }

    fn at(&self, u: &[f64]) -> Result<Trial, StudyError> {
        Ok(self.counting(self.simulate(&self.values(u))?))
    }

    fn weighed(&self, trial: &Trial) -> Vec<f64> {
        trial.iter().zip(&self.noise).flat_map(|(o, s)| o.residuals().map(move |r| r / s)).collect()
    }

    /// Residuals, or such as are far from any, and why.
    fn attempt(&self, u: &[f64]) -> (Vec<f64>, Option<StudyError>) {
        let share = self.runs() as f64 / (self.runs() + self.most) as f64;
        self.progress.at(share, &format!("run {}", self.runs() + 1));
        let none = || vec![NO_RUN; self.counted.iter().flatten().filter(|c| **c).count()];
        match self.at(u).map(|trial| self.weighed(&trial)) {
            Ok(residuals) if residuals.iter().all(|r| r.is_finite()) => (residuals, None),
            // Values that a model refuses, or at which the equations cannot be solved, are only far from the answer.
            Ok(_) | Err(StudyError::Invalid(_) | StudyError::Refused(_) | StudyError::Numerical(_)) => {
                (none(), None)
            }
            Err(why) => (none(), Some(why)),
        }
    }

    /// Takes the noise that these coordinates leave, where it is not stated; by what share it changed at most.
    pub fn weigh(&mut self, u: &[f64]) -> f64 {
        let Ok(trial) = self.at(u) else { return 0.0 };
        let all: usize = trial.iter().map(|o| o.times.len()).sum();
        // Every channel bears its share of the values that were fitted.
        let spare = 1.0 - u.len() as f64 / all as f64;
        let mut moved: f64 = 0.0;
        for (k, o) in trial.iter().enumerate().filter(|(_, o)| !o.times.is_empty()) {
            let largest = o.measured.iter().fold(0.0, |m: f64, x| m.max(x.abs()));
            let new = (o.rms() / spare.sqrt()).max(LEAST * largest).max(f64::MIN_POSITIVE);
            if self.stated[k].is_none() {
                moved = moved.max((new / self.noise[k] - 1.0).abs());
                self.noise[k] = new;
            }
        }
        if trial.len() == 1 && self.stated[0].is_none() { 0.0 } else { moved }
    }

    /// The fit at these coordinates.
    ///
    /// # Errors
    /// When it cannot be computed.
    pub fn fitted(&self, u: &[f64]) -> Result<Fitted, StudyError> {
        let overlays = self.at(u)?;
        let rests = overlays.iter().map(Rest::of).collect();
        Ok(Fitted { values: self.values(u), rests, overlays })
    }
}

impl Fitted {
    /// What each residual counts with the correlation of its channel, in standard deviations of its noise.
    pub fn factors(&self) -> Vec<f64> {
        let all = self.overlays.iter().zip(&self.rests);
        all.flat_map(|(o, rest)| std::iter::repeat_n(rest.enlarged(), o.times.len())).collect()
    }
}

impl Problem for Fitting<'_> {
    fn residuals(&mut self, u: &[f64]) -> Vec<f64> {
        let (residuals, why) = self.attempt(u);
        self.failed = self.failed.take().or(why);
        residuals
    }

    fn many(&mut self, points: &[Vec<f64>]) -> Vec<Vec<f64>> {
        let all: Vec<_> = points.par_iter().map(|u| self.attempt(u)).collect();
        let (residuals, whys): (Vec<_>, Vec<_>) = all.into_iter().unzip();
        self.failed = self.failed.take().or(whys.into_iter().flatten().next());
        residuals
    }

    fn difference(&self) -> f64 {
        DIFFERENCE
    }

    fn fall(&self) -> f64 {
        FALL
    }

    fn exhausted(&self) -> bool {
        !self.goes_on()
    }
}
