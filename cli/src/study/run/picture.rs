//! The recorded signals over the whole run, and where the energy went; in memory that does not grow with the run.

use joulestep_engine::recorder::{Column, Layout};

use crate::output::account::Account;
use crate::output::answer::overlay::{self, Overlay};
use crate::output::answer::{StudyFigure, WAVEFORMS};
use crate::output::plot::traces::{COLUMNS, Traces, spanned};
use crate::output::plot::{Axis, Bars, Figure, Panel, Series};

/// Most samples that are drawn one by one.
const SINGLE: usize = 1600;
/// Most components in the picture of the losses.
const DRAWN: usize = 10;

/// A column with samples: its number, its first instant and the extremes of each channel.
type Filled = (usize, f64, Vec<(f64, f64)>);

/// The samples of a run while they are few; least and largest value per column of the figure.
pub(crate) struct Strips {
    end: f64,
    channels: Vec<Column>,
    few: Vec<(f64, Vec<f64>)>,
    columns: Vec<Filled>,
}

impl Strips {
    /// For a run to `end`, s.
    pub fn to(end: f64) -> Self {
        Self { end, channels: Vec::new(), few: Vec::new(), columns: Vec::new() }
    }

    pub fn begin(&mut self, layout: &Layout) {
        self.channels.clone_from(&layout.channels);
    }

    pub fn sample(&mut self, t: f64, values: &[f64]) {
        if self.few.len() <= SINGLE {
            self.few.push((t, values.to_vec()));
        }
        let number = (t / self.end * COLUMNS as f64) as usize;
        match self.columns.last_mut() {
            Some((last, _, extremes)) if *last == number => {
                let each = extremes.iter_mut().zip(values);
                each.for_each(|(e, &x)| *e = (e.0.min(x), e.1.max(x)));
            }
            _ => self.columns.push((number, t, values.iter().map(|&x| (x, x)).collect())),
        }
    }

    fn points(&self, channel: usize) -> Vec<(f64, f64)> {
        if self.few.len() <= SINGLE {
            return self.few.iter().map(|(t, values)| (*t, values[channel])).collect();
        }
        let begin: Vec<f64> = self.columns.iter().map(|c| c.1).collect();
        let (least, largest): (Vec<f64>, Vec<f64>) = self.columns.iter().map(|c| c.2[channel]).unzip();
        spanned(&begin, &least, &largest)
    }
}

/// The figures; none of what there is nothing of.
pub(super) fn figures(strips: Strips, a: &Account, overlays: &[Overlay]) -> Vec<StudyFigure> {
    let mut traces = Traces::default();
    for (k, c) in strips.channels.iter().enumerate() {
        traces.add(&c.name, &c.unit, strips.points(k));
    }
    traces.measured(overlays, (0.0, strips.end), 0.0);
    let panels = traces.panels("time", (0.0, strips.end), &[], false);
    let waveforms = (strips.few.len() > 1 && !panels.is_empty()).then(|| {
        StudyFigure::new(
            "Recorded signals over the whole run; where a pixel holds many samples, least and largest value.",
            Figure::new(WAVEFORMS, panels),
        )
    });
    let beside = overlays.iter().any(|o| o.times.len() > 1);
    let beside = beside.then(|| overlay::figure("Measured and simulated", overlays));
    waveforms.into_iter().chain(beside).chain(losses(a)).collect()
}

fn losses(a: &Account) -> Option<StudyFigure> {
    let mut losses: Vec<_> = a.energies.iter().filter(|e| e.dissipated > 0.0).collect();
    losses.sort_by(|a, b| b.dissipated.total_cmp(&a.dissipated));
    losses.truncate(DRAWN);
    let bars = Bars {
        y: Axis::linear("energy dissipated", "J"),
        groups: losses.iter().map(|e| e.name.clone()).collect(),
        series: vec![Series {
            name: String::new(),
            values: losses.iter().map(|e| Some(e.dissipated)).collect(),
        }],
        height: 220.0,
        ..Bars::default()
    };
    let caption = "Energy that each component dissipated, largest first.";
    (losses.len() > 1).then(|| StudyFigure::new(caption, Figure::new("Losses", vec![Panel::Bars(bars)])))
}
