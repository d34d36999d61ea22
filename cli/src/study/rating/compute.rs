//! The numbers of a rating at a level: its law and heat path, then currents, pulses and steady states.

use std::sync::Arc;

use joulestep_models::package::Package;
use joulestep_models::part::Part;
use joulestep_models::rating::conduction::Conduction;
use joulestep_models::rating::pulse::Shape;
use joulestep_models::rating::sharing::{self, Share, course, deviating};
use joulestep_models::rating::steady::{Steady, continuous, runaway, steady};
use joulestep_models::rating::surge::{EXACT, Ends, Point, STEPS, Surge};
use joulestep_models::rating::{Conducts, HeatPath};
use rayon::prelude::*;

use super::{Options, Sharing, widths};
use crate::output::answer::Estimation;
use crate::progress::Counted;
use crate::study::heat_path::{COLDEST, FINEST, NUDGE, failed};
use crate::study::{Context, StudyError};

/// Steps of a pulse take the heat as the mean of that at their ends, tables the share of a die as a straight line
/// between nodes: both are of order two, and differences that shrink faster do so by chance.
pub(super) const RATIO: f64 = 4.0;
/// Above the highest junction temperature, K: laws are tabulated so far to find where steady states end.
const BEYOND: f64 = 150.0;
/// Longest pulse of a fault current, s.
pub(super) const LONGEST: f64 = 1e4;
/// Steps between two times of the sharing after a cold start.
const STEPS_OF_SHARING: usize = 4;

/// The deviating one of devices in parallel, and one of the others.
pub(super) type Pair = [Share; 2];

/// A part rated.
#[derive(Clone, Debug)]
pub(super) struct Rated {
    pub part: Part,
    pub gate: Option<f64>,
    /// °C.
    pub hottest: f64,
    /// Where the heat goes, in words.
    pub heat: String,
    /// Dies whose properties follow their temperature in pulses.
    pub followed: Vec<&'static str>,
    pub dies: Vec<&'static str>,
    /// By how much the hottest point is hotter than each die's mean per watt in it, K/W; `None`: it is not known.
    pub above: Vec<Option<f64>>,
    pub numbers: Numbers,
    /// ± of each of [`Numbers::flat`] that levels do not show.
    pub further: Vec<f64>,
    /// Whether the meshes of the package approach a limit in a believable order.
    pub settled: bool,
    /// What the error of a package's mesh is not known for, in words.
    pub unknown: Option<&'static str>,
}

/// What is computed.
#[derive(Clone, Debug)]
pub(super) struct Numbers {
    /// From each die, heated alone, to the fixed temperature, K/W.
    pub resistance: Vec<f64>,
    /// Fixed temperature as each die meets it, °C.
    pub fixed: Vec<f64>,
    pub continuous: Option<Steady>,
    /// Current beyond which there is no steady state, A.
    pub runaway: Option<f64>,
    /// Whether the law is known that far.
    pub runaway_known: Option<bool>,
    pub pulses: Vec<Point>,
    pub curve: Vec<Point>,
    /// Longest pulse of each fault current, s, and what ends it.
    pub faults: Vec<(f64, Ends)>,
    pub sharing: Option<Shared>,
}

/// How devices in parallel share.
#[derive(Clone, Debug)]
pub(super) struct Shared {
    /// `None`: there is no steady state.
    pub steady: Option<Pair>,
    /// After a cold start: time, s.
    pub course: Vec<(f64, Pair)>,
}

/// Numbers of a point: current, I²t, drop, energy.
pub(super) fn of_point(p: &Point) -> [f64; 4] {
    [p.current, p.i2t, p.peaks.drop, p.peaks.energy]
}

/// Current and junction temperatures of a device.
fn of_share(share: Option<&Share>, dies: usize) -> Vec<f64> {
    let junctions = (0..dies).map(|d| share.map_or(f64::NAN, |s| s.celsius[d]));
    std::iter::once(share.map_or(f64::NAN, |s| s.current)).chain(junctions).collect()
}

impl Numbers {
    fn dies(&self) -> usize {
        self.resistance.len()
    }

    /// All of them with the time after which the heat path decides about each, s; in an order that what was found does
    /// not change.
    fn flat(&self, options: &Options) -> Vec<(f64, f64)> {
        let (dies, for_ever) = (self.dies(), f64::INFINITY);
        // What was warm before a pulse depends on the steady state too.
        let after = |t: f64| if options.before > 0.0 { for_ever } else { t };
        let s = self.continuous.as_ref();
        let mut all: Vec<(f64, f64)> = self.resistance.iter().map(|&x| (x, for_ever)).collect();
        let steady = [s.map(|s| s.current), s.map(|s| s.carried.drop), s.map(|s| s.loop_gain)];
        all.extend(steady.map(|x| (x.unwrap_or(f64::NAN), for_ever)));
        all.extend((0..dies).map(|d| (s.map_or(f64::NAN, |s| s.carried.power[d]), for_ever)));
        all.extend((0..dies).map(|d| (s.map_or(f64::NAN, |s| s.celsius[d]), for_ever)));
        all.push((self.runaway.unwrap_or(f64::NAN), for_ever));
        all.extend(
            self.pulses.iter().chain(&self.curve).flat_map(|p| of_point(p).map(|x| (x, after(p.width)))),
        );
        all.extend(self.faults.iter().map(|&(longest, _)| (longest, after(longest))));
        if let Some(shared) = &self.sharing {
            let pair = |time: f64, pair: Option<&Pair>| -> Vec<(f64, f64)> {
                let both = (0..2).flat_map(|k| of_share(pair.map(|p| &p[k]), dies));
                both.map(|x| (x, time)).collect()
            };
            all.extend(pair(for_ever, shared.steady.as_ref()));
            all.extend(shared.course.iter().flat_map(|(time, p)| pair(*time, Some(p))));
        }
        all
    }
}

/// The law of a part for junctions from the coldest that may be met, kept by its content.
fn law(
    part: &Part,
    gate: Option<f64>,
    hottest: f64,
    options: &Options,
    context: &Context<'_>,
) -> Result<Arc<Conduction>, StudyError> {
    let doublings = context.level.0.clamp(FINEST, 0).unsigned_abs();
    // Only the runaway is looked for beyond the highest junction temperature.
    let most = hottest + if options.runaway { BEYOND } else { 0.0 };
    let key = format!("law {:?} {gate:?} {most:?} {doublings}", part.values);
    let make = || Conduction::refined(part, gate, COLDEST, most, doublings).map_err(|e| failed(&e));
    context.cache.get(key, make)
}

/// A part's laws on its heat path, and how fine the steps are.
struct Ready<'a> {
    law: &'a Conduction,
    other: Option<&'a Conduction>,
    path: &'a HeatPath,
    hottest: f64,
    /// By what steps are divided.
    stride: usize,
    /// By what they are multiplied.
    finer: usize,
}

impl Ready<'_> {
    fn steps(&self, count: usize) -> usize {
        (count * self.finer / self.stride).max(1)
    }
}

fn numbers(
    part: &Part,
    ready: &Ready<'_>,
    options: &Options,
    sharing: Option<Sharing>,
    (brief, progress): (bool, &Counted),
) -> Result<Numbers, StudyError> {
    let Ready { law, path, hottest, .. } = *ready;
    let (none, dies) = ([0.0; 2], law.dies());
    let before = steady(law, path, options.before, &none)
        .filter(|s| s.celsius[..dies].iter().all(|&t| t < hottest))
        .ok_or_else(|| {
            let what = format!("initial current {} A exceeds the continuous rating", options.before);
            StudyError::Refused(format!("{}: {what}", part.name))
        })?;
    let start = before.carried.power;
    let surge = || Surge::new(law, path, hottest, &start[..dies]).with_steps(ready.steps(STEPS));
    let runaway = options.runaway.then(|| runaway(law, path, &none)).flatten();
    let runaway_known = runaway.map(|current| {
        // Just below it the junctions are far from where the law ends, or close to it.
        let near = steady(law, path, 0.999 * current, &none);
        near.is_some_and(|s| s.celsius[..dies].iter().all(|&t| t < law.hottest_known() - 30.0))
    });
    let leads = &part.ratings;
    let largest = |shape: Shape, width| {
        let most = leads.lead_peak(shape.square_integral(), width);
        let found = surge().largest_within(shape, width, most);
        progress.one();
        found
    };
    let fault = |&current: &f64| {
        let (longest, ends) = surge().ride_through(current, LONGEST);
        progress.one();
        match leads.lead_time(current) {
            time if time < longest => (time, Ends::Leads),
            _ => (longest, ends),
        }
    };
    let direct = leads.lead_limit(f64::INFINITY);
    let within = |s: Steady| if s.current > direct { steady(law, path, direct, &none) } else { Some(s) };
    let widths = if brief { &[][..] } else { &options.widths };
    Ok(Numbers {
        resistance: (0..dies).map(|k| path.resistance(k, k)).collect(),
        fixed: path.cold()[..dies].to_vec(),
        continuous: continuous(law, path, hottest, &none).and_then(within),
        runaway,
        runaway_known,
        pulses: options.pulses.par_iter().map(|&(_, width, shape)| largest(shape, width)).collect(),
        curve: widths.par_iter().map(|&width| largest(options.shape, width)).collect(),
        faults: options.faults.par_iter().map(fault).collect(),
        sharing: sharing.and_then(|s| shared(ready, options, s, brief)),
    })
}

fn shared(ready: &Ready<'_>, options: &Options, sharing: Sharing, brief: bool) -> Option<Shared> {
    let Ready { law, path, .. } = *ready;
    let other = ready.other?;
    let parts: Vec<&Conduction> = (0..sharing.number).map(|k| if k == 0 { other } else { law }).collect();
    let own = std::array::from_fn(|a| {
        std::array::from_fn(|b| if a.max(b) < law.dies() { path.resistance(a, b) } else { 0.0 })
    });
    let sink = (options.way.heatsink, sharing.common);
    let pair = |all: &[Share]| [all[0], all[1]];
    let found = sharing::steady(&parts, &vec![own; sharing.number], sink, sharing.total);
    let times = if brief { Vec::new() } else { widths(1e-5, 100.0, 29) };
    let course = course(&parts, &path.linear(), sharing.total, &times, ready.steps(STEPS_OF_SHARING));
    Some(Shared {
        steady: found.as_deref().map(pair),
        course: course.iter().map(|(t, all)| (*t, pair(all))).collect(),
    })
}

/// Rates a part at the context's level: coarser levels take every second or fourth node of the tables and half or a
/// quarter of the steps, finer ones closer tables, more steps and cells.
pub(super) fn rate(
    (part, (gate, hottest)): (&Part, (Option<f64>, f64)),
    package: Option<&(String, Package)>,
    options: &Options,
    sharing: Option<Sharing>,
    (context, progress): (&Context<'_>, &Counted),
) -> Result<Rated, StudyError> {
    let level = context.level.0;
    let heat = options.way.heat(part, package, context)?;
    let full = law(part, gate, hottest, options, context)?;
    let path = heat.path(full.names()).map_err(|e| failed(&e))?;
    let full_other = match sharing {
        Some(s) => Some(law(&deviating(part, s.resistance, s.threshold), gate, hottest, options, context)?),
        None => None,
    };
    let finer = 1 << level.min(0).unsigned_abs();
    let at = |stride: usize, path: &HeatPath, progress: &Counted| {
        let (law, other) = (full.coarser(stride), full_other.as_ref().map(|o| o.coarser(stride)));
        let ready = Ready { law: &law, other: other.as_ref(), path, hottest, stride, finer };
        numbers(part, &ready, options, sharing, (context.brief, progress))
    };
    let found = at(1 << level.clamp(0, 2), &path, progress)?;
    if let Some(error) = full.error().or_else(|| full_other.as_ref()?.error()) {
        return Err(StudyError::Numerical(error.to_string()));
    }
    let flat = found.flat(options);
    // The search ends within this share.
    let mut further: Vec<f64> = flat.iter().map(|(x, _)| 4.0 * EXACT * x.abs()).collect();
    let mesh = heat.mesh.as_ref().filter(|_| context.estimation != Estimation::None && level <= 0);
    if let Some(mesh) = mesh {
        // What a small share of all rises does to each number, in coarse steps, and as the network alone has it.
        let (silent, linear) = (Counted::new(true, 0, ""), path.linear());
        let (plain, nudged) = (at(4, &linear, &silent)?, at(4, &linear.scaled(1.0 + NUDGE), &silent)?);
        let moved = plain.flat(options).into_iter().zip(nudged.flat(options)).map(|(a, b)| (b.0 - a.0).abs());
        let moved: Vec<f64> = moved.collect();
        for (k, further) in further.iter_mut().enumerate() {
            // A course that ends earlier has fewer numbers.
            *further += moved.get(k).copied().unwrap_or(f64::NAN) / NUDGE * mesh.at(flat[k].1);
        }
    }
    further.iter_mut().filter(|x| x.is_nan()).for_each(|x| *x = f64::INFINITY);
    Ok(Rated {
        part: part.clone(),
        gate: full.gate(),
        hottest,
        dies: full.names().to_vec(),
        above: full.names().iter().map(|die| heat.hottest_point(die)).collect(),
        further,
        settled: heat.mesh.as_ref().is_none_or(|m| m.converges()),
        unknown: heat.mesh.as_ref().filter(|m| !m.is_known()).map(|_| "only one mesh fits into the cells"),
        heat: heat.words,
        followed: path.followed(full.names()),
        numbers: found,
    })
}
