//! A candidate: its law on its heat path, and what numbers of it in parallel do.

use std::sync::Arc;
use std::time::Instant;

use joulestep_models::package::{Extent, Package};
use joulestep_models::part::Part;
use joulestep_models::rating::HeatPath;
use joulestep_models::rating::conduction::Conduction;
use joulestep_models::rating::sharing::deviating;
use joulestep_models::rating::sizing::{Fleet, Held};
use joulestep_models::rating::surge::STEPS;

use super::Options;
use crate::output::answer::Estimation;
use crate::study::heat_path::{COLDEST, FINEST, NUDGE, bounds, contradictions, failed};
use crate::study::{Context, Question, StudyError};

/// Steps of a pulse and tables are of order two; see the rating.
pub(super) const RATIO: f64 = 4.0;
/// Above the highest junction temperature, K: laws are tabulated so far to find where steady states end.
const BEYOND: f64 = 150.0;
/// By how much resistances spread where neither the part nor the question says so.
const SPREAD: f64 = 0.1;
/// Steps of a pulse.
const PULSE_STEPS: usize = STEPS / 2;

/// A number in parallel, tried.
#[derive(Clone, Debug)]
pub(super) struct Tried {
    pub number: usize,
    pub held: Held,
    /// ± of the hottest junctions, K: in steady state, then in each pulse.
    pub further: Vec<f64>,
}

/// A candidate with what was found.
#[derive(Clone, Debug)]
pub(super) struct Found {
    pub name: String,
    pub part: Part,
    pub package: Option<String>,
    pub gate: Option<f64>,
    /// °C.
    pub hottest: f64,
    pub heat: String,
    pub dies: Vec<&'static str>,
    /// Spread of the on-resistance, and whence it is.
    pub spread: (f64, &'static str),
    /// The numbers tried; the last is the one that does, or the largest.
    pub tried: Vec<Tried>,
    pub room: Room,
    pub contradictions: Vec<String>,
    pub settled: bool,
    pub unknown: Option<&'static str>,
}

/// Room of one device.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Room {
    /// Outline of the part, or case of the package, m².
    pub outline: Option<f64>,
    /// Of the board that its package spreads heat on, m².
    pub board: Option<f64>,
    /// m.
    pub height: Option<f64>,
}

impl Room {
    fn of(part: &Part, extent: Option<Extent>) -> Self {
        let own = part.package.as_ref();
        let outline = own.and_then(|p| Some(p.length? * p.width?)).or(extent.map(|e| e.case));
        let above = own.and_then(|p| p.height).or(extent.map(|e| e.height - e.below_case));
        Self {
            outline,
            board: extent.map(|e| e.board),
            height: above.map(|h| h + extent.map_or(0.0, |e| e.below_case)),
        }
    }

    /// What a candidate is charged with: the board, or without a package the outline, m².
    pub fn area(&self) -> Option<f64> {
        self.board.or(self.outline)
    }
}

impl Found {
    /// The number that does, or the largest that was tried.
    pub fn chosen(&self) -> &Tried {
        self.tried.last().expect("at least one number is tried")
    }

    /// Whether it does.
    pub fn does(&self) -> bool {
        self.chosen().held.fails.is_none()
    }
}

impl Tried {
    /// Hottest junction in steady state, °C.
    pub fn steady(&self, dies: usize) -> f64 {
        self.held.steady.as_ref().map_or(f64::NAN, |s| hottest(s, dies))
    }

    /// Hottest junction in a pulse, °C; NaN where it saturates or is not reached.
    pub fn pulse(&self, k: usize, dies: usize) -> f64 {
        self.held.pulses.get(k).and_then(Option::as_ref).map_or(f64::NAN, |s| hottest(s, dies))
    }

    /// Heat of all devices in steady state, W.
    pub fn loss(&self, current: f64) -> f64 {
        self.held.drop * current
    }
}

fn hottest(pair: &[joulestep_models::rating::sharing::Share; 2], dies: usize) -> f64 {
    pair.iter().flat_map(|s| &s.celsius[..dies]).copied().fold(f64::NEG_INFINITY, f64::max)
}

/// The laws of the deviating device, of the others, and of a single one.
struct Laws {
    low: Arc<Conduction>,
    other: Arc<Conduction>,
    high: Arc<Conduction>,
}

impl Laws {
    fn coarser(&self, stride: usize) -> [Conduction; 3] {
        [&self.low, &self.other, &self.high].map(|law| law.coarser(stride))
    }
}

/// Finds the smallest number of a candidate that does, or looks at a given one only.
pub(super) fn candidate(
    question: &Question,
    part: &Part,
    package: Option<&(String, Package)>,
    options: &Options,
    number: Option<usize>,
    context: &Context<'_>,
) -> Result<Found, StudyError> {
    let began = Instant::now();
    let (gate, hottest) = bounds(question, part, options.way.heatsink)?;
    let level = context.level.0;
    let heat = options.way.heat(part, package, context)?;
    let spread = match (options.resistance, part.resistance_spread()) {
        (Some(r), _) => (r, "as asked"),
        (None, Some(r)) => (r, "three standard deviations that the part states"),
        (None, None) => (SPREAD, "assumed"),
    };
    let doublings = level.clamp(FINEST, 0).unsigned_abs();
    let law = |part: &Part| -> Result<Arc<Conduction>, StudyError> {
        let most = hottest + BEYOND;
        let key = format!("law {:?} {gate:?} {most:?} {doublings}", part.values);
        let make = || Conduction::refined(part, gate, COLDEST, most, doublings).map_err(|e| failed(&e));
        context.cache.get(key, make)
    };
    let laws = Laws {
        low: law(&deviating(part, spread.0, options.threshold))?,
        other: law(part)?,
        high: law(&deviating(part, -spread.0, -options.threshold))?,
    };
    let path = heat.path(laws.other.names()).map_err(|e| failed(&e))?.linear();
    let dies = laws.other.names().to_vec();
    let finer = 1usize << level.min(0).unsigned_abs();
    let carry = |number: usize, path: &HeatPath, stride: usize| -> Held {
        let [low, other, high] = laws.coarser(stride);
        let deviating = if number == 1 { &high } else { &low };
        let fleet = Fleet {
            deviating,
            other: if number == 1 { &high } else { &other },
            number,
            path,
            shared: options.shared,
            hottest,
            ratings: &part.ratings,
            steps: (PULSE_STEPS * finer / stride).max(4),
        };
        fleet.carry(options.current, &options.pulses)
    };
    let mut tried = Vec::new();
    let numbers = number.map_or(1..=options.most, |n| n..=n);
    for number in numbers {
        context.go_on()?;
        let held = carry(number, &path, 1 << level.clamp(0, 2));
        let does = held.fails.is_none();
        tried.push(Tried { number, held, further: Vec::new() });
        if does {
            break;
        }
    }
    for law in [&laws.low, &laws.other, &laws.high] {
        if let Some(error) = law.error() {
            return Err(StudyError::Numerical(error.to_string()));
        }
    }
    if let Some(mesh) = heat.mesh.as_ref().filter(|_| context.estimation != Estimation::None && level <= 0) {
        let last = tried.last_mut().expect("at least one number is tried");
        // What a small share of all rises does, in coarse steps.
        let plain = Tried { held: carry(last.number, &path, 4), ..last.clone() };
        let nudged = Tried { held: carry(last.number, &path.scaled(1.0 + NUDGE), 4), ..last.clone() };
        let share = mesh.at(f64::INFINITY);
        let moved = |of: &dyn Fn(&Tried) -> f64| (of(&nudged) - of(&plain)).abs() / NUDGE * share;
        let n = dies.len();
        let mut further = vec![moved(&|t| t.steady(n))];
        further.extend((0..options.pulses.len()).map(|k| moved(&|t| t.pulse(k, n))));
        further.iter_mut().filter(|x| x.is_nan()).for_each(|x| *x = f64::INFINITY);
        last.further = further;
    }
    if level == 0 && !context.quiet {
        let count = tried.len();
        let seconds = began.elapsed().as_secs_f64();
        crate::progress::note(&format!(
            "sizing {}: {count} number{} tried in {seconds:.2} s",
            part.name,
            if count == 1 { "" } else { "s" }
        ));
    }
    Ok(Found {
        name: part.name.clone(),
        part: part.clone(),
        package: package.map(|p| p.0.clone()),
        gate,
        hottest,
        dies,
        spread,
        tried,
        room: Room::of(part, package.and_then(|p| p.1.extent())),
        contradictions: contradictions(part, package),
        settled: heat.mesh.as_ref().is_none_or(|m| m.converges()),
        unknown: heat.mesh.as_ref().filter(|m| !m.is_known()).map(|_| "only one mesh fits into the cells"),
        heat: heat.words,
    })
}

/// Gives candidates of one part on several packages names of their own.
pub(super) fn distinguish(all: &mut [Found]) {
    let names: Vec<String> = all.iter().map(|f| f.name.clone()).collect();
    for (k, found) in all.iter_mut().enumerate() {
        let same = names.iter().filter(|n| **n == names[k]).count();
        if same > 1 {
            let number = names[..=k].iter().filter(|n| **n == names[k]).count();
            found.name = format!("{}-{number}", names[k]);
        }
    }
}

/// The candidates from the best: those that do, by what is asked, then by their number; then the others.
pub(super) fn ranked<'a>(all: &'a [Found], options: &Options) -> Vec<&'a Found> {
    let key = |f: &Found| -> f64 {
        let t = f.chosen();
        let number = t.number as f64;
        let x = match options.rank_by.as_str() {
            "number" => number,
            "loss" => t.loss(options.current),
            "height" => f.room.height.unwrap_or(f64::INFINITY),
            "junction" => t.steady(f.dies.len()),
            _ => f.room.area().map_or(f64::INFINITY, |a| a * number),
        };
        if x.is_nan() { f64::INFINITY } else { x }
    };
    let mut out: Vec<&Found> = all.iter().collect();
    out.sort_by(|a, b| {
        let of = |f: &Found| (!f.does(), key(f), f.chosen().number);
        let (a, b) = (of(a), of(b));
        a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)).then(a.2.cmp(&b.2))
    });
    out
}
