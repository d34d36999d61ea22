//! The borders of a chart, and how wrong the heat path may have them.

use joulestep_models::package::Package;
use joulestep_models::part::Part;
use joulestep_models::rating::HeatPath;
use joulestep_models::rating::area::{Area, Border, Corner, Drifts};
use joulestep_models::rating::output::{Characteristics, Output};
use rayon::prelude::*;

use super::Options;
use crate::study::heat_path::{NUDGE, bounds, failed};
use crate::study::{Context, Question, StudyError};

/// Current that counts as breakdown, A: at which data sheets state the voltage (common practice, no source).
pub(super) const BREAKDOWN: f64 = 1e-3;

/// Share of the difference to half the nodes that straight lines between nodes count as their error: of order two, so the
/// differences shrink four times (Roache 1994).
const INTERPOLATION: f64 = 1.25 / 3.0;

/// A chart.
#[derive(Clone, Debug)]
pub(super) struct Charted {
    pub part: Part,
    pub law: Characteristics,
    pub path: HeatPath,
    pub gate: Option<f64>,
    /// °C.
    pub hottest: f64,
    /// Where the heat goes, in words.
    pub heat: String,
    pub lines: Vec<Drawn>,
    /// Voltage at which its law breaks down, V.
    pub breakdown: Option<f64>,
    /// What it conducts before it heats: V, A.
    pub cold: Vec<(f64, f64)>,
    /// Whether the meshes of the package approach a limit in a believable order.
    pub settled: bool,
    /// What the error of a package's mesh is not known for, in words.
    pub unknown: Option<&'static str>,
}

/// The border of a pulse width.
#[derive(Clone, Debug)]
pub(super) struct Drawn {
    /// s; ∞ for direct current.
    pub width: f64,
    /// The border with its corners.
    pub border: Vec<Corner>,
    /// ± of each of its currents by the heat path, A.
    pub errors: Vec<f64>,
    /// At the voltages of the answers, with ±.
    pub answers: Vec<(Corner, f64)>,
    /// Largest share by which the heat path may have an impedance wrong at this width.
    pub mesh: f64,
}

/// A run of one border.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stretch {
    pub border: Border,
    pub from: Corner,
    pub to: Corner,
}

impl Drawn {
    /// The borders in order of rising voltage.
    pub fn stretches(&self) -> Vec<Stretch> {
        let one = |all: &[Corner]| {
            let (from, to) = (*all.first()?, *all.last()?);
            Some(Stretch { border: from.border, from, to })
        };
        self.border.chunk_by(|a, b| a.border == b.border).filter_map(one).collect()
    }

    /// The point of the largest current, and its ±.
    pub fn largest(&self) -> Option<(Corner, f64)> {
        let all = self.border.iter().zip(&self.errors);
        all.max_by(|a, b| a.0.current.total_cmp(&b.0.current)).map(|(c, e)| (*c, *e))
    }
}

pub(super) fn chart(
    question: &Question,
    part: &Part,
    package: Option<&(String, Package)>,
    options: &Options,
    context: &Context<'_>,
) -> Result<Charted, StudyError> {
    let (gate, hottest) = bounds(question, part, options.way.heatsink)?;
    let law = Characteristics::new(part, gate).map_err(|e| failed(&e))?;
    let heat = options.way.heat(part, package, context)?;
    let path = heat.path(law.names()).map_err(|e| failed(&e))?;
    let lost = || {
        let what = "no operating point between its gate's on level and off, at a voltage of the chart";
        StudyError::Numerical(format!("{}: {what}", part.name))
    };
    let drifts = if options.instability {
        let key = format!("drifts {:?} {gate:?} {hottest:?} {:?}", part.values, path.cold());
        let coldest = path.cold().iter().copied().fold(f64::INFINITY, f64::min);
        let made = || Drifts::new(&law, 0.5 * options.rated, coldest, hottest).ok_or(());
        Some(context.cache.get(key, made).map_err(|()| lost())?)
    } else {
        None
    };
    let ratings = &part.ratings;
    let breakdown = law.breakdown(BREAKDOWN, options.rated, path.cold());
    let end = breakdown.unwrap_or(f64::INFINITY);
    let mut grid: Vec<f64> = options.grid.iter().copied().filter(|v| *v < end).collect();
    if grid.len() < options.grid.len() {
        grid.push(end);
    }
    let area = Area { part: &law, path: &path, hottest, ratings, drifts: drifts.as_deref() };
    let mesh = heat.mesh.as_ref().filter(|_| context.errors);
    let nudged_path = path.scaled(1.0 + NUDGE);
    let nudged = Area { part: &law, path: &nudged_path, hottest, ratings, drifts: drifts.as_deref() };
    let fewer = drifts.as_ref().map(|d| d.coarser());
    let coarser = Area { part: &law, path: &path, hottest, ratings, drifts: fewer.as_ref() };
    let line = |&width: &f64| -> Option<Drawn> {
        let border = area.border(&grid, width)?;
        let share = mesh.map_or(0.0, |m| m.at(width));
        // What a small share of all rises does to a current, and what straight lines between drifts do.
        let error = |c: &Corner| -> Option<f64> {
            let mut sum = 1e-8 * c.current;
            if mesh.is_some() {
                sum += (nudged.at(c.volts, width)?.current - c.current).abs() / NUDGE * share;
            }
            if c.border == Border::Instability && context.errors {
                sum += INTERPOLATION * (coarser.at(c.volts, width)?.current - c.current).abs();
            }
            Some(if sum.is_nan() { f64::INFINITY } else { sum })
        };
        let errors = border.iter().map(error).collect::<Option<_>>()?;
        let answer = |&v: &f64| {
            let corner = area.at(v, width)?;
            Some((corner, error(&corner)?))
        };
        let answers = options.voltages.iter().map(answer).collect::<Option<_>>()?;
        Some(Drawn { width, border, errors, answers, mesh: share })
    };
    let lines: Vec<Option<Drawn>> = options.widths.par_iter().map(line).collect();
    let lines = lines.into_iter().collect::<Option<Vec<_>>>().ok_or_else(lost)?;
    let cold = |&v: &f64| Some((v, law.on(v, path.cold())?.current));
    let cold = grid.iter().filter_map(cold).collect();
    Ok(Charted {
        part: part.clone(),
        gate,
        hottest,
        lines,
        breakdown,
        cold,
        settled: heat.mesh.as_ref().is_none_or(|m| m.converges()),
        unknown: heat.mesh.as_ref().filter(|m| !m.is_known()).map(|_| "only one mesh fits into the cells"),
        heat: heat.words,
        law,
        path,
    })
}

/// A border in words.
pub(super) fn words(border: Border, dies: &[&str]) -> String {
    match border {
        Border::OnResistance => "on-resistance".into(),
        Border::Saturation => "saturation".into(),
        Border::Junction(die) => dies.get(die).map_or("junction".into(), |d| format!("{d} junction")),
        Border::Instability => "instability".into(),
        Border::Leads => "leads".into(),
    }
}
