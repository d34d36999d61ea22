//! Numbers of a signal, gathered sample by sample in constant memory.

use joulestep_engine::recorder::{Event, EventKind, Recorder};

use crate::batch::plan::{MeasureSpec, Measured};
use crate::input::scenario::build::Measured as OfRecord;
use crate::output::account::event_lines::Line;
use crate::output::answer::overlay::Overlay;
use crate::study::measured::Followers;
use crate::study::run::Course;

/// Gathers the numbers of a plan from the samples of a run.
#[derive(Clone, Debug)]
pub struct Measures<'a> {
    specs: &'a [MeasureSpec],
    gathered: Vec<Gathered>,
    /// Of the scenario's records.
    followers: Followers,
    last: Option<f64>,
    /// Of each protection the cleared fault with the largest let-through.
    cleared: Vec<Line>,
    /// What protection did.
    course: Vec<String>,
    stop: &'a std::sync::atomic::AtomicBool,
}

#[derive(Clone, Copy, Debug, Default)]
struct Gathered {
    begin: f64,
    last: f64,
    /// ∫ of the signal, or of its square, dt.
    integral: f64,
    /// When the band was entered last; NaN while outside.
    entered: f64,
}

impl<'a> Measures<'a> {
    /// Before the first sample; the run ends early once `stop` is set.
    pub(crate) fn new(
        specs: &'a [MeasureSpec],
        records: Vec<OfRecord>,
        stop: &'a std::sync::atomic::AtomicBool,
    ) -> Self {
        Self {
            specs,
            followers: Followers::new(records),
            gathered: vec![Gathered::default(); specs.len()],
            last: None,
            cleared: Vec::new(),
            course: Vec::new(),
            stop,
        }
    }

    /// Of each protection the cleared fault with the largest let-through, for an account.
    pub fn cleared(&self) -> Vec<Line> {
        self.cleared.clone()
    }

    /// What was measured beside what was simulated.
    pub(crate) fn overlays(&self) -> Vec<Overlay> {
        self.followers.clone().overlays()
    }

    /// What protection did, in order.
    pub fn course(&self) -> &[String] {
        &self.course
    }

    /// The numbers, in the order of the plan; NaN where there is none.
    pub fn values(&self) -> Vec<f64> {
        let Some(end) = self.last else { return vec![f64::NAN; self.specs.len()] };
        let one = |(spec, g): (&MeasureSpec, &Gathered)| match spec.what {
            Measured::End => g.last,
            Measured::Mean => g.integral / (end - g.begin),
            Measured::Rms => (g.integral / (end - g.begin)).sqrt(),
            Measured::SettlingTime { .. } => g.entered,
        };
        self.specs.iter().zip(&self.gathered).map(one).collect()
    }
}

impl Recorder<f64> for Measures<'_> {
    fn sample(&mut self, t: f64, values: &[f64]) {
        self.followers.sample(t, values);
        for (spec, g) in self.specs.iter().zip(&mut self.gathered) {
            let x = values.get(spec.channel).copied().unwrap_or(f64::NAN);
            match (self.last, spec.what) {
                (None, what) => {
                    *g = Gathered { begin: t, last: x, integral: 0.0, entered: f64::NAN };
                    if let Measured::SettlingTime { target, band } = what
                        && (x - target).abs() <= band
                    {
                        g.entered = t;
                    }
                }
                (Some(_), Measured::End) => {}
                // The trapezium, and for squares its exact counterpart for a straight line between samples.
                (Some(before), Measured::Mean) => g.integral += 0.5 * (t - before) * (x + g.last),
                (Some(before), Measured::Rms) => {
                    g.integral += (t - before) * (x * x + x * g.last + g.last * g.last) / 3.0;
                }
                (Some(before), Measured::SettlingTime { target, band }) => {
                    let (d0, d1) = ((g.last - target).abs() - band, (x - target).abs() - band);
                    if d1 > 0.0 {
                        g.entered = f64::NAN;
                    } else if g.entered.is_nan() {
                        // A straight line between the samples crosses the band's edge here.
                        let share = if d0 > 0.0 { d0 / (d0 - d1) } else { 1.0 };
                        g.entered = before + share * (t - before);
                    }
                }
            }
            g.last = x;
        }
        self.last = Some(t);
    }

    fn event(&mut self, event: &Event) {
        self.course.extend(Course::of(event));
        if event.kind != EventKind::Cleared {
            return;
        }
        let of = |line: &&mut Line| matches!(line, Line::One(e) if e.subject == event.subject);
        match self.cleared.iter_mut().find(of) {
            Some(Line::One(e)) if e.value >= event.value => {}
            Some(line) => *line = Line::One(event.clone()),
            None => self.cleared.push(Line::One(event.clone())),
        }
    }

    fn go_on(&mut self, _: f64) -> bool {
        !self.stop.load(std::sync::atomic::Ordering::Relaxed)
    }
}
